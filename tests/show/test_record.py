"""Events, histories, remarks, discrepancies and differences as text."""

import pytest

from cfgtrack.analysis.difference import Difference, difference
from cfgtrack.answers.moment import Moment
from cfgtrack.model.event import Entry, Event, LogLine
from cfgtrack.model.possibility import resolve
from cfgtrack.model.quantity import parse_quantity
from cfgtrack.show.record import (
    contradiction_text,
    difference_text,
    discrepancies_text,
    event_text,
    history_text,
    remarks_text,
)
from tests.show.golden import assert_golden
from tests.show.world import AT, MOMENT, yard

_TORQUE = {"torque": parse_quantity("25 N*m")}
_EVENTS = (
    Event("e1", "demate", ("PUMP-1:F1", "PANEL-1:P1"), AT, by="ina", recorder="desk", outing="X1"),
    Event("e2", "place", ("PUMP-2",), AT, place="BAY", facing="up", moved=("HOSE-2",), basis="witnessed"),
    Event(
        "e3", "as-found", ("PUMP-1:F2",), AT, status="mated", peer="PANEL-1:P2", expected="PUMP-1:F2 demated"
    ),
    Event("e4", "torque", ("PUMP-1:B1",), AT, values=_TORQUE, basis="measured"),
    Event("e5", "cap", ("HOSE-2:E2",), AT, supersedes="e0", reason="wrong hose"),
    Event("e6", "withdraw", (), AT, withdraws="e2", reason="did not happen"),
    Event("e7", "explain", (), AT, explains="e3", reason="moved at night", remark="see log"),
)


@pytest.mark.parametrize(
    ("event", "text"),
    [
        (_EVENTS[0], "demate PUMP-1:F1 PANEL-1:P1"),
        (_EVENTS[1], "place PUMP-2 at BAY facing up with HOSE-2"),
        (
            Event("e", "place", ("U",), AT, place="BAY", moved=tuple("abcdefghij")),
            "place U at BAY with a, b, c, d, e, f, g, h, 2 more",
        ),
        (_EVENTS[5], "withdraw e2"),
        (_EVENTS[6], "explain e3"),
        (
            Event(
                "e", "approve", ("U:B1",), AT, body={"rule": "bolted", "start": AT, "end": AT + 60_000_000}
            ),
            "approve U:B1 of rule bolted from 2031-04-26T20:00:00Z until 2031-04-26T20:01:00Z",
        ),
        (Event("e", "approve", (), AT, body={"fingerprint": "cdfa"}), "approve of finding cdfa"),
        (
            Event("e", "approve", ("U",), AT, body={"fingerprints": ["cdfa", "0a"], "end": AT}),
            "approve U of 2 findings cdfa, 0a until 2031-04-26T20:00:00Z",
        ),
        (Event("e", "approve", (), AT, body={"end": 2**60, "fingerprints": 7}), "approve"),
        (Event("e", "acknowledge", (), AT, acknowledges="cdfa 0a"), "acknowledge cdfa 0a"),
        (Event("e", "lift", ("PUMP-2",), AT, place="CRANE"), "lift PUMP-2 by CRANE"),
        (_EVENTS[2], "as found: PUMP-1:F2 mated to PANEL-1:P2"),
        (Event("e", "as-found", ("U",), AT, place="BAY", facing="up"), "as found: U at BAY facing up"),
        (_EVENTS[3], "torque PUMP-1:B1 torque=25 N*m"),
        (Event("e", "let-go", ("U:H",), AT), "let go U:H"),
        (Event("e", "begin", (), AT, outing="X1"), "begin X1"),
    ],
)
def test_an_event_is_a_phrase(event, text):
    """What was done, in the words of the trade."""
    assert event_text(event) == text


def test_history_reads_as_it_was_read():
    """Who, what, how well known, corrections and contradictions, as a person has read it."""
    entries = [Entry(event, i, AT + i) for i, event in enumerate(_EVENTS, 1)]
    lines = [LogLine(entry, {"e2": "e6"}.get(entry.event.id)) for entry in entries]
    assert_golden("history.txt", history_text("PUMP-1", lines, MOMENT))


def test_a_corrected_event_is_marked_in_words():
    """An event that no longer counts says so, and names what corrected it."""
    text = history_text("x", [LogLine(Entry(_EVENTS[1], 2, AT), "e6")], MOMENT)
    assert "(2)" in text
    assert "NO LONGER" in text
    assert "e6" in text


def test_an_empty_history_still_names_its_moment():
    """Nothing recorded is an answer too."""
    text = history_text("PUMP-9", [], MOMENT)
    assert "nothing recorded" in text
    assert str(MOMENT) in text


def test_remarks_and_discrepancies():
    """Remarks name what they stick to; discrepancies say what was found and what the record said."""
    remark = Entry(Event("r", "remark", ("PUMP-1",), AT, by="ina", remark="weeps"), 1, AT)
    text = remarks_text([remark], MOMENT)
    assert "PUMP-1:" in text
    assert "weeps" in text
    assert remarks_text([], MOMENT) == ""
    assert remarks_text([remark], MOMENT, "PUMP-1").startswith("Remarks on PUMP-1  (at ")
    found = discrepancies_text([Entry(_EVENTS[2], 3, AT)], MOMENT)
    assert found.startswith("1 open discrepancy")
    assert "PUMP-1:F2 demated" in found
    assert discrepancies_text([], MOMENT).startswith("No open discrepancies")


def test_remarks_beside_another_answer_never_flood_it():
    """Of twenty the last twelve are told there, and that there are more; asked for themselves they are all told."""
    many = [Entry(Event(f"r{n}", "remark", ("PUMP-1",), AT, remark=f"word {n}."), n, AT) for n in range(20)]
    beside = remarks_text(many)
    assert beside.startswith("Remarks, the last 12 of 20: `cfgtrack remarks THING`")
    assert [f"word {n}." in beside for n in range(20)] == [False] * 8 + [True] * 12
    assert "word 0." in remarks_text(many, MOMENT, "PUMP-1")
    assert remarks_text(many[:12]).startswith("Remarks\n")


def test_a_pair_that_parts_is_one_row():
    """Both halves of a demate are one line, with both named; values and places have theirs."""
    before = yard().configuration
    after = before.fork()
    for event in (
        Event("e1", "demate", ("PUMP-1:F1",), AT),
        Event("e2", "measure", ("PUMP-1:B1",), AT, values=_TORQUE),
        Event("e3", "place", ("HOSE-2",), AT, place="SITE"),
        Event("e4", "mate", ("PUMP-1:F1", "PANEL-1:P1"), AT),
        Event("e5", "demate", ("PUMP-1:F2",), AT),
    ):
        outcome = resolve(after, event)
        if isinstance(outcome, Event):
            after.apply(outcome)
    text = difference_text(difference(before, after), Moment(AT), Moment(AT + 60_000_000))
    assert_golden("difference.txt", text)
    assert "PANEL-1:P2 and PUMP-1:F2" in text
    assert text.count("mated, to each other") == 1


def test_a_half_with_another_story_keeps_its_row():
    """When a mate went on to another port the rows are not the mirror of each other, and both stay."""
    rows = [
        Difference("A:1", "status", "mated", "demated", "B:1", None, "e"),
        Difference("B:1", "status", "mated", "mated", "A:1", "C:1", "e"),
        Difference("C:1", "status", "demated", "mated", None, "B:1", "e"),
        Difference("U", "place", None, "", None, None, "e"),
    ]
    text = difference_text(rows, Moment(AT), Moment(AT))
    assert all(name in text for name in ("A:1", "B:1", "C:1", "place not known"))
    assert len(text.splitlines()) == 4 + 2 + 4


def test_two_halves_that_end_alike_are_both_told():
    """Demated and then capped, each by an event of its own: the row names both halves and both events."""
    rows = [
        Difference("A:1", "status", "mated", "capped", "B:1", None, "e1"),
        Difference("B:1", "status", "mated", "capped", "A:1", None, "e2"),
    ]
    lines = difference_text(rows, Moment(AT), Moment(AT)).splitlines()
    assert lines[0] == "1 difference"
    assert lines[-1].split("  ") == ["A:1 and B:1", "status", "mated, to each other", "both capped", "e1, e2"]


def test_a_half_that_ends_otherwise_is_told_by_itself():
    """Where one half was capped and the other not each has a row, with its own status."""
    rows = [
        Difference("A:1", "status", "mated", "capped", "B:1", None, "e1"),
        Difference("B:1", "status", "mated", "demated", "A:1", None, "e1"),
    ]
    lines = difference_text(rows, Moment(AT), Moment(AT)).splitlines()
    assert [line.split("  ")[-2] for line in lines[-2:]] == ["capped", "demated"]


def test_a_status_is_told_in_the_words_of_its_kind():
    """A valved disconnect that is mated says that its valve is shut."""
    row = Difference(
        "A:1", "status", "mated", "open", "B:1", "B:1", "e", "mated, valve shut", "mated, valve open"
    )
    text = difference_text([row], Moment(AT), Moment(AT))
    assert "mated, valve shut, to B:1" in text
    assert "mated, valve open, to B:1" in text


def test_a_contradiction_says_what_closes_it():
    """What was found and contradicts the record says so at once, and how to close it; what doesn't says nothing."""
    text = " ".join(contradiction_text(_EVENTS[2]).split())
    assert "the record said PUMP-1:F2 demated" in text
    assert "cfgtrack explain e3" in text
    assert contradiction_text(_EVENTS[0]) == ""
