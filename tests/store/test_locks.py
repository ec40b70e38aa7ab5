"""Locks and tags in the record: late ones, corrections, what was known then, and all that is derived agree."""

from __future__ import annotations

from dataclasses import replace
from io import StringIO

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cfgtrack.files.rows import read_rows, write_csv, write_jsonl
from cfgtrack.model.action import Action
from cfgtrack.model.trouble import Problem, Refused
from cfgtrack.store import record
from cfgtrack.store.audit import audit
from tests.model.test_lock_enumerated import ACTIONS, DEFINITION, SAID, Page, seen, step
from tests.store.conftest import FreshUrl
from tests.store.paged import NOW, START, Paged, opened


def said(letters: str, tick: int, event_id: str = "") -> Action:
    """Return an action in the letters of the page, so many ticks after the start."""
    action: Action = SAID[letters]
    return replace(action, id=event_id or f"e{tick}", happened=START + tick)


def test_what_is_locked_is_refused_with_who_locked_it(url: str) -> None:
    """A record that can't be so is refused, and names the event that it collides with; as-found takes it."""
    with opened(url) as journal:
        journal.load(DEFINITION, by=None, recorder=None)
        journal.record([said("A lock K A -", 10)])
        with pytest.raises(
            Refused, match=r"locked: S:K is locked: A's lock, on since .*: event e10, lock S:K by A"
        ):
            journal.record([said("A on K - -", 20)])
        with pytest.raises(Refused, match="not-yours"):
            journal.record([said("B unlock K A -", 20)])
        journal.record([said("A found-on K - -", 30)])
        [open_one] = journal.discrepancies()
        assert open_one.event.expected == "S:K off, locked by A"
        assert seen(journal.configuration(NOW)).locks == {("K", "A")}
        journal.record([said("A off K - -", 40)])
        with pytest.raises(Refused, match="locked"):
            journal.record([said("A on K - -", 50)])


def test_a_late_lock_collides_with_what_was_done_under_it(url: str) -> None:
    """Told too late, a lock contradicts what is recorded to have been energised then: both are shown."""
    with opened(url) as journal:
        journal.load(DEFINITION, by=None, recorder=None)
        journal.record([said("A on K - -", 30), said("A off K - -", 40), said("A on K - -", 50)])
        with pytest.raises(Refused, match="collides with later event e30, energise S:K"):
            journal.record([said("A lock K A -", 20)])
        journal.record([said("A lock K A -", 20), said("A unlock K A -", 25)])
        with pytest.raises(Refused, match="collides with later event e50, energise S:K"):
            journal.record([said("A lock K A -", 45)])
        assert audit(journal.database).is_sound


def test_a_late_lock_reaches_beyond_the_next_change_of_status(url: str) -> None:
    """A lock doesn't end where the status of what it is on is written next: what comes after that is looked at, too."""
    with opened(url) as journal:
        journal.load(DEFINITION, by=None, recorder=None)
        goes = Action("p1", "place", ("A",), START + 15, place="X")
        journal.record([goes, said("A found-off K - -", 20), said("A on K - -", 30)])
        with pytest.raises(Refused, match="collides with later event e30, energise S:K"):
            journal.record([said("A lock K A -", 10)])


@pytest.mark.parametrize("few", [0, 1_000], ids=["in-memory", "asking"])
def test_what_comes_before_a_lock_is_not_held_against_it(
    url: str, few: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A lock is off before it is put on, and once it was withdrawn or taken off late, within one batch as well."""
    monkeypatch.setattr(record, "FEW", few)
    with opened(url) as journal:
        journal.load(DEFINITION, by=None, recorder=None)
        journal.record([said("A lock K A -", 30)])
        with pytest.raises(Refused, match="no-lock"):
            journal.record([said("A unlock K A -", 20)])
        gone = Action("w", "withdraw", (), START + 45, withdraws="e30", reason="was another breaker")
        journal.record([gone, said("A on K - -", 50)])
        journal.record([said("A lock V A -", 60), said("B tag V B -", 80)])
        journal.record([said("A unlock V A -", 70), said("A on V - -", 90)])
        assert seen(journal.configuration(NOW)) == Page(on=frozenset("KV"), tags=frozenset({("V", "B")}))
        assert audit(journal.database).is_sound


def test_a_late_lock_on_the_box_collides_with_what_was_taken_out_of_it(url: str) -> None:
    """The box's lock can't have come off while somebody's hung on the box."""
    with opened(url) as journal:
        journal.load(DEFINITION, by=None, recorder=None)
        journal.record([said("A lock K X -", 10), said("A unlock K X -", 30), said("A on K - -", 40)])
        with pytest.raises(Refused, match="collides with later event e30, unlock S:K from X"):
            journal.record([said("B lock X B -", 20)])
        assert seen(journal.configuration(START + 20)).locks == {("K", "X")}


def test_whose_locks_a_place_or_person_has_is_in_the_history(url: str) -> None:
    """An event with a lock touches what it hangs on and whose it is: the history of either tells it."""
    with opened(url) as journal:
        journal.load(DEFINITION, by=None, recorder=None)
        journal.record([said("A lock K X -", 10), said("A lock X A -", 20)])
        assert [e.event.id for e in journal.history("X")] == ["e10", "e20"]
        assert [e.event.id for e in journal.history("A")] == ["e20"]
        assert [e.event.id for e in journal.history("S:K")] == ["e10"]


# --- random histories with corrections, against the page ------------------------------------------------------------


def parts(page: Page, letters: str) -> bool:
    """Return whether an event finds a plug out that was in on the page."""
    _, verb, what, *_ = letters.split()
    return verb == "found-off" and what == "J" and "J" in page.on


PAGED = Paged(Page(), ACTIONS, step, parts, said, seen)


@pytest.mark.parametrize("few", [0, 1_000], ids=["in-memory", "asking"])
@settings(max_examples=25, deadline=None, suppress_health_check=[*HealthCheck])
@given(data=st.data())
def test_random_histories_are_judged_as_the_page_does(
    data: st.DataObject, few: int, fresh_url: FreshUrl, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is taken, and which locks hang where at any time as known at any time, is what the page says.

    A row is taken exactly where all that then counts, from the first to the last, is possible on the page.
    """
    monkeypatch.setattr(record, "FEW", few)
    PAGED.judges(data, fresh_url(), lambda journal: journal.load(DEFINITION, by=None, recorder=None))


@pytest.mark.parametrize("form", ["csv", "jsonl"])
def test_rows_go_out_and_come_in_again(url: str, fresh_url: FreshUrl, form: str) -> None:
    """Locks, tags, hand-overs and what was cut are the same again after an export and an import."""
    told = ["A lock K X -", "A lock X A -", "B lock K B -", "B transfer K B A", "A tag K A -", "A lock V A -"]
    told.append("B cut V A -")
    with opened(url) as journal:
        journal.load(DEFINITION, by=None, recorder=None)
        journal.record([said(letters, 10 * n) for n, letters in enumerate(told, 1)])
        out = StringIO()
        entries = [entry for entry in journal.entries() if entry.event.action != "define"]
        (write_csv if form == "csv" else write_jsonl)(entries, out)
        before = seen(journal.configuration(NOW))
    assert before.locks == {("K", "X"), ("X", "A"), ("K", "A")}
    assert before.tags == {("K", "A")}
    with opened(fresh_url()) as other:
        other.load(DEFINITION, by=None, recorder=None)
        lines = out.getvalue().splitlines(keepends=True)
        rows = list(read_rows(lines, other.plant(), where=f"rows.{form}"))
        assert not [row for row in rows if isinstance(row, Problem)]
        other.record([row[1] for row in rows if not isinstance(row, Problem)])
        assert seen(other.configuration(NOW)) == before
        again = [entry.event for entry in other.entries() if entry.event.action != "define"]
        assert [e.subjects for e in again] == [e.event.subjects for e in entries]
