"""Tables: cells as they are, within the width."""

import os
import pty
import sys
from fcntl import ioctl
from struct import pack
from termios import TIOCSWINSZ

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from cfgtrack.answers.encode import json_of
from cfgtrack.answers.moment import Moment
from cfgtrack.model.time import SECOND, parse_duration, parse_instant
from cfgtrack.show.tables import (
    NARROWEST_TEXT,
    WIDTH,
    columns,
    count,
    deadline_text,
    heading,
    in_zone,
    indented,
    labelled,
    sections,
    span_text,
    styled,
    table,
    terminal_width,
    within,
)

_CELLS = st.text(st.characters(min_codepoint=33, max_codepoint=126), max_size=30)
_WORDS = st.lists(_CELLS, max_size=12).map(" ".join)


def test_a_serial_that_looks_like_a_number_stays_as_it_is():
    """1e5, 007, 1_000, 0x10 and False are texts, not numbers or truths; they stand to the left as they are."""
    lines = table(["serial"], [["1e5"], ["007"], ["1_000"], ["0x10"], ["1.50"], ["False"]]).splitlines()
    assert lines[2:] == ["1e5", "007", "1_000", "0x10", "1.50", "False"]


@example([["", "", "", "False"]])
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
    """The heading prints when it was asked for, and as known when if that was asked, on a second line where it gets
    long.
    """
    moment = Moment(0, 60_000_000, as_known=True)
    assert heading("X", moment) == "X  (at 1970-01-01T00:00:00Z, as known at 1970-01-01T00:01:00Z)"
    assert heading("X", Moment(0, 60_000_000)) == "X  (at 1970-01-01T00:00:00Z)"
    assert heading("X" * 60, moment).splitlines()[1] == f"  ({moment})"
    assert str(Moment(0)) == "at 1970-01-01T00:00:00Z"
    assert json_of(Moment(0)) == {"at": "1970-01-01T00:00:00Z", "known": None}
    assert json_of(moment)["known"] == "1970-01-01T00:01:00Z"


def test_a_moment_is_told_to_the_second_unless_somebody_named_it():
    """Now is told to the second, an instant that was named as it was; JSON keeps both to the microsecond."""
    assert str(Moment(1_500_000)) == "at 1970-01-01T00:00:01Z"
    assert str(Moment(1_500_000, exact=True)) == "at 1970-01-01T00:00:01.500000Z"
    assert json_of(Moment(1_500_000, 1_700_000)) == {
        "at": "1970-01-01T00:00:01.500000Z",
        "known": "1970-01-01T00:00:01.700000Z",
    }
    assert str(Moment(0, zone="Asia/Kolkata")) == "at 1970-01-01T00:00:00Z (05:30 +05:30)"


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


@given(
    st.integers(NARROWEST_TEXT, WIDTH - 1),
    st.lists(st.lists(_WORDS, min_size=8, max_size=8), min_size=1, max_size=3),
)
def test_a_narrow_screen_is_heeded(width, rows):
    """Whatever the width of the screen, eight columns fit, and no word is cut: where they can't, a row is a list."""
    with within(width):
        text = table([f"head{i}" for i in range(8)], rows)
    assert all(len(line) <= width for line in text.splitlines())
    assert {word for row in rows for cell in row for word in cell.split()} <= set(text.split())


def test_a_word_is_wrapped_at_its_hyphen_and_an_id_never():
    """On a narrow screen the name of a kind takes two lines where that is asked for; an id stands whole."""
    rows = [["electrical-connector", "electrical-connector"]]
    with within(NARROWEST_TEXT):
        text = table(["rule", "kind"], rows, hyphens=["kind"])
        assert "electrical-connector  electrical-" in text
        assert table(["rule", "kind"], rows).startswith("rule  electrical-connector\n")


QUANTITIES = (
    "1/2 in",
    "1 1/2 in",
    "25 N*m",
    "25 ft lbf",
    "60 min",
    "-40 degC",
    "0.5 l",
    "998 kg/m^3",
    "4.6e-10 1/Pa",
    "230 V",
    "16 A",
    "3 L/min",
)


@given(st.sampled_from(QUANTITIES), st.integers(0, 60), st.integers(NARROWEST_TEXT, WIDTH))
def test_a_number_is_never_parted_from_its_unit(quantity, before, width):
    """Wherever the end of a line falls, "1/2 in" stands in one: in paragraphs, labels and the cells of tables."""
    text = f"{'valved ' * (before // 7)}{'x' * (before % 7)} {quantity} more words after it"
    with within(width):
        made = [
            indented(text),
            labelled("kind", text),
            table(["port", "kind"], [["F1", f"valved-disconnect {quantity}"], ["x" * (width - 26), text]]),
            table(
                ["port", "kind"], [["x" * (width - 20), f"valved-disconnect {quantity}"]], hyphens=["kind"]
            ),
        ]
    assert [quantity in one for one in made] == [True] * len(made)
    assert not [line for one in made for line in one.splitlines() if len(line) > width]


def test_words_that_are_no_quantity_are_wrapped_as_ever():
    """A number before a word that only begins like a unit is wrapped there: "3 invited", "PUMP-1 is"."""
    assert indented("x" * 95 + " 3 invited").splitlines()[1].strip() == "invited"
    assert indented("x" * 91 + " PUMP-1 min").splitlines()[1].strip() == "min"


def test_a_local_time_stays_with_its_offset():
    """The time of day at a place and its offset from UTC stand in one line."""
    said = "2025-11-11T18:51:00Z (19:51 +01:00)"
    for before in range(50, 70):
        assert "(19:51 +01:00)" in indented(f"{'x' * before} {said}")


def test_a_deadline_is_told_in_the_zone_too():
    """Inside a zone a deadline has the time of day there, DST by the date; outside it is UTC alone."""
    summer, winter = parse_instant("2031-07-01T12:00:00Z"), parse_instant("2031-12-01T23:30:30Z")
    with in_zone("Europe/Oslo"):
        assert deadline_text(summer) == "2031-07-01T12:00:00Z (14:00 +02:00)"
        assert deadline_text(winter) == "2031-12-01T23:30:30Z (00:30 +01:00 the next day)"
    with in_zone("America/St_Johns"):
        assert deadline_text(parse_instant("2031-12-01T00:00:00Z")).endswith("(20:30 -03:30 the day before)")
    assert deadline_text(summer) == "2031-07-01T12:00:00Z"


@pytest.fixture(params=[72, 180])
def terminal(request, monkeypatch, tmp_path):
    """Yield standard output that is a terminal of so many columns, and their number.

    Where the machine has no terminals of its own, a file of which the system says that it is one.
    """
    try:
        ours, theirs = pty.openpty()
    except OSError:
        with (tmp_path / "terminal").open("w") as stream:
            sizes = {stream.fileno(): os.terminal_size((request.param, 24))}
            real = os.get_terminal_size
            monkeypatch.setattr(os, "get_terminal_size", lambda fd: sizes.get(fd) or real(fd))
            yield stream, request.param
        return
    ioctl(theirs, TIOCSWINSZ, pack("HHHH", 24, request.param, 0, 0))
    with os.fdopen(theirs, "w") as stream:
        yield stream, request.param
    os.close(ours)


def test_tables_are_as_wide_as_the_terminal(terminal, monkeypatch, tmp_path):
    """COLUMNS goes first, then the terminal; where there is neither there are 100. What is no number isn't heeded."""
    stream, wide = terminal
    monkeypatch.delenv("COLUMNS", raising=False)
    monkeypatch.setattr(sys, "stdout", stream)
    assert terminal_width() == wide
    monkeypatch.setenv("COLUMNS", "140")
    assert terminal_width() == 140
    for said in ("", "0", "wide", "-3"):
        monkeypatch.setenv("COLUMNS", said)
        assert terminal_width() == wide
    with (tmp_path / "answer").open("w") as file:
        assert terminal_width(file) == WIDTH
        monkeypatch.setattr(sys, "stdout", file)
        assert terminal_width() == WIDTH
        assert terminal_width(stream) == wide


def test_a_wide_screen_widens_tables_and_not_prose():
    """On 160 columns a row stands in one line, while a paragraph keeps to lines that can be read."""
    row = ["one two " * 6, "three four " * 6]
    with within(160):
        assert len(table(["a", "b"], [row]).splitlines()) == 3
        assert max(map(len, indented("word " * 90).splitlines())) <= WIDTH


def test_the_width_counts_inside_alone():
    """What is made inside is wrapped to the width, headings and paragraphs too; afterwards all is as before."""
    moment = Moment(0, 60_000_000, first=1)
    with within(50):
        texts = [heading("X" * 30, moment), indented("word " * 40), labelled("why", "word " * 40)]
        assert all(len(line) <= 50 for text in texts for line in text.splitlines())
    with within(3):
        assert columns() == NARROWEST_TEXT
    assert columns() == WIDTH


def test_a_moment_before_all_that_is_recorded_says_so():
    """Before the first recorded event everything looks undone: the moment of the answer says why."""
    early = Moment(0, 60_000_000, first=1_000_000)
    assert str(early).endswith("BEFORE THE FIRST RECORDED EVENT (1970-01-01T00:00:01Z)")
    assert "BEFORE" not in str(Moment(1_000_000, first=1_000_000))
    assert "BEFORE" not in str(Moment(0))


@given(st.integers(0, 10**15))
def test_durations_are_told_in_seconds(duration):
    """From 10 s on a duration is told in whole seconds, down or up by less than one; a deadline is never told late."""
    down, up = parse_duration(span_text(duration)), parse_duration(span_text(duration, up=True))
    assert down <= duration <= up
    assert up - down in ((0,) if duration < 10 * SECOND or duration % SECOND == 0 else (SECOND,))
    assert "." not in span_text(duration + 10 * SECOND)
    assert 0 <= duration - parse_instant(deadline_text(duration)) < SECOND
