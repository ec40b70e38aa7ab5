"""A timeline against a slow plain reading of the check: steps, clocks, findings, holds; and that it can be read."""

import csv
import re
from dataclasses import replace
from datetime import datetime
from functools import cache
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from cfgtrack.analysis.timeline import ClockEnd
from cfgtrack.answers.asking import Asking
from cfgtrack.answers.check import check
from cfgtrack.answers.timeline import Timeline, recorded_timeline, timeline
from cfgtrack.model.time import MINUTE, format_instant, parse_instant
from cfgtrack.model.trouble import NoAnswer
from cfgtrack.show.drawing.ink import Page, Rect
from cfgtrack.show.drawing.leaves import MARGIN, written
from cfgtrack.show.drawing.timeline import timeline_pages
from tests.demo.as_run import DEMO, FAILED, FAULTY, NIGHTS, PLAN, recorded_outings
from tests.show.drawing.shown import all_ink, groups, meeting, outside, texts, words

PLANS = [PLAN, FAULTY]


@cache
def over_time(asking: Asking, plan: Path, outing: str | None = None) -> Timeline:
    """Return a plan over time; the same plan is told once for all that is asked of it."""
    return timeline(asking, plan, outing=outing)


def drawn(found: Timeline) -> Page:
    """Return a timeline on one page."""
    [page] = timeline_pages(found)
    return page


@pytest.mark.parametrize("plan", PLANS, ids=["good", "faulty"])
def test_every_step_stands_once_in_its_lane_at_its_times(asking, plan):
    """Each step of the check has one bar, of its track, from its start to its end, and none has another."""
    page = drawn(over_time(asking, plan))
    shown = [
        (g.key, *(dict(g.data)[name] for name in ("outing", "lane", "start", "end")))
        for g in groups(page, "step")
    ]
    steps = check(asking, plan).check.steps
    planned = [(s.step, s.outing, s.track, format_instant(s.start), format_instant(s.end)) for s in steps]
    assert sorted(shown) == sorted(planned)


@pytest.mark.parametrize("outing", [NIGHTS[0], NIGHTS[1], NIGHTS[3]])
def test_a_bar_stands_where_the_axis_says(asking, outing):
    """Between two written times all is in proportion: each bar begins and ends where its times fall."""
    page = drawn(over_time(asking, PLAN, outing=outing))
    ticks = [(t.x, t.text) for t in texts(page) if t.role == "tick"]
    bars = groups(page, "step")
    day = dict(bars[0].data)["start"][:10]
    at = [(x, parse_instant(f"{day}T{text}:00Z")) for x, text in ticks]
    (x0, t0), (x1, t1) = at[0], at[-1]
    assert all(b[0] > a[0] and b[1] > a[1] for a, b in pairwise(at))
    for group in bars:
        [rect] = [one for one in group.ink if isinstance(one, Rect)]
        start, end = (parse_instant(dict(group.data)[name]) for name in ("start", "end"))
        assert rect.x == pytest.approx(x0 + (start - t0) / (t1 - t0) * (x1 - x0), abs=0.1)
        assert rect.x + rect.width == pytest.approx(x0 + (end - t0) / (t1 - t0) * (x1 - x0), abs=0.1)


def test_local_time_stands_over_utc(asking):
    """In a plant of one zone each written time has the local one over it, as Python's own zones tell it."""
    plain = over_time(asking, PLAN, outing=NIGHTS[1])
    for name in ("Europe/Oslo", "Asia/Kathmandu"):
        page = drawn(replace(plain, moment=replace(plain.moment, zone=name)))
        utc, local = ({t.x: t.text for t in texts(page) if t.role == role} for role in ("tick", "local tick"))
        day = dict(groups(page, "step")[0].data)["start"][:10]
        told = {
            x: datetime.fromisoformat(f"{day}T{text}:00+00:00").astimezone(ZoneInfo(name))
            for x, text in utc.items()
        }
        assert local == {x: f"{time:%H:%M}" for x, time in told.items()}
        [offset] = {time.isoformat()[-6:] for time in told.values()}
        assert f"local {offset}" in words(page)
    assert not [
        t for t in texts(drawn(replace(plain, moment=replace(plain.moment, zone="")))) if "local" in t.role
    ]


@pytest.mark.parametrize("plan", PLANS, ids=["good", "faulty"])
def test_every_clock_has_its_start_and_limit(asking, plan):
    """Each clock that a step starts is drawn from there to its limit, and ends with the step that the check says."""
    page = drawn(over_time(asking, plan))
    shown: dict[tuple[str, str, str, str], set[str]] = {}
    for group in groups(page, "clock"):
        data = dict(group.data)
        for subject in data["subjects"].split() or [""]:
            name = (data["rule"], subject, data["start"], data["deadline"])
            shown.setdefault(name, set()).add(data["end"] if data["how"] == "met" else data["how"])
    report = check(asking, plan).check
    started, met = {}, {}
    for step in report.steps:
        for clock in step.started:
            limit = "" if clock.deadline is None else format_instant(clock.deadline)
            started[clock.rule, clock.subject, format_instant(clock.started), limit] = step
        for clock in step.stopped:
            limit = "" if clock.deadline is None else format_instant(clock.deadline)
            met[clock.rule, clock.subject, format_instant(clock.started), limit] = format_instant(step.end)
    assert started
    assert set(started) <= set(shown)
    assert {name: {end} for name, end in met.items()} == {n: ends for n, ends in shown.items() if n in met}
    assert all(ends <= {"ran out", "still running"} for name, ends in shown.items() if name not in met)


@pytest.mark.parametrize("plan", PLANS, ids=["good", "faulty"])
def test_every_finding_is_marked_once_and_told_once(asking, plan):
    """Each number stands at one mark, at the moment that the check says, and at one text of the list."""
    found = over_time(asking, plan)
    page = drawn(found)
    marks = [
        (number, dict(g.data)["time"])
        for g in groups(page, "finding")
        for number in dict(g.data)["numbers"].split()
    ]
    report = check(asking, plan).check
    assert sorted(time for _, time in marks) == sorted(format_instant(f.time) for f in report.new)
    assert sorted(int(number) for number, _ in marks) == list(range(1, len(report.new) + 1))
    told = {
        g.key: " ".join(t.text for t in all_ink(g.ink) if hasattr(t, "text"))
        for g in groups(page, "finding-text")
    }
    assert sorted(told) == sorted(number for number, _ in marks)
    for finding in report.new:
        assert any(finding.headline.split(":")[0] in text and finding.rule in text for text in told.values())


def test_what_is_held_by_nothing_shouts_for_as_long_as_the_rule_is_broken(asking):
    """The faulty plan lets a unit go before the next hold: the gap is just as long as the check's finding lasts."""
    [finding] = [f for f in check(asking, FAULTY).check.new if f.rule == "held"]
    assert finding.until is not None
    page = drawn(over_time(asking, FAULTY))
    gaps = [dict(g.data) for g in groups(page, "hold") if dict(g.data)["held"] == "no"]
    assert [(g["unit"], g["start"], g["end"]) for g in gaps] == [
        (FAILED, format_instant(finding.time), format_instant(finding.until))
    ]
    assert "HELD BY NOTHING for 2 min" in words(page)
    assert "HELD BY NOTHING" not in words(drawn(over_time(asking, PLAN)))


@pytest.mark.parametrize("plan", PLANS, ids=["good", "faulty"])
def test_a_step_that_is_held_up_has_an_arrow_and_no_other_has(asking, plan):
    """Where a step starts just as another ends that it waits for, and its own track was free before: one arrow."""
    found = over_time(asking, plan)
    bars = {bar.step: bar for bar in found.bars}
    expected = []
    for wait in found.waits:
        one, other = bars[wait.waits_for], bars[wait.step]
        own = [
            b.end
            for b in bars.values()
            if (b.outing, b.lane) == (other.outing, other.lane) and b.end <= other.start
        ]
        if one.end == other.start and max(own, default=0) < other.start:
            expected.append(f"{wait.waits_for} {wait.step}")
    assert sorted(g.key for g in groups(drawn(found), "wait")) == sorted(expected)
    assert expected


@pytest.mark.parametrize("plan", PLANS, ids=["good", "faulty"])
@pytest.mark.parametrize("width", [1120, 842])
def test_no_text_runs_over_another_or_off_the_page(asking, plan, width):
    """Whatever is written stands free, on a screen's width and on a sheet of A4 across."""
    for page in timeline_pages(over_time(asking, plan), width=width):
        assert meeting(page) == []
        assert outside(page) == []


def test_what_is_told_of_a_clock_that_ran_out_stays_beside_the_names(asking):
    """However much it is, it is cut to what its bold letters have room for, from where the axis begins."""
    found = over_time(asking, PLAN, outing=NIGHTS[1])
    clock = replace(found.clocks[0], rule="runs-out-" * 40, end=ClockEnd.RAN_OUT)
    page = drawn(replace(found, clocks=(clock,)))
    [told] = [text for text in texts(page) if text.role == "clock"]
    assert told.bold
    assert told.text.endswith("…")
    first = min(one.x for g in groups(page, "step") for one in g.ink if isinstance(one, Rect))
    assert told.x >= first - 0.1
    assert told.x + told.width <= page.width - MARGIN + 0.1


def test_pages_of_paper_hold_all_that_one_page_holds(asking):
    """On several sheets every step, clock and finding stands as often as on the one, and no sheet is overfull."""
    found = over_time(asking, FAULTY)
    whole = drawn(found)
    sheets = timeline_pages(found, height=842)
    assert len(sheets) > 1
    for what in ("step", "clock", "finding", "finding-text", "step-text"):
        assert sum(len(groups(sheet, what)) for sheet in sheets) == len(groups(whole, what))
    assert {sheet.height for sheet in sheets} == {842}


def test_the_same_plan_gives_the_same_ink(asking):
    """Twice asked, twice the same."""
    assert drawn(timeline(asking, FAULTY)) == drawn(timeline(asking, FAULTY))


def test_an_outing_alone_is_as_it_is_among_the_others(asking):
    """Of one outing just its steps are drawn; one that the plan doesn't have is refused."""
    found = over_time(asking, PLAN, outing=NIGHTS[1])
    assert {bar.outing for bar in found.bars} == {NIGHTS[1]}
    assert found.bars == tuple(bar for bar in over_time(asking, PLAN).bars if bar.outing == NIGHTS[1])
    with pytest.raises(NoAnswer, match="NIGHT-9"):
        timeline(asking, PLAN, outing="NIGHT-9")


@pytest.mark.parametrize("outing", recorded_outings())
def test_a_recorded_outing_shows_what_was_recorded_in_it(demo, outing):
    """Every row of the record between an outing's begin and its end is one mark, in its order, of who did it."""
    with (DEMO / "as-run.csv").open(encoding="utf-8", newline="") as file:
        rows = [*csv.DictReader(file)]
    first, last = (
        i for i, row in enumerate(rows) if row["outing"] == outing and row["action"] in ("begin", "end")
    )
    corrected = {row["supersedes"] for row in rows}
    inside = [row for row in rows[first + 1 : last] if row["id"] not in corrected]
    late = {row["id"]: row["by"] for row in rows[last:]}
    found = recorded_timeline(Asking(demo, at="2025-11-01T00:00:00Z"), outing=outing)
    page = drawn(found)
    shown = {g.key: dict(g.data) for g in groups(page, "step")}
    lanes = {key: data["lane"] for key, data in shown.items()}
    assert lanes == {row["id"]: row["by"] for row in inside} | {k: by for k, by in late.items() if k in lanes}
    for row in inside:
        data = shown[row["id"]]
        assert data["start"] == data["end"]
        if len(row["at"]) == len("20:04"):
            assert data["start"][11:16] == row["at"]
    assert found.outings[0].end - found.outings[0].start > MINUTE
    assert meeting(page) == []


def test_the_last_outing_is_meant_where_none_is_named(demo):
    """Without a name it is the outing that began last."""
    found = recorded_timeline(Asking(demo, at="2025-11-01T00:00:00Z"))
    assert [span.id for span in found.outings] == [recorded_outings()[-1]]


def test_a_pdf_has_a_sheet_for_each_page_of_its_size(asking):
    """As many pages of the paper's size are in the file as were laid out, and the same bytes come twice."""
    pages = timeline_pages(over_time(asking, FAULTY, outing=NIGHTS[1]), width=841.89, height=595.28)
    made = written(pages, "pdf")
    assert made == written(pages, "pdf")
    assert len(pages) > 1
    boxes = re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)\s*\]", made)
    assert [(round(float(w)), round(float(h))) for w, h in boxes] == [(842, 595)] * len(pages)
