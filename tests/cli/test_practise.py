"""``linewright practise``: a game from a pipe, an answer in one go, and what is refused."""

from __future__ import annotations

import json
import re

import pytest
from click.testing import CliRunner

from cli.doors import run, words_of
from linewright.cli.main import Door
from linewright.cli.practise import MOST_LINES, practise
from linewright.link.practice_bench import bench_of, truth_of
from linewright.present.compose.practise import fault_words, lessons

DOOR = Door("linewright", commands=[practise])
BENCH = ("--seed", "13", "--level", "2")


def ask(*words, said=""):
    return CliRunner().invoke(DOOR, ["practise", *words], input=said)


def test_a_game_is_played_from_a_pipe():
    done = ask(*BENCH, said="read 2 3 1\nread pocket meter, 144.3 MHz, pad\nsheet\nhand\nguess bent pocket meter\n")
    assert done.exit_code == 0, done.output
    said = words_of(done.stdout)
    assert "6 pocket meter, 144.3 MHz, reference:" in said
    assert "7 pocket meter, 144.3 MHz, pad:" in said
    assert "The pocket meter is bent: it shows 1.43 dB for every decibel. 10 points of 10" in said
    assert "the engine" in said
    assert "figures by hand" in said
    assert "Why it looks so" in said
    assert re.search(r"pad 144.3 MHz pocket meter [78]\.\d\d dB 6.00 dB 1\.\d\d", said)
    assert "The best next reading" in said or "No further reading" in said


def test_a_game_as_a_process_with_its_prompts_on_the_other_channel():
    done = run("practise", *BENCH, "--show")
    assert done.returncode == 0
    assert "On a real bench" in done.stdout


def test_the_truth_is_not_told_before_it_is_asked_for():
    for level in range(1, 6):
        for seed in range(10):
            words = [fault_words(f, bench_of(level, seed)) for f in truth_of(bench_of(level, seed)).faults]
            shown = words_of(ask("--seed", str(seed), "--level", str(level), "--show").stdout)
            told = words_of(ask("--seed", str(seed), "--level", str(level), "--truth").stdout)
            assert all(words_of(w) in told and words_of(w) not in shown for w in words)
            assert all(words_of(w) not in shown for w in lessons(truth_of(bench_of(level, seed))))


def test_the_answer_in_one_go_is_that_of_the_game():
    turns = ["pocket meter, 144.3 MHz, reference", "pocket meter, 144.3 MHz, pad"]
    once = ask(*BENCH, *(w for t in turns for w in ("--read", t)), "--guess", "likely bent card meter", "--json")
    game = ask(*BENCH, "--json", said="".join(f"read {t}\n" for t in turns) + "guess likely bent card meter\n")
    assert once.exit_code == game.exit_code == 0
    assert json.loads(once.stdout) == json.loads(game.stdout)
    assert json.loads(once.stdout)["outcome"]["score"]["points"] == -8


def test_asking_the_engine_is_marked():
    done = ask(*BENCH, "--json", said="ask\nguess bent pocket meter\n")
    assert json.loads(done.stdout)["outcome"]["score"]["points"] == 8
    said = words_of(ask(*BENCH, said="ask\nguess bent pocket meter\n").stdout)
    assert re.search(r"blue 6: (good|cannot tell|worn)\.", said)
    assert "the engine was asked first -2" in said


def test_a_code_is_level_and_seed():
    code = json.loads(ask(*BENCH, "--show", "--json").stdout)["code"]
    assert ask("--code", code, "--show").stdout == ask(*BENCH, "--show").stdout


def test_without_a_seed_benches_differ():
    assert len({ask("--level", "3", "--show").stdout for _ in range(4)}) > 1


def test_leaving_says_how_to_come_back():
    for said in ("", "quit\n"):
        done = ask(*BENCH, said=said)
        assert done.exit_code == 0
        assert 'linewright practise --code "200 0DQ"' in done.stderr


@pytest.mark.parametrize(
    ("words", "said", "wrong"),
    [
        (("--code", "200 0DT"), "", "code must be the code of a bench"),
        (("--code", "200 0DQ", "--seed", "3"), "", "names level and seed already"),
        (("--level", "6"), "", "--level must be a whole number from 1 to 5; got '6'."),
        (BENCH, "read 9 1 1\n", "meter must be a number from 1 to 3"),
        (BENCH, "read 1 9 1\n", "band must be a number from 1 to 2"),
        (BENCH, "read desk meter\n", "must name a meter, a band and a path"),
        (BENCH, "read desk meter, 7.1, pad\n", "MHz"),
        (BENCH, "dance\n", "turn must be read, sheet, hand, ask, guess, help or quit"),
        (BENCH, "guess\n", "one claim, or 2"),
        (BENCH, "guess wet nobody\n", "must be blue 6"),
        (BENCH, "x" * 5000 + "\n", "200 characters at most"),
        (BENCH, "help\n" * (MOST_LINES + 1), "must end within 200 lines"),
    ],
)
def test_what_is_wrong_is_said(words, said, wrong):
    done = ask(*words, said=said)
    assert done.exit_code == 2
    assert wrong in words_of(done.stderr)


def test_german_reads_german():
    done = ask(*BENCH, "--show", "--language", "de")
    assert done.exit_code == 0
    assert "432,1 MHz" in done.stdout
