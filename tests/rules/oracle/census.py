"""What a case holds: which of the things that are easily got wrong come up in it."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

from tests.rules.oracle.plain import Breach, Judged, judge
from tests.rules.oracle.plans import LIKELY, by_durations, judged, ties
from tests.rules.oracle.plant import Table
from tests.rules.oracle.rulings import absences
from tests.rules.oracle.worlds import Case

WANTED = (
    "second breach while the first stands",
    "second breach of a rule without scope",
    "clock left at the end",
    "violated presence",
    "variance",
    "by at several ends",
    "mix of durations matters",
    "always first broken after the first instant",
    "clock met and then lost",
    "by put right",
    "thermal limit",
    "custom condition",
)


def plainly(drawn: Case) -> Judged:
    """Return what a case breaks: what is recorded, or its plan as it likely goes."""
    if drawn.plan is not None:
        return judged(drawn.hardware, drawn.rules, drawn.plan, LIKELY, 0)
    return judge(drawn.hardware, drawn.rules, drawn.events, start=0, horizon=drawn.horizon)


def census(drawn: Case) -> set[str]:
    """Return which of the wanted things come up in a case, and which modes broke."""
    found = plainly(drawn)
    held = {f"broken: {mode}" for mode in _broken_modes(drawn.rules, found)}
    by = [breach for breach in found.breaches if breach.ends]
    always = {rule["id"] for rule in drawn.rules if rule["mode"] == "always"}
    firsts = {breach.rule: breach for breach in reversed(found.breaches) if breach.rule in always}
    checks = {
        "second breach while the first stands": _seconds(found.breaches),
        "second breach of a rule without scope": _seconds(_without_scope(drawn.rules, found.breaches)),
        "clock left at the end": any(clock.deadline is not None for clock in found.clocks),
        "violated presence": bool(absences(drawn.hardware, drawn.events)),
        "variance": bool(drawn.variances) and bool(found.breaches),
        "by at several ends": any(len(breach.ends) > 1 for breach in by),
        "always first broken after the first instant": any(breach.since > 0 for breach in firsts.values()),
        "clock met and then lost": found.met_and_lost > 0,
        "by put right": any(breach.until is not None for breach in by),
        "thermal limit": found.limited > 0,
        "custom condition": any("custom" in str(rule) and found.judged[rule["id"]] for rule in drawn.rules),
    }
    if drawn.plan is not None and not ties(drawn.plan):
        cases = by_durations(drawn.hardware, drawn.rules, drawn.plan, 0)
        checks["mix of durations matters"] = bool(
            cases["any"] - cases["low"] - cases["likely"] - cases["high"]
        )
    return (
        held | {name for name, is_so in checks.items() if is_so} | ({"broken"} if found.breaches else set())
    )


def _broken_modes(rules: list[Table], found: Judged) -> set[str]:
    modes = {rule["id"]: rule["mode"] for rule in rules}
    return {modes[breach.rule] for breach in found.breaches}


def _without_scope(rules: list[Table], breaches: Sequence[Breach]) -> list[Breach]:
    scoped = {rule["id"] for rule in rules if "scope" in rule}
    return [breach for breach in breaches if breach.rule not in scoped]


def _seconds(breaches: Sequence[Breach]) -> bool:
    """Return whether a rule is broken again while an earlier breach of it stands."""
    by_rule: dict[str, list[Breach]] = {}
    for breach in breaches:
        by_rule.setdefault(breach.rule, []).append(breach)
    return any(
        earlier.time < later.time and (earlier.until is None or later.time < earlier.until)
        for found in by_rule.values()
        for earlier, later in combinations(found, 2)
    )
