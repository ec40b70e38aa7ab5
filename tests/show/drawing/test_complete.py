"""Nothing is lost in a picture: held to a plain reading of plant and configuration, link by link."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from random import Random

from hypothesis import given, settings
from hypothesis import strategies as st

from cfgtrack.answers.draw import Scene, Scope
from cfgtrack.model.configuration import State
from cfgtrack.show.drawing.sheet import Bar, Box, Change, Gate, Look, Row, Sheet
from cfgtrack.show.drawing.shown import shown
from tests.show.drawing.plants import random_scene

SCOPES = st.sampled_from((Scope.everything(), Scope.one_medium("fluid"), Scope.one_medium("power")))
SEEDS = st.integers(0, 2**32)


def media_of(scene: Scene) -> set[str]:
    """Return the media that a scene's picture shows."""
    return {scene.scope.medium} if scene.scope.medium else set(scene.plant.media)


def carries(scene: Scene, port: str) -> bool:
    """Return whether a port lets through: its status stands at or above the one from which its kind carries."""
    found = scene.plant.port(port)
    assert found is not None
    ladder = found[1].statuses
    return ladder.index(scene.configuration.state(port).value) >= ladder.index(found[1].carries or "")


def ports(scene: Scene) -> Iterator[tuple[str, bool]]:
    """Yield every port of the media shown, and whether it is one that has a mate, read off the parts."""
    for owner in scene.plant.owners():
        for name, port in scene.plant.part_of(owner).ports.items():
            kind = scene.plant.kinds[port.kind]
            if kind.medium in media_of(scene):
                yield f"{owner}:{name}", kind.joined is not None


def gated(scene: Scene) -> Iterator[tuple[str, str, str, bool, bool]]:
    """Yield for every gated or one-way link its two ends, its gate, whether it passes, and whether one way only."""
    for owner in scene.plant.owners():
        part = scene.plant.part_of(owner)
        for link in part.links:
            item = part.ports.get(link.a)
            medium = scene.plant.kinds[item.kind].medium if item else part.nodes[link.a].medium
            if medium in media_of(scene) and (link.gate or link.one_way):
                is_open = not link.gate or carries(scene, f"{owner}:{link.gate}")
                yield f"{owner}:{link.a}", f"{owner}:{link.b}", link.gate, is_open, link.one_way


def always_joined(scene: Scene, one: str, other: str) -> bool:
    """Return whether two items of a unit are joined over links that nothing gates, both ways: tried step by step."""
    owner = one.partition(":")[0]
    reached, before = {one}, 0
    while len(reached) > before:
        before = len(reached)
        for link in scene.plant.part_of(owner).links:
            ends = {f"{owner}:{link.a}", f"{owner}:{link.b}"}
            if not link.gate and not link.one_way and ends & reached:
                reached |= ends
    return other in reached


def meeting(scene: Scene, box: Box, key: str) -> str:
    """Return a port or node that stands for the row or bar of a key."""
    rows = {row.key for row in box.rows}
    if key in rows:
        return key
    on_it = [row.key for row in box.rows if row.bar == key]
    [bar] = [bar for bar in box.bars if bar.key == key]
    return on_it[0] if on_it else f"{box.id}:{bar.texts[0].split('  ')[0]}"


@settings(max_examples=20, deadline=None)
@given(SEEDS, SCOPES)
def test_every_port_is_one_row_with_its_state(seed, scope):
    """Every port that can be mated is a row, once, with its status, whether it has a mate, and which."""
    scene = random_scene(Random(seed), scope)
    sheet = shown(scene, fold=False)
    rows = Counter(row.key for box in sheet.boxes for row in box.rows if row.medium != "hold")
    gates = {f"{box.id}:{gate.text}" for box in sheet.boxes for gate in box.gates}
    two_sided = [p for p, has_mate in ports(scene) if has_mate and scene.plant.media_of(p) != {"hold"}]
    one_sided = [p for p, has_mate in ports(scene) if not has_mate and p not in gates]
    assert rows == Counter([*two_sided, *one_sided])
    for row in (row for box in sheet.boxes for row in box.rows if row.key in two_sided):
        state = scene.configuration.state(row.key)
        assert row.to == (state.other or "")
        assert row.joined == (state.other is not None)
        assert row.capped == (state.value == "capped")
        assert row.status in row.statuses


@settings(max_examples=20, deadline=None)
@given(SEEDS, SCOPES)
def test_every_gate_and_one_way_link_is_drawn_between_what_it_joins(seed, scope):
    """Every valve, switch, check valve and diode is a gate, shut and open alike, between the right row or bar."""
    scene = random_scene(Random(seed), scope)
    drawn = [(box, gate) for box in shown(scene, fold=False).boxes for gate in box.gates]
    expected = list(gated(scene))
    assert len(drawn) == len(expected)
    for a, b, name, is_open, one_way in expected:
        owner = a.partition(":")[0]
        found = [
            (box, gate)
            for box, gate in drawn
            if box.id == owner
            and (gate.text, gate.is_open, gate.one_way) == (name, is_open, one_way)
            and always_joined(scene, meeting(scene, box, gate.a), a)
            and always_joined(scene, meeting(scene, box, gate.b), b)
        ]
        drawn.remove(found[0])
    assert not drawn


@settings(max_examples=20, deadline=None)
@given(SEEDS, SCOPES)
def test_a_bar_is_what_is_always_joined(seed, scope):
    """Two rows of a box meet at one bar exactly when links that nothing gates join them, both ways."""
    scene = random_scene(Random(seed), scope)
    for box in shown(scene, fold=False).boxes:
        two_sided = {port for port, has_mate in ports(scene) if has_mate}
        ends = [row for row in box.rows if row.medium != "hold" and row.key in two_sided]
        for one in ends:
            for other in ends:
                if one is not other:
                    assert (bool(one.bar) and one.bar == other.bar) == always_joined(
                        scene, one.key, other.key
                    )


@settings(max_examples=20, deadline=None)
@given(SEEDS, SCOPES)
def test_every_mated_pair_is_one_line(seed, scope):
    """Every pair of mated halves is a line from row to row, once; dashed exactly where one of them doesn't pass."""
    scene = random_scene(Random(seed), scope)
    sheet = shown(scene, fold=False)
    lines = {frozenset((x.a_row, x.b_row)): x for x in sheet.lines if x.medium != "hold" and not x.ghost}
    mated = {
        frozenset((port, other))
        for port, has_mate in ports(scene)
        if has_mate
        and (other := scene.configuration.state(port).other)
        and "hold" not in scene.plant.media_of(port)
    }
    assert set(lines) == mated
    assert len(lines) == sum(1 for x in sheet.lines if x.medium != "hold" and not x.ghost)
    for ends, line in lines.items():
        assert (line.look is Look.NOT_CARRYING) == (not all(carries(scene, port) for port in ends))
    bolts = [
        p for p, _ in ports(scene) if "hold" in scene.plant.media_of(p) and scene.configuration.state(p).other
    ]
    assert 2 * sum(x.count for x in sheet.lines if x.medium == "hold" and x.a_row) == len(bolts)


# --- a fold --------------------------------------------------------------------------------------------------------


def counted(sheet: Sheet) -> tuple[int, Counter[object], Counter[object], Counter[object]]:
    """Return how many boxes there are, rows by status, gates by state, and lines by medium and look, counts in."""
    rows: Counter[object] = Counter()
    gates: Counter[object] = Counter()
    for box in sheet.boxes:
        for row in box.rows:
            rows[row.medium, row.status, row.joined] += box.count * row.count
        for gate in box.gates:
            gates[gate.symbol, gate.is_open, gate.one_way] += box.count * gate.count
    lines: Counter[object] = Counter()
    for line in sheet.lines:
        if not line.ghost:
            lines[line.medium, line.look] += line.count
    return sum(box.count for box in sheet.boxes), rows, gates, lines


def state_of(box: Box) -> object:
    """Return all that alike boxes have in common, row by row, without ids."""
    rows = [(r.text, r.status, r.joined, r.capped, r.marks) for r in box.rows]
    return (
        rows,
        [(g.text, g.is_open, g.marks) for g in box.gates],
        [(b.texts, b.look, b.marks) for b in box.bars],
    )


@settings(max_examples=20, deadline=None)
@given(SEEDS, SCOPES)
def test_a_fold_loses_nothing(seed, scope):
    """The counts of boxes, rows, gates and lines add up to what there is, and only what is alike is one box."""
    scene = random_scene(Random(seed), scope)
    plain, fold = shown(scene, fold=False), shown(scene, fold=True)
    assert counted(plain) == counted(fold)
    boxes = {box.id: box for box in plain.boxes}
    members = [member for box in fold.boxes for member in (box.members or (box.id,))]
    assert sorted(members) == sorted(boxes)
    for box in fold.boxes:
        states = [state_of(boxes[member]) for member in box.members]
        assert all(state == states[0] for state in states)
        parts = {scene.plant.part_of(member).id for member in box.members}
        assert len(parts) <= 1
    ends = {(box.id, row.key) for box in fold.boxes for row in box.rows}
    for line in fold.lines:
        assert not line.a_row or (line.a, line.a_row) in ends
        assert not line.b_row or (line.b, line.b_row) in ends


# --- stays where it is -----------------------------------------------------------------------------------------------


def skeleton(sheet: Sheet) -> object:
    """Return all that positions come from: a sheet without statuses, looks and marks."""
    return (
        [replace(box, marks=(), rows=tuple(map(_bare_row, box.rows)), bars=tuple(map(_bare_bar, box.bars)),
                 gates=tuple(map(_bare_gate, box.gates))) for box in sheet.boxes],
        [replace(line, look=Look.MADE) for line in sheet.lines],
    )  # fmt: skip


def _bare_row(row: Row) -> Row:
    valve = None if row.valve is None else True
    return replace(row, status="", look=Look.MADE, marks=(), valve=valve, change=Change.SAME)


def _bare_bar(bar: Bar) -> Bar:
    return replace(bar, look=Look.MADE, marks=())


def _bare_gate(gate: Gate) -> Gate:
    return replace(gate, is_open=True, status="", marks=())


@settings(max_examples=20, deadline=None)
@given(SEEDS, st.sampled_from((*map(Scope.one_medium, ("fluid", "power")), Scope.everything(), Scope.loop("A"),
                               Scope.loop("B"), Scope.around("U0"), Scope.around("U1", hops=2))))  # fmt: skip
def test_shutting_anything_moves_nothing(seed, scope):
    """Boxes, rows, gates, bars and lines are the same whichever valve or switch is opened or shut."""
    scene = random_scene(Random(seed), scope)
    before = skeleton(shown(scene, fold=False))
    for port, has_mate in ports(replace(scene, scope=Scope.everything())):
        if has_mate:
            continue
        found, state = scene.plant.port(port), scene.configuration.state(port)
        assert found is not None
        [other] = set(found[1].statuses) - {state.value}
        scene.configuration.set_state(port, State(other, None, None))
        assert skeleton(shown(scene, fold=False)) == before
        scene.configuration.set_state(port, state)
