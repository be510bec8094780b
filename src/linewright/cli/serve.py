"""``linewright serve``: the web app, on this machine alone or open to the local network."""

from __future__ import annotations

import click

from linewright.cli.options import debug_option

FILE = click.Path(exists=True, dir_okay=False)


@click.command(short_help="Open the web app on this machine.")
@click.option("--port", type=click.IntRange(1024, 65535), default=8731, show_default=True, help="Where it listens.")
@click.option("--ledger", metavar="PATH", help="The ledger, a file or a PostgreSQL URL; else the usual place.")
@click.option("--lan", is_flag=True, help="Open it to the local network, behind a pass phrase shown here.")
@click.option("--certificate", type=FILE, help="Serve over TLS with this certificate (PEM); takes --key.")
@click.option("--key", type=FILE, help="The certificate's private key (PEM), without a password.")
@debug_option
def serve(port: int, ledger: str | None, lan: bool, certificate: str | None, key: str | None) -> None:
    """Open the web app: bench, shelf, runs and sweeps, in any browser.

    It listens on this machine alone. With --lan it is open to the local network too, and a pass phrase, made anew at
    each start, is shown as text and as a picture to point a phone at. Ctrl-C ends it.
    """
    if (certificate is None) != (key is None):
        raise click.UsageError("--certificate and --key go together.")
    from linewright.web.serving import serve_app

    serve_app(port, ledger, lan=lan, tell=click.echo, tls=(certificate, key) if certificate and key else None)
