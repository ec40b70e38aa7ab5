"""What a sheet is made from: one configuration, the media shown, their paths, and which halves were ever mated.

A *tie* is two ends (ports, or contacts of shells) of one medium whose halves are mated now, or were at any time that is
recorded: what keeps the boxes of a picture where they are from one moment to the next.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

from cfgtrack.answers.draw import Scene
from cfgtrack.model.hold import is_made
from cfgtrack.model.part import EXPANSION, SOURCE
from cfgtrack.model.plant import HOLD, owner_of, port_of
from cfgtrack.network.facing import joined, lines
from cfgtrack.network.paths import Paths
from cfgtrack.show.drawing.interior import Interior, interior
from cfgtrack.show.drawing.sheet import Look


@dataclass(frozen=True, slots=True)
class Tie:
    """Two ends that are tied in a medium; `now`: their halves are mated at the moment of the picture."""

    a: str
    b: str
    medium: str
    now: bool


class Survey:
    """What a sheet is made from. Paths of a medium are worked out when they are first asked for."""

    def __init__(self, scene: Scene, media: Collection[str]) -> None:
        self.scene = scene
        self.configuration = scene.configuration
        self.plant = scene.plant
        self.media = tuple(media)
        self._paths: dict[str, Paths] = {}
        self._insides: dict[tuple[str, str], Interior] = {}

    def paths(self, medium: str) -> Paths:
        """Return the paths of a medium as they are made now."""
        if medium not in self._paths:
            self._paths[medium] = Paths(self.scene.networks[medium], self.configuration)
        return self._paths[medium]

    def inside(self, owner: str, medium: str) -> Interior:
        """Return the inside of a unit or place in a medium: one for all of a part."""
        part = self.plant.part_of(owner)
        key = (part.id, medium)
        if key not in self._insides:
            self._insides[key] = interior(self.plant, part, medium)
        return self._insides[key]

    @cached_property
    def holds(self) -> bool:
        """Whether the plant says anything of hold: without it nobody can say what is held by nothing."""
        return HOLD in self.scene.networks and any(kind.medium == HOLD for kind in self.plant.kinds.values())

    @cached_property
    def order(self) -> Mapping[str, int]:
        """Each unit and place by its turn in the plant."""
        return {owner: i for i, owner in enumerate(self.plant.owners())}

    def status(self, port: str) -> str:
        """Return the words for the status of a port."""
        found = self.plant.port(port)
        assert found is not None
        return found[1].says(self.configuration.state(port).value)

    def ends_of(self, owner: str, medium: str) -> list[str]:
        """Return where lines of a medium can end at a unit or place: its ports, of shells their contacts."""
        return [
            f"{owner}:{port.name}:{line}" if line else f"{owner}:{port.name}"
            for port in self.plant.part_of(owner).ports.values()
            if self.plant.kinds[port.kind].joined is not None
            for line in lines(self.plant, port, medium)
        ]

    @cached_property
    def ties(self) -> list[Tie]:
        """Every tie of the media shown, in the plant's order, what is tied now first."""
        now = {
            (port, state.other)
            for port, state in self.configuration.touched()
            if state.other is not None and ":" in port and port < state.other
        }
        ever = {(min(pair), max(pair)) for pair in self.scene.ever} - now
        found: list[Tie] = []
        for pairs, is_now in ((now, True), (ever, False)):
            for a, b in sorted(pairs, key=self._turn):
                found += self._ties(a, b, now=is_now)
        return found

    def _turn(self, pair: tuple[str, str]) -> tuple[int, int, tuple[str, str]]:
        a, b = sorted(self.order.get(owner_of(end), -1) for end in pair)
        return a, b, pair

    def _ties(self, a: str, b: str, *, now: bool) -> Iterator[Tie]:
        near, far = self.plant.port(a), self.plant.port(b)
        if near is None or far is None:
            return
        for (x, y), medium in joined(self.plant, near[0], far[0]).items():
            if medium in self.media:
                yield Tie(f"{a}:{x}" if x else a, f"{b}:{y}" if y else b, medium, now)

    def look(self, tie: Tie) -> Look:
        """Return how the line of a tie is drawn."""
        if not tie.now:
            return Look.MADE
        if not is_made(self.configuration, port_of(tie.a)):
            return Look.NOT_CARRYING
        if tie.medium == HOLD:
            return Look.GIVES if self.plant.gives(port_of(tie.a), port_of(tie.b)) else Look.MADE
        return self.reach(tie.a, tie.medium)

    def reach(self, item: str, medium: str) -> Look:
        """Return whether liquid at an item is cut off, or nothing feeds it."""
        paths = self.paths(medium)
        if paths.nodes(EXPANSION) or paths.nodes("liquid"):
            return Look.CUT_OFF if paths.is_live(item) and paths.is_cut_off(item) else Look.MADE
        return Look.DEAD if paths.nodes(SOURCE) and not paths.is_fed(item) else Look.MADE
