"""Which proposal is a question about: the one in a file, or else what is left of the plan in force."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from cfgtrack.answers.moment import Moment
from cfgtrack.answers.past import Past
from cfgtrack.files.sequence import parse_sequence, read_sequence
from cfgtrack.model.action import ABANDON, ADOPT, BEGIN, BOOK_ACTIONS, END, SKIP
from cfgtrack.model.event import Entry
from cfgtrack.model.plan import Revision, in_force, revisions
from cfgtrack.model.plant import port_of
from cfgtrack.model.sequence import Sequence, Step, TooEarly
from cfgtrack.model.time import format_instant
from cfgtrack.model.trouble import BadInput, NoAnswer, Problem
from cfgtrack.rules.condition import Condition
from cfgtrack.rules.rule import Rule
from cfgtrack.rules.several import Several
from cfgtrack.rules.what.value import Value
from cfgtrack.store.journal import Journal

if TYPE_CHECKING:
    from cfgtrack.analysis.progress import Hours, Run
    from cfgtrack.analysis.remainder import Remainder


def proposal(past: Past, path: Path | None) -> Sequence:
    """Return the sequence in a file, or without one what is left of the plan in force. NoAnswer when there is none."""
    return proposed(past, path).sequence


@dataclass(frozen=True, slots=True)
class Proposed:
    """A proposal, and what is to be told beside the answer: which plan it is, and how it differs from that."""

    sequence: Sequence
    notes: tuple[str, ...] = ()


def proposed(past: Past, path: Path | None) -> Proposed:
    """Return the same as `proposal`, with what is to be told of it."""
    if path is not None:
        return Proposed(read_sequence(path, past.plant))
    plan = plan_in_force(past)
    left = left_of(past, plan, as_run(past, plan))
    if not left.sequence.steps:
        sentence = f"nothing is left of {plan.revision.called}: adopt another plan, or name a sequence file"
        raise NoAnswer(Problem("plan", "plan-done", sentence))
    return Proposed(left.sequence, (f"note: what is left of {plan.revision.called}", *left.notes))


def left_of(past: Past, plan: InForce, run: Run) -> Remainder:
    """Return what is left of the plan in force, from the moment on."""
    from cfgtrack.analysis.remainder import what_is_left

    where = f"what is left of {plan.revision.called}"
    return what_is_left(plan.plan, run, past.moment.at, begun=past.begun, where=where)


@contextmanager
def telling_new_starts(proposal: Sequence) -> Iterator[None]:
    """Have an outing that would start before the moment refused, with the two ways out."""
    try:
        yield
    except TooEarly as early:
        first = early.first
        assert first.start is not None
        starts = ", ".join(f"{outing} {format_instant(start)}" for outing, start in early.starts.items())
        sentence = (
            f"outing {first.id} would start at {format_instant(first.start)}, before the moment asked about,"
            f" {format_instant(early.moment)}: ask with --at {format_instant(first.start)} or earlier, or plan it"
            f" later; with the gaps kept: {starts}"
        )
        raise BadInput(Problem(first.where or proposal.where, "too-early", sentence)) from early


# --- the plan in force --------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class InForce:
    """The plan in force, as it reads for the plant of the moment; all its `revisions`, and those of others before."""

    revision: Revision
    plan: Sequence
    revisions: tuple[Revision, ...]

    @property
    def own(self) -> tuple[Revision, ...]:
        """The revisions of this plan alone."""
        return tuple(one for one in self.revisions if one.plan == self.revision.plan)

    def step(self, name: str) -> Step | None:
        """Return the step of this id, None for none."""
        return next((step for step in self.plan.steps if step.id == name), None)


def all_revisions(journal: Journal, moment: Moment) -> list[Revision]:
    """Return every revision of every plan as known, in order; in force is the one at the moment."""
    found = journal.ever(ADOPT, ABANDON, known=moment.known)
    log = sorted(found, key=lambda pair: pair[0].number)
    return revisions((entry, by is None and entry.event.happened <= moment.at) for entry, by in log)


def expect_revision(journal: Journal, moment: Moment) -> tuple[Revision, list[Revision]]:
    """Return the revision in force, and all. NoAnswer when no plan is in force."""
    found = all_revisions(journal, moment)
    revision = in_force(found)
    if revision is None:
        sentence = (
            "no plan is in force here: name a sequence file, or adopt one with `cfgtrack plan adopt FILE`"
        )
        raise NoAnswer(Problem("plan", "no-plan", sentence))
    return revision, found


def plan_in_force(past: Past) -> InForce:
    """Return the plan in force. NoAnswer when there is none; BadInput when it can't be read for the plant as it is."""
    revision, found = expect_revision(past.journal, past.moment)
    return InForce(revision, read_revision(past, revision), tuple(found))


def read_revision(past: Past, revision: Revision) -> Sequence:
    """Return the sequence of a revision, for the plant of the moment, else for all that the plant ever had.

    What is done may have been done to what is no longer there.
    """
    name = f"{revision.name} (revision {revision.number})"
    try:
        return parse_sequence(revision.text, past.plant, name=name)
    except BadInput:
        whole = past.journal.whole_plant(past.moment.known)
        return parse_sequence(revision.text, whole, name=name)


# --- as it was run ------------------------------------------------------------------------------------------------


def as_run(past: Past, plan: InForce) -> Run:
    """Return as it was run what the plan in force says."""
    from cfgtrack.analysis.progress import run_of

    hours = _hours(past, plan.plan)
    entries = run_entries(past, plan, hours)
    return run_of(plan.plan, entries, past.configuration, past.moment.at, hours=hours, ranges=_Ranges(past))


def _hours(past: Past, plan: Sequence) -> dict[str, Hours]:
    """Return when each outing of a plan began last, and was over, as recorded."""
    from cfgtrack.analysis.progress import Hours

    names = {outing.id for outing in plan.outings}
    found: dict[str, Hours] = {}
    for entry in past.journal.of_action(BEGIN, END, at=past.moment.at, known=past.moment.known):
        name, at = entry.event.outing or "", entry.event.happened
        if name not in names:
            continue
        if entry.event.action == BEGIN:
            first = found.get(name, Hours(at)).began
            found[name] = Hours(first if first is not None else at)
        elif name in found:
            found[name] = replace(found[name], ended=at)
    return found


def run_entries(past: Past, plan: InForce, hours: Mapping[str, Hours]) -> list[Entry]:
    """Return what was recorded while the plan was in force that may be of its steps, in the order in which it counts.

    From when its first revision was adopted on, or from when the first of its outings began before that. What was said
    to be of a step by an older revision, where that said something else, is of no step of this one.
    """
    first = min(one.adopted for one in plan.own)
    begun = [one.began for one in hours.values() if one.began is not None]
    since = min([first, *begun])
    others = {one.event for one in plan.revisions} - {one.event for one in plan.own}
    meant = _Meant(past, plan)
    found: list[Entry] = []
    at, known = past.moment.at, past.moment.known
    for entry in past.journal.entries(at=at, known=known, since=since - 1):
        event = entry.event
        if event.initial or event.action in (BEGIN, END) or event.action in BOOK_ACTIONS - {SKIP}:
            continue
        if event.plan in others:
            continue
        if not event.step or meant.is_same(event.plan, event.step):
            found.append(entry)
        elif event.action != SKIP:
            found.append(replace(entry, event=replace(event, step=None)))
    return found


class _Meant:
    """What steps said in older revisions of a plan."""

    def __init__(self, past: Past, plan: InForce) -> None:
        self._past, self._plan = past, plan
        self._read: dict[str, Sequence | None] = {}

    def is_same(self, adopted_by: str | None, step: str) -> bool:
        """Return whether a step said in a revision what it says in the one in force."""
        if adopted_by is None or adopted_by == self._plan.revision.event:
            return True
        now = self._plan.step(step)
        before = next((s for s in self._older(adopted_by) if s.id == step), None)
        return now is None or before is None or said_alike(now, before)

    def _older(self, adopted_by: str) -> tuple[Step, ...]:
        if adopted_by not in self._read:
            revision = next((one for one in self._plan.own if one.event == adopted_by), None)
            try:
                read = None if revision is None else read_revision(self._past, revision)
            except BadInput:
                read = None
            self._read[adopted_by] = read
        found = self._read[adopted_by]
        return () if found is None else found.steps


def said_alike(one: Step, other: Step) -> bool:
    """Return whether two steps say that the same is done to the same, whoever does it, and when."""
    first, second = (replace(step.action, id="", by=None, outing=None) for step in (one, other))
    return first == second


class _Ranges:
    """Which rules ask for a range of a quantity of an item: see `analysis.progress.Ranges`."""

    def __init__(self, past: Past) -> None:
        self._past = past
        self._values: list[tuple[Rule, Value, frozenset[str]]] | None = None

    def __call__(
        self, item: str, quantity: str, action: str
    ) -> Iterator[tuple[str, float | None, float | None, str]]:
        """Yield the rules that ask for a range with an action, or at all times: its ends in SI units, and in words."""
        for rule, value, items in self._asked():
            if value.quantity != quantity or item not in items or value.limit:
                continue
            if rule.mode.match is not None and action not in rule.mode.match.actions:
                continue  # what it asks for is asked with another action
            low, high = value.low, value.high
            if value.rated:
                port = self._past.plant.port(port_of(item))
                torque = None if port is None else port[0].torque
                low, high = torque if torque is not None and quantity == "torque" else (None, None)
            if low is not None or high is not None:
                yield rule.id, low, high, value.span(low, high)

    def _asked(self) -> list[tuple[Rule, Value, frozenset[str]]]:
        if self._values is None:
            self._values = [*self._all()] if self._past.rules.rules else []
        return self._values

    def _all(self) -> Iterator[tuple[Rule, Value, frozenset[str]]]:
        now = self._past.configuration
        for rule in self._past.rules.rules:
            for value in _values_in(rule.condition):
                own = value.of.items(now) if not value.of.of else ()
                yield rule, value, frozenset(own or rule.guards(now))


def _values_in(condition: Condition) -> Iterator[Value]:
    if isinstance(condition, Value):
        yield condition
    elif isinstance(condition, Several) and condition.key == "all":
        for part in condition.parts:
            yield from _values_in(part)
