"""A tiny yard that has one of everything a text or picture must show.

Loop A: accumulator - panel - pump, and a cooler that hangs behind valve V2, shut: cut off. A hose with one end off: an
open end. Power: two supplies on a board, one switched off; a pump heater that is fed, a spare's that is not. Ina grips
the spare; nothing else holds it.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import NamedTuple

from cfgtrack.answers.moment import Moment
from cfgtrack.files.definition import parse_definition
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.plant import Plant
from cfgtrack.network.network import Network, compile_network
from cfgtrack.rules.approved import Approval, Approved, Fact, Standing
from cfgtrack.rules.finding import Clock, Cure, Reason, Tried, alone
from tests.happening import happened

AT = 1_935_000_000_000_000
MOMENT = Moment(AT, AT + 60_000_000)

YARD = """
title = "Yard"

[[part]]
id = "pump"
title = "Pump <A & B>"
port = [
    { name = "F1", kind = "fluid-disconnect", cycles = 50 }, { name = "F2", kind = "fluid-disconnect" },
    { name = "F3", kind = "fluid-disconnect" }, { name = "J1", kind = "electrical-connector" },
    { name = "B1", kind = "bolt" }, { name = "B2", kind = "bolt" }, { name = "H", kind = "grip" },
]
node = [
    { name = "VOL", medium = "fluid", litres = "2 l" }, { name = "HEATER", medium = "power", load = true },
]
links = [["F1", "VOL"], ["VOL", "F2"], ["VOL", "F3"], ["J1", "HEATER"]]

[[part]]
id = "panel"
title = "Panel"
port = [
    { name = "P1", kind = "fluid-disconnect" }, { name = "P2", kind = "fluid-disconnect" },
    { name = "P3", kind = "fluid-disconnect" }, { name = "P4", kind = "fluid-disconnect" },
    { name = "A", kind = "fluid-disconnect" },
    { name = "V1", kind = "valve" }, { name = "V2", kind = "valve" },
]
node = [{ name = "MAN", medium = "fluid", litres = "1 l" }]
links = [["P1", "MAN", "V1"], ["P2", "MAN"], ["P3", "MAN", "V2"], ["P4", "MAN"], ["A", "MAN"]]

[[part]]
id = "accumulator"
port = [{ name = "F1", kind = "fluid-disconnect" }]
node = [{ name = "LIQUID", medium = "fluid", litres = "6 l", expansion = true }]
links = [["F1", "LIQUID"]]

[[part]]
id = "cooler"
title = "Cooler"
port = [{ name = "F1", kind = "fluid-disconnect" }]
node = [{ name = "COIL", medium = "fluid", litres = "9 l" }]
links = [["F1", "COIL"]]

[[part]]
id = "hose"
flexible = true
port = [{ name = "E1", kind = "fluid-disconnect" }, { name = "E2", kind = "fluid-disconnect" }]
node = [{ name = "BORE", medium = "fluid", litres = "0.1 l" }]
links = [["E1", "BORE"], ["BORE", "E2"]]

[[part]]
id = "cable"
flexible = true
port = [{ name = "E1", kind = "electrical-connector" }, { name = "E2", kind = "electrical-connector" }]
links = [["E1", "E2"]]

[[part]]
id = "supply"
port = [{ name = "OUT", kind = "electrical-connector" }, { name = "Q", kind = "switch" }]
node = [{ name = "CELLS", medium = "power", source = true }]
links = [["CELLS", "OUT", "Q"]]

[[part]]
id = "board"
port = [
    { name = "I1", kind = "electrical-connector" }, { name = "I2", kind = "electrical-connector" },
    { name = "O1", kind = "electrical-connector" },
]
node = [{ name = "BUS", medium = "power" }]
link = [
    { a = "I1", b = "BUS", one_way = true }, { a = "I2", b = "BUS", one_way = true }, { a = "BUS", b = "O1" },
]

[[part]]
id = "frame"
port = [{ name = "H1", kind = "bolt" }, { name = "H2", kind = "bolt" }]

[[part]]
id = "worker"
port = [{ name = "HAND", kind = "grip" }]

[[place]]
id = "SITE"
[[place]]
id = "BAY"
parent = "FLOOR"
part = "frame"
title = "Bay"
facings = ["up"]
[[place]]
id = "FLOOR"
parent = "SITE"
holds = true
[[place]]
id = "INA"
parent = "SITE"
mobile = true
part = "worker"

[[unit]]
id = "PUMP-1"
part = "pump"
loop = "A"
home = "BAY"
[[unit]]
id = "PUMP-2"
part = "pump"
title = "spare"
home = "FLOOR"
[[unit]]
id = "PANEL-1"
part = "panel"
loop = "A"
[[unit]]
id = "ACC-1"
part = "accumulator"
loop = "A"
[[unit]]
id = "COOL-1"
part = "cooler"
loop = "A"
[[unit]]
id = "HOSE-1"
part = "hose"
[[unit]]
id = "HOSE-2"
part = "hose"
[[unit]]
id = "CABLE-1"
part = "cable"
[[unit]]
id = "SUP-1"
part = "supply"
[[unit]]
id = "SUP-2"
part = "supply"
[[unit]]
id = "BOARD-1"
part = "board"

[initial]
at = 2031-04-01T00:00:00Z
by = "survey"
joined = [
    ["PUMP-1:F1", "PANEL-1:P1"], ["PUMP-1:F2", "PANEL-1:P2"], ["ACC-1:F1", "PANEL-1:A"],
    ["HOSE-1:E1", "PANEL-1:P3"], ["HOSE-1:E2", "COOL-1:F1"], ["HOSE-2:E1", "PANEL-1:P4"],
    ["SUP-1:OUT", "BOARD-1:I1"], ["SUP-2:OUT", "BOARD-1:I2"],
    ["CABLE-1:E1", "BOARD-1:O1"], ["CABLE-1:E2", "PUMP-1:J1"],
    ["PUMP-1:B1", "BAY:H1"], ["PUMP-1:B2", "BAY:H2"], ["INA:HAND", "PUMP-2:H"],
]
[initial.status]
"PANEL-1:V1" = "open"
"SUP-1:Q" = "on"
"PUMP-1:F3" = "capped"
"PUMP-2:F1" = "capped"
"PUMP-2:F2" = "capped"
"PUMP-2:F3" = "capped"
"PUMP-2:J1" = "capped"
[initial.place]
PUMP-1 = { at = "BAY", facing = "up" }
PUMP-2 = "INA"
PANEL-1 = "FLOOR"
ACC-1 = "FLOOR"
COOL-1 = "FLOOR"
HOSE-1 = "FLOOR"
HOSE-2 = "FLOOR"
SUP-1 = "FLOOR"
SUP-2 = "FLOOR"
BOARD-1 = "FLOOR"
"""


class Yard(NamedTuple):
    plant: Plant
    configuration: Configuration
    networks: Mapping[str, Network]


def yard(more: str = "") -> Yard:
    """Return the yard as it was first found, with more units or parts where given."""
    definition = parse_definition({"yard.toml": YARD.replace("[initial]", f"{more}\n[initial]", 1)})
    plant = definition.plant()
    configuration = Configuration(plant)
    for event in definition.initial:
        resolved = happened(configuration, event)
        configuration.apply(resolved)
    return Yard(plant, configuration, {m: compile_network(plant, m) for m in plant.media})


FINDING = alone(
    ("COOL-1:COIL",),
    (
        Reason(
            "no-path",
            "no fluid path is left to any expansion: PANEL-1:V2 was the last way",
            ("PANEL-1:V2",),
            ("COOL-1:COIL", "HOSE-1:BORE"),
            to="any expansion",
            noun="volume",
        ),
    ),
    ("PANEL-1:V2",),
    rule="expansion-path",
    title="Liquid must be able to expand",
    severity=1,
    mode="always",
    time=AT + 120_000_000,
    since=AT,
    until=AT + 720_000_000,
    event="step:2.07",
    step="2.07",
    action="shut PANEL-1:V2",
    hazard="trapped liquid warms and bursts its pipe",
    source="common practice",
    cures=(Cure(("open PANEL-1:V2",)), Cure(step="2.09", before="2.07")),
    tried=Tried(20, 57),
)

CLOCK = Clock(
    rule="heater",
    title="Heater back on",
    severity=2,
    subject="PUMP-1:HEATER",
    trigger="demate PUMP-1:J1",
    started=AT - 3_600_000_000,
    deadline=AT + 1_800_000_000,
    missing=(Reason("no-path", "no power path to any source"),),
)

_ANN = Approval(
    "v-12",
    "ANN",
    "",
    "drained by hand",
    AT - 3_600_000_000,
    AT - 3_599_000_000,
    AT - 3_600_000_000,
    AT + 7_200_000_000,
    Standing.RUNS,
)
_BEN = Approval(
    "v-13",
    "BEN",
    "clerk",
    "seen on paper",
    AT - 3_600_000_000,
    AT + 60_000_000,
    AT - 7_200_000_000,
    None,
    Standing.RUNS,
)

EXCUSED = replace(FINDING, variance="v-12", approvals=2, approved=Approved(2, True, Fact.AFTER, (_ANN, _BEN)))
"""The finding, excused by two people: by Ann before the fact, and by Ben, who was recorded late, after it."""

WAITING = replace(FINDING, approvals=2, approved=Approved(2, False, None, (replace(_ANN, checked=True),)))
"""The finding, which one of the two who must has approved."""
