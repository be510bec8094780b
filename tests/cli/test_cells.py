"""Text keeps to its cells whatever a name is made of, and a name never commands the screen."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from linewright.present.writers.terminal import Grid, clean, cut, left, right, width, wrapped

ANY = st.text(max_size=80)


@given(ANY, st.integers(1, 60))
def test_a_cut_text_fits(text, most):
    assert width(cut(text, most)) <= most


@given(ANY, st.integers(10, 100))
def test_wrapped_lines_fit_and_lose_no_sign(text, most):
    lines = wrapped(text, most, first="  ")
    assert all(width(line) <= most for line in lines)
    assert "".join("".join(lines).split()) == "".join(clean(text).split())


@given(ANY)
def test_nothing_a_terminal_would_obey_is_left(text):
    assert clean(text).isprintable()


@given(ANY, st.integers(0, 30))
def test_padding_reaches_exactly_its_cells(text, more):
    text = clean(text)
    assert width(left(text, width(text) + more)) == width(right(text, width(text) + more)) == width(text) + more


def test_a_figure_keeps_its_unit_and_an_interval_its_ends():
    lines = wrapped("It reads 3.7 dB (3.2 to 4.2) at 144.3 MHz on the desk meter", 16)
    assert {"(3.2 to 4.2) at", "144.3 MHz on the"} <= set(lines)


@given(st.lists(st.tuples(ANY, ANY, st.floats(0, 1e6)), min_size=1, max_size=6))
def test_a_table_fits_the_page_and_keeps_every_figure(rows):
    table = Grid(("name", "note", "loss"), "lld")
    for name, note, loss in rows:
        table.add(name, note, f"{loss:.2f} dB")
    lines = table.lines()
    assert all(width(line) <= 100 for line in lines)
    assert all(f"{loss:.2f} dB" in line for (*_, loss), line in zip(rows, lines[1:], strict=True))


def test_figures_stand_under_each_other_by_their_points():
    table = Grid(("",), "d")
    for cell in ("0.57 dB", "12.1 dB", "3 dB", "-0.5 dB"):
        table.add(cell)
    assert [line.rstrip() for line in table.lines()] == ["   0.57 dB", "  12.1 dB", "   3 dB", "  -0.5 dB"]
