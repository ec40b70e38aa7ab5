"""The demo holds what it promises: hidden faults, each found with its steps, each cured by its repair alone.

What it promises stands in demo/promises.toml, written by hand from the demo's story; what a fault is stands in
demo/repairs. So nothing here names a thing of the demo's plant, and the demo can change.
"""

from __future__ import annotations

import csv
import re
import tomllib
from collections import Counter
from dataclasses import replace
from datetime import UTC, datetime
from functools import cache
from itertools import accumulate, pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cfgtrack.analysis.check import CheckReport, check, judged
from cfgtrack.analysis.comparison import steps_compared
from cfgtrack.analysis.failures import Question, failures
from cfgtrack.analysis.mending import mend
from cfgtrack.analysis.reorder import Plan
from cfgtrack.analysis.state import unit_state
from cfgtrack.analysis.stops import StopReport, stop_points
from cfgtrack.analysis.verdict import Verdict
from cfgtrack.answers.past import Past
from cfgtrack.files.definition import read_definition, shipped
from cfgtrack.files.failures import ways_of_failing
from cfgtrack.files.sequence import parse_sequence
from cfgtrack.files.sequence_writer import sequence_text
from cfgtrack.model.action import END
from cfgtrack.model.event import Event
from cfgtrack.model.time import format_instant, parse_instant
from cfgtrack.rules.finding import Clock, Finding
from tests.demo.as_run import DEMO, FAULTY, PLAN, PROMISES, ROOT, instant

FAULTS: dict[str, dict[str, Any]] = {fault["repair"]: fault for fault in PROMISES["fault"]}
JOURNAL, EXCHANGED, AFTERWARDS = PROMISES["journal"], PROMISES["exchanged"], PROMISES["afterwards"]
INTERFACES: list[dict[str, Any]] = EXCHANGED["interface"]


@pytest.fixture(scope="module")
def checked(past, rules):
    """Check the text of a sequence against the demo's rules, from where the as-run journal ends; the same text once."""

    @cache
    def run(text: str) -> CheckReport:
        proposal = parse_sequence(text, past.plant, name="sequence.toml")
        return check(rules, past.start, proposal, networks=past.networks)

    return run


@pytest.fixture(scope="module")
def good() -> str:
    """Give the sequence that passes."""
    return PLAN.read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def faulty() -> str:
    """Give the proposal that hides the faults."""
    return FAULTY.read_text(encoding="utf-8")


Found = tuple[str, str, int]


def place_of(report: CheckReport, finding: Finding) -> str:
    """Return the step at which a rule is broken or its clock started, or the outing at whose end it is."""
    return finding.step or (finding.event or "").removeprefix(f"{END}:")


def started_by(report: CheckReport, clock: Clock) -> str:
    """Return the step that starts a clock: the only one with its trigger's words."""
    (step,) = (result.step for result in report.steps if result.action == clock.trigger)
    return step


def found(report: CheckReport) -> Counter[Found]:
    """Return rule, place and severity of every finding and of every clock that is left running.

    A step that is impossible is a finding too.
    """
    assert not any(finding.no_verdict for finding in report.counted)
    findings = [(f.rule, place_of(report, f), f.severity) for f in report.counted]
    return Counter([*findings, *((c.rule, started_by(report, c), c.severity) for c in report.left_running)])


def promised(*repairs: str) -> Counter[Found]:
    """Return what is promised to be found where these faults are hidden."""
    told = (FAULTS[repair] for repair in repairs)
    return Counter((f["rule"], f.get("step") or f["night"], f["severity"]) for f in told)


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


# --- the faults -----------------------------------------------------------------------------------------------------


def test_every_repair_is_promised():
    """There is one promised fault for each file of demo/repairs, and each breaks a rule of its own."""
    assert {path.stem for path in (DEMO / "repairs").glob("*.diff")} == set(FAULTS)
    assert len(FAULTS) >= 7
    assert len({fault["rule"] for fault in FAULTS.values()}) == len(FAULTS)


def test_every_hidden_fault_is_found_and_nothing_else(checked, faulty):
    """The faulty proposal has one finding for each repair, at the places where they are hidden, and isn't clear."""
    report = checked(faulty)
    assert found(report) == promised(*FAULTS)
    assert (report.verdict, report.untried) == ("not clear", 0)


def test_the_faulty_proposal_is_mended(past, rules, faulty, checked):
    """Mending makes the faulty proposal clear, as a file too, with no more changes than it has faults."""
    proposal = parse_sequence(faulty, past.plant, name="sequence.toml")
    found = mend(
        lambda coming: judged(rules, past.start, past.networks, coming=coming),
        Plan(proposal, past.configuration, past.moment.at),
        lambda changed: check(rules, past.start, changed, networks=past.networks),
        outlive=[rule.id for rule in rules.rules if rule.may_outlive],
        proof=0,
    )
    assert found.is_clear
    assert len(found.changes) <= len(FAULTS)
    assert checked(sequence_text(found.sequence)).verdict == Verdict.CLEAR
    written = steps_compared(proposal, parse_sequence(repaired(faulty, *FAULTS), past.plant))
    assert steps_compared(proposal, found.sequence).changes <= written.changes


def test_what_is_impossible_is_so_because_somebody_is_elsewhere(checked, faulty):
    """Each step that can't be done is promised so; its finding says where its doer is, and where the work is."""
    told = {fault["step"]: fault["where"] for fault in FAULTS.values() if "where" in fault}
    report = checked(faulty)
    assert told
    assert {step.step for step in report.steps if not step.possible} == told.keys()
    for finding in report.new:
        for where in told.get(finding.step or "", ()):
            assert where in finding.reasons[0].text


def test_what_is_left_running_runs_out_after_the_end(checked, faulty):
    """The clocks that are left running are those promised: nothing runs out before the faulty proposal ends."""
    report = checked(faulty)
    told = {fault["rule"] for fault in FAULTS.values() if fault.get("left_running")}
    assert told
    assert {clock.rule for clock in report.left_running} == {clock.rule for clock in report.clocks} == told
    assert all(clock.deadline is not None and clock.deadline > report.end for clock in report.clocks)


@pytest.mark.parametrize("repair", FAULTS)
def test_a_finding_names_the_links_and_all_that_it_is_about(checked, faulty, repair):
    """Each finding names the links that the fault breaks or leaves made, and just the items that it hurts."""
    fault = FAULTS[repair]
    report = checked(faulty)
    if fault.get("left_running"):
        (clock,) = (c for c in report.left_running if c.rule == fault["rule"])
        subjects, reasons = {clock.subject}, clock.missing or ()
    else:
        (finding,) = (f for f in report.new if f.rule == fault["rule"])
        subjects, reasons = set(finding.subjects), finding.reasons
    links = {link for reason in reasons for link in reason.links}
    assert subjects == set(fault["subjects"])
    assert links >= set(fault["links"])
    if fault.get("all_links"):
        assert links == set(fault["links"])


@pytest.mark.parametrize("repair", FAULTS)
def test_a_repair_removes_its_own_finding_alone(checked, faulty, repair):
    """Repairing one fault takes away exactly the finding of that fault."""
    assert found(checked(repaired(faulty, repair))) == promised(*(FAULTS.keys() - {repair}))


@pytest.mark.parametrize("repair", FAULTS)
def test_a_fault_alone_is_found(checked, faulty, repair):
    """With every repair but one, the finding of that fault is all that is left: no fault hides another."""
    assert found(checked(repaired(faulty, *(FAULTS.keys() - {repair})))) == promised(repair)


def test_all_repairs_make_the_good_sequence(faulty, good):
    """The faulty proposal with every repair is the good sequence, line for line."""
    assert repaired(faulty, *FAULTS) == good


# --- the good sequence ----------------------------------------------------------------------------------------------


def test_the_good_sequence_passes(checked, good):
    """The good sequence is possible, breaks no rule, leaves no clock running, and stays within its budgets."""
    report = checked(good)
    assert (report.verdict, report.untried) == ("clear", 0)
    assert report.new == ()
    assert report.clocks == ()
    assert len(report.steps) == PROMISES["plan"]["steps"]
    assert len(report.outings) == PROMISES["plan"]["nights"]
    for outing in report.outings:
        begin, end = report.layout.spans[outing.id]
        assert outing.budget is not None
        assert end - begin <= outing.budget


def test_tracks_wait_for_each_other(checked, good):
    """Every outing has several tracks, and steps that wait for those of another track."""
    report = checked(good)
    track = {s.step: (s.outing, s.track) for s in report.steps}
    for outing in report.outings:
        mine = [laid.step for laid in report.layout.steps if laid.step.outing == outing.id]
        assert len({step.track for step in mine}) >= 3
        assert any(track[a] != track[step.id] for step in mine for a in step.after)


def test_every_track_is_a_worker_or_a_machine(past, checked, good):
    """A track has the name of the person or machine that does its steps: a place of the plant that moves."""
    assert all(past.plant.is_mobile(s.track) for s in checked(good).steps)


def test_every_duration_that_was_written_is_used(checked, good):
    """No step's duration is assumed, and durations of three different values are there: low, likely, high."""
    report = checked(good)
    assert report.assumed == ()
    assert sum(len(set(laid.step.takes)) == 3 for laid in report.layout.steps) > len(report.steps) / 2


@pytest.mark.parametrize("which", [0, 1, 2], ids=["low", "likely", "high"])
def test_the_good_sequence_passes_at_every_pace(past, rules, written, which):
    """When every step takes its low, its likely or its high time, the good sequence breaks no rule."""
    steps = tuple(replace(step, takes=(step.takes[which],) * 3) for step in written.steps)
    report = check(rules, past.start, replace(written, steps=steps), networks=past.networks)
    assert (report.new, report.clocks) == ((), ())


@given(st.randoms(use_true_random=False), st.booleans())
@settings(max_examples=25)
def test_the_good_sequence_needs_no_luck(past, written, rules, random, extreme):
    """Whatever its steps take between their low and high durations, the good sequence breaks no rule."""
    steps = []
    for step in written.steps:
        low, _, high = step.takes
        takes = random.choice((low, high)) if extreme else random.randint(low, high)
        steps.append(replace(step, takes=(takes, takes, takes)))
    report = check(rules, past.start, replace(written, steps=tuple(steps)), networks=past.networks)
    assert (report.new, report.clocks) == ((), ())


# --- the exchange ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("interface", INTERFACES, ids=lambda one: one["kinds"][0])
def test_the_unit_has_the_promised_interfaces(past, interface):
    """The exchanged unit has as many interfaces of each kind as promised, of the promised sizes, all in use."""
    for unit in (EXCHANGED["failed"], EXCHANGED["spare"]):
        found_ports = [past.plant.port(p) for p in interfaces(past, unit, interface)]
        assert len(found_ports) == interface["count"]
        assert {p[0].size for p in found_ports if p and p[0].size} == set(interface["sizes"])
    in_use = interfaces(past, EXCHANGED["failed"], interface)
    assert all(past.configuration.state(port).other for port in in_use)


def interfaces(past: Past, unit: str, interface: dict[str, Any]) -> list[str]:
    """Return the ports of a unit that are of an interface's kinds."""
    found = ((p, past.plant.port(p)) for p in past.plant.ports_of(unit))
    return [p for p, port in found if port is not None and port[1].id in interface["kinds"]]


@pytest.mark.parametrize("interface", INTERFACES, ids=lambda one: one["kinds"][0])
def test_every_interface_is_exchanged_once(past, checked, good, interface):
    """Each interface of the failed unit is undone once, and the spare takes its mate once, and keeps it."""
    failed, spare = EXCHANGED["failed"], EXCHANGED["spare"]
    events = [s.outcome for s in checked(good).steps]
    now = past.configuration.fork()
    mates = {port: now.state(port).other for port in interfaces(past, failed, interface)}
    for event in events:
        now.apply(event)
    done = Counter((event.action, frozenset(event.subjects)) for event in events)
    for port, mate in mates.items():
        twin = spare + port.removeprefix(failed)
        assert done[interface["off"], frozenset((port, mate))] == 1
        assert [done[on, frozenset((twin, mate))] for on in interface["on"]] == [1] * len(interface["on"])
        assert now.state(twin).other == mate


def test_after_the_exchange(past, checked, good):
    """Afterwards things are where they should be, joined as they should be, with power where it should be."""
    now = past.configuration.fork()
    for result in checked(good).steps:
        now.apply(result.outcome)
    assert {thing: now.state(thing).value for thing in AFTERWARDS["places"]} == AFTERWARDS["places"]
    assert {port: now.state(port).other for port in AFTERWARDS["mates"]} == AFTERWARDS["mates"]
    assert {port: now.state(port).value for port in AFTERWARDS["statuses"]} == AFTERWARDS["statuses"]
    for address, volume in AFTERWARDS["volumes"].items():
        state = unit_state(past.plant, now, past.networks, address.partition(":")[0])
        there = [(v.address, [*v.loops], [*v.expansions]) for v in state.volumes]
        assert there == [(address, volume["loops"], volume["expansions"])]
    for unit, loads in AFTERWARDS["powered"].items():
        state = unit_state(past.plant, now, past.networks, unit)
        assert {load.address for load in state.loads if load.sources} == set(loads)


# --- the journal ----------------------------------------------------------------------------------------------------


def as_run() -> list[dict[str, str]]:
    """Return the rows of the journal's file."""
    with (DEMO / "as-run.csv").open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def test_the_journal_is_messy_in_the_promised_ways(past):
    """A row is sent twice, rows come late, times are full, inside an outing and elapsed, several people record."""
    rows = as_run()
    assert [name for name, n in Counter(row["id"] for row in rows).items() if n > 1] == JOURNAL["repeated"]
    assert sorted({row["recorder"] for row in rows}) == JOURNAL["recorders"]
    assert {row["at"][0] == "+" or len(row["at"]) == len("20:00") for row in rows} == {True, False}
    assert any(row["at"][0] == "+" for row in rows)
    log = [line.entry.event for line in past.journal.log() if not line.entry.event.initial]
    known: list[Event] = [event for event in log if event.action != "define"]
    before = accumulate((event.happened for event in known), max)
    late = [e.id for e, latest in zip(known, before, strict=True) if e.happened < latest]
    assert late == JOURNAL["late"]


def test_what_was_recorded_wrongly_is_corrected(past):
    """What was recorded on a wrong port is superseded, with a reason; the state follows the correction."""
    events = {entry.event.id: entry.event for entry in past.journal.entries()}
    corrections = [event for event in events.values() if event.supersedes]
    assert [event.supersedes for event in corrections] == JOURNAL["corrected"]
    assert all(event.reason for event in corrections)
    assert not events.keys() & set(JOURNAL["corrected"])


def test_the_state_follows_the_journal(past):
    """After the journal's last row, ports have the mates and statuses that its story tells."""
    state = past.configuration.state
    assert {port: state(port).other for port in JOURNAL["mates"]} == JOURNAL["mates"]
    assert {port: state(port).value for port in JOURNAL["statuses"]} == JOURNAL["statuses"]


def test_a_surprise_stays_open_until_explained(past):
    """Of what was found otherwise than recorded, some is explained and some is not."""
    events = [entry.event for entry in past.journal.entries()]
    surprises = {e.id: e.subjects[0] for e in events if e.action == "as-found" and not e.initial}
    explained = [surprises[event.explains] for event in events if event.explains]
    assert explained == JOURNAL["found"]["explained"]
    assert [d.event.subjects[0] for d in past.journal.discrepancies()] == JOURNAL["found"]["open"]
    assert sorted(surprises.values()) == sorted([*explained, *JOURNAL["found"]["open"]])


def test_the_recorded_past_broke_what_it_really_broke(past, rules):
    """The as-run journal breaks the promised rules and no others, from when to when it did."""
    findings = judged(rules, past.start, past.networks).findings()
    told = [(f.rule, format_instant(f.since), f.until and format_instant(f.until)) for f in findings]
    assert told == [
        (b["rule"], format_instant(instant(b["since"])), format_instant(instant(b["until"])))
        for b in JOURNAL["broken"]
    ]


# --- the demo and the rest ------------------------------------------------------------------------------------------


def test_the_demo_lies_in_the_past():
    """No time in the demo's files is later than now: what is recorded in the present comes after all of it."""
    texts = [path.read_text(encoding="utf-8") for path in (*DEMO.glob("*.toml"), *DEMO.glob("*.csv"))]
    times = [parse_instant(time) for text in texts for time in re.findall(r"\d{4}-\d\d-\d\dT[\d:]+Z", text)]
    assert len(times) > 10
    assert max(times) < parse_instant(datetime.now(UTC).isoformat())


def test_nothing_but_the_demo_names_its_plant():
    """No unit, place, event or outing of the demo stands as a word in tests or package, so the demo can change."""
    definition = read_definition([DEMO / "hardware.toml"])
    plan = tomllib.loads(PLAN.read_text(encoding="utf-8"))
    names = {*definition.units, *definition.places} - {*shipped().units, *shipped().places}
    names |= {row[column] for row in as_run() for column in ("id", "outing")}
    names |= {outing["id"] for outing in plan["outing"]}
    longest_first = sorted(names - {""}, key=len, reverse=True)
    word = re.compile(rf"(?<![\w-])({'|'.join(map(re.escape, longest_first))})(?![\w-])".encode())
    assert word.search(f"mate {longest_first[0]}:X".encode())
    clashes = [
        (str(path.relative_to(ROOT)), match[1].decode())
        for folder in ("tests", "cfgtrack")
        for path in sorted((ROOT / folder).rglob("*"))
        if path.is_file() and "__pycache__" not in path.parts
        for match in word.finditer(path.read_bytes())
    ]
    assert clashes == []


# --- where the work may stop, and what fails --------------------------------------------------------------------------


@pytest.fixture(scope="module")
def stops(past, rules, written) -> StopReport:
    """Give the stop points of the plan."""
    return stop_points(rules, past.start, written, networks=past.networks, recorded=past.start)


def test_the_plan_has_stop_points_of_all_three_verdicts(stops):
    """Yes, yes until a time, and no: each is the verdict somewhere; and everybody may go home where a night ends."""
    assert {point.may.value for point in stops.points} == {"yes", "until", "no"}
    assert len(stops.points) == PROMISES["plan"]["steps"] + 1
    ends = [a for a, b in pairwise(stops.points) if a.outing != b.outing] + [stops.points[-1]]
    assert [point.as_it_stands.may.value for point in ends] == ["yes"] * len(ends)
    assert all(point.way_out is not None for point in stops.points if point.may.value == "no")


def test_a_step_without_a_way_out_is_named(past, rules, written):
    """Where the cage stands still with people up nobody gets down, and that is said; not where a bolt won't release."""
    question = Question(rules, past.start, written, ways_of_failing())
    told = PROMISES["failing"]
    for name in ("lost", "mended"):
        report = failures(replace(question, only=told[name]["step"]), networks=past.networks)
        (row,) = (one for one in report.failures if told[name]["fails"] in {way.id for way in one.fails})
        assert (row.way_out is None) == (name == "lost")
        assert {one.step for one in row.dead} >= set(told[name]["dead"])
