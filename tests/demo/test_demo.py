"""The demo holds what it promises: four hidden faults, each found with its steps, each cured by its repair alone.

Checked against the demo's own files, which are written by hand: what a fault is and which step hides it stands in
demo/repairs, not in the package.
"""

from __future__ import annotations

import tomllib
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cfgtrack.analysis.check import CheckReport, check
from cfgtrack.analysis.state import unit_state
from cfgtrack.cli.past import Past, judged
from cfgtrack.files.definition import read_definition
from cfgtrack.files.rows import read_rows
from cfgtrack.files.rules import read_rules
from cfgtrack.files.sequence import parse_sequence
from cfgtrack.model.event import Event
from cfgtrack.model.time import format_instant, parse_instant
from cfgtrack.model.trouble import Problem
from cfgtrack.show.moment import Moment
from cfgtrack.store.journal import create, open_journal

DEMO = Path(__file__).parents[2] / "demo"
NOW = parse_instant("2031-06-16T00:00:00Z")

FOUND = {
    "1-bypass": ("expansion-a", "1.008"),
    "2-latches": ("held", "2.256"),
    "3-breaker": ("dead-before-touch", "2.225"),
    "4-rack-heater": ("heater-clock", "2.602"),
}
"""Repair to what is found without it: the rule, and the step that breaks it or starts its clock."""


@pytest.fixture(scope="module")
def past(tmp_path_factory):
    """Give the demo's journal after its as-run rows, seen from where they end."""
    path = str(tmp_path_factory.mktemp("demo") / "journal.db")

    def clock() -> int:
        return NOW

    create(path, clock=clock)
    with open_journal(path, clock=clock) as journal:
        journal.load(read_definition([DEMO / "hardware.toml"]), by="test", recorder="test")
        name = DEMO / "as-run.csv"
        with name.open(encoding="utf-8", newline="") as stream:
            rows = list(read_rows(stream, journal.plant(), where=str(name)))
        problems = [row for row in rows if isinstance(row, Problem)]
        assert problems == []
        tally = journal.take(row for row in rows if not isinstance(row, Problem))
        assert (tally.recorded, tally.repeated, tally.refused) == (76, 1, 0)
        yield Past(journal, Moment(*journal.moment()))


@pytest.fixture(scope="module")
def rules(past):
    """Give the demo's rules."""
    return read_rules([DEMO / "rules.toml"], past.plant)


@pytest.fixture(scope="module")
def checked(past, rules):
    """Check the text of a sequence against the demo's rules, from where the as-run journal ends."""

    def run(text: str) -> CheckReport:
        proposal = parse_sequence(text, past.plant, name="sequence.toml")
        return check(rules, past.start, proposal, networks=past.networks)

    return run


def found(report: CheckReport) -> set[tuple[str, str]]:
    """Return the rule and the step of every finding."""
    assert not any(finding.no_verdict for finding in report.findings)
    return {(finding.rule, report.step_of[finding.event or ""]) for finding in report.findings}


def repaired(text: str, *repairs: str) -> str:
    """Replace every hunk's old lines, which must stand there exactly once, by its new ones."""
    for repair in repairs:
        diff = (DEMO / "repairs" / f"{repair}.diff").read_text(encoding="utf-8")
        for hunk in diff.split("\n@@ ")[1:]:
            lines = hunk.splitlines()[1:]
            old = "".join(f"{line[1:]}\n" for line in lines if line[0] in " -")
            new = "".join(f"{line[1:]}\n" for line in lines if line[0] in " +")
            assert text.count(old) == 1, old
            text = text.replace(old, new)
    return text


@pytest.fixture(scope="module")
def good() -> str:
    """Give the sequence that passes."""
    return (DEMO / "exchange.toml").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def faulty() -> str:
    """Give the proposal that hides four faults."""
    return (DEMO / "exchange-faulty.toml").read_text(encoding="utf-8")


def test_every_hidden_fault_is_found_and_nothing_else(checked, faulty):
    """The faulty proposal has four findings, one for each repair, at the steps where they are hidden."""
    report = checked(faulty)
    assert len(report.findings) == len(FOUND)
    assert found(report) == set(FOUND.values())
    assert not any(step.refusals for step in report.steps)


def test_findings_name_the_links(checked, faulty):
    """Each finding names the links that the fault breaks or leaves made, and the items that it hurts."""
    said = {
        f.rule: ({link for r in f.reasons for link in r.links}, set(f.subjects))
        for f in checked(faulty).findings
    }
    links, beyond = said["expansion-a"]
    assert links == {"PANEL-A:V2"}
    assert beyond == {"PANEL-A:SUPPLY", "HOSE-A1:BORE", "HX-A:COOLANT", "HOSE-A2:BORE"}
    assert "FEED-A:K6" in said["dead-before-touch"][0]
    assert said["held"] == ({"CIRC-05:A4 - FIXTURE-1:L4"}, {"CIRC-05"})
    assert said["heater-clock"][1] == {"CIRC-03"}


@pytest.mark.parametrize("repair", FOUND)
def test_a_repair_removes_its_own_finding_alone(checked, faulty, repair):
    """Repairing one fault takes away exactly the finding of that fault."""
    assert found(checked(repaired(faulty, repair))) == set(FOUND.values()) - {FOUND[repair]}


def test_all_repairs_make_the_good_sequence(faulty, good):
    """The faulty proposal with every repair is the good sequence, step for step."""
    assert tomllib.loads(repaired(faulty, *FOUND)) == tomllib.loads(good)


def test_the_good_sequence_passes(checked, good):
    """The good sequence is possible, breaks no rule, leaves no clock running, and stays within its budgets."""
    report = checked(good)
    assert report.findings == ()
    assert report.clocks == ()
    assert len(report.steps) >= 80
    for outing in report.outings:
        begin, end = report.layout.spans[outing.id]
        assert outing.budget is not None
        assert end - begin <= outing.budget


def test_tracks_wait_for_each_other(checked, good):
    """Every outing has several tracks, and steps that wait for those of another track."""
    report = checked(good)
    track = {s.laid.step.id: (s.laid.step.outing, s.laid.step.track) for s in report.steps}
    for outing in report.outings:
        mine = [s.laid.step for s in report.steps if s.laid.step.outing == outing.id]
        assert len({step.track for step in mine}) >= 3
        assert any(track[a] != track[step.id] for step in mine for a in step.after)


def test_every_interface_is_exchanged_once(checked, good):
    """The typical unit's interfaces - four fluid, five electrical, four bolts (common practice) - all change over."""
    done: Counter[tuple[str, str, str]] = Counter()
    for result in checked(good).steps:
        port = result.event.subjects[0]
        unit, colon, name = port.partition(":")
        if colon and unit in ("CIRC-03", "CIRC-05") and name[0] in "FJB":
            done[unit, result.event.action, name[0]] += 1
    assert done["CIRC-03", "demate", "F"] == done["CIRC-05", "mate", "F"] == 4
    assert done["CIRC-03", "demate", "J"] == done["CIRC-05", "mate", "J"] == 5
    assert done["CIRC-03", "release", "B"] == done["CIRC-05", "engage", "B"] == 4
    assert done["CIRC-05", "torque", "B"] == 4
    # the heater's lead at the rack: off the spare, onto the failed one
    assert done["CIRC-05", "demate", "J"] == done["CIRC-03", "mate", "J"] == 1


def test_after_the_exchange(past, checked, good):
    """Afterwards the spare runs in loop A on its accumulator, and the failed one is warm on the rack."""
    now = past.configuration.fork()
    for result in checked(good).steps:
        now.apply(result.event)
    state = now.state
    assert state("CIRC-05").value == "BAY-A"
    assert state("CIRC-03").value == "RACK-1/S2"
    assert state("JUMPER-1").value == "STORE"
    assert state("CIRC-03:J3").other == "RACK-1:H2"
    spare = unit_state(past.plant, now, past.networks, "CIRC-05")
    failed = unit_state(past.plant, now, past.networks, "CIRC-03")
    assert [(v.address, v.loops, v.expansions) for v in spare.volumes] == [
        ("CIRC-05:VOL", ("A",), ("ACC-A:LIQUID",))
    ]
    assert all(load.sources for load in spare.loads)
    assert {load.address for load in failed.loads if load.sources} == {"CIRC-03:HEATER"}


def test_a_wrong_port_is_corrected(past):
    """The spare's heater lead was recorded on the wrong port; the state follows the correction."""
    assert past.configuration.state("CIRC-05:J3").other == "RACK-1:H1"
    assert past.configuration.state("RACK-1:H2").value == "capped"
    events = {entry.event.id: entry.event for entry in past.journal.entries()}
    (correction,) = (event for event in events.values() if event.supersedes)
    assert correction.supersedes not in events
    assert correction.reason


def test_a_surprise_stays_open_until_explained(past):
    """Of what was found otherwise than recorded, the moved cable is explained and the missing cap is not."""
    assert past.configuration.state("CABLE-A5:E1").other == "FEED-A:J6"
    (left,) = past.journal.discrepancies()
    assert left.event.subjects == ("COOL-A:F3",)


def test_rows_come_late(past):
    """Some rows of the as-run journal tell of earlier times than rows before them."""
    known: list[Event] = [line.entry.event for line in past.journal.log() if not line.entry.event.initial]
    times = [event.happened for event in known if event.action != "define"]
    assert times != sorted(times)


def test_the_recorded_past_broke_one_rule(past, rules):
    """The as-run journal breaks one rule: Tomas was 14 minutes on the platform before he clipped on."""
    (finding,) = judged(rules, past.start, past.networks).findings()
    assert (finding.rule, finding.subjects) == ("clipped-on", ("TOMAS",))
    assert format_instant(finding.since).startswith("2031-06-14T14:46")


@given(st.randoms(use_true_random=False))
@settings(max_examples=25)
def test_the_good_sequence_needs_no_luck(past, good, rules, random):
    """Whatever its steps take between their low and high durations, the good sequence breaks no rule."""
    proposal = parse_sequence(good, past.plant, name="sequence.toml")
    steps = []
    for step in proposal.steps:
        takes = random.randint(step.takes[0], step.takes[2])
        steps.append(replace(step, takes=(takes, takes, takes)))
    report = check(rules, past.start, replace(proposal, steps=tuple(steps)), networks=past.networks)
    assert report.findings == ()
