"""The past judged from where it was judged last, against the past judged from its beginning."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import fields, replace
from random import Random
from typing import Any

import pytest

from cfgtrack.analysis.check import judged
from cfgtrack.answers import judging
from cfgtrack.answers.judging import Judging
from cfgtrack.answers.moment import Moment
from cfgtrack.answers.past import Past
from cfgtrack.model.action import Action
from cfgtrack.model.definition import Definition
from cfgtrack.model.trouble import Trouble
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.rule import RuleSet
from cfgtrack.store import checkpoint
from cfgtrack.store.journal import Journal, open_journal
from tests.rules.worlds import GAPS, SECOND, START, World, draw_world
from tests.store.conftest import FreshUrl

CASES = 40
"""How many random histories are judged on each database, in an ordinary run."""


class History:
    """A journal that is filled at random: late rows, corrections, withdrawals, other rules; judged now and then."""

    def __init__(self, journal: Journal, world: World, r: Random) -> None:
        self.journal = journal
        self.r = r
        self.world = world
        plant = world.plant
        parts = (plant.media, plant.kinds, plant.parts, plant.units, plant.places)
        self.initial = r.random() < 0.7
        journal.load(Definition(*parts), by=None, recorder=None)
        self.rules = [RuleSet(world.rules[::2]), RuleSet(world.rules[1::2])]
        self.loads: list[tuple[int, RuleSet]] = []
        self.serial = 0
        self.load_rules()
        self.met = dict.fromkeys(
            ("late", "corrected", "withdrawn", "loaded", "from a checkpoint", "found"), 0
        )

    def load_rules(self) -> None:
        """Keep other rules: the journal holds their name, the test what they are."""
        self.serial += 1
        self.journal.keep_rules({"rules": f"# {self.serial}"}, by=None, recorder=None)
        self.loads.append((self.journal.moment()[1], self.r.choice(self.rules)))

    def rules_at(self, known: int) -> RuleSet:
        """Return the rules that were kept by then."""
        return [rules for when, rules in self.loads if when <= known][-1]

    def fill(self) -> None:
        """Record everything, somehow; judge as a writer now and then."""
        r = self.r
        todo = [_said(event) for event in (*self.world.events, *self.world.other)]
        for i in range(len(todo)):
            if r.random() < 0.3:
                j = min(len(todo) - 1, i + r.randint(0, 6))
                todo[i], todo[j] = todo[j], todo[i]
        if self.initial:
            todo = [replace(a, initial=a.action == "as-found" and a.happened <= START + SECOND) for a in todo]
        while todo:
            roll = r.random()
            if roll < 0.75:
                self.record(todo.pop(0))
            elif roll < 0.85:
                self.correct()
            elif roll < 0.9:
                self.load_rules()
                self.met["loaded"] += 1
            else:
                self.judge_and_keep()

    def record(self, action: Action) -> None:
        """Record an action, if it can be."""
        is_late = action.happened < self.last()
        if self.given(action) and is_late:
            self.met["late"] += 1

    def given(self, action: Action) -> bool:
        """Record an action; return whether it could be."""
        try:
            self.journal.record([action])
        except Trouble:
            return False
        return True

    def last(self) -> int:
        """Return when the last event happened."""
        span = self.journal.span(1 << 60, self.journal.moment()[1])
        return 0 if span is None else span[1]

    def correct(self) -> None:
        """Correct or withdraw some event."""
        r = self.r
        events = [e.event for e in self.journal.entries() if e.event.action not in ("define", "withdraw")]
        if not events:
            return
        self.serial += 1
        target, name = r.choice(events), f"C{self.serial}"
        if r.random() < 0.5:
            gone = Action(name, "withdraw", (), START + r.choice(GAPS), withdraws=target.id, reason="no")
            self.met["withdrawn"] += self.given(gone)
        else:
            moved = target.happened + r.choice((-1, 0, 1)) * r.choice(GAPS)
            again = replace(_said(target), id=name, happened=moved, supersedes=target.id, reason="otherwise")
            self.met["corrected"] += self.given(again)

    def judging(self, at: int, known: int, *, before: int | None = None) -> Judging:
        """Judge the past from where it was judged last."""
        past = Past(self.journal, Moment(at, known))
        return Judging(self.journal, past.moment, self.rules_at(known), past.networks_of, before=before)

    def judge_and_keep(self) -> None:
        """Judge all of the past, as a writer does."""
        known = self.journal.moment()[1]
        span = self.journal.span(1 << 60, known)
        if span is not None:
            found = self.judging(span[1] + self.r.choice((0, 1, SECOND)), known, before=span[1])
            found.engine(settled=False)
            found.keep()

    def expect_same(self, at: int, known: int) -> None:
        """What is found, and which clocks run, is the same as when all of the past is judged from its beginning."""
        found = self.judging(at, known)
        past = Past(self.journal, Moment(at, known))
        rules = self.rules_at(known)
        slow = judged(rules, past.start, past.networks)
        quick = found.engine()
        assert _told(quick) == _told(slow)
        assert _told(judged(rules, found.start, past.networks)) == _told(slow)
        assert found.engine(settled=False).clocks() == slow.clocks()
        assert found.events == len(past.start.history)
        self.met["from a checkpoint"] += found._from is not None
        self.met["found"] += bool(slow.findings())


def _said(event: Action) -> Action:
    return Action(**{field.name: getattr(event, field.name) for field in fields(Action)})


def _told(engine: Engine) -> list[Any]:
    return [engine.findings(), engine.findings(as_it_is=True), engine.clocks(), engine.noted]


def _stored(journal: Journal) -> list[Any]:
    tables = (
        journal.database.rows(f"SELECT * FROM {table} ORDER BY at") for table in ("checkpoint", "settled")
    )
    return [
        [tuple(bytes(v) if isinstance(v, memoryview) else v for v in row) for row in rows] for rows in tables
    ]


def one_history(seed: int, url: str, patch: pytest.MonkeyPatch) -> dict[str, int]:
    """Fill a journal from a seed and ask it; return what it met."""
    r = Random(seed)
    patch.setattr(checkpoint, "EVERY", r.choice((1, 1, 2, 3)))
    patch.setattr(checkpoint, "KEPT", r.choice((1, 2, 100)))
    patch.setattr(judging, "SPAN", r.choice((1, 3, 100)))
    with open_journal(url, clock=lambda: 0) as journal:
        history = History(journal, draw_world(seed), r)
        history.fill()
        history.judge_and_keep()
        knowns = [line.entry.known for line in journal.log() if line.entry.known >= history.loads[0][0]]
        last = history.last()
        for _ in range(6):
            known = r.choice((knowns[-1], r.choice(knowns)))
            history.expect_same(r.choice((last, last + SECOND, r.randint(START, max(last, START)))), known)
        written = _stored(journal)
        with journal.database.writing():
            checkpoint.forget(journal.database, -(1 << 60))
        history.judge_and_keep()
        assert _stored(journal) == written
    return history.met


def test_judged_from_a_checkpoint_as_from_the_beginning(
    fresh_url: FreshUrl, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever was recorded late, corrected, withdrawn, or judged by other rules before: the answers are the same."""
    met: dict[str, int] = {}
    for seed in range(CASES):
        try:
            for what, times in one_history(seed, fresh_url(), monkeypatch).items():
                met[what] = met.get(what, 0) + (times > 0)
        except AssertionError as err:
            raise AssertionError(f"seed {seed}") from err
    assert all(times >= CASES // 10 for times in met.values()), met


def test_several_writers(fresh_url: FreshUrl, monkeypatch: pytest.MonkeyPatch) -> None:
    """Writers who record late rows side by side, and judge, leave what judging all from the beginning gives."""
    monkeypatch.setattr(checkpoint, "EVERY", 2)
    monkeypatch.setattr(checkpoint, "KEPT", 1)
    url, world = fresh_url(), draw_world(7)
    with open_journal(url, clock=lambda: 0) as journal:
        first = History(journal, world, Random(7))
        for event in world.events:
            first.record(_said(event))
        loads = first.loads

    def write(number: int) -> None:
        with open_journal(url, clock=lambda: 0) as journal:
            mine = History.__new__(History)
            mine.journal, mine.r, mine.loads = journal, Random(number), loads
            for i in range(15):
                at = START + mine.r.randint(0, 40) * SECOND
                journal.record([Action(f"W{number}-{i}", "inspect", ("U0",), at)])
                mine.judge_and_keep()

    with ThreadPoolExecutor(3) as pool:
        assert list(pool.map(write, range(3))) == [None] * 3
    with open_journal(url, clock=lambda: 0) as journal:
        first.journal = journal
        known = journal.moment()[1]
        for at in range(START, START + 45 * SECOND, SECOND):
            first.expect_same(at, known)
        first.judge_and_keep()
        written = _stored(journal)
        with journal.database.writing():
            checkpoint.forget(journal.database, -(1 << 60))
        first.judge_and_keep()
        assert _stored(journal) == written
