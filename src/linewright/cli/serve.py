"""``linewright serve``: the web app, on this machine alone or open to the local network."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from linewright.cli.options import debug_option, echo, language_option
from linewright.core.messages import mark, say

if TYPE_CHECKING:
    from linewright.verbs.starting import Arranged

FILE = click.Path(exists=True, dir_okay=False)
PORT = 8731


@click.command(short_help="Open the web app on this machine.")
@click.option("--port", type=click.IntRange(1024, 65535), default=PORT, show_default=True, help="Port to listen on.")
@click.option("--ledger", metavar="PATH", help="The ledger: a file or a PostgreSQL URL (default: the usual place).")
@click.option("--open", "show", is_flag=True, help="Open it in the browser; if it is already running, only that.")
@click.option("--lan", is_flag=True, help="Open it to the local network, behind a pass phrase shown here.")
@click.option(
    "--tls", is_flag=True, help="Serve over TLS; without --certificate, the app makes one at the first start."
)
@click.option("--certificate", type=FILE, help="Serve over TLS with this certificate (PEM); needs --key.")
@click.option("--key", type=FILE, help="The certificate's private key (PEM), without a password.")
@click.option("--install", is_flag=True, help="Add it to the menu, and start it now and at every login.")
@click.option("--remove", is_flag=True, help="Undo --install, and stop the app. The ledger stays.")
@language_option
@debug_option
def serve(port: int, ledger: str | None, **given: Any) -> None:
    """Open the web app: bench, shelf, runs and sweeps, in any browser.

    It listens on this machine only. With --lan it is open to the local network too, behind a pass phrase that is new at
    each start and is shown as text and as a QR code for phones. Ctrl-C stops it.

    --install adds it to this machine's menu and runs it while you are logged in, with the --port and --ledger you give;
    --remove undoes that.
    """
    if given["install"] or given["remove"]:
        _arranged(port, ledger, given)
        return
    certificate, key = given["certificate"], given["key"]
    if (certificate is None) != (key is None):
        raise click.UsageError(say("--certificate and --key go together."))
    from linewright.core.machine import no_browser, open_page
    from linewright.web.serving import is_ours, serve_app

    def opened(address: str) -> None:
        if not open_page(address):
            why = no_browser() or say("the browser did not start")
            echo(say("No browser was opened: {why}. Open {address} yourself.", why=why, address=address), err=True)

    if given["show"] and not given["lan"] and is_ours(port):
        echo(say("The station is at {address} already.", address=f"http://localhost:{port}/"))
        opened(f"http://localhost:{port}/")
        return
    own = (certificate, key) if certificate and key else given["tls"]
    serve_app(port, ledger, lan=given["lan"], tell=echo, tls=own, ready=opened if given["show"] else None)


def _arranged(port: int, ledger: str | None, given: dict[str, Any]) -> None:
    """Write what starts the app, or take it away, and say what was done."""
    if given["install"] and given["remove"]:
        raise click.UsageError(say("--install or --remove, not both."))
    if given["lan"] or given["tls"] or given["certificate"] or given["key"]:
        raise click.UsageError(
            say(
                "Its pass phrase is shown at each start: serve --lan is for a terminal, --install for this machine"
                " alone."
            )
        )
    from linewright.verbs.starting import arrange, clear

    if given["remove"]:
        _say(mark("Taken away: {path}"), clear(), say("Nothing was there to take away."))
        return
    options = [] if port == PORT else ["--port", str(port)]
    if ledger is not None:
        options += ["--ledger", ledger if "://" in ledger else str(Path(ledger).expanduser().absolute())]
    done = arrange(options)
    _say(mark("Written: {path}"), done, "")
    if not done.trouble:
        address = f"http://localhost:{port}/"
        echo(say("The station is at {address} from now on. Take it away: linewright serve --remove", address=address))


def _say(what: str, done: Arranged, nothing: str) -> None:
    for path in done.files:
        echo(say(what, path=path))
    if not done.files and nothing:
        echo(nothing)
    for why in done.trouble:
        echo(say("Not done: {why}", why=why), err=True)
    if done.files and not done.is_tried:
        echo(say("Nobody has tried this on this system yet; please report what happens."), err=True)
