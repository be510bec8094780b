"""``linewright connectors``: what connectors and adapters take and bear."""

from __future__ import annotations

import click

from linewright.cli.options import Reader, answer_options


@click.command(short_help="Say what connectors, adapters and arrestors lose and withstand.")
@answer_options(explain=False)
def connectors(reader: Reader) -> None:
    """Say what a mated pair of each connector family loses on each band, what it withstands, and how that is known."""
    from linewright.present.compose.connectors import connectors_document
    from linewright.verbs.connector_list import list_connectors

    reader.show(list_connectors(), connectors_document)
