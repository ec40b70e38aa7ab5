"""How the past is made ready for the rules."""

from __future__ import annotations

import pytest

from cfgtrack.answers import past
from cfgtrack.answers.moment import Moment
from cfgtrack.answers.past import Networks, Past
from cfgtrack.store.journal import open_journal
from tests.cli.conftest import Command

AT, LATER = "2031-05-01T10:00:00Z", "2031-05-01T10:10:00Z"


@pytest.mark.parametrize(
    ("before", "action"),
    [
        ((), "demate PUMP-1:J1"),
        ((), "shut HALL:V1"),
        ((), "de-energise HALL:K1"),
        (("de-energise HALL:K1",), "demate PUMP-1:J1"),
        (("shut HALL:V1",), "cap PUMP-1:F2"),
        (("shut HALL:V1",), "open HALL:V1"),
        (("measure PUMP-1:J1 voltage=0V",), "inspect PUMP-1:J1"),
        (("measure PUMP-1:J1 voltage=100V",), "inspect PUMP-1:J1"),
        (("inspect PUMP-1:J1",), "inspect PUMP-1:J1"),
    ],
)
def test_long_journals_are_judged_alike(
    before: tuple[str, ...], action: str, cfgtrack: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What an event breaks, and which clocks it starts, is the same from the whole past and from the present alone."""
    text = (cfgtrack.folder / "rules.toml").read_text()
    measured = """
[[rule]]
id = "measured"
title = "Measured before it is inspected"
hazard = "electric shock"
severity = 2
source = "common practice"
mode = "at"
at = { action = "inspect" }
condition = { done = "measure", of = "it", quantity = "voltage" }
"""
    cfgtrack.ok("rules", "load", cfgtrack.file("rules.toml", text + measured))
    for words in before:
        cfgtrack.ok("record", *words.split(), "--at", AT)
    said = []
    for long in (5_000, 0):
        monkeypatch.setattr(past, "LONG", long)
        answer = cfgtrack("record", *action.split(), "--at", LATER, "--dry-run", "--json").json
        said.append(([f["fingerprints"] for f in answer["findings"]], answer["started"]))
    assert said[0] == said[1]


def test_judging_starts_with_the_initial_configuration(cfgtrack: Command) -> None:
    """The initial events are where judging starts; later ones are judged; those on the record itself are not."""
    cfgtrack.ok("shut", "HALL:V1", "--at", "2031-05-01T08:30:00Z")
    cfgtrack.ok("approve", "--rule", "expansion", "--by", "lead", "--reason", "x", "--at", LATER)
    cfgtrack.ok("inspect", "PUMP-1", "--at", LATER)
    finding = cfgtrack.json_of("review")["excused"][0]["fingerprints"][0]
    cfgtrack.ok("acknowledge", finding, "--reason", "x", "--at", LATER)
    with open_journal(str(cfgtrack.db), clock=lambda: 0) as journal:
        start = Past(journal, Moment(*journal.moment())).start
    assert start.configuration.state("HALL:V1").value == "open"
    assert [event.action for event in start.history] == ["shut", "inspect"]
    assert start.began < start.history[0].happened <= start.start


def test_networks_are_made_when_asked_for(cfgtrack: Command) -> None:
    """There is one network for each medium of the plant, and none for anything else."""
    with open_journal(str(cfgtrack.db), clock=lambda: 0) as journal:
        networks = Networks(journal.plant())
    assert set(networks) == {"fluid", "power", "data", "hold", "bond"}
    assert len(networks) == 5
    assert networks["fluid"] is networks["fluid"]
    assert networks.get("steam") is None
