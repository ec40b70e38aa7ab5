"""Which is a shortest way to what is wanted; or why is there none?"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from cfgtrack.analysis.check import CheckReport
from cfgtrack.analysis.check import check as judge
from cfgtrack.analysis.exchange import Exchange, find_exchange
from cfgtrack.analysis.goal import STEPS, TIME, Goal, Takes, Want, kept, swap
from cfgtrack.analysis.no_way import NoWay, why_none
from cfgtrack.analysis.search import ALL_TRIED, CUT_SHORT, INTERRUPTED, Limit
from cfgtrack.analysis.way import Way as FoundWay
from cfgtrack.analysis.way import find_way
from cfgtrack.analysis.way_plan import as_sequence
from cfgtrack.answers.asking import Asking
from cfgtrack.answers.moment import Answer
from cfgtrack.answers.past import Past, rules_to_judge_by
from cfgtrack.files.goal import read_goal, times_in, wants_of
from cfgtrack.files.phrase import phrase
from cfgtrack.files.sequence import read_sequence
from cfgtrack.files.sequence_writer import sequence_text
from cfgtrack.model.presence import not_a_doer
from cfgtrack.model.sequence import Sequence as Proposal
from cfgtrack.model.sequence import lay_out
from cfgtrack.model.time import Instant, format_instant
from cfgtrack.model.trouble import BadInput, Problem
from cfgtrack.model.unknown import MOVABLE, PLACE, UNKNOWN, expect_thing, look_up

WRITTEN = "# A way, found"
"""What a file with a way begins with: such a one is written over, and no other."""

FEW_MOVES = 200
"""Where more moves than this matter, looking on for a shortest way is hopeless."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked for besides a file: pairs to swap (old, new), wants, what is to stand as now, by whom."""

    swaps: tuple[tuple[str, str], ...] = ()
    to: str = ""
    wants: tuple[str, ...] = ()
    keep: tuple[str, ...] = ()
    workers: tuple[str, ...] = ()
    least: str = ""
    times: Path | None = None


@dataclass(frozen=True, slots=True)
class WayStep:
    """One step of a way: who does what when, and what it waits for."""

    step: str
    track: str
    action: str
    start: Instant
    end: Instant
    after: tuple[str, ...]
    assumed: bool


@dataclass(frozen=True, slots=True)
class Forbids:
    """A rule of the set that forbids what is wanted."""

    rule: str
    title: str
    severity: int


@dataclass(frozen=True, slots=True)
class WayAnswer(Answer):
    """A way to what is wanted. `steps`: none where there is no way, or none was found, or all is so already (`is_so`).

    `least` is what was to be least, `cost` how much that is of the way (steps, or microseconds), and `at_least` what no
    way undercuts: it is `proved` where these are one, or where it is proved that there is none. `lasts`: until its last
    step ends. `verdict` is that of a check of the way; `against`: what that finds, or what could not be brought about.
    `looked`: situations looked into, of so many `moves`; `ended` says what cut that short. Without a way it is
    `forbidden` by rules (`smallest`: by no fewer), or `impossible`. `text` is the way as a sequence; `file` where it
    was written, if it was.
    """

    wanted: tuple[str, ...]
    least: str
    found: bool
    is_so: bool
    cost: int | None
    at_least: int
    proved: bool
    lasts: int
    steps: tuple[WayStep, ...]
    verdict: str
    against: tuple[str, ...]
    forbidden: tuple[Forbids, ...]
    impossible: tuple[str, ...]
    smallest: bool
    looked: int
    moves: int
    ended: str
    text: str
    file: str | None = None

    @property
    def status(self) -> int:
        """The exit status: 0 with a way that is clear, 3 where there is none, 4 where none was found in time."""
        if self.found:
            return 0 if self.verdict in ("", "clear", "undecided") else 3
        return 3 if self.proved else 4


def way(
    asking: Asking,
    path: Path | None = None,
    output: Path | None = None,
    *,
    asked: Asked | None = None,
    rules: Sequence[Path] = (),
    most: int | None = None,
    may_go_on: Callable[[], bool] = lambda: True,
    may_prove: Callable[[], bool] = lambda: True,
    tell: Callable[[str], object] = lambda _: None,
) -> WayAnswer:
    """Return a shortest way from the moment to a goal: of a file, or of what is asked for; and write it to a file.

    By the rules in files, else by those kept. So many situations are looked into at most (`most`), as long as it
    `may_go_on`. A shortest way is looked for as long as it `may_prove`; then any is that is clear, and from which no
    step can be taken; and only where none is found, and few moves matter, a shortest one again. `tell` is told how
    far it has come.
    """
    asked = Asked() if asked is None else asked
    if output is not None:
        asking.expect_writable(output, read=path)
    with asking.read() as journal:
        past = Past(journal, asking.moment(journal))
        chosen = rules_to_judge_by(past, rules)
        goal = _goal(past, path, asked)
        begin = past.start_for(chosen)

        def shortest(go_on: Callable[[], bool]) -> FoundWay:
            return find_way(
                chosen,
                begin,
                goal,
                variances=past.variances,
                networks=past.networks,
                limit=Limit(most, go_on),
                tell=lambda looked, _: tell(f"{looked} situations looked into"),
            )

        found = shortest(lambda: may_go_on() and may_prove())
        exchange = None
        if found.found.way is None and found.found.ended == CUT_SHORT:
            # Too big for a shortest one: then one that is clear, and from which no step can be taken.
            exchange = find_exchange(
                chosen,
                begin,
                goal,
                variances=past.variances,
                networks=past.networks,
                begun=past.begun,
                tell=tell,
            )
            has_none = exchange.plan is None and not exchange.interrupted
            if has_none and most is None and found.known <= FEW_MOVES and may_go_on():
                found = shortest(may_go_on)
        no_way = NoWay()
        if found.found.way is None and found.found.ended == ALL_TRIED:
            no_way = why_none(
                chosen, begin, goal, networks=past.networks, limit=lambda: Limit(most, may_go_on)
            )
        plan = as_sequence(found, goal, begin.start)
        if exchange is not None and exchange.plan is not None:
            plan = exchange.plan
        report = (
            judge(chosen, begin, plan, variances=past.variances, networks=past.networks, begun=past.begun)
            if plan.steps
            else None
        )
    answer = _answer(past, goal, found, no_way, plan, report, exchange)
    if output is not None and plan.steps:
        with asking.written(output, earlier=re.compile(re.escape(WRITTEN).encode())) as part:
            part.write_text(answer.text, encoding="utf-8")
        answer = replace(answer, file=str(output))
    return answer


def _goal(past: Past, path: Path | None, asked: Asked) -> Goal:
    plant, now = past.plant, past.configuration
    goal = Goal(()) if path is None else read_goal(path, now)
    wants = list(goal.wants)
    for old, new in asked.swaps:
        units = [expect_thing(plant, one, MOVABLE) for one in (old, new)]
        wants += swap(now, units[0], units[1], expect_thing(plant, asked.to, PLACE) if asked.to else "")
    for text in asked.wants:
        try:
            wants.append(wants_of(text, plant))
        except ValueError:
            raise BadInput(Problem("--want", "syntax", "a quote is opened and never closed", text)) from None
    wants += kept(now, [expect_thing(plant, one) for one in asked.keep])
    if not wants:
        sentence = "say what is wanted: a goal file, --swap OLD NEW or --want 'VALVE shut'"
        raise BadInput(Problem("way", "missing", sentence))
    workers = goal.workers
    if asked.workers:
        workers = tuple(look_up(plant, one, ("mobile place",)).address or one for one in asked.workers)
        for one in workers:
            if why := not_a_doer(plant, one):
                raise BadInput(Problem("--by", UNKNOWN, why))
    takes = goal.takes
    if asked.times is not None:
        takes = Takes({**times_in(read_sequence(asked.times, plant), plant), **takes.of}, takes.assumed)
    return replace(
        goal, wants=tuple(dict.fromkeys(wants)), workers=workers, takes=takes, least=asked.least or goal.least
    )


def _answer(
    past: Past,
    goal: Goal,
    found: FoundWay,
    no_way: NoWay,
    plan: Proposal,
    report: CheckReport | None,
    exchange: Exchange | None,
) -> WayAnswer:
    laid = lay_out(plan, past.moment.at) if plan.steps else None
    steps = tuple(
        WayStep(
            one.step.id,
            one.step.track,
            phrase(one.step.action),
            Instant(one.start),
            Instant(one.end),
            one.step.after,
            goal.takes.is_assumed(past.plant, one.step.action),
        )
        for one in (laid.steps if laid is not None else ())
    )
    lasts = laid.steps[-1].end - past.moment.at if laid is not None and laid.steps else 0
    is_found = found.found.way is not None or bool(steps)
    cost, bound, proved = found.found.cost, found.found.bound, found.found.proved
    if found.found.way is None:
        cost, proved = (lasts if goal.least == TIME else len(steps)), proved and not steps
    if is_found and goal.least == TIME and len({step.track for step in steps}) > 1:
        # Several at work are no quicker than the least that has to be done, shared out, nor than any chain of it.
        workers = len(goal.workers) or len({step.track for step in steps})
        cost, bound = lasts, max(-(-bound // workers), found.chain)
        proved = cost == bound
    return WayAnswer(
        past.moment,
        wanted=tuple(want.words() for want in goal.wants),
        least=goal.least or STEPS,
        found=is_found,
        is_so=is_found and not steps,
        cost=cost if is_found else None,
        at_least=bound,
        proved=proved,
        lasts=lasts,
        steps=steps,
        verdict="" if report is None else str(report.verdict),
        against=_against(plan, report, exchange),
        forbidden=tuple(Forbids(rule.id, rule.title, rule.severity) for rule in no_way.rules),
        impossible=no_way.impossible,
        smallest=no_way.smallest,
        looked=found.looked,
        moves=found.known,
        ended=INTERRUPTED if exchange is not None and exchange.interrupted else found.found.ended,
        text=_text(past, goal, plan, proved=proved) if steps else "",
    )


def _against(plan: Proposal, report: CheckReport | None, exchange: Exchange | None) -> tuple[str, ...]:
    """Return what stands against a way: what its check finds, or without one what could not be brought about."""
    if report is not None:
        found = (f"{one.rule} at {one.step}" if one.step else one.rule for one in report.new)
        return (*found, *(f"{one.rule} of {one.subject} still runs" for one in report.left_running))
    return exchange.lacking if exchange is not None and not plan.steps else ()


def _text(past: Past, goal: Goal, plan: Proposal, *, proved: bool) -> str:
    best = "quickest" if goal.least == TIME else "shortest"
    how = f"proved {best}" if proved else f"not proved {best}"
    head = [
        f"{WRITTEN.removeprefix('# ')} for {format_instant(past.moment.at)}: {len(plan.steps)} steps, {how}.",
        "Wanted: " + "; ".join(want.words() for want in goal.wants[:8]) + ("; ..." if goal.wants[8:] else ""),
        "What is measured in it is what is expected: write down what was.",
    ]
    return sequence_text(plan, head=head)


__all__ = ["Asked", "Want", "WayAnswer", "way"]
