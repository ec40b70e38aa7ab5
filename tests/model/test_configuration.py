"""The configuration against a slow model: a dictionary folded over events, with the plain meaning of each action."""

from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cfgtrack.files.definition import parse_definition
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.defect import all_defects, defects_on
from cfgtrack.model.event import Event, is_reading
from cfgtrack.model.hold import is_made, mate_of, rigid_group
from cfgtrack.model.lock import devices_on
from cfgtrack.model.possibility import resolve
from tests.rules.worlds import KINDS, draw_world

SEEDS = st.integers(0, 2**32)
TARGETS = {(k.id, m.action): m for k in KINDS.values() for m in k.moves.values()}


class Fold:
    """What is true, as plain dictionaries: worked out from nothing but the events and the kinds' own words."""

    def __init__(self, plant):
        self.plant = plant
        self.status, self.mate, self.place, self.facing = {}, {}, {}, {}
        self.cycles, self.values, self.devices, self.defects = {}, {}, set(), set()
        for owner in (*plant.units, *plant.places):
            for name, port in plant.part_of(owner).ports.items():
                self.status[f"{owner}:{name}"] = KINDS[port.kind].initial
        for place in plant.places.values():
            if place.mobile:
                self.place[place.id] = place.parent

    def take(self, event):
        """Fold one event in."""
        if event.action in ("place", "lift") or (event.action == "as-found" and event.place):
            self.facing[event.subjects[0]] = event.facing
            for one in (*event.subjects, *event.moved):
                self.place[one] = event.place
        elif event.action == "as-found":
            self.found(event)
        elif event.action in ("lock", "unlock", "transfer", "tag", "untag"):
            self.hung(event)
        elif event.action in ("defect", "rectify"):
            add_or_take = self.defects.add if event.action == "defect" else self.defects.remove
            add_or_take((*event.subjects, event.bars, event.status))
        elif event.action not in ("measure", "inspect", "begin", "end"):
            self.moved(event)
        for quantity, value in event.values.items():
            for subject in event.subjects:
                self.values[subject, quantity] = value.value

    def kind(self, port):
        """Return the kind of a port."""
        return self.plant.port(port)[1]

    def join(self, port, status, other):
        """Give a port a status, and its mate if the status is one of joined ports."""
        kind = self.kind(port)
        joined = kind.joined is not None and kind.statuses.index(status) >= kind.statuses.index(kind.joined)
        self.status[port] = status
        self.mate[port] = other if joined else None

    def other(self, event, port):
        """Return the mate that a port has by an event: the other subject, or the one it had."""
        return next((s for s in event.subjects if s != port), None) or self.mate.get(port)

    def moved(self, event):
        """Move halves along their ladders."""
        others = {s: self.other(event, s) for s in event.subjects}
        for port, other in others.items():
            move = TARGETS[self.kind(port).id, event.action]
            self.join(port, move.target, other)
            if move.cycle:
                self.cycles[port] = self.cycles.get(port, 0) + 1
        if event.place:
            self.place.update(dict.fromkeys(event.moved, event.place))

    def hung(self, event):
        """Put locks and tags on, and take them off."""
        thing, *holders = event.subjects
        if event.action in ("lock", "tag"):
            self.devices.add((thing, event.action, *holders))
        elif event.action == "transfer":
            self.devices.symmetric_difference_update((thing, "lock", holder) for holder in holders)
        else:
            self.devices.remove((thing, event.action.removeprefix("un"), *holders))

    def found(self, event):
        """Set halves as found; who is left without a mate is apart."""
        others = {s: self.other(event, s) for s in event.subjects}
        before = {self.mate.get(s) for s in event.subjects} - {None}
        for port, other in others.items():
            self.join(port, event.status, other)
        for half in before:
            if half not in event.subjects and self.mate.get(self.mate[half]) != half:
                apart = {"tube": "demated", "plug": "apart", "bolt": "released", "grip": "free"}
                self.join(half, apart[self.kind(half).id], None)


def agree(now, fold):
    """Compare everything there is to know."""
    for port, status in fold.status.items():
        assert now.state(port)[:2] == (status, fold.mate.get(port))
        assert mate_of(now, port) == fold.mate.get(port)
    for owner in (*now.plant.units, *(p.id for p in now.plant.places.values() if p.mobile)):
        assert now.state(owner).value == fold.place.get(owner, "")
    for place in now.plant.places:
        assert set(now.standing_at(place)) == {one for one, at in fold.place.items() if at == place}
    assert now.cycles == fold.cycles
    read = {key: effect for key, effect in now.values.items() if is_reading(key[1])}
    assert {key: float(effect.value) for key, effect in read.items()} == fold.values
    hung = [one for thing in now.with_devices() for one in devices_on(now, thing)]
    assert {(d.thing, "tag" if d.is_tag else "lock", d.holder) for d in hung} == fold.devices
    assert {(one.thing, one.bars, one.cause) for one in all_defects(now)} == fold.defects


@given(SEEDS)
@settings(max_examples=300)
def test_fold(seed):
    """After every event of a random history the configuration says what the slow model says."""
    world = draw_world(seed)
    now, fold = Configuration(world.plant), Fold(world.plant)
    agree(now, fold)
    for event in world.events:
        now.apply(event)
        fold.take(event)
        agree(now, fold)


def snapshot(now):
    """Return all that a configuration holds."""
    standing = {place: set(now.standing_at(place)) for place in now.plant.places}
    devices = {thing: (devices_on(now, thing), defects_on(now, thing)) for thing in now.with_devices()}
    return dict(now.touched()), dict(now.cycles), dict(now.values), standing, devices


@given(SEEDS)
def test_undo(seed):
    """Undoing the events, last first, passes through every configuration there was on the way."""
    world = draw_world(seed)
    now = Configuration(world.plant)
    seen, undos = [], []
    for event in world.events:
        seen.append(snapshot(now))
        undos.append(now.apply(event)[1])
    for undo in reversed(undos):
        now.undo(undo)
        assert snapshot(now) == seen.pop()


@given(SEEDS)
def test_fork(seed):
    """A fork goes its own way, and the original doesn't notice."""
    world = draw_world(seed)
    now = Configuration(world.plant)
    for event in world.events[: world.fork]:
        now.apply(event)
    before, twin = snapshot(now), now.fork()
    for event in world.other:
        twin.apply(event)
    assert snapshot(now) == before
    for event in world.events[world.fork :]:
        now.apply(event)
    fresh = Configuration(world.plant)
    for event in world.events:
        fresh.apply(event)
    assert snapshot(now) == snapshot(fresh)


@given(SEEDS)
def test_mates_are_mutual(seed):
    """Whatever happens, a mate's mate is oneself, both are joined, and a link is made for both halves or neither."""
    world = draw_world(seed)
    now = Configuration(world.plant)
    for event in world.events:
        now.apply(event)
        for port, state in now.touched():
            if ":" in port and state.other is not None:
                assert mate_of(now, state.other) == port
                assert is_made(now, port) == is_made(now, state.other)


@given(SEEDS)
def test_rigid_groups_are_classes(seed):
    """Being fixed to one another is mutual, and who is fixed together is in one place once it has been moved."""
    world = draw_world(seed)
    now = Configuration(world.plant)
    for event in world.events:
        now.apply(event)
        for unit in world.plant.units:
            group = rigid_group(now, unit)
            assert all(set(rigid_group(now, other)) == set(group) for other in group)
            if event.action == "place" and unit == event.subjects[0]:
                assert {now.state(other).value for other in group} == {event.place}


# --- all short sequences ------------------------------------------------------------------------------------------

HOSES = """
[[part]]
id = "hose"
flexible = true
port = [{ name = "F", kind = "fluid-disconnect" }]
[[unit]]
id = "A"
part = "hose"
[[unit]]
id = "B"
part = "hose"
[[unit]]
id = "C"
part = "hose"
"""
PORTS = ("A:F", "B:F", "C:F")
PAIRS = (("A:F", "B:F"), ("A:F", "C:F"), ("B:F", "C:F"))
STEPS = (*product(["mate"], PAIRS), *product(["demate", "cap", "uncap"], [(p,) for p in PORTS]))


def expected(state, action, ports):
    """Return the state after an action on three ports, or None when it can't be."""
    status = {p: state[p][0] for p in PORTS}
    after = dict(state)
    if action == "mate" and all(status[p] == "demated" for p in ports):
        a, b = ports
        return {**after, a: ("mated", b), b: ("mated", a)}
    (port, *_) = ports
    if action == "demate" and status[port] == "mated":
        return {**after, port: ("demated", None), state[port][1]: ("demated", None)}
    if action == "cap" and status[port] == "demated":
        return {**after, port: ("capped", None)}
    if action == "uncap" and status[port] == "capped":
        return {**after, port: ("demated", None)}
    return None


def test_every_sequence_of_four():
    """Of all sequences of up to 4 steps over 3 ports, exactly the possible ones are accepted, with the right state."""
    plant = parse_definition({"hoses.toml": HOSES}).plant()

    def walk(now, state, depth):
        count = 1
        for action, ports in STEPS if depth else ():
            outcome = resolve(now, Action("e", action, ports, 0))
            then = expected(state, action, ports)
            assert isinstance(outcome, Event) == (then is not None)
            if then is None or not isinstance(outcome, Event):
                continue
            _, undo = now.apply(outcome)
            assert {p: now.state(p)[:2] for p in PORTS} == then
            count += walk(now, then, depth - 1)
            now.undo(undo)
        return count

    assert walk(Configuration(plant), dict.fromkeys(PORTS, ("demated", None)), 4) > 400


def test_no_state():
    """What can have no state has none to ask for."""
    now = Configuration(parse_definition({"hoses.toml": HOSES}).plant())
    for subject in ("D", "A:X", "D:F"):
        with pytest.raises(KeyError):
            now.state(subject)
