"""What the journal promises to whoever records and asks, the same in every database."""

from collections.abc import Iterator
from dataclasses import replace

import pytest

from cfgtrack.model.action import Action
from cfgtrack.model.definition import Definition
from cfgtrack.model.part import Port
from cfgtrack.model.plant import Unit
from cfgtrack.model.quantity import parse_quantity
from cfgtrack.model.trouble import NoAnswer, Problem, Refused
from cfgtrack.store.audit import audit
from cfgtrack.store.database import Parameters, Row
from cfgtrack.store.journal import Journal, create, open_journal
from cfgtrack.store.view import SqlView
from tests.store.world import BOX, DEFINITION, START


@pytest.fixture
def journal(url: str) -> Iterator[Journal]:
    """A journal that holds the tiny plant."""
    with open_journal(url, clock=lambda: START + 1_000) as opened:
        opened.load(DEFINITION, by="survey", recorder="ada")
        yield opened


def _event(event_id: str, action: str, *subjects: str, at: int, **more: object) -> Action:
    return replace(Action(event_id, action, subjects, START + at), **more)  # type: ignore[arg-type]


def test_loading_again_writes_nothing(journal: Journal) -> None:
    """A definition that is in the journal already adds nothing to it, whoever loads it."""
    before = journal.moment()
    report = journal.load(DEFINITION, by="survey", recorder="somebody else")
    assert report.added == []
    assert report.changed == []
    assert report.initial.recorded == 0
    assert report.entry is None
    assert report.initial.repeated == len(DEFINITION.initial)
    assert journal.moment() == before
    assert journal.plant() == DEFINITION.plant()


def test_a_load_says_what_it_changes_field_by_field(journal: Journal) -> None:
    """A changed item is told by its fields, a new one by its id, and what isn't mentioned stays."""
    box = replace(BOX, ports={**BOX.ports, "F": Port("F", "disconnect", size="1/2 in")})
    changed = Definition(
        media=DEFINITION.media,
        kinds=DEFINITION.kinds,
        parts={"box": box, "hand": DEFINITION.parts["hand"], "slot": DEFINITION.parts["slot"]},
        units={"X": DEFINITION.units["X"], "W": Unit("W", "box")},
        places=DEFINITION.places,
    )
    dry = journal.load(changed, by=None, recorder=None, dry_run=True)
    assert journal.plant() == DEFINITION.plant()
    report = journal.load(changed, by=None, recorder=None)
    assert (dry.added, dry.changed, dry.missing) == (report.added, report.changed, report.missing)
    assert report.added == [("unit", "W")]
    assert [(c.sort, c.id, c.fields) for c in report.changed] == [
        ("part", "box", (("ports.F.size", None, "1/2 in"),))
    ]
    assert set(report.missing) == {("unit", "Y"), ("unit", "Z")}
    assert set(journal.plant().units) == {"W", "X", "Y", "Z"}
    assert "W" not in journal.plant(known=journal.entry("initial:X").known).units  # type: ignore[union-attr]


def test_an_initial_state_that_contradicts_the_journal_is_refused(journal: Journal) -> None:
    """An initial state recorded otherwise before is no repeat, and changes nothing."""
    other = replace(DEFINITION.initial[0], place="RACK")
    definition = replace(DEFINITION, initial=(other,))
    with pytest.raises(Refused, match="exists with a different place"):
        journal.load(definition, by=None, recorder=None)


def test_what_has_a_state_is_not_defined_away(journal: Journal) -> None:
    """A changed definition keeps every port, status and place that the journal has a state of."""
    journal.record([_event("e1", "uncap", "X:F", at=1), _event("e2", "place", "BAG", at=2, place="INA")])
    without = replace(BOX, ports={name: port for name, port in BOX.ports.items() if name != "F"})
    higher = replace(DEFINITION.kinds["disconnect"], statuses=("capped", "mated"), initial="capped")
    bag = replace(DEFINITION.places["BAG"], mobile=False)
    for changed, says in (
        (
            replace(DEFINITION, parts={**DEFINITION.parts, "box": without}),
            "X:F has had a status and is no port",
        ),
        (
            replace(DEFINITION, kinds={**DEFINITION.kinds, "disconnect": higher}),
            "X:F has been demated, which a disconnect can't be any more",
        ),
        (replace(DEFINITION, places={**DEFINITION.places, "BAG": bag}), "BAG has been moved and is neither"),
    ):
        with pytest.raises(Refused, match=says):
            journal.load(changed, by=None, recorder=None)
    assert journal.plant().kinds == DEFINITION.kinds
    assert journal.plant().parts == DEFINITION.parts
    assert journal.entry("e2") == list(journal.log())[-1].entry


def test_a_repeat_is_harmless(journal: Journal) -> None:
    """The same event under the same id is recorded once, and its entry comes back each time."""
    event = _event("e1", "uncap", "X:F", at=1)
    [first] = journal.record([event])
    assert journal.record([event, event]) == [first, first]
    assert journal.record([first.event]) == [first]


def test_an_id_is_used_once(journal: Journal) -> None:
    """Another event under a recorded id is refused, and told what differs."""
    journal.record([_event("e1", "uncap", "X:F", at=1)])
    with pytest.raises(Refused, match="e1 exists with a different happened") as refused:
        journal.record([_event("e1", "uncap", "X:F", at=2)])
    assert refused.value.collides == ("e1",)


def test_every_bad_row_is_named_and_nothing_is_written(journal: Journal) -> None:
    """A batch with bad rows is refused as a whole, with a problem for each of them."""
    before = list(journal.log())
    rows = [
        ("a.csv row 2", _event("e1", "uncap", "X:F", at=1)),
        ("a.csv row 3", _event("e2", "demate", "Y:F", at=1)),
        ("a.csv row 4", _event("e3", "mate", "X:F", "Y:FF", at=2)),
        ("a.csv row 5", _event("e4", "withdraw", at=3, withdraws="e1")),
    ]
    with pytest.raises(Refused) as refused:
        journal.take(iter(rows))
    assert [(p.where, p.code) for p in refused.value.problems] == [
        ("a.csv row 3", "status"),
        ("a.csv row 4", "unknown"),
        ("a.csv row 5", "reason"),
    ]
    assert "Y has no port FF; it has F, B, H" in str(refused.value)
    assert list(journal.log()) == before


def test_rows_that_cannot_be_taken_are_set_aside(journal: Journal) -> None:
    """With somewhere to put them, bad rows don't keep the good ones out, late collisions included."""
    journal.record([_event("e0", "uncap", "Z:F", at=10), _event("e1", "uncap", "Y:F", at=10)])
    journal.record([_event("e2", "mate", "Z:F", "Y:F", at=11)])
    aside: list[tuple[str, tuple[Problem, ...]]] = []
    rows = [
        ("row 2", _event("n1", "cap", "Z:F", at=12)),
        ("row 3", _event("n2", "uncap", "BAY:F", at=5)),
        ("row 4", _event("n3", "uncap", "Z:F", at=5)),
    ]
    tally = journal.take(rows, set_aside=lambda where, problems: aside.append((where, tuple(problems))))
    assert (tally.recorded, tally.refused) == (1, 2)
    assert {where for where, _ in aside} == {"row 2", "row 4"}
    assert journal.entry("n2") is not None
    assert journal.entry("n3") is None
    assert [p.code for where, problems in aside for p in problems if where == "row 4"] == ["collides"]


def test_unknown_subjects_alone_are_no_answer(journal: Journal) -> None:
    """When all that is wrong is a name that doesn't exist, that is what is said."""
    with pytest.raises(NoAnswer, match="X has no port G"):
        journal.record([_event("e1", "uncap", "X:G", at=1)])


def test_a_dry_run_leaves_no_trace(journal: Journal) -> None:
    """A dry run says what would be recorded, and records nothing."""
    [entry] = journal.record([_event("e1", "uncap", "X:F", at=1)], dry_run=True)
    assert entry.number == journal.record([_event("e9", "uncap", "X:F", at=1)])[0].number
    assert journal.entry("e1") is None


def test_a_late_event_that_contradicts_a_later_one_is_shown_with_both(journal: Journal) -> None:
    """A back-dated event is refused with the later event that could not have happened then."""
    journal.record([_event("e1", "uncap", "X:F", at=10)])
    with pytest.raises(Refused, match="collides with later event e1, uncap X:F at") as refused:
        journal.record([_event("e2", "uncap", "X:F", at=5)])
    assert refused.value.collides == ("e1",)
    journal.record(
        [
            _event("e2", "uncap", "X:F", at=5),
            _event("w1", "withdraw", at=11, withdraws="e1", reason="told twice"),
        ]
    )
    assert journal.view(START + 6).state("X:F").value == "demated"


def test_a_correction_keeps_its_turn_among_events_of_one_instant(journal: Journal) -> None:
    """A typo in the first of two events of the same minute can be mended without touching the second."""
    journal.record([_event("e1", "uncap", "X:F", at=1), _event("e2", "cap", "X:F", at=1)])
    mended = _event("e3", "uncap", "X:F", at=1, supersedes="e1", reason="who did it", by="bo")
    journal.record([mended])
    assert [e.event.id for e in journal.history("X:F")] == ["e3", "e2"]
    assert {line.entry.event.id: line.corrected_by for line in journal.log()}["e1"] == "e3"


def test_an_event_is_corrected_once_and_a_withdrawal_not_at_all(journal: Journal) -> None:
    """Correct the correction, not the corrected; record again what was withdrawn by mistake."""
    journal.record([_event("e1", "uncap", "X:F", at=1)])
    journal.record([_event("w1", "withdraw", at=2, withdraws="e1", reason="wrong port")])
    with pytest.raises(Refused, match="was corrected already, by w1"):
        journal.record([_event("w2", "withdraw", at=2, withdraws="e1", reason="again")])
    with pytest.raises(Refused, match="can't be taken back"):
        journal.record([_event("w3", "withdraw", at=2, withdraws="w1", reason="was right")])


def test_two_events_are_exchanged(journal: Journal) -> None:
    """Corrections that are impossible one by one are taken as one; the repeat is harmless; one bad, and none is."""
    journal.record([_event("E1", "uncap", "X:F", at=10), _event("E2", "cap", "X:F", at=20)])
    journal.record([_event("E3", "uncap", "X:F", at=30)])
    said = {"supersedes": "E2", "reason": "the other way round"}
    pair = [
        _event("C2", "uncap", "X:F", at=12, **said),
        _event("C1", "cap", "X:F", at=15, **{**said, "supersedes": "E1"}),
    ]
    for alone in pair:
        with pytest.raises(Refused):
            journal.record([alone])
    with pytest.raises(Refused):
        journal.record(pair[::-1])
    before = journal.moment()
    with pytest.raises(Refused, match="corrected already"):
        journal.correct([*pair, _event("C3", "inspect", "X", at=40, **said)])
    with pytest.raises(Refused, match="Y:B is of kind bolt"):
        journal.correct([pair[0], replace(pair[1], action="mate", subjects=("X:F", "Y:B"))])
    assert journal.correct(pair, dry_run=True)[0].event.id == "C2"
    assert journal.moment() == before
    first = journal.correct(pair)
    assert [e.event.id for e in first] == ["C2", "C1"]
    assert journal.correct(pair) == first
    assert [e.event.id for e in journal.entries(since=START, at=START + 99)] == ["C2", "C1", "E3"]
    assert audit(journal.database).faults == []


def test_as_known_then_is_answered_as_then(journal: Journal) -> None:
    """A correction leaves the answers for every earlier `known` as they were."""
    [first] = journal.record([_event("e1", "uncap", "X:F", at=1)])
    journal.record([_event("w1", "withdraw", at=2, withdraws="e1", reason="wrong port")])
    assert journal.view(START + 1, first.known).state("X:F").value == "demated"
    assert journal.view(START + 1).state("X:F").value == "capped"
    assert [e.event.id for e in journal.history("X:F", known=first.known)] == ["e1"]


def test_a_discrepancy_stays_open_until_it_is_explained(journal: Journal) -> None:
    """Found otherwise than recorded: open, until an event explains it."""
    journal.record([_event("f1", "as-found", "X:F", at=1, status="demated")])
    assert [e.event.id for e in journal.discrepancies()] == ["f1"]
    explained = _event("x1", "explain", at=2, explains="f1", reason="cap had come off in transport")
    [entry] = journal.record([explained])
    assert journal.discrepancies() == []
    assert [e.event.id for e in journal.discrepancies(known=entry.known - 1)] == ["f1"]


def test_only_a_finding_that_counts_can_be_explained(journal: Journal) -> None:
    """An explanation needs an as-found event, and one that was not corrected."""
    journal.record(
        [_event("f1", "as-found", "X:F", at=1, status="demated"), _event("u1", "uncap", "Y:F", at=1)]
    )
    journal.record([_event("w1", "withdraw", at=2, withdraws="f1", reason="misread")])
    for target, says in (("f1", "was corrected, by w1"), ("u1", "nothing to explain"), ("f9", "no event f9")):
        with pytest.raises(Refused, match=says):
            journal.record([_event("x1", "explain", at=3, explains=target, reason="because")])


def test_remarks_stick_to_unit_port_part_and_place(journal: Journal) -> None:
    """A remark shows for its own subject and for all that it stands on, and for nothing else."""
    journal.record(
        [
            _event("r1", "remark", "X:F", at=1, remark="tight"),
            _event("r2", "remark", "X", at=2, remark="heavy"),
            _event("r3", "remark", "box", at=3, remark="mind the edge"),
            _event("r4", "remark", "BAY", at=4, remark="dark"),
            _event("r5", "remark", "Y:F", at=4, remark="new seal"),
        ]
    )
    assert [e.event.id for e in journal.remarks(["X:F"])] == ["r1", "r2", "r3"]
    assert [e.event.id for e in journal.remarks(["X", "BAY"])] == ["r1", "r2", "r3", "r4"]
    assert [e.event.id for e in journal.remarks(["X:F"], places=["BAY"])] == ["r1", "r2", "r3", "r4"]


def test_remarks_roll_up_and_down_the_places(journal: Journal) -> None:
    """Of a unit those on the places where it is are told as well, of a place those on all that is in it, then."""
    journal.record(
        [
            _event("r1", "remark", "BAY", at=1, remark="dark"),
            _event("r2", "remark", "X:F", at=3, remark="tight"),
            _event("r3", "remark", "Y", at=4, remark="elsewhere"),
            _event("p2", "place", "X", at=6, place="SITE"),
        ]
    )

    def told(thing: str, at: int) -> list[str]:
        found = journal.remarks([thing], at=START + at, around=True, inside=True)
        return [entry.event.id for entry in found]

    assert told("X", 5) == ["r1", "r2"]
    assert told("X:F", 5) == ["r1", "r2"]
    assert told("BAY", 5) == ["r1", "r2"]
    assert told("X", 6) == ["r2"]
    assert told("BAY", 6) == ["r1"]
    assert told("Y", 5) == ["r3"]


def test_what_was_put_right_keeps_its_turn_in_every_list(journal: Journal) -> None:
    """A correction at its event's instant stands where that stood: among discrepancies, remarks and actions."""
    for kind, more in (("as-found", {"status": "demated"}), ("remark", {"remark": "mind"})):
        ids = [f"{kind} {i}" for i in (1, 2)]
        journal.record(
            [_event(i, kind, port, at=1, **more) for i, port in zip(ids, ("X:F", "Y:F"), strict=True)]
        )
        again = _event(f"{kind} again", kind, "X:F", at=1, **more)
        journal.correct([replace(again, supersedes=ids[0], reason="by another")])
        wanted = [again.id, ids[1]]
        found = journal.discrepancies() if kind == "as-found" else journal.remarks(["X:F", "Y:F"])
        assert [e.event.id for e in found] == wanted
        assert [e.event.id for e in journal.of_action(kind) if not e.event.initial] == wanted


def test_measured_values_and_last_actions_are_found(journal: Journal) -> None:
    """The last measured value, the last action and an outing's start are one question each."""
    volts = parse_quantity("0.2 V")
    journal.record(
        [
            _event("b1", "begin", at=0, outing="outing-1"),
            _event("m1", "measure", "X:F", at=1, values={"voltage": volts}),
            _event("m2", "measure", "X:F", at=2, values={"voltage": parse_quantity("0.3 V")}),
        ]
    )
    assert journal.unit("X", START + 1).values["X:F", "voltage"].value == repr(volts.value)
    assert journal.last("X:F", "measure", at=START + 1) == journal.entry("m1")
    assert journal.last("X:F", "measure") == journal.entry("m2")
    assert journal.outing_start("outing-1") == START
    assert journal.outing_start("outing-2") is None


def test_without_a_time_the_present_is_meant(journal: Journal) -> None:
    """The present is the clock's, or the last write, or the last event if that is later: a withdrawn one isn't."""
    [late] = journal.record([_event("r1", "remark", "X", at=5_000, remark="dated ahead")])
    assert journal.moment() == (START + 5_000, late.known)
    journal.record([_event("w1", "withdraw", at=10, withdraws="r1", reason="wrong year")])
    assert journal.moment() == (late.known + 1, late.known + 1)
    assert journal.moment(known=late.known) == (START + 5_000, late.known)


def test_rules_are_kept_in_versions(journal: Journal) -> None:
    """The rules as they stood at any `known` can be had again."""
    first = journal.keep_rules({"own.toml": "# one"}, by=None, recorder=None)
    assert first.entry is not None
    journal.keep_rules({"own.toml": "# two"}, by=None, recorder=None)
    assert journal.keep_rules({"own.toml": "# two"}, by=None, recorder=None).entry is None
    assert journal.rules() == {"own.toml": "# two"}
    assert journal.rules(known=first.entry.known) == {"own.toml": "# one"}


def test_a_journal_is_made_once(url: str) -> None:
    """Where there is one already, making a journal is refused and changes nothing."""
    with pytest.raises(NoAnswer, match="there is a database already"):
        create(url)


def test_a_view_asks_for_all_ports_of_a_unit_at_once(
    journal: Journal, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However many ports a unit has, a view reads them with two questions."""
    view = journal.view()
    assert isinstance(view, SqlView)
    asked: list[str] = []
    rows = journal.database.rows

    def listening(sql: str, parameters: Parameters = ()) -> list[Row]:
        asked.append(sql)
        return rows(sql, parameters)

    monkeypatch.setattr(journal.database, "rows", listening)
    assert [view.state(p).value for p in journal.plant().ports_of("X")] == ["capped", "released", "free"]
    assert len([sql for sql in asked if "FROM change" in sql]) <= 2


def test_a_withdrawn_fastening_leaves_a_place_too_full(journal: Journal) -> None:
    """Two units bolted together count as one: taken apart in hindsight, a later placing finds no room."""
    journal.record(
        [
            _event("e0", "engage", "Y:B", "Z:B", at=0),
            _event("e1", "torque", "Y:B", at=1),
            _event("e2", "place", "X", at=2, place="RACK"),
        ]
    )
    with pytest.raises(Refused, match="collides with later event e2, place X at RACK"):
        journal.record([_event("w1", "withdraw", at=3, withdraws="e1", reason="was not so")])


def test_a_withdrawn_move_leaves_a_place_too_full(journal: Journal) -> None:
    """A unit that never left keeps its place: what was put there afterwards finds no room."""
    journal.record(
        [
            _event("e1", "place", "X", at=1, place="SITE"),
            _event("e2", "place", "Y", at=2, place="BAY"),
        ]
    )
    with pytest.raises(Refused, match="collides with later event e2, place Y at BAY"):
        journal.record([_event("w1", "withdraw", at=3, withdraws="e1", reason="was not so")])


def test_a_withdrawn_walk_takes_along_what_was_in_hand(journal: Journal) -> None:
    """Who carries a unit was never there: so the unit can't have been fastened there."""
    journal.record(
        [
            _event("e1", "place", "Y", at=2, place="INA"),
            _event("e2", "place", "INA", at=3, place="RACK"),
            _event("e3", "engage", "Y:B", "Z:B", at=4),
        ]
    )
    with pytest.raises(Refused, match="collides with later event e3, engage Y:B Z:B"):
        journal.record([_event("w1", "withdraw", at=5, withdraws="e2", reason="was not so")])


CODE = "0123456789ab"


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"id": ""}, "needs an id"),
        ({"id": "e\x001"}, "can be printed"),
        ({"values": {"cycles": parse_quantity("28", dimension="count")}}, "are read in with the definition"),
        ({"id": "e\ud800"}, "can be printed"),
        ({"remark": "half a pair \ud800"}, "half a surrogate pair"),
        ({"happened": 2**53}, "too far from 1970"),
        ({"basis": "guessed"}, "there is no basis guessed; known: reported, witnessed, measured"),
        ({"supersedes": "e0"}, "a correction needs a reason"),
        ({"withdraws": "e0", "reason": "x"}, "withdraw needs the id"),
        ({"explains": "e0"}, "explain needs the id"),
        ({"supersedes": "e0", "withdraws": "e0", "reason": "x"}, "not both"),
        ({"acknowledges": CODE}, "acknowledge needs the fingerprints"),
        ({"action": "acknowledge", "reason": "x"}, "acknowledge needs the fingerprints"),
        ({"action": "acknowledge", "reason": "x", "acknowledges": " "}, "acknowledge needs the fingerprints"),
        ({"action": "acknowledge", "acknowledges": CODE}, "needs a reason"),
        ({"action": "approve"}, "by their fingerprints"),
        ({"action": "approve", "body": {}}, "by their fingerprints"),
        ({"action": "approve", "body": {"fingerprints": CODE}}, "expected a list of texts"),
        ({"action": "approve", "body": {"rule": "r", "start": "soon"}}, "expected a time"),
        ({"supersedes": "e0", "reason": "x"}, "there is no event e0 to correct"),
        ({"action": "explain", "explains": "e0", "remark": None}, "needs a reason or a remark"),
        ({"supersedes": "define:1", "reason": "x"}, "load the right one"),
    ],
)
def test_a_malformed_event_is_refused(journal: Journal, changes: dict[str, object], says: str) -> None:
    """What no event may look like is refused with the reason, and nothing is written."""
    before = list(journal.log())
    event = replace(_event("e1", "remark", "X", at=1, remark="x"), **changes)  # type: ignore[arg-type]
    with pytest.raises(Refused, match=says):
        journal.record([event])
    assert list(journal.log()) == before


def test_text_of_any_kind_comes_back(journal: Journal) -> None:
    """Whatever can be written in JSON is kept and comes back, to the character, zero bytes included."""
    texts = ["é ü 漢 \U0001f600", "tab\tline\nnul\x00 \\ \" '", "%s :x {}", "\u2028"]
    events = [_event(f"r{i}", "remark", "X", at=i, remark=text) for i, text in enumerate(texts)]
    journal.record(events)
    assert [e.event.remark for e in journal.remarks(["X"])] == texts


def test_a_withdrawn_move_is_withdrawn_for_all_that_went_along(journal: Journal) -> None:
    """What moved as one stands as one where it was before, when the move was not so."""
    journal.record(
        [
            _event("e0", "engage", "Y:B", "Z:B", at=0),
            _event("e1", "torque", "Y:B", at=1),
            _event("e2", "place", "Y", at=2, place="SITE"),
        ]
    )
    assert journal.view().state("Z").value == "SITE"
    journal.record([_event("w1", "withdraw", at=3, withdraws="e2", reason="was not so")])
    assert [journal.view().state(u).value for u in ("Y", "Z")] == ["RACK", "RACK"]
    assert audit(journal.database).is_sound
