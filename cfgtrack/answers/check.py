"""What would a proposal break, and what may be done next?"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import ClassVar, cast

from cfgtrack.analysis import check as analysis
from cfgtrack.analysis.check import CheckReport, one_step
from cfgtrack.analysis.course import done_by
from cfgtrack.analysis.cures import MOST_FINDINGS, cured
from cfgtrack.analysis.following import Following
from cfgtrack.analysis.mixes import CLOSEST
from cfgtrack.analysis.options import doers, options
from cfgtrack.analysis.orders import OrdersReport
from cfgtrack.analysis.reorder import Plan
from cfgtrack.analysis.trial import POSSIBLE
from cfgtrack.analysis.verdict import AS_LIKELY, Foreseen, Verdict
from cfgtrack.answers.asking import Asking
from cfgtrack.answers.foreseeing import AfterStep, foreseen
from cfgtrack.answers.moment import Answer
from cfgtrack.answers.orders import every_order as _every_order
from cfgtrack.answers.past import Past, kept_rules, rules_to_judge_by
from cfgtrack.answers.proposing import proposed, telling_new_starts
from cfgtrack.files.phrase import parse_phrase, phrase, split_phrase
from cfgtrack.files.rules import read_rules
from cfgtrack.model.action import BOOK_ACTIONS, LIFT
from cfgtrack.model.defect import Defect, all_defects, defects_about, defects_over
from cfgtrack.model.event import Entry, Event
from cfgtrack.model.kept import KeptCheck
from cfgtrack.model.lock import locks_on, tags_on, told
from cfgtrack.model.plant import Plant, owner_of
from cfgtrack.model.presence import acts_at, needs_nobody, not_a_doer, site_at, told_where
from cfgtrack.model.sequence import Sequence as Proposal
from cfgtrack.model.sequence import doer_waits
from cfgtrack.model.trouble import BadInput, NoAnswer, Problem
from cfgtrack.model.unknown import UNKNOWN, expect_thing
from cfgtrack.network.facing import mismatches
from cfgtrack.rules.finding import Finding
from cfgtrack.rules.rule import RuleSet

MOST_DOER_WAITS = 4
"""So many waits of who has several tracks are told."""


@dataclass(frozen=True, slots=True)
class Checked(Answer):
    """What a proposal would break, and the remarks and `defects` of what it touches, as they are when it begins.

    `standing`: all defects that stand then, of whatever. `kept`: what is kept of it, if that was asked; so are its
    `orders`, each of them.
    """

    check: CheckReport
    remarks: tuple[Entry, ...]
    defects: tuple[Defect, ...]
    standing: tuple[Defect, ...] = field(default=(), kw_only=True)
    kept: KeptCheck | None = field(default=None, kw_only=True)
    orders: OrdersReport | None = field(default=None, kw_only=True)

    @property
    def verdict(self) -> Verdict:
        """Whether it may be done: in the written order, and in every one if that was asked."""
        both = (self.check.verdict, Verdict.CLEAR if self.orders is None else self.orders.verdict)
        return next(v for v in (Verdict.NOT_CLEAR, Verdict.UNDECIDED, Verdict.CLEAR) if v in both)


def check(
    asking: Asking,
    proposal: Path | str | None = None,
    *,
    rules: Sequence[Path] = (),
    every_order: bool = False,
    tell: Callable[[int], None] | None = None,
) -> Checked:
    """Check a sequence file (a path), a single action (a phrase), or what is left of the plan in force.

    By the rules in files, else by those kept. In the written order, and in every one if that is asked.
    """
    with asking.read() as journal:
        past = Past(journal, asking.moment(journal))
        chosen = rules_to_judge_by(past, rules)
        if isinstance(proposal, str):
            meant, notes = single(proposal, past.plant), tuple[str, ...]()
        else:
            found = proposed(past, proposal)
            meant, notes = found.sequence, found.notes
        report = judged(past, chosen, meant, files=rules)
        report = with_cures(past, chosen, meant, report)
        touched = dict.fromkeys(subject for step in report.steps for subject in step.done.subjects)
        places = dict.fromkeys(step.done.place for step in report.steps if step.done.place)
        remarks = journal.remarks(
            touched, at=past.moment.at, known=past.moment.known, around=True, places=places
        )
        defects = tuple(defects_over(past.configuration, touched))
        notes = (*notes, *_one_at_a_time(meant), *_mismatches(past, report))
        orders = _every_order(past, chosen, meant, tell=tell) if every_order else None
        standing = tuple(all_defects(past.configuration))
        return Checked(
            past.moment,
            report,
            tuple(remarks),
            defects,
            standing=standing,
            notes=notes,
            orders=orders,
            says=past.plant.says,
        )


def judged(
    past: Past, rules: RuleSet, proposal: Proposal, *, files: Sequence[Path] = (), margins: int = CLOSEST
) -> CheckReport:
    """Return what a proposal would break from the past on, by rules, those in `files` where there are any; no cures.

    So many of the closest `margins` are told. BadInput where an outing would start before the moment.
    """
    with telling_new_starts(proposal):
        return analysis.check(
            rules,
            past.start_for(rules),
            proposal,
            variances=past.variances,
            networks=past.networks,
            begun=past.begun,
            acknowledgements=past.acknowledgements,
            in_force=_in_force(past, files),
            margins=margins,
        )


def _one_at_a_time(proposal: Proposal) -> Iterator[str]:
    """Yield who has several tracks of an outing, and so which steps wait for him: he does one thing at a time."""
    waits: dict[str, list[str]] = {}
    for wait in doer_waits(proposal):
        waits.setdefault(wait.doer, []).append(f"{wait.step} waits for {wait.waits_for}")
    for doer, several in waits.items():
        first, more = ", ".join(several[:MOST_DOER_WAITS]), len(several) - MOST_DOER_WAITS
        also = f" and {more} more" if more > 0 else ""
        yield f"note: {doer} has several tracks, and does one thing at a time: {first}{also}"


def _mismatches(past: Past, report: CheckReport) -> Iterator[str]:
    """Yield where the contacts of halves that the steps join don't belong together: no rule says so."""
    now = past.configuration.fork()
    for step in report.steps:
        if isinstance(step.outcome, Event):
            yield from (f"warning: step {step.step}: {one}" for one in mismatches(now, step.outcome))
            now.apply(step.outcome)


def with_cures(past: Past, rules: RuleSet, proposal: Proposal, report: CheckReport) -> CheckReport:
    """Return a report with what would cure what it breaks with likely durations, and what was open before; and with
    what of it follows from what.

    Where much is wrong it is looked for the first step that is impossible before all else: what follows needs no cure.
    """
    plan, ready = Plan(proposal, past.configuration, past.moment.at, past.begun), past.ready(rules)
    new, following = list(report.new), Following(plan, ready)
    if len(new) > MOST_FINDINGS:
        first = [i for i, f in enumerate(new) if f.mode == POSSIBLE and f.mix == AS_LIKELY][:1]
        for i, found in zip(first, cured([new[i] for i in first], ready, plan=plan), strict=True):
            new[i] = found
        following.look(new)
    own = [i for i, f in enumerate(new) if f.mix == AS_LIKELY and i not in following.of and f.tried is None]
    told = cured([*(new[i] for i in own), *report.open], ready, plan=plan)
    for i, one in zip(own, told, strict=False):
        new[i] = cast(Foreseen, one)
    following.look(new)
    for i, cures in following.cures.items():
        new[i] = replace(new[i], cures=cures)
    for i, site in _nobody_at(plan, new).items():
        new[i] = replace(new[i], nobody_at=site)
    for i, cause in following.of.items():
        new[i] = replace(new[i], follows=cause + 1)
    return replace(report, new=tuple(new), open=tuple(told[len(own) :]), untraced=following.untried)


def _nobody_at(plan: Plan, new: Sequence[Foreseen]) -> dict[int, str]:
    """Return by its place each step that nothing cures and that nobody is there for, and where that is."""
    wanted: dict[str, list[int]] = {}
    for i, one in enumerate(new):
        if one.event and one.step and one.tried is not None and not one.cures:
            wanted.setdefault(one.event, []).append(i)
    now, out = plan.now.fork(), dict[int, str]()
    for outcome in plan.course().outcomes if wanted and now.plant.has_sites else ():
        done = done_by(outcome)
        sites = {site_at(now, subject) for subject in done.subjects if now.plant.has_owner(owner_of(subject))}
        for site in sorted(filter(None, sites)) if done.id in wanted else ():
            if not any(one is not None and site in acts_at(now, one) for one in doers(now.plant, "")):
                out.update(dict.fromkeys(wanted[done.id], site))
        if isinstance(outcome, Event):
            now.apply(outcome)
    return out


def _in_force(past: Past, files: Sequence[Path]) -> Callable[[str], int | None]:
    """Return what tells since when a rule is in force: of those given in files, one that is kept and asks the same."""
    if not files:
        return past.in_force

    @cache
    def alike() -> set[str]:
        kept = {rule.id: rule.asks for rule in kept_rules(past.journal, None, past.moment.known).rules}
        return {rule.id for rule in read_rules(files).rules if kept.get(rule.id) == rule.asks}

    return lambda rule: past.in_force(rule) if rule in alike() else None


def single(action: str, plant: Plant) -> Proposal:
    """Return a proposal of the one action that a phrase says."""
    try:
        words = split_phrase(action)
    except ValueError:
        raise BadInput(Problem("--do", "syntax", "a quote is opened and never closed", action)) from None
    event = parse_phrase(words, plant, id="1", where="--do")
    if event.action == LIFT and event.by is None:  # who takes a thing does it
        event = replace(event, by=event.place)
    if not needs_nobody(plant, event) and (why := not_a_doer(plant, event.by)):
        raise BadInput(Problem("--do", UNKNOWN if event.by else "missing", why, action))
    if event.action in BOOK_ACTIONS:
        sentence = f"{event.action} is done to the record: there is nothing to check in it"
        raise BadInput(Problem("--do", "unexpected", sentence, action))
    return one_step(event)


@dataclass(frozen=True, slots=True)
class Choice:
    """One action that could be done, in words: it is no event yet.

    `findings`: what it would break; `excused`: what it would break under a variance. `starts`: rules whose clocks it
    starts. `by`: who is there to do it, in a plant with sites.
    """

    told: ClassVar[tuple[str, ...]] = ("allowed",)

    action: str
    findings: tuple[Finding, ...] = ()
    starts: tuple[str, ...] = ()
    excused: tuple[Finding, ...] = ()
    by: tuple[str, ...] = ()

    @property
    def allowed(self) -> bool:
        """Whether it breaks no rule that no variance excuses."""
        return not self.findings


@dataclass(frozen=True, slots=True)
class Choices(Answer):
    """What may be done to a thing. `more` names what more may be done to than is listed.

    `barred` is what can't be done, until it is rectified.
    """

    can: tuple[Choice, ...]
    more: tuple[str, ...] = ()
    thing: str = ""
    aliases: tuple[str, ...] = ()
    barred: tuple[Defect, ...] = ()


def can(asking: Asking, thing: str, *, rules: Sequence[Path] = (), after: AfterStep | None = None) -> Choices:
    """Return what may be done next to a unit, port, node, place, person or machine. NoAnswer for no such thing.

    Judged by the rules in files, else by those kept. In a plant with sites: by whom the asking names, else
    by whoever is there; with a note where nobody is. `after` a step: what is foreseen to be possible then.
    """
    with asking.read() as journal:
        past = foreseen(Past(journal, asking.moment(journal)), after)
        moment = past.moment
        thing = expect_thing(past.plant, thing)
        asking = replace(asking, by=asking.doer(past.plant))
        if asking.by and (why := not_a_doer(past.plant, asking.by)):
            raise NoAnswer(Problem("--by", UNKNOWN, why))
        chosen = rules_to_judge_by(past, rules)
        found, cut = options(
            chosen,
            past.start_for(chosen),
            thing,
            by=asking.by if past.plant.has_sites else None,
            locker=asking.by,
            variances=past.variances,
            networks=past.networks,
        )
        notes = (*_locked(past, thing), *(() if found else _nobody_there(past, thing, asking.by)))
    choices = (
        Choice(
            phrase(one.event),
            tuple(replace(finding, event=None) for finding in one.findings),
            tuple(dict.fromkeys(clock.rule for clock in one.started)),
            tuple(replace(finding, event=None) for finding in one.excused),
            one.by,
        )
        for one in found
    )
    aliases = past.plant.aliases_of(thing)
    barred = tuple(defects_about(past.configuration, thing))
    return Choices(moment, tuple(choices), tuple(cut), thing, aliases, barred, notes=notes)


def _locked(past: Past, thing: str) -> Iterator[str]:
    """Yield what is locked of a thing, and so can't be opened, energised or uncovered, and what is tagged."""
    plant, now = past.plant, past.configuration
    own = plant.ports_of(thing) if ":" not in thing else []
    for one in (thing, *own):
        for what, devices in (("locked", locks_on(now, one)), ("tagged", tags_on(now, one))):
            if devices:
                yield f"note: {one} is {what}: {'; '.join(told(now, device) for device in devices)}"


def _nobody_there(past: Past, thing: str, by: str | None) -> tuple[str, ...]:
    """Return why nothing may be done: where the thing is, and nobody else is, or not who is asked for."""
    plant, now = past.plant, past.configuration
    if not plant.has_sites or not plant.has_owner(owner_of(thing)):
        return ()
    site = site_at(now, thing)
    if by is not None and site not in acts_at(now, by):
        return (f"note: {thing} is at {site or 'no site'}; {told_where(now, by)}",)
    here = any(one is not None and site in acts_at(now, one) for one in doers(plant, thing))
    return () if here else (f"note: {thing} is at {site or 'no site'}, and nobody is there",)
