"""Tables: cells as they are, within the width."""

from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.show.moment import Moment
from cfgtrack.show.tables import WIDTH, count, heading, indented, labelled, sections, styled, table

_CELLS = st.text(st.characters(min_codepoint=33, max_codepoint=126), max_size=30)
_WORDS = st.lists(_CELLS, max_size=12).map(" ".join)


def test_a_serial_that_looks_like_a_number_stays_as_it_is():
    """1e5, 007, 1_000 and 0x10 are serials, not numbers; they stand to the left like any text."""
    lines = table(["serial"], [["1e5"], ["007"], ["1_000"], ["0x10"], ["1.50"]]).splitlines()
    assert lines[2:] == ["1e5", "007", "1_000", "0x10", "1.50"]


@given(st.lists(st.lists(_WORDS, min_size=4, max_size=4), min_size=1, max_size=5))
def test_no_line_is_longer_than_the_width(rows):
    """Whatever is in four columns, the table fits, and no word that fits its column is lost."""
    text = table(["one", "two", "three", "four"], rows)
    assert all(len(line) <= WIDTH for line in text.splitlines())
    assert "".join(sorted("".join(" ".join(row) for row in rows).replace(" ", ""))) == "".join(
        sorted("".join(text.splitlines()[2:]).replace(" ", ""))
    )


def test_words_are_cut_only_when_nothing_else_helps():
    """Prose is wrapped before an id is broken."""
    text = table(["id", "text"], [["A" * 60, "some words " * 20]])
    assert "A" * 60 in text


def test_a_column_of_nothing_is_left_out():
    """No header stands over an empty column; without rows there is no table."""
    assert "empty" not in table(["full", "empty"], [["x", None], ["y", ""]])
    assert table(["full"], []) == ""


def test_an_answer_names_its_moment():
    """The heading prints when it was asked for, and as known when, on a second line where it gets long."""
    moment = Moment(0, 60_000_000)
    assert heading("X", moment) == "X  (at 1970-01-01T00:00:00Z, as known at 1970-01-01T00:01:00Z)"
    assert heading("X" * 60, moment).splitlines()[1] == f"  ({moment})"
    assert str(Moment(0)) == "at 1970-01-01T00:00:00Z"
    assert Moment(0).to_json() == {"at": "1970-01-01T00:00:00Z", "known": None}
    assert moment.to_json()["known"] == "1970-01-01T00:01:00Z"


def test_colour_adds_nothing_but_colour():
    """Without the escape codes the text is the same; without colour there are none."""
    import click

    assert styled("x", colour=False, fg="red", bold=True) == "x"
    assert styled("x", colour=True, fg="red") != "x"
    assert click.unstyle(styled("x", colour=True, fg="red", bold=True)) == "x"


def test_small_words():
    """Numbers with nouns, paragraphs, labels and sections."""
    assert [count(n, "loss", "losses") for n in (0, 1, 2)] == ["no losses", "1 loss", "2 losses"]
    assert all(line.startswith("    ") for line in indented("word " * 40, by=4).splitlines())
    assert labelled("why", "x").index("x") == 14
    assert labelled("a label that is long", "x").endswith("long x")
    assert sections("a", "", "b") == "a\n\nb"
