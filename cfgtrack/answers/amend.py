"""Nothing is edited: what corrects, withdraws, explains, approves or acknowledges is an event with its reason."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any, ClassVar, NamedTuple

from cfgtrack.answers.asking import Asking
from cfgtrack.answers.consequence import Consequence, Standing
from cfgtrack.answers.hardware import effect_at
from cfgtrack.answers.moment import now_of
from cfgtrack.answers.past import (
    Past,
    approvals,
    find_rule,
    hands_in,
    kept_rules,
    rules_to_judge_by,
    variances_of,
)
from cfgtrack.answers.record import Recorded, new_id, recorded, said, said_time, write
from cfgtrack.answers.timely import UNLIKELY, asked, expect_timely
from cfgtrack.files.phrase import split_phrase
from cfgtrack.model.action import ACKNOWLEDGE, APPROVE, EXPLAIN, RETIRE, WITHDRAW, Action
from cfgtrack.model.approval import as_written, fault_of_approval, hands_of
from cfgtrack.model.event import Entry, Event
from cfgtrack.model.people import APPROVE as APPROVE_ROLE
from cfgtrack.model.people import who_may
from cfgtrack.model.time import Instant, format_instant
from cfgtrack.model.trouble import BadInput, Misput, NoAnswer, Problem, Refused
from cfgtrack.model.unknown import ANYTHING, UNKNOWN, no_such
from cfgtrack.rules.approved import Approved
from cfgtrack.rules.finding import SEVERITIES, Finding
from cfgtrack.rules.saying import say_list
from cfgtrack.rules.selection import fits
from cfgtrack.rules.variance import NEVER_EXCUSED, may_approve, under_variance
from cfgtrack.store.journal import Journal
from cfgtrack.store.loading import Effect


def correct(
    asking: Asking,
    target: str,
    words: Sequence[str],
    *,
    reason: str,
    event_id: str | None = None,
    basis: str | None = None,
    remark: str | None = None,
    others: Sequence[tuple[str, str]] = (),
) -> Recorded:
    """Correct a recorded event by what really happened. NoAnswer when it isn't recorded; as `record` else.

    What isn't said anew is taken from it: its time, its outing, who did it, how well it is known, its remark.
    `others` are more events, each with what really happened as one text: all are recorded as one, or none. The time,
    the basis and the remark are those of the first alone.
    """
    with asking.write() as journal:
        first = _correction(asking, journal, target, words, reason, event_id, basis, remark)
        then = replace(asking, at=None)
        more = (
            _correction(then, journal, name, _words(text), reason, event_id and f"{event_id}-{number}")
            for number, (name, text) in enumerate(others, start=2)
        )
        return _amended(asking, journal, [first, *more])


def _correction(
    asking: Asking,
    journal: Journal,
    target: str,
    words: Sequence[str],
    reason: str,
    event_id: str | None,
    basis: str | None = None,
    remark: str | None = None,
) -> Action:
    """Return the action that corrects an event."""
    old = _expect_event(journal, target)
    if old.action == RETIRE:
        sentence = (
            f"event {target} retires {' '.join(old.subjects)}: withdraw it, and retire it as it really was"
        )
        raise Refused(Problem(target, "not-correctable", sentence))
    inside = replace(asking, outing=asking.outing or old.outing)
    happened = old.happened if asking.at is None else inside.instant(journal, asking.at, option="--at")
    told = {"outing": asking.outing, "basis": basis or old.basis, "remark": remark, "reason": reason}
    action = said(asking, journal, words, happened, event_id, **told, supersedes=target)
    taken_over = {name: getattr(action, name) or getattr(old, name) for name in ("by", "outing", "remark")}
    return replace(action, **taken_over)


def _words(text: str) -> list[str]:
    """Return the words of what really happened. BadInput for a quote that is never closed."""
    try:
        return split_phrase(text)
    except ValueError:
        sentence = "a quote is opened and never closed"
        raise BadInput(Problem("--and", "syntax", sentence, text)) from None


def withdraw(asking: Asking, target: str, *, reason: str, event_id: str | None = None) -> Recorded:
    """Withdraw a recorded event that did not happen. NoAnswer when it isn't recorded."""
    return _about(asking, WITHDRAW, target, event_id, withdraws=target, reason=reason)


def explain(asking: Asking, target: str, *, reason: str, event_id: str | None = None) -> Recorded:
    """Explain an as-found event that contradicted the record. NoAnswer when it isn't recorded."""
    return _about(asking, EXPLAIN, target, event_id, explains=target, reason=reason)


def _about(asking: Asking, action: str, target: str, event_id: str | None, **fields: str) -> Recorded:
    with asking.write() as journal:
        _expect_event(journal, target)
        return _on_the_record(asking, journal, action, event_id, **fields)


@dataclass(frozen=True, slots=True)
class Named:
    """One instance of a finding that is named by its fingerprint: which rule, about what, what is wrong, since when.

    `approved` is what has been approved of it by then, None where nothing has.
    """

    told: ClassVar[tuple[str, ...]] = ("category",)

    fingerprint: str
    rule: str
    severity: int
    subjects: tuple[str, ...]
    headline: str
    time: Instant
    approved: Approved | None = None

    @property
    def category(self) -> str | None:
        """The severity in its word; None for a step that can't be done."""
        return SEVERITIES.get(self.severity)


@dataclass(frozen=True, slots=True)
class Ruled(Recorded):
    """An approval or an acknowledgement that is `recorded`, with the findings that it names."""

    named: tuple[Named, ...]


def retire(asking: Asking, unit: str, *, reason: str, event_id: str | None = None) -> Recorded:
    """Record that a unit is no longer of the plant from the asking's time on, else from now.

    NoAnswer for no such unit, Refused when it is joined to something then, or something was done to it later; BadInput
    for a time that is still to come.
    """
    with asking.write() as journal:
        name = event_id or new_id()
        told = said_time(asking, journal, event_id)
        at = journal.present if told is None else effect_at(asking, journal, told, option="--at")
        standing = None if asking.dry_run else Standing(journal, *journal.moment())
        plant = journal.plant(at)
        entry = journal.retire(
            plant.resolve(unit),
            Effect(at, reason),
            by=asking.doer(plant),
            recorder=asking.recorder,
            event_id=name,
            dry_run=asking.dry_run,
        )
        found = Consequence() if standing is None else standing.changed_by([entry])
        return recorded(asking, journal, [entry], found)


MANY = 10
"""More findings than so many are not approved by what finds them unless somebody says how many they are."""


@dataclass(frozen=True, slots=True)
class AllOf:
    """All that a `rule` finds, of `subjects` (addresses or patterns) where they are given: as many as `count` says."""

    rule: str
    subjects: tuple[str, ...] = ()
    count: int | None = None


@dataclass(frozen=True, slots=True)
class SecondTo:
    """All that an approval names, the event `of` that id, for the same time where no other is said."""

    of: str


def approve(
    asking: Asking,
    meant: Sequence[str] | AllOf | SecondTo,
    *,
    reason: str,
    plan: Path | str | None = None,
    start: str | int | None = None,
    end: str | int | None = None,
    event_id: str | None = None,
) -> Ruled:
    """Approve an exception to findings that are there, for a span of time.

    They are those of the past; with a `plan`, a sequence file (a path) or a single action (a phrase), those of what
    that would break. What is `meant` are fingerprints, or all that a rule finds up to the asking's time, else now, or
    what an earlier approval names. By their rule more than ten are approved with their count, and none that is
    catastrophic. NoAnswer for a finding, a rule and an approval that isn't there, Refused for a step that can't be done
    and for what may not be approved so, or by this one; Misput when nobody approves it, nothing is named, and when it
    ends before it starts.
    """
    if isinstance(meant, Sequence) and not (meant and all(meant)):
        raise Misput("Name the findings by their fingerprints.")
    if not (asking.by or "").strip():
        raise Misput("Say who approves with --by.")
    if plan is None:
        # Who names them may have approved them, on paper, before they were there.
        there = _recorded_findings(asking, whole=not isinstance(meant, AllOf))
    else:
        there = _planned_findings(asking, plan)
    with asking.write() as journal:
        span: dict[str, Any] = {}
        second_to = meant.of if isinstance(meant, SecondTo) else None
        if isinstance(meant, SecondTo):
            first = _expect_approval(journal, meant.of)
            span = {name: first[name] for name in ("start", "end") if name in first}
            meant = list[str](first["fingerprints"])
        for name, given, option in (("start", start, "--from"), ("end", end, "--until")):
            if given is not None:
                span[name] = asking.instant(journal, given, option=option)
        _expect_to_run(asking, journal, span, event_id)
        if isinstance(meant, AllOf):
            if plan is None:
                find_rule(kept_rules(journal, None), meant.rule)
            chosen = _found_by(there.findings, meant.rule, [*map(journal.plant().resolve, meant.subjects)])
            _expect_meant([*chosen], meant)
        else:
            chosen = _with_codes(there.findings, meant)
        named = [*chosen]
        _expect_his(asking, journal, there.findings, named)
        if second_to is not None:
            _expect_another(asking, journal, second_to, named, there.findings)
        about = dict.fromkeys(s for one in named for s in one.subjects if _is_thing(journal, s))
        codes = [one.fingerprint for one in named]
        planned = max(there.planned[code] for code in codes)
        body = {"fingerprints": codes, **({"planned": planned} if planned else {}), **span}
        done = _on_the_record(
            asking, journal, APPROVE, event_id, subjects=tuple(about), body=body, reason=reason
        )
        return _ruled(done, tuple(_with_approvals(journal, there, chosen, done.event)))


def _expect_approval(journal: Journal, event_id: str) -> Mapping[str, Any]:
    """Return what an approval that counts holds. NoAnswer for none, Refused for another event, or one of before."""
    event = _expect_event(journal, event_id)
    ever = {entry.event.id: by for entry, by in journal.ever(APPROVE)}
    gone = ever.get(event_id)
    why = ""
    if event.action != APPROVE:
        why = f"event {event_id} is no approval: it is {event.action}"
    elif gone is not None:
        why = f"event {event_id} no longer counts: {gone.event.id} withdrew or corrected it"
    elif fault_of_approval(event) or "fingerprints" not in (event.body or {}):
        why = f"event {event_id} doesn't name findings by their fingerprints: name them with --finding"
    if why:
        raise Refused(Problem(event_id, "approval", why))
    assert event.body is not None
    return event.body


def _expect_to_run(asking: Asking, journal: Journal, span: Mapping[str, int], event_id: str | None) -> None:
    """Refuse an approval that ends before it begins; one that has run out already unless the asking is sure."""
    end = span.get("end")
    if end is None:
        return
    told = said_time(asking, journal, event_id)
    decided = journal.present if told is None else told
    start = span.get("start", decided)
    if end <= start:
        since = "--from" if "start" in span else "--at" if told is not None else "now"
        raise Misput(
            f"--until must be later than {since}: {format_instant(end)} is not after {format_instant(start)}."
        )
    if end <= journal.present and not asking.sure:
        why = f"it would have run out already, at {format_instant(end)}, and excuse nothing of now"
        raise Refused(Problem("--until", UNLIKELY, asked(why)))


def _expect_another(
    asking: Asking, journal: Journal, first: str, named: Sequence[Named], there: Sequence[Finding]
) -> None:
    """Refuse a second approval by whoever had a hand in the first, and say who could give it."""
    plant = journal.plant()
    entry = journal.entry(first)
    assert entry is not None
    given = hands_in(journal.definitions(), entry)
    by = asking.doer(plant)
    done = Action("", APPROVE, (), journal.present, by=by, recorder=asking.recorder)
    own = hands_of(plant, done, journal.database.login)
    if not given.people & own.people:
        return
    left_to = [
        finding.approvers for finding in there if {*finding.fingerprints} & {n.fingerprint for n in named}
    ]
    could = [
        one
        for one in who_may(plant, APPROVE_ROLE, dict.fromkeys(s for n in named for s in n.subjects))
        if as_written(one) not in given.people and all(may_approve(some, one) for some in left_to)
    ]
    who = f"{say_list(could)} could" if could else "somebody else must"
    if as_written(own.approver) in given.people:
        why = f"{by} had a hand in approval {first} already, so this is no second: {who}"
    else:
        why = f"who writes this down had a hand in approval {first} already: {who}, and write it down himself"
    raise Refused(Problem("--second", "approval", why))


def _expect_meant(named: Sequence[Named], meant: AllOf) -> None:
    """Refuse to approve by a rule what must be named: what is catastrophic, and more than anybody looks at."""
    rule, count = meant.rule, meant.count
    worst = [one.fingerprint for one in named if one.severity <= 1]
    if worst:
        each = " ".join(f"--finding {code}" for code in worst[:MANY])
        more = f", and {len(worst) - MANY} more" if len(worst) > MANY else ""
        sentence = f"what rule {rule} finds is catastrophic, and approved by name alone: {each}{more}"
        raise Refused(Problem(rule, "approval", sentence))
    if len(named) > MANY and count is None:
        sentence = f"rule {rule} finds {len(named)}: say that all are meant with --count {len(named)}"
        raise Refused(Problem(rule, "approval", sentence))
    if count is not None and count != len(named):
        raise Refused(Problem(rule, "approval", f"rule {rule} finds {len(named)}, not {count}"))


def _expect_his(asking: Asking, journal: Journal, there: Sequence[Finding], named: Sequence[Named]) -> None:
    """Refuse what this one may not approve: what a rule leaves to others, or the plant."""
    plant = journal.plant()
    by = asking.doer(plant) or ""
    hands = hands_of(plant, Action("", APPROVE, (), journal.present, by=by))
    things = dict.fromkeys(s for one in named for s in one.subjects)
    approvers = {finding.rule: finding.approvers for finding in there}
    wrong = [Problem("--by", "approval", hands.may(things) or hands.why_not)] if hands.why_not else []
    for one in named if not wrong else ():
        left_to = approvers[one.rule]
        if not may_approve(left_to, hands.approver, by):
            why = f"rule {one.rule} leaves exceptions to {say_list(left_to)}, and not to {by}"
        else:
            why = hands.may(one.subjects) or ""
        if why:
            wrong.append(Problem(one.fingerprint, "approval", why))
    if wrong:
        raise Refused(wrong)


def _with_approvals(
    journal: Journal, there: _There, chosen: Mapping[Named, Finding], entry: Entry
) -> Iterator[Named]:
    """Yield what is named, each with what has been approved of it now that an approval is recorded, or tried."""
    held, _ = approvals(journal)
    tried = () if any(one.id == entry.event.id for one in held) else variances_of(journal, [(entry, None)])[0]
    known = max(entry.known, entry.event.happened)
    past = Past(journal, now_of(journal))
    for one, finding in chosen.items():
        part = finding.only((one.fingerprint,)) or finding
        # What a plan would break now, it will break after this.
        part = part if there.at is not None else replace(part, time=max(part.time, known), until=None)
        at = None if there.at is None else max(there.at, known)
        found = under_variance([part], (*held, *tried), at=at, doer=past.doer, times=past.times)
        (told,) = (f for some in found for f in some)
        yield replace(one, approved=told.approved)


def acknowledge(
    asking: Asking, findings: Sequence[str], *, reason: str, event_id: str | None = None
) -> Ruled:
    """Acknowledge findings of the past, by fingerprint, up to the asking's time, else now. NoAnswer for one not there.

    What breaks the same rule in the same way later is not acknowledged by it.
    """
    if not findings or not all(findings):
        raise Misput("Name the findings by their fingerprints.")
    there = _recorded_findings(asking).findings
    with asking.write() as journal:
        named = tuple(_with_codes(there, findings))
        _expect_happened(named, journal.present)
        codes = " ".join(one.fingerprint for one in named)
        done = _on_the_record(asking, journal, ACKNOWLEDGE, event_id, acknowledges=codes, reason=reason)
        return _ruled(done, named)


def _ruled(done: Recorded, named: tuple[Named, ...]) -> Ruled:
    return Ruled(**{field.name: getattr(done, field.name) for field in fields(Recorded)}, named=named)


class _There(NamedTuple):
    """The findings that are there: of the past at a moment (microseconds), or of a plan (`at` None).

    `planned`: how often that plan breaks each, by fingerprints.
    """

    findings: list[Finding]
    at: int | None = None
    planned: Mapping[str, int] = Counter()


def _recorded_findings(asking: Asking, *, whole: bool = False) -> _There:
    """Return every finding of the past up to the asking's time, else now, or the later of both where the `whole` is
    asked for; under a variance or not.
    """
    with asking.read() as journal:
        moment = asking.recorded(journal)
        if whole:
            moment = replace(moment, at=max(moment.at, journal.moment(None, moment.known)[0]))
        past = Past(journal, moment)
        rules_to_judge_by(past)
        plain, excused = past.findings()
        return _There([*plain, *excused], past.moment.at)


def _planned_findings(asking: Asking, plan: Path | str) -> _There:
    """Return every finding of a plan, and what is open when it starts."""
    from cfgtrack.analysis.verdict import Foreseen
    from cfgtrack.answers.check import check

    report = check(asking, plan).check
    to_come = (f for f in (*report.new, *report.excused) if isinstance(f, Foreseen))
    planned = Counter(code for f in to_come for code in f.fingerprints)
    there = [*report.new, *report.excused, *report.open, *report.left_open, *report.mended]
    return _There(there, planned=planned)


def _with_codes(there: Sequence[Finding], codes: Sequence[str]) -> dict[Named, Finding]:
    """Return the instances with these fingerprints, each with the finding that it is of, the last that there is.

    NoAnswer for a fingerprint that none has, Refused for a step that can't be done.
    """
    known = {named.fingerprint: (named, finding) for finding in there for named in _instances(finding)}
    unknown = [Problem(code, UNKNOWN, no_such("finding", code, known)) for code in codes if code not in known]
    if unknown:
        raise NoAnswer(unknown)
    chosen = dict(known[code] for code in dict.fromkeys(codes))
    _expect_possible([*chosen.values()])
    return chosen


def _found_by(there: Sequence[Finding], rule: str, subjects: Sequence[str]) -> dict[Named, Finding]:
    """Return the instances of a rule's findings that are about these subjects, as `_with_codes` does.

    NoAnswer when there are none.
    """
    mine = [finding for finding in there if finding.rule == rule]
    named = {
        one.fingerprint: (one, finding)
        for finding in mine
        for one in _instances(finding)
        if not subjects or (one.subjects and all(fits(s, tuple(subjects)) for s in one.subjects))
    }
    if not named:
        of = f" about {' '.join(subjects)}" if subjects else ""
        raise NoAnswer(Problem(rule, UNKNOWN, f"rule {rule} finds nothing{of} that could be approved"))
    _expect_possible(mine)
    return dict(named.values())


def _instances(finding: Finding) -> Iterator[Named]:
    for one in finding.instances:
        alone = finding.only((one.fingerprint,)) or finding
        severity = finding.severity
        yield Named(one.fingerprint, finding.rule, severity, one.subjects, alone.headline, finding.time)


def _expect_happened(named: Sequence[Named], now: int) -> None:
    later = [
        Problem(one.fingerprint, "later", f"it is broken at {format_instant(one.time)}, later than now")
        for one in named
        if one.time > now
    ]
    if later:
        raise NoAnswer(later)


def _expect_possible(findings: Sequence[Finding]) -> None:
    cannot = [
        Problem(
            f.step or f.action,
            "impossible",
            f"{f.action} can't be done, so nobody can approve it: {why.text}",
        )
        for f in findings
        if f.mode == NEVER_EXCUSED
        for why in f.reasons
    ]
    if cannot:
        raise Refused(cannot)


def _is_thing(journal: Journal, address: str) -> bool:
    return journal.whole_plant().sort_of(address) in ANYTHING


def _expect_event(journal: Journal, event_id: str) -> Event:
    """Return the event with this id, in effect or not. NoAnswer when there is none."""
    entry = journal.entry(event_id)
    if entry is None:
        raise NoAnswer(Problem(event_id, UNKNOWN, no_such("event", event_id)))
    return entry.event


def _on_the_record(
    asking: Asking, journal: Journal, name: str, event_id: str | None, **fields: Any
) -> Recorded:
    """Record an action on the record itself: at the asking's time, else now, whatever the record says of the future."""
    told = said_time(asking, journal, event_id)
    happened = journal.present if told is None else told
    who = {"by": asking.doer(journal.plant()), "recorder": asking.recorder}
    action = Action(event_id or new_id(), name, happened=happened, **{"subjects": (), **who, **fields})
    return _amended(asking, journal, [action])


def _amended(asking: Asking, journal: Journal, actions: Sequence[Action]) -> Recorded:
    """Record actions that amend the record, as one. Of a correction, tell what it broke as the past now stands."""
    corrects = any(action.supersedes or action.withdraws for action in actions)
    expect_timely(asking, journal, actions)
    # What can't be read is told before anything is written.
    standing = Standing(journal, *journal.moment()) if corrects and not asking.dry_run else None
    if any(action.supersedes for action in actions):
        entries = journal.correct(actions, dry_run=asking.dry_run)
    else:
        entries = [write(asking, journal, action) for action in actions]
    found = Consequence() if standing is None else standing.changed_by(entries)
    unknown = None if standing is None else standing.unknown
    return recorded(asking, journal, entries, found, () if unknown is None else (f"warning: {unknown}",))
