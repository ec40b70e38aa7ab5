"""Fingerprints, variances, verdicts, presence and plans, each in a case worked out by hand."""

from __future__ import annotations

from typing import Any

import pytest

from tests.rules.oracle.phrases import clock, read
from tests.rules.oracle.plain import Breach, Clock, judge
from tests.rules.oracle.plans import HIGH, LIKELY, LOW, by_durations, layout, ties
from tests.rules.oracle.plant import Table
from tests.rules.oracle.rulings import Approved, Ending, absences, apart, excused, identities, verdict
from tests.rules.oracle.state import Absence
from tests.rules.oracle.test_plain import HARDWARE, MINUTE, OPEN, VOLUMES, judged, world

# --- fingerprints -----------------------------------------------------------------------------------------------------


def test_same_cut_at_another_time_is_the_same() -> None:
    """A is cut off by V1 at 1 and at 3: one fingerprint, and no time in it."""
    found = judged(
        {"mode": "always", "condition": VOLUMES}, "0:01 shut BAY:V1\n0:02 open BAY:V1\n0:03 shut BAY:V1"
    )
    first, second = identities(found.breaches)
    assert first == second


def test_another_cut_is_another() -> None:
    """The unit's volume is cut off at its coupling at 1, and by V1 at 3: two causes. U1 and A by V1: two instances."""
    condition = {"path": "fluid", "from": {"id": ["U1:VOL", "BAY:A"]}, "to": {"expansion": True}}
    does = "0:01 demate U1:F1\n0:02 mate U1:F1 BAY:F1\n0:03 shut BAY:V1"
    found = judged({"mode": "always", "condition": condition}, does)
    assert len(found.breaches) == 3
    assert len(set(identities(found.breaches))) == 3


def test_clock_is_told_by_what_started_it() -> None:
    """The lamp is not lit in time three times: twice put out by the same action, and once found so."""
    rule = {
        "mode": "within",
        "within": "1 min",
        "scope": {"id": "BAY:LAMP"},
        "trigger": {
            "turns_true": {"no_path": "power", "from": "it", "to": {"source": True, "medium": "power"}}
        },
        "condition": {"path": "power", "from": "it", "to": {"source": True, "medium": "power"}},
    }
    again = "0:01 de-energise BAY:K1\n0:05 energise BAY:K1\n0:06 de-energise BAY:K1\n0:09 energise BAY:K1"
    first, second, third = identities(judged(rule, again + "\n0:10 as-found BAY:K1 off").breaches)
    assert first == second != third


# --- variances --------------------------------------------------------------------------------------------------------


def _shut(since: int, until: int | None) -> Breach:
    return Breach("R", None, ("BAY:V1",), since, since, until, cause=("done", ()))


@pytest.mark.parametrize(
    ("since", "until", "is_excused"),
    [
        (0, None, True),
        (MINUTE, 5 * MINUTE, True),
        (MINUTE + 1, None, False),
        (0, 5 * MINUTE - 1, False),
    ],
)
def test_variance_runs_as_long_as_the_breach(since: int, until: int | None, is_excused: bool) -> None:
    """The breach is [1, 5): a variance from 1 to 5 covers it, one that begins or ends a microsecond inside doesn't."""
    breach = _shut(MINUTE, 5 * MINUTE)
    assert excused(breach, [Approved(frozenset([breach.identity]), since, until)], 9 * MINUTE) is is_excused


def test_variance_excuses_what_it_names() -> None:
    """Approved for V1: V2's is another fingerprint, and a variance that names none excuses none."""
    one, other = _shut(MINUTE, None), Breach("R", None, ("BAY:V2",), MINUTE, MINUTE, None, cause=("done", ()))
    assert not excused(other, [Approved(frozenset([one.identity]), 0, None)], 9 * MINUTE)
    assert not excused(one, [Approved(frozenset(), 0, None)], 9 * MINUTE)
    assert not excused(one, [Approved(frozenset([one.identity]), 0, 9 * MINUTE)], 9 * MINUTE)


def test_approved_after_it_was_found() -> None:
    """Found at 1 and approved at 3: shown apart while it stands, not once it is over; a plan isn't clear by it."""
    stands, over = _shut(MINUTE, None), _shut(MINUTE, 5 * MINUTE)
    later = [Approved(frozenset([over.identity]), 3 * MINUTE, None)]
    assert apart(stands, later, 9 * MINUTE)
    assert not apart(over, later, 9 * MINUTE)
    assert not excused(stands, later, 9 * MINUTE)
    assert apart(over, [Approved(frozenset([over.identity]), MINUTE, 5 * MINUTE)], 9 * MINUTE)


# --- verdict ----------------------------------------------------------------------------------------------------------

BREACH = _shut(MINUTE, None)
RUNNING = Clock("C", None, (), MINUTE, 9 * MINUTE, "within")
ENDLESS = Clock("C", None, (), MINUTE, None, "within")
EXCUSE = Approved(frozenset([BREACH.identity]), 0, None)


@pytest.mark.parametrize(
    ("ending", "word"),
    [
        (Ending(), "clear"),
        (Ending(impossible=1), "not clear"),
        (Ending(new=(BREACH,)), "not clear"),
        (Ending(new=(BREACH,), variances=(EXCUSE,)), "clear"),
        (Ending(open_before=(BREACH,), open_after=(BREACH,)), "not clear"),
        (Ending(open_before=(BREACH,)), "clear"),
        (Ending(open_before=(BREACH,), open_after=(BREACH,), leaves_open=(BREACH.identity,)), "clear"),
        (Ending(new=(BREACH,), leaves_open=(BREACH.identity,)), "not clear"),
        (Ending(clocks=(RUNNING,)), "not clear"),
        (Ending(clocks=(ENDLESS,)), "clear"),
        (Ending(clocks=(RUNNING,), may_outlive=("C",)), "clear"),
        (Ending(clocks=(RUNNING,), met_later=(RUNNING,)), "clear"),
        (Ending(clocks=(RUNNING,), single=True), "clear"),
        (Ending(open_before=(BREACH,), open_after=(BREACH,), single=True), "not clear"),
        (Ending(unacknowledged=1), "not clear"),
        (Ending(no_verdict=1), "undecided"),
        (Ending(judged=0), "undecided"),
        (Ending(cut_short=True), "undecided"),
        (Ending(no_verdict=1, new=(BREACH,)), "not clear"),
    ],
)
def test_verdict(ending: Ending, word: str) -> None:
    """Each clause of the verdict, alone; not clear outranks undecided."""
    assert verdict(ending) == word


# --- presence ---------------------------------------------------------------------------------------------------------


def _done(does: str, by: str) -> list[dict[str, Any]]:
    lines = [line.strip().partition(" ") for line in does.strip().splitlines()]
    return [{**read(phrase, clock(time, 0)), "by": by} for time, _, phrase in lines]


def test_who_is_at_another_site() -> None:
    """Ann stands in the store. She shuts a valve in the bay: absent, and in a record she follows, so the next is
    hers."""
    does = "0:01 shut BAY:V1\n0:02 shut BAY:V2"
    assert absences(HARDWARE, _done(does, "ANN")) == [Absence(0, "ANN", "STORE", "BAY:V1", "BAY")]
    assert [absence.number for absence in absences(HARDWARE, _done(does, "ANN"), plan=True)] == [0, 1]


def test_who_has_gone_there() -> None:
    """Ann goes to the bay first: people move themselves, and then she is there."""
    assert not absences(HARDWARE, _done("0:01 place ANN at BAY\n0:02 shut BAY:V1", "ANN"))


def test_remote_valve() -> None:
    """V1 is worked from the store: whoever stands there may shut it; V2 isn't."""
    ports = [
        {**port, **({"remote": ["STORE"]} if port["name"] == "V1" else {})}
        for port in HARDWARE["part"][0]["port"]
    ]
    hardware = {**HARDWARE, "part": [{**HARDWARE["part"][0], "port": ports}, *HARDWARE["part"][1:]]}
    found = absences(hardware, _done("0:01 shut BAY:V1\n0:02 shut BAY:V2", "ANN"))
    assert [absence.number for absence in found] == [1]


def test_plant_without_sites() -> None:
    """Without a site nobody is judged."""
    places = [{key: value for key, value in place.items() if key != "site"} for place in HARDWARE["place"]]
    assert not absences({**HARDWARE, "place": places}, _done("0:01 shut BAY:V1", "ANN"))


# --- plans ------------------------------------------------------------------------------------------------------------


def _plan(*tracks: list[Table], start: int = 0) -> Table:
    steps = [{"name": f"T{number}", "steps": track} for number, track in enumerate(tracks)]
    return {"outing": [{"id": "O1", "start": start, "track": steps}]}


def test_layout_waits() -> None:
    """Shut takes 10 and is over at 10; the other track's first takes 3; the second waits for the shut: 10 and 5 is
    15."""
    plan = _plan(
        [{"id": "a", "do": "shut BAY:V1", "takes": "10 min"}],
        [
            {"id": "b", "do": "shut BAY:V2", "takes": "3 min"},
            {"id": "c", "do": "open BAY:V1", "takes": ["4 min", "5 min", "6 min"], "after": ["a"]},
        ],
    )
    assert [(event.get("step"), event["happened"] // MINUTE) for event in layout(plan)] == [
        (None, 0),
        ("b", 3),
        ("a", 10),
        ("c", 15),
        (None, 15),
    ]
    assert layout(plan, LOW)[-1]["happened"] == 14 * MINUTE
    assert layout(plan, {"c": HIGH})[-1]["happened"] == 16 * MINUTE


def test_only_a_mix_breaks_it() -> None:
    """Shut at 1 to 9, opened at 18 to 26: 17 minutes at all low, likely (5, 22) and high; low and high together 25."""
    plan = _plan(
        [{"id": "a", "do": "shut BAY:V1", "takes": ["1 min", "5 min", "9 min"]}],
        [{"id": "b", "do": "open BAY:V1", "takes": ["18 min", "22 min", "26 min"]}],
    )
    rule = {"id": "R", "mode": "always", "tolerance": "20 min", "condition": OPEN}
    found = by_durations(HARDWARE, [rule], plan, 0)
    late = {("R", None, ("BAY:V1",))}
    assert found == {"low": set(), "likely": set(), "high": set(), "any": late, "in order": late}
    assert not ties(plan)


def test_stop_points_are_steps() -> None:
    """V1 is shut by the first step and opened by the second: of the two stop points the first is no place to stop."""
    plan = _plan(
        [
            {"id": "a", "do": "shut BAY:V1", "takes": "1 min"},
            {"id": "b", "do": "open BAY:V1", "takes": "1 min"},
        ]
    )
    rule = {"id": "R", "mode": "by", "by": "stop", "condition": OPEN}
    events = layout(plan, LIKELY)
    (breach,) = judge(world(), [rule], events, start=0, horizon=2 * MINUTE, plan=True, stops=True).breaches
    assert (breach.ends, breach.until) == ((MINUTE,), 2 * MINUTE)
