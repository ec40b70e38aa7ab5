"""What is marked on a sheet, in two groups: what a rule or a need says is wrong, and what is merely so.

Wrong is what an open finding names, liquid without a path to room for it, a defect, a leak, what nothing holds. A load
without power, an open end, a lock are noted, unless a finding names them: a spare on a rack needs no power.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

from cfgtrack.model.defect import Defect, defects_on
from cfgtrack.model.lock import devices_on
from cfgtrack.model.part import LOAD
from cfgtrack.model.plant import HOLD, owner_of, port_of
from cfgtrack.network.facing import faced_by
from cfgtrack.rules.finding import Finding
from cfgtrack.rules.saying import say_list
from cfgtrack.show.defects import marks
from cfgtrack.show.drawing.sheet import Alarm, Mark, Note
from cfgtrack.show.drawing.survey import Survey
from cfgtrack.show.findings import severity_word
from cfgtrack.show.tables import count

_FEW = 2
_MOST = 12
_SHOWN = 3
"""So many numbers of findings stand at one thing: more would hide it."""

_CUT_OFF, _LOOSE, _DEFECT, _LEAK = "CUT OFF", "HELD BY NOTHING", "DEFECT", "LEAK"
_WHY = {
    _CUT_OFF: "liquid without a path to any expansion vessel",
    _LOOSE: "held by nothing",
    _DEFECT: "can't be done until it is rectified",
    _LEAK: "leaks",
}


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
    _told: list[Finding] = field(default_factory=list, init=False)
    _untold: int = field(default=0, init=False)
    _asked: set[str] = field(default_factory=set, init=False)
    _used: set[str] = field(default_factory=set, init=False)
    _facts: dict[str, dict[str, None]] = field(default_factory=dict, init=False)
    _noted: dict[str, dict[str, None]] = field(default_factory=dict, init=False)

    def __post_init__(self) -> None:
        here = set(self.owners)
        for finding in self.survey.scene.findings:
            names = [name for name in named_by(finding) if owner_of(name) in here]
            if not names:
                self._untold += 1
                continue
            self._told.append(finding)
            for name in names:
                self._at.setdefault(name, []).append(len(self._told))
                self._named.setdefault(owner_of(name), {})[name] = None

    # --- what is asked for

    def end(self, address: str, medium: str) -> tuple[Mark, ...]:
        """Return the marks of a port or contact: what names it, an open end, its locks and defects."""
        names = [address] if ":" not in address.partition(":")[2] else [address, port_of(address)]
        is_open = medium != HOLD and self.survey.paths(medium).is_open_end(address)
        return (*self._state(names, "open end" if is_open else "", address), *self.hung(port_of(address)))

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
            f"{what} by {' and '.join(holders)}"
            for what, is_tag in (("LOCKED", False), ("TAGGED", True))
            if (holders := [one.holder for one in devices if one.is_tag == is_tag])
        ]
        return (*(self._note(word, thing) for word in said), *map(self._defect, defects_on(now, thing)))

    # --- marks

    def _defect(self, defect: Defect) -> Mark:
        [said] = marks([defect])
        word = _LEAK if "leak" in defect.cause.lower() else _DEFECT
        return self._wrong(word, f"{defect.thing} ({said.removeprefix('DEFECT').lstrip(': ')})")

    def _state(self, names: Iterable[str], fact: str, address: str) -> tuple[Mark, ...]:
        """Return the marks of what findings say of some names, and of a fact, which is wrong if findings are."""
        told = self._numbers(names)
        wrong = [n for n in told if not _is_excused(self._told[n - 1])]
        if not told:
            if not fact:
                return ()
            return (self._wrong(fact, address) if fact in _WHY else self._note(fact, address),)
        if fact in _WHY and not wrong:
            excused = (Mark(Alarm.NOTED, "", number) for number in told[:_SHOWN])
            return (self._wrong(fact, address), *excused)
        said = fact.upper() if wrong else fact
        first = self._told[(wrong or told)[0] - 1]
        word = said or severity_word(first.severity)
        alarm = Alarm.WRONG if wrong else Alarm.NOTED
        shown = (wrong or told)[:_SHOWN]
        return tuple(Mark(alarm, "" if i else word, number) for i, number in enumerate(shown))

    def _numbers(self, names: Iterable[str]) -> list[int]:
        names = list(names)
        self._used.update(names)
        return sorted({n for name in names for n in self._at.get(name, ())})

    def _wrong(self, fact: str, what: str) -> Mark:
        self._facts.setdefault(fact, {})[what] = None
        return Mark(Alarm.WRONG, fact, len(self._told) + 1 + list(self._facts).index(fact))

    def _note(self, word: str, what: str) -> Mark:
        self._noted.setdefault(word, {})[what] = None
        return Mark(Alarm.NOTED, word)

    # --- told

    def notes(self) -> tuple[Note, ...]:
        """Return the notes: what is wrong first, by number, then what is merely so."""
        return (*self._wrong_notes(), *self._noted_notes())

    def _wrong_notes(self) -> Iterator[Note]:
        excused = [(n, f) for n, f in enumerate(self._told, 1) if _is_excused(f)]
        wrong = [(n, f) for n, f in enumerate(self._told, 1) if not _is_excused(f)]
        for number, finding in wrong[:_MOST]:
            yield Note(Alarm.WRONG, _finding_text(finding), number)
        if len(wrong) > _MOST:
            yield Note(Alarm.WRONG, f"and {len(wrong) - _MOST} more findings")
        for number, (word, things) in enumerate(self._facts.items(), len(self._told) + 1):
            yield Note(Alarm.WRONG, f"{word}: {say_list(list(things))}: {_WHY[word]}", number)
        if self._untold:
            yield Note(Alarm.WRONG, f"{count(self._untold, 'finding')} about what isn't in this picture")
        for number, finding in excused[:_MOST]:
            yield Note(Alarm.NOTED, _finding_text(finding), number)

    def _noted_notes(self) -> Iterator[Note]:
        for word, things in self._noted.items():
            yield Note(Alarm.NOTED, f"{word}: {say_list(list(things))}")

    def verdict(self) -> str:
        """Return in a line how much is wrong, what first, and how much is merely noted."""
        wrong = [f.headline for f in self._told if not _is_excused(f)]
        wrong += [f"{word}: {what}" for word, things in self._facts.items() for what in things]
        noted = sum(map(len, self._noted.values())) + sum(map(_is_excused, self._told))
        said = "nothing wrong here"
        if wrong:
            more = f", and {len(wrong) - _FEW} more" if len(wrong) > _FEW else ""
            said = f"{len(wrong)} wrong: {'; '.join(wrong[:_FEW])}{more}"
        if self._untold:
            said += f"; {count(self._untold, 'finding')} elsewhere"
        return f"{said}; {noted} noted" if noted else said


def _finding_text(finding: Finding) -> str:
    """Return a finding in a line: how bad, what, by which rule, and by whom it is excused."""
    told = f"{severity_word(finding.severity)}: {finding.headline} ({finding.rule})"
    if finding.approved is None or not finding.approved.excuses:
        return told
    anew = "" if finding.approved.anew is None else ", BROKEN ANEW since"
    return f"{told}, EXCUSED by {say_list(finding.approved.by)}{anew}"
