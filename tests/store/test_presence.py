"""Presence in the record: who was found elsewhere is written with what he did, and everything derived agrees."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cfgtrack.files.phrase import parse_phrase
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from cfgtrack.model.possibility import resolve
from cfgtrack.model.presence import Telling, is_end
from cfgtrack.model.time import parse_instant
from cfgtrack.model.trouble import Refused
from cfgtrack.store.audit import audit
from cfgtrack.store.journal import Journal, create, open_journal, system_clock
from cfgtrack.store.security import apply, grants
from cfgtrack.store.upkeep import rebuild
from cfgtrack.store.view import SqlView
from tests.model.test_presence import DEEDS, DEFINITION, NOWHERE, PLANT
from tests.store.conftest import Server
from tests.store.test_security import CLERK, as_user

START = parse_instant("2031-01-01T00:00:00Z")
NOW = START + 1_000_000


def said(text: str, minute: int, event_id: str = "") -> Action:
    """Return the action of a text whose first word is who did it, so many ticks after the start."""
    doer, *words = text.split()
    by = [] if doer == "-" else [f"by={doer}"]
    return parse_phrase([*words, *by], PLANT, id=event_id or f"e{minute}", happened=START + minute)


def opened(url: str) -> Journal:
    """Return a journal of a fixed present."""
    return open_journal(url, clock=lambda: NOW)


def seen(journal: Journal) -> dict[str, tuple[str, str | None]]:
    """Return the state of all that has one, and where ends of hoses lie, of all that is read at once."""
    now = journal.configuration(NOW)
    found = {s: (state.value, state.other) for s, state in now.touched()}
    return found | {f"{p} lies": (now.end_at(p), None) for p in ("H:P", "H:Q") if now.end_at(p)}


def read_singly(journal: Journal) -> dict[str, tuple[str, str | None]]:
    """Return the same, each thing asked for by itself."""
    view = SqlView(journal.database, journal.plant(), NOW, journal.moment()[1])
    found = {s: view.state(s) for s, _ in journal.configuration(NOW).touched()}
    lying = {p: view.end_at(p) for p in ("H:P", "H:Q")}
    return {s: (state.value, state.other) for s, state in found.items()} | {
        f"{p} lies": (site, None) for p, site in lying.items() if site
    }


def test_a_server_too_writes_of_a_defect_that_it_moves_nobody(server: Server) -> None:
    """Recorded by a mere user: who tells a defect stays where he is; who rectifies it was there."""
    url = server.fresh()
    mine = as_user(server, url)
    with open_journal(url, clock=system_clock) as journal:
        journal.load(replace(DEFINITION, people={"CLERK": CLERK}), by=None, recorder=None)
        apply(journal.database, grants(journal.database, journal.plant()).statements)
    with open_journal(mine, clock=system_clock) as journal:
        assert journal.database.is_restricted
        journal.record([said("ANN defect open Y:V stuck", 10)])
        assert journal.configuration(NOW).state("ANN").value == "BAY"
        journal.record([said("ANN rectify open Y:V", 20)])
        assert seen(journal)["ANN"] == ("STORE", None)
        assert [e.event.id for e in journal.history("ANN")] == ["e20"]
    with open_journal(url, clock=system_clock) as journal:
        assert [fault.sentence for fault in audit(journal.database).faults] == []
    rebuild(url)
    with open_journal(url, clock=system_clock) as journal:
        assert [e.event.id for e in journal.history("ANN")] == ["e20"]


def test_a_doer_found_elsewhere_is_a_discrepancy_until_it_is_explained(url: str) -> None:
    """What was done is recorded, his place follows, and it stays open until somebody explains it."""
    with opened(url) as journal:
        journal.load(DEFINITION, by=None, recorder=None)
        journal.record([said("ANN open Y:V", 10)])
        [open_one] = journal.discrepancies()
        assert (open_one.event.id, open_one.event.expected) == ("e10", "ANN at BAY")
        assert seen(journal)["ANN"] == ("STORE", None)
        assert journal.discrepancies(at=START + 5) == []
        assert [e.event.id for e in journal.history("ANN")] == ["e10"]
        journal.record(
            [Action("x1", "explain", (), START + 20, explains="e10", reason="went by the back stairs")]
        )
        assert journal.discrepancies() == []
        with pytest.raises(Refused, match="not an as-found event"):
            journal.record(
                [
                    said("ANN shut Y:V", 30),
                    Action("x2", "explain", (), START + 40, explains="e30", reason="?"),
                ]
            )
        assert audit(journal.database).is_sound


def test_a_correction_moves_nobody_back(url: str) -> None:
    """Superseded, what was done elsewhere moves nobody: neither does the correction, by whomever it is."""
    with opened(url) as journal:
        journal.load(DEFINITION, by=None, recorder=None)
        journal.record([said("ANN open Y:V", 10)])
        right = replace(said("ANN open X:V", 10, "c1"), supersedes="e10", reason="the other pump")
        journal.record([right])
        assert seen(journal).get("ANN", ("BAY", None)) == ("BAY", None)
        assert journal.discrepancies() == []
        wrong = replace(said("DAN inspect Y", 10, "c2"), supersedes="c1", reason="it was Dan")
        journal.record([wrong])
        assert "DAN" not in seen(journal)
        assert journal.discrepancies() == []
        assert audit(journal.database).is_sound


def test_a_late_move_is_taken_and_the_discrepancy_stands(url: str) -> None:
    """Told later that he went there first, all is recorded; what was found stays open until it is explained."""
    with opened(url) as journal:
        journal.load(DEFINITION, by=None, recorder=None)
        journal.record([said("ANN open Y:V", 10)])
        journal.record([said("ANN place ANN at STORE", 5)])
        assert [e.event.id for e in journal.discrepancies()] == ["e10"]
        assert audit(journal.database).is_sound


@pytest.mark.parametrize(
    "deed", ["ANN open Y:V", "ANN as-found Y:V open", "ANN as-found Y at SHELF", "ANN inspect Y"]
)
def test_whoever_was_found_there_may_have_gone_there_first(url: str, deed: str) -> None:
    """A late move there is taken, whatever was done; a late grip of what stayed, or move of the thing, is not."""
    with opened(url) as journal:
        journal.load(DEFINITION, by=None, recorder=None)
        journal.record([said(deed, 10)])
        assert journal.discrepancies()[0].event.found == {"ANN": "STORE"}
        for late in ("ANN grip BAY:RAIL with ANN:LEFT", "ANN engage ANN:LINE BAY:ANCHOR"):
            with pytest.raises(Refused, match="collides with later event e10"):
                journal.record([said(late, 5)])
        if "at SHELF" not in deed:
            with pytest.raises(Refused, match="collides with later event e10"):
                journal.record([said("- place Y at ROOF", 5)])
        journal.record([said("ANN place H at ANN", 3), said("ANN place ANN at STORE", 5)])
        assert [e.event.id for e in journal.discrepancies()] == ["e10"]
        assert seen(journal) == read_singly(journal)
        assert audit(journal.database).is_sound


@pytest.mark.parametrize("deed", ["ANN open X:V", "ANN measure X voltage=3V", "ANN inspect X"])
def test_a_late_move_away_collides_with_what_he_did_there(url: str, deed: str) -> None:
    """Who is recorded to have done something here can't, later, be said to have been elsewhere: unless he came back."""
    with opened(url) as journal:
        journal.load(DEFINITION, by=None, recorder=None)
        journal.record([said(deed, 10)])
        away = said("ANN place ANN at ROOF", 5)
        with pytest.raises(Refused, match="collides with later event e10"):
            journal.record([away])
        journal.record([away, said("ANN place ANN at BAY", 7)])
        assert journal.discrepancies() == []
        assert audit(journal.database).is_sound


def test_a_late_move_away_collides_in_a_long_batch_too(url: str) -> None:
    """Of many rows at once each is held against what is recorded later, as one alone is."""
    with opened(url) as journal:
        journal.load(DEFINITION, by=None, recorder=None)
        journal.record([said("ANN inspect X", 100)])
        away = [said("ANN place ANN at ROOF", 5), *(said("- inspect X", 200 + i) for i in range(60))]
        with pytest.raises(Refused, match="collides with later event e100"):
            journal.record(away)


def test_a_late_measurement_by_somebody_absent_moves_him(url: str) -> None:
    """A reading writes no state of the thing read, but says where its reader was: in a batch, and late."""
    with opened(url) as journal:
        journal.load(DEFINITION, by=None, recorder=None)
        filler = [said("- inspect X", 100 + i) for i in range(50)]
        journal.record([*filler, said("CRANE place CRANE at ROOF", 90)])
        late = [said("- inspect X", 200 + i) for i in range(50)]
        journal.record([said("ANN measure Y voltage=3V", 20), *late])
        assert seen(journal)["ANN"] == ("STORE", None)
        assert seen(journal) == read_singly(journal)
        assert audit(journal.database).is_sound


def test_what_was_recorded_before_there_were_sites_is_never_judged_for_them(url: str) -> None:
    """Once the plant has sites, old events stay as they were, also where a late one has them looked at again."""
    with opened(url) as journal:
        journal.load(NOWHERE, by=None, recorder=None)
        journal.record(
            [
                said("ANN open Y:V", 10),
                said("ANN place ANN at ROOF", 20),
                said("ANN grip X:LUG with ANN:LEFT", 30),
            ]
        )
        before, known = seen(journal), journal.moment()[1]
        journal.load(DEFINITION, by=None, recorder=None)
        assert seen(journal) == before
        journal.record(
            [
                said("CRANE place CRANE at ROOF", 5),
                said("- place BAG at ROOF", 6),
                said("- place Y at SHELF", 7),
            ]
        )
        assert journal.discrepancies() == []
        after = seen(journal)
        assert {s: after[s] for s in before if s != "Y"} == {s: before[s] for s in before if s != "Y"}
        as_known = journal.configuration(NOW, known)
        assert {s: (x.value, x.other) for s, x in as_known.touched()} == before
        # What is recorded from here on is judged.
        journal.record([said("ANN shut Y:V", 40)])
        assert [e.event.id for e in journal.discrepancies()] == ["e40"]
        assert audit(journal.database).is_sound


def test_a_free_end_stays_where_it_was_parted(url: str) -> None:
    """The store knows where an end lies, at any time, and after a correction no longer that."""
    with opened(url) as journal:
        journal.load(DEFINITION, by=None, recorder=None)
        journal.record(
            [
                said("ANN mate H:P BAY:F", 10),
                said("ANN place H at ANN", 20),
                said("ANN place ANN at ROOF", 30),
                said("CRANE demate H:P", 40),
                said("ANN place H at ROOF", 50),
            ]
        )

        def lies(minute: int) -> str:
            return SqlView(journal.database, journal.plant(), START + minute, journal.moment()[1]).end_at(
                "H:P"
            )

        assert [lies(minute) for minute in (35, 45, 55)] == ["", "BAY", ""]
        with pytest.raises(Refused):
            journal.record([said("ANN mate H:P ROOF:F", 45)])
        journal.record(
            [Action("w", "withdraw", (), START + 60, withdraws="e50", reason="it was left in his hand")]
        )
        assert lies(55) == "BAY"
        assert audit(journal.database).is_sound


def test_a_late_row_sees_what_carried_a_thing_in_a_slot(url: str) -> None:
    """A unit in a machine's bed goes where the machine goes: it wasn't put there if it was bolted down then."""
    with opened(url) as journal:
        journal.load(DEFINITION, by=None, recorder=None)
        journal.record([said("ANN engage X:BOLT BAY:BOLT", 3), said("CRANE place CRANE at ROOF", 6)])
        with pytest.raises(Refused, match="collides with later event e6"):
            journal.record([said("DAN place X at BED", 2)])
        assert audit(journal.database).is_sound


SAID = [said(text, 0) for text in DEEDS]


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=40)
@given(deeds=st.lists(st.sampled_from(SAID), min_size=1, max_size=40), at_once=st.booleans())
def test_the_record_holds_what_the_laws_say(tmp_path_factory, deeds, at_once):
    """One by one or many at once, the record has what a fold in memory has, and rebuilds to the same bytes."""
    path = str(tmp_path_factory.mktemp("presence") / "journal.db")
    create(path)
    rows = [replace(deed, id=f"d{n}", happened=START + 1 + n) for n, deed in enumerate(deeds)]
    now = Configuration(PLANT)
    for initial in DEFINITION.initial:
        event = resolve(now, initial)
        assert isinstance(event, Event)
        now.apply(event)
    possible = []
    for row in rows:
        outcome = resolve(now, row, Telling.RECORDED)
        if isinstance(outcome, Event):
            now.apply(outcome)
            possible.append(row)
    with opened(path) as journal:
        journal.load(DEFINITION, by=None, recorder=None)
        for chunk in [possible] if at_once else [[row] for row in possible]:
            journal.record(chunk)
        expected = {s: (state.value, state.other) for s, state in now.touched()}
        expected |= {
            f"{p} lies": (now.end_at(p), None) for p in ("H:P", "H:Q") if is_end(PLANT, p) and now.end_at(p)
        }
        assert seen(journal) == expected
        assert read_singly(journal) == expected
        assert audit(journal.database).is_sound
    before = dump(path)
    rebuild(path)
    assert dump(path) == before


def dump(path: str) -> list[tuple[object, ...]]:
    """Return every row of the derived tables."""
    with opened(path) as journal:
        rows = [tuple(row) for row in journal.database.rows("SELECT * FROM change ORDER BY 1, 2, 3, 4, 5")]
        return [*rows, *(tuple(row) for row in journal.database.rows("SELECT * FROM touch ORDER BY 1, 2, 3"))]
