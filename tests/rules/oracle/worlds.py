"""Random small plants, rules over them, and what is done to them: by a seed, or by hypothesis.

A case has a theme, which makes sure that what is rare comes up; around it everything is drawn at random. All that is
done is possible by the plainest reading: what is mated stands at one place, what is moved is joined to nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from random import Random
from typing import Any

from hypothesis import strategies as st

from tests.rules.oracle.moment import Moment
from tests.rules.oracle.plant import SECOND, Plant, Table
from tests.rules.oracle.state import Event, State, after, initial

MINUTE = 60 * SECOND
DURATIONS = ["5 min", "10 min", "15 min", "30 min"]
PAUSES = [
    0,
    SECOND,
    MINUTE,
    2 * MINUTE,
    5 * MINUTE,
    10 * MINUTE,
    15 * MINUTE,
    10 * MINUTE + 1,
    30 * MINUTE,
    40 * MINUTE,
]
PEOPLE = ("ANN", "BEN")
THEMES = ["plain", "second", "clock", "ends", "custom", "plan", "mix", "variance", "presence"]
THEMES += 2 * ["stays", "thermal"]


@dataclass(frozen=True)
class Variance:
    """An approved exception: the breach whose fingerprint it names (by its place among those found), and how long
    it runs."""

    number: int
    since: int
    until: int | None


@dataclass(frozen=True)
class Case:
    """A plant, its rules, and what is done: recorded events, or a plan whose steps are laid out."""

    theme: str
    hardware: Table
    rules: list[Table]
    events: list[Event]
    horizon: int
    plan: Table | None = None
    variances: list[Variance] = field(default_factory=list)


@dataclass(frozen=True)
class Language:
    """What the rules and plants of a case may say: left out where what reads them doesn't know it yet."""

    ages: bool = True
    sites: bool = True
    apart: bool = False
    """No two events at one instant, and none at the first."""


def case(random: Random, language: Language = Language()) -> Case:
    """Return a case drawn from a source of chance."""
    theme = random.choice([t for t in THEMES if language.sites or t != "presence"])
    hardware = _hardware(random, theme)
    told = hardware["initial"]
    if theme == "mix":
        told["status"]["BAY:V1"] = "open"
    if theme == "thermal":
        # A heater that is on, where it is cold without it.
        told["status"]["BAY:K1"] = "on"
        told["joined"] += [pair for pair in [["P1:J1", "BAY:J1"]] if pair not in told["joined"]]
        hardware["place"][1]["sink"] = random.choice(["-20 degC", "-5 degC", "20 degC"])
    draw = _Draw(random, hardware, language)
    rules = [_rule(draw, number) for number in range(random.randint(1, 4))]
    rules += _themed(draw, theme)
    for number, rule in enumerate(rules):
        rule["id"] = f"R{number}"
    plan = None
    if theme in ("plan", "mix"):
        plan, events = _plan(draw, theme), []
        horizon = 0
    else:
        events = _events(draw, theme)
        pause = random.choice([0, 0, 1, 10 * MINUTE, 60 * MINUTE])
        horizon = (events[-1]["happened"] if events else 0) + pause
    variances = []
    if theme == "variance":
        begun = random.choice([0, 0, 5 * MINUTE])
        ended = random.choice([None, None, 20 * MINUTE])
        variances = [Variance(random.randint(0, 2), begun, ended)]
    return Case(theme, hardware, rules, events, horizon, plan, variances)


def cases(language: Language = Language()) -> st.SearchStrategy[Case]:
    """Return the strategy that draws cases: the same choices, made by hypothesis, so that it can shrink them."""
    return st.randoms(use_true_random=False).map(lambda random: case(random, language))


# --- the plant --------------------------------------------------------------------------------------------------------


def _hardware(random: Random, theme: str) -> Table:
    """Return a bay with a panel, a shelf in it, a rack, an aisle, two people, and two to six units."""
    sites = theme == "presence"
    one_way = random.random() < 0.3
    panel_links: list[list[str]] = [
        ["HEADER", "F1", "V1"],
        ["F1", "ACC", "V2"],
        ["F2", "ACC", "V3"],
        ["BUS", "J1", "K1"],
    ]
    panel_links += [["BUS", "LAMP1", "K1"], ["BUS", "LAMP2", "K2"]]
    if random.random() < 0.5:
        panel_links.append(["F1", "F2"])
    panel: Table = {
        "id": "panel",
        "port": [
            *({"name": name, "kind": "fluid-disconnect"} for name in ("F1", "F2", "F3")),
            *({"name": name, "kind": "valve"} for name in ("V1", "V2", "V3")),
            *({"name": name, "kind": "switch"} for name in ("K1", "K2")),
            {"name": "J1", "kind": "electrical-connector"},
            *({"name": name, "kind": "bolt"} for name in ("B1", "B2")),
            {"name": "T1", "kind": "tether"},
        ],
        "node": [
            {"name": "HEADER", "medium": "fluid", "source": True},
            {"name": "ACC", "medium": "fluid", "expansion": True},
            {"name": "MAIN", "medium": "fluid", "litres": "2 l"},
            {"name": "BUS", "medium": "power", "source": True},
            {"name": "LAMP1", "medium": "power", "load": True},
            {"name": "LAMP2", "medium": "power", "load": True},
        ],
        "links": panel_links,
        "link": [
            {"a": "MAIN", "b": "F3", **({"one_way": True} if one_way else {})},
            {"a": "F3", "b": "ACC", "gate": "V2"},
        ],
    }
    rack: Table = {
        "id": "rack-panel",
        "port": [{"name": "J1", "kind": "electrical-connector"}, {"name": "K1", "kind": "switch"}],
        "node": [{"name": "BUS", "medium": "power", "source": True}],
        "links": [["BUS", "J1", "K1"]],
    }
    pump: Table = {
        "id": "pump",
        "port": [
            {"name": "F1", "kind": "fluid-disconnect", "cycles": random.randint(1, 2)},
            {"name": "F2", "kind": "valved-disconnect" if random.random() < 0.3 else "fluid-disconnect"},
            {"name": "J1", "kind": "electrical-connector"},
            {"name": "B1", "kind": "bolt", "torque": ["20 N*m", "30 N*m"], "pattern": "base/1"},
            {"name": "B2", "kind": "bolt", "torque": ["20 N*m", "30 N*m"], "pattern": "base/2"},
            {"name": "V1", "kind": "valve"},
            {"name": "H1", "kind": "grip"},
        ],
        "node": [
            {"name": "VOL", "medium": "fluid", "litres": "1 l"},
            {"name": "HEAT", "medium": "power", "load": True, "tags": ["heater"]},
        ],
        "links": [["F1", "VOL"], ["VOL", "F2", "V1"], ["J1", "HEAT"]],
        "thermal": {
            "capacity": "3600 J/K",
            "leak": random.choice(["1 W/K", "3 W/K"]),
            "start": random.choice(["20 degC", "5 degC", "-10 degC"]),
            "limit": "0 degC",
        },
        "trapped": random.choice(["5 min", "10 min"]),
    }
    hose: Table = {
        "id": "hose",
        "flexible": True,
        "port": [{"name": "A", "kind": "fluid-disconnect"}, {"name": "B", "kind": "fluid-disconnect"}],
        "node": [{"name": "BORE", "medium": "fluid", "litres": "0.3 l"}],
        "links": [["A", "BORE"]],
        "link": [{"a": "BORE", "b": "B", **({"one_way": True} if random.random() < 0.4 else {})}],
    }
    tool: Table = {
        "id": "tool",
        "tags": ["loose"],
        "port": [{"name": "H1", "kind": "grip"}, {"name": "T1", "kind": "tether"}],
    }
    hands: Table = {"id": "hands", "port": [{"name": "HAND", "kind": "grip"}]}
    units: list[Table] = [
        {"id": "P1", "part": "pump", "loop": "A"},
        {"id": "T1", "part": "tool", "home": "RACK"},
    ]
    extra: list[Table] = [
        {"id": "P2", "part": "pump", "loop": "B", "tags": ["spare"]},
        {"id": "H1", "part": "hose", "home": "SHELF"},
        {"id": "H2", "part": "hose", "home": "RACK"},
        {"id": "T2", "part": "tool", "home": "RACK"},
    ]
    units += random.sample(extra, random.randint(0, 4))
    named_site = {"site": True} if sites else {}
    places: list[Table] = [
        {"id": "TOP", "holds": random.random() < 0.5},
        {"id": "BAY", "parent": "TOP", "part": "panel", "sink": "20 degC", **named_site},
        {"id": "SHELF", "parent": "BAY", "holds": True},
        {
            "id": "RACK",
            "parent": "TOP",
            "part": "rack-panel",
            "holds": True,
            "sink": "-20 degC",
            "tags": ["stowage"],
            **named_site,
        },
        {"id": "AISLE", "parent": "TOP", "holds": True, "tags": ["corridor"], **named_site},
        {"id": "ANN", "parent": "AISLE", "mobile": True, "part": "hands"},
        {"id": "BEN", "parent": "AISLE", "mobile": True, "part": "hands"},
    ]
    status = {
        "BAY:V1": "open",
        "BAY:V2": "open",
        "BAY:V3": "open",
        "BAY:K1": "on",
        "BAY:K2": "on",
        "BAY:F3": "capped",
    }
    status = {port: word for port, word in status.items() if random.random() < 0.8}
    place: dict[str, str] = {"P1": "BAY"}
    joined = [["P1:F1", "BAY:F1"], ["P1:J1", "BAY:J1"], ["P1:B1", "BAY:B1"], ["P1:B2", "BAY:B2"]]
    joined = [pair for pair in joined if random.random() < 0.85]
    for unit in units[1:]:
        place[unit["id"]] = random.choice(["SHELF", "RACK", "AISLE"])
    return {
        "title": "A case",
        "part": [panel, rack, pump, hose, tool, hands],
        "unit": units,
        "place": places,
        "initial": {"by": "survey", "joined": joined, "status": status, "place": place},
    }


# --- rules ------------------------------------------------------------------------------------------------------------


class _Draw:
    """What a case is drawn from: chance, and what there is to name."""

    def __init__(self, random: Random, hardware: Table, language: Language) -> None:
        self.random = random
        self.hardware = hardware
        self.plant = Plant(hardware)
        self.language = language
        self.state = initial(self.plant)
        self.units = sorted(self.plant.units)
        self.pumps = [unit for unit in self.units if self.plant.units[unit]["part"] == "pump"]

    def pick(self, choices: Any) -> Any:
        return self.random.choice(list(choices))

    def chance(self, p: float) -> bool:
        return self.random.random() < p


LIQUID = {"what": "node", "liquid": True, "may_be_empty": True}
EXPANSION = {"what": "node", "medium": "fluid", "expansion": True}
FLUID_SOURCE = {"what": "node", "medium": "fluid", "source": True}
POWER_SOURCE = {"what": "node", "medium": "power", "source": True}
HEATER = {"what": "node", "load": True, "tag": "heater", "may_be_empty": True}
PLACE = {"what": "place"}


def _on_node(draw: _Draw, it: Any) -> Table:
    """Return a condition on liquid volumes, `it` or a selection of them."""
    options: list[Table] = [
        {"path": "fluid", "from": it, "to": EXPANSION},
        {"path": "fluid", "from": it, "to": EXPANSION},
        {"no_path": "fluid", "from": it, "to": FLUID_SOURCE},
        {"value": it, "quantity": "volume", "max": "0.5 l", **_age(draw)},
        {"value": it, "quantity": "pressure", "max": "50 kPa", "unmeasured": True},
    ]
    return dict(draw.pick(options))


def _age(draw: _Draw) -> Table:
    if not draw.language.ages or draw.chance(0.4):
        return {}
    if draw.chance(0.5):
        return {"max_age": draw.pick(DURATIONS)}
    return {"since": draw.pick(["inspect", "measure", ["mate", "open"]])}


def _on_power(draw: _Draw, it: Any) -> Table:
    option = {"path": "power", "from": it, "to": POWER_SOURCE}
    return option if draw.chance(0.7) else {"no_path": "power", "from": it, "to": POWER_SOURCE}


def _on_unit(draw: _Draw, it: Any) -> Table:
    options: list[Table] = [
        {"path": "hold", "from": it, "to": PLACE},
        {"status": it, "at": draw.pick(["RACK", "#stowage", ["BAY", "RACK"], "AISLE"])},
        {
            "value": it,
            "quantity": "temperature",
            "max": "20 degC",
            **(_age(draw) or {"unmeasured": draw.chance(0.5)}),
        },
        {"done": "measure", "since": draw.pick(["place", ["place", "lift"], "inspect"]), "of": it},
        {
            "value": it,
            "quantity": "elapsed",
            "since": "inspect",
            "max": draw.pick(DURATIONS),
            "unmeasured": draw.chance(0.6),
        },
    ]
    return dict(draw.pick(options))


def _on_port(draw: _Draw, it: Any) -> Table:
    options: list[Table] = [
        {"status": it, "is": draw.pick([["capped", "mated"], "demated", "mated"])},
        {"value": it, "quantity": "cycles", "rated": True},
        {"value": it, "quantity": "cycles", "max": 1},
        {
            "value": it,
            "quantity": "pressure",
            "max": "50 kPa",
            **(_age(draw) or {"unmeasured": draw.chance(0.5)}),
        },
        {"no_path": "fluid", "from": it, "to": FLUID_SOURCE},
        {"path": "fluid", "from": it, "to": EXPANSION},
        {"done": "measure", "since": ["mate", "uncap"], "of": it, "quantity": "pressure"},
    ]
    return dict(draw.pick(options))


SORTS: dict[str, tuple[Table, Any]] = {
    "node": (LIQUID, _on_node),
    "heater": (HEATER, _on_power),
    "lamp": ({"what": "node", "load": True, "id": "BAY:LAMP*"}, _on_power),
    "unit": ({"what": "unit"}, _on_unit),
    "port": ({"what": "port", "kind": "fluid-disconnect"}, _on_port),
}


def _valves(draw: _Draw) -> Table:
    chosen = draw.random.sample(["BAY:V1", "BAY:V2", "BAY:V3"], draw.random.randint(1, 3))
    return {"id": sorted(chosen)}


def _count(draw: _Draw, it: Any, sort: str) -> Table:
    """Return a count: of valves open, of lamps with power, of units at a place, of a unit's own ports."""
    bound: Table = {draw.pick(["at_least", "at_most"]): draw.random.randint(0, 2)}
    options: list[Table] = [
        {"count": {"id": ["BAY:V*"], "kind": "valve"}, "is": draw.pick(["open", "shut"]), **bound},
        {"count": {"what": "unit"}, "at": draw.pick(["#corridor", "BAY", "RACK"]), **bound},
        {"count": {"id": "BAY:LAMP*"}, "path": "power", "to": POWER_SOURCE, **bound},
        {"count": dict(LIQUID), "path": "fluid", "to": EXPANSION, **bound},
    ]
    if it is not None and sort == "unit":
        ports = {"of": "ports of it", "kind": ["fluid-disconnect", "bolt"], "may_be_empty": True}
        options.append(
            {"count": ports, "is": draw.pick([["capped", "mated"], ["engaged", "torqued"]]), **bound}
        )
    return dict(draw.pick(options))


def _simple(draw: _Draw, it: Any, sort: str) -> Table:
    """Return a condition of items: of `it`, where the rule has one, or of a selection."""
    if draw.chance(0.15):
        return {"status": _valves(draw), "is": "open"}
    selection, on = SORTS[sort]
    named = {**selection, "may_be_empty": True}
    if it is None and draw.chance(0.4):
        items = [item for item in draw.plant.items() if _fits(draw, item, selection)]
        if items:
            few = draw.random.sample(items, min(len(items), draw.random.randint(1, 3)))
            named = {"id": sorted(few), "what": draw.plant.what(few[0])}
    if it is not None and sort == "unit" and draw.chance(0.3):
        inner = {"of": "nodes of it", "liquid": True, "may_be_empty": True}
        return dict(_on_node(draw, inner))
    return dict(on(draw, it if it is not None else named))


def _fits(draw: _Draw, item: str, selection: Table) -> bool:
    return Moment(draw.plant, draw.state, 0).fits(item, selection)


def _condition(draw: _Draw, it: Any, sort: str, depth: int = 2) -> Table:
    kind = draw.pick(["simple", "simple", "simple", "count", "all", "any", "not"]) if depth else "simple"
    if kind == "count":
        return _count(draw, it, sort)
    if kind == "not":
        return {"not": _condition(draw, it, sort, depth - 1)}
    if kind in ("all", "any"):
        return {kind: [_condition(draw, it, sort, depth - 1) for _ in range(draw.random.randint(1, 3))]}
    return _simple(draw, it, sort)


def _told(**rule: Any) -> Table:
    return {"title": "a rule", "hazard": "harm", "severity": 2, "source": "common practice", **rule}


def _rule(draw: _Draw, number: int) -> Table:
    """Return a rule of any mode over any condition."""
    mode = draw.pick(["always", "always", "at", "within", "within", "by", "by"])
    sort = draw.pick(sorted(SORTS))
    selection, _ = SORTS[sort]
    scoped = draw.chance(0.5)
    scope: Table = {"scope": {**selection, "may_be_empty": True}} if scoped else {}
    if scoped and sort == "unit" and mode in ("always", "by") and draw.chance(0.3):
        scope["scope"]["at"] = draw.pick(["BAY", "RACK", "*"])
    it = "it" if scoped else None
    if mode == "always":
        tolerance = {"tolerance": draw.pick(DURATIONS)} if draw.chance(0.5) else {}
        return _told(mode="always", **tolerance, **scope, condition=_condition(draw, it, sort))
    if mode == "by":
        return _told(
            mode="by",
            by=draw.pick(["outing", "outing", "sequence", "stop"]),
            **scope,
            condition=_condition(draw, it, sort),
        )
    if mode == "at":
        action, what = draw.pick(
            [("demate", "port"), ("mate", "port"), ("place", "unit"), ("uncap", "port"), ("shut", "valve")]
        )
        at: Table = {"action": action, "may_be_empty": True}
        at |= {"kind": "valve"} if what == "valve" else {"what": what}
        if what == "port":
            at["kind"] = "fluid-disconnect"
        its = {"port": "port", "unit": "unit", "valve": "port"}[what]
        condition = (
            _condition(draw, "it", its)
            if what != "valve"
            else _condition(draw, None, draw.pick(sorted(SORTS)))
        )
        return _told(mode="at", **({"after": True} if draw.chance(0.4) else {}), at=at, condition=condition)
    limit = draw.pick(DURATIONS)
    if scoped or draw.chance(0.5):
        if not scoped:
            scope, it = {"scope": {**selection, "may_be_empty": True}}, "it"
        trigger = {"turns_true": _condition(draw, it, sort, 1)}
        stays = {"stays": True} if draw.chance(0.3) else {}
        return _told(
            mode="within",
            within=limit,
            **stays,
            **scope,
            trigger=trigger,
            condition=_condition(draw, it, sort),
        )
    action, its = draw.pick([("demate", "port"), ("uncap", "port"), ("place", "unit"), ("inspect", "unit")])
    on: Table = {"action": action, "what": its, "may_be_empty": True}
    if its == "port":
        on["kind"] = "fluid-disconnect"
    return _told(mode="within", within=limit, trigger=on, condition=_condition(draw, "it", its))


def _themed(draw: _Draw, theme: str) -> list[Table]:
    """Return the rules that bring a theme up."""
    volumes = {"path": "fluid", "from": dict(LIQUID), "to": EXPANSION}
    if theme in ("second", "variance"):
        pick = draw.pick(["path", "status", "count", "all"])
        condition: Table = volumes
        if pick == "status":
            condition = {"status": {"id": ["BAY:V1", "BAY:V2", "BAY:V3"]}, "is": "open"}
        if pick == "count":
            condition = {"count": {"id": "BAY:V*", "kind": "valve"}, "is": "open", "at_least": 3}
        if pick == "all":
            lamps = {"path": "power", "from": {"id": "BAY:LAMP*"}, "to": POWER_SOURCE}
            condition = {"all": [volumes, lamps]}
        tolerance = {"tolerance": "5 min"} if draw.chance(0.3) else {}
        return [_told(mode="always", **tolerance, condition=condition)]
    if theme in ("clock", "stays"):
        lamp = {"what": "node", "id": "BAY:LAMP*"}
        dark = {"no_path": "power", "from": "it", "to": POWER_SOURCE}
        lit = {"path": "power", "from": "it", "to": POWER_SOURCE}
        if theme == "clock":
            return [
                _told(
                    mode="within",
                    within=draw.pick(DURATIONS),
                    scope=lamp,
                    trigger={"turns_true": dark},
                    condition=lit,
                )
            ]
        valve = {"what": "port", "id": ["BAY:V1", "BAY:V2"]}
        shut = {"status": "it", "is": "shut"}
        return [
            _told(
                mode="within",
                within="30 min",
                stays=True,
                scope=valve,
                trigger={"turns_true": shut},
                condition={"status": "BAY:K1", "is": draw.pick(["on", "off"])},
            ),
        ]
    if theme == "ends":
        condition = draw.pick(
            [
                {"status": {"id": ["BAY:V1", "BAY:V2"]}, "is": "open"},
                {"status": {"id": ["BAY:F2", "BAY:F3"]}, "is": ["capped", "mated"]},
                volumes,
            ]
        )
        return [_told(mode="by", by="outing", condition=condition)]
    if theme == "thermal":
        stowed = {"action": "place", "what": "unit", "part": "pump", "to": "#stowage"}
        warm = {
            "any": [
                {"path": "power", "from": {"of": "nodes of it", "tag": "heater"}, "to": POWER_SOURCE},
                {"not": {"status": "it", "at": "#stowage"}},
            ]
        }
        lost = {"turns_true": {"no_path": "power", "from": "it", "to": POWER_SOURCE}}
        fed = {"path": "power", "from": "it", "to": POWER_SOURCE}
        return [
            _told(mode="within", within="thermal", trigger=stowed, condition=warm),
            _told(mode="within", within="thermal", scope=dict(HEATER), trigger=lost, condition=fed),
            _told(
                mode="within",
                within="trapped",
                scope={**LIQUID, "part": "pump"},
                trigger={"turns_true": {"not": {"path": "fluid", "from": "it", "to": EXPANSION}}},
                condition={"path": "fluid", "from": "it", "to": EXPANSION},
            ),
        ]
    if theme == "custom":
        order: Table = {"custom": "tightening-order", "of": "it"}
        condition = (
            order
            if draw.chance(0.6)
            else {"all": [order, {"value": "it", "quantity": "torque", "rated": True}]}
        )
        bolts = {"action": "torque", "kind": "bolt", "part": "pump"}
        return [
            _told(mode="at", at=bolts, **({"after": True} if draw.chance(0.3) else {}), condition=condition)
        ]
    if theme == "mix":
        open_ = {"status": "BAY:V1", "is": "open"}
        if draw.chance(0.5):
            return [_told(mode="always", tolerance="20 min", condition=open_)]
        valve = {"what": "port", "id": "BAY:V1"}
        return [
            _told(
                mode="within",
                within="20 min",
                scope=valve,
                trigger={"turns_true": {"status": "it", "is": "shut"}},
                condition={"status": "it", "is": "open"},
            )
        ]
    return []


# --- what is done -----------------------------------------------------------------------------------------------------


def possible(plant: Plant, state: State) -> list[Event]:
    """Return what can be done now beyond doubt, without its time."""
    found: list[Event] = []
    for port, status in sorted(state.status.items()):
        for move in plant.kind(port).get("move", []):
            if status not in move["from"] or (
                plant.kind(port).get("joined") and port in state.mate and move.get("each")
            ):
                continue
            one_sided = "joined" not in plant.kind(port) or move.get("each")
            event = {"action": move["action"], "subjects": [port]}
            if one_sided or port in state.mate:
                if one_sided or port < state.mate[port]:
                    found.append(event)
            elif plant.at_least(port, move["to"], "joined") and not plant.at_least(port, status, "joined"):
                mates = [
                    other for other in state.status if port < other and _may_join(plant, state, port, other)
                ]
                found += [{"action": move["action"], "subjects": [port, other]} for other in mates]
    free = [unit for unit in plant.units if not any(plant.owner[port] == unit for port in state.mate)]
    for unit in free:
        for place in ("BAY", "SHELF", "RACK", "AISLE"):
            if state.at.get(unit) != place:
                found.append({"action": "place", "subjects": [unit], "place": place})
        found += [
            {"action": "lift", "subjects": [unit], "place": who}
            for who in PEOPLE
            if state.at.get(unit) != who
        ]
    for who in PEOPLE:
        if f"{who}:HAND" not in state.mate:
            found += [
                {"action": "place", "subjects": [who], "place": place}
                for place in ("BAY", "RACK", "AISLE")
                if state.at[who] != place
            ]
    return found


def _may_join(plant: Plant, state: State, a: str, b: str) -> bool:
    """Return whether two free halves of a kind stand at one place: a hand's with what stands where the person is."""
    kinds = plant.ports[a]["kind"], plant.ports[b]["kind"]
    if (
        kinds[0] != kinds[1]
        or plant.owner[a] == plant.owner[b]
        or state.status[a] != state.status[b]
        or b in state.mate
    ):
        return False
    if not any(
        move["to"] == plant.kind(a)["joined"] and state.status[b] in move["from"]
        for move in plant.kind(a)["move"]
    ):
        return False
    people = [port for port in (a, b) if plant.places.get(plant.owner[port], {}).get("mobile")]
    if kinds[0] == "grip" and len(people) != 1:
        return False
    stand = [state.at.get(plant.owner[port], plant.owner[port]) for port in (a, b)]
    if any(plant.places[place].get("mobile") for place in stand):
        return False
    return stand[0] == stand[1]


def _measured(draw: _Draw) -> Event:
    things = [
        *draw.units,
        *(node for node, told in draw.plant.nodes.items() if "litres" in told),
        *draw.plant.ports,
    ]
    quantity = draw.pick(["pressure", "temperature", "volume"])
    if quantity == "temperature":
        things = draw.units
    value = {
        "pressure": ["0 kPa", "50 kPa", "60 kPa"],
        "temperature": ["0 degC", "10 degC", "20 degC", "30 degC"],
        "volume": ["0.1 l", "0.5 l", "0.6 l"],
    }[quantity]
    return {
        "action": "measure",
        "subjects": [draw.pick(sorted(things))],
        "values": {quantity: draw.pick(value)},
    }


def _wanted(draw: _Draw, theme: str, choices: list[Event]) -> list[Event]:
    """Return those of the possible actions that a theme is about, all where there are none."""
    ports = {
        "second": ("BAY:V",),
        "variance": ("BAY:V", "BAY:K"),
        "clock": ("BAY:K",),
        "stays": ("BAY:V1", "BAY:K1"),
        "ends": ("BAY:V1", "BAY:V2", "BAY:F2", "BAY:F3"),
        "custom": ("BAY:B1", "BAY:B2"),
        "thermal": ("BAY:K1", "BAY:J", "BAY:F", "RACK:"),
    }
    heads = ports.get(theme, ())
    themed = [
        event for event in choices if any(s.startswith(head) for s in event["subjects"] for head in heads)
    ]
    if theme == "thermal":
        themed += [
            event for event in choices if event["subjects"][0] in draw.pumps and event.get("place") == "RACK"
        ] * 3
    return themed or choices


def _events(draw: _Draw, theme: str) -> list[Event]:
    """Return what is done, in the order in which it happened."""
    events: list[Event] = []
    pauses = [pause for pause in PAUSES if pause or not draw.language.apart]
    time = MINUTE if draw.language.apart else draw.pick([0, MINUTE])
    outing, outings = 0, theme == "ends" or draw.chance(0.3)
    for _ in range(draw.random.randint(*((8, 16) if theme in ("ends", "stays", "custom") else (3, 12)))):
        choices = possible(draw.plant, draw.state)
        kind = draw.random.random()
        if theme == "presence":
            choices = [
                e
                for e in choices
                if e["subjects"][0] in PEOPLE or (":" in e["subjects"][0] and e["action"] != "grip")
            ]
        if outings and outing and kind < 0.3:
            event: Event = {"action": "end", "subjects": [], "outing": f"O{outing}"}
            events.append(_timed(draw, event, time, theme))
            outing, time = outing + 1, time + draw.pick(pauses)
            event = {"action": "begin", "subjects": [], "outing": f"O{outing}"}
        elif outings and not outing:
            outing = 1
            event = {"action": "begin", "subjects": [], "outing": "O1"}
        elif kind < 0.1:
            event = {"action": "inspect", "subjects": [draw.pick(draw.units)]}
        elif kind < 0.2:
            event = _measured(draw)
        elif kind < 0.23 and theme != "presence":
            port = draw.pick(
                [p for p in draw.plant.ports if draw.plant.ports[p]["kind"] in ("valve", "switch")]
            )
            others = [s for s in draw.plant.kind(port)["statuses"] if s != draw.state.status[port]]
            event = {"action": "as-found", "subjects": [port], "status": draw.pick(others)}
        else:
            event = dict(draw.pick(_wanted(draw, theme, choices) if draw.chance(0.8) else choices))
            if event["action"] == "torque":
                told = draw.pick(["19 N*m", "25 N*m", "30 N*m", None])
                event |= {"values": {"torque": told}} if told else {}
        event = _timed(draw, _either_half(draw, event), time, theme)
        events.append(event)
        draw.state = after(draw.plant, draw.state, event, len(events))
        if event["action"] != "begin" or draw.language.apart:
            time += draw.pick(pauses)
    if outing:
        events.append(_timed(draw, {"action": "end", "subjects": [], "outing": f"O{outing}"}, time, theme))
    return events


def _either_half(draw: _Draw, event: Event) -> Event:
    """Return an event as it might be said as well: of the other half, or of the two the other way round."""
    subjects = event["subjects"]
    if (
        draw.chance(0.5)
        or not subjects
        or subjects[0] not in draw.plant.ports
        or event["action"] in ("measure", "as-found")
    ):
        return event
    if len(subjects) == 1 and subjects[0] in draw.state.mate:
        return {**event, "subjects": [draw.state.mate[subjects[0]]]}
    return {**event, "subjects": subjects[::-1]}


def _timed(draw: _Draw, event: Event, time: int, theme: str) -> Event:
    timed = {**event, "happened": time}
    if theme == "presence" and event["action"] not in ("begin", "end"):
        timed["by"] = event["subjects"][0] if event["subjects"][0] in PEOPLE else draw.pick(["ANN", "BEN"])
    return timed


# --- plans ------------------------------------------------------------------------------------------------------------


def _plan(draw: _Draw, theme: str) -> Table:
    """Return a plan of one or two outings with two tracks each; all its steps can be done in any order that they
    come in."""
    outings = []
    number = 0
    free = [("shut", "open", f"BAY:V{n}") for n in (1, 2, 3)] + [("de-energise", "energise", "BAY:K2")]
    on = {port: draw.state.status[port] in ("open", "on") for _, _, port in free}
    for outing in range(draw.random.randint(1, 2) if theme == "plan" else 1):
        tracks: list[list[Table]] = [[], []]
        if theme == "mix":
            # Shut on one track, opened on the other: all low, all likely and all high leave the same time between.
            number = 2
            base, spread, gap = draw.random.randint(1, 5), draw.pick([4, 8, 14]), draw.pick([13, 17, 19])
            for track, more in ((0, 0), (1, gap)):
                takes = [f"{base + more + late} min" for late in (0, spread // 2, spread)]
                do = ("shut BAY:V1", "open BAY:V1")[track]
                tracks[track].append({"id": f"S{track + 1}", "do": do, "takes": takes})
        for off, back, port in draw.random.sample(free, 3):
            if theme == "mix" and (port == "BAY:V1" or draw.chance(0.5)):
                continue
            track = draw.random.randint(0, 1)
            for _ in range(draw.random.randint(1, 2)):
                number += 1
                do = f"{off if on[port] else back} {port}"
                on[port] = not on[port]
                step: Table = {"id": f"S{number}", "do": do, "takes": _takes(draw)}
                other = tracks[1 - track]
                if (
                    other
                    and draw.chance(0.3)
                    and not any(w == step["id"] for o in other for w in o.get("after", []))
                ):
                    step["after"] = [other[-1]["id"]]
                tracks[track].append(step)
        told = [{"name": name, "steps": steps} for name, steps in zip(PEOPLE, tracks, strict=True) if steps]
        outings.append({"id": f"O{outing + 1}", "start": (1 + 24 * outing) * 60 * MINUTE, "track": told})
    return {"title": "A plan", "outing": outings}


def _takes(draw: _Draw) -> Any:
    """Return how long a step takes: unequal enough that two steps seldom end at one instant."""
    likely = draw.random.randint(61, 900)
    if draw.chance(0.4):
        return f"{likely} s"
    return [
        f"{likely - draw.random.randint(1, 60)} s",
        f"{likely} s",
        f"{likely + draw.random.randint(60, 900)} s",
    ]
