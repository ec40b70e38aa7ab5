"""What falls short among items that are always the same, kept up to date: so an event costs what it touches."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping

from cfgtrack.model.plant import Plant, owner_of, port_of
from cfgtrack.network.flow import Shift
from cfgtrack.network.reach import Reach
from cfgtrack.rules.trail import Trail


class Tally(dict[object, bool]):
    """The items, or vertices, that count: whoever holds one sees it kept up to date.

    `version` goes up with every change, on the way back too: while it is the same, so are they.
    """

    __slots__ = ("version",)

    def __init__(self, counted: Iterable[object] = ()) -> None:
        super().__init__(dict.fromkeys(counted, True))
        self.version = 0

    def change(self, trail: Trail, key: object, *, counts: bool) -> None:
        """Have an item count, or count no longer."""
        if counts == (key in self):
            return
        self.version += 1
        trail.on_back(self._count_up)
        if counts:
            trail.set(self, key, True)
        else:
            trail.drop(self, key)

    def _count_up(self) -> None:
        self.version += 1


class Tallies:
    """The tallies of one world. Equal conditions share one.

    One that is started after a mark would not be stepped back: start them all before.
    """

    def __init__(self, plant: Plant, trail: Trail) -> None:
        self._plant = plant
        self._trail = trail
        self.known: dict[object, Tally] = {}
        self._by_item: dict[str, list[tuple[Tally, Callable[[str], bool]]]] = {}
        self._by_reach: dict[Reach, list[tuple[Tally, frozenset[int], bool]]] = {}

    def of_items(self, condition: object, items: Iterable[str], counts: Callable[[str], bool]) -> Tally:
        """Return the items that count, as `counts` tells of each whenever it changes."""
        tally = self.known.get(condition)
        if tally is None:
            known = list(items)
            tally = self.known[condition] = Tally(item for item in known if counts(item))
            for item in known:
                self._by_item.setdefault(item, []).append((tally, counts))
        return tally

    def of_reach(
        self, condition: object, reach: Reach, items: Iterable[tuple[str, tuple[int, ...]]], *, wanted: bool
    ) -> Tally:
        """Return the vertices that don't reach a target though it is `wanted`, or do though it isn't.

        `items` come with the vertices that they stand for; of those that stand for none no way is to be had.
        """
        tally = self.known.get(condition)
        if tally is None:
            known = dict(items)
            vertices = frozenset(v for each in known.values() for v in each)
            nowhere = [item for item, each in known.items() if wanted and not each]
            tally = self.known[condition] = Tally(
                [*(v for v in vertices if (v in reach) != wanted), *nowhere]
            )
            self._by_reach.setdefault(reach, []).append((tally, vertices, wanted))
        return tally

    def update(self, subjects: Iterable[str], shifts: Mapping[str, Shift]) -> None:
        """Bring all up to date after an event."""
        if self._by_item:
            self._update_items(subjects)
        for shift in shifts.values():
            for reach, lost in shift.lost.items():
                self._update_reach(reach, lost, reached=False)
            for reach, gained in shift.gained.items():
                self._update_reach(reach, gained, reached=True)

    def _update_items(self, subjects: Iterable[str]) -> None:
        for subject in self.with_inside(subjects):
            for tally, counts in self._by_item.get(subject, ()):
                tally.change(self._trail, subject, counts=counts(subject))

    def with_inside(self, subjects: Iterable[str]) -> Iterator[str]:
        """Yield subjects, and what may differ with them: all inside a unit that moved, of a shell its contacts, and the
        shell of a contact.
        """
        for subject in subjects:
            yield subject
            if (shell := port_of(subject)) != subject:
                yield shell
            if self._plant.has_owner(owner_of(subject)):
                yield from self._plant.contacts_of(subject)
                if ":" not in subject:
                    yield from self._plant.ports_of(subject)
                    yield from self._plant.nodes_of(subject)

    def _update_reach(self, reach: Reach, vertices: set[int], *, reached: bool) -> None:
        for tally, starts, wanted in self._by_reach.get(reach, ()):
            for vertex in vertices & starts:
                tally.change(self._trail, vertex, counts=reached != wanted)
