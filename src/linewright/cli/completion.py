"""``linewright completion``: what lets a shell complete commands, options, and the names that the ledger keeps."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click

from linewright.cli.options import debug_option
from linewright.core.messages import say

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem

VARIABLE = "_LINEWRIGHT_COMPLETE"
"""Set by the shell when it asks what may follow; the command line makes its name of the program's."""
SHELLS = ("bash", "zsh", "fish")
HELP = """\
Print a script that makes SHELL complete commands, options, pieces, runs, stations, meters and line types.

\b
bash   echo 'eval "$(linewright completion bash)"' >> ~/.bashrc
zsh    echo 'eval "$(linewright completion zsh)"' >> ~/.zshrc
fish   linewright completion fish > ~/.config/fish/completions/linewright.fish

Names come from the ledger in its usual place, or from the one given with --ledger, if it is a file. Bash needs version
4.4.
"""


@click.command(help=HELP, short_help="Make bash, zsh or fish complete commands and the ledger's names.")
@click.argument("shell", type=click.Choice(SHELLS))
@debug_option
@click.pass_context
def completion(ctx: click.Context, shell: str) -> None:
    """Print what lets a shell complete."""
    from click.shell_completion import get_completion_class

    made = get_completion_class(shell)
    if made is None:
        raise click.UsageError(say("Nothing is known of {shell}.", shell=shell))
    click.echo(made(ctx.find_root().command, {}, "linewright", VARIABLE).source())


# What may stand for a parameter, by the parameter's name

KINDS = {
    "tag": "piece", "tags": "piece", "piece": "piece", "given": "run", "run": "run", "station": "station",
    "subject": "any", "key": "any", "what": "any",
}  # fmt: skip
ANY = ("piece", "run", "station")
TYPES = ("line", "line_name")


def teach(command: click.Command, place: str = "") -> None:
    """Let a command, and all below it, complete the names that the ledger keeps."""
    if isinstance(command, click.Group):
        for name, below in command.commands.items():
            teach(below, name)
    for param in command.params:
        kind = _kind(param, place)
        if kind and param._custom_shell_complete is None:
            param._custom_shell_complete = _names(kind)


def _kind(param: click.Parameter, place: str) -> str:
    name = param.name or ""
    if name == "name":
        return {"meter": "meter", "run": "run", "lines": "type"}.get(place, "")
    if name in TYPES or (name == "lines" and isinstance(param, click.Argument)):
        return "type"
    return KINDS.get(name, "")


def _names(kind: str) -> Callable[[click.Context, click.Parameter, str], list[CompletionItem]]:
    def complete(ctx: click.Context, param: click.Parameter, typed: str) -> list[CompletionItem]:
        from click.shell_completion import CompletionItem

        from linewright.verbs.names import kept_names, type_names

        where: Any = ctx.params.get("ledger")
        wanted = ANY if kind == "any" else (kind,)
        known = type_names() if kind == "type" else [n for k in wanted for n in kept_names(k, where)]
        found = [CompletionItem(n, help=kind) for n in known if n.lower().startswith(typed.lower())]
        # Where a file may stand as well, the shell offers those that are there.
        files = [CompletionItem(typed, type="file")] if param.name in ("given", "subject", "what") and not found else []
        return found + files

    return complete
