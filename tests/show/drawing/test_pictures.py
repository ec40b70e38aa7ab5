"""Pictures of the demo and of plants drawn at random, read back and held to what is so, read plainly.

What every picture must keep: each joint, valve, switch, one-way link and open end of what it shows is there once and as
it is; all of it can be read; and nothing moves when a valve is shut.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cfgtrack.answers.asking import Asking
from cfgtrack.answers.draw import Scene, Scope, scene
from cfgtrack.answers.moment import Moment
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from cfgtrack.model.plant import Plant
from cfgtrack.model.time import parse_instant
from cfgtrack.network.network import compile_network
from cfgtrack.show.drawing.arrange import drawn
from cfgtrack.show.drawing.metrics import font_file
from cfgtrack.show.drawing.shown import shown
from cfgtrack.show.drawing.svg import svg
from tests.demo.as_run import FAILED, RACK, demo_past
from tests.rules.worlds import draw_world
from tests.show.drawing.legible import faults_of
from tests.show.drawing.plain import faults_against, truth
from tests.show.drawing.readback import Hand, Picture, read_picture

OWN = Hand("the shipped font", font_file(), font_file(bold=True))
TIMES = ("2025-10-01T00:00:00Z", "2025-10-13T14:48:00Z", "2025-11-01T00:00:00Z")
SCOPES: dict[str, dict[str, Any]] = {
    "loop EAST": {"loop": "EAST"},
    "loop WEST": {"loop": "WEST"},
    "data": {"medium": "data"},
    "the unit that failed": {"unit": FAILED},
    "the rack, two hops, fluid": {"unit": RACK, "hops": 2, "medium": "fluid"},
}
MOST = 2.0
"""So far, in points, a box may move when a valve is shut."""


@pytest.fixture(scope="module")
def database(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Give the demo's journal after its as-run rows."""
    folder = tmp_path_factory.mktemp("pictures")
    with demo_past(folder):
        yield str(folder / "journal.db")


def picture_of(found: Scene) -> Picture:
    """Return what the SVG of a scene says, each box for itself. Without the font in it: that takes the longest."""
    return read_picture(svg(drawn(shown(found, fold=False)), with_font=False))


def media_of(found: Scene) -> list[str]:
    """Return the media whose ends a picture shows one by one: what holds is bundled."""
    return [m for m in found.plant.media if found.scope.medium in ("", m) and m != "hold"]


@pytest.mark.parametrize("at", TIMES)
@pytest.mark.parametrize("scope", [*SCOPES, "everything"])
def test_the_demo_is_shown_as_it_is(scope, at, database):
    """Whatever is joined, shut, off, one-way or open in a picture of the demo is there once, and all can be read."""
    found = scene(Asking(database, at=parse_instant(at)), **SCOPES.get(scope, {}))
    picture = picture_of(found)
    assert picture.of("row")
    assert faults_against(picture, found.plant, found.configuration, media_of(found)) == []
    assert faults_of(picture, OWN) == []


@pytest.mark.parametrize("medium", ["fluid", "power", "data", "bond"])
def test_every_joint_of_a_medium(medium, database):
    """The picture of a medium has a line for every joint of it that there is."""
    found = scene(Asking(database, at=parse_instant(TIMES[-1])), medium=medium)
    lines = [frozenset((t.data["a"], t.data["b"])) for t in picture_of(found).of("line")]
    real = truth(found.plant, found.configuration, medium)
    assert sorted(map(sorted, lines)) == sorted(map(sorted, real.joints))


@pytest.mark.parametrize("loop", ["EAST", "WEST"])
def test_all_that_reaches_the_vessel_is_in_the_loop(loop, database):
    """Whatever liquid reaches a loop's vessel by open ways, walked plainly, is in the picture of the loop."""
    found = scene(Asking(database, at=parse_instant(TIMES[0])), loop=loop)
    rows = {t.key for t in picture_of(found).of("row")}
    reached = _reaching(found, loop)
    assert len(reached) > 10
    assert reached <= rows


def _reaching(found: Scene, loop: str) -> set[str]:
    """Return the ends from which a way of made joints and open gates leads to the vessel of a loop."""
    plant, now = found.plant, found.configuration
    before: dict[str, set[str]] = {}
    goals = set()
    for pair, lets in truth(plant, now, "fluid").joints.items():
        a, b = pair
        if lets:
            before.setdefault(a, set()).add(b)
            before.setdefault(b, set()).add(a)
    for owner in (*plant.units, *plant.places):
        part = plant.part_of(owner)
        for link in part.links:
            gate = part.ports.get(link.gate)
            if gate is not None:
                kind = plant.kinds[gate.kind]
                status = now.state(f"{owner}:{link.gate}").value
                if kind.statuses.index(status) < kind.statuses.index(kind.carries or ""):
                    continue
            a, b = f"{owner}:{link.a}", f"{owner}:{link.b}"
            before.setdefault(b, set()).add(a)
            if not link.one_way:
                before.setdefault(a, set()).add(b)
        goals |= {
            f"{owner}:{n.name}"
            for n in part.nodes.values()
            if n.medium == "fluid" and "expansion" in n.roles and (n.loop or plant.units[owner].loop) == loop
        }
    seen, waiting = set(goals), list(goals)
    while waiting:
        new = before.get(waiting.pop(), set()) - seen
        seen |= new
        waiting += new
    return {one for one in seen if (port := plant.port(one)) is not None and port[1].joined is not None}


@pytest.mark.parametrize("loop", ["EAST", "WEST"])
def test_nothing_moves_when_a_valve_is_shut(loop, database):
    """Every valve of a loop shut or opened in turn, every joint demated in turn: no box moves by more than 2 pt."""
    found = scene(Asking(database, at=parse_instant(TIMES[0])), loop=loop)
    before = picture_of(found)
    boxes = before.boxes()
    tried = 0
    for event in _turns(found, boxes):
        now = found.configuration.fork()
        now.apply(event)
        after = picture_of(replace(found, configuration=now))
        assert set(after.boxes()) == set(boxes), event.subjects
        moved = [key for key, box in after.boxes().items() if _is_moved(box, boxes[key])]
        assert moved == [], event.subjects
        tried += 1
    assert tried > 25


def _turns(found: Scene, boxes: Iterable[str]) -> Iterator[Event]:
    """Yield what opens or shuts each valve, and parts each joint, of what is drawn."""
    for owner in boxes:
        for name, port in found.plant.part_of(owner).ports.items():
            kind, address = found.plant.kinds[port.kind], f"{owner}:{name}"
            state = found.configuration.state(address)
            for action, move in kind.moves.items() if kind.medium == "fluid" else ():
                if state.value in move.sources and (kind.joined is None or kind.parts(move)):
                    subjects = (address,) if state.other is None else (address, state.other)
                    yield Event("turn", action, subjects, found.moment.at + 1)


def _is_moved(box: tuple[float, ...], before: tuple[float, ...]) -> bool:
    return max(abs(a - b) for a, b in zip(box, before, strict=True)) > MOST


# --- plants drawn at random -----------------------------------------------------------------------------------------


@given(st.integers(0, 2**32), st.sampled_from(["fluid", "power", ""]))
@settings(max_examples=20)
def test_drawn_plants_are_shown_as_they_are(seed, medium):
    """Of any plant, however odd its parts are, a picture shows all that there is, as it is."""
    found = scene_of(seed, medium)
    picture = picture_of(found)
    assert faults_against(picture, found.plant, found.configuration, media_of(found)) == []


def scene_of(seed: int, medium: str) -> Scene:
    """Return the scene of a random world where its history ends."""
    world = draw_world(seed)
    now = Configuration(world.plant)
    for event in world.events:
        now.apply(event)
    scope = Scope.one_medium(medium) if medium else Scope.everything()
    networks = {m: compile_network(world.plant, m) for m in world.plant.media}
    return Scene(Moment(world.end, world.end), world.plant, now, networks, scope)


def test_a_picture_of_another_state_is_found_out(database):
    """What the plain reading holds a picture to: after a valve is shut, the picture of before is wrong about it."""
    found = scene(Asking(database, at=parse_instant(TIMES[0])), loop="EAST")
    picture = picture_of(found)
    for event in _turns(found, picture.boxes()):
        now = found.configuration.fork()
        now.apply(event)
        assert faults_against(picture, found.plant, now, ["fluid"]), event.subjects


def test_an_empty_plant():
    """An empty plant has a picture, with its title and nothing to be misread."""
    plant = Plant()
    found = Scene(Moment(0, 0), plant, Configuration(plant), {}, Scope.everything())
    picture = picture_of(found)
    assert picture.of("box") == []
    assert faults_of(picture, OWN) == []
