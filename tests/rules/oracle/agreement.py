"""Where the tool and the plain reading of a case differ.

Compared are, for each rule, when and since when it was broken, for whom, until when, at which ends,
and which clocks run.
A finding may group several instances of one cause, so what they are about is compared together, and how long each
lasted where a finding is about one thing. Of fingerprints it is compared how many there are of each rule: the same for
the same instance and cause, others for others.
"""

from __future__ import annotations

from collections import defaultdict
from typing import Any

from tests.rules.oracle.census import plainly
from tests.rules.oracle.drive import Answer, ask, offset
from tests.rules.oracle.moment import has_items
from tests.rules.oracle.plain import Breach, Judged
from tests.rules.oracle.plans import by_durations, ties
from tests.rules.oracle.rulings import Approved, absences, apart, identities
from tests.rules.oracle.worlds import Case

ANYTHING = "*"
"""Nothing in particular falls short: an `any` whose alternatives fail in different items, or a custom condition."""

Rows = dict[tuple[Any, ...], set[str]]


def differences(drawn: Case) -> list[str]:
    """Return what differs, in words; nothing where the two agree."""
    found, answer = plainly(drawn), ask(drawn)
    # What was broken when a plan was asked about is no finding of the plan.
    breaches = [breach for breach in found.breaches if drawn.plan is None or breach.time > 0]
    told = [finding for finding in answer.findings if drawn.plan is None or offset(finding["time"]) != 0]
    return [
        *_compare("broken", _ours(breaches), _theirs(told)),
        *_compare("until", *_common(_our_ends(breaches), _their_ends(told))),
        *(
            _compare("fingerprints", _our_prints(breaches), _their_prints(told))
            if _tells_instances(told)
            else []
        ),
        *_compare("clock", _our_clocks(found), _their_clocks(answer)),
        *_paces(drawn, answer),
        *_compare("absent", _our_absences(drawn), _their_absences(answer)),
        *_compare("excused", _our_excused(drawn, answer, breaches), _theirs(answer.excused)),
    ]


def _paces(drawn: Case, answer: Answer) -> list[str]:
    """Return the rules that some durations break by the plain reading, or by the tool, and no durations by the other.

    Of those that only a mix of low and high breaks, and neither alone, the tool promises clocks, where the steps come
    in an order that they have at one pace.
    """
    if drawn.plan is None or drawn.theme != "mix" or ties(drawn.plan):
        return []
    found = by_durations(drawn.hardware, drawn.rules, drawn.plan, 0)
    alike = {rule for case in ("low", "likely", "high") for rule, *_ in found[case]}
    mixed = {rule for rule, *_ in found["any"]} - alike
    promised = {rule for rule, *_ in found["in order"]} - alike
    modes = {rule["id"]: rule for rule in drawn.rules}
    clocks = {r for r in promised if modes[r]["mode"] == "within" or "tolerance" in modes[r]}
    lacking, made_up = (alike | clocks) - answer.paced, (answer.paced & modes.keys()) - alike - mixed
    return (
        [f"durations: plainly {sorted(lacking)}, by the tool {sorted(made_up)}"] if lacking or made_up else []
    )


def subjects(breach: Breach) -> set[str]:
    """Return what a breach is about: its scope item, else the items of its instance, else those that fall short."""
    if breach.item is not None:
        return {breach.item}
    return set(breach.part) if has_items(breach.part) else set(breach.short) or {ANYTHING}


def _compare(what: str, ours: Rows, theirs: Rows) -> list[str]:
    every = sorted(set(ours) | set(theirs), key=repr)
    return [
        f"{what} {key}: plainly {sorted(ours.get(key, set()))}, by the tool {sorted(theirs.get(key, set()))}"
        for key in every
        if not _agree(ours.get(key), theirs.get(key))
    ]


def _common(ours: Rows, theirs: Rows) -> tuple[Rows, Rows]:
    """Return what both tell of: who is compared by how long it lasted must be alone on both sides."""
    return {key: ours[key] for key in ours if key in theirs}, {
        key: theirs[key] for key in theirs if key in ours
    }


def _agree(ours: set[str] | None, theirs: set[str] | None) -> bool:
    if ours is not None and theirs is not None and ANYTHING in ours:
        return ours - {ANYTHING} <= theirs
    return ours == theirs


def _ours(breaches: list[Breach]) -> Rows:
    rows: Rows = defaultdict(set)
    for breach in breaches:
        rows[(breach.rule, breach.time, breach.since)] |= subjects(breach)
    return rows


def _theirs(findings: list[dict[str, Any]]) -> Rows:
    rows: Rows = defaultdict(set)
    for finding in findings:
        rows[(finding["rule"], offset(finding["time"]), offset(finding["since"]))] |= set(finding["subjects"])
    return rows


def _our_ends(breaches: list[Breach]) -> Rows:
    rows: Rows = defaultdict(set)
    alone = _ours(breaches)
    for breach in breaches:
        key = (breach.rule, breach.time, breach.since)
        if len(alone[key]) == 1 and breach.until != breach.time:
            rows[key] |= {f"{breach.until} {sorted(breach.ends)}"}
    return {key: told for key, told in rows.items() if len(told) == 1}


def _their_ends(findings: list[dict[str, Any]]) -> Rows:
    rows: Rows = defaultdict(set)
    alone = _theirs(findings)
    for finding in findings:
        key = (finding["rule"], offset(finding["time"]), offset(finding["since"]))
        if len(alone[key]) == 1 and finding["mode"] != "at":
            ends = sorted(offset(end) or 0 for end in finding.get("ends") or [])
            rows[key] |= {f"{offset(finding['until'])} {ends}"}
    return {key: told for key, told in rows.items() if len(told) == 1}


def _tells_instances(findings: list[dict[str, Any]]) -> bool:
    return all("fingerprints" in finding for finding in findings)


def _our_prints(breaches: list[Breach]) -> Rows:
    rows: dict[str, set[Any]] = defaultdict(set)
    for breach in breaches:
        rows[breach.rule].add(breach.identity)
    return {(rule, len(prints)): set() for rule, prints in rows.items()}


def _their_prints(findings: list[dict[str, Any]]) -> Rows:
    rows: dict[str, set[str]] = defaultdict(set)
    for finding in findings:
        rows[finding["rule"]] |= set(finding["fingerprints"])
    return {(rule, len(prints)): set() for rule, prints in rows.items()}


def _our_absences(drawn: Case) -> Rows:
    return {(f"E{away.number}",): {away.doer} for away in absences(drawn.hardware, drawn.events)}


def _their_absences(answer: Answer) -> Rows:
    absent = [entry for entry in answer.discrepancies if entry["action"] != "as-found"]
    return {(entry["id"],): {entry["by"]} for entry in absent}


def _our_excused(drawn: Case, answer: Answer, breaches: list[Breach]) -> Rows:
    """Return what is excused when the same finding is approved: all that has its breaches' fingerprints, in time."""
    if answer.approved is None:
        return {}
    (variance,) = drawn.variances
    (key,) = _theirs([answer.approved])
    alike = [breach for breach in breaches if (breach.rule, breach.time, breach.since) == key]
    named = [breach for breach in alike if subjects(breach) <= {ANYTHING, *answer.approved["subjects"]}]
    approved = Approved(frozenset(identities(named)), variance.since, variance.until)
    return _ours([breach for breach in breaches if apart(breach, [approved], drawn.horizon)])


def _our_clocks(found: Judged) -> Rows:
    # What physics sets no limit to is no limit of time: nobody is told of it.
    limited = (clock for clock in found.clocks if clock.deadline is not None)
    return {(clock.rule, clock.started, clock.deadline): set() for clock in limited}


def _their_clocks(answer: Answer) -> Rows:
    return {
        (clock["rule"], offset(clock["started"]), offset(clock["deadline"])): set() for clock in answer.clocks
    }
