"""A strip against plain searches on the whole network: frames just where a path changes, all in one place."""

from functools import cache
from pathlib import Path as File
from typing import Any

import networkx as nx
import pytest

from cfgtrack.analysis.check import CheckReport
from cfgtrack.answers.asking import Asking
from cfgtrack.answers.check import check
from cfgtrack.answers.draw import Scope
from cfgtrack.answers.past import Past
from cfgtrack.answers.strip import MOST_FRAMES, Strip, items_of, strip
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from cfgtrack.model.trouble import BadInput, NoAnswer
from cfgtrack.network.network import Network, state_links
from cfgtrack.show.drawing.ink import Group, Page, Path, Rect, Text
from cfgtrack.show.drawing.sheet import Look
from cfgtrack.show.drawing.shown import shown
from cfgtrack.show.drawing.strip import strip_pages
from tests.demo.as_run import FAILED, FAULTY, NIGHTS, PLAN, SPARE, TRAPPING
from tests.show.drawing.shown import all_ink, groups, words

SCOPES: dict[str, tuple[Scope, dict[str, Any]]] = {
    "loop": (Scope.loop("EAST"), {"loop": "EAST"}),
    "unit": (Scope.around(FAILED, medium="fluid"), {"unit": FAILED, "medium": "fluid"}),
    "power": (Scope.one_medium("power"), {"medium": "power"}),
    "hold": (Scope.around(SPARE, medium="hold"), {"unit": SPARE, "medium": "hold"}),
}


def reached(network: Network, now: Configuration, items: list[str]) -> dict[str, frozenset[int]]:
    """Return by a plain search what each item reaches over what is made, as the medium follows paths."""
    both, single, _ = state_links(network, now, ())
    graph = nx.DiGraph()
    graph.add_nodes_from(range(network.size))
    for a, b in (*network.plain, *both):
        graph.add_edges_from([(a, b), (b, a)])
    upstream = network.plant.media[network.medium].upstream
    graph.add_edges_from((b, a) if upstream else (a, b) for a, b in (*network.one_way, *single))
    found = {}
    for item in items:
        number = network.item(item)
        assert number is not None
        found[item] = frozenset(nx.descendants(graph, number))
    return found


@cache
def checked(asking: Asking, plan: File) -> CheckReport:
    """Return what the check of a plan says; the same plan is checked once for all that is asked of it."""
    return check(asking, plan).check


@pytest.mark.parametrize("plan", [PLAN, FAULTY], ids=["good", "faulty"])
@pytest.mark.parametrize("name", SCOPES)
def test_there_is_a_frame_just_where_a_path_changes(asking, name, plan):
    """Step by step, searched anew on the whole network: a frame where what is reached changes, and else none."""
    scope, asked = SCOPES[name]
    with asking.read() as journal:
        past = Past(journal, asking.moment(journal))
        now, networks = past.configuration.fork(), past.networks
        items = items_of(past.plant, networks, scope)
        expected, before = [], {m: reached(networks[m], now, some) for m, some in items.items()}
        for step in checked(asking, plan).steps:
            if isinstance(step.outcome, Event):
                now.apply(step.outcome)
                after = {m: reached(networks[m], now, some) for m, some in items.items()}
                if after != before:
                    expected.append(step.step)
                before = after
    found: list[str | None] = []
    for outing in NIGHTS:
        found += [frame.step for frame in strip(asking, plan, outing=outing, **asked).frames[1:]]
    assert found == expected
    assert expected


def pages_of(found: Strip, **paper: Any) -> tuple[Page, ...]:
    """Return a strip as it is drawn."""
    return strip_pages(found, [shown(frame.scene, fold=False) for frame in found.frames], **paper)


def test_a_frame_in_which_a_volume_is_newly_cut_off_is_framed_as_wrong(found):
    """Its edge is thick, and its caption names what is cut off; the strip's verdict counts the plan's findings."""
    [page] = pages_of(found)
    cut: set[str] = set()
    ever: set[str] = set()
    for frame, drawn_frame in zip(found.frames, groups(page, "frame"), strict=True):
        bars = [bar for box in shown(frame.scene, fold=False).boxes for bar in box.bars]
        now = {bar.key for bar in bars if bar.look is Look.CUT_OFF and any(bar.texts)}
        said = " ".join(one.text for one in drawn_frame.ink if isinstance(one, Text))
        edge = next(one for one in drawn_frame.ink if isinstance(one, Rect))
        assert ("CUT OFF: " in said) == bool(now - cut)
        assert (edge.thickness > 2) == bool(frame.findings or now - cut)
        cut = now
        ever |= now
    assert ever
    standing = [one for one in found.findings if not one.excused]
    assert f"{len(standing)} findings: " in words(page)


@pytest.fixture(scope="module")
def found(asking: Asking) -> Strip:
    """Give the strip of the night in which the failed unit comes out, wrong valve first."""
    return strip(asking, FAULTY, unit=FAILED, medium="fluid", outing=NIGHTS[1])


def places(frame: Group) -> dict[str, tuple[float, float]]:
    """Return where in its frame each box and port has its name, and each gate its symbol."""
    found: dict[str, tuple[float, float]] = {}
    for one in all_ink(frame.ink):
        if isinstance(one, Group) and one.what in ("box", "row"):
            name = next((i for i in one.ink if isinstance(i, Text) and i.role in ("name", "row")), None)
            if name is not None:
                found[f"{one.what} {one.key}"] = (name.x, name.y)
        elif isinstance(one, Group) and one.what == "gate":
            sign = next(i for i in one.ink if isinstance(i, Path))
            found[f"gate {one.key}"] = sign.points[0]
    return found


def test_everything_is_at_the_same_place_in_all_frames(found):
    """Whatever is in two frames is in both at the same place, to a fifth of a point."""
    [page] = pages_of(found)
    frames = groups(page, "frame")
    assert len(frames) == len(found.frames) > 5
    at: dict[str, list[tuple[float, float]]] = {}
    for frame in frames:
        inside = places(frame)
        x, y = inside[f"box {FAILED}"]
        for name, (left, top) in inside.items():
            at.setdefault(name, []).append((left - x, top - y))
    assert len(at) > 20
    apart = {
        name: max(max(axis) - min(axis) for axis in zip(*some, strict=True)) for name, some in at.items()
    }
    assert {name: far for name, far in apart.items() if far > 0.2} == {}


def test_a_frame_says_its_step_its_doer_its_time_and_its_findings(asking, found):
    """Over each frame stand the step, what is done, by whom and when; the first finding's frame is marked with it."""
    [page] = pages_of(found)
    report = checked(asking, FAULTY)
    steps = {step.step: step for step in report.steps}
    by_step = {f.step for f in report.new}
    for frame, drawn in zip(found.frames[1:], groups(page, "frame")[1:], strict=True):
        assert frame.step is not None
        said = " ".join(i.text for i in all_ink(drawn.ink) if isinstance(i, Text) and i.role == "caption")
        step = steps[frame.step]
        assert f"{step.step} {step.action} by {step.done.by}" in said
        assert frame.time == step.end
        assert bool(dict(drawn.data)["findings"]) == ("FINDING" in said) == (frame.step in by_step)
    assert {frame.step for frame in found.frames if frame.findings} == {"2V-07"}
    assert "(in no frame)" in words(page)


def test_what_a_step_changes_is_ringed(found):
    """In the frame of a valve that is shut there is a ring at that valve, and none in the first frame."""
    [page] = pages_of(found)
    first, second = groups(page, "frame")[:2]
    ringed = {
        g.key
        for g in all_ink(second.ink)
        if isinstance(g, Group) and any(getattr(i, "role", "") == "ring" for i in g.ink)
    }
    assert TRAPPING in ringed
    assert not any(getattr(i, "role", "") == "ring" for i in all_ink(first.ink))


def test_on_paper_every_frame_stands_on_one_sheet_of_its_size(found):
    """A3 across takes all frames on several sheets, none cut in two and none too high."""
    sheets = pages_of(found, width=1190.55, height=841.89)
    assert sum(len(groups(sheet, "frame")) for sheet in sheets) == len(found.frames)
    assert {sheet.height for sheet in sheets} == {841.89}
    sizes = [
        t.size for sheet in sheets for t in all_ink(sheet.ink) if isinstance(t, Text) and t.role == "name"
    ]
    assert min(sizes) >= 5


def test_too_many_frames_say_how_to_ask_for_fewer(asking):
    """Of everything at once there are more frames than anybody looks at: it says how many each outing has."""
    with pytest.raises(NoAnswer, match=f"{MOST_FRAMES} frames at most.*{NIGHTS[0]} .*--steps"):
        strip(asking, PLAN)


def test_steps_are_asked_for_from_one_to_another(asking):
    """FIRST..LAST takes both ends in; the other way round, and a step that isn't there, are refused."""
    asked: dict[str, Any] = {"unit": FAILED, "medium": "fluid"}
    some = strip(asking, PLAN, steps="2V-08..2V-12", **asked)
    assert [f.step for f in some.frames][1:] == [
        f.step
        for f in strip(asking, PLAN, outing=NIGHTS[1], **asked).frames
        if f.step in ("2V-08", "2V-05", "2V-09", "2V-12")
    ]
    assert some.frames[-1].step == "2V-12"
    with pytest.raises(BadInput, match="2V-08 is done before step 2V-12"):
        strip(asking, PLAN, steps="2V-12..2V-08", **asked)
    with pytest.raises(NoAnswer, match="2V-99"):
        strip(asking, PLAN, steps="2V-99", **asked)


def test_the_same_plan_gives_the_same_frames(asking, found):
    """Twice asked, twice the same ink."""
    again = strip(asking, FAULTY, unit=FAILED, medium="fluid", outing=NIGHTS[1])
    assert pages_of(found) == pages_of(again)
