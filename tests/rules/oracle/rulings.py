"""What people and the tool make of what is broken: fingerprints, variances, presence, and the verdict of a plan.

Questions that the text leaves, and what is taken here:

 1. A variance covers a breach when it runs from the breach's beginning to its end, half-open like all intervals;
    one that stands still is covered by a variance that hasn't ended at the horizon. A breach of one moment is
    covered at it. So it is where a plan is to be clear. In a review of the past a breach that was approved while it
    stood is shown apart as well, for people approve what they have found; one that ended before the variance began
    is not.
 2. An absent doer's place follows to the site of the thing itself; he lets go of what he holds.
 3. A doer is absent where his own site is another than the thing's, or where one of the two has none.
 4. A verdict is undecided when a rule gave none, when no rule had anything to judge (there are none, or none found
    an item), or when a search was cut short. Not clear outranks it.
 5. A clock counts for a plan when its deadline lies within or behind it and it still runs at its end: also a
    tolerance that has begun. What stays and what has no deadline doesn't.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from typing import Any

from tests.rules.oracle.plain import Breach, Clock
from tests.rules.oracle.plant import Plant, Table
from tests.rules.oracle.state import Absence, Event, absent, after, initial


@dataclass(frozen=True)
class Approved:
    """A variance: the fingerprints that it names, and from when to when it runs."""

    identities: frozenset[tuple[Any, ...]]
    since: int
    until: int | None


def identities(breaches: Iterable[Breach]) -> list[tuple[Any, ...]]:
    """Return what each breach's fingerprint is of: two are the same just where their fingerprints are."""
    return [breach.identity for breach in breaches]


def excused(breach: Breach, variances: Iterable[Approved], horizon: int) -> bool:
    """Return whether a variance names a breach and runs for as long as it lasts."""
    for variance in variances:
        if breach.identity not in variance.identities or variance.since > breach.since:
            continue
        last = horizon + 1 if breach.until is None else max(breach.until, breach.since + 1)
        if variance.until is None or variance.until >= last:
            return True
    return False


def apart(breach: Breach, variances: Iterable[Approved], horizon: int) -> bool:
    """Return whether a review of the past shows a breach apart.

    What stands at the horizon is so while a variance runs there; what is over if one ran as long as it stood.
    """
    first = horizon if breach.until is None else breach.time
    last = horizon if breach.until is None else max(first, breach.until - 1)
    for variance in variances:
        runs = variance.since <= first and (variance.until is None or variance.until > last)
        if runs and breach.identity in variance.identities:
            return True
    return False


@dataclass(frozen=True)
class Ending:
    """What a plan, or one proposed action, comes to.

    `impossible` steps; `new` breaches; what was `open_before` and is `open_after`; what the plan `leaves_open` by name
    (its identities); `clocks` that run at its end, of which `met_later` are met by the plan's own later outings or told
    so, and rules that `may_outlive`; findings `at` an action of the past that nobody `acknowledged`.
    """

    impossible: int = 0
    new: tuple[Breach, ...] = ()
    open_before: tuple[Breach, ...] = ()
    open_after: tuple[Breach, ...] = ()
    leaves_open: Collection[tuple[Any, ...]] = ()
    clocks: tuple[Clock, ...] = ()
    may_outlive: Collection[str] = ()
    met_later: Collection[Clock] = ()
    unacknowledged: int = 0
    variances: tuple[Approved, ...] = ()
    horizon: int = 0
    no_verdict: int = 0
    judged: int = 1
    cut_short: bool = False
    single: bool = False


def verdict(ending: Ending) -> str:
    """Return `clear`, `not clear` or `undecided`."""
    if ending.impossible or ending.unacknowledged:
        return "not clear"
    if any(not excused(breach, ending.variances, ending.horizon) for breach in ending.new):
        return "not clear"
    before = {breach.identity for breach in ending.open_before}
    still = [breach for breach in ending.open_after if breach.identity in before]
    named = [breach for breach in still if breach.identity not in ending.leaves_open]
    if any(not excused(breach, ending.variances, ending.horizon) for breach in named):
        return "not clear"
    running = [clock for clock in ending.clocks if clock.deadline is not None]
    running = [
        clock for clock in running if clock.rule not in ending.may_outlive and clock not in ending.met_later
    ]
    if running and not ending.single:
        return "not clear"
    return "undecided" if ending.no_verdict or not ending.judged or ending.cut_short else "clear"


# --- presence ---------------------------------------------------------------------------------------------------------


def absences(hardware: Table, events: list[Event], *, plan: bool = False) -> list[Absence]:
    """Return who wasn't there, of those events that tell their doer. Nothing is judged in a plant without sites.

    In a plan the step is impossible and nothing of it comes to be; in a record the doer's place follows.
    """
    plant = Plant(hardware)
    state = initial(plant)
    found: list[Absence] = []
    for number, event in enumerate(events):
        away = absent(plant, state, event, number)
        if away is not None:
            found.append(away)
        if away is None or not plan:
            state = after(plant, state, event, number + 1)
    return found
