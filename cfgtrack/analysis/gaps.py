"""The ways that a medium could take if valves were opened and halves joined: what each lacks, the least first."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator
from heapq import heappop, heappush
from itertools import count

from cfgtrack.analysis.wants import Alternative, Be, Pair, Want, carrying
from cfgtrack.model.configuration import View
from cfgtrack.model.hold import seat_of
from cfgtrack.model.plant import HOLD, Plant, owner_of
from cfgtrack.model.possibility import misfits, not_in_one_place
from cfgtrack.model.presence import site_at

_OPEN, _JOIN, _FREE_FIRST, _FETCH = 2, 5, 4, 3
"""What it costs to open what is shut, to join two halves, to part one from another first, to fetch what is away."""
_MOST_OVER = 12
"""What costs so much more than the least isn't offered."""

MOST_WAYS = 6
_MOST_JOINTS = 8
_FEW = 2

_Vertex = tuple[str, bool]
"""A port, node or owner; and whether it was fetched from where it is now."""


class Gaps:
    """Finds ways in a plant. It knows what fits what; a configuration tells what is made now."""

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self._fits: dict[str, tuple[str, ...]] = {}
        self._by_kind: defaultdict[str, list[str]] = defaultdict(list)
        for owner in plant.owners():
            for port in plant.ports_of(owner):
                found = plant.port(port)
                if found is not None and found[1].joined is not None:
                    self._by_kind[found[1].id].append(port)
        self._sites: dict[str, str] = {}
        self._fast: dict[str, bool] = {}
        self._made_only = False
        self._known: dict[_Vertex, list[tuple[_Vertex, int, Want | None]]] = {}
        self._links: dict[str, dict[str, list[tuple[str, str]]]] = {}

    def fitting(self, port: str) -> tuple[str, ...]:
        """Return the ports that fit one."""
        found = self._fits.get(port)
        if found is None:
            own = self.plant.port(port)
            assert own is not None
            kinds = [kind for kind in self.plant.kinds.values() if own[1].mates_with(kind)]
            others = (other for kind in kinds for other in self._by_kind[kind.id])
            found = tuple(o for o in others if next(misfits(self.plant, port, o), None) is None)
            self._fits[port] = found
        return found

    def has_way(self, view: View, medium: str, start: str, ends: Collection[str]) -> bool:
        """Return whether there is a way now."""
        self._forget()
        return self._way(view, medium, start, frozenset(ends), made_only=True) is not None

    def _forget(self) -> None:
        """Know nothing of how things are: that was of a moment."""
        self._sites, self._fast, self._known = {}, {}, {}

    def ways(
        self, view: View, medium: str, start: str, ends: Collection[str], avoid: Collection[str] = ()
    ) -> list[Alternative]:
        """Return what the ways lack that cost least, the least first; `avoid`: ports that stay as they are."""
        found: dict[Alternative, int] = {}
        ends = frozenset(ends)
        self._forget()
        best = self._way(view, medium, start, ends, frozenset(avoid))
        if best is None:
            return []
        found[best[1]] = best[0]
        tried = set[frozenset[str]]()
        queue = [best[1]]
        while queue and len(found) < MOST_WAYS:
            for want in queue.pop(0):
                without = frozenset((*avoid, *want.things))
                if without in tried:
                    continue
                tried.add(without)
                other = self._way(view, medium, start, ends, without)
                if other is not None and other[1] not in found:
                    found[other[1]] = other[0]
                    queue.append(other[1])
        least = min(found.values())
        near = (one for one in found if one and found[one] <= least + _MOST_OVER)
        return sorted(near, key=lambda one: found[one])

    def _way(
        self,
        view: View,
        medium: str,
        start: str,
        ends: frozenset[str],
        avoid: frozenset[str] = frozenset(),
        *,
        made_only: bool = False,
    ) -> tuple[int, Alternative] | None:
        self._made_only = made_only
        serial = count()
        queue: list[tuple[int, int, _Vertex, Alternative]] = [(0, next(serial), (start, False), ())]
        done = set[_Vertex]()
        hops = self._held if medium == HOLD else self._hops
        while queue:
            cost, _, at, lacks = heappop(queue)
            if at in done:
                continue
            done.add(at)
            if at[0] in ends:
                return cost, lacks
            known = self._known.get(at)
            if known is None:
                known = self._known[at] = list(hops(view, medium, at))
            for to, more, want in known:
                if to in done:
                    continue
                if want is not None and (
                    made_only or not avoid.isdisjoint(want.things) or (to[1] and to[0] in avoid)
                ):
                    continue
                heappush(queue, (cost + more, next(serial), to, lacks if want is None else (*lacks, want)))
        return None

    # --- one hop ---

    def _hops(self, view: View, medium: str, vertex: _Vertex) -> Iterator[tuple[_Vertex, int, Want | None]]:
        plant, at = self.plant, vertex[0]
        owner, _, name = at.partition(":")
        for other, gate in self._inside(owner, medium).get(name, ()):
            if not gate:
                yield (f"{owner}:{other}", False), 0, None
                continue
            port = f"{owner}:{gate}"
            found = plant.port(port)
            if found is not None:
                gate_open = Be(port, carrying(found[1]))
                yield (
                    (f"{owner}:{other}", False),
                    *((0, None) if gate_open.is_met(view) else (_OPEN, gate_open)),
                )
        found = plant.port(at)
        if found is not None and found[1].joined is not None and found[1].medium == medium:
            for far, cost, want in self._over(view, at):
                yield (far, False), cost, want

    def _over(self, view: View, port: str) -> Iterator[tuple[str, int, Want | None]]:
        found = self.plant.port(port)
        assert found is not None
        want_among = carrying(found[1])
        mate = view.state(port).other
        if mate is not None:
            joint = Pair(port, mate, want_among)
            yield mate, *((0, None) if joint.is_met(view) else (_OPEN, joint))
        if self._made_only:
            return
        here, owner = self._site(view, port), owner_of(port)
        for other in self.fitting(port):
            if other == mate:
                continue
            far = owner_of(other)
            cost = _JOIN
            cost += _FREE_FIRST * ((mate is not None) + (view.state(other).other is not None))
            if here != self._site(view, other):
                stays = found[1].medium == HOLD or self._is_fast(view, owner)
                if stays and self._is_fast(view, far):
                    continue
                cost += _FETCH
            yield other, cost, Pair(port, other, want_among)

    def _site(self, view: View, port: str) -> str:
        found = self._sites.get(port)
        if found is None:
            found = self._sites[port] = site_at(view, port)
        return found

    def _is_fast(self, view: View, owner: str) -> bool:
        """Return whether a thing is no easy one to fetch: it is fixed at more than a joint or two."""
        found = self._fast.get(owner)
        if found is None:
            found = self._fast[owner] = self._is_fixed(view, owner)
        return found

    def _is_fixed(self, view: View, owner: str) -> bool:
        plant = self.plant
        if plant.is_mobile(owner):
            return False
        if owner not in plant.units:
            return True
        joined = ((port, view.state(port).other) for port in plant.ports_of(owner))
        fixed = (mate for port, mate in joined if mate is not None and not plant.gives(port, mate))
        return sum(not plant.is_mobile(owner_of(mate)) for mate in fixed) > _FEW

    def _held(self, view: View, medium: str, vertex: _Vertex) -> Iterator[tuple[_Vertex, int, Want | None]]:
        """Yield what holds an owner, or could: what is fetched for that no longer stands where it stood."""
        plant, (owner, is_fetched) = self.plant, vertex
        if not is_fetched:
            moves = owner in plant.units or plant.is_mobile(owner)
            seat = seat_of(view, owner) if moves else plant.places[owner].parent
            if seat:
                yield (seat, False), 0, None
        best: dict[str, list[tuple[int, str, str, Want]]] = {}
        for port in plant.ports_of(owner):
            found = plant.port(port)
            if found is None or found[1].medium != medium or found[1].joined is None:
                continue
            for far, cost, want in self._over(view, port):
                other = owner_of(far)
                if want is None:
                    if not is_fetched or not self._is_fast(view, other):
                        yield (other, is_fetched), cost, None
                else:
                    best.setdefault(other, []).append((cost, port, far, want))
        for other, several in best.items():
            several.sort(key=lambda one: one[0])
            apart = not_in_one_place(view, several[0][1], several[0][2]) is not None
            for cost, _, _, want in several[:_MOST_JOINTS]:
                yield (other, apart and other in plant.units), cost + apart, want

    def _inside(self, owner: str, medium: str) -> dict[str, list[tuple[str, str]]]:
        """Return where paths lead from each name inside an owner, and over which gate."""
        part = self.plant.part_of(owner)
        key = f"{medium}/{part.id}"
        found = self._links.get(key)
        if found is None:
            found = self._links[key] = {}
            known = self.plant.media.get(medium)
            upstream = known is not None and known.upstream
            for link in part.links:
                for a, b, forward in ((link.a, link.b, True), (link.b, link.a, False)):
                    if not link.one_way or forward != upstream:
                        found.setdefault(a, []).append((b, link.gate or ""))
        return found
