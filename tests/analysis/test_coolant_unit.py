"""The interfaces of a typical external coolant unit, exchanged for a spare step by step.

Four fluid disconnects (three of 1 1/2 in, one of 1/4 in), five electrical connectors, four 5/8 in fasteners: common
practice, no source. The plant, its names and its worker are this test's own.
"""

import pytest

from cfgtrack.analysis.check import Start, check
from cfgtrack.files.definition import shipped
from cfgtrack.model.configuration import Configuration, place_line
from cfgtrack.model.event import Event
from cfgtrack.model.part import InternalLink, Node, Part, Port
from cfgtrack.model.plant import Place, Plant, Unit
from cfgtrack.model.possibility import resolve
from cfgtrack.model.sequence import Outing, Sequence, Step
from cfgtrack.rules.rule import (
    ActionMatch,
    All,
    Always,
    At,
    By,
    NoPath,
    Path,
    Rule,
    RuleSet,
    Selection,
    Status,
)

FLUID = {"F1": "1 1/2 in", "F2": "1 1/2 in", "F3": "1 1/2 in", "F4": "1/4 in"}
POWER = ("J1", "J2", "J3", "J4", "J5")
BOLTS = ("B1", "B2", "B3", "B4")
MINUTE = 60_000_000


def ports(gender):
    """Return the interfaces of the unit, or the halves that they go on."""
    return {
        **{n: Port(n, "valved-disconnect", size=size, gender=gender) for n, size in FLUID.items()},
        **{n: Port(n, "electrical-connector", keying=n, gender=gender) for n in POWER},
        **{n: Port(n, "bolt", size="5/8 in", gender=gender) for n in BOLTS},
    }


def plant():
    """Return a unit at work, its spare in a rack that holds it, a worker with a gripping hand."""
    unit = Part(
        "coolant unit",
        ports={**ports("plug"), "EYE": Port("EYE", "grip")},
        nodes={"vol": Node("vol", "fluid", litres=20.0), "heater": Node("heater", "power", load=True)},
        links=(
            *(InternalLink("vol", f) for f in FLUID),
            *(InternalLink(j, "heater", one_way=True) for j in POWER),
        ),
    )
    seat = Part(
        "seat",
        ports={**ports("socket"), **{f"K{j}": Port(f"K{j}", "switch") for j in POWER}},
        nodes={"loop": Node("loop", "fluid", expansion=True), "bus": Node("bus", "power", source=True)},
        links=(*(InternalLink("loop", f) for f in FLUID), *(InternalLink("bus", j, f"K{j}") for j in POWER)),
    )
    hand = Part("hand", ports={"GRIP": Port("GRIP", "grip")})
    places = (
        Place("YARD"),
        Place("SEAT", "YARD", part="seat"),
        Place("RACK-1", "YARD", holds=True),
        Place("RACK-2", "YARD", holds=True, capacity=1),
        Place("ANN", "YARD", mobile=True, part="hand"),
    )
    defaults = shipped()
    return Plant(
        defaults.media,
        defaults.kinds,
        {p.id: p for p in (unit, seat, hand)},
        {u: Unit(u, "coolant unit") for u in ("CU-1", "CU-2")},
        {p.id: p for p in places},
    )


def as_installed():
    """Return CU-1 bolted, mated, open and powered at its seat, CU-2 capped in the first rack."""
    now = Configuration(plant())
    found: list[tuple[str, str, str | None, str | None]] = [
        ("CU-1", "", "SEAT", None),
        ("CU-2", "", "RACK-1", None),
    ]
    found += [(f"CU-1:{n}", f"SEAT:{n}", None, "torqued") for n in BOLTS]
    found += [(f"CU-1:{n}", f"SEAT:{n}", None, "mated") for n in POWER]
    found += [(f"CU-1:{n}", f"SEAT:{n}", None, "open") for n in FLUID]
    found += [(f"SEAT:K{n}", "", None, "on") for n in POWER]
    found += [(f"CU-2:{n}", "", None, "capped") for n in (*FLUID, *POWER)]
    for a, b, place, status in found:
        event = Event("0", "as-found", (a, b) if b else (a,), 0, place=place, status=status, initial=True)
        resolved = resolve(now, event)
        assert not resolved.refusals
        now.apply(resolved.event)
    return now


def rule(name, mode, condition, scope=None):
    """Return a critical rule."""
    return Rule(name, "", "", 2, "common practice", mode, condition, scope)


def dead(kinds, actions):
    """Return the match of actions on ports of some kinds."""
    return At(ActionMatch(actions, Selection(kinds=kinds)))


IT = Selection(of="it")
SOURCE = Selection(source=True)
RULES = RuleSet(
    (
        rule("dead-first", dead(("electrical-connector",), ("mate", "demate")), NoPath("power", IT, SOURCE)),
        rule("held", Always(), Path("hold", IT, Selection(what=("place",))), Selection(what=("unit",))),
        rule("parted-first", dead(("bolt",), ("release",)), All((
            Status(Selection(of="ports of it", kinds=("valved-disconnect",)), ("capped", "demated")),
            Status(Selection(of="ports of it", kinds=("electrical-connector",)), ("capped", "demated"))))),
        rule("warm", Always(90 * MINUTE), Path("power", IT, SOURCE), Selection(ids=("CU-2:heater",))),
        rule("capped", By("outing"), Status(Selection(kinds=("valved-disconnect",), parts=("coolant unit",)),
                                           ("capped", "open"))),
    )
)  # fmt: skip


def take_out(unit, rack):
    """Return the actions that take a unit off its seat and put it away."""
    yield from (("shut", f"{unit}:{f}") for f in FLUID)
    yield from (("demate", f"{unit}:{f}") for f in FLUID)
    yield from (("cap", f"{unit}:{f}") for f in FLUID)
    yield from (("de-energise", f"SEAT:K{j}") for j in POWER)
    yield from (("demate", f"{unit}:{j}") for j in POWER)
    yield ("grip", f"{unit}:EYE", "ANN:GRIP")
    yield from (("release", f"{unit}:{b}") for b in BOLTS)
    yield ("lift", unit)
    yield ("place", unit, rack)
    yield ("let-go", f"{unit}:EYE")


def put_in(unit):
    """Return the actions that bring a unit to its seat and into operation."""
    yield ("grip", f"{unit}:EYE", "ANN:GRIP")
    yield ("lift", unit)
    yield ("place", unit, "SEAT")
    yield from (("engage", f"{unit}:{b}", f"SEAT:{b}") for b in BOLTS)
    yield from (("torque", f"{unit}:{b}") for b in BOLTS)
    yield ("let-go", f"{unit}:EYE")
    yield from (("uncap", f"{unit}:{j}") for j in POWER)
    yield from (("mate", f"{unit}:{j}", f"SEAT:{j}") for j in POWER)
    yield from (("energise", f"SEAT:K{j}") for j in POWER)
    yield from (("uncap", f"{unit}:{f}") for f in FLUID)
    yield from (("mate", f"{unit}:{f}", f"SEAT:{f}") for f in FLUID)
    yield from (("open", f"{unit}:{f}") for f in FLUID)


EXCHANGE = (*take_out("CU-1", "RACK-2"), *put_in("CU-2"))


def sequence(actions):
    """Return actions as steps of a minute each."""
    steps = []
    for number, (action, subject, *rest) in enumerate(actions, 1):
        to = rest[0] if action == "place" else None
        subjects = (subject, *rest) if rest and action != "place" else (subject,)
        steps.append(Step(str(number), "1", "ANN", Event("", action, subjects, 0, place=to), (MINUTE,) * 3))
    return Sequence(outings=(Outing("1"),), steps=tuple(steps))


def run(actions):
    """Check an exchange against the rules."""
    return check(RULES, Start(as_installed()), sequence(actions))


def test_count_of_actions():
    """The exchange takes 69 actions: a disconnect 3 off and 3 on, a connector 2 and 3, a bolt 1 and 2; and to grip,
    lift, place and let go of two units 8.
    """
    report = run(EXCHANGE)
    assert [s.event.action for s in report.steps if s.refusals] == []
    assert len(report.steps) == 4 * (3 + 3) + 5 * (2 + 3) + 4 * (1 + 2) + 8 == 69
    worked_on = {p for s in report.steps for p in s.event.subjects if p.startswith("CU-")}
    assert len(worked_on) == 2 * (4 + 5 + 4 + 1 + 1)  # fluid, electrical, fasteners, the eye, the unit


def test_exchange_is_clean():
    """In this order nothing is impossible and no rule is broken."""
    assert run(EXCHANGE).findings == ()


def test_where_everything_is_after():
    """Afterwards the spare stands at the seat with every interface made, and the old unit in its rack, capped."""
    now = as_installed()
    for step in run(EXCHANGE).steps:
        now.apply(step.event)
    assert place_line(now, "CU-2")[0] == "SEAT"
    assert place_line(now, "CU-1")[0] == "RACK-2"
    wanted = {
        **dict.fromkeys(FLUID, "open"),
        **dict.fromkeys(POWER, "mated"),
        **dict.fromkeys(BOLTS, "torqued"),
    }
    for name, status in wanted.items():
        assert now.state(f"CU-2:{name}")[:2] == (status, f"SEAT:{name}")
    assert {now.state(f"CU-1:{f}").value for f in FLUID} == {"capped"}
    assert now.cycles == {**{f"{u}:{n}": 1 for u in ("CU-2", "SEAT") for n in wanted}}


def without(action, subject):
    """Return the exchange with one action left out."""
    return tuple(step for step in EXCHANGE if step[:2] != (action, subject))


@pytest.mark.parametrize(
    ("left_out", "rule_broken", "at"),
    [
        (("de-energise", "SEAT:KJ3"), "dead-first", ("demate", "CU-1:J3")),
        (("demate", "CU-1:J2"), "parted-first", ("release", "CU-1:B1")),
        (("cap", "CU-1:F4"), "capped", None),
        (("grip", "CU-1:EYE"), "held", ("release", "CU-1:B4")),
    ],
)
def test_left_out_step_is_found(left_out, rule_broken, at):
    """An exchange in which one action is forgotten is found out at the step where it matters."""
    report = run(without(*left_out))
    first = next(f for f in report.findings if f.rule == rule_broken)
    step = report.step_of.get(first.event or "")
    names = {s.laid.step.id: (s.event.action, s.event.subjects[0]) for s in report.steps}
    assert names.get(step or "") == at


def test_wrong_size_is_impossible():
    """A 1/4 in disconnect doesn't go on a 1 1/2 in half, nor one connector on another's."""
    now = as_installed()
    event = Event("", "mate", ("CU-2:F4", "SEAT:F1"), 1)
    codes = {r.code for r in resolve(now, event).refusals}
    assert {"size", "status"} <= codes
    assert "keying" in {r.code for r in resolve(now, Event("", "mate", ("CU-2:J1", "SEAT:J2"), 1)).refusals}
