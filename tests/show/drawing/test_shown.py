"""What a picture shows: which boxes, what is wrong and what is merely so, alike units as one."""

from dataclasses import replace

import pytest

from cfgtrack.answers.draw import Scene, Scope
from cfgtrack.answers.past import NO_RULES
from cfgtrack.model.action import Action
from cfgtrack.model.time import MINUTE
from cfgtrack.rules.finding import Clock
from cfgtrack.show.drawing.sheet import Alarm, Box, Form, Line, Look, Sheet, Symbol
from cfgtrack.show.drawing.shown import shown
from tests.happening import happened
from tests.show.drawing.reading import boxes, reading, sheet_of
from tests.show.world import AT, EXCUSED, FINDING, MOMENT, Yard, yard

SCOPES = {
    "everything": Scope.everything(),
    "fluid": Scope.one_medium("fluid"),
    "power": Scope.one_medium("power"),
    "hold": Scope.one_medium("hold"),
    "pump": Scope.around("PUMP-1"),
    "loop": Scope.loop("A"),
    "places": Scope.places(),
}


def done(world: Yard, *actions: Action) -> Yard:
    """Return a world after some actions."""
    for number, action in enumerate(actions):
        world.configuration.apply(happened(world.configuration, replace(action, id=f"d{number}")))
    return world


def line(sheet: Sheet, end: str) -> Line:
    """Return the one line that ends at a row."""
    [found] = [one for one in sheet.lines if end in (one.a_row, one.b_row) and not one.ghost]
    return found


@pytest.mark.parametrize("name", SCOPES)
def test_the_same_scene_gives_the_same_sheet(name):
    """Two plants built alike have the same sheet, with its moment and a verdict."""
    first, second = (sheet_of(yard(), SCOPES[name]) for _ in range(2))
    assert first == second
    assert first.moment == str(MOMENT)
    assert first.verdict
    assert first.down == (name == "power")


@pytest.mark.parametrize(
    ("scope", "said"),
    [
        (Scope.one_medium("fluid"), "E2 demated LIVE END"),
        (Scope.one_medium("fluid"), "COIL 9 l CUT OFF"),
        (Scope.one_medium("fluid"), "V2 shut : P3 | MAN"),
        (Scope.one_medium("fluid"), "V1 open : P1 | MAN"),
        (Scope.one_medium("power"), "HEATER no power"),
        (Scope.one_medium("power"), "I1 | BUS"),
        (Scope.one_medium("hold"), "B1, B2 bolt torqued"),
        (Scope.everything(), "E2 demated LIVE END"),
        (Scope.everything(), "B1, B2 bolt torqued"),
        (Scope.around("PUMP-1"), "B1, B2 bolt torqued"),
        (Scope.places(), "PUMP-2 home FLOOR"),
        (Scope.places(), "place not known"),
    ],
)
def test_what_there_is_to_know_is_said_in_text(scope, said):
    """Open ends, cut-off liquid, unfed loads, valves and bolts need no colour to be seen."""
    assert said in reading(sheet_of(yard(), scope))


def test_symbols_say_what_a_thing_is():
    """A source, an expansion, a load have theirs on the bar; a valve, a switch and a diode on their line."""
    fluid, power = (boxes(sheet_of(yard(), Scope.one_medium(m))) for m in ("fluid", "power"))
    assert fluid["ACC-1"].bars[0].symbols == (Symbol.EXPANSION,)
    assert power["SUP-1"].bars[0].symbols == (Symbol.SOURCE,)
    assert power["PUMP-1"].bars[-1].symbols == (Symbol.LOAD,)
    assert {gate.symbol for gate in fluid["PANEL-1"].gates} == {Symbol.VALVE}
    assert [gate.symbol for gate in power["SUP-2"].gates] == [Symbol.SWITCH]
    assert [(gate.symbol, gate.one_way) for gate in power["BOARD-1"].gates] == [(Symbol.DIODE, True)] * 2


def test_a_mated_half_that_does_not_carry_is_told():
    """A disconnect that is mated with its own valve shut is tied, and nothing passes; its valve is drawn."""
    world = yard("""
[[part]]
id = "box"
port = [{ name = "F1", kind = "valved-disconnect" }]
node = [{ name = "N", medium = "fluid", litres = "1 l" }]
links = [["F1", "N"]]
[[unit]]
id = "BOX-1"
part = "box"
[[unit]]
id = "BOX-2"
part = "box"
""")
    done(
        world,
        Action("a", "as-found", ("BOX-1",), AT, place="FLOOR"),
        Action("b", "as-found", ("BOX-2",), AT, place="FLOOR"),
        Action("c", "mate", ("BOX-1:F1", "BOX-2:F1"), AT),
    )
    sheet = sheet_of(world, Scope.one_medium("fluid"))
    assert line(sheet, "BOX-1:F1").look is Look.NOT_CARRYING
    [row] = boxes(sheet)["BOX-1"].rows
    assert (row.valve, row.status) == (False, "mated, valve shut")


def test_a_hose_is_on_its_line_joined_or_free():
    """Hoses and cables are boxes of one form, whether both ends are mated, one is, or a finding names them."""
    sheet = sheet_of(yard(), Scope.one_medium("fluid"))
    assert {box.id for box in sheet.boxes if box.form is Form.INLINE} == {"HOSE-1", "HOSE-2"}
    assert sheet_of(yard(), Scope.one_medium("power")).boxes != ()
    assert boxes(sheet_of(yard(), Scope.one_medium("power")))["CABLE-1"].form is Form.INLINE


# --- alarms -------------------------------------------------------------------------------------------------


def marked(*findings):
    """Return the fluid of the yard with some open findings."""
    return shown(Scene(MOMENT, *yard(), Scope.one_medium("fluid"), findings))


def alarms_of(box: Box) -> list[tuple[Alarm, str, int]]:
    """Return all marks of a box and what is in it."""
    of_parts = [*(r.marks for r in box.rows), *(b.marks for b in box.bars), *(g.marks for g in box.gates)]
    return [(m.alarm, m.word, m.number) for some in (box.marks, *of_parts) for m in some]


def test_what_a_finding_names_is_wrong_and_has_its_number():
    """What it names carries its number, the notes say what it means, the verdict counts it; the wrong ones first."""
    sheet = marked(FINDING)
    assert (Alarm.WRONG, "CUT OFF", 1) in alarms_of(boxes(sheet)["COOL-1"])
    first = sheet.notes[0]
    assert (first.alarm, first.number) == (Alarm.WRONG, 1)
    assert FINDING.rule in first.text
    assert sheet.verdict.startswith(
        "3 wrong: 1 catastrophic: "
    )  # the spare's own liquid, and a live end, too
    groups = [note.alarm for note in sheet.notes]
    assert groups == sorted(groups, key=lambda alarm: alarm is Alarm.NOTED)


def test_a_live_open_end_is_wrong_with_or_without_a_rule():
    """A demated uncapped end with liquid behind it is wrong; a finding that names it says more, with its number."""
    [(alarm, word, _)] = alarms_of(boxes(marked())["HOSE-2"])
    assert (alarm, word) == (Alarm.WRONG, "LIVE END")
    named = replace(FINDING, subjects=("HOSE-2:E2",), reasons=())
    [(alarm, word, number)] = alarms_of(boxes(marked(named))["HOSE-2"])
    assert (alarm, word, number) == (Alarm.WRONG, "LIVE END", 1)


def test_a_breach_that_is_past_is_told_until_it_is_acknowledged():
    """A breach of a moment is no open finding; the verdict and a note still tell it, and how grave it was."""
    past = replace(FINDING, mode="at", subjects=("PANEL-1:V2",), reasons=())
    world = yard()
    sheet = shown(Scene(MOMENT, *world, Scope.one_medium("fluid"), past=(past,)))
    assert "1 past and not acknowledged (1 catastrophic)" in sheet.verdict
    assert sheet.notes[0].text.startswith("past and not acknowledged")
    assert [mark[2] for mark in alarms_of(boxes(sheet)["PANEL-1"])] == [1]


def test_what_no_rule_judged_is_never_called_well():
    """Without rules the verdict says so, and not that nothing is wrong."""
    sheet = shown(Scene(MOMENT, *yard(), Scope.one_medium("power"), unjudged=NO_RULES))
    assert sheet.verdict.startswith("no rules are loaded: nothing was judged")
    assert "nothing else wrong" not in sheet.verdict


def test_a_running_clock_has_a_note_and_a_mark():
    """What is left of a running clock stands in a note, and its number at what it is of."""
    clock = Clock("heater", "Heater fed", 2, "PUMP-1", MOMENT.at, MOMENT.at + 30 * MINUTE)
    sheet = shown(Scene(MOMENT, *yard(), Scope.one_medium("power"), clocks=(clock,)))
    assert sheet.notes[0].text.startswith("30 min left: ")
    assert (Alarm.WRONG, "CLOCK", 1) in alarms_of(boxes(sheet)["PUMP-1"])


def test_a_spare_without_power_is_noted():
    """A load that nothing feeds is noted, not shouted, as long as no rule needs it fed."""
    sheet = sheet_of(yard(), Scope.one_medium("power"))
    assert alarms_of(boxes(sheet)["PUMP-2"]) == [(Alarm.NOTED, "no power", 1)]
    assert sheet.verdict == "no open finding, and nothing else wrong here; 1 noted"


def test_what_is_excused_is_noted():
    """A finding under a variance is told with who excused it, among what is merely so."""
    sheet = marked(EXCUSED)
    [note] = [note for note in sheet.notes if note.number == 1]
    assert note.alarm is Alarm.NOTED
    assert "EXCUSED by" in note.text


def test_findings_about_what_is_not_drawn_are_counted():
    """A finding of which nothing is in the picture is counted in a note, and not listed."""
    sheet = shown(Scene(MOMENT, *yard(), Scope.around("BAY", hops=0), (FINDING, FINDING)))
    assert "2 findings about what isn't in this picture" in reading(sheet)
    assert FINDING.rule not in reading(sheet)


def test_every_medium_has_its_alarms():
    """A plant's own medium has its alarms in the picture of everything."""
    world = yard("""
[[medium]]
id = "air"
[[kind]]
id = "duct"
medium = "air"
statuses = ["capped", "free", "joined"]
initial = "free"
joined = "joined"
carries = "joined"
[[part]]
id = "mask"
port = [{ name = "IN", kind = "duct" }]
node = [{ name = "FACE", medium = "air", load = true }, { name = "BAG", medium = "air", litres = "3 l" }]
links = [["IN", "BAG"]]
[[unit]]
id = "MASK-1"
part = "mask"
""")
    text = reading(sheet_of(world, Scope.everything()))
    for alarm in ("IN free LIVE END", "BAG 3 l CUT OFF", "FACE no air"):
        assert alarm in text


# --- which boxes --------------------------------------------------------------------------------------------


def test_a_neighbourhood_ends_where_it_is_told_to():
    """One hop from the pump: the panel, not what is tied to it; two hops: the accumulator too. A cable is no hop."""
    near = boxes(sheet_of(yard(), Scope.around("PUMP-1")))
    assert {"PANEL-1", "BOARD-1", "CABLE-1", "BAY"} <= set(near)
    assert "ACC-1" not in near
    assert "ACC-1" in boxes(sheet_of(yard(), Scope.around("PUMP-1", hops=2)))
    assert "BOARD-1" not in boxes(sheet_of(yard(), Scope.around("PUMP-1", hops=2, medium="fluid")))
    assert set(boxes(sheet_of(yard(), Scope.around("PUMP-1", hops=0)))) == {"PUMP-1"}


def test_a_neighbour_shows_its_gates():
    """Around a unit every valve or switch of a neighbour is drawn that any way to the unit leads through."""
    board = boxes(sheet_of(yard(), Scope.around("BOARD-1")))
    assert [(gate.text, gate.is_open) for gate in board["SUP-2"].gates] == [("Q", False)]
    panel = boxes(sheet_of(yard(), Scope.around("PUMP-1")))["PANEL-1"]
    assert [(gate.text, gate.is_open) for gate in panel.gates] == [("V1", True), ("V2", False)]


def test_a_loop_is_what_is_defined_to_be_in_it():
    """Loop B is drawn without loop A; with V2 open the cooler of A is no longer cut off, and stays where it is."""
    world = yard("""
[[unit]]
id = "ACC-2"
part = "accumulator"
loop = "B"
[[unit]]
id = "COOL-2"
part = "cooler"
loop = "B"
""")
    places = (Action(o, "as-found", (o,), AT, place="FLOOR") for o in ("ACC-2", "COOL-2"))
    done(world, *places, Action("j", "mate", ("ACC-2:F1", "COOL-2:F1"), AT))
    assert set(boxes(sheet_of(world, Scope.loop("B")))) == {"ACC-2", "COOL-2"}
    shut = sheet_of(world, Scope.loop("A"))
    assert "CUT OFF" in reading(shut)
    opened = sheet_of(done(world, Action("o", "open", ("PANEL-1:V2",), AT)), Scope.loop("A"))
    assert "CUT OFF" not in reading(opened)
    assert set(boxes(opened)) == set(boxes(shut))


def test_a_tie_of_another_time_keeps_its_boxes_in_place():
    """A pair that was mated once is a ghost line while it isn't, and the same line again when it is."""
    world = yard()
    ever = (("COOL-1:F1", "HOSE-1:E2"),)
    scene = Scene(MOMENT, *world, Scope.one_medium("fluid"), ever=ever)
    joined = shown(scene)
    done(world, Action("x", "demate", ("HOSE-1:E2",), AT))
    parted = shown(scene)
    ends = [(x.a_row, x.b_row) for x in joined.lines]
    assert sorted(ends) == sorted((x.a_row, x.b_row) for x in parted.lines)
    assert [x.ghost for x in joined.lines].count(True) == 0
    [ghost] = [x for x in parted.lines if x.ghost]
    assert {ghost.a_row, ghost.b_row} == set(ever[0])


# --- what holds what ----------------------------------------------------------------------------------------


def test_what_is_held_is_followed_down_to_the_ground():
    """From the pump over its bolts to the bay, the floor and the site; a hand gives; bolts alike are one row."""
    sheet = sheet_of(yard(), Scope.one_medium("hold"))
    found = boxes(sheet)
    assert found["SITE"].form is Form.GROUND
    around = {(x.a, x.b) for x in sheet.lines if x.look is Look.INSIDE}
    assert {("SITE", "FLOOR"), ("FLOOR", "BAY")} <= around
    bolts = line(sheet, found["PUMP-1"].rows[0].key)
    assert (bolts.a, bolts.b, bolts.count) == ("BAY", "PUMP-1", 2)
    [grip] = [x for x in sheet.lines if x.look is Look.GIVES]
    assert {grip.a, grip.b} == {"INA", "PUMP-2"}


def test_a_bolt_that_differs_has_a_row_of_its_own():
    """Of two bolts between the same two things the one that isn't torqued is a row and a line by itself."""
    world = done(yard(), Action("a", "as-found", ("PUMP-1:B2",), AT, status="engaged"))
    sheet = sheet_of(world, Scope.one_medium("hold"))
    rows = {row.text: row.status for row in boxes(sheet)["PUMP-1"].rows}
    assert rows["B1  bolt"] == "torqued"
    assert rows["B2  bolt"] == "engaged"


def test_what_nothing_holds_is_wrong():
    """A spare that is let go in mid-air is held by nothing: wrong, with a note."""
    world = done(yard(), Action("g", "let-go", ("INA:HAND", "PUMP-2:H"), AT))
    sheet = sheet_of(world, Scope.one_medium("hold"))
    assert "PUMP-2" in sheet.verdict
    [mark] = boxes(sheet)["PUMP-2"].marks
    assert (mark.alarm, mark.word) == (Alarm.WRONG, "HELD BY NOTHING")


# --- alike ones as one --------------------------------------------------------------------------------------


def _many(pairs: int) -> Yard:
    """Return the yard with a manifold of which so many alike plates hang, each by two hoses of its own."""
    ports = ", ".join(f'{{ name = "S{i}", kind = "fluid-disconnect" }}' for i in range(2 * pairs))
    links = ", ".join(f'["S{i}", "N"]' for i in range(2 * pairs))
    units = "".join(f'[[unit]]\nid = "PLATE-{i:03}"\npart = "plate"\n' for i in range(pairs))
    units += "".join(f'[[unit]]\nid = "PIPE-{i:03}"\npart = "hose"\n' for i in range(2 * pairs))
    world = yard(f"""
[[part]]
id = "big"
port = [{ports}]
node = [{{ name = "N", medium = "fluid", litres = "1 l", expansion = true }}]
links = [{links}]
[[part]]
id = "plate"
port = [{{ name = "F1", kind = "fluid-disconnect" }}, {{ name = "F2", kind = "fluid-disconnect" }}]
node = [{{ name = "VOL", medium = "fluid", litres = "1 l" }}]
links = [["F1", "VOL"], ["VOL", "F2"]]
[[unit]]
id = "BIG"
part = "big"
{units}""")
    owners = ["BIG", *(f"PLATE-{i:03}" for i in range(pairs)), *(f"PIPE-{i:03}" for i in range(2 * pairs))]
    actions = [Action(o, "as-found", (o,), AT, place="FLOOR") for o in owners]
    for i in range(2 * pairs):
        actions.append(Action("a", "mate", (f"PIPE-{i:03}:E1", f"BIG:S{i}"), AT))
        actions.append(
            Action("b", "mate", (f"PIPE-{i:03}:E2", f"PLATE-{i // 2:03}:{('F1', 'F2')[i % 2]}"), AT)
        )
    return done(world, *actions)


def test_hundreds_of_links_stay_a_picture_to_look_at():
    """Eighty plates on 160 hoses are one box of 79 and one that differs, on hoses and rows that are one as well."""
    world = done(_many(80), Action("x", "demate", ("PLATE-007:F2",), AT))
    sheet = sheet_of(world, Scope.one_medium("fluid"))
    found = boxes(sheet)
    assert "alike ones drawn as one" in sheet.title
    assert found["PLATE-000"].count == 79
    assert found["PLATE-007"].count == 1
    assert sorted(row.count for row in found["BIG"].rows) == [1, 1, 158]
    assert line(sheet, "PLATE-000:F1").count == 79
    assert sum(box.count for box in sheet.boxes) == len(
        sheet_of(world, Scope.one_medium("fluid"), fold=False).boxes
    )
    assert len(sheet.lines) < 20


def test_a_fold_of_places_counts_what_stands_there_by_its_part():
    """Five plates and twelve hoses that stand on the floor are a row each in a fold of the places."""
    floor = boxes(sheet_of(_many(5), Scope.places(), fold=True))["FLOOR"]
    counts = {row.key.partition("-")[0]: row.count for row in floor.rows}
    assert (counts["PLATE"], counts["HOSE"]) == (5, 12)


def test_a_small_picture_draws_each_for_itself():
    """With few boxes nothing is folded unless it is asked for."""
    assert all(box.count == 1 for box in sheet_of(_many(5), Scope.one_medium("fluid")).boxes)
    assert any(box.count == 5 for box in sheet_of(_many(5), Scope.one_medium("fluid"), fold=True).boxes)


def test_a_row_never_mated_is_where_it_stays_once_it_is_mated():
    """In a box with lines a row that was never mated is on the side of what follows, and stays there when mated."""
    world = yard("""
[[part]]
id = "tail"
port = [{ name = "F1", kind = "fluid-disconnect" }, { name = "F2", kind = "fluid-disconnect" }]
node = [{ name = "N", medium = "fluid", expansion = true }]
links = [["F1", "N"], ["F2", "N"]]
[[unit]]
id = "TAIL-1"
part = "tail"
[[unit]]
id = "TAIL-2"
part = "tail"
[[unit]]
id = "TAIL-3"
part = "tail"
""")
    places = [Action(f"a{i}", "as-found", (f"TAIL-{i}",), AT, place="FLOOR") for i in (1, 2, 3)]
    done(world, *places, Action("b", "mate", ("TAIL-1:F1", "TAIL-2:F1"), AT))
    before = boxes(sheet_of(world, Scope.one_medium("fluid")))["TAIL-2"]
    world.configuration.apply(
        happened(world.configuration, Action("c", "mate", ("TAIL-2:F2", "TAIL-3:F1"), AT))
    )
    after = boxes(sheet_of(world, Scope.one_medium("fluid")))["TAIL-2"]
    assert [row.side for row in before.rows] == [row.side for row in after.rows] == ["in", "out"]
