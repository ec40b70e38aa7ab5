"""What must be brought about first: for what can't be done, and for what would break a rule, in alternatives.

Of a condition the alternatives are read off what it looks at; what it proposes by itself is taken as it is.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from itertools import islice

from cfgtrack.analysis.gaps import Gaps
from cfgtrack.analysis.wants import Alternative, Apart, At, Away, Be, Do, Stands
from cfgtrack.model.configuration import Configuration, place_line
from cfgtrack.model.hold import grippers, joints, moves_with
from cfgtrack.model.plant import Plant, owner_of
from cfgtrack.model.possibility import Impossible, Refusal
from cfgtrack.model.presence import site_at, site_in, site_of
from cfgtrack.rules.condition import Judge, Part
from cfgtrack.rules.selection import HOME, place_fits
from cfgtrack.rules.wanted import Wanted
from cfgtrack.rules.ways import Ways
from cfgtrack.rules.what.all import _All
from cfgtrack.rules.what.any import _AnyOf
from cfgtrack.rules.what.count import _Count
from cfgtrack.rules.what.no_path import _NoPath
from cfgtrack.rules.what.not_ import _Not
from cfgtrack.rules.what.path import _Path
from cfgtrack.rules.what.status import Status
from cfgtrack.rules.world import World

MOST_ITEMS = 12
MOST_PLACES = 6
MOST_GATES = 8


class Asks:
    """Tells what is asked for first in one world."""

    def __init__(self, world: World, gaps: Gaps) -> None:
        self.world, self.gaps = world, gaps
        self.plant: Plant = world.plant
        self.homes: dict[str, str] = {}
        self.claims: dict[str, str] = {}
        self.actors: tuple[str, ...] = ()

    @property
    def now(self) -> Configuration:
        """The configuration as it is now."""
        return self.world.configuration

    # --- conditions -----------------------------------------------------------------------------------------------

    def of(
        self,
        judge: Judge,
        it: str | None,
        part: Part | None = None,
        *,
        true: bool = True,
        avoid: Collection[str] = (),
    ) -> Iterator[Alternative]:
        """Yield what might make a condition true, or false, for an item."""
        if isinstance(judge, _Not):
            yield from self.of(judge.judge, it, true=not true, avoid=avoid)
        elif isinstance(judge, _All | _AnyOf):
            every = isinstance(judge, _All) == true
            some = [one for one in judge.parts if one.holds(it) != true]
            if every:
                some = some[:1]
            for one in some:
                yield from self.of(one, it, true=true, avoid=avoid)
        elif isinstance(judge, _Path | _NoPath):
            if isinstance(judge, _Path) == true:
                yield from self._joined(judge.ways, it, self._lacking(judge, it, part), avoid)
            else:
                yield from self._shut(judge, it, part, true=true)
        elif isinstance(judge, _Count):
            yield from self._counted(judge, it, true=true, avoid=avoid)
        elif isinstance(getattr(judge, "condition", None), Status):
            wanted = judge.condition.wanted  # type: ignore[attr-defined]
            items = judge.short(it) if true else [(one,) for one in judge.met(it)]
            for item, *_ in islice(items, MOST_ITEMS):
                yield from self.so(wanted, item, away=not true)
        else:
            for proposal in islice(judge.towards(it, part, true=true), MOST_ITEMS):
                yield (Do(proposal.action),)

    def _lacking(self, judge: Judge, it: str | None, part: Part | None) -> Iterable[str]:
        if part is not None and isinstance(judge, _Path):
            return part[:1]
        if isinstance(judge, _Path):
            return [items[0] for items in judge.short(it).values() if items]
        return judge.met(it)

    def _joined(
        self, ways: Ways, it: str | None, items: Iterable[str], avoid: Collection[str]
    ) -> Iterator[Alternative]:
        ends = list(ways.end.items(it))
        for item in islice(items, 1):
            yield from self.gaps.ways(self.now, ways.flow.network.medium, item, ends, avoid)

    def _shut(self, judge: Judge, it: str | None, part: Part | None, *, true: bool) -> Iterator[Alternative]:
        if part is not None and not part:
            part = None
        for proposal in islice(judge.towards(it, part, true=true), MOST_GATES):
            yield (Do(proposal.action),)

    def _counted(
        self, judge: _Count, it: str | None, *, true: bool, avoid: Collection[str]
    ) -> Iterator[Alternative]:
        meeting = judge._meeting(it)
        others = judge._others(it, meeting)
        condition, n = judge.condition, len(meeting)
        few = condition.least is not None and n < condition.least
        many = condition.most is not None and n > condition.most
        if few or not true:
            missing = (condition.least or n + 1) - n
            if judge.ways is not None:
                yield from self._joined(judge.ways, it, others, avoid)
            elif missing > 1 and missing == len(others):
                firsts = [next(self.so(judge.wanted, one, away=False), ()) for one in others]
                yield tuple(want for alternative in firsts for want in alternative)
            else:
                for one in self._nearest(others):
                    yield from self.so(judge.wanted, one, away=False)
        if many or not true:
            for one in meeting[:MOST_ITEMS]:
                yield from self.so(judge.wanted, one, away=True)

    def _nearest(self, items: Iterable[str]) -> list[str]:
        return list(islice(items, MOST_ITEMS))

    def so(self, wanted: Wanted, item: str, *, away: bool) -> Iterator[Alternative]:
        """Yield what makes an item so, or no longer."""
        found = self.plant.port(item)
        if found is not None and wanted.among:
            among = frozenset(wanted.among)
            others = frozenset(found[1].statuses) - among
            yield (Be(item, others if away else among),)
        owner = owner_of(item)
        if not wanted.at or not self.plant.can_move(owner):
            return
        if away:
            home = self.homes.get(owner, "")
            line = place_line(self.now, owner)
            here = next((p for p in line if place_fits(self.plant, p, wanted.at)), "")
            if home and here:
                yield (At(owner, home, inside=True),)
            if here:
                yield (Away(owner, here),)
            return
        for carrier in place_line(self.now, owner) if owner in self.plant.units else ():
            # What belongs in a bag goes where the bag belongs.
            home = self.homes.get(carrier, "")
            if home and carrier not in self.actors and self._is_in(home, wanted.at):
                yield (At(carrier, home, inside=True),)
        for place in islice(self._places(owner, wanted.at), MOST_PLACES):
            yield (At(owner, place, inside=True),)

    def _is_in(self, place: str, patterns: tuple[str, ...]) -> bool:
        return any(place_fits(self.plant, one, patterns) for one in self.plant.ancestors(place))

    def _places(self, thing: str, patterns: tuple[str, ...]) -> Iterator[str]:
        """Yield the places that are asked for: first where it was at the start, then the nearest."""
        plant = self.plant
        unit = plant.units.get(thing)
        named = [unit.home if unit and one == HOME else one for one in patterns]
        fitting = [place for place in plant.places if place_fits(plant, place, tuple(named))]
        home = self.homes.get(thing, "")
        site = site_of(self.now, thing)
        fixed = [p for p in fitting if not plant.places[p].mobile]
        fixed.sort(key=lambda p: (p not in named, p != home, site_in(self.now, p) != site))
        if home in fitting:
            yield home
        yield from (p for p in fixed if p != home)

    # --- what can't be done -----------------------------------------------------------------------------------------

    def first(self, outcome: Impossible, wanted_at: dict[str, str]) -> Iterator[Alternative]:
        """Yield what must come first so that an action can be done; `wanted_at`: where things are to go in the end."""
        ties = [r for r in outcome.refusals if r.code == "tied"]
        if ties and all(r.code == "tied" for r in outcome.refusals):
            yield from self._untied(outcome, ties)
            return
        for refusal in outcome.refusals:
            found = list(self._of_refusal(outcome, refusal, wanted_at))
            if refusal.code != "tied":
                yield from found
                return

    def _untied(self, outcome: Impossible, ties: list[Refusal]) -> Iterator[Alternative]:
        """Yield that all that ties a thing is parted, that which holds it last."""
        thing = outcome.action.subjects[0]
        if not any(owner_of(r.subject) == thing for r in ties):
            # It is what is fixed to it that is tied: so it is parted from that.
            yield tuple(Apart(j.near) for j in joints(self.now, thing) if owner_of(j.far) in outcome.moved)
        things = dict.fromkeys((*outcome.action.subjects, *outcome.moved))
        claimed = (
            port
            for thing in things
            if thing in self.plant.units
            for port in self.plant.ports_of(thing)
            if (mate := self.now.state(port).other) is not None and self.claims.get(mate, port) != port
        )
        ports = sorted(
            dict.fromkeys((*claimed, *(r.subject for r in ties))), key=lambda p: self._medium(p) == "hold"
        )
        yield tuple(map(Apart, ports))

    def _medium(self, port: str) -> str:
        found = self.plant.port(port)
        return (found[1].medium or "") if found is not None else ""

    def _of_refusal(
        self, outcome: Impossible, refusal: Refusal, wanted_at: dict[str, str]
    ) -> Iterator[Alternative]:
        plant, action, subject = self.plant, outcome.action, refusal.subject
        if refusal.code == "status":
            found = plant.port(subject)
            move = found[1].moves.get(action.action) if found is not None else None
            if found is None or move is None:
                return
            sources = frozenset(move.sources)
            if self.now.state(subject).other is not None and not any(map(found[1].is_joined, sources)):
                yield (Apart(subject),)
            else:
                yield (Be(subject, sources),)
        elif refusal.code in ("not-here", "tethered") and len(action.subjects) == 2:
            yield from self._together(*action.subjects)
        elif refusal.code in ("gripped", "tethered"):
            yield from self._along(action.subjects[0], action.place or "", subject)
        elif refusal.code == "full" and action.place is not None:
            group = {action.subjects[0], *outcome.moved}
            for thing in self.now.standing_at(action.place):
                if thing in plant.units and thing not in group:
                    target = wanted_at.get(thing, "")
                    if target and target != action.place:
                        yield (At(thing, target),)
                    for place in self._elsewhere(thing, action.place):
                        yield (At(thing, place),)
        elif refusal.code == "already":
            yield ()

    def _elsewhere(self, thing: str, place: str) -> Iterator[str]:
        """Yield where what stands in the way might be put: where it was first, then the nearest free stowage."""
        home = self.homes.get(thing, "")
        site = site_of(self.now, thing)
        free = [
            p.id
            for p in self.plant.places.values()
            if p.holds
            and not p.mobile
            and p.id != place
            and p.capacity is not None
            and len([s for s in self.now.standing_at(p.id) if s in self.plant.units]) < p.capacity
        ]
        free.sort(key=lambda p: site_in(self.now, p) != site)
        if home and home != place:
            yield home
        yield from free[:3]

    def _together(self, a: str, b: str) -> Iterator[Alternative]:
        """Yield what brings the owners of two ports to one place: the one that moves by itself first."""
        plant, now = self.plant, self.now
        sites = {port: site_at(now, port) for port in (a, b)}
        out: list[tuple[int, Alternative]] = []
        for port, other in ((a, b), (b, a)):
            owner, far = owner_of(port), owner_of(other)
            if not plant.can_move(owner):
                continue
            cost = 0 if plant.is_mobile(owner) else 1
            carriers = grippers(now, moves_with(now, owner)) if owner in plant.units else set()
            if carriers:
                cost = 0
            mates = ((p, now.state(p).other) for p in plant.ports_of(owner))
            if any(mate and not plant.gives(p, mate) for p, mate in mates):
                cost += 1 if carriers else 4
            line = place_line(now, far)
            site = sites[other]
            away = [one for one in carriers if site and site_of(now, one) != site]
            out += [(cost, (Stands(one, site),)) for one in away]
            if site and sites[port] != site:
                target = line[0] if line and far in plant.units else site
                out.append((cost, (Stands(owner, site),)))
                out.append((cost + 2, (At(owner, target, inside=True),)))
            elif line:
                out.append((cost, (At(owner, line[0]),)))
        yield from (alternative for _, alternative in sorted(out, key=lambda one: one[0]))

    def _along(self, thing: str, place: str, subject: str) -> Iterator[Alternative]:
        """Yield what frees a thing that is gripped or tied, or takes what grips it along."""
        plant, now = self.plant, self.now
        mate = now.state(subject).other
        other = owner_of(mate) if mate else ""
        ends = {owner_of(subject), other}
        site = site_in(now, place) if place else ""
        if thing in plant.units:
            grip = filter(plant.is_mobile, (*ends, *grippers(now, moves_with(now, thing))))
            for gripper in sorted(grip):
                if site and site_of(now, gripper) != site:
                    yield (Stands(gripper, site),)
        yield (Apart(subject),)
