"""Tables: cells as they are, within the width."""

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
    indented,
    labelled,
    sections,
    span_text,
    styled,
    table,
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
    """The heading prints when it was asked for, and as known when, on a second line where it gets long."""
    moment = Moment(0, 60_000_000)
    assert heading("X", moment) == "X  (at 1970-01-01T00:00:00Z, as known at 1970-01-01T00:01:00Z)"
    assert heading("X" * 60, moment).splitlines()[1] == f"  ({moment})"
    assert str(Moment(0)) == "at 1970-01-01T00:00:00Z"
    assert json_of(Moment(0)) == {"at": "1970-01-01T00:00:00Z", "known": None}
    assert json_of(moment)["known"] == "1970-01-01T00:01:00Z"


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
