"""A plan as a strip of frames: one before it, and one after each step that changes a path of what is asked about."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from cfgtrack.answers.asking import Asking
from cfgtrack.answers.draw import Scene, Scope, expect_there, scope_of
from cfgtrack.answers.moment import Answer
from cfgtrack.answers.past import Past
from cfgtrack.answers.proposing import proposed
from cfgtrack.answers.timeline import Marked, marked
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from cfgtrack.model.plant import HOLD, Plant
from cfgtrack.model.time import Instant, format_instant
from cfgtrack.model.trouble import BadInput, NoAnswer, Problem
from cfgtrack.model.unknown import find
from cfgtrack.network.network import Network

if TYPE_CHECKING:
    from cfgtrack.analysis.check import CheckReport
    from cfgtrack.analysis.path_changes import PathChange
    from cfgtrack.analysis.trial import StepResult

MOST_FRAMES = 40
"""No strip has more frames."""


@dataclass(frozen=True, slots=True)
class Frame:
    """What is so after a step that changes a path: the first, `step` None, is what is so before all of them.

    `begun` and `ended` are the links that the step makes and breaks, `findings` the numbers of those that come with it.
    """

    untold: ClassVar[tuple[str, ...]] = ("scene",)

    step: str | None
    outing: str | None
    time: Instant
    action: str
    doer: str
    media: tuple[str, ...]
    begun: tuple[str, ...]
    ended: tuple[str, ...]
    findings: tuple[int, ...]
    scene: Scene


@dataclass(frozen=True, slots=True)
class Strip(Answer):
    """A plan, frame by frame. `findings` are those of the check; `elsewhere` the numbers that come with no frame."""

    title: str
    frames: tuple[Frame, ...]
    findings: tuple[Marked, ...]
    elsewhere: tuple[int, ...]


def strip(
    asking: Asking,
    sequence: Path | None = None,
    *,
    medium: str = "",
    loop: str | None = None,
    unit: str | None = None,
    hops: int = 1,
    outing: str | None = None,
    steps: str | None = None,
    tell: Callable[[int, int], object] = lambda *_: None,
) -> Strip:
    """Return a sequence file, else what is left of the plan in force, as a strip: of a loop, a unit, a medium or all.

    Of one `outing`, or of some `steps` (FIRST..LAST), if that is asked. NoAnswer for what isn't there, and for more
    frames than anybody looks at: with how many there are of each outing.
    """
    from cfgtrack.analysis.path_changes import path_changes
    from cfgtrack.answers.check import judged

    with asking.read() as journal:
        past = Past(journal, asking.moment(journal))
        scope = scope_of(past, medium, loop, unit, hops)
        expect_there(past.plant, past.networks, scope)
        plan = proposed(past, sequence)
        if outing is not None:
            find("outing", outing, {one.id: one for one in plan.sequence.outings})
        report = judged(past, past.rules, plan.sequence)
        done = [(step, step.outcome) for step in report.steps if isinstance(step.outcome, Event)]
        events = [event for _, event in done]
        items = items_of(past.plant, past.networks, scope)
        changes = [*path_changes(past.configuration, events, past.networks, items)]
        first, last = _range([step for step, _ in done], outing, steps)
        chosen = [change for change in changes if first <= change.number < last]
        if len(chosen) > MOST_FRAMES:
            raise _too_many(chosen, [step for step, _ in done])
        marks = tuple(marked(report))
        frames = tuple(_frames(past, scope, report, done, chosen, first, marks, tell))
        shown = {number for frame in frames for number in frame.findings}
        elsewhere = tuple(m.number for m in marks if m.number not in shown)
        return Strip(past.moment, report.title, frames, marks, elsewhere, notes=plan.notes)


def _range(done: Sequence[StepResult], outing: str | None, steps: str | None) -> tuple[int, int]:
    """Return the numbers of the steps that are asked about: from the first on, to before the last."""
    here = [i for i, step in enumerate(done) if outing in (None, step.outing)]
    if steps is not None:
        names = {step.step: i for i, step in enumerate(done)}
        head, dots, tail = steps.partition("..")
        begin = find("step", head, names) if head else 0
        end = find("step", tail or head, names) if tail or not dots else len(done) - 1
        if begin > end:
            raise BadInput(Problem("--steps", "order", f"step {tail} is done before step {head}"))
        here = [i for i in here if begin <= i <= end]
    return (here[0], here[-1] + 1) if here else (0, 0)


def _too_many(chosen: Sequence[PathChange], done: Sequence[StepResult]) -> NoAnswer:
    by_outing = Counter(done[change.number].outing for change in chosen)
    told = ", ".join(f"{name} {n}" for name, n in by_outing.items())
    sentence = (
        f"a path changes with {len(chosen)} steps, and a strip has {MOST_FRAMES} frames at most: ask of one outing with"
        f" --outing ({told}), of some steps with --steps FIRST..LAST, or of less with --loop, --unit or --medium"
    )
    return NoAnswer(Problem("--strip", "too-many", sentence))


def _frames(
    past: Past,
    scope: Scope,
    report: CheckReport,
    done: Sequence[tuple[StepResult, Event]],
    changes: Sequence[PathChange],
    first: int,
    marks: Sequence[Marked],
    tell: Callable[[int, int], object],
) -> Iterator[Frame]:
    """Yield the frame before the first step of those asked about, and one after each change."""
    by_step: dict[str, list[int]] = {}
    for mark in marks:
        if mark.step is not None:
            by_step.setdefault(mark.step, []).append(mark.number)
    ever = (*past.journal.ever_mated(past.moment.known), *_mates([event for _, event in done]))
    ahead = past.configuration.fork()
    for _, event in done[:first]:
        ahead.apply(event)
    at = first
    before = done[first - 1][0].end if first else past.moment.at

    def seen(time: int) -> Scene:
        moment = replace(past.moment, at=time)
        open_then = tuple(
            f
            for f in (*report.new, *report.open)
            if f.mode not in ("at", "possible") and f.time <= time and (f.until is None or f.until > time)
        )
        frozen: Configuration = ahead.fork()
        return Scene(moment, past.plant, frozen, past.networks, scope, open_then, ever)

    yield Frame(None, None, before, "", "", (), (), (), (), seen(before))
    for number, change in enumerate(changes, 1):
        while at <= change.number:
            ahead.apply(done[at][1])
            at += 1
        step = done[change.number][0]
        tell(number, len(changes))
        yield Frame(
            step.step,
            step.outing,
            step.end,
            step.action,
            step.done.by or "",
            change.media,
            change.begun,
            change.ended,
            tuple(by_step.get(step.step, ())),
            seen(step.end),
        )


def _mates(events: Sequence[Event]) -> Iterator[tuple[str, str]]:
    """Yield the pairs of halves that events mate."""
    for event in events:
        if len(event.subjects) == 2 and all(":" in subject for subject in event.subjects):
            one, other = sorted(event.subjects)
            yield one, other


def items_of(plant: Plant, networks: Mapping[str, Network], scope: Scope) -> dict[str, list[str]]:
    """Return of which things a scope asks what they reach: by medium, the addresses."""
    media = [scope.medium] if scope.medium else [*networks]
    found: dict[str, list[str]] = {}
    for medium in media:
        network = networks[medium]
        owners = [scope.subject] if scope.sort == "around" else list(network.base)
        inside = [
            item
            for owner in owners
            if owner in network.base
            for item in (*network.items_of(owner), *([owner] if medium == HOLD else ()))
            if scope.sort != "loop" or plant.loop_of(item) == scope.subject
        ]
        if inside:
            found[medium] = inside
    return found


def frame_title(frame: Frame) -> str:
    """Return what stands over a frame: the step, what is done, by whom and when."""
    if frame.step is None:
        return f"before, at {format_instant(frame.time)}"
    by = f" by {frame.doer}" if frame.doer else ""
    return f"{frame.step}  {frame.action}{by}, {format_instant(frame.time)}"
