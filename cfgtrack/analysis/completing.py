"""A sequence completed: the uncapping, capping, carrying and walking that it left out, put in where they are needed.

The steps are done in the order in which they are laid out. Before one that can't be done, or would break a rule, is put
what makes it possible (see `means`); at an outing's end what rules ask for then. What was given stays as it was given,
on its track, with its waits; what is put in is on the track of whoever does it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from cfgtrack.analysis.check import CheckReport, Start, check
from cfgtrack.analysis.exchange import engine_for_anything, who_acts
from cfgtrack.analysis.gaps import Gaps
from cfgtrack.analysis.goal import Takes
from cfgtrack.analysis.lanes import waits_of
from cfgtrack.analysis.means import Means, Spent
from cfgtrack.analysis.verdict import Verdict
from cfgtrack.model.action import Action
from cfgtrack.model.possibility import Impossible, resolve
from cfgtrack.model.sequence import Outing, Schedule, Step
from cfgtrack.model.sequence import Sequence as Proposed
from cfgtrack.network.network import Network
from cfgtrack.rules.rule import RuleSet
from cfgtrack.rules.variance import Variance

ADDED = "added"
"""What an added step is titled."""

MOST_PASSES = 8


@dataclass(frozen=True, slots=True)
class Left:
    """A step that could not be made possible, or a rule that could not be kept at an end; and why."""

    step: str
    outing: str
    why: str


@dataclass(frozen=True, slots=True)
class Completion:
    """A sequence completed. `added`: the ids of the steps that were put in; `left`: what could not be completed."""

    plan: Proposed
    added: tuple[str, ...]
    left: tuple[Left, ...]
    report: CheckReport


@dataclass(slots=True)
class _Entry:
    """A step in the order: the one that was `given`, None where it is added."""

    said: Action
    given: Step | None


@dataclass(slots=True)
class _Pass:
    """One time through the sequence."""

    plan: Proposed
    left: list[Left] = field(default_factory=list)


def complete(
    rules: RuleSet,
    begin: Start,
    proposal: Proposed,
    *,
    takes: Takes,
    variances: Sequence[Variance] = (),
    networks: Mapping[str, Network] | None = None,
    begun: Mapping[str, int] | None = None,
    trace: Callable[[str], object] | None = None,
) -> Completion:
    """Return a sequence with what it left out; what was given is left as it is. Raises Deadlock."""
    begun = begun or {}
    pressing: set[tuple[str, str]] = set()
    best: tuple[int, _Pass, CheckReport] | None = None
    for _ in range(MOST_PASSES):
        once = _Completing(rules, begin, proposal, takes, networks, begun, pressing, trace).run()
        report = check(rules, begin, once.plan, variances=variances, networks=networks, begun=begun)
        faults = len(report.new) + len(report.left_running)
        if best is None or faults < best[0]:
            best = (faults, once, report)
        if report.verdict == Verdict.CLEAR:
            break
        said = {step.step: step.action for step in report.steps}
        more = {(said[f.step], f.rule) for f in report.new if f.step in said} - pressing
        if not more:
            break
        pressing |= more
    assert best is not None
    _, once, report = best
    given = {step.id for step in proposal.steps}
    added = tuple(step.id for step in once.plan.steps if step.id not in given)
    return Completion(once.plan, added, tuple(once.left), report)


class _Completing:
    """Goes through a sequence once. `pressing`: once what is done which rules' clocks are met at once."""

    def __init__(
        self,
        rules: RuleSet,
        begin: Start,
        proposal: Proposed,
        takes: Takes,
        networks: Mapping[str, Network] | None,
        begun: Mapping[str, int],
        pressing: set[tuple[str, str]],
        trace: Callable[[str], object] | None,
    ) -> None:
        self.proposal, self.takes, self.pressing, self.begun = proposal, takes, pressing, begun
        engine = engine_for_anything(rules, begin, networks)
        self.plant = engine.world.plant
        actors, machines = who_acts(self.plant, begin)
        doers = {step.action.by for step in proposal.steps if step.action.by}
        actors = tuple(dict.fromkeys((*actors, *sorted(d for d in doers if self.plant.is_mobile(d)))))
        self.means = Means(
            engine, Gaps(self.plant), actors, machines, urgent=0, trace=trace, watched=frozenset(pressing)
        )
        schedule = Schedule(proposal, begin.start, begun)
        self.order = [laid.step for laid in schedule.lay_out(schedule.at_pace(1)).steps]
        self.left: list[Left] = []
        self.number = 0

    def run(self) -> _Pass:
        """Return the sequence, completed as far as can be."""
        steps: list[Step] = []
        outings = self.proposal.outings
        for number, outing in enumerate(outings):
            after = outings[number + 1] if number + 1 < len(outings) else None
            if outing.id not in self.begun:
                self.means.begin(outing.id)
            mark = self.means.engine.mark()
            entries = self._outing(outing, last=after is None)
            self.means.engine.back(mark)
            steps += self._with_left(outing, self._laid(outing, entries))
            if after is not None:
                self.means.order.clear()
                for entry in entries:
                    self.means.once_more(entry.said)
                self.means.go_on(outing.id, after.start)
        return _Pass(replace(self.proposal, steps=tuple(steps)), self.left)

    def _outing(self, outing: Outing, *, last: bool) -> list[_Entry]:
        """Return the steps of an outing, with those that are put in, in the order in which they are done."""
        means = self.means
        means.order.clear()
        given: dict[int, Step] = {}
        for step in self.order:
            if step.outing != outing.id:
                continue
            said = replace(step.action, id="", happened=0)
            turns = means.once_more(said)
            if turns is None and not self._made_possible(said):
                self.left.append(Left(step.id, outing.id, self._why(said)))
                continue
            given[id(means.order[-1].said)] = step
            means.meet(turns or ())
        try:
            lacking = means.finish(outing.id, (), last=last)
        except Spent:
            lacking = []
        for one in lacking:
            self.left.append(Left("", outing.id, f"the end breaks {one}"))
        return [_Entry(one.said, given.get(id(one.said))) for one in means.order]

    def _made_possible(self, said: Action) -> bool:
        means = self.means
        means.most = means.tried + MOST_FOR_ONE
        before = means.keep()
        try:
            return means.do(said)
        except Spent:
            means.restore(before)
            return False

    def _why(self, said: Action) -> str:
        outcome = resolve(self.means.now, said)
        if isinstance(outcome, Impossible):
            return "; ".join(refusal.sentence for refusal in outcome.refusals)
        return "it would break a rule"

    # --- as a sequence --------------------------------------------------------------------------------------------

    def _laid(self, outing: Outing, entries: Sequence[_Entry]) -> list[Step]:
        """Return the steps of an outing on their tracks, with the waits that they need besides those they have."""
        if not entries:
            return []
        tracks = self._tracks(outing)
        names, own = list[str](), {id(entry.said): entry for entry in entries}

        def track_of(said: Action) -> str:
            given = own[id(said)].given
            return given.track if given is not None else tracks.get(said.by or "", said.by or outing.id)

        order = [entry.said for entry in entries]
        number_of = {entry.given.id: n for n, entry in enumerate(entries) if entry.given is not None}
        known = {
            number_of[entry.given.id]: [number_of[a] for a in entry.given.after if a in number_of]
            for entry in entries
            if entry.given is not None
        }
        waits = waits_of(self.means.engine, order, track_of, known)
        for entry in entries:
            names.append(entry.given.id if entry.given is not None else self._name())
        out: list[Step] = []
        for number, entry in enumerate(entries):
            needed = [
                names[one]
                for one in sorted(waits[number] | self._waits_with(entries, known, number, track_of))
            ]
            if entry.given is not None:
                kept = [one for one in entry.given.after if one in names]
                more = [one for one in needed if one not in kept]
                out.append(replace(entry.given, after=(*kept, *more)))
                continue
            out.append(
                Step(
                    names[number],
                    outing.id,
                    track_of(entry.said),
                    entry.said,
                    self.takes.span(self.plant, entry.said),
                    tuple(needed),
                    ADDED,
                    assumed=self.takes.is_assumed(self.plant, entry.said),
                )
            )
        return out

    def _with_left(self, outing: Outing, steps: list[Step]) -> list[Step]:
        """Return steps with those that can't be done, too, where they stood: a check says so of them."""
        for track, given in self.proposal.tracks(outing.id).items():
            for number, step in reversed([*enumerate(given)]):
                if any(one.id == step.id for one in steps):
                    continue
                following = given[number + 1].id if number + 1 < len(given) else ""
                own = [n for n, one in enumerate(steps) if one.track == track]
                at = next((n for n in own if steps[n].id == following), own[-1] + 1 if own else len(steps))
                steps.insert(at, step)
        return steps

    def _waits_with(
        self,
        entries: Sequence[_Entry],
        known: Mapping[int, Sequence[int]],
        number: int,
        track_of: Callable[[Action], str],
    ) -> set[int]:
        """Return what an added step waits for as the given step waits for which it was put in, on the same track."""
        if entries[number].given is not None:
            return set()
        track = track_of(entries[number].said)
        later = (n for n in range(number + 1, len(entries)) if entries[n].given is not None)
        following = next((n for n in later if track_of(entries[n].said) == track), None)
        return {n for n in known.get(following, ()) if n < number} if following is not None else set()

    def _tracks(self, outing: Outing) -> dict[str, str]:
        """Return the track of each doer: the one on which he does most."""
        found: dict[str, str] = {}
        for track, steps in self.proposal.tracks(outing.id).items():
            for step in steps:
                found.setdefault(step.action.by or "", track)
        return found

    def _name(self) -> str:
        taken = {step.id for step in self.proposal.steps}
        while True:
            self.number += 1
            name = f"ADD-{self.number:02d}"
            if name not in taken:
                return name


MOST_FOR_ONE = 4_000
"""So many steps are tried to make one step possible."""
