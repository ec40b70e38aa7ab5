"""Stop points as text: one table that reads at a glance; and whether the work may stop now."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import TYPE_CHECKING

from cfgtrack.analysis.leaving import Lack, Left, May
from cfgtrack.model.time import format_instant
from cfgtrack.show.defects import standing_line
from cfgtrack.show.findings import caution, past_line, severity_word
from cfgtrack.show.tables import (
    WIDTH,
    columns,
    count,
    deadline_text,
    heading,
    indented,
    labelled,
    sections,
    table,
    titled,
)

if TYPE_CHECKING:
    from cfgtrack.analysis.failures import Failure
    from cfgtrack.analysis.stops import StopPoint, WayOut
    from cfgtrack.answers.stops import Failures, Leave, Stops

_MOST_RULES = 3


def stops_text(
    found: Stops, *, step: str | None = None, whole: bool = False, ways: bool = False, colour: bool = False
) -> str:
    """Return the stop points of a sequence: those in a row with one verdict as one line, unless `whole`.

    What is so after a `step` that is named comes first.
    """
    report = found.stops
    points = report.points
    several = [[point] for point in points] if whole else _alike(points)
    asked = next((point for point in points if point.step == step), None) if step is not None else None
    return sections(
        *(() if asked is None else _at_step(asked, found, colour=colour)),
        "\n".join(_head(found, colour=colour)),
        *_tables(several),
        "\n\n".join(_ways(points)) if ways else "",
        _legend(points),
        caution(),
    )


def _at_step(point: StopPoint, found: Stops, *, colour: bool) -> Iterator[str]:
    """Yield what is so after one step: may the work stop, until when, why not, the way in and out."""
    lines = [heading(f"After step {point.step}: {_verdict(point)}", found.moment, colour=colour)]
    lines.append(
        labelled("when:", f"{format_instant(point.time)}, as planned, in {point.outing or 'no outing'}")
    )
    for label, way in (("way in:", point.way_in), ("way out:", point.way_out)):
        if way is not None:
            lines.append(labelled(label, way_line(way)))
    yield "\n".join(lines)
    if point.verdict.open or point.verdict.runs_out is not None:
        yield titled("Open or running out with everybody in", lacks_text(point.verdict))
    for what, way in (("Way in", point.way_in), ("Way out", point.way_out)):
        if way is not None and way.steps:
            yield titled(what, way_text(way))
    if _is_lost(point):
        yield indented(_lost(), by=0)


_HEADS = ("after step", "at", "may stop", "rules, or what runs out", "in: steps / min", "out: steps / min")


def _tables(several: Sequence[Sequence[StopPoint]]) -> Iterator[str]:
    """Yield a table for each outing, under its name and day."""
    for (outing, day), groups in groupby(several, lambda group: (group[0].outing, _day(group[0].time))):
        rows = [_row(group) for group in groups]
        yield titled(f"{outing or 'Before it begins'}, {day}", table(_HEADS, rows))


def _day(time: int) -> str:
    return format_instant(time)[:10]


def _hour(time: int, day: str) -> str:
    """Return a time of a day in its hour and minute; of another day in full."""
    text = deadline_text(time)
    return f"{text[11:16]}Z" if text[:10] == day else f"{text[5:10]} {text[11:16]}Z"


def _head(found: Stops, *, colour: bool) -> Iterator[str]:
    report = found.stops
    told = {may: sum(point.may is may for point in report.points) for may in May}
    said = f"May stop at {told[May.YES]} of {len(report.points)} stop points"
    if told[May.UNTIL]:
        said += f", at {told[May.UNTIL]} more until a time"
    nowhere = sum(_is_lost(point) for point in report.points)
    if nowhere:
        said += f"; NO WAY OUT FOUND from {nowhere}"
    yield heading(said, found.moment, colour=colour)
    if found.defects:
        yield standing_line(found.defects)
    if found.past:
        yield past_line(len(found.past))
    if report.title:
        yield labelled("of:", f'"{report.title}", {count(len(report.points) - 1, "step")}')
    if report.impossible:
        yield labelled("left out:", f"what can't be done: {', '.join(report.impossible)}")


def _is_lost(point: StopPoint) -> bool:
    return point.may is May.NO and point.way_out is None


def _alike(points: Sequence[StopPoint]) -> list[list[StopPoint]]:
    """Return stop points in groups: those in a row in one outing with one verdict, for the same worst rule."""

    def what(point: StopPoint) -> object:
        return point.outing, point.may, _is_lost(point), point.verdict.sets[:1]

    return [list(group) for _, group in groupby(points, what)]


def _row(group: Sequence[StopPoint]) -> list[str]:
    first, last = group[0], group[-1]
    names = [point.step or "(before)" for point in (first, last)]
    between = " .. " if columns() >= WIDTH else "\nto "  # never folded at a place that looks like two steps
    steps = names[0] if first is last else f"{names[0]}{between}{names[1]} ({len(group)})"
    return [
        steps,
        _hour(first.time, _day(first.time)),
        _may(group),
        _why(group),
        _spread([point.way_in for point in group]),
        "" if first.may is not May.NO else _spread([point.way_out for point in group]) or "NONE FOUND",
    ]


def _may(group: Sequence[StopPoint]) -> str:
    may = group[0].may
    until = [point.until for point in group if point.until is not None]
    if may is May.UNTIL:
        return f"until {_hour(min(until), _day(group[0].time))}"
    return may.value if may is May.YES else "NO"


def _why(group: Sequence[StopPoint]) -> str:
    """Return the rules that set the verdict, the worst first; of a clock what it is of and when it runs out."""
    if group[0].may is May.YES:
        return ""
    only = group[0].verdict.runs_out
    if only is not None and not group[0].verdict.open:
        times = sorted(p.verdict.runs_out.time for p in group if p.verdict.runs_out is not None)
        said = f"{only.rule} of {', '.join(only.subjects)}" if only.subjects else only.rule
        return (
            said if group[0].may is May.UNTIL else f"{said} runs out {_hour(times[0], _day(group[0].time))}"
        )
    names = list(dict.fromkeys(rule for point in group for rule in point.verdict.sets))
    more = f" and {len(names) - _MOST_RULES} more" if len(names) > _MOST_RULES else ""
    return ", ".join(names[:_MOST_RULES]) + more


def _spread(ways: Sequence[WayOut | None]) -> str:
    """Return how many steps and minutes ways have, from the least to the most."""
    known = [way for way in ways if way is not None]
    if not known:
        return ""
    steps = _span([len(way.steps) for way in known])
    if steps == "0":
        return "-"
    minutes = _span([_minutes(way) for way in known])
    over = " TOO LONG" if any(way.over for way in known) else ""
    late = " TOO LATE" if any(way.late for way in known) else ""
    return f"{steps} / {minutes} min{over}{late}"


def _span(numbers: Sequence[int]) -> str:
    least, most = min(numbers), max(numbers)
    return str(least) if least == most else f"{least}-{most}"


def _minutes(way: WayOut) -> int:
    return -int(-way.minutes // 1)


def _legend(points: Sequence[StopPoint]) -> str:
    ways = [way for p in points for way in (p.way_in, p.way_out) if way is not None and way.steps]
    sure = all(way.proved for way in ways)
    lines = [
        "way in: all come in with what they carry, and touch nothing else; the verdict is of what is left then."
    ]
    if any(point.way_out is not None for point in points):
        lines.append(
            "way out: from there on to where all may be left, along the plan or back through what was done."
        )
    if ways and not sure:
        lines.append(
            "Steps and minutes are at most: a way was tried to its end; that none is shorter isn't proved."
        )
    return "\n".join(indented(line, by=0) for line in lines)


# --- ways -------------------------------------------------------------------------------------------------------------


def _ways(points: Sequence[StopPoint]) -> Iterator[str]:
    """Yield the ways in and out, each under the stop point that it begins at; one that is as before isn't repeated."""
    before: tuple[str, str] | None = None
    for point in points:
        texts = tuple(
            titled(f"{what} after {point.step or 'nothing'}", way_text(way))
            if way is not None and way.steps
            else ""
            for what, way in (("Way in", point.way_in), ("Way out", point.way_out))
        )
        said = sections(*texts)
        plain = tuple("" if way is None else way_text(way) for way in (point.way_in, point.way_out))
        if said and plain != before:
            yield said
        before = (plain[0], plain[1])


def way_text(way: WayOut) -> str:
    """Return the steps of a way, a line each."""
    rows = [
        [str(number), step.action, step.by or "", f"{step.minutes:g} min", _whence(step.whence, step.step)]
        for number, step in enumerate(way.steps, 1)
    ]
    late = list(_late(way.late))
    return sections(
        table(["", "do", "by", "takes", "from"], rows),
        titled("Runs out on the way, as if nothing were done", table(["rule", "what", "when"], late))
        if late
        else "",
    )


def _late(lacks: Sequence[Lack]) -> Iterator[list[str]]:
    """Yield a row for the clocks of each rule: the first to run out, and of what else."""
    of_rule: dict[str, list[Lack]] = {}
    for one in sorted(lacks, key=lambda one: one.time):
        of_rule.setdefault(one.rule, []).append(one)
    for rule, (first, *others) in of_rule.items():
        names = [*dict.fromkeys(name for one in others for name in one.subjects)]
        more = f"; then of {', '.join(names[:_MOST_RULES])}" if names else ""
        more += f" and {len(names) - _MOST_RULES} more" if len(names) > _MOST_RULES else ""
        yield [rule, f"{first.headline}{more}", f"from {deadline_text(first.time)}"]


def _whence(whence: str, step: str | None) -> str:
    if whence == "ahead":
        return f"step {step}"
    if whence == "back":
        return f"takes back step {step}" if step else "takes back what was done"
    return "near by"


def way_line(way: WayOut) -> str:
    """Return how long a way is, in words."""
    if not way.steps:
        return "nothing need be done"
    sure = "the shortest" if way.proved else "at most"
    over = f", {-int(-way.over_minutes // 1)} min more than the outing's budget" if way.over else ""
    late = f", TOO LATE for {', '.join(dict.fromkeys(one.rule for one in way.late))}" if way.late else ""
    return f"{sure} {count(len(way.steps), 'step')}, {_minutes(way)} min{over}{late}"


# --- now --------------------------------------------------------------------------------------------------------------


def leave_text(found: Leave, *, colour: bool = False) -> str:
    """Return whether the work may stop now: the verdict first, then what is open, then the ways."""
    point = found.leave
    stands = point.as_it_stands
    lines = [heading(_verdict(point), found.moment, colour=colour)]
    if found.defects:
        lines.append(standing_line(found.defects))
    if found.past:
        lines.append(past_line(len(found.past)))
    if point.outing is not None:
        lines.append(labelled("outing:", point.outing))
    if stands.back is not None:
        lines.append(labelled("back:", f"{format_instant(stands.back)}, as planned"))
    ways = []
    for what, way in (("Way in", point.way_in), ("Way out", point.way_out)):
        if way is not None and way.steps:
            ways.append(titled(f"{what}: {way_line(way)}", way_text(way)))
    return sections(
        "\n".join(lines),
        titled("Open as it stands", lacks_text(stands)),
        titled("Open with everybody in", lacks_text(point.verdict))
        if point.way_in is not None and point.way_in.steps
        else "",
        *ways,
        "" if point.may is not May.NO or point.way_out is not None else indented(_lost(), by=0),
        caution(),
    )


def _lost() -> str:
    return "NO WAY OUT was found to where the work may stop, as far as was searched."


def _verdict(point: StopPoint) -> str:
    left, stands = point.verdict, point.as_it_stands
    after = "" if point.way_in is None or not point.way_in.steps else ", once everybody is in"
    if left.may is May.YES:
        said = f"Yes, the work may stop{after}"
    elif left.may is May.UNTIL:
        assert left.until is not None
        runs = left.runs_out
        rule = "" if runs is None else f": {runs.rule}"
        said = f"Yes, the work may stop{after}, until {deadline_text(left.until)}{rule}"
    else:
        said = f"No, the work may not stop: {', '.join(left.sets)}"
    if left.may is not May.NO and stands.may is May.NO:
        said += f"; not as it stands: {', '.join(stands.sets)}"
    return said


def lacks_text(left: Left) -> str:
    """Return what is broken if all is left, and what time breaks first, a line each."""
    lacks: list[Lack] = [*left.open]
    rows = [[severity_word(one.severity), one.rule, one.headline, "if left"] for one in lacks]
    if left.runs_out is not None:
        one = left.runs_out
        rows.append([severity_word(one.severity), one.rule, one.headline, f"from {deadline_text(one.time)}"])
    return table(["severity", "rule", "what", "when"], rows)


# --- failures ---------------------------------------------------------------------------------------------------------

_MOST_DEAD = 3


def failures_text(
    found: Failures, *, whole: bool = False, in_full: bool = False, colour: bool = False
) -> str:
    """Return what becomes of it when steps fail: those without a way out first, the others if they are `whole`."""
    report = found.failures
    lost = [one for one in report.failures if one.way_out is None]
    ways = [one for one in report.failures if one.way_out is not None]
    until = [one for one in ways if one.must_be_back]
    unsafe = [one for one in ways if not one.safe]
    rest = [one for one in ways if one.safe and one not in until]
    told = [f"NO WAY OUT FOUND of {len(lost)}"] if lost else []
    told += [f"SOMEBODY MUST BE BACK IN TIME of {len(until)}"] if until else []
    said = ", ".join(told or ["A way out was found of all"])
    said += f", of {count(len(report.failures), 'failure')}"
    head = heading(
        said if report.failures else "Nothing was judged: no step can fail", found.moment, colour=colour
    )
    of = f'"{report.title}", ' if report.title else ""
    lines = [head, labelled("of:", f"{of}{count(report.steps, 'step')}, {report.failing} ways of failing")]
    if in_full:
        return sections("\n".join(lines), *map(_in_full, report.failures), caution())
    shown = [
        ("No way out, as far as was searched", lost),
        ("Somebody must be back, and no outing is planned", until),
    ]
    shown += [("Not safe, with a way out", unsafe)]
    shown += [("With a way out", rest)] if whole else []
    return sections(
        "\n".join(lines),
        *(titled(title, _failure_rows(some)) for title, some in shown),
        ""
        if whole or not rest
        else indented(f"{len(rest)} more leave all safe, with a way out: --all", by=0),
        caution(),
    )


def _failure_rows(failures: Sequence[Failure]) -> str:
    rows = [
        [
            one.step,
            f"{one.action}: {', '.join(way.title for way in one.fails)}",
            _dead_text(one),
            _safe(one),
            "NONE FOUND" if one.way_out is None else _BACK if one.must_be_back else _spread([one.way_out]),
        ]
        for one in failures
    ]
    return table(["step", "fails", "dies of it", "safe", "way out"], rows)


def _dead_text(failure: Failure) -> str:
    names = [one.step for one in failure.dead]
    more = f", {len(names) - _MOST_DEAD} more" if len(names) > _MOST_DEAD else ""
    return (", ".join(names[:_MOST_DEAD]) + more) or "nothing"


def _safe(failure: Failure) -> str:
    if not failure.safe:
        return f"NO: {', '.join(failure.left.sets)}"
    until, runs = failure.left.until, failure.left.runs_out
    return "yes" if until is None or runs is None else f"until {deadline_text(until)}: {runs.rule}"


_BACK = "BACK BY THEN"


def _way_out(failure: Failure) -> str:
    if failure.way_out is None:
        return _lost()
    if not failure.must_be_back:
        return way_line(failure.way_out)
    runs = failure.left.runs_out
    rule = "" if runs is None else f" before {runs.rule} runs out"
    return f"none to where nothing runs out: SOMEBODY MUST BE BACK{rule}, and no outing is planned"


def _in_full(failure: Failure) -> str:
    """Return one failure with all that dies of it and why, and the steps of the way out."""
    ways = "; ".join(way.title for way in failure.fails)
    dead = [[one.step, one.dies.value, one.why] for one in failure.dead]
    out = failure.way_out
    return sections(
        "\n".join(
            (
                f"{failure.step}: {failure.action}" + (f" by {failure.by}" if failure.by else ""),
                labelled("fails:", ways),
                labelled("when:", format_instant(failure.time)),
                labelled("safe:", _safe(failure)),
                labelled("way out:", _way_out(failure)),
            )
        ),
        titled(f"Dies of it: {count(len(dead), 'step')}", table(["step", "", "why"], dead)) if dead else "",
        titled("Way out", way_text(out)) if out is not None and out.steps else "",
    )
