"""One line of the initial configuration that speaks of several things: a range, a wildcard, all units of a part.

    V1..V12:OUT    V1:OUT, V2:OUT ... V12:OUT; V01..V12 keeps to two digits
    VALVE-*:OUT    every such port of every unit or place whose id begins so
    part = "..."   every unit of that part, or its port

What says less gives way: one thing by its own name comes before a range, a range before a wildcard, and that before a
part. Two lines of one rank that say different things of one thing are an error.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any, ClassVar

from cfgtrack.files.fields import Made
from cfgtrack.files.source import Spot
from cfgtrack.model.plant import Plant
from cfgtrack.model.unknown import AMBIGUOUS, ANYTHING, UNKNOWN, no_such

_RANGE = re.compile(r"(?P<start>.*?)(?P<low>\d+)\.\.(?P<again>.*?)(?P<high>\d+)(?P<rest>[^\d].*|)", re.ASCII)
_MOST = 10_000
_NAMED = ("subject", "mate", "place", "part")
_EXACT, _RANGED, _WILD, _OF_PART = range(4)


@dataclass(frozen=True, slots=True)
class InitialState:
    """What is said of one subject, or of several: where it is, or its status, its mate or both.

    With `part` the subject is that of every unit of the part: "" the unit itself, a name without an owner its port.
    """

    subject: str
    spot: Spot
    at: int
    by: str | None
    mate: str = ""
    status: str = ""
    place: str = ""
    facing: str = ""
    part: str = ""

    @property
    def about(self) -> str:
        """What of a subject it is about: two lines about the same must say the same."""
        return "place" if self.place else ""

    def of(self, subject: str, mate: str) -> InitialState:
        """Return this, said of one subject."""
        return replace(self, subject=subject, mate=mate, part="")


@dataclass(frozen=True, slots=True)
class PriorLife:
    """What is known of a thing from before its first event: a value of it, or when it was inspected last (no quantity).

    `at` is when that was so; `start` when the configuration is so that the journal begins with. `part`: as of an
    initial state.
    """

    mate: ClassVar[str] = ""
    status: ClassVar[str] = ""

    subject: str
    spot: Spot
    start: int
    at: int
    by: str | None
    quantity: str = ""
    text: str = ""
    part: str = ""

    @property
    def about(self) -> str:
        """What of a subject it is about."""
        return f"before {self.quantity}"

    def of(self, subject: str, _: str) -> PriorLife:
        """Return this, said of one subject."""
        return replace(self, subject=subject, part="")


Entry = InitialState | PriorLife

Note = Callable[..., None]
"""Notes a problem of an entry: the entry, a code, a sentence."""


def each_alone(entries: Iterable[Entry], plant: Plant, note: Note) -> Iterator[Entry]:
    """Yield entries of one subject each, what says more first; note what speaks of nothing or of one thing twice."""
    ranked: list[list[tuple[Entry, list[Entry]]]] = [[] for _ in range(4)]
    for entry in entries:
        rank, found = _Spoken(plant, note).of(entry)
        ranked[rank].append((entry, found))
    claimed: dict[tuple[str, str], tuple[int, Entry]] = {}
    for rank, level in enumerate(ranked):
        for entry, found in level:
            for one in found:
                mine = [one.subject, one.mate] if one.mate and not one.status else [one.subject]
                earlier = [claimed[key] for s in mine if (key := (s, one.about)) in claimed]
                if rank != _EXACT and any(by < rank for by, _ in earlier):
                    continue
                if rank != _EXACT and earlier:
                    first = earlier[0][1]
                    if replace(first, subject="", spot=one.spot) != replace(one, subject=""):
                        note(
                            entry,
                            "twice",
                            f"{one.subject} stands in the initial configuration already, at {first.spot.where}",
                        )
                    continue
                for subject in mine:
                    claimed.setdefault((subject, one.about), (rank, one))
                yield one


@dataclass(frozen=True, slots=True)
class _Spoken:
    """Finds what an entry speaks of."""

    plant: Plant
    note: Note

    def of(self, entry: Entry) -> tuple[int, list[Entry]]:
        """Return how much an entry says (see the ranks), and an entry for each thing that it speaks of."""
        texts = ((name, getattr(entry, name, "")) for name in _NAMED)
        said: dict[str, Any] = {name: self._said(one) for name, one in texts if isinstance(one, Made)}
        if said:
            entry = replace(entry, **said)
        if entry.part:
            return _OF_PART, self._of_part(entry)
        # What a drawing calls a thing may have stars and dots in it.
        meant = self.plant.resolve(entry.subject)
        if self.plant.sort_of(meant):
            if meant != entry.subject and (also := self._also(entry, meant)):
                as_what = "pattern" if "*" in entry.subject else "range"
                told = f"{entry.subject} is what {meant} is called, and a {as_what} that {also} is in: say which by ids"
                self.note(entry, AMBIGUOUS, told)
                return _EXACT, []
            return _EXACT, [entry.of(meant, entry.mate and self.plant.resolve(entry.mate))]
        if "*" in entry.subject:
            return _WILD, self._wild(entry)
        if ".." in entry.subject:
            return _RANGED, self._ranged(entry)
        return _EXACT, [entry]

    def _said(self, made: Made) -> str:
        """Return the name of which an id was made if something is called so, else the id."""
        return made.said if self.plant.names.meant(made.said, ANYTHING) else str(made)

    def _also(self, entry: Entry, meant: str) -> str:
        """Return the first thing other than `meant` that the subject speaks of as a pattern or range, else ""."""
        if "*" in entry.subject:
            named: Iterable[str] = (
                address for address, _ in self._fitting(entry.subject, self.plant.owners())
            )
        else:
            found = _range(entry.subject) if ".." in entry.subject else ""
            named = () if isinstance(found, str) else filter(self.plant.sort_of, found)
        return next((one for one in named if one != meant), "")

    def _of_part(self, entry: Entry) -> list[Entry]:
        part = self.plant.resolve(entry.part)
        if part not in self.plant.parts:
            self.note(entry, UNKNOWN, no_such("part", entry.part, self.plant.parts), thing=True)
            return []
        owner, colon, name = entry.subject.rpartition(":")
        pattern = f"{owner or '*'}:{name}" if colon or name else "*"
        mine = {unit.id for unit in self.plant.units.values() if unit.part == part}
        return self._wild(entry.of(pattern, entry.mate), mine)

    def _wild(self, entry: Entry, among: set[str] | None = None) -> list[Entry]:
        """Return an entry for each thing that the pattern fits; the mate's stars stand for what the subject's do."""
        owners = self.plant.owners() if among is None else among
        fitting = self._fitting(entry.subject, owners)
        found = [entry.of(address, _with_stars(entry.mate, stars)) for address, stars in fitting]
        if not found and among is None:
            self.note(entry, UNKNOWN, f"nothing is called {entry.subject}", thing=True)
        if entry.mate and entry.mate.count("*") != entry.subject.count("*"):
            self.note(entry, "range", f"{entry.mate} must have as many stars as {entry.subject}")
            return []
        return found

    def _fitting(self, pattern: str, owners: Iterable[str]) -> Iterator[tuple[str, tuple[str, ...]]]:
        """Yield the address of each thing that a pattern fits, and what its stars stand for."""
        form = re.compile("(.*)".join(map(re.escape, pattern.split("*"))))
        for owner in sorted(owners):
            for address in self.plant.ports_of(owner) if ":" in pattern else [owner]:
                fit = form.fullmatch(address)
                if fit is not None and (":" in pattern or self.plant.can_move(owner)):
                    yield address, fit.groups()

    def _ranged(self, entry: Entry) -> list[Entry]:
        subjects, mates = _range(entry.subject), _range(entry.mate)
        wrong = next((one for one in (subjects, mates) if isinstance(one, str)), None)
        if wrong is None and entry.mate and len(subjects) != len(mates):
            wrong = f"{entry.subject} is {len(subjects)} things, {entry.mate} is {len(mates)}"
        if wrong is not None:
            self.note(entry, "range", wrong)
            return []
        mates = mates if entry.mate else [""] * len(subjects)
        return [entry.of(s, m) for s, m in zip(subjects, mates, strict=True)]


def _with_stars(text: str, groups: Iterable[str]) -> str:
    for group in groups:
        text = text.replace("*", group, 1)
    return text


def _range(text: str) -> list[str] | str:
    """Return all that a range names, or why it is none.

    >>> _range("V8..V10:OUT"), _range("V01..3")
    (['V8:OUT', 'V9:OUT', 'V10:OUT'], ['V01', 'V02', 'V03'])
    """
    found = _RANGE.fullmatch(text)
    if found is None:
        return [text]
    start, low, again, high, rest = found.group("start", "low", "again", "high", "rest")
    if not start.endswith(again):
        return f"expected a range such as V1..V12, found {text}"
    if not int(low) <= int(high) <= int(low) + _MOST:
        return f"expected a range of up to {_MOST}, the lower number first, found {text}"
    width = len(low) if low.startswith("0") else 0
    below = [f"{start}{number:0{width}d}" for number in range(int(low), int(high) + 1)]
    tails = _range(rest) if ".." in rest else [rest]
    return tails if isinstance(tails, str) else [one + tail for one in below for tail in tails]
