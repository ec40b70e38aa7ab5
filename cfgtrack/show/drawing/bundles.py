"""Bolts, latches, grips and tethers between the same two things: those that are alike are one row and one line."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from cfgtrack.model.plant import HOLD, owner_of
from cfgtrack.show.drawing.alarms import Alarms
from cfgtrack.show.drawing.sheet import Line, Mark, Row
from cfgtrack.show.drawing.survey import Survey, Tie

_LISTED = 3


@dataclass(frozen=True, slots=True)
class Bundle:
    """Halves of one kind and status at one owner, that face or faced one `other` ("": none). The first is its key."""

    halves: tuple[str, ...]
    other: str

    @property
    def key(self) -> str:
        """Its key, as a row: its only half, or the first of them and how many more."""
        more = len(self.halves) - 1
        return f"{self.halves[0]} +{more}" if more else self.halves[0]


class Bundles:
    """All halves that hold, of some units and places: of those that aren't `whole` only what ties them to another."""

    def __init__(self, survey: Survey, alarms: Alarms, owners: Mapping[str, bool]) -> None:
        self.survey = survey
        self._alarms = alarms
        self._owners = owners
        self._marks: dict[str, tuple[Mark, ...]] = {}

    @cached_property
    def _tie_of(self) -> dict[str, Tie]:
        """The tie of each half: that of now, else the first of another time."""
        found: dict[str, Tie] = {}
        for tie in self.survey.ties:
            if tie.medium == HOLD:
                found.setdefault(tie.a, tie)
                found.setdefault(tie.b, tie)
        return found

    @cached_property
    def _of(self) -> dict[str, list[Bundle]]:
        return {owner: self._bundled(owner) for owner in self._owners}

    def _bundled(self, owner: str) -> list[Bundle]:
        found: dict[tuple[object, ...], list[str]] = {}
        for half in self.survey.ends_of(owner, HOLD):
            if self._owners[owner] or owner_of(self._far(half)) in self._owners:
                found.setdefault(self._alike(half), []).append(half)
        return [Bundle(tuple(halves), self._far(halves[0])) for halves in found.values()]

    def _far(self, half: str) -> str:
        """Return the half that a half faces, now or at another time."""
        tie = self._tie_of.get(half)
        return "" if tie is None else tie.b if tie.a == half else tie.a

    def _alike(self, half: str) -> tuple[object, ...]:
        """Return what halves of one bundle have in common: both sides' kind, status and marks, and the other owner."""
        far, tie = self._far(half), self._tie_of.get(half)
        return (
            owner_of(far),
            tie is not None and tie.now,
            *(self._said(one) for one in (half, far) if one),
        )

    def _said(self, half: str) -> tuple[object, ...]:
        found = self.survey.plant.port(half)
        assert found is not None
        marks = self._marks_of(half)
        return found[1].id, self.survey.configuration.state(half).value, half if marks else ""

    def _marks_of(self, half: str) -> tuple[Mark, ...]:
        if owner_of(half) not in self._owners:
            return ()
        if half not in self._marks:
            self._marks[half] = self._alarms.end(half, HOLD)
        return self._marks[half]

    def row_of(self, owner: str) -> dict[str, str]:
        """Return the key of the row of each half of an owner."""
        return {half: bundle.key for bundle in self._of[owner] for half in bundle.halves}

    def rows(self, owner: str) -> Iterator[Row]:
        """Yield a row for each bundle of an owner."""
        for bundle in self._of[owner]:
            found = self.survey.plant.port(bundle.halves[0])
            assert found is not None
            kind, state = found[1], self.survey.configuration.state(bundle.halves[0])
            far = state.other or ""
            yield Row(
                bundle.key,
                f"{listed([half.partition(':')[2] for half in bundle.halves])}  {kind.id}",
                kind.says(state.value),
                tuple(map(kind.says, kind.statuses)),
                HOLD,
                joined=bool(far),
                to=far if len(bundle.halves) == 1 else owner_of(far),
                marks=self._marks_of(bundle.halves[0]),
            )

    def lines(self) -> Iterator[Line]:
        """Yield a line for each pair of bundles that hold each other; a ghost for those of another time."""
        keys = {half: key for owner in self._owners for half, key in self.row_of(owner).items()}
        counted: dict[tuple[str, str], list[Tie]] = {}
        for tie in dict.fromkeys(self._tie_of.values()):
            if tie.a in keys and tie.b in keys:
                a, b = (tie.b, tie.a) if self._is_lower(tie.b, tie.a) else (tie.a, tie.b)
                counted.setdefault((keys[a], keys[b]), []).append(tie)
        for (a, b), ties in counted.items():
            look = self.survey.look(ties[0])
            yield Line(owner_of(a), a, owner_of(b), b, HOLD, look, count=len(ties), ghost=not ties[0].now)

    def _is_lower(self, a: str, b: str) -> bool:
        """Whether `a` is nearer to the ground than `b`: a place that stays, then what moves, then units."""
        return self._height(a) < self._height(b)

    def _height(self, half: str) -> tuple[int, int]:
        owner, plant = owner_of(half), self.survey.plant
        sort = 2 if owner in plant.units else 1 if plant.is_mobile(owner) else 0
        return sort, self.survey.order[owner]


def listed(names: Sequence[str]) -> str:
    """Return a few names, or the first and last of many.

    >>> listed(["H1", "H2"]), listed(["H1", "H2", "H3", "H4"])
    ('H1, H2', 'H1 … H4 (4)')
    """
    return ", ".join(names) if len(names) <= _LISTED else f"{names[0]} … {names[-1]} ({len(names)})"
