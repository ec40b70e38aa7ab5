"""How long a sequence takes, as text: what is least sure first, then outings, clocks and, if asked for, every step."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from math import ceil, floor
from typing import TYPE_CHECKING

from cfgtrack.analysis.trial import BUDGET, OVERLAP
from cfgtrack.model.time import SECOND
from cfgtrack.show.tables import (
    columns,
    count,
    heading,
    indented,
    labelled,
    sections,
    span_text,
    table,
    titled,
)

if TYPE_CHECKING:
    from cfgtrack.analysis.duration_model import Chance
    from cfgtrack.analysis.how_long import HowLong, Limit, OutingTime, StepTime
    from cfgtrack.answers.durations import Durations

TOLD = 6
"""How many clocks are told at first, the least sure ones."""


def durations_text(found: Durations, *, by_step: bool = False, colour: bool = False) -> str:
    """Return how long a sequence takes; `by_step` lists every clock and every step."""
    told = found.durations
    clocks = [limit for limit in told.limits if limit.rule != BUDGET]
    shown = clocks if by_step else clocks[:TOLD]
    more = len(clocks) - len(shown)
    return sections(
        "\n".join(
            [heading(verdict_text(told), found.moment, colour=colour), labelled("drawn:", _drawn(told))]
        ),
        titled("Outings, in hours and minutes from the beginning of each", _outings(told)),
        titled(
            "Clocks and what is left of them, the least sure first"
            + (f" (and {more} more: --steps)" if more else ""),
            _clocks(shown, by_step=by_step),
        ),
        "\n".join(_besides(told)),
        titled("Outings in other words", _in_other_words(told)) if by_step else "",
        titled("Steps", _steps(told.steps)) if by_step else "",
    )


# --- the first line -----------------------------------------------------------------------------------------------


def verdict_text(told: HowLong) -> str:
    """Return in a line what is least sure, and how sure that is."""
    if not told.samples:
        return "Cut short before anything was drawn"
    cut = "" if told.is_whole else f"; CUT SHORT after {count(told.samples, 'sample')}"
    if not told.limits:
        return f"No budget and no clock limits these steps{cut}"
    worst = told.limits[0]
    if worst.in_time.probability == 1:
        closest = min(told.limits, key=lambda limit: limit.worst_seconds)
        if closest.worst_seconds >= 0 and not told.untried:
            at_worst = f"{_left(closest.worst_seconds)} left of {_name(closest)}"
            return f"All budgets and clocks hold, at worst with {at_worst}{cut}"
        least = percent_text(min(limit.in_time.low for limit in told.limits), up=False)
        return f"All budgets and clocks hold in every sample (95 %: at least {least}){cut}"
    return f"{limit_text(worst)} in {chance_text(worst.in_time)}{cut}"


def limit_text(limit: Limit) -> str:
    """Return in words that a limit is kept."""
    if limit.rule == BUDGET:
        return f"Outing {limit.subject} ends within its budget"
    if limit.rule == OVERLAP:
        return f"Of outings {limit.subject} the first has ended when the second starts"
    return f"{limit.rule} of {limit.subject} is kept" if limit.subject else f"{limit.rule} is kept"


def _name(limit: Limit) -> str:
    if limit.rule in (BUDGET, OVERLAP):
        return f"the {limit.rule} of {limit.subject}"
    return f"{limit.rule} of {limit.subject}" if limit.subject else limit.rule


def _short(chance: Chance) -> str:
    """Return a sampled probability with its interval for a table that says which."""
    low, high = (
        percent_text(one, up=up).removesuffix(" %") for one, up in ((chance.low, False), (chance.high, True))
    )
    said = percent_text(chance.probability)
    if chance.probability in (0, 1):
        return f"{said} (above {low})" if chance.probability else f"{said} (below {high})"
    return f"{said} ({low}-{high})"


def chance_text(chance: Chance) -> str:
    """Return a sampled probability with its 95 % interval."""
    low, high = percent_text(chance.low, up=False), percent_text(chance.high, up=True)
    return f"{percent_text(chance.probability)} (95 %: {low.removesuffix(' %')} to {high.removesuffix(' %')})"


def percent_text(share: float, *, up: bool | None = None) -> str:
    """Return a share in percent, with as many decimals as it takes to tell it from none and all.

    >>> percent_text(0.9731), percent_text(1.0), percent_text(0.99962), percent_text(0.99962, up=False)
    ('97.3 %', '100 %', '99.96 %', '99.9 %')
    """
    if share in (0.0, 1.0):
        return f"{share * 100:.0f} %"
    for decimals in range(1, 6):
        unit = 10.0**-decimals
        scaled = share * 100 / unit
        rounded = round(scaled) if up is None else int(scaled) + (1 if up and scaled > int(scaled) else 0)
        if 0 < rounded * unit < 100 or decimals == 5:
            return f"{rounded * unit:.{decimals}f} %"
    raise AssertionError


def _drawn(told: HowLong) -> str:
    return ", ".join(
        part
        for part in (
            told.title and f'"{told.title}"',
            count(len(told.steps), "step"),
            f"{told.samples:,} samples, {told.shape}, seed {told.seed}",
            f"{count(told.judged, 'order')} judged",
        )
        if part
    )


# --- tables -------------------------------------------------------------------------------------------------------


def _span(seconds: float, *, up: bool = False) -> str:
    """Return seconds in whole minutes where there are ten and more: nobody plans finer."""
    span = round(seconds * SECOND)
    unit = 60 * SECOND if abs(span) >= 600 * SECOND else SECOND
    return span_text((-(-span // unit) if up else span // unit) * unit)


def _clock(seconds: float | None, *, up: bool = True) -> str:
    """Return seconds as hours and minutes.

    >>> _clock(5_000.0), _clock(5_000.0, up=False)
    ('1:24', '1:23')
    """
    if seconds is None:
        return ""
    minutes = ceil(seconds / 60) if up else floor(seconds / 60)
    return f"{minutes // 60}:{minutes % 60:02}"


def _outings(told: HowLong) -> str:
    sure = {limit.subject: limit for limit in told.limits if limit.rule == BUDGET}
    rows = [_outing(one, sure.get(one.outing)) for one in told.outings]
    # A table leaves out what nothing is said in: no outing that has begun, no time used.
    heads = [
        "outing",
        "budget",
        "used",
        "likely",
        "mean",
        "9 of 10",
        "worst",
        "in budget (95 %)",
        "driven by",
    ]
    return table(heads, rows)


def _in_other_words(told: HowLong) -> str:
    """Return what PERT's formulas say of the longest way alone, beside the samples, which see the other tracks too."""
    sure = {limit.subject: limit.in_time for limit in told.limits if limit.rule == BUDGET}
    rows = [
        [
            one.outing,
            f"{_clock(one.expected)} ({_span(one.deviation, up=True)})",
            "" if one.pert_within is None else percent_text(one.pert_within),
            f"{_clock(one.mean)}, {_clock(one.p50)}",
            f"{percent_text(sure[one.outing].standard_error)}" if one.outing in sure else "",
        ]
        for one in told.outings
    ]
    heads = [
        "outing",
        "PERT: expected (deviation)",
        "PERT: in budget",
        "sampled: mean, median",
        "standard error",
    ]
    return table(heads, rows)


def _outing(one: OutingTime, limit: Limit | None) -> list[str]:
    worst = one.high if limit is None else limit.limit_seconds - limit.worst_seconds
    return [
        one.outing,
        _clock(one.budget, up=False),
        _clock(one.used) if one.used else "",
        _clock(one.likely),
        _clock(one.mean),
        f"{_clock(one.p05)}-{_clock(one.p95)}",
        _clock(worst) + (" EXCEEDED" if limit is not None and limit.worst_seconds < 0 else ""),
        "" if limit is None else _short(limit.in_time),
        "" if limit is None else _drivers(limit, 1),
    ]


def _clocks(limits: Iterable[Limit], *, by_step: bool) -> str:
    rows = [
        [
            _short(limit.in_time),
            _left(limit.worst_seconds),
            "" if limit.likely_seconds is None or not by_step else _left(limit.likely_seconds),
            _name(limit),
            _way(limit),
            _drivers(limit, 1),
        ]
        for limit in limits
    ]
    return table(["in time", "at worst", "likely", "clock", "steps", "driven by"], rows)


def _left(seconds: float) -> str:
    return _span(seconds) if seconds >= 0 else f"OUT by {_span(-seconds, up=True)}"


def _way(limit: Limit) -> str:
    return f"{limit.starts or 'before'} to {limit.met or 'the end'}"


def _drivers(limit: Limit, most: int) -> str:
    return ", ".join(f"{one.step} {one.correlation:+.2f}" for one in limit.drivers[:most])


def _besides(told: HowLong) -> Iterator[str]:
    """Yield what else is to be known of it."""
    if told.doer_waits:
        said = ", ".join(f"{one.step} after {one.waits_for} ({one.doer})" for one in told.doer_waits)
        yield labelled("one at a time:", said, by=0, to=16)
    for one in told.breaking[:3]:
        where = f" at step {one.step}" if one.step else ""
        said = f"{one.headline} [{one.rule}]{where}, in {one.orders} of {told.judged} orders judged"
        yield labelled("orders break:", said, by=0, to=16)
    if told.unjudged:
        said = f"the order of up to {told.unjudged:,} samples: other clocks may run there, and intervals are wider"
        yield labelled("not judged:", said, by=0, to=16)
    if told.untried:
        yield labelled(
            "not tried:", f"{count(told.untried, 'mix', 'mixes')}: worst may be worse", by=0, to=16
        )
    if told.unsampled:
        said = f"{', '.join(told.unsampled)}: no step starts or ends it"
        yield labelled("not sampled:", said, by=0, to=16)
    if told.assumed:
        yield labelled("assumed:", f"the duration of {', '.join(told.assumed)}", by=0, to=16)


def _steps(steps: Sequence[StepTime]) -> str:
    rows = [
        [
            one.step,
            one.by,
            f"{_clock(one.start)} to {_clock(one.end)}",
            "critical" if one.is_critical else _span(one.total_float),
            "" if one.is_critical else _span(one.free_float),
            percent_text(one.criticality) if one.criticality else "",
        ]
        for one in steps
    ]
    text = table(["step", "by", "from the outing's start", "float", "free", "critical in"], rows)
    note = "Float: so much later may it end without making its outing later; free: without moving any other step."
    return f"{text}\n{indented(note, by=0, width=columns())}" if rows else ""
