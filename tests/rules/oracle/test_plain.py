"""The plain reading against tiny cases that were worked out by hand; each says its arithmetic."""

from __future__ import annotations

from typing import Any

import pytest

from tests.rules.oracle.moment import Moment
from tests.rules.oracle.phrases import clock, read
from tests.rules.oracle.plain import Breach, Judged, judge
from tests.rules.oracle.plant import Plant, Table
from tests.rules.oracle.state import initial

MINUTE = 60_000_000
PANEL: Table = {
    "id": "panel",
    "port": [
        *({"name": name, "kind": "valve"} for name in ("V1", "V2", "V3")),
        {"name": "K1", "kind": "switch"},
        {"name": "F1", "kind": "fluid-disconnect", "cycles": 1},
        {"name": "B1", "kind": "bolt", "torque": ["20 N*m", "30 N*m"]},
    ],
    "node": [
        {"name": "A", "medium": "fluid", "litres": "1 l"},
        {"name": "B", "medium": "fluid", "litres": "1 l"},
        {"name": "ACC", "medium": "fluid", "expansion": True},
        {"name": "PUMP", "medium": "fluid", "source": True},
        {"name": "BUS", "medium": "power", "source": True},
        {"name": "LAMP", "medium": "power", "load": True},
        {"name": "BACK", "medium": "power", "load": True},
    ],
    "links": [["A", "ACC", "V1"], ["B", "ACC", "V2"], ["A", "PUMP", "V3"], ["A", "F1"]],
    "link": [
        {"a": "BUS", "b": "LAMP", "gate": "K1", "one_way": True},
        {"a": "BACK", "b": "BUS", "one_way": True},
    ],
}
UNIT: Table = {
    "id": "unit",
    "port": [
        {"name": "F1", "kind": "fluid-disconnect"},
        {"name": "B1", "kind": "bolt"},
        {"name": "H1", "kind": "grip"},
    ],
    "node": [
        {"name": "VOL", "medium": "fluid", "litres": "1 l"},
        {"name": "HEAT", "medium": "power", "load": True},
    ],
    "links": [["F1", "VOL"]],
    "thermal": {"capacity": "3600 J/K", "leak": "1 W/K", "start": "20 degC", "limit": "0 degC"},
    "trapped": "10 min",
}
HARDWARE: Table = {
    "part": [PANEL, UNIT, {"id": "hands", "port": [{"name": "HAND", "kind": "grip"}]}],
    "unit": [{"id": "U1", "part": "unit", "home": "STORE"}],
    "place": [
        {"id": "TOP"},
        {"id": "BAY", "parent": "TOP", "part": "panel", "site": True},
        {
            "id": "STORE",
            "parent": "TOP",
            "holds": True,
            "sink": "-20 degC",
            "tags": ["stowage"],
            "site": True,
        },
        {"id": "ANN", "parent": "STORE", "mobile": True, "part": "hands"},
    ],
    "initial": {
        "joined": [["U1:F1", "BAY:F1"], ["U1:B1", "BAY:B1"]],
        "status": {"BAY:V1": "open", "BAY:V2": "open", "BAY:K1": "on"},
        "place": {"U1": "BAY"},
    },
}
VOLUMES = {"path": "fluid", "from": {"id": ["BAY:A", "BAY:B"]}, "to": {"expansion": True}}
OPEN = {"status": {"id": ["BAY:V1", "BAY:V2"]}, "is": "open"}


def world(**initial: Any) -> Table:
    """Return the plant, its handover otherwise than usual."""
    return {**HARDWARE, "initial": {**HARDWARE["initial"], **initial}}


def judged(rule: Table, does: str, until: str = "9:00", **more: Any) -> Judged:
    """Return what a rule makes of what was done from 0:00 on."""
    events = []
    for line in does.strip().splitlines():
        time, _, phrase = line.strip().partition(" ")
        events.append(read(phrase, clock(time, 0)))
    hardware = more.pop("hardware", HARDWARE)
    return judge(hardware, [{"id": "R", **rule}], events, start=0, horizon=clock(until, 0), **more)


def told(found: Judged) -> list[tuple[str, tuple[str, ...]]]:
    """Return when which part was broken: in minutes and microseconds."""
    return [(_minutes(breach.time), breach.part) for breach in found.breaches]


def _minutes(time: int) -> str:
    return f"{time // MINUTE}" + (f"+{time % MINUTE}" if time % MINUTE else "")


def only(found: Judged) -> Breach:
    """Return the one breach that was found."""
    (breach,) = found.breaches
    return breach


# --- always -----------------------------------------------------------------------------------------------------------


def test_second_volume_is_broken_beside_the_first() -> None:
    """A rule without scope: A is cut off at 1 by V1, B at 2 by V2; both stand until V1 opens at 5."""
    found = judged(
        {"mode": "always", "condition": VOLUMES}, "0:01 shut BAY:V1\n0:02 shut BAY:V2\n0:05 open BAY:V1"
    )
    assert told(found) == [("1", ("BAY:A",)), ("2", ("BAY:B",))]
    assert [breach.until for breach in found.breaches] == [5 * MINUTE, None]


def test_tolerance_runs_for_each_volume() -> None:
    """A shut off from 0 to 10, B from 10 to 20: twenty minutes false, and neither for longer than fifteen."""
    does = "0:00 shut BAY:V1\n0:10 open BAY:V1\n0:10 shut BAY:V2\n0:20 open BAY:V2"
    assert not judged({"mode": "always", "tolerance": "15 min", "condition": VOLUMES}, does).breaches
    found = judged({"mode": "always", "tolerance": "9 min", "condition": VOLUMES}, does)
    assert told(found) == [("9", ("BAY:A",)), ("19", ("BAY:B",))]


def test_false_for_exactly_its_tolerance() -> None:
    """Shut at 0, tolerance 15: open at 15 is in time, a microsecond later is not; the breach is told at 15."""
    rule = {"mode": "always", "tolerance": "15 min", "condition": VOLUMES}
    assert not judged(rule, "0:00 shut BAY:V1\n0:15 open BAY:V1").breaches
    assert told(judged(rule, "0:00 shut BAY:V1\n0:15:00.000001 open BAY:V1")) == [("15", ("BAY:A",))]


def test_horizon_at_the_end_of_a_tolerance() -> None:
    """At 15 sharp the fifteen minutes aren't over yet: a clock runs; a microsecond later it is a breach."""
    rule = {"mode": "always", "tolerance": "15 min", "condition": VOLUMES}
    found = judged(rule, "0:00 shut BAY:V1", until="0:15")
    assert not found.breaches
    assert [(clock.part, clock.started, clock.deadline) for clock in found.clocks] == [
        (("BAY:A",), 0, 15 * MINUTE)
    ]
    assert told(judged(rule, "0:00 shut BAY:V1", until="0:15:00.000001")) == [("15", ("BAY:A",))]


def test_one_instant_is_one_change() -> None:
    """Shut and opened at 1: at the end of that instant A has its way, so nothing was ever broken."""
    does = "0:01 shut BAY:V1\n0:01 open BAY:V1"
    assert not judged({"mode": "always", "condition": VOLUMES}, does).breaches


def test_no_path_names_the_pair() -> None:
    """Opening V3 joins A to PUMP, and so the accumulator behind V1; shutting V1 parts one pair and leaves the other."""
    condition = {
        "no_path": "fluid",
        "from": {"id": ["BAY:A", "BAY:ACC"]},
        "to": {"source": True, "medium": "fluid"},
    }
    found = judged({"mode": "always", "condition": condition}, "0:01 open BAY:V3\n0:02 shut BAY:V1")
    assert told(found) == [("1", ("BAY:A", "BAY:PUMP")), ("1", ("BAY:ACC", "BAY:PUMP"))]
    assert [breach.until for breach in found.breaches] == [None, 2 * MINUTE]


def test_count_is_broken_anew() -> None:
    """Two valves must be open: V1 shut at 1 leaves one, V2 shut at 2 none. Opened at 3 it is one: less, nothing new."""
    condition = {"count": {"id": ["BAY:V1", "BAY:V2"]}, "is": "open", "at_least": 2}
    does = "0:01 shut BAY:V1\n0:02 shut BAY:V2\n0:03 open BAY:V2"
    found = judged({"mode": "always", "condition": condition}, does)
    assert told(found) == [("1", ()), ("2", ())]
    assert [set(breach.short) for breach in found.breaches] == [{"BAY:V1"}, {"BAY:V2"}]


def test_further_item_within_a_tolerance_starts_nothing() -> None:
    """False from 1, broken at 11; V2 falls short at 5, inside the tolerance; V3 at 20, after it: anew at once."""
    condition = {"count": {"id": ["BAY:V1", "BAY:V2", "BAY:V3"]}, "is": "open", "at_least": 3}
    does = "0:00 open BAY:V3\n0:01 shut BAY:V1\n0:05 shut BAY:V2\n0:20 shut BAY:V3"
    found = judged({"mode": "always", "tolerance": "10 min", "condition": condition}, does)
    assert told(found) == [("11", ()), ("20", ())]


def test_any_is_broken_anew_in_every_alternative() -> None:
    """Both open, or two counted open: both alternatives fail at 1 for V1, and for V2 too at 2."""
    condition = {"any": [OPEN, {"count": {"id": ["BAY:V1", "BAY:V2"]}, "is": "open", "at_least": 2}]}
    does = "0:01 shut BAY:V1\n0:02 shut BAY:V2"
    assert told(judged({"mode": "always", "condition": condition}, does)) == [("1", ()), ("2", ())]


def test_any_is_not_broken_anew_in_one_alternative() -> None:
    """V2 falls short of the first alternative at 2; the other is of the lamp alone, so no item falls short in both."""
    lamp = {"path": "power", "from": "BAY:LAMP", "to": {"source": True, "medium": "power"}}
    does = "0:00 de-energise BAY:K1\n0:01 shut BAY:V1\n0:02 shut BAY:V2"
    assert told(judged({"mode": "always", "condition": {"any": [OPEN, lamp]}}, does)) == [("1", ())]


def test_all_tells_positions() -> None:
    """The first member is false of V1 at 1, the second, a count, at 2 as one instance, told by its position."""
    count = {"count": {"id": "BAY:V2"}, "is": "open", "at_least": 1}
    does = "0:01 shut BAY:V1\n0:02 shut BAY:V2"
    condition = {"all": [{"status": "BAY:V1", "is": "open"}, count]}
    assert told(judged({"mode": "always", "condition": condition}, does)) == [
        ("1", ("BAY:V1",)),
        ("2", ("1",)),
    ]


def test_item_of_two_members_is_one_instance() -> None:
    """V1 must be open, and measured: shut from 1 to 3, its reading due from 2 on: one instance, false from 1 on."""
    measured = {"value": "BAY:V1", "quantity": "level", "max": 1, "max_age": "2 min"}
    condition = {"all": [{"status": "BAY:V1", "is": "open"}, measured]}
    does = '0:00 measure BAY:V1 level="1"\n0:01 shut BAY:V1\n0:03 open BAY:V1'
    found = judged({"mode": "always", "condition": condition}, does)
    assert told(found) == [("1", ("BAY:V1",))]
    assert only(found).until is None


def test_not_is_one_instance() -> None:
    """Not both open is broken from the beginning, and mended at 1."""
    found = judged({"mode": "always", "condition": {"not": OPEN}}, "0:01 shut BAY:V1")
    assert (only(found).part, only(found).until) == ((), MINUTE)


def test_scope_that_moves() -> None:
    """Whatever is in the store must be capped: U1's port is mated there from 2 to 4, when it goes; then it isn't
    judged."""
    rule = {
        "mode": "always",
        "scope": {"what": "unit", "at": "STORE"},
        "condition": {"status": {"of": "ports of it", "kind": "fluid-disconnect"}, "is": "capped"},
    }
    hardware = world(joined=[])
    found = judged(rule, "0:02 place U1 at STORE\n0:04 place U1 at BAY", hardware=hardware)
    assert (only(found).item, only(found).since, only(found).until) == ("U1", 2 * MINUTE, 4 * MINUTE)


# --- ages -------------------------------------------------------------------------------------------------------------


def test_half_an_hour_old() -> None:
    """Measured at 1: at 31 it is half an hour old and counts, a microsecond later it doesn't: broken by time alone."""
    condition = {"value": "BAY:F1", "quantity": "pressure", "max": "1 bar", "max_age": "30 min"}
    rule = {"mode": "always", "condition": condition}
    found = judged(rule, '0:00 measure BAY:F1 pressure="0 bar"\n0:01 measure BAY:F1 pressure="0.5 bar"')
    assert told(found) == [("31+1", ("BAY:F1",))]


def test_another_quantity_is_no_measurement_of_this_one() -> None:
    """The voltage is from 0, the temperature from 100: at 101 no voltage of the last half hour is there."""
    rule = {
        "mode": "at",
        "at": {"action": "demate"},
        "condition": {"value": "it", "quantity": "voltage", "max": "3 V", "max_age": "30 min"},
    }
    does = '0:00 measure BAY:F1 voltage="0 V"\n1:40 measure BAY:F1 temperature="1 degC"\n1:41 demate BAY:F1'
    assert {breach.item for breach in judged(rule, does).breaches} == {"BAY:F1", "U1:F1"}


def test_torque_of_an_earlier_tightening() -> None:
    """25 N*m at 1, loosened and engaged at 2 and 3, torqued at 4 untold: since `engage` there is no value; told,
    there is. Since `torque` itself there is none either way."""
    rule: Table = {
        "mode": "at",
        "after": True,
        "at": {"action": "torque", "id": "BAY:B1"},
        "condition": {"value": "it", "quantity": "torque", "rated": True, "since": "engage"},
    }
    does = '0:01 torque BAY:B1 torque="25 N*m"\n0:02 release BAY:B1\n0:03 engage BAY:B1 U1:B1\n0:04 torque BAY:B1'
    assert told(judged(rule, does)) == [("4", ("BAY:B1",))]
    assert not judged(rule, does + ' torque="20 N*m"').breaches
    rule["condition"]["since"] = "torque"
    assert told(judged(rule, does + ' torque="20 N*m"')) == [("1", ("BAY:B1",)), ("4", ("BAY:B1",))]


def test_done_since() -> None:
    """Measured at 1, placed at 2: not since. Measured again at 2, after it in the series: since."""
    rule = {
        "mode": "at",
        "at": {"action": "inspect"},
        "condition": {"done": "measure", "since": "place", "of": "it"},
    }
    hardware = world(joined=[])
    does = '0:01 measure U1 temperature="1 degC"\n0:02 place U1 at STORE\n'
    assert told(judged(rule, does + "0:03 inspect U1", hardware=hardware)) == [("3", ("U1",))]
    again = does + '0:02 measure U1 temperature="1 degC"\n0:03 inspect U1'
    assert not judged(rule, again, hardware=hardware).breaches
    assert told(judged(rule, "0:03 inspect U1", hardware=hardware)) == [("3", ("U1",))]


def test_cycles_count_actions_alone() -> None:
    """Good for one: the handover's mate is none, 2 is the first, 4 the second."""
    rule = {"mode": "always", "condition": {"value": "BAY:F1", "quantity": "cycles", "rated": True}}
    does = "0:01 demate U1:F1\n0:02 mate U1:F1 BAY:F1\n0:03 demate U1:F1\n0:04 mate U1:F1 BAY:F1"
    assert told(judged(rule, does)) == [("4", ("BAY:F1",))]


# --- at ---------------------------------------------------------------------------------------------------------------


def test_actions_of_one_instant_are_a_series() -> None:
    """Demated at 1, before V3 is opened at 1: not joined to the pump then. The other way round it is, for both
    halves."""
    rule = {
        "mode": "at",
        "at": {"action": "demate"},
        "condition": {"no_path": "fluid", "from": "it", "to": {"source": True, "medium": "fluid"}},
    }
    assert not judged(rule, "0:01 demate U1:F1\n0:01 open BAY:V3").breaches
    found = judged(rule, "0:01 open BAY:V3\n0:01 demate U1:F1")
    assert [(breach.item, breach.part) for breach in found.breaches] == [
        ("BAY:F1", ("BAY:F1", "BAY:PUMP")),
        ("U1:F1", ("U1:F1", "BAY:PUMP")),
    ]


def test_before_and_after() -> None:
    """Shutting V1 finds it open before and shut after."""
    rule = {"mode": "at", "at": {"action": "shut"}, "condition": {"status": "it", "is": "open"}}
    assert not judged(rule, "0:01 shut BAY:V1").breaches
    assert told(judged({**rule, "after": True}, "0:01 shut BAY:V1")) == [("1", ("BAY:V1",))]


def test_custom_condition() -> None:
    """A plain function is the condition: here that it is before 5."""
    rule = {"mode": "at", "at": {"action": "inspect"}, "condition": {"custom": "early", "of": "it"}}
    customs = {"early": lambda moment, it, clause: moment.time < 5 * MINUTE}
    found = judged(rule, "0:04 inspect U1\n0:05 inspect U1", customs=customs)
    assert told(found) == [("5", ())]


# --- within -----------------------------------------------------------------------------------------------------------

DARK = {"no_path": "power", "from": "it", "to": {"source": True, "medium": "power"}}
LIT = {"path": "power", "from": "it", "to": {"source": True, "medium": "power"}}
POWER_BACK: Table = {
    "mode": "within",
    "within": "10 min",
    "scope": {"id": "BAY:LAMP"},
    "trigger": {"turns_true": DARK},
    "condition": LIT,
}


def test_met_at_the_very_deadline() -> None:
    """Dark from 1, so lit by 11: at 11 sharp is in time, a microsecond later is too late, and closes it."""
    assert not judged(POWER_BACK, "0:01 de-energise BAY:K1\n0:11 energise BAY:K1").breaches
    found = only(judged(POWER_BACK, "0:01 de-energise BAY:K1\n0:11:00.000001 energise BAY:K1"))
    assert (found.time, found.since, found.until) == (11 * MINUTE, MINUTE, 11 * MINUTE + 1)


def test_clock_left_running() -> None:
    """Dark from 1: at 11 the clock still runs, a microsecond later it has run out."""
    found = judged(POWER_BACK, "0:01 de-energise BAY:K1", until="0:11")
    assert not found.breaches
    assert [(clock.item, clock.started, clock.deadline) for clock in found.clocks] == [
        ("BAY:LAMP", MINUTE, 11 * MINUTE)
    ]
    assert only(judged(POWER_BACK, "0:01 de-energise BAY:K1", until="0:11:00.000001")).time == 11 * MINUTE


def test_dark_from_the_beginning_has_not_turned() -> None:
    """Off at the handover: nothing turned, no clock. Off by an action at 0: it turned at 0."""
    off = world(status={"BAY:V1": "open"})
    assert not judged(POWER_BACK, "0:05 inspect U1", hardware=off).breaches
    assert told(judged(POWER_BACK, "0:00 de-energise BAY:K1")) == [("10", ("BAY:LAMP",))]


def test_each_action_starts_a_clock() -> None:
    """Capped in five minutes of each uncapping: uncapped at 1 and capped at 3; uncapped at 4 and left: 9."""
    rule = {
        "mode": "within",
        "within": "5 min",
        "trigger": {"action": "uncap"},
        "condition": {"status": "it", "is": "capped"},
    }
    off = world(joined=[], status={"BAY:F1": "capped", "U1:F1": "capped"})
    does = "0:01 uncap BAY:F1\n0:03 cap BAY:F1\n0:04 uncap BAY:F1\n0:04 uncap U1:F1"
    found = judged(rule, does, hardware=off)
    assert [(breach.item, breach.time) for breach in found.breaches] == [
        ("BAY:F1", 9 * MINUTE),
        ("U1:F1", 9 * MINUTE),
    ]


def test_second_trigger_while_the_first_runs() -> None:
    """Inspected at 0 and at 4, V1 open in ten minutes of each: it is shut throughout, so 10 and 14."""
    rule = {
        "mode": "within",
        "within": "10 min",
        "trigger": {"action": "inspect"},
        "condition": {"status": "BAY:V1", "is": "open"},
    }
    found = judged(rule, "0:00 inspect U1\n0:04 inspect U1", hardware=world(status={}))
    assert [(breach.time, breach.since) for breach in found.breaches] == [
        (10 * MINUTE, 0),
        (14 * MINUTE, 4 * MINUTE),
    ]


def test_met_and_then_lost() -> None:
    """V1 is shut from 1 to 9; the lamp is lit at 1, so it is met, and must stay so: lost from 3 to 4, and at 9 no
    more."""
    rule = {
        "mode": "within",
        "within": "10 min",
        "stays": True,
        "scope": {"id": "BAY:V1"},
        "trigger": {"turns_true": {"status": "it", "is": "shut"}},
        "condition": {"path": "power", "from": "BAY:LAMP", "to": {"source": True, "medium": "power"}},
    }
    does = "0:01 shut BAY:V1\n0:03 de-energise BAY:K1\n0:04 energise BAY:K1\n0:09 open BAY:V1\n0:10 de-energise BAY:K1"
    found = judged(rule, does)
    assert (only(found).time, only(found).since, only(found).until) == (3 * MINUTE, MINUTE, 4 * MINUTE)
    assert found.met_and_lost == 1
    assert not judged({**rule, "stays": False}, does).breaches


def test_thermal_clock() -> None:
    """3600 J/K over 1 W/K is an hour; half the way from 20 to -20 degC takes ln 2 of it: 2495.329850 s (Incropera
    5.1)."""
    rule = {
        "mode": "within",
        "within": "thermal",
        "trigger": {"action": "place", "what": "unit", "to": "#stowage"},
        "condition": {"status": "it", "at": "BAY"},
    }
    found = judged(rule, "0:01 place U1 at STORE", hardware=world(joined=[]))
    assert only(found).time == MINUTE + 2_495_329_850
    cold = '0:01 measure U1 temperature="-5 degC"\n0:02 place U1 at STORE'
    assert only(judged(rule, cold, hardware=world(joined=[]))).time == 2 * MINUTE


def test_trapped_clock() -> None:
    """The part lets its liquid be shut in for ten minutes: demated at 1, so 11."""
    rule = {
        "mode": "within",
        "within": "trapped",
        "scope": {"id": "U1:VOL"},
        "trigger": {"turns_true": {"not": {"path": "fluid", "from": "it", "to": {"expansion": True}}}},
        "condition": {"path": "fluid", "from": "it", "to": {"expansion": True}},
    }
    assert told(judged(rule, "0:01 demate U1:F1")) == [("11", ("U1:VOL",))]


# --- by ---------------------------------------------------------------------------------------------------------------


def test_ends_fold_until_it_is_mended() -> None:
    """Open at the ends 2 and 4: one finding with two ends. Capped at 5, uncapped at 6, open at 7: another."""
    rule = {"mode": "by", "by": "outing", "condition": {"status": "BAY:V1", "is": "open"}}
    does = """
    0:01 shut BAY:V1
    0:02 end O1
    0:04 end O2
    0:05 open BAY:V1
    0:06 shut BAY:V1
    0:07 end O3
    """
    found = judged(rule, does)
    assert [(breach.ends, breach.until) for breach in found.breaches] == [
        ((2 * MINUTE, 4 * MINUTE), 5 * MINUTE),
        ((7 * MINUTE,), None),
    ]


def test_further_item_at_a_later_end() -> None:
    """Two valves must be open: V1 is shut at the end 2, V2 too at 4, so a second breach there; both last till the
    end 6."""
    condition = {"count": {"id": ["BAY:V1", "BAY:V2"]}, "is": "open", "at_least": 2}
    does = "0:01 shut BAY:V1\n0:02 end O1\n0:03 shut BAY:V2\n0:04 end O2\n0:06 end O3"
    found = judged({"mode": "by", "by": "outing", "condition": condition}, does)
    assert [(breach.ends, set(breach.short)) for breach in found.breaches] == [
        ((2 * MINUTE, 4 * MINUTE, 6 * MINUTE), {"BAY:V1"}),
        ((4 * MINUTE, 6 * MINUTE), {"BAY:V2"}),
    ]


def test_end_of_a_sequence_is_a_plans() -> None:
    """V1 is shut at 1; that the sequence ends, at 3, is so of a plan alone."""
    rule = {"mode": "by", "by": "sequence", "condition": {"status": "BAY:V1", "is": "open"}}
    assert not judged(rule, "0:01 shut BAY:V1", until="0:03").breaches
    assert told(judged(rule, "0:01 shut BAY:V1", until="0:03", plan=True)) == [("3", ("BAY:V1",))]


# --- networks ---------------------------------------------------------------------------------------------------------


def now() -> Moment:
    """Return the moment of the handover."""
    plant = Plant(HARDWARE)
    return Moment(plant, initial(plant), 0)


@pytest.mark.parametrize(
    ("medium", "item", "reached"),
    [
        ("power", "BAY:LAMP", {"BAY:BUS", "BAY:BACK"}),
        ("power", "BAY:BACK", set()),
        ("power", "BAY:BUS", {"BAY:BACK"}),
        ("hold", "U1", {"BAY", "TOP", "STORE", "ANN", "ANN:HAND", "U1:B1", "BAY:B1", "U1:H1"}),
        ("hold", "ANN", {"STORE", "TOP", "ANN:HAND", "BAY", "BAY:B1", "U1", "U1:B1", "U1:H1"}),
        ("fluid", "U1:VOL", {"U1:F1", "BAY:F1", "BAY:A", "BAY:ACC", "BAY:B"}),
    ],
)
def test_what_is_reached(medium: str, item: str, reached: set[str]) -> None:
    """Power is asked against its one-way links; a bolted unit hangs on its place, and who stands in the store on
    that."""
    assert now().reached(medium, item) - {item} == reached
