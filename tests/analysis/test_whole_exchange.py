"""A whole exchange, checked step by step: an air drier on a tower is taken down, and its spare put up.

The drier, its frame and its crane are this test's own. What is to be expected of the exchange follows from their
definition: each interface is parted once on the old unit and joined once on the spare, and nothing else is.
"""

from collections import Counter

import pytest

from cfgtrack.analysis.check import Start, check
from cfgtrack.files.definition import shipped
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration, place_line
from cfgtrack.model.event import Event
from cfgtrack.model.hold import mate_of
from cfgtrack.model.part import InternalLink, Node, Part, Port
from cfgtrack.model.plant import Place, Plant, Unit
from cfgtrack.model.sequence import Outing, Sequence, Step
from cfgtrack.rules.match import ActionMatch
from cfgtrack.rules.rule import Rule, RuleSet
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.what.all import All
from cfgtrack.rules.what.no_path import NoPath
from cfgtrack.rules.what.path import Path
from cfgtrack.rules.what.status import Status
from cfgtrack.rules.when.always import Always
from cfgtrack.rules.when.at import At
from cfgtrack.rules.when.by import By
from tests.happening import happened, refused

FLUID = {"IN": "2 in", "OUT": "2 in", "DRAIN": "3/8 in"}
POWER = ("FAN", "HEAT")
DATA = ("BUS",)
BOLTS = ("M1", "M2", "M3", "M4", "M5", "M6")
MINUTE = 60_000_000


def ports(gender):
    """Return the interfaces of the drier, or the halves that they go on."""
    return {
        **{n: Port(n, "valved-disconnect", size=size, gender=gender) for n, size in FLUID.items()},
        **{n: Port(n, "electrical-connector", keying=n, gender=gender) for n in POWER},
        **{n: Port(n, "data-connector", gender=gender) for n in DATA},
        **{n: Port(n, "bolt", size="M20", gender=gender) for n in BOLTS},
    }


def plant():
    """Return a drier at work, its spare on a shelf that holds it, a crane with a hook."""
    drier = Part(
        "drier",
        ports={**ports("plug"), "LUG": Port("LUG", "grip")},
        nodes={
            "bed": Node("bed", "fluid", litres=60.0),
            "coil": Node("coil", "power", roles=frozenset({"load"})),
        },
        links=(
            *(InternalLink("bed", f) for f in FLUID),
            *(InternalLink(p, "coil", one_way=True) for p in POWER),
        ),
    )
    frame = Part(
        "frame",
        ports={**ports("socket"), **{f"Q-{p}": Port(f"Q-{p}", "switch") for p in POWER}},
        nodes={
            "receiver": Node("receiver", "fluid", roles=frozenset({"expansion"})),
            "mains": Node("mains", "power", roles=frozenset({"source"})),
        },
        links=(
            *(InternalLink("receiver", f) for f in FLUID),
            *(InternalLink("mains", p, f"Q-{p}") for p in POWER),
        ),
    )
    hook = Part("hook", ports={"JAW": Port("JAW", "grip")})
    places = (
        Place("TOWER"),
        Place("FRAME", "TOWER", part="frame"),
        Place("SHELF-1", "TOWER", holds=True),
        Place("SHELF-2", "TOWER", holds=True, capacity=1),
        Place("CRANE", "TOWER", mobile=True, part="hook"),
    )
    defaults = shipped()
    return Plant(
        defaults.media,
        defaults.kinds,
        {p.id: p for p in (drier, frame, hook)},
        {u: Unit(u, "drier") for u in ("OLD", "NEW")},
        {p.id: p for p in places},
    )


def interfaces():
    """Return the ports of the drier that have another half on the frame, by the definition."""
    found = plant()
    names = [n for n in found.parts["drier"].ports if n in found.parts["frame"].ports]
    assert Counter(found.kinds[found.parts["drier"].ports[n].kind].medium for n in names) == {
        "fluid": 3,
        "power": 2,
        "data": 1,
        "hold": 6,
    }
    return names


def as_installed():
    """Return OLD bolted, mated, open and powered on its frame, NEW capped on the first shelf."""
    now = Configuration(plant())
    found: list[tuple[str, str, str | None, str | None]] = [
        ("OLD", "", "FRAME", None),
        ("NEW", "", "SHELF-1", None),
    ]
    found += [(f"OLD:{n}", f"FRAME:{n}", None, "torqued") for n in BOLTS]
    found += [(f"OLD:{n}", f"FRAME:{n}", None, "mated") for n in (*POWER, *DATA)]
    found += [(f"OLD:{n}", f"FRAME:{n}", None, "open") for n in FLUID]
    found += [(f"FRAME:Q-{n}", "", None, "on") for n in POWER]
    found += [(f"NEW:{n}", "", None, "capped") for n in (*FLUID, *POWER, *DATA)]
    for a, b, place, status in found:
        event = Action("0", "as-found", (a, b) if b else (a,), 0, place=place, status=status, initial=True)
        resolved = happened(now, event)
        now.apply(resolved)
    return now


def rule(name, mode, condition, scope=None):
    """Return a critical rule."""
    return Rule(name, "", "", 2, "common practice", mode, condition, scope)


def when(kinds, actions):
    """Return the mode of a rule on actions at ports of some kinds."""
    return At(ActionMatch(actions, Selection(kinds=kinds)))


IT = Selection(of="it")
SOURCE = Selection(source=True)
RULES = RuleSet(
    (
        rule("dead-first", when(("electrical-connector",), ("mate", "demate")), NoPath("power", IT, SOURCE)),
        rule("held", Always(), Path("hold", IT, Selection(what=("place",))), Selection(what=("unit",))),
        rule("parted-first", when(("bolt",), ("release",)), All(tuple(
            Status(Selection(of="ports of it", kinds=(kind,)), ("capped", "demated"))
            for kind in ("valved-disconnect", "electrical-connector", "data-connector")))),
        rule("warm", Always(90 * MINUTE), Path("power", IT, SOURCE), Selection(ids=("NEW:coil",))),
        rule("capped", By("outing"), Status(Selection(kinds=("valved-disconnect",), parts=("drier",)),
                                           ("capped", "open"))),
    )
)  # fmt: skip


def take_down(unit, shelf):
    """Return the actions that take a drier off the frame and put it away."""
    yield from (("shut", f"{unit}:{f}") for f in FLUID)
    yield from (("demate", f"{unit}:{f}") for f in FLUID)
    yield from (("cap", f"{unit}:{f}") for f in FLUID)
    yield from (("de-energise", f"FRAME:Q-{p}") for p in POWER)
    yield from (("demate", f"{unit}:{n}") for n in (*POWER, *DATA))
    yield ("grip", f"{unit}:LUG", "CRANE:JAW")
    yield from (("release", f"{unit}:{b}") for b in BOLTS)
    yield ("lift", unit)
    yield ("place", unit, shelf)
    yield ("let-go", f"{unit}:LUG")


def put_up(unit):
    """Return the actions that bring a drier to the frame and into operation."""
    yield ("grip", f"{unit}:LUG", "CRANE:JAW")
    yield ("lift", unit)
    yield ("place", unit, "FRAME")
    yield from (("engage", f"{unit}:{b}", f"FRAME:{b}") for b in BOLTS)
    yield from (("torque", f"{unit}:{b}") for b in BOLTS)
    yield ("let-go", f"{unit}:LUG")
    yield from (("uncap", f"{unit}:{n}") for n in (*POWER, *DATA))
    yield from (("mate", f"{unit}:{n}", f"FRAME:{n}") for n in (*POWER, *DATA))
    yield from (("energise", f"FRAME:Q-{p}") for p in POWER)
    yield from (("uncap", f"{unit}:{f}") for f in FLUID)
    yield from (("mate", f"{unit}:{f}", f"FRAME:{f}") for f in FLUID)
    yield from (("open", f"{unit}:{f}") for f in FLUID)


EXCHANGE = (*take_down("OLD", "SHELF-2"), *put_up("NEW"))


def sequence(actions):
    """Return actions as steps of a minute each."""
    steps = []
    for number, (action, subject, *rest) in enumerate(actions, 1):
        to = rest[0] if action == "place" else None
        subjects = (subject, *rest) if rest and action != "place" else (subject,)
        steps.append(
            Step(str(number), "1", "CRANE", Action("", action, subjects, 0, place=to), (MINUTE,) * 3)
        )
    return Sequence(outings=(Outing("1"),), steps=tuple(steps))


def run(actions):
    """Check an exchange against the rules."""
    return check(RULES, Start(as_installed()), sequence(actions))


def joints(report):
    """Replay the checked steps: how often each half of a drier lost a mate, and how often it got which."""
    now = as_installed()
    halves = [f"{u}:{n}" for u in ("OLD", "NEW") for n in now.plant.parts["drier"].ports]
    parted: Counter[str] = Counter()
    joined: Counter[tuple[str, str]] = Counter()
    for step in report.steps:
        before = {half: mate_of(now, half) for half in halves}
        assert isinstance(step.outcome, Event)
        now.apply(step.outcome)
        for half in halves:
            after = mate_of(now, half)
            parted[half] += before[half] is not None and after != before[half]
            if after is not None and after != before[half]:
                joined[half, after] += 1
    return +parted, joined, now


def test_exchange_is_clean():
    """In this order nothing is impossible and no rule is broken."""
    report = run(EXCHANGE)
    assert [s.done.action for s in report.steps if not s.possible] == []
    assert report.new == ()


def test_each_interface_is_parted_once_and_joined_once():
    """Every interface loses its mate once on the old drier and gets the same one once on the new."""
    parted, joined, _ = joints(run(EXCHANGE))
    hooked = ("OLD:LUG", "NEW:LUG")
    assert parted == Counter([*(f"OLD:{n}" for n in interfaces()), *hooked])
    expected = [*((f"NEW:{n}", f"FRAME:{n}") for n in interfaces()), *((lug, "CRANE:JAW") for lug in hooked)]
    assert joined == Counter(expected)


def test_where_everything_is_after():
    """Afterwards the spare stands in the frame with every half as far as it goes, and the old drier is put away."""
    _, _, now = joints(run(EXCHANGE))
    assert place_line(now, "NEW")[0] == "FRAME"
    assert place_line(now, "OLD")[0] == "SHELF-2"
    kinds, ports_of = now.plant.kinds, now.plant.parts["drier"].ports
    for name in interfaces():
        top = kinds[ports_of[name].kind].statuses[-1]
        assert now.state(f"NEW:{name}")[:2] == (top, f"FRAME:{name}")
        assert now.state(f"FRAME:{name}")[:2] == (top, f"NEW:{name}")
        assert mate_of(now, f"OLD:{name}") is None
    assert {now.state(f"OLD:{f}").value for f in FLUID} == {"capped"}
    assert {now.state(f"FRAME:Q-{p}").value for p in POWER} == {"on"}
    assert now.cycles == {f"{o}:{n}": 1 for o in ("NEW", "FRAME") for n in interfaces()}


def without(action, subject):
    """Return the exchange with one action left out."""
    left = tuple(step for step in EXCHANGE if step[:2] != (action, subject))
    assert len(left) == len(EXCHANGE) - 1
    return left


@pytest.mark.parametrize(
    ("left_out", "rule_broken", "at"),
    [
        (("de-energise", "FRAME:Q-HEAT"), "dead-first", ("demate", "OLD:HEAT")),
        (("demate", "OLD:FAN"), "parted-first", ("release", "OLD:M1")),
        (("demate", "OLD:BUS"), "parted-first", ("release", "OLD:M1")),
        (("cap", "OLD:DRAIN"), "capped", None),
        (("grip", "OLD:LUG"), "held", ("release", "OLD:M6")),
    ],
)
def test_left_out_step_is_found(left_out, rule_broken, at):
    """An exchange in which one action is forgotten is found out at the step where it matters."""
    report = run(without(*left_out))
    first = next(f for f in report.new if f.rule == rule_broken)
    names = {s.step: (s.done.action, s.done.subjects[0]) for s in report.steps}
    assert names.get(first.step or "") == at


def test_late_heat_is_found():
    """The spare's coil is without power from the start: power that comes later than the rule allows is a finding."""
    report = check(RULES, Start(as_installed()), sequence((("inspect", "NEW:M1"),) * 45 + EXCHANGE))
    (finding,) = report.new
    assert (finding.rule, finding.subjects, finding.time) == ("warm", ("NEW:coil",), 90 * MINUTE)


def test_wrong_size_is_impossible():
    """A 3/8 in disconnect doesn't go on a 2 in half, nor one connector on another's."""
    now = as_installed()
    event = Action("", "mate", ("NEW:DRAIN", "FRAME:IN"), 1)
    codes = {r.code for r in refused(now, event)}
    assert {"size", "status"} <= codes
    assert "keying" in {r.code for r in refused(now, Action("", "mate", ("NEW:FAN", "FRAME:HEAT"), 1))}
