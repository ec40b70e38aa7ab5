"""The help of each action: its own line, what it needs, and an example that runs."""

from __future__ import annotations

import json
import re
import shlex

import pytest

from cfgtrack.cli.actions import ACTIONS
from cfgtrack.cli.main import VERBS
from tests.cli.conftest import Command

PLANT = """
[[part]]
id = "pump"
port = [
  { name = "F1", kind = "fluid-disconnect" }, { name = "F2", kind = "fluid-disconnect" },
  { name = "J1", kind = "electrical-connector" },
  { name = "B1", kind = "bolt", torque = ["20 N*m", "30 N*m"] }, { name = "B2", kind = "bolt" },
  { name = "H", kind = "grip" }, { name = "C", kind = "cover" },
]
[[part]]
id = "panel"
port = [
  { name = "F1", kind = "fluid-disconnect" }, { name = "F2", kind = "fluid-disconnect" },
  { name = "B1", kind = "bolt" }, { name = "B2", kind = "bolt" },
  { name = "V1", kind = "valve" }, { name = "V2", kind = "valve" }, { name = "V3", kind = "valve" },
  { name = "K1", kind = "switch" }, { name = "K2", kind = "switch" }, { name = "K3", kind = "switch" },
]
[[part]]
id = "hands"
port = [{ name = "HAND", kind = "grip" }, { name = "OTHER", kind = "grip" }]
[[unit]]
id = "PUMP-1"
part = "pump"
[[unit]]
id = "PUMP-2"
part = "pump"
[[unit]]
id = "PUMP-3"
part = "pump"
[[place]]
id = "PANEL-A"
part = "panel"
[[place]]
id = "BAY-1"
holds = true
facings = ["up"]
[[place]]
id = "STORE"
holds = true
[[place]]
id = "ANN"
mobile = true
part = "hands"

[initial]
at = 2031-05-01T08:00:00Z
by = "survey"
joined = [["PUMP-1:F1", "PANEL-A:F1"], ["PUMP-1:B1", "PANEL-A:B1"], ["PUMP-3:H", "ANN:OTHER"]]
status = { "PANEL-A:V1" = "open", "PANEL-A:K1" = "on", "PUMP-2:F2" = "capped", "PUMP-2:C" = "removed" }
place = { "PUMP-1" = "PANEL-A", "PUMP-2" = "STORE", "PUMP-3" = "ANN", "ANN" = "STORE" }
"""

SOONER = (
    "lock PANEL-A:V3 --by ann",
    "tag PANEL-A:K3 --by ann",
    "defect mate PUMP-2:F1 stuck --by ann",
    "begin OUTING-1 --by ann",
)


@pytest.fixture
def plant(empty: Command) -> Command:
    """The plant of the examples: something of everything that they are about."""
    empty.ok("load", empty.file("plant.toml", PLANT), "--by", "survey")
    for line in SOONER:
        empty.ok(*shlex.split(line))
    return empty


def example(said: str) -> list[str]:
    """Return the words of the example that a help text gives."""
    found = re.search(r"Example:\n\s+cfgtrack (.*)", said)
    assert found is not None, said
    return shlex.split(found[1])


def test_every_action_has_its_own_help() -> None:
    """Each action that is a command says itself what it is, and no two say the same."""
    assert ACTIONS.keys() == set(VERBS)
    assert len({(one.line, one.needs) for one in ACTIONS.values()}) == len(ACTIONS)


@pytest.mark.parametrize("action", VERBS)
def test_the_example_runs(action: str, plant: Command) -> None:
    """The example in an action's help, typed as it stands, is recorded as that action, from where the plant stands."""
    said = plant.ok(action, "--help")
    words = example(said)
    assert words[0] == action
    assert len(max(said.splitlines(), key=len)) <= 100
    plant.ok(*words)
    assert json.loads(plant.ok("export").splitlines()[-1])["action"] == action


@pytest.mark.parametrize("action", VERBS)
def test_the_help_of_record_is_that_of_the_action_it_names(action: str, empty: Command) -> None:
    """`record mate --help` and `mate --help` are one text but for the call; both name what is needed."""
    of_record, of_verb = empty.ok("record", action, "--help"), empty.ok(action, "--help")
    assert of_record.replace(f"record {action} [", f"{action} [") == of_verb
    assert ACTIONS[action].line.split(":")[0].split()[0] in of_verb
    assert "Needs: " in of_verb


def test_record_without_an_action_keeps_its_own_help(empty: Command) -> None:
    """Without an action, or with none that there is, the help is that of `record`."""
    assert empty.ok("record", "--help") == empty.ok("record", "weld", "--help")
    assert "record ACTION --help" in empty.ok("record", "--help")
