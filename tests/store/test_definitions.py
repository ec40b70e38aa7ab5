"""A definition with dates of effect: what is revised from when on, what that makes impossible, what is taken back."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from cfgtrack.files.definition import parse_definition
from cfgtrack.model.action import Action
from cfgtrack.model.definition import Definition
from cfgtrack.model.part import Part, Port
from cfgtrack.model.plant import Unit
from cfgtrack.model.revision import owners_otherwise
from cfgtrack.model.trouble import NoAnswer, Refused, Trouble
from cfgtrack.store import record
from cfgtrack.store.archive import read_archive, write_archive
from cfgtrack.store.audit import audit
from cfgtrack.store.database import Row
from cfgtrack.store.journal import Journal, open_journal
from cfgtrack.store.loading import Effect, LoadReport
from cfgtrack.store.upkeep import rebuild
from tests.store.conftest import FreshUrl
from tests.store.world import BOX, DEFINITION, START

REVISED = replace(
    BOX,
    title="revision B",
    ports={"F": BOX.ports["F"], "B": BOX.ports["B"], "D": Port("D", "disconnect")},
)
"""The box without its handle H, and with a drain D."""


@pytest.fixture
def journal(url: str) -> Iterator[Journal]:
    """A journal that holds the tiny plant."""
    with open_journal(url, clock=lambda: START + 1_000) as opened:
        opened.load(DEFINITION, by="survey", recorder="ada")
        yield opened


def with_part(part: Part, **other: object) -> Definition:
    """Return the tiny plant's definition with a part otherwise."""
    return replace(DEFINITION, parts={**DEFINITION.parts, part.id: part}, **other)  # type: ignore[arg-type]


def revise(journal: Journal, definition: Definition, at: int, *, corrects: str | None = None) -> LoadReport:
    """Load what is so from a date on."""
    return journal.load(definition, by="ina", recorder=None, effect=Effect(START + at, "as built", corrects))


def did(journal: Journal, name: str, action: str, *subjects: str, at: int, **more: object) -> None:
    """Record an action."""
    journal.record([replace(Action(name, action, subjects, START + at), **more)])  # type: ignore[arg-type]


def refused(journal: Journal, *args: object, **more: object) -> str:
    """Return why something can't be recorded. The journal is as it was."""
    before = journal.moment()
    with pytest.raises(Trouble) as caught:
        did(journal, *args, **more)  # type: ignore[arg-type]
    assert journal.moment() == before
    return str(caught.value)


def test_a_revision_holds_from_its_date_on(journal: Journal) -> None:
    """Before its date a part is what it was, in what may be recorded too; at the date it is the new one."""
    report = revise(journal, with_part(REVISED), 100)
    assert [change.id for change in report.changed] == ["box"]
    entry = report.entry
    assert entry is not None
    event = entry.event
    told = (event.action, event.happened, event.subjects, event.reason, event.by)
    assert told == ("revise", START + 100, ("box",), "as built", "ina")
    assert journal.plant(START + 99).parts["box"] == BOX
    assert journal.plant(START + 100).parts["box"] == journal.plant().parts["box"] == REVISED
    assert "X has no port D" in refused(journal, "e1", "uncap", "X:D", at=99)
    did(journal, "e1", "uncap", "X:D", at=100)
    assert "X has no port H" in refused(journal, "e2", "grip", "X:H", "INA:G", at=100)
    late = [Action("e2", "grip", ("X:H", "INA:G"), START + 50), Action("e3", "let-go", ("X:H",), START + 60)]
    journal.record(late)
    assert [e.event.id for e in journal.history("box")] == [event.id]
    assert audit(journal.database).faults == []


def test_a_load_without_a_date_is_about_what_was_told_last(journal: Journal) -> None:
    """Files that are loaded again change nothing; what they mend is so since the last revision."""
    first = revise(journal, with_part(REVISED, units={**DEFINITION.units, "W": Unit("W", "box")}), 100)
    again = journal.load(with_part(REVISED, units={"W": Unit("W", "box")}), by=None, recorder=None)
    assert again.entries == []
    mended = replace(REVISED, title="Revision B")
    known = journal.moment()[1]
    told = journal.load(with_part(mended), by=None, recorder=None)
    assert told.entry is not None
    assert first.entry is not None
    assert (told.entry.event.action, told.entry.event.supersedes) == ("revise", first.entry.event.id)
    assert journal.plant(START + 99).parts["box"] == BOX
    assert journal.plant(START + 100).parts["box"] == mended
    assert journal.plant(START + 100, known).parts["box"] == REVISED
    # All that came with the revision is told anew with it.
    assert "W" not in journal.plant(START + 99).units
    assert "W" in journal.plant(START + 100).units
    assert audit(journal.database).faults == []


def test_a_late_revision_holds_until_the_next(journal: Journal) -> None:
    """Told in any order, each revision holds from its date to the next one's."""
    second, first = replace(BOX, title="C"), replace(BOX, title="B")
    revise(journal, with_part(second), 200)
    revise(journal, with_part(first), 100)
    titles = [journal.plant(START + at).parts["box"].title for at in (0, 99, 100, 199, 200, 900)]
    assert titles == ["", "", "B", "B", "C", "C"]


def test_a_revision_takes_nothing_away_that_is_there(journal: Journal) -> None:
    """A port that is joined, or to which something was done later, can't be gone: it is told by which event."""
    did(journal, "held", "grip", "X:H", "INA:G", at=50)
    for at in (51, 100):
        with pytest.raises(Refused, match=r"X:H is held to INA:G, and X has no port H \(event held"):
            revise(journal, with_part(REVISED), at)
    with pytest.raises(Refused, match=r"X:H has had a status and is no port any more\. Give the date"):
        revise(journal, with_part(REVISED), 50)
    did(journal, "free", "let-go", "X:H", at=90)
    revise(journal, with_part(REVISED), 91)
    assert "collides with later event revise" in refused(journal, "late", "grip", "Y:H", "INA:G", at=90)
    assert "Y has no port H" in refused(journal, "late", "grip", "Y:H", "INA:G", at=91)


def test_what_always_was_must_fit_what_is_recorded(journal: Journal) -> None:
    """A load without a date that makes recorded history impossible is refused, and names the way out."""
    did(journal, "held", "grip", "X:H", "INA:G", at=50)
    did(journal, "free", "let-go", "X:H", at=60)
    with pytest.raises(Refused, match="--effective DATE --reason TEXT"):
        journal.load(with_part(REVISED), by=None, recorder=None)
    smaller = replace(BOX, ports={**BOX.ports, "H": replace(BOX.ports["H"], size="M")})
    hand = replace(DEFINITION.parts["hand"], ports={"G": Port("G", "grip", size="L")})
    wrong = replace(with_part(smaller), parts={**with_part(smaller).parts, "hand": hand})
    with pytest.raises(Refused, match=r"the definition contradicts event held, .*--effective DATE"):
        journal.load(wrong, by=None, recorder=None)
    assert audit(journal.database).faults == []
    revise(journal, wrong, 61)


def test_words_and_ratings_make_nothing_impossible(journal: Journal) -> None:
    """A title, a tag, a loop or a rated number of mates may change under any history."""
    did(journal, "held", "grip", "X:H", "INA:G", at=50)
    ports = {n: replace(p, cycles=3, title="x", tags=frozenset("t")) for n, p in BOX.ports.items()}
    other = replace(BOX, title="Box", mass=3.0, ports=ports)
    journal.load(with_part(other), by=None, recorder=None)
    assert journal.plant(START).parts["box"] == other


def test_the_words_for_a_status_are_read_and_change_no_history(journal: Journal) -> None:
    """Words for a status that a load brings concern nobody's past: what is recorded stays, and is read in new words."""
    did(journal, "held", "grip", "X:H", "INA:G", at=50)
    grip = replace(DEFINITION.kinds["grip"], title="Hand", words={"held": "in the hand"})
    named = replace(DEFINITION, kinds={**DEFINITION.kinds, "grip": grip})
    assert owners_otherwise(journal.plant(START), named.plant()) == frozenset()
    journal.load(named, by=None, recorder=None)
    found = journal.plant(START)
    assert journal.configuration(START + 50).state("X:H").value == "held"
    assert [found.says(one, "held") for one in ("X:H", "INA:G", "X")] == [
        "in the hand",
        "in the hand",
        "held",
    ]
    other = replace(named, kinds={**named.kinds, "grip": replace(grip, flexible=False)})
    assert owners_otherwise(found, other.plant()) == {"X", "Y", "Z", "INA"}


def test_what_was_impossible_before_is_not_the_loads_doing(journal: Journal) -> None:
    """What was found against the definition, and stays so, keeps nobody from loading another one."""
    did(journal, "odd", "as-found", "X:F", "Y:F", at=50, status="mated")
    revise(journal, with_part(replace(BOX, ports={**BOX.ports, "E": Port("E", "disconnect")})), 40)
    assert "E" in journal.plant(START + 40).parts["box"].ports


def test_a_revision_is_taken_back_unless_something_stands_on_it(journal: Journal) -> None:
    """A withdrawn revision never was; one whose new port was used can't be withdrawn, but told for another date."""
    entry = revise(journal, with_part(REVISED), 100).entry
    assert entry is not None
    name = entry.event.id
    did(journal, "capped", "uncap", "X:D", at=150)
    undo = {"withdraws": name, "reason": "it was not so"}
    assert "collides with later event capped" in refused(journal, "w", "withdraw", at=900, **undo)
    with pytest.raises(Refused, match="X:D has had a status and is no port any more"):
        revise(journal, with_part(REVISED), 200, corrects=name)
    known = journal.moment()[1]
    told = revise(journal, with_part(REVISED), 120, corrects=name).entry
    assert told is not None
    assert told.event.supersedes == name
    assert [journal.plant(START + at).parts["box"].title for at in (119, 120)] == ["", "revision B"]
    assert journal.plant(START + 119, known).parts["box"] == REVISED
    did(journal, "never", "withdraw", at=901, withdraws="capped", reason="it never was")
    did(journal, "w", "withdraw", at=902, withdraws=told.event.id, reason="it was not so")
    assert journal.plant() == DEFINITION.plant()
    assert audit(journal.database).faults == []


def test_a_revision_is_corrected_by_a_revision_only(journal: Journal) -> None:
    """Neither does an action stand instead of a revision, nor a revision instead of an action."""
    entry = revise(journal, with_part(REVISED), 100).entry
    assert entry is not None
    more = {"supersedes": entry.event.id, "reason": "x"}
    assert "load what is right" in refused(journal, "e", "uncap", "X:F", at=100, **more)
    did(journal, "e", "uncap", "X:F", at=100)
    with pytest.raises(Refused, match="event e is no revision"):
        revise(journal, with_part(BOX), 100, corrects="e")
    with pytest.raises(NoAnswer, match="nobody"):
        revise(journal, with_part(BOX), 100, corrects="nobody")
    assert "it has a command of its own" in refused(journal, "r", "retire", "X", at=100, reason="x")
    assert "retire needs a reason" in refused(journal, "r", "retire", "X", at=100)


def test_what_is_named_is_there_at_all_times(journal: Journal) -> None:
    """A unit that always was can't be of a part that is there from a date on; nor can such a part be taken back."""
    part = Part("crate", ports={"F": Port("F", "disconnect")})
    entry = revise(journal, with_part(part), 100).entry
    assert entry is not None
    crate = with_part(part, units={**DEFINITION.units, "C": Unit("C", "crate")})
    with pytest.raises(Refused, match="part crate is there from a date of effect on"):
        journal.load(crate, by=None, recorder=None)
    revise(journal, crate, 100)
    assert "part crate is named and isn't there" in refused(
        journal, "w", "withdraw", at=900, withdraws=entry.event.id, reason="x"
    )


# --- retired ----------------------------------------------------------------------------------------------------


def retire(journal: Journal, unit: str, at: int, name: str = "r") -> None:
    """Retire a unit."""
    journal.retire(unit, Effect(START + at, "worn"), by=None, recorder=None, event_id=name)


def test_a_retired_unit_is_no_longer_of_the_plant(journal: Journal) -> None:
    """From its date on a retired unit stands nowhere and nothing can be done to it; before, all is as it was."""
    before = journal.configuration(START + 99)
    retire(journal, "Y", 100)
    plant = journal.plant(START + 100)
    assert "Y" not in plant.units
    assert plant.retired == {"Y": Unit("Y", "box")}
    now = journal.configuration(START + 100)
    assert "Y" not in dict(now.touched())
    assert list(now.standing_at("RACK")) == ["Z"]
    assert list(journal.view(START + 100).standing_at("RACK")) == ["Z"]
    assert dict(journal.configuration(START + 99).touched()) == dict(before.touched())
    assert "Y is retired, no longer of the plant" in refused(journal, "e", "uncap", "Y:F", at=100)
    did(journal, "e", "uncap", "Y:F", at=99)
    # There is room for two, and one is gone.
    did(journal, "p", "place", "X", at=101, place="RACK")
    assert [e.event.id for e in journal.history("Y", start=START + 1)] == ["e", "r"]


def test_a_retired_unit_must_hold_nothing(journal: Journal) -> None:
    """What is joined can't be retired, and what is retired can't have been joined: it is told to what."""
    did(journal, "b", "engage", "X:B", "BAY:B", at=10)
    with pytest.raises(Refused, match=r"X:B is engaged to BAY:B, and X is retired \(event b"):
        retire(journal, "X", 100)
    did(journal, "o", "release", "X:B", at=50)
    with pytest.raises(Refused, match="collides with later event o"):
        retire(journal, "X", 20)
    retire(journal, "X", 60)
    assert "collides with later event r, retire X" in refused(journal, "l", "engage", "X:B", "BAY:B", at=55)
    with pytest.raises(NoAnswer, match="X is retired"):
        retire(journal, "X", 70, "again")
    retire(journal, "X", 60)
    with pytest.raises(Refused, match="event r exists"):
        retire(journal, "X", 61)


def test_a_retirement_is_taken_back(journal: Journal) -> None:
    """A withdrawn retirement never was; as known before, it was."""
    retire(journal, "Y", 100)
    known = journal.moment()[1]
    did(journal, "w", "withdraw", at=200, withdraws="r", reason="another one")
    assert journal.plant() == DEFINITION.plant()
    assert "Y" not in journal.plant(START + 100, known).units
    did(journal, "e", "uncap", "Y:F", at=101)


def test_files_do_not_bring_a_retired_unit_back(journal: Journal) -> None:
    """Files that go on naming a retired unit say so, and change nothing."""
    retire(journal, "Y", 100)
    report = journal.load(DEFINITION, by=None, recorder=None)
    assert (report.entries, report.retired, report.missing) == ([], [("unit", "Y")], [])
    without = replace(DEFINITION, units={"X": Unit("X", "box")}, initial=())
    assert journal.load(without, by=None, recorder=None).missing == [("unit", "Z")]


# --- the drawing's joints ---------------------------------------------------------------------------------------


def _joined(far: str) -> Definition:
    row = Action("initial:X:F", "as-found", ("X:F", far), START, status="mated", initial=True)
    return replace(DEFINITION, initial=(*DEFINITION.initial, row))


def test_a_joint_of_the_drawing_is_moved(journal: Journal) -> None:
    """A row of the initial configuration that is otherwise from a date on is found so then, once."""
    journal.load(_joined("BAY:F"), by=None, recorder=None)
    moved = _joined("Y:F")
    with pytest.raises(Refused, match="different subjects"):
        journal.load(moved, by=None, recorder=None)
    report = revise(journal, moved, 100)
    assert (report.entries, report.initial.recorded) == ([], 1)
    assert journal.view(START + 99).state("X:F").other == "BAY:F"
    assert journal.view(START + 100).state("X:F").other == "Y:F"
    assert journal.view(START + 100).state("BAY:F").other is None
    (found,) = journal.discrepancies()
    assert (found.event.happened, found.event.reason) == (START + 100, "as built")
    assert journal.load(moved, by=None, recorder=None).initial.recorded == 0
    assert revise(journal, moved, 100).initial.recorded == 0
    assert revise(journal, _joined("BAY:F"), 200).initial.recorded == 1
    assert journal.view(START + 200).state("X:F").other == "BAY:F"


def test_a_unit_that_comes_later_stands_somewhere_from_then_on(journal: Journal) -> None:
    """The initial rows of what is there from a date on are of that date."""
    row = Action("initial:W", "as-found", ("W",), START, place="SITE", initial=True)
    new = replace(
        DEFINITION, units={**DEFINITION.units, "W": Unit("W", "box")}, initial=(*DEFINITION.initial, row)
    )
    revise(journal, new, 100)
    assert journal.view(START + 100).state("W").value == "SITE"
    assert "W" not in journal.plant(START + 99).units
    assert journal.load(new, by=None, recorder=None).initial.recorded == 0


# --- prior life -------------------------------------------------------------------------------------------------

LIFE = """
[[part]]
id = "box"
port = [{ name = "F", kind = "fluid-disconnect", cycles = 9 }, { name = "V", kind = "valve" }]
[[unit]]
id = "A"
part = "box"
[[unit]]
id = "B"
part = "box"
[[place]]
id = "RACK"
[initial]
at = 2031-05-01T08:00:00Z
place = { A = "RACK", B = "RACK" }
[initial.before]
"A:F" = { cycles = 7 }
A = { time = "1200 h", inspect = 2030-11-02T10:00:00Z, voltage = { is = "0 V", at = "2030-11-02T10:05:00Z" } }
"""


def test_mate_cycles_of_before_count(url: str) -> None:
    """A mate is one more than were used before, at every time, however it is read; and again in a rebuilt journal."""
    with open_journal(url, clock=lambda: 0) as journal:
        definition = parse_definition({"x": LIFE})
        journal.load(definition, by=None, recorder="ada")
        start = next(e.happened for e in definition.initial if e.initial)
        assert journal.configuration(start - 1).cycles == {}
        assert journal.configuration(start).cycles == {"A:F": 7}
        journal.record([Action("m", "mate", ("A:F", "B:F"), start + 5)])
        assert journal.configuration(start + 5).cycles == {"A:F": 8, "B:F": 1}
        assert journal.unit("A", start + 5).cycles == {"A:F": 8}
        values = journal.configuration(start).values
        assert {key: float(value.value) for key, value in values.items()} == {
            ("A", "time"): 1200 * 3600.0,
            ("A", "voltage"): 0.0,
        }
        inspected = journal.last("A", "inspect", at=start)
        assert inspected is not None
        assert inspected.event.happened < start
        assert journal.load(definition, by=None, recorder="bea").initial.recorded == 0
        with pytest.raises(Refused, match=r"initial\.before"):
            journal.record(
                [Action("c", "measure", ("A:F",), start + 6, values=definition.initial[-2].values)]
            )
        assert audit(journal.database).faults == []
    rebuild(url)
    with open_journal(url, clock=lambda: 0) as journal:
        assert journal.configuration().cycles == {"A:F": 8, "B:F": 1}


# --- out and in -------------------------------------------------------------------------------------------------


def test_an_archive_holds_what_changed(journal: Journal, tmp_path: Path) -> None:
    """Revisions, retirements and what was taken back come out of an archive as they went in, to the byte."""
    entry = revise(journal, with_part(REVISED), 100).entry
    assert entry is not None
    did(journal, "c", "uncap", "X:D", at=110)
    retire(journal, "Y", 120)
    revise(journal, with_part(replace(REVISED, title="C")), 130, corrects=None)
    did(journal, "w", "withdraw", at=140, withdraws="r", reason="no")
    lines = list(write_archive(journal.database))
    copy = str(tmp_path / "copy.db")
    read_archive(lines, copy)
    with open_journal(copy, clock=lambda: 0) as other:
        assert list(write_archive(other.database)) == lines
        assert audit(other.database).faults == []
        for at in (99, 100, 119, 120, 130):
            assert other.plant(START + at) == journal.plant(START + at)
        assert dict(other.configuration().touched()) == dict(journal.configuration().touched())


def test_many_rows_at_once_are_held_against_the_plants_of_their_instants(
    fresh_url: FreshUrl, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Rows from before, at and after dates of effect are taken in bulk as they are one by one."""
    rows = [
        [
            Action(f"{name}{n}", action, subjects, START + 20 * n + second)
            for name, action, subjects, second in some
        ]
        for n in range(6)
        for some in (
            [("u", "uncap", ("X:F",), 0)],
            # Held over a date from which on there is nothing to hold by, it would be refused.
            [("g", "grip", ("Y:H", "INA:G"), 1), ("l", "let-go", ("Y:H",), 2)],
            [("d", "uncap", ("Z:D",), 5)],
            [("e", "cap", ("Z:D",), 6)],
            [("c", "cap", ("X:F",), 7)],
        )
    ]
    all_rows = [row for some in rows for row in some]
    at_once = _taken(fresh_url(), [all_rows], 0, monkeypatch)
    assert at_once == _taken(fresh_url(), rows, 1_000, monkeypatch)
    drained = range(START + 45, START + 85)
    wrong = {row.id for row in all_rows if row.id[0] in "gl" and row.happened in drained}
    wrong |= {row.id for row in all_rows if row.id[0] in "de" and row.happened not in drained}
    assert at_once[1] == wrong


def _taken(
    url: str, batches: list[list[Action]], few: int, patch: pytest.MonkeyPatch
) -> tuple[list[Row], set[str]]:
    """Take rows into the tiny plant, which was revised twice; return what they changed, and which were set aside."""
    patch.setattr(record, "FEW", few)
    aside: set[str] = set()
    with open_journal(url, clock=lambda: START + 1_000) as journal:
        journal.load(DEFINITION, by=None, recorder=None)
        revise(journal, with_part(REVISED), 45)
        revise(journal, with_part(BOX), 85)
        for batch in batches:
            rows = [(row.id, row) for row in batch]
            journal.take(rows, set_aside=lambda where, _: aside.add(where))
        assert audit(journal.database).faults == []
        found = journal.database.rows(
            "SELECT c.subject, c.happened, c.value, c.other, e.id FROM change c JOIN event e"
            " ON e.number = c.number ORDER BY c.subject, c.happened, e.id"
        )
        return [tuple(row) for row in found], aside


def test_a_prior_life_is_told_anew_and_a_unit_comes_back(url: str) -> None:
    """On both databases: files with other used cycles count instead, in turn; a retired unit is of the plant again."""
    with open_journal(url, clock=lambda: 0) as journal:
        for text, cycles in ((LIFE, 7), (LIFE.replace("cycles = 7", "cycles = 2"), 2), (LIFE, 7), (LIFE, 7)):
            definition = replace(parse_definition({"x": text}), fingerprint=text)
            again = journal.loaded_again(lambda told=text: told)  # type: ignore[misc]
            if again is None:
                again = journal.load(definition, by=None, recorder=None)
            assert journal.configuration().cycles == {"A:F": cycles}
        assert again is not None
        assert (again.initial.recorded, again.anew) == (0, [])
        start = next(e.happened for e in definition.initial if e.initial)
        journal.retire("B", Effect(start + 5, "worn"), by=None, recorder=None, event_id="r")
        back = Effect(start + 9, "mended", back=("A",))
        with pytest.raises(Refused, match="A isn't retired"):
            journal.load(definition, by=None, recorder=None, effect=back)
        back = Effect(start + 9, "mended", back=("B",))
        assert journal.load(definition, by=None, recorder=None, effect=back).back == [("unit", "B")]
        there = ["B" in journal.plant(start + second).units for second in (4, 5, 8, 9)]
        assert there == [True, False, False, True]
        assert journal.view(start + 9).state("B").value == "RACK"
        assert audit(journal.database).faults == []
    rebuild(url)
    with open_journal(url, clock=lambda: 0) as journal:
        assert journal.configuration().cycles == {"A:F": 7}
        assert audit(journal.database).faults == []
