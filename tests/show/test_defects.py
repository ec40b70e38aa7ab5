"""What can't be done where it is shown: beside the status word, in states, choices and every picture, in words."""

from __future__ import annotations

import re

import pytest

from cfgtrack.analysis.difference import difference
from cfgtrack.analysis.state import plant_state, unit_state
from cfgtrack.answers.draw import Scope
from cfgtrack.files.phrase import parse_phrase, split_phrase
from cfgtrack.show.defects import marks
from cfgtrack.show.record import difference_text
from cfgtrack.show.state import plant_text, state_text
from tests.happening import happened
from tests.show.drawing.reading import reading, sheet_of
from tests.show.world import AT, MOMENT, Yard, yard

SAID = (
    'defect open PANEL-1:V2 seized torque="30 N*m" by INA',
    "defect energise SUP-2:Q damaged",
    "defect PUMP-2 missing",
    "defect release PUMP-1:B1 stuck",
    "defect place BAY flooded",
)


def failing(*said: str) -> Yard:
    """Return the yard in which some things can't be done."""
    world = yard()
    for number, text in enumerate(said or SAID):
        action = parse_phrase(
            split_phrase(text), world.plant, id=f"d{number}", happened=AT + number * 1_000_000
        )
        world.configuration.apply(happened(world.configuration, action))
    return world


def drawn(world: Yard, scope: Scope) -> str:
    """Return all that a picture says."""
    return reading(sheet_of(world, scope))


def test_a_port_says_what_can_t_be_done_beside_its_status() -> None:
    """The table of ports has the mark, the table of defects what was measured, by whom, and what lifts it."""
    text = re.sub(r"\s+", " ", state_text(unit_state(*failing(), "PANEL-1"), MOMENT))
    assert "shut DEFECT no open: seized" in text
    assert "What can't be done, until it is rectified" in text
    for words in (
        "PANEL-1:V2 no open seized, torque",
        "30 N*m",
        "2031-04-26T20:00:00Z INA d0",
        "rectify open",
    ):
        assert words in text
    assert "What can't be done" not in state_text(unit_state(*yard(), "PANEL-1"), MOMENT)


def test_a_port_is_told_what_its_unit_can_t_do() -> None:
    """Asked about a port, what stands on the unit is told, too; about the unit, what stands on its ports."""
    assert [one.cause for one in unit_state(*failing(), "PUMP-2:F1").defects] == ["missing"]
    assert [one.cause for one in unit_state(*failing(), "PUMP-1").defects] == ["stuck"]
    assert [one.cause for one in unit_state(*failing(), "BAY").defects] == ["flooded"]
    assert unit_state(*failing(), "COOL-1").defects == ()


def test_everything_lists_all_that_can_t_be_done() -> None:
    """The whole plant's state has a row for each."""
    report = plant_state(*failing())
    assert {(one.thing, one.cause) for one in report.defects} == {
        ("PANEL-1:V2", "seized"),
        ("SUP-2:Q", "damaged"),
        ("PUMP-2", "missing"),
        ("PUMP-1:B1", "stuck"),
        ("BAY", "flooded"),
    }
    assert re.search(r"PUMP-2 +nothing can be +missing", plant_text(report, MOMENT))


@pytest.mark.parametrize(
    ("scope", "said"),
    [
        (Scope.one_medium("fluid"), ["V2 shut DEFECT", "no open: seized", "PUMP-2 (missing)"]),
        (Scope.one_medium("power"), ["Q off DEFECT", "SUP-2:Q (no energise: damaged)", "PUMP-2 (missing)"]),
        (Scope.around("PANEL-1"), ["V2 shut DEFECT", "no open: seized"]),
        (Scope.around("PUMP-1"), ["B1 bolt torqued DEFECT", "PUMP-1:B1 (no release: stuck)"]),
        (
            Scope.everything(),
            ["V2 shut DEFECT", "no open: seized", "Q off DEFECT", "no energise: damaged", "PUMP-2 (missing)"],
        ),
        (Scope.places(), ["V2 shut DEFECT", "no open: seized", "PUMP-2 (missing)", "no place: flooded"]),
        (Scope.loop("A"), ["V2 shut DEFECT", "no open: seized"]),
    ],
)
def test_every_picture_marks_what_can_t_be_done(scope: Scope, said: list[str]) -> None:
    """The mark is a word beside the status, wherever that is drawn, and the note says what can't be done."""
    text = drawn(failing(), scope)
    for words in said:
        assert words in text
    assert "can't be done until it is rectified" in text
    assert "DEFECT" not in drawn(yard(), scope)


def test_a_defect_of_a_hose_is_marked_on_it() -> None:
    """A hose that a defect is on has the mark at its end, as the wrong thing that it is."""
    world = failing("defect mate HOSE-1:E2 bent")
    text = drawn(world, Scope.one_medium("fluid"))
    assert re.search(r"E2 mated DEFECT \[\d+\]", text)
    assert "HOSE-1:E2 (no mate: bent)" in text


def test_a_leak_is_called_one() -> None:
    """A defect by which something leaks is marked as a leak."""
    text = drawn(failing("defect open PANEL-1:V2 leaking"), Scope.one_medium("fluid"))
    assert re.search(r"V2 shut LEAK \[\d+\]", text)


def test_what_differs_names_each_defect() -> None:
    """One that came or went is a row, with what can't be done and why, and by which event."""
    before, after = yard().configuration, failing().configuration
    rows = [(r.subject, r.aspect, r.before, r.after, r.event) for r in difference(before, after)]
    assert ("PANEL-1:V2", "defect", None, "no open: seized, torque 30 N*m", "d0") in rows
    assert ("PUMP-2", "defect", None, "nothing can be done: missing", "d2") in rows
    later = failing(*SAID, "rectify open PANEL-1:V2")
    [row] = difference(after, later.configuration)
    assert (row.before, row.after, row.event) == ("no open: seized, torque 30 N*m", None, "d5")
    assert re.search(r"PANEL-1:V2 +defect +no open: seized", difference_text([row], MOMENT, MOMENT))


def test_several_marks_stand_side_by_side() -> None:
    """Locks first, then each defect, none hidden by another."""
    world = failing(
        "lock PANEL-1:V2 by INA", "defect open PANEL-1:V2 seized", "defect open PANEL-1:V2 leaking"
    )
    text = re.sub(r"\s+", " ", state_text(unit_state(*world, "PANEL-1:V2"), MOMENT))
    assert "shut LOCKED by INA, DEFECT no open: seized, DEFECT no open: leaking" in text
    assert marks([]) == []
