"""What was approved of findings, in words: by whom, when, until when, before or after the fact, and what it lacks."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from cfgtrack.model.time import format_instant
from cfgtrack.rules.approved import SOON, Approval, Approved, Fact, Standing
from cfgtrack.rules.finding import SEVERITIES, Finding
from cfgtrack.rules.saying import say_list
from cfgtrack.show.tables import span_text

_FACTS = {Fact.BEFORE: "before the fact", Fact.AFTER: "after the fact"}
_MOST = 3
NOT_CHECKED = "the plant doesn't say who may approve: nobody was checked"


def standing_text(findings: Sequence[Finding], at: int) -> Iterator[str]:
    """Yield what a first line says of approvals: what is excused, what waits, and what no longer is excused."""
    groups: dict[tuple[tuple[str, ...], int | None, str], list[Finding]] = {}
    for finding in findings:
        approved = finding.approved
        if approved is not None and approved.excuses:
            name = (approved.by, approved.until, _FACTS[Fact(approved.fact or "")])
            groups.setdefault(name, []).append(finding)
    if groups:
        many = sum(map(len, groups.values()))
        ordered = sorted(groups.items(), key=lambda one: min(f.severity for f in one[1]))
        told = [_group(name, excused, at) for name, excused in ordered[:_MOST]]
        if len(groups) > _MOST:
            told.append(f"{len(groups) - _MOST} more by others")
        yield f"{many} excused ({'; '.join(told)})"
    anew = [f.approved.anew for f in findings if f.approved is not None and f.approved.anew is not None]
    if anew:
        yield f"{len(anew)} of it {_anew(max(anew), len(anew))}"
    waiting = [f.approved for f in findings if f.approved is not None and f.approved.waits]
    if waiting:
        by = say_list(sorted({name for one in waiting for name in one.by}))
        yield f"{len(waiting)} approved by {by}, {_lacking(waiting[0])}"
    over = sum(1 for f in findings if f.approved is not None and _is_over(f.approved))
    if over:
        yield f"{over} no longer excused"


def _group(name: tuple[tuple[str, ...], int | None, str], findings: Sequence[Finding], at: int) -> str:
    by, until, fact = name
    by_severity = sorted(Counter(finding.severity for finding in findings).items())
    bad = ", ".join(f"{many} {SEVERITIES[severity]}" for severity, many in by_severity)
    return f"{bad}, by {say_list(by)} {_until(until, at)}, {fact}"


def _anew(time: int, many: int = 1) -> str:
    """Return that what is excused was broken anew."""
    return f"BROKEN ANEW{', last' if many > 1 else ''} at {format_instant(time)}, after it was approved"


def approved_facts(approved: Approved, at: int) -> Iterator[tuple[str, str]]:
    """Yield, each with its label, what was approved of a finding at a moment, and each approval."""
    yield "approved", approved_text(approved, at)
    for one in approved.approvals:
        yield "by", _approval(one, at)


def approved_text(approved: Approved, at: int) -> str:
    """Return what was approved of a finding at a moment, in a line."""
    if approved.excuses:
        known = max(one.known for one in approved.approvals)
        late = f" (known since {format_instant(known)})" if approved.fact == Fact.AFTER else ""
        said = f"by {say_list(approved.by)}, {_until(approved.until, at)}, {_FACTS[Fact(approved.fact or '')]}{late}"
        said += "" if approved.anew is None else f", {_anew(approved.anew)}"
    elif approved.waits:
        said = f"by {say_list(approved.by)}, {_lacking(approved)}: it excuses nothing yet"
    else:
        said = f"but {_no_longer(approved, at)}"
    return said if all(one.checked for one in approved.approvals) else f"{said}; {NOT_CHECKED}"


def _lacking(approved: Approved) -> str:
    """Return what an approval that isn't whole waits for; of several, who is known to have had a hand in all."""
    if len(approved.by) < 2:
        return "waits for a second"
    hands = [{one.by, one.recorder} - {""} for one in approved.running]
    who = say_list(sorted(set.intersection(*hands))) if set.intersection(*hands) else "one person"
    return f"waits for a second ({who} had a hand in {'both' if len(hands) == 2 else 'all'})"


def _is_over(approved: Approved) -> bool:
    over = (Standing.RAN_OUT, Standing.WITHDRAWN)
    return not approved.excuses and not approved.waits and any(o.standing in over for o in approved.approvals)


def _no_longer(approved: Approved, at: int) -> str:
    """Return why none of several approvals counts: of what ran out and what was withdrawn, the last to be so."""
    ran_out = [
        one.end for one in approved.approvals if one.standing == Standing.RAN_OUT and one.end is not None
    ]
    withdrawn = [one.withdrawal for one in approved.approvals if one.withdrawal is not None]
    if withdrawn and ran_out:
        last = max(withdrawn, key=lambda one: one.known)
        if last.known >= max(ran_out):
            return f"withdrawn{f' by {last.by}' if last.by else ''} {format_instant(last.known)}"
    if ran_out:
        return f"ran out {span_text(at - max(ran_out))} ago"
    return say_list(list(dict.fromkeys(_STANDING[Standing(one.standing)] for one in approved.approvals)))


_STANDING = {
    Standing.RUNS: "runs",
    Standing.RAN_OUT: "ran out",
    Standing.NOT_YET: "begins later",
    Standing.NOT_THROUGHOUT: "not for as long as it lasts",
    Standing.WITHDRAWN: "withdrawn",
    Standing.NOT_HIS: "by somebody who may not",
}


def _until(until: int | None, at: int) -> str:
    if until is None:
        return "until further notice"
    left = until - at
    soon = f" ({span_text(left)} left)" if 0 <= left <= SOON else ""
    return f"until {format_instant(until)}{soon}"


def _approval(one: Approval, at: int) -> str:
    """Return one approval: who, when, recorded when and by whom, for which time, why, and what has become of it."""
    said = [f"{one.by}, who did it himself" if one.did_it else one.by]
    said.append(f"decided {format_instant(one.happened)}" if one.is_late else format_instant(one.happened))
    if one.is_late or one.recorder:
        when = f" {format_instant(one.known)}" if one.is_late else ""
        said.append(f"recorded{when}" + (f" by {one.recorder}" if one.recorder else ""))
    if one.back_dated:
        said.append(f"back-dated to {format_instant(one.start)}")
    elif one.start > one.happened:
        said.append(f"from {format_instant(one.start)}")
    if one.end is not None:
        said.append(f"until {format_instant(one.end)}")
    if one.standing == Standing.RAN_OUT and one.end is not None:
        said.append(f"ran out {span_text(at - one.end)} ago")
    elif one.standing not in (Standing.RUNS, Standing.WITHDRAWN):
        said.append(_STANDING[Standing(one.standing)])
    if one.anew is not None:
        said.append("given of an earlier time that it was broken")
    why = f": {one.reason}" if one.reason else ""
    text = f"{', '.join(said)}{why} (event {one.event})"
    if one.withdrawal is None:
        return text
    by = f" by {one.withdrawal.by}" if one.withdrawal.by else ""
    taken = f"{format_instant(one.withdrawal.known)}{by}: {one.withdrawal.reason}"
    return f"{text}; WITHDRAWN {taken} (event {one.withdrawal.event})"
