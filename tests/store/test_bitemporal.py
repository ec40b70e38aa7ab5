"""The journal against the slow model of `world`: random events, late ones, corrections and withdrawals."""

import shutil
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration, View
from cfgtrack.model.event import Event
from cfgtrack.model.trouble import Trouble
from cfgtrack.store import record
from cfgtrack.store.archive import fill_from_archive, write_archive
from cfgtrack.store.audit import audit
from cfgtrack.store.database import Database
from cfgtrack.store.journal import Journal, open_journal
from cfgtrack.store.upkeep import rebuild
from tests.happening import refused
from tests.store.conftest import FreshUrl
from tests.store.world import (
    CANDIDATES,
    DEFINITION,
    START,
    SUBJECTS,
    Contradiction,
    Line,
    SlowJournal,
    state_digest,
)

# Few instants, so that many events fall on the same one.
times = st.integers(min_value=START, max_value=START + 12)


def _states(view: View) -> dict[str, object]:
    return {s: view.state(s) for s in SUBJECTS}


def _standing(view: View) -> dict[str, set[str]]:
    return {place: set(view.standing_at(place)) for place in DEFINITION.places}


class Pair:
    """A journal and the model, given the same."""

    def __init__(self, journal: Journal) -> None:
        self.journal = journal
        self.slow = SlowJournal()
        self.serial = [0]
        journal.load(DEFINITION, by=None, recorder=None)
        for line in journal.log():
            number, known = line.entry.number, line.entry.known
            self.slow.lines.append(Line(line.entry.event, number, known, number, None))

    def give(self, events: list[Action]) -> bool:
        """Give a batch to both. They must agree on whether it can be."""
        known = self.journal.moment()[1]
        ids = {e.id for e in events}
        if not any(ids & {e.supersedes, e.withdraws} for e in events):
            events = sorted(events, key=lambda e: e.happened)
        try:
            self.slow.record(events, known + 1)
        except Contradiction:
            with pytest.raises(Trouble):
                self.journal.record(events)
            assert self.journal.moment()[1] == known
            return False
        entries = self.journal.record(events)
        assert [e.event for e in entries] == [line.event for line in self.slow.lines[-len(events) :]]
        return True

    def correct(self, actions: list[Action]) -> bool:
        """Give corrections that are to be taken together to both. They must agree on whether they can be."""
        known = self.journal.moment()[1]
        try:
            self.slow.correct(actions, known + 1)
        except Contradiction:
            with pytest.raises(Trouble):
                self.journal.correct(actions)
            assert self.journal.moment()[1] == known
            return False
        events = {e.event.id: e.event for e in self.journal.correct(actions)}
        assert [*events.values()] != []
        assert {line.event.id: line.event for line in self.slow.lines[-len(actions) :]} == events
        return True


@st.composite
def _batches(draw, slow: SlowJournal, serial: list[int]) -> list[Action]:
    """Draw one to three events: mostly possible ones, now and then anything; some correct an earlier one."""
    return [draw(_event(slow, serial)) for _ in range(draw(st.sampled_from([1, 1, 1, 2, 3])))]


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(data=st.data())
def test_corrections_as_one_agree_with_the_slow_model(data: st.DataObject, fresh_url: FreshUrl) -> None:
    """Several corrections together are taken when they fit in the end, whatever each would be alone; or none is."""
    url = fresh_url()
    with open_journal(url, clock=lambda: 0) as journal:
        pair = Pair(journal)
        for _ in range(data.draw(st.integers(3, 12))):
            pair.give(data.draw(_batches(pair.slow, pair.serial)))
        for _ in range(4):
            pair.correct(data.draw(_corrections(pair.slow, pair.serial)))
        known = journal.moment()[1]
        for at in range(START - 1, START + 13):
            for then in (known, known - 1, known - 2):
                _expect_same(journal, pair.slow.at(at, then), at, then)
        assert audit(journal.database).faults == []


@st.composite
def _corrections(draw, slow: SlowJournal, serial: list[int]) -> list[Action]:
    """Draw two or three corrections of events in effect: exchanged, moved, or otherwise."""
    now = [line.event for line in slow.in_effect(2**62) if line.event.action not in ("define", "withdraw")]
    assume(len(now) > 1)
    targets = draw(st.lists(st.sampled_from(now), min_size=2, max_size=3, unique_by=lambda e: e.id))
    deeds: list[Action] = list(targets)
    if draw(st.booleans()):
        deeds = deeds[1:] + deeds[:1]
    out = []
    for target, deed in zip(targets, deeds, strict=True):
        serial[0] += 1
        at = draw(st.sampled_from([target.happened, target.happened, deed.happened, draw(times)]))
        again = Action("", deed.action, deed.subjects[:2], at, place=deed.place, status=deed.status)
        fields = {"remark": "x", "supersedes": target.id, "reason": "was otherwise"}
        out.append(replace(again, id=f"e{serial[0]}", **fields))
    return out


@st.composite
def _event(draw, slow: SlowJournal, serial: list[int]) -> Action:
    serial[0] += 1
    event_id = f"e{serial[0]}"
    how = draw(st.sampled_from(["new", "new", "new", "supersede", "withdraw"]))
    earlier = [line.event for line in slow.lines if line.event.action != "define"]
    if how == "withdraw":
        target = draw(st.sampled_from(earlier))
        return Action(event_id, "withdraw", (), draw(times), withdraws=target.id, reason="was not so")
    at = draw(times)
    target = None
    if how == "supersede":
        target = draw(st.sampled_from(earlier))
        at = draw(st.sampled_from([target.happened, at]))
    event = draw(st.sampled_from(_plausible(slow, at)))
    event = replace(event, id=event_id, happened=at)
    if target is not None:
        event = replace(event, supersedes=target.id, reason="was otherwise")
    return event  # type: ignore[no-any-return]


def _plausible(slow: SlowJournal, at: int) -> list[Action]:
    configuration = slow.at(at, 2**62)
    possible = [e for e in CANDIDATES if not refused(configuration, e)]
    return possible + possible + list(CANDIDATES)[:: max(1, len(CANDIDATES) // len(possible))]


@pytest.mark.parametrize("few", [0, 1_000], ids=["in-memory", "asking"])
@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(data=st.data())
def test_the_journal_agrees_with_the_slow_model(
    data: st.DataObject, few: int, fresh_url: FreshUrl, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is accepted, and the configuration at any (at, known), are the same as when every event is looked at."""
    monkeypatch.setattr(record, "FEW", few)
    url = fresh_url()
    with open_journal(url, clock=lambda: 0) as journal:
        pair = Pair(journal)
        for _ in range(data.draw(st.integers(5, 25))):
            pair.give(data.draw(_batches(pair.slow, pair.serial)))
        knowns = [line.known for line in pair.slow.lines]
        for _ in range(8):
            at = data.draw(st.integers(START - 1, START + 13))
            known = data.draw(st.sampled_from(knowns)) + data.draw(st.sampled_from([0, 0, -1]))
            expected = pair.slow.at(at, known)
            _expect_same(journal, expected, at, known)
            _expect_same_events(journal, pair.slow, at, known)
        assert [e.event.id for e in journal.entries()] == [
            line.event.id for line in pair.slow.in_effect(2**62)
        ]
        _expect_cache_and_archive(journal, url, fresh_url)


def _expect_same_events(journal: Journal, slow: SlowJournal, at: int, known: int) -> None:
    """Entries, histories and discrepancies are those that the model finds by looking at every event."""
    told = [line.event for line in slow.in_effect(known)]
    assert [e.event for e in journal.entries(at=at, known=known)] == [e for e in told if e.happened <= at]
    later = [e for e in told if e.happened > at]
    assert [e.event for e in journal.entries(since=at, known=known)] == later
    for subject in ("X", "X:F", "BAY", "INA:G", "box"):
        wanted = [e for e in told if _concerns(slow, e, subject) and START <= e.happened < at]
        found = journal.history(subject, start=START, end=at, known=known)
        assert [e.event for e in found] == wanted, subject
    open_ones = [e.id for e in told if e.action == "as-found" and e.expected and e.happened <= at]
    assert [e.event.id for e in journal.discrepancies(at, known)] == open_ones


def _concerns(slow: SlowJournal, event: Event, subject: str) -> bool:
    named = {*event.subjects, *event.moved, event.peer or "", event.place or ""}
    if event.withdraws and ":" not in subject:
        target = slow.line_of(event.withdraws)
        assert target is not None
        return _concerns(slow, target.event, subject)
    return subject in named or (":" not in subject and subject in {n.partition(":")[0] for n in named})


def _expect_cache_and_archive(journal: Journal, url: str, fresh_url: FreshUrl) -> None:
    """The derived state is the same when it is rebuilt, and in the journal that an archive gives."""
    assert audit(journal.database).faults == []
    written = state_digest(journal.database)
    rebuild(url)
    assert state_digest(journal.database) == written
    with closing(Database(fresh_url())) as other:
        with other.writing():
            fill_from_archive(other, write_archive(journal.database))
        assert state_digest(other) == written
        assert list(write_archive(other)) == list(write_archive(journal.database))


@pytest.mark.parametrize("few", [0, 1_000], ids=["in-memory", "asking"])
@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(data=st.data())
def test_what_is_set_aside_leaves_a_sound_journal(
    data: st.DataObject, few: int, sqlite_url: str, pattern: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever rows are set aside, what was recorded is possible from its beginning to its end, and nothing is lost."""
    monkeypatch.setattr(record, "FEW", few)
    shutil.copy(pattern, sqlite_url)
    with open_journal(sqlite_url, clock=lambda: 0) as journal:
        pair = Pair(journal)
        rows = [data.draw(_event(pair.slow, pair.serial)) for _ in range(data.draw(st.integers(1, 25)))]
        aside: list[str] = []
        kept: list[str] = []
        tally = journal.take(
            [(e.id, e) for e in rows],
            each=lambda entry: kept.append(entry.event.id),
            set_aside=lambda where, problems: aside.append(where if list(problems) else ""),
        )
        assert sorted(aside + kept) == sorted(e.id for e in rows)
        assert (tally.recorded, tally.refused) == (len(kept), len(aside))
        by_id: dict[str, Line] = {}
        for line in journal.log():
            event = line.entry.event
            target = by_id.get(event.supersedes or event.withdraws or "")
            same = target is not None and event.supersedes and target.event.happened == event.happened
            turn = target.turn if target is not None and same else line.entry.number
            corrects = None if target is None else target.number
            by_id[event.id] = Line(event, line.entry.number, line.entry.known, turn, corrects)
        pair.slow.lines = list(by_id.values())
        pair.slow.expect_sound()
        _expect_same(journal, pair.slow.at(START + 99, 2**62), START + 99, journal.moment()[1])
        assert audit(journal.database).faults == []


def _expect_same(journal: Journal, expected: Configuration, at: int, known: int) -> None:
    if not journal.plant(at, known).units:
        return
    view = journal.view(at, known)
    whole = journal.configuration(at, known)
    assert _states(view) == _states(expected)
    assert _states(whole) == _states(expected)
    assert _standing(view) == _standing(expected) == _standing(whole)
    assert whole.cycles == expected.cycles
    for owner in ("X", "BAY", "INA"):
        one = journal.unit(owner, at, known)
        assert {s: v for s, v in expected.touched() if s.partition(":")[0] == owner} == dict(one.touched())
