"""Random revisions of random plants: the plant at any two times, and what is answered about the time before."""

from __future__ import annotations

from dataclasses import dataclass, replace
from random import Random
from typing import Any

import pytest

from cfgtrack.analysis.difference import difference
from cfgtrack.analysis.state import plant_state
from cfgtrack.answers import judging
from cfgtrack.answers.encode import json_of
from cfgtrack.answers.judging import Judging
from cfgtrack.answers.moment import Moment
from cfgtrack.answers.past import Past
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.definition import SORTS, Definition
from cfgtrack.model.part import Part, Port
from cfgtrack.model.plant import Plant, Unit
from cfgtrack.model.quantity import Quantity
from cfgtrack.model.trouble import NoAnswer, Refused, Trouble
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.rule import RuleSet
from cfgtrack.store import checkpoint
from cfgtrack.store.audit import audit
from cfgtrack.store.journal import Journal, open_journal
from cfgtrack.store.loading import Effect
from tests.answers.test_judging import History, _said, _stored, _told
from tests.rules.worlds import KINDS, MEDIA, SECOND, START, World, _part, draw_world
from tests.store.conftest import FreshUrl

CASES = 24
"""How many random histories are revised on each database, in an ordinary run."""

ALWAYS, FOREVER = -(1 << 62), 1 << 62
RETIRED = "retired"


@dataclass
class Version:
    """One version of an item, in the plainest form: what, from when on, told when, and until when that was believed.

    `place` orders versions of one date of effect; a correction takes over the place of what it corrects.
    """

    sort: str
    id: str
    value: Any
    effective: int
    place: int
    known: int
    event: str
    until: int = FOREVER


class Slow:
    """Every version of every item in one list, looked through from one end to the other for each question."""

    def __init__(self) -> None:
        self.versions: list[Version] = []

    def last(self, sort: str, name: str, at: int, known: int) -> Version | None:
        """Return the version that counts: of those of then, as known, the last."""
        best = None
        for one in self.versions:
            counts = (
                (one.sort, one.id) == (sort, name) and one.effective <= at and one.known <= known < one.until
            )
            if counts and (best is None or (one.effective, one.place) >= (best.effective, best.place)):
                best = one
        return best

    def plant(self, at: int, known: int) -> Plant:
        """Return the plant at (at, known)."""
        found: dict[str, dict[str, Any]] = {sort: {} for sort in (*SORTS, RETIRED)}
        for sort, name in {(one.sort, one.id) for one in self.versions}:
            last = self.last(sort, name, at, known)
            if last is not None:
                found[sort][name] = last.value
        gone = {name: found["unit"].pop(name) for name in found[RETIRED] if name in found["unit"]}
        return Plant(**{name: found[sort] for sort, name in SORTS.items()}, retired=gone)


class Revised(History):
    """A history whose hardware changes: parts revised, units come and retired, early and late, and taken back."""

    def __init__(self, journal: Journal, world: World, r: Random) -> None:
        self.slow = Slow()
        super().__init__(journal, world, r)
        self.definition = Definition(*(getattr(world.plant, name) for name in SORTS.values()))
        first = self.journal.log()
        loaded = next(line.entry for line in first if line.entry.event.action == "define")
        for sort in SORTS:
            for name, item in self.definition.items(sort).items():
                self.slow.versions.append(
                    Version(sort, name, item, ALWAYS, loaded.number, loaded.known, loaded.event.id)
                )
        self.knowns = [loaded.known]
        self.met |= dict.fromkeys(
            ("revised", "revised early", "retired", "reloaded", "taken back", "told anew", "refused"), 0
        )

    def fill(self) -> None:
        """Record everything, somehow; change the hardware now and then, and judge as a writer."""
        r = self.r
        todo = [_said(event) for event in (*self.world.events, *self.world.other)]
        if self.initial:
            todo = [replace(a, initial=a.action == "as-found" and a.happened <= START + SECOND) for a in todo]
        while todo:
            roll = r.random()
            if roll < 0.6:
                self.record(todo.pop(0))
            elif roll < 0.66:
                self.correct()
            elif roll < 0.74:
                self.judge_and_keep()
            else:
                self.change(
                    r.choice((self.revise, self.revise, self.come, self.retire, self.reload, self.take_back))
                )
            self.knowns.append(self.journal.moment()[1])

    def correct(self) -> None:
        """Correct what was done, not what is defined: that is for `take_back`."""
        events = [e.event for e in self.journal.entries()]
        names = {"define", "revise", "retire", "withdraw"}
        if any(event.action not in names for event in events):
            chosen = self.r.choice([event for event in events if event.action not in names])
            self.serial += 1
            gone = Action(f"C{self.serial}", "withdraw", (), START, withdraws=chosen.id, reason="no")
            self.met["withdrawn"] += self.given(gone)

    # --- the hardware changes ---

    def change(self, how: Any) -> None:
        """Change the hardware somehow. About every earlier instant the same is answered as before, to the byte."""
        r, known = self.r, self.journal.moment()[1]
        instants = sorted(
            {START - 1, *(START + r.randint(0, 24) * SECOND - r.randint(0, 1) for _ in range(3))}
        )
        before = {at: self.answers(at, known) for at in instants}
        stored = _stored(self.journal)
        effective = START + r.choice((r.randint(-1, 24) * SECOND, r.randint(0, 12 * SECOND)))
        try:
            effective = how(effective)
        except (Refused, NoAnswer):
            self.met["refused"] += 1
            assert self.journal.moment()[1] == known
            assert _stored(self.journal) == stored
            return
        now = self.journal.moment()[1]
        for at, told in before.items():
            assert self.answers(at, known) == told, "as it was known then"
            if at < effective:
                assert self.answers(at, now) == told, "as it is known now"

    def load(self, definition: Definition, effect: Effect | None) -> list[Any]:
        """Load a definition; return the events that carry what differs."""
        report = self.journal.load(definition, by=None, recorder=None, effect=effect)
        return [
            line.entry
            for line in self.journal.log()
            if line.entry.event.id in {e.event.id for e in report.entries}
        ]

    def _latest(self, at: int) -> Plant:
        return self.slow.plant(at, self.journal.moment()[1])

    def _with(self, plant: Plant, **other: Any) -> Definition:
        units = {**plant.retired, **plant.units}
        whole = {name: getattr(plant, name) for name in SORTS.values()} | {"units": units}
        return Definition(**{**whole, **other})

    def revise(self, effective: int) -> int:
        """Give a part other ports, nodes and links from a date on."""
        plant = self._latest(effective)
        name = self.r.choice(("pump", "panel"))
        part = _part(self.r, name)
        self._load_from(self._with(plant, parts={**plant.parts, name: part}), effective)
        self.met["revised"] += 1
        self.met["revised early"] += effective < self.last()
        return effective

    def come(self, effective: int) -> int:
        """Have a unit come, or one be another part, from a date on."""
        plant = self._latest(effective)
        unit = Unit(self.r.choice(("U0", "U1", "NEW-1", "NEW-2")), self.r.choice(("pump", "panel")))
        self._load_from(self._with(plant, units={**plant.retired, **plant.units, unit.id: unit}), effective)
        return effective

    def _load_from(self, definition: Definition, effective: int) -> None:
        before = self.slow
        known = self.journal.moment()[1]
        for entry in self.load(definition, Effect(effective, "so it is")):
            assert (entry.event.action, entry.event.happened) == ("revise", effective)
            for sort in SORTS:
                for name, item in definition.items(sort).items():
                    was = before.last(sort, name, effective, known)
                    if was is None or was.value != item:
                        self.slow.versions.append(
                            Version(sort, name, item, effective, entry.number, entry.known, entry.event.id)
                        )

    def reload(self, effective: int) -> int:
        """Load a part without a date: as if it always had been, or had been since it was revised last."""
        del effective
        known = self.journal.moment()[1]
        plant = self.slow.plant(FOREVER, known)
        name = self.r.choice(("pump", "panel"))
        part = replace(plant.parts[name], title=str(self.serial), tags=frozenset({"told"}))
        if self.r.random() < 0.3:
            part = _part(self.r, name)
        self.serial += 1
        was = self.slow.last("part", name, FOREVER, known)
        assert was is not None
        entries = self.load(self._with(plant, parts={**plant.parts, name: part}), None)
        if part == was.value:
            assert not entries
            return FOREVER
        (entry,) = entries
        self.met["reloaded"] += 1
        if was.effective == ALWAYS:
            assert entry.event.action == "define"
            self.slow.versions.append(
                Version("part", name, part, ALWAYS, entry.number, entry.known, entry.event.id)
            )
            return ALWAYS
        self.met["told anew"] += 1
        assert entry.event.supersedes == was.event
        for one in [v for v in self.slow.versions if v.event == was.event and v.until == FOREVER]:
            one.until = entry.known
            value = part if (one.sort, one.id) == ("part", name) else one.value
            self.slow.versions.append(
                Version(one.sort, one.id, value, one.effective, one.place, entry.known, entry.event.id)
            )
        return was.effective

    def retire(self, effective: int) -> int:
        """Retire a unit."""
        units = sorted(self._latest(effective).units)
        if not units:
            return FOREVER
        self.serial += 1
        name, unit = f"R{self.serial}", self.r.choice(units)
        effect = Effect(effective, "worn")
        entry = self.journal.retire(unit, effect, by=None, recorder=None, event_id=name)
        self.slow.versions.append(Version(RETIRED, unit, True, effective, entry.number, entry.known, name))
        self.met["retired"] += 1
        again = self.journal.retire(unit, effect, by=None, recorder=None, event_id=name)
        assert again == entry
        return effective

    def take_back(self, effective: int) -> int:
        """Withdraw a revision or a retirement."""
        del effective
        found = [e.event for e in self.journal.of_action("revise", "retire")]
        if not found:
            return FOREVER
        target = self.r.choice(found)
        self.serial += 1
        when = START + 1_000 * SECOND
        gone = Action(f"C{self.serial}", "withdraw", (), when, withdraws=target.id, reason="it is not so")
        (entry,) = self.journal.record([gone])
        for one in self.slow.versions:
            if one.event == target.id:
                one.until = min(one.until, entry.known)
        self.met["taken back"] += 1
        return target.happened

    # --- asked ---

    def judging(self, at: int, known: int, *, before: int | None = None, anew: Any = None) -> Judging:
        """Judge the past from where it was judged last, or with `anew` from its beginning."""
        past = Past(self.journal, Moment(at, known))
        return Judging(
            self.journal, past.moment, self.rules_at(known), past.networks_of, before=before, anew=anew
        )

    def answers(self, at: int, known: int) -> str:
        """Return everything that is answered about an instant, as text."""
        past = Past(self.journal, Moment(at, known))
        engine = self.judging(at, known).engine()
        state = plant_state(past.plant, past.configuration, past.networks, clocks=engine.clocks())
        earlier = self.journal.configuration(at - 3 * SECOND, known)
        history = [
            (owner, [e.event.id for e in self.journal.history(owner, end=at + 1, known=known)])
            for owner in (*past.plant.owners(), "pump", "panel")
        ]
        return repr(
            [
                json_of(state),
                [json_of(f) for f in engine.findings(as_it_is=True)],
                history,
                [json_of(d) for d in difference(earlier, past.configuration)],
            ]
        )

    def expect_same(self, at: int, known: int) -> None:
        """From where it was judged last as from the beginning; and the configuration is the one that was read."""
        quick, slow = self.judging(at, known), self.judging(at, known, anew=())
        engine = quick.engine()
        assert _told(engine) == _told(slow.engine())
        assert quick.events == slow.events
        assert quick.engine(settled=False).clocks() == engine.clocks()
        assert _as_plain(engine) == _plain(self.journal.configuration(at, known))
        self.met["from a checkpoint"] += quick._from is not None
        self.met["found"] += bool(engine.findings())


def _as_plain(engine: Engine) -> Any:
    return _plain(engine.world.configuration)


def _plain(now: Configuration) -> Any:
    places = {place: sorted(now.standing_at(place)) for place in now.plant.places}
    values = {key: (effect.value, effect.other) for key, effect in now.values.items()}
    return dict(now.touched()), values, now.cycles, places


def one_history(seed: int, url: str, patch: pytest.MonkeyPatch) -> dict[str, int]:
    """Fill a journal from a seed and ask it; return what it met."""
    r = Random(seed)
    patch.setattr(checkpoint, "EVERY", r.choice((1, 1, 2, 3)))
    patch.setattr(checkpoint, "KEPT", r.choice((1, 2, 100)))
    patch.setattr(judging, "SPAN", r.choice((1, 3, 100)))
    with open_journal(url, clock=lambda: 0) as journal:
        history = Revised(journal, draw_world(seed), r)
        history.fill()
        history.judge_and_keep()
        for _ in range(30):
            at, known = START + r.randint(-2, 26) * SECOND - r.randint(0, 1), r.choice(history.knowns)
            assert journal.plant(at, known) == history.slow.plant(at, known)
        last = history.last()
        for _ in range(4):
            known = r.choice((history.knowns[-1], r.choice(history.knowns)))
            if known >= history.loads[0][0]:
                history.expect_same(
                    r.choice((last, last + SECOND, r.randint(START, max(last, START)))), known
                )
        written = _stored(journal)
        with journal.database.writing():
            checkpoint.forget(journal.database, -(1 << 60))
        history.judge_and_keep()
        assert _stored(journal) == written
        assert audit(journal.database).faults == []
    return history.met


def test_revised_at_random(fresh_url: FreshUrl, monkeypatch: pytest.MonkeyPatch) -> None:
    """However hardware changed, the plant is what a plain list of versions says, and the time before stays as it was.

    That is: its state, findings, history and differences are the same to the byte, as known then and as known now. A
    past that goes through several plants is judged from a checkpoint as from its beginning; what is read of a
    configuration is what its events make; and the audit finds nothing.
    """
    met: dict[str, int] = {}
    for seed in range(CASES):
        try:
            for what, times in one_history(seed, fresh_url(), monkeypatch).items():
                met[what] = met.get(what, 0) + (times > 0)
        except (AssertionError, Trouble) as err:
            raise AssertionError(f"seed {seed}") from err
    del met["late"], met["corrected"], met["loaded"]
    assert all(times >= CASES // 10 for times in met.values()), met


def test_a_reading_of_what_never_was_there(fresh_url: FreshUrl) -> None:
    """What a port read that a load without a date took out is read neither from the journal nor where it is judged."""
    part = Part("pump", ports={"B1": Port("B1", "bolt"), "B2": Port("B2", "bolt")})
    plant = Plant(MEDIA, KINDS, {"pump": part}, {"U0": Unit("U0", "pump")})
    definition = Definition(*(getattr(plant, name) for name in SORTS.values()))
    without = replace(part, ports={"B1": part.ports["B1"]})
    with open_journal(fresh_url(), clock=lambda: 0) as journal:
        journal.load(definition, by=None, recorder=None)
        read = {"torque": Quantity(1.5, "N*m", 1.5, "torque")}
        journal.record(
            [Action(f"M{n}", "measure", (f"U0:B{n}",), START + n * SECOND, values=read) for n in (1, 2)]
        )
        journal.load(replace(definition, parts={"pump": without}), by=None, recorder=None)
        past = Past(journal, Moment(*journal.moment(START + 3 * SECOND)))
        engine = Judging(journal, past.moment, RuleSet(()), past.networks_of).engine()
        now = journal.configuration(past.moment.at, past.moment.known)
        assert {subject for subject, _ in now.values} == {"U0:B1"}
        assert _as_plain(engine) == _plain(now)
