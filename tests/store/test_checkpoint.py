"""Checkpoints against an obvious judge, whose memory at an instant is the list of all events that count by then."""

import json
from collections.abc import Iterator
from dataclasses import replace
from itertools import groupby

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cfgtrack.model.action import BOOK_ACTIONS, Action
from cfgtrack.model.event import Event
from cfgtrack.model.plant import Unit
from cfgtrack.model.trouble import Refused
from cfgtrack.store import checkpoint
from cfgtrack.store.checkpoint import Checkpoint, is_kept
from cfgtrack.store.columns import NEVER
from cfgtrack.store.database import Database
from cfgtrack.store.journal import Journal, open_journal
from tests.store.conftest import FreshUrl
from tests.store.test_bitemporal import Pair, _batches
from tests.store.world import DEFINITION, START, SlowJournal

FORM = "tests"


def _counted(slow: SlowJournal, at: int, known: int) -> list[Event]:
    told = (line.event for line in slow.in_effect(known))
    return [e for e in told if e.happened <= at and e.action not in BOOK_ACTIONS]


def _judged(journal: Journal, slow: SlowJournal, since: Checkpoint | None) -> list[Checkpoint]:
    """Judge the past from its beginning: return the checkpoints that are wanted on the way after the one `since`."""
    known = journal.moment()[1]
    span = journal.span(NEVER, known)
    if span is None:  # all that there was has been withdrawn
        return []
    wanted = journal.wanted_checkpoints(span[1], known, since=since)
    made: list[Checkpoint] = []
    before, settled = list[str](), list[tuple[int, str]]()
    for at, group in groupby(_counted(slow, NEVER, known), key=lambda e: e.happened):
        now = [e.id for e in group]
        counted, before = len(before), before + now
        if since is None or at > since.at:
            settled += [(at, name) for name in now]
            if at < span[1] and wanted.at(at, counted, len(before)):
                made.append(Checkpoint(at, len(before), json.dumps(before).encode(), tuple(settled)))
                settled = []
    return made


def _stored(database: Database) -> list[object]:
    return [
        [tuple(map(_plain, row)) for row in database.rows(f"SELECT * FROM {table} ORDER BY at")]
        for table in ("checkpoint", "settled")
    ]


def _plain(value: object) -> object:
    return bytes(value) if isinstance(value, memoryview) else value


def _judge_and_keep(journal: Journal, slow: SlowJournal) -> None:
    """Judge up to now from the last valid checkpoint, as a writer does."""
    known = journal.moment()[1]
    last = journal.checkpoint(FORM, NEVER, known)
    journal.keep_checkpoints(_judged(journal, slow, last), FORM, known)


@pytest.mark.parametrize(("every", "kept"), [(1, 1), (2, 1), (3, 2)])
@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(data=st.data())
def test_a_valid_checkpoint_holds_what_judging_from_the_beginning_finds(
    data: st.DataObject, every: int, kept: int, fresh_url: FreshUrl, monkeypatch: pytest.MonkeyPatch
) -> None:
    """For any (at, known) the checkpoint that is found is of that past; dropped and judged again, all are the same."""
    monkeypatch.setattr(checkpoint, "EVERY", every)
    monkeypatch.setattr(checkpoint, "KEPT", kept)
    with open_journal(fresh_url(), clock=lambda: 0) as journal:
        pair = Pair(journal)
        for _ in range(data.draw(st.integers(3, 20))):
            pair.give(data.draw(_batches(pair.slow, pair.serial)))
            if data.draw(st.booleans()):
                _judge_and_keep(journal, pair.slow)
        knowns = [line.known for line in pair.slow.lines]
        for _ in range(8):
            at = data.draw(st.integers(START - 1, START + 13))
            known = data.draw(st.sampled_from(knowns)) + data.draw(st.sampled_from([0, 0, -1]))
            found = journal.checkpoint(FORM, at, known)
            if found is not None:
                assert found.at < at
                expected = [e.id for e in _counted(pair.slow, found.at, known)]
                assert (json.loads(found.memory), found.events) == (expected, len(expected))
                assert sorted(text for _, text in journal.settled(found.at)) == sorted(expected)
        _judge_and_keep(journal, pair.slow)
        written = _stored(journal.database)
        with journal.database.writing():
            checkpoint.forget(journal.database, -NEVER)
        assert _stored(journal.database) == [[], []]
        _judge_and_keep(journal, pair.slow)
        assert _stored(journal.database) == written


@pytest.fixture
def journal(url: str, monkeypatch: pytest.MonkeyPatch) -> Iterator[Journal]:
    """A journal of three events a second apart, with a checkpoint after each."""
    monkeypatch.setattr(checkpoint, "EVERY", 1)
    monkeypatch.setattr(checkpoint, "KEPT", 100)
    with open_journal(url, clock=lambda: START) as journal:
        journal.load(DEFINITION, by=None, recorder=None)
        journal.keep_rules({"a.toml": "#"}, by=None, recorder=None)
        for i in range(3):
            journal.record([_remark(i)])
        _keep(journal)
        yield journal


def _remark(i: int) -> Action:
    return Action(f"R{i}", "remark", ("X",), START + 10 * i + 10, remark="mind the edge")


def _keep(journal: Journal) -> None:
    made = [Checkpoint(START + 10 * i, 3 + i, b"%d" % i, ((START + 10 * i, str(i)),)) for i in range(4)]
    journal.keep_checkpoints(made, FORM, journal.moment()[1])


def _instants(journal: Journal) -> list[int]:
    return [(at - START) // 10 for (at,) in journal.database.rows("SELECT at FROM checkpoint ORDER BY at")]


def _settled(journal: Journal) -> list[str]:
    return [body for (body,) in journal.database.rows("SELECT body FROM settled ORDER BY at")]


def test_what_is_written_takes_away_what_it_might_have_shaped(journal: Journal) -> None:
    """A late row takes the checkpoints from its instant on; a correction those from the instant of what it corrects."""
    assert (_instants(journal), _settled(journal)) == ([0, 1, 2, 3], ["0", "1", "2", "3"])
    late = Action("late", "remark", ("X",), START + 30, remark="x")
    journal.record([late], dry_run=True)
    assert _instants(journal) == [0, 1, 2, 3]
    journal.record([late])
    assert (_instants(journal), _settled(journal)) == ([0, 1, 2], ["0", "1", "2"])
    moved = Action("moved", "remark", ("X",), START + 90, remark="x", supersedes="R1", reason="later")
    journal.record([moved])
    assert (_instants(journal), _settled(journal)) == ([0, 1], ["0", "1"])
    journal.record([Action("gone", "withdraw", (), START + 99, withdraws="R0", reason="no")])
    assert _instants(journal) == [0]


def test_a_refused_row_takes_nothing_away(journal: Journal) -> None:
    """What isn't recorded leaves the checkpoints as they are."""
    with pytest.raises(Refused, match="needs it mated"):
        journal.record([Action("bad", "demate", ("X:F",), START + 5)])
    assert _instants(journal) == [0, 1, 2, 3]


@pytest.mark.parametrize("what", ["rules", "definition", "initial"])
def test_another_shape_takes_all_away(what: str, journal: Journal) -> None:
    """Other rules, another definition, another initial configuration: everything is judged anew."""
    if what == "rules":
        journal.keep_rules({"a.toml": "# other"}, by=None, recorder=None)
    elif what == "definition":
        units = {**DEFINITION.units, "W": Unit("W", "box")}
        journal.load(replace(DEFINITION, units=units), by=None, recorder=None)
    else:
        found = Action("I", "as-found", ("Z:F",), START + 99, status="demated", initial=True)
        journal.record([found])
    assert (_instants(journal), _settled(journal)) == ([], [])


def test_a_question_as_known_then(journal: Journal) -> None:
    """A checkpoint that a row known later has shaped is not for a question as known before, nor one of other rules."""
    known = journal.moment()[1]
    for at, known_at, wanted in ((99, known, 30), (31, known, 30), (30, known, 20), (99, known - 1, 20)):
        found = journal.checkpoint(FORM, START + at, known_at)
        assert found is not None
        assert found.at == START + wanted
    assert journal.checkpoint("another program", START + 99, known) is None
    assert journal.checkpoint(FORM, START - 1, known) is None
    before_rules = known - 3 - 1
    assert journal.checkpoint(FORM, START + 99, before_rules) is None


def test_what_was_overtaken_is_not_kept(journal: Journal) -> None:
    """What others recorded while the past was being judged is in none of the checkpoints that come of it."""
    known = journal.moment()[1]
    for action in (_remark(7), Action("late", "remark", ("X",), START + 15, remark="x")):
        journal.record([action])
    assert _instants(journal) == [0, 1]
    made = [Checkpoint(START + 10 * i, 3 + i, b"%d" % i) for i in range(4)]
    journal.keep_checkpoints(made, FORM, known)
    assert _instants(journal) == [0, 1]
    journal.keep_rules({"a.toml": "# other"}, by=None, recorder=None)
    journal.keep_checkpoints(made, FORM, known)
    assert _instants(journal) == []


def test_two_writers_who_judged_the_same(journal: Journal) -> None:
    """A checkpoint that somebody else has written already is left as it is."""
    before = _stored(journal.database)
    _keep(journal)
    assert _stored(journal.database) == before


def test_few_are_kept_of_many() -> None:
    """However many events: a checkpoint is never far behind, in proportion to the distance, and there are few."""
    for ever in (1_000, 10_000, 1_000_000):
        places = range(checkpoint.EVERY, ever + 1, checkpoint.EVERY)
        kept = [n for n in places if is_kept(n, ever)]
        assert len(kept) <= 5 * checkpoint.KEPT + checkpoint.KEPT * (ever // checkpoint.EVERY).bit_length()
        for back in range(1, ever // 2, ever // 97 + 1):
            last = max((n for n in kept if n <= ever - back), default=0)
            assert ever - back - last <= back * 2 / (checkpoint.KEPT - 1) + 2 * checkpoint.EVERY


def test_what_is_dropped_is_never_wanted_again() -> None:
    """As the journal grows a checkpoint is dropped once, and for good: so nothing has to be made that is gone."""
    for n in range(checkpoint.EVERY, 300 * checkpoint.EVERY, checkpoint.EVERY):
        kept = [is_kept(n, ever) for ever in range(n, 1_000 * checkpoint.EVERY, checkpoint.EVERY)]
        assert kept[0]
        assert kept == sorted(kept, reverse=True)
