"""Findings: what a rule says no to, and why. One value that tables, JSON, pictures and reports all show."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Container, Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, ClassVar, NamedTuple, Self

from cfgtrack.model.time import SECOND, Instant
from cfgtrack.rules.approved import Approved
from cfgtrack.rules.saying import say_list, say_some

if TYPE_CHECKING:
    from cfgtrack.model.action import Action

SEVERITIES = {1: "catastrophic", 2: "critical", 3: "marginal", 4: "negligible"}
"""Categories of MIL-STD-882E, Table I."""


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a condition is false. `code` names the sort of reason; `text` says it in words.

    `links` are the links whose breaking cut the last path; `beyond` the items now cut off, or that lack something.

    Reasons that say the same of different items are told as one: of `each` item what `form` says of all of them
    (``{}`` stands for them). Of a lost path `to` are the ends, in words, and of one that must not be that there is one;
    `noun` is what sort of items it is about.
    """

    untold: ClassVar[tuple[str, ...]] = ("each", "form", "to", "noun")

    code: str
    text: str
    links: tuple[str, ...] = ()
    beyond: tuple[str, ...] = ()
    each: tuple[str, ...] = ()
    form: str = ""
    to: str = ""
    noun: str = ""

    @classmethod
    def of_each(cls, code: str, each: Sequence[str], form: str, beyond: tuple[str, ...]) -> Self:
        """Return a reason that says of each of some items what `form` says of all of them."""
        return cls(code, form.replace("{}", say_list(each)), (), beyond, tuple(each), form)

    def remembered(self) -> list[Any]:
        """Return it as JSON has it."""
        lists = map(list, (self.links, self.beyond, self.each))
        return [self.code, self.text, *lists, self.form, self.to, self.noun]

    @classmethod
    def recalled(cls, told: list[Any]) -> Self:
        """Return the reason that was told."""
        code, text, links, beyond, each, *said = told
        return cls(code, text, tuple(links), tuple(beyond), tuple(each), *said)


def join(reasons: Iterable[Reason]) -> tuple[Reason, ...]:
    """Return reasons with those that say the same of different items made one, in the order of the first of each."""
    alike: dict[object, list[Reason]] = {}
    for reason in reasons:
        said = reason.form or reason.text
        alike.setdefault((reason.code, said, reason.links), []).append(reason)
    return tuple(_joined(group) if len(group) > 1 else group[0] for group in alike.values())


def _joined(group: Sequence[Reason]) -> Reason:
    first = group[0]
    each = _once(one for r in group for one in r.each)
    return replace(
        first,
        text=first.form.replace("{}", say_list(each)) if first.form else first.text,
        beyond=_once(b for r in group for b in r.beyond),
        each=each,
        noun=first.noun if all(r.noun == first.noun for r in group) else "item",
    )


def _once(names: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(names))


@dataclass(frozen=True, slots=True)
class Cure:
    """What would cure a finding, alone and wholly; it was tried.

    Either all of `actions`, one after the other; or that `step` of a sequence is done `before` another, or `waits_for`
    one. `starts` names the rules of which it starts a clock. `done` are the actions as they were tried; none where one
    of them stands for several, as a value to be measured does. `at`: where in a plan they were done when it was run to
    its end with them, and nothing else was wrong then; `momentary` are those that weren't so tried, or broke something.
    """

    told: ClassVar[tuple[str, ...]] = ("text",)
    untold: ClassVar[tuple[str, ...]] = ("done", "at", "momentary")

    actions: tuple[str, ...] = ()
    step: str | None = None
    before: str | None = None
    waits_for: str | None = None
    starts: tuple[str, ...] = ()
    done: tuple[Action, ...] = field(default=(), compare=False)
    at: str = field(default="", compare=False)
    momentary: bool = field(default=False, compare=False)

    @property
    def text(self) -> str:
        """The cure in words."""
        if self.before is not None:
            return f"do step {self.step} before step {self.before}"
        if self.waits_for is not None:
            return f"step {self.step} waits for step {self.waits_for}"
        return " and ".join(self.actions)


class Tried(NamedTuple):
    """How many of the candidates for a cure were tried."""

    tried: int
    candidates: int


@dataclass(frozen=True, slots=True)
class Instance:
    """For whom a rule is broken, once: its own `fingerprint`, whom it concerns, and why."""

    fingerprint: str
    subjects: tuple[str, ...]
    reasons: tuple[Reason, ...]


def fingerprint(rule: str, mode: str, instance: Sequence[str], cause: Iterable[str]) -> str:
    """Return a short code that the same rule, instance and cause always get, whenever and whoever."""
    what = "\n".join([rule, mode, *instance, "", *sorted(set(cause))])
    return hashlib.sha256(what.encode()).hexdigest()[:12]


@dataclass(frozen=True, slots=True)
class Finding:
    """A rule that is broken, or (mode "possible") a step that can't be done.

    `headline` says what is wrong. `since` is when the condition became false or the clock started, `time` when the rule
    was broken, `until` when it was put right (None: still open). `event` is the event that broke it (None: time alone
    did, or it was so from the start), `step` the step of a proposal that it is. `ends` are the ends at which what must
    hold by them did not. `no_verdict` marks a rule that could not be judged. `instances` are all for whom it is broken
    at one blow and by one cause. An exception to it must be approved by as many people as `approvals` says, of
    `approvers` where there are any; `approved` is what was approved of it, None where nothing was. `cures` are looked
    for where it is shown, and `tried` says among how many (None: none were looked for).
    """

    told: ClassVar[tuple[str, ...]] = ("fingerprints", "category")
    untold: ClassVar[tuple[str, ...]] = ("instances",)

    rule: str
    title: str
    headline: str
    severity: int
    mode: str
    subjects: tuple[str, ...]
    time: Instant
    since: Instant
    reasons: tuple[Reason, ...]
    until: Instant | None = None
    event: str | None = None
    step: str | None = None
    action: str = ""
    hazard: str = ""
    source: str = ""
    deadline: Instant | None = None
    trigger: str = ""
    ends: tuple[Instant, ...] = ()
    no_verdict: bool = False
    approvals: int = 1
    approvers: tuple[str, ...] = ()
    variance: str = ""
    approved: Approved | None = None
    instances: tuple[Instance, ...] = ()
    cures: tuple[Cure, ...] = ()
    tried: Tried | None = None

    @property
    def is_open(self) -> bool:
        """Whether it still can, and must, be put right: a wrong order of actions is history, nothing mends it."""
        return self.until is None and self.mode not in ("at", "possible")

    @property
    def fingerprints(self) -> tuple[str, ...]:
        """The short codes of its instances: the same rule, instance and cause always get the same."""
        return _once(one.fingerprint for one in self.instances)

    @property
    def category(self) -> str | None:
        """The severity in its word; None for a step that can't be done."""
        return SEVERITIES.get(self.severity)

    def only(self, fingerprints: Container[str]) -> Finding | None:
        """Return it with just those of its instances that have one of these fingerprints; None if none has."""
        kept = tuple(one for one in self.instances if one.fingerprint in fingerprints)
        if len(kept) == len(self.instances):
            return self
        late = _too_late(self.mode, self.since, self.time, self.deadline)
        return replace(self, **_of(kept, self.action, late)) if kept else None

    @classmethod
    def of(cls, instances: tuple[Instance, ...], **fields: Any) -> Self:
        """Return the finding that instances are together; `fields` are what they have in common."""
        late = _too_late(fields["mode"], fields["since"], fields["time"], fields.get("deadline"))
        return cls(**_of(instances, fields.get("action", ""), late), **fields)


def is_in_force(finding: Finding, in_force: Callable[[str], int | None]) -> bool:
    """Return whether a finding happened while its rule was in force; `in_force` tells since when a rule is."""
    since = in_force(finding.rule)
    return since is not None and since <= finding.time


def alone(
    subjects: tuple[str, ...], reasons: tuple[Reason, ...], cause: Iterable[str], **fields: Any
) -> Finding:
    """Return the finding of what no rule says: broken for `subjects` as one; `fields` are the others of a finding."""
    code = fingerprint(fields["rule"], fields["mode"], subjects, cause)
    return Finding.of((Instance(code, subjects, reasons),), **fields)


def _too_late(mode: str, since: int, time: int, deadline: int | None) -> str:
    """Return in words that it was time which broke a rule: a clock ran out, or something lasted too long; else ""."""
    if mode == "within" and time == deadline:
        return "time ran out"
    return "for too long" if mode == "always" and time > since else ""


def _of(instances: tuple[Instance, ...], action: str, late: str) -> dict[str, Any]:
    """Return what a finding says of its instances, broken by an action, or by time after it."""
    subjects = _once(s for one in instances for s in one.subjects)
    reasons = join(r for one in instances for r in one.reasons)
    headline = say_wrong(subjects, reasons, action, late=late)
    return {"instances": instances, "subjects": subjects, "reasons": reasons, "headline": headline}


def say_wrong(subjects: Sequence[str], reasons: Sequence[Reason], action: str, *, late: str = "") -> str:
    """Return in one line what is wrong: who or what did it, and what it did.

    `late` says that it was time that broke the rule, after the action. What is wrong is said as a fact, never as the
    rule has it for the good case.
    """
    after = f"{late}{' after ' if action else ''}{action}" if late else action
    if not reasons:
        return f"{after or say_list(subjects)}: the rule is broken, and nothing tells by what"
    first, more = reasons[0], len(reasons) - 1
    also = f" (and {more} more)" if more else ""
    if first.code == "no-path":
        whom = say_some(first.beyond, first.noun)
        if action and first.links and not late:
            return f"{action} cuts {whom} off from {first.to}{also}"
        said = f"{whom} {'is' if len(first.beyond) == 1 else 'are'} cut off from {first.to}{also}"
    elif first.code == "path":
        said = f"{say_some(first.beyond, first.noun)} {first.to}{also}"
    else:
        said = first.text + also
    return f"{after}: {said}" if after else said


@dataclass(frozen=True, slots=True)
class Clock:
    """A limit of time: what must be true by when. `deadline` is None when physics sets no limit.

    Of a clock that runs, `trigger` and `missing` say what started it and what is still missing. `left` is what was left
    when it stopped, in microseconds.
    """

    told: ClassVar[tuple[str, ...]] = ("category", "left_seconds")
    untold: ClassVar[tuple[str, ...]] = ("left",)

    rule: str
    title: str
    severity: int
    subject: str
    started: Instant
    deadline: Instant | None
    trigger: str | None = None
    missing: tuple[Reason, ...] | None = None
    left: int | None = None

    @property
    def category(self) -> str | None:
        """The severity in its word."""
        return SEVERITIES.get(self.severity)

    @property
    def left_seconds(self) -> float | None:
        """What was left, in seconds."""
        return None if self.left is None else self.left / SECOND
