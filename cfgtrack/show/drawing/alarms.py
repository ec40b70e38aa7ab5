"""What is marked on a sheet, in two groups: what a rule or a need says is wrong, and what is merely so.

Wrong is what an open finding names, liquid without a path to room for it, a defect, a leak, what nothing holds. A load
without power, an open end, a lock are noted, unless a finding names them: a spare on a rack needs no power.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import NamedTuple

from cfgtrack.model.defect import Defect, defects_on
from cfgtrack.model.lock import devices_on
from cfgtrack.model.part import LOAD
from cfgtrack.model.plant import HOLD, owner_of, port_of
from cfgtrack.model.time import format_instant
from cfgtrack.network.facing import faced_by
from cfgtrack.rules.finding import Finding
from cfgtrack.rules.saying import say_list
from cfgtrack.show.defects import marks
from cfgtrack.show.drawing.sheet import Alarm, Mark, Note
from cfgtrack.show.drawing.survey import Survey
from cfgtrack.show.findings import severity_word
from cfgtrack.show.tables import count, span_text

_FEW = 2
_MOST = 12
_SHOWN = 3
"""So many numbers of findings stand at one thing: more would hide it."""

_NAMED = 8
"""So many things a note names, before it counts the rest."""

_CUT_OFF, _LOOSE, _DEFECT, _LEAK, _LIVE = "CUT OFF", "HELD BY NOTHING", "DEFECT", "LEAK", "LIVE END"
_WHY = {
    _CUT_OFF: "liquid without a path to any expansion vessel",
    _LOOSE: "held by nothing",
    _DEFECT: "can't be done until it is rectified",
    _LEAK: "leaks",
    _LIVE: "demated and not capped, with power or liquid behind it",
}


class _Told(NamedTuple):
    """What has a note of its own, by number: an open finding, a breach that is past, a clock, a discrepancy."""

    alarm: Alarm
    word: str
    text: str
    headline: str
    sort: str
    severity: int | None = None


def named_by(finding: Finding) -> dict[str, None]:
    """Return what a finding names: its subjects, what is cut off, and the ends of the links that broke.

    Where many links are named they are a whole path, which would flag half a plant: those are left to the words.
    """
    names = dict.fromkeys(finding.subjects)
    for reason in finding.reasons:
        names.update(dict.fromkeys(reason.beyond))
        if len(reason.links) <= _FEW:
            names.update(dict.fromkeys(e for link in reason.links for e in link.split() if ":" in e))
    return names


def _is_excused(finding: Finding) -> bool:
    return finding.approved is not None and finding.approved.excuses and finding.approved.anew is None


@dataclass
class Alarms:
    """The marks of the things of a sheet, gathered as they are asked for, and the notes that explain them."""

    survey: Survey
    owners: Sequence[str]
    _at: dict[str, list[int]] = field(default_factory=dict, init=False)
    _named: dict[str, dict[str, None]] = field(default_factory=dict, init=False)
    _told: list[_Told] = field(default_factory=list, init=False)
    _untold: list[_Told] = field(default_factory=list, init=False)
    _asked: set[str] = field(default_factory=set, init=False)
    _used: set[str] = field(default_factory=set, init=False)
    _facts: dict[tuple[Alarm, str], dict[str, None]] = field(default_factory=dict, init=False)

    def __post_init__(self) -> None:
        scene = self.survey.scene
        for finding in scene.findings:
            excused = _is_excused(finding)
            word = severity_word(finding.severity)
            told = _Told(
                Alarm.NOTED if excused else Alarm.WRONG,
                word if excused else word.upper(),
                _finding_text(finding),
                finding.headline,
                "excused" if excused else "open",
                finding.severity,
            )
            self._tell(told, named_by(finding))
        for finding in scene.past:
            word = severity_word(finding.severity)
            text = f"past and not acknowledged, at {format_instant(finding.time)}: {_finding_text(finding)}"
            told = _Told(Alarm.WRONG, f"PAST: {word}", text, finding.headline, "past", finding.severity)
            self._tell(told, dict.fromkeys(finding.subjects))
        for clock in scene.clocks:
            if clock.deadline is None:
                continue
            span = clock.deadline - scene.moment.at
            left = f"{span_text(span)} left" if span >= 0 else f"RUN OUT {span_text(-span, up=True)} ago"
            text = f"{left}: {clock.title} ({clock.rule})"
            told = _Told(Alarm.WRONG, "CLOCK", text, f"{left}: {clock.rule}", "clock", clock.severity)
            self._tell(told, dict.fromkeys(clock.subject.split()))
        for entry in scene.discrepancies:
            event = entry.event
            text = (
                f"found otherwise than recorded, unexplained: {', '.join(event.subjects)} (event {event.id})"
            )
            told = _Told(Alarm.WRONG, "DISCREPANCY", text, text, "discrepancy")
            self._tell(told, dict.fromkeys(event.subjects))

    def _tell(self, told: _Told, named: Iterable[str]) -> None:
        """Give what is told a number at each thing here that it names; else only count it."""
        here = set(self.owners)
        names = [name for name in named if owner_of(name) in here]
        if not names:
            self._untold.append(told)
            return
        self._told.append(told)
        for name in names:
            self._at.setdefault(name, []).append(len(self._told))
            self._named.setdefault(owner_of(name), {})[name] = None

    # --- what is asked for

    def end(self, address: str, medium: str) -> tuple[Mark, ...]:
        """Return the marks of a port or contact: what names it, an open end, its locks and defects."""
        names = [address] if ":" not in address.partition(":")[2] else [address, port_of(address)]
        paths = self.survey.paths(medium)
        fact = _LIVE if paths.is_hazardous(address) else "open end" if paths.is_open_end(address) else ""
        return (*self._state(names, fact, address), *self.hung(port_of(address)))

    def facing_nothing(self, address: str) -> tuple[Mark, ...]:
        """Return the mark of a contact whose shell is mated to one that has nothing for it to meet."""
        now = self.survey.configuration
        mate = now.state(port_of(address)).other
        if mate is None or faced_by(now, address):
            return ()
        return (self._note(f"faces nothing of {mate}", address),)

    def node(self, address: str, medium: str) -> tuple[Mark, ...]:
        """Return the marks of a volume or node: cut off, not fed, or what names it."""
        node = self.survey.plant.node(address)
        paths = self.survey.paths(medium)
        assert node is not None
        if self.survey.plant.is_liquid(node) and paths.is_cut_off(address):
            return self._state([address], _CUT_OFF, address)
        unfed = LOAD in node.roles and not paths.is_fed(address)
        return self._state([address], f"no {medium}" if unfed else "", address)

    def gate(self, address: str) -> tuple[Mark, ...]:
        """Return the marks of a valve or switch: what names it, its locks and defects."""
        return (*self._state([address], "", address), *self.hung(address))

    def owner(self, owner: str) -> tuple[Mark, ...]:
        """Return the marks of a unit or place: what names it or what of it isn't drawn. Ask for it last."""
        names = [owner, *(n for n in self._named.get(owner, ()) if n not in self._used and n != owner)]
        return (*self._state(names, "", owner), *self.hung(owner), *self._hung_undrawn(owner))

    def _hung_undrawn(self, owner: str) -> Iterator[Mark]:
        """Yield the marks of locks, tags and defects on those ports of an owner that are drawn nowhere."""
        for thing in self._with_devices.get(owner, ()):
            if thing not in self._asked:
                name = f"{thing.partition(':')[2]} {self.survey.status(thing)}"
                yield from (replace(mark, word=f"{name} {mark.word}") for mark in self.hung(thing))

    @cached_property
    def _with_devices(self) -> dict[str, list[str]]:
        found: dict[str, list[str]] = {}
        for thing in sorted(self.survey.configuration.with_devices()):
            found.setdefault(owner_of(thing), []).append(thing)
        return found

    def held(self, owner: str) -> tuple[Mark, ...]:
        """Return the mark of a unit that nothing holds."""
        if not self.survey.holds or owner not in self.survey.plant.units:
            return ()
        if not self.survey.paths(HOLD).holding(owner).is_loose:
            return ()
        if not self.survey.configuration.state(owner).value:
            return (self._note("place not known", owner),)
        return self._state([owner], _LOOSE, owner)

    def hung(self, thing: str) -> tuple[Mark, ...]:
        """Return the marks of locks, tags and defects on a port, unit or place."""
        now = self.survey.configuration
        self._asked.add(thing)
        if now.is_bare:
            return ()
        devices = devices_on(now, thing)
        said = [
            self._note(what, thing, f"{what} by {' and '.join(holders)}")
            for what, is_tag in (("LOCKED", False), ("TAGGED", True))
            if (holders := [one.holder for one in devices if one.is_tag == is_tag])
        ]
        return (*said, *map(self._defect, defects_on(now, thing)))

    # --- marks

    def _defect(self, defect: Defect) -> Mark:
        [said] = marks([defect])
        word = _LEAK if "leak" in defect.cause.lower() else _DEFECT
        return self._wrong(word, f"{defect.thing} ({said.removeprefix('DEFECT').lstrip(': ')})")

    def _state(self, names: Iterable[str], fact: str, address: str) -> tuple[Mark, ...]:
        """Return the marks of what findings say of some names, and of a fact, which is wrong if findings are."""
        told = self._numbers(names)
        wrong = [n for n in told if self._told[n - 1].alarm is Alarm.WRONG]
        if not told:
            if not fact:
                return ()
            return (self._wrong(fact, address) if fact in _WHY else self._note(fact, address),)
        if fact in _WHY and not any(self._told[n - 1].sort == "open" for n in wrong):
            others = (self._told_mark(n, self._told[n - 1].word) for n in (wrong or told)[:_SHOWN])
            return (self._wrong(fact, address), *others)
        said = fact.upper() if wrong else fact
        word = said or self._told[(wrong or told)[0] - 1].word
        shown = (wrong or told)[:_SHOWN]
        return tuple(self._told_mark(number, "" if i else word) for i, number in enumerate(shown))

    def _told_mark(self, number: int, word: str) -> Mark:
        return Mark(self._told[number - 1].alarm, word, number)

    def _numbers(self, names: Iterable[str]) -> list[int]:
        names = list(names)
        self._used.update(names)
        return sorted({n for name in names for n in self._at.get(name, ())})

    def _wrong(self, fact: str, what: str) -> Mark:
        return self._fact(Alarm.WRONG, fact, fact, what)

    def _note(self, word: str, what: str, said: str = "") -> Mark:
        """Return the mark of what is merely so; `said`: the note's words, where they say more than the mark."""
        return self._fact(Alarm.NOTED, word, said or word, what)

    def _fact(self, alarm: Alarm, word: str, said: str, what: str) -> Mark:
        self._facts.setdefault((alarm, said), {})[what] = None
        return Mark(alarm, word, self._fact_number((alarm, said)))

    def _fact_number(self, key: tuple[Alarm, str]) -> int:
        return len(self._told) + 1 + list(self._facts).index(key)

    # --- told

    def notes(self) -> tuple[Note, ...]:
        """Return the notes: what is wrong first, by number, then what is merely so."""
        return (*self._notes(Alarm.WRONG), *self._notes(Alarm.NOTED))

    def _notes(self, alarm: Alarm) -> Iterator[Note]:
        told = [(n, one) for n, one in enumerate(self._told, 1) if one.alarm is alarm]
        for number, one in told[:_MOST]:
            yield Note(alarm, one.text, number)
        if len(told) > _MOST:
            yield Note(alarm, f"and {len(told) - _MOST} more findings")
        for key, things in self._facts.items():
            if key[0] is alarm:
                why = f": {_WHY[key[1]]}" if alarm is Alarm.WRONG else ""
                yield Note(alarm, f"{key[1]}: {_named(list(things))}{why}", self._fact_number(key))
        elsewhere = [one for one in self._untold if one.alarm is alarm]
        if elsewhere:
            graves = f" ({_graves(elsewhere)})" if _graves(elsewhere) else ""
            yield Note(alarm, f"{count(len(elsewhere), 'finding')} about what isn't in this picture{graves}")

    def verdict(self) -> str:
        """Return in a line how much is wrong, how grave and what first, and how much is merely noted."""
        every = [*self._told, *self._untold]
        shown = [one for one in self._told if one.sort == "open"]
        facts = [
            f"{key[1]}: {what}" for key, some in self._facts.items() if key[0] is Alarm.WRONG for what in some
        ]
        wrong = [*(one.headline for one in shown), *facts]
        past = [one for one in every if one.sort == "past"]
        elsewhere = [one for one in self._untold if one.alarm is Alarm.WRONG and one.sort != "past"]
        noted = sum(len(some) for key, some in self._facts.items() if key[0] is Alarm.NOTED)
        noted += sum(one.alarm is Alarm.NOTED for one in self._told)
        parts = [self.survey.scene.unjudged]
        if wrong:
            graves = f"{_graves(shown)}: " if _graves(shown) else ""
            more = f", and {len(wrong) - _FEW} more" if len(wrong) > _FEW else ""
            parts.append(f"{len(wrong)} wrong: {graves}{'; '.join(wrong[:_FEW])}{more}")
        elif not (parts[0] or past or elsewhere):
            parts.append("no open finding, and nothing else wrong here")
        clocks = [one.headline for one in self._told if one.sort == "clock"]
        if clocks:
            parts.append(f"{count(len(clocks), 'running clock')}: {clocks[0]}")
        if others := sum(one.sort == "discrepancy" for one in self._told):
            parts.append(count(others, "open discrepancy", "open discrepancies"))
        if past:
            parts.append(f"{len(past)} past and not acknowledged ({_graves(past)})")
        if elsewhere:
            graves = f" ({_graves(elsewhere)})" if _graves(elsewhere) else ""
            parts.append(f"{count(len(elsewhere), 'finding')} elsewhere{graves}")
        if noted:
            parts.append(f"{noted} noted")
        return "; ".join(filter(None, parts))


def _graves(told: Iterable[_Told]) -> str:
    """Return how many are of which severity, the gravest first: "1 catastrophic, 2 critical"."""
    counted = Counter(one.severity for one in told if one.severity is not None)
    return ", ".join(f"{counted[one]} {severity_word(one)}" for one in sorted(counted))


def _named(things: Sequence[str]) -> str:
    """Return the names of things, or of many the first few and how many more."""
    if len(things) <= _NAMED:
        return ", ".join(things)
    return f"{', '.join(things[:_NAMED])} and {len(things) - _NAMED} more"


def _finding_text(finding: Finding) -> str:
    """Return a finding in a line: how bad, what, by which rule, and by whom it is excused."""
    told = f"{severity_word(finding.severity).upper()}: {finding.headline} ({finding.rule})"
    if finding.approved is None or not finding.approved.excuses:
        return told
    anew = "" if finding.approved.anew is None else ", BROKEN ANEW since"
    return f"{told}, EXCUSED by {say_list(finding.approved.by)}{anew}"
