"""``linewright practise``: an invented bench with something hidden in it, to read and to judge."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import click

from linewright.cli.options import Reader, answer_options, write
from linewright.core.errors import InputError

if TYPE_CHECKING:
    from linewright.core.nouns.practice import PracticeBench

HELP = """\
Practise on an invented bench: something may be wrong with it. Take readings, then say what it is.

\b
linewright practise --level 2
linewright practise --code "200 0DQ"
linewright practise --seed 13 --level 2 --show
linewright practise --seed 13 --level 2 --read "card meter, 144.3 MHz, pad" --guess "bent pocket meter"

Level 1 hides a slip, 2 a bent meter, 3 a wet or badly connected cable, 4 another type or length, 5 any of these, two,
or nothing. Without --show, --truth or --guess it asks line by line, at a terminal or from a pipe:

\b
read 1 2 3             first meter, its second band, third path; or the names, with commas
sheet                  the bench and the readings so far
hand                   the figures by hand so far
ask                    what the engine makes of the readings; costs 2 points
guess wet blue 7       or joint, type, length; misread 4; bent card meter; nothing; cannot tell
guess likely wet blue 7; misread 4     not sure; two things at once
quit

A sure claim earns 10 points or costs 20, a likely one 6 and 4; "cannot tell" earns 3 when the readings cannot tell.
"""
MOST_LINES = 200
"""Lines that one game reads, and the characters of each."""
MOST_SIGNS = 200
TURNS = "read, sheet, hand, ask, guess, help or quit"


@click.command(help=HELP, short_help="Practise on an invented bench with something hidden in it.")
@click.option("--level", type=click.IntRange(1, 5), help="Level, 1 to 5: what may be hidden (default: 1).")
@click.option("--seed", type=click.IntRange(0, 2**20 - 1), metavar="NUMBER", help="Number of the bench (default: any).")
@click.option("--code", metavar="CODE", help="The code of a bench, instead of level and seed.")
@click.option(
    "--read", "reads", multiple=True, metavar="READING", help=('Take a reading, "METER, FREQ, PATH"; may be repeated.')
)
@click.option("--guess", metavar="CLAIMS", help='What is wrong: "wet blue 7", "likely misread 4", "cannot tell".')
@click.option("--show", is_flag=True, help="Show the bench with its readings, and exit.")
@click.option("--truth", is_flag=True, help="Show the bench with the truth, and exit.")
@answer_options(explain=False)
def practise(reads: tuple[str, ...], guess: str | None, reader: Reader, **said: Any) -> None:
    """Practise on an invented bench."""
    from linewright.present.compose.practise import bench_document, outcome_document
    from linewright.verbs.practise import mark_answer, show_bench, written_claims, written_reading

    bench = _begun(said["level"], said["seed"], said["code"])
    for words in reads:
        bench = written_reading(bench, words)
    if guess is not None:
        reader.show(mark_answer(bench, written_claims(guess)), outcome_document)
    elif said["show"] or said["truth"]:
        reader.show(show_bench(bench, truth=said["truth"]), bench_document)
    else:
        _play(bench, reader)


def _begun(level: int | None, seed: int | None, code: str | None) -> PracticeBench:
    import secrets

    from linewright.core.nouns.practice import SEEDS
    from linewright.verbs.practise import written_bench

    return written_bench(level, seed, code, otherwise=secrets.randbelow(SEEDS))


# A game, line by line


def _play(bench: PracticeBench, reader: Reader) -> None:
    from linewright.present.compose.practise import outcome_document
    from linewright.verbs.practise import mark_answer, written_claims

    asked = False
    if not reader.as_json:
        _show(bench, reader)
    for line in _lines():
        turn, _, rest = line.partition(" ")
        try:
            if turn == "guess":
                reader.show(mark_answer(bench, written_claims(rest), asked=asked), outcome_document)
                return
            if turn == "quit":
                break
            bench, asked = _turn(bench, turn, rest, reader, asked=asked)
        except InputError as cause:
            if not sys.stdin.isatty():
                raise
            click.echo(str(cause), err=True)
    _left(bench, reader)


def _turn(bench: PracticeBench, turn: str, rest: str, reader: Reader, *, asked: bool) -> tuple[PracticeBench, bool]:
    """Take one turn that does not end the game."""
    from linewright.verbs.practise import written_reading

    if turn == "read":
        bench = written_reading(bench, rest)
        if not reader.as_json:
            _say_last(bench, reader)
    elif turn == "ask":
        asked = True
        _say_engine(bench, reader)
    elif turn == "sheet":
        _show(bench, reader)
    elif turn == "hand":
        _say_by_hand(bench, reader)
    elif turn == "help":
        click.echo(HELP.replace("\b\n", ""), err=True)
    else:
        raise InputError("turn", f"must be {TURNS}; got {turn!r}")
    return bench, asked


def _lines() -> Iterator[str]:
    """Yield the lines of a game; at a terminal each is asked for."""
    for _ in range(MOST_LINES):
        if sys.stdin.isatty():
            click.echo(f"{TURNS}? ", err=True, nl=False)
        line = sys.stdin.readline(MOST_SIGNS + 1)
        if not line:
            return
        if len(line) > MOST_SIGNS:
            raise InputError("line", f"must have {MOST_SIGNS} characters at most")
        if line.strip():
            yield line.strip()
    raise InputError("game", f"must end within {MOST_LINES} lines")


def _show(bench: PracticeBench, reader: Reader) -> None:
    from linewright.present.compose.practise import bench_document
    from linewright.verbs.practise import show_bench

    reader.show(show_bench(bench), bench_document)
    if not reader.as_json:
        paths = ", ".join(f"{i} {path}" for i, path in enumerate(bench.paths, 1))
        meters = ", ".join(f"{i} {name}" for i, name in enumerate(bench.bands, 1))
        click.echo(f"\n  Meters: {meters}. Paths: {paths}.\n", err=True)


def _say_last(bench: PracticeBench, reader: Reader) -> None:
    from linewright.core.formatting import frequency
    from linewright.core.messages import say, written
    from linewright.present.compose.practise import reading_words

    last = bench.sheet.readings[-1]
    said = say(
        "{row}  {meter}, {frequency}, {path}: {reading}",
        row=last.row, meter=last.meter, frequency=frequency(last.frequency_hz), path=last.path_name,
        reading=reading_words(bench, last),
    )  # fmt: skip
    click.echo(f"  {written(said, reader.manner)}")


def _say_engine(bench: PracticeBench, reader: Reader) -> None:
    from linewright.core.messages import written
    from linewright.present.compose.practise import engine_sentences
    from linewright.present.writers.terminal import items
    from linewright.verbs.practise import ask_engine

    said = [written(words, reader.manner) for words in engine_sentences(ask_engine(bench))]
    if not reader.as_json:
        write("\n".join(items(said)))


def _say_by_hand(bench: PracticeBench, reader: Reader) -> None:
    from linewright.present.compose.practise import by_hand_document
    from linewright.present.writers.terminal import terminal
    from linewright.verbs.practise_others import by_hand_figures

    if not reader.as_json:
        write(terminal(by_hand_document(bench, by_hand_figures(bench)), reader.manner))


def _left(bench: PracticeBench, reader: Reader) -> None:
    """End without an answer: the bench waits under its code."""
    if reader.as_json:
        from linewright.present.compose.practise import bench_document
        from linewright.verbs.practise import show_bench

        reader.show(show_bench(bench), bench_document)
    else:
        click.echo(f'No answer given. The bench waits: linewright practise --code "{bench.code}"', err=True)
