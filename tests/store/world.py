"""A tiny plant in which every law of possibility can be met, and a slow, plain model of the journal.

The model is a list of events and two nested loops: for a pair of times it looks at every event, and at every
event for one that corrects it. It knows no intervals, no index and no cache.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from hashlib import sha256

from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.definition import Definition
from cfgtrack.model.event import Event, effects
from cfgtrack.model.kind import Kind, Medium, Move
from cfgtrack.model.part import Part, Port
from cfgtrack.model.plant import Place, Unit
from cfgtrack.model.possibility import Impossible, resolve
from cfgtrack.store.database import Database
from cfgtrack.store.derive import stored_pages

START = 1_000_000


def _kind(
    kind: str, medium: str, *moves: Move, statuses: tuple[str, ...], joined: str, flexible: bool = False
) -> Kind:
    return Kind(
        kind,
        medium,
        statuses,
        {m.action: m for m in moves},
        joined=joined,
        carries=statuses[-1],
        flexible=flexible,
    )


KINDS = [
    _kind(
        "disconnect",
        "fluid",
        Move("cap", ("demated",), "capped", each=True),
        Move("uncap", ("capped",), "demated", each=True),
        Move("mate", ("demated",), "mated", cycle=True),
        Move("demate", ("mated",), "demated"),
        statuses=("capped", "demated", "mated"),
        joined="mated",
    ),
    _kind(
        "bolt",
        "hold",
        Move("engage", ("released",), "engaged"),
        Move("torque", ("engaged", "torqued"), "torqued"),
        Move("release", ("engaged", "torqued"), "released"),
        statuses=("released", "engaged", "torqued"),
        joined="engaged",
    ),
    _kind(
        "grip",
        "hold",
        Move("grip", ("free",), "held"),
        Move("let-go", ("held",), "free"),
        statuses=("free", "held"),
        joined="held",
        flexible=True,
    ),
]

BOX = Part("box", ports={p.name: p for p in (Port("F", "disconnect"), Port("B", "bolt"), Port("H", "grip"))})
HAND = Part("hand", ports={"G": Port("G", "grip")})
SLOT = Part("slot", ports={"F": Port("F", "disconnect"), "B": Port("B", "bolt")})

DEFINITION = Definition(
    media={m: Medium(m) for m in ("fluid", "hold")},
    kinds={k.id: k for k in KINDS},
    parts={p.id: p for p in (BOX, HAND, SLOT)},
    units={u: Unit(u, "box") for u in ("X", "Y", "Z")},
    places={
        p.id: p
        for p in (
            Place("SITE", holds=True),
            Place("BAY", parent="SITE", part="slot", capacity=1),
            Place("RACK", parent="SITE", capacity=2),
            Place("INA", parent="SITE", part="hand", mobile=True),
            Place("BAG", parent="SITE", mobile=True),
        )
    },
    initial=tuple(
        Action(f"initial:{u}", "as-found", (u,), START, place=place, initial=True)
        for u, place in (("X", "BAY"), ("Y", "RACK"), ("Z", "RACK"))
    ),
)
PLANT = DEFINITION.plant()
OWNERS = ("X", "Y", "Z", "INA", "BAG")
PORTS = tuple(p for owner in (*DEFINITION.units, "BAY", "INA") for p in PLANT.ports_of(owner))
SUBJECTS = (*OWNERS, *PORTS)


def candidates() -> Iterator[Action]:
    """Yield every action that can be tried in this plant, possible or not."""
    for port in PORTS:
        found = PLANT.port(port)
        assert found is not None
        kind = found[1]
        for action, move in kind.moves.items():
            if not kind.joins(move):
                yield Action("", action, (port,), 0)
                continue
            for other in PORTS:
                mate = PLANT.port(other)
                if other > port and mate is not None and mate[1] is kind:
                    yield Action("", action, (port, other), 0)
        for status in kind.statuses:
            if not kind.is_joined(status):
                yield Action("", "as-found", (port,), 0, status=status)
    yield Action("", "as-found", ("X:F", "Y:F"), 0, status="mated")
    yield Action("", "as-found", ("X:B", "BAY:B"), 0, status="torqued")
    for thing in OWNERS:
        for place in ("SITE", "BAY", "RACK", "INA", "BAG"):
            yield Action("", "place", (thing,), 0, place=place)
        yield Action("", "lift", (thing,), 0)
    yield Action("", "as-found", ("X",), 0, place="RACK")
    yield Action("", "remark", ("X",), 0, remark="mind the edge")


CANDIDATES = tuple(candidates())


@dataclass(frozen=True, slots=True)
class Line:
    """An event as the model keeps it."""

    event: Event
    number: int
    known: int
    turn: int
    corrects: int | None


class Contradiction(Exception):
    """The model says no."""


class SlowJournal:
    """The reference model: every question looks at every event."""

    def __init__(self) -> None:
        self.lines: list[Line] = []

    def in_effect(self, known: int) -> list[Line]:
        """Return the events that count at `known`, in the order in which they count."""
        told = [line for line in self.lines if line.known <= known]
        found = [line for line in told if not any(other.corrects == line.number for other in told)]
        return sorted(found, key=lambda line: (line.event.happened, line.turn))

    def at(self, at: int, known: int) -> Configuration:
        """Return the configuration at (at, known)."""
        return fold(line.event for line in self.in_effect(known) if line.event.happened <= at)

    def line_of(self, event_id: str) -> Line | None:
        """Return the line of an event."""
        return next((line for line in self.lines if line.event.id == event_id), None)

    def record(self, actions: list[Action], first_known: int) -> None:
        """Record a batch, or raise Contradiction and record nothing."""
        before = list(self.lines)
        try:
            for i, action in enumerate(actions):
                self._add(action, first_known + i)
            self.expect_sound()
        except Contradiction:
            self.lines = before
            raise

    def correct(self, actions: list[Action], first_known: int) -> None:
        """Record corrections as one: all that they correct is gone before the first of them is looked at."""
        before = list(self.lines)
        try:
            self._correct(actions, first_known)
            self.expect_sound()
        except Contradiction:
            self.lines = before
            raise

    def _correct(self, actions: list[Action], first_known: int) -> None:
        pairs = [(action, self._target(action)) for action in actions]
        gone = {target.number for _, target in pairs if target is not None}
        if len(gone) < len(actions):
            raise Contradiction("corrected already")
        pairs.sort(key=lambda pair: (pair[0].happened, self._turn_of(*pair) or 2**62))
        for i, (action, target) in enumerate(pairs):
            number = len(self.lines) + 1
            turn = self._turn_of(action, target) or number
            then = [
                line.event
                for line in self.in_effect(2**62)
                if line.number not in gone and (line.event.happened, line.turn) < (action.happened, turn)
            ]
            outcome = resolve(fold(then), action)
            if isinstance(outcome, Impossible):
                raise Contradiction(outcome.refusals)
            self.lines.append(
                Line(outcome, number, first_known + i, turn, None if target is None else target.number)
            )

    @staticmethod
    def _turn_of(action: Action, target: Line | None) -> int | None:
        """Return the turn that a correction takes over, or None."""
        in_place = target is not None and action.supersedes and target.event.happened == action.happened
        return target.turn if target is not None and in_place else None

    def _add(self, action: Action, known: int) -> None:
        number = len(self.lines) + 1
        target = self._target(action)
        turn = number
        if target is not None and action.supersedes and target.event.happened == action.happened:
            turn = target.turn
        gone = None if target is None else target.number
        earlier = [
            line.event
            for line in self.in_effect(known)
            if line.number != gone and (line.event.happened, line.turn) < (action.happened, turn)
        ]
        outcome = resolve(fold(earlier), action)
        if isinstance(outcome, Impossible):
            raise Contradiction(outcome.refusals)
        self.lines.append(Line(outcome, number, known, turn, gone))

    def _target(self, action: Action) -> Line | None:
        name = action.supersedes or action.withdraws
        if name is None:
            return None
        target = self.line_of(name)
        if target is None or target.event.action in ("withdraw", "define"):
            raise Contradiction("not correctable")
        if any(line.corrects == target.number for line in self.lines):
            raise Contradiction("corrected already")
        return target

    def expect_sound(self) -> None:
        """Every event in effect must still be possible where it stands, and change what it is recorded to change."""
        configuration = Configuration(PLANT)
        for line in self.in_effect(2**62):
            event = line.event
            if event.action not in ("withdraw", "define", "explain", "remark"):
                again = resolve(configuration, event)
                if isinstance(again, Impossible) or set(effects(PLANT, again)) != set(effects(PLANT, event)):
                    raise Contradiction(event.id)
            configuration.apply(event)


def fold(events: Iterator[Event] | list[Event]) -> Configuration:
    """Return the configuration after resolved events, one after the other."""
    configuration = Configuration(PLANT)
    for event in events:
        configuration.apply(event)
    return configuration


def state_digest(database: Database) -> str:
    """Return a hash over every row of the derived state, in a fixed order: the same bytes, the same hash."""
    digest = sha256()
    for table in ("touch", "change"):
        for page in stored_pages(database, table):
            digest.update(repr(page).encode())
    return digest.hexdigest()
