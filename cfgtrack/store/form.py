"""What every event must look like to be recorded, whatever the configuration."""

from __future__ import annotations

from collections.abc import Iterator

from cfgtrack.model import action as ac
from cfgtrack.model import gate
from cfgtrack.model.action import BASES, Action
from cfgtrack.model.approval import fault_of_approval
from cfgtrack.model.quantity import COUNTED
from cfgtrack.model.time import LATEST
from cfgtrack.model.trouble import Problem
from cfgtrack.model.unknown import UNKNOWN, no_such


class Unrecordable(Exception):
    """One row can't be taken."""

    def __init__(self, problems: tuple[Problem, ...], collides: tuple[str, ...] = ()) -> None:
        super().__init__(problems)
        self.problems = problems
        self.collides = collides


def unrecordable(where: str, code: str, sentence: str, *collides: str) -> Unrecordable:
    """Return the refusal of a row for one reason; `collides` are the events that are in its way."""
    return Unrecordable((Problem(where, code, sentence),), collides)


def is_plain(event: Action) -> bool:
    """Return whether an event is clearly well-formed: nearly all are, and `check_form` takes its time."""
    return (
        bool(event.id)
        and event.id.isprintable()
        and -LATEST <= event.happened <= LATEST
        and event.basis in BASES
        and event.action not in ac.BOOK_ACTIONS
        and event.supersedes is None
        and event.withdraws is None
        and event.explains is None
        and event.acknowledges is None
        and gate.is_plain(event)
    )


def check_form(where: str, event: Action) -> None:
    """Refuse what no event may look like, whatever the configuration."""
    wrong: list[tuple[str, str]] = []
    if not event.id:
        wrong.append(("id", "an event needs an id, made by its author"))
    elif not event.id.isprintable():
        wrong.append(("id", f"an event's id is made of characters that can be printed, found {event.id!r}"))
    if not -LATEST <= event.happened <= LATEST:
        sentence = (
            f"{event.happened} microseconds are too far from 1970 to be kept exactly: are they nanoseconds?"
        )
        wrong.append(("time", sentence))
    if event.basis not in BASES:
        wrong.append((UNKNOWN, no_such("basis", str(event.basis), BASES)))
    wrong.extend(gate.faults(event))
    wrong.extend(_wrong_on_the_record(event))
    # What was counted before the first event has to be told by somebody.
    counted = () if event.initial else COUNTED.keys() & event.values.keys()
    wrong.extend(("counted", COUNTED[name]) for name in counted)
    if wrong:
        raise Unrecordable(tuple(Problem(where, code, sentence) for code, sentence in wrong))


def _wrong_on_the_record(event: Action) -> Iterator[tuple[str, str]]:
    """Yield what is wrong with what an event says of other events and of findings, by code."""
    if event.supersedes and event.withdraws:
        yield "correction", "an event supersedes another one or withdraws it, not both"
    if (event.supersedes or event.withdraws) and not event.reason:
        yield "reason", "a correction needs a reason"
    if (event.action == ac.WITHDRAW) != bool(event.withdraws):
        yield "correction", "withdraw needs the id of the event that it withdraws, and only it has one"
    if (event.action == ac.EXPLAIN) != bool(event.explains):
        yield (
            "explanation",
            "explain needs the id of the as-found event that it explains, and only it has one",
        )
    if event.action == ac.EXPLAIN and not (event.reason or event.remark):
        yield "reason", "an explanation needs a reason or a remark"
    if event.action == ac.APPROVE and (fault := fault_of_approval(event)):
        yield "approval", fault
    if event.action in ac.REVISIONS and not event.reason:
        yield "reason", f"{event.action} needs a reason"
    if event.action in ac.DEFINITIONS and not (event.body and "items" in event.body):
        yield "definition", f"{event.action} carries items of the definition: it has a command of its own"
    yield from _wrong_of_a_plan(event)
    if event.action == ac.ACKNOWLEDGE and not event.reason:
        yield "reason", "an acknowledgement needs a reason"
    if (event.action == ac.ACKNOWLEDGE) != bool((event.acknowledges or "").split()):
        sentence = "acknowledge needs the fingerprints of the findings that it is of, and only it has them"
        yield "acknowledgement", sentence


def _wrong_of_a_plan(event: Action) -> Iterator[tuple[str, str]]:
    """Yield what is wrong with what an event says of a plan, of its steps, or of a check of it."""
    if event.action == ac.KEEP_CHECK and event.body is None:
        yield "check", "keep-check keeps what came of a check: `cfgtrack check FILE --keep` records it"
    if event.action == ac.ADOPT and event.body is None:
        yield (
            "plan",
            "adopt keeps the text of a plan: it has a command of its own, `cfgtrack plan adopt FILE`",
        )
    if event.action in (ac.ABANDON, ac.SKIP) and not event.reason:
        yield "reason", f"{event.action} needs a reason"
    if event.action == ac.SKIP and not event.step:
        yield "step", "skip needs the step that is left out"
