"""A tiny world, as its files are written: one pump, a panel for it, two places and a worker."""

import pytest

from cfgtrack.files.definition import parse_definition

HARDWARE = """\
title = "Pump room"

[[part]]
id = "pump"
mass = "85 kg"
trapped = "3 h"
links = [["F1", "VOL"], ["VOL", "F2", "V1"]]
port = [
  { name = "F1", kind = "valved-disconnect", size = "1/2 in", gender = "plug" },
  { name = "F2", kind = "fluid-disconnect" },
  { name = "V1", kind = "valve" },
  { name = "B1", kind = "bolt", torque = ["20 N*m", "30 N*m"], pattern = "base/1", cycles = 20 },
]
node = [{ name = "VOL", medium = "fluid", litres = "800 ml" }]
thermal = { capacity = "5.2 kJ/K", leak = "1.1 W/K", start = "20 degC", limit = "-40 degC" }

[[csv]]
file = "ports.csv"
table = "ports"

[[csv]]
file = "units.csv"
table = "units"

[[part]]
id = "panel"

[[place]]
id = "SITE"

[[place]]
id = "BAY-1"
parent = "SITE"
part = "panel"
capacity = 1
facings = ["up"]
sink = "-60 degC"
tags = ["stowage"]

[[place]]
id = "INA"
parent = "SITE"
mobile = true

[initial]
at = 2031-05-01T00:00:00Z
by = "survey"
joined = [["PUMP-1:F1", "BAY-1:F1"], ["PUMP-1:B1", "BAY-1:B1"]]
status = { "PUMP-1:F2" = "capped" }
place = { "PUMP-1" = { at = "BAY-1", facing = "up" } }
"""
SHEETS = {
    "ports.csv": "\ufeffpart;name;kind;size;gender;tags;torque_low;torque_high\n"
    "panel;F1;valved-disconnect;1/2 in;socket;coolant supply;;\n"
    "\n"
    "panel;B1;bolt;;;;20 N*m;30 N*m\n",
    "units.csv": 'id,part,home,title\nPUMP-1,pump,BAY-1,"Pump, main"\nPUMP-2,pump,,\n',
}


@pytest.fixture(scope="session")
def hardware():
    """The text of the hardware file."""
    return HARDWARE


@pytest.fixture(scope="session")
def sheets():
    """The texts of the CSV files that it names."""
    return SHEETS


@pytest.fixture(scope="session")
def definition():
    """What the two say."""
    return parse_definition({"plant.toml": HARDWARE}, sheets=SHEETS)


@pytest.fixture(scope="session")
def plant(definition):
    """The plant that they describe."""
    return definition.plant()
