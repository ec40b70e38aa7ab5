"""What can't be done in the record: late, corrected, withdrawn, as known then, and all that is derived agree."""

from __future__ import annotations

from dataclasses import replace
from io import StringIO
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cfgtrack.files.phrase import parse_phrase, split_phrase
from cfgtrack.files.rows import read_rows, write_csv, write_jsonl
from cfgtrack.model import defect
from cfgtrack.model.action import Action
from cfgtrack.model.trouble import Problem, Refused
from cfgtrack.store import record
from cfgtrack.store.audit import audit
from cfgtrack.store.journal import Journal, open_journal, system_clock
from cfgtrack.store.ocel import write_ocel
from cfgtrack.store.upkeep import rebuild
from tests.model.test_defect import ACTIONS, DEFINITION, PLANT, SAID, Page, seen, step
from tests.store.conftest import FreshUrl, Server
from tests.store.paged import NOW, START, Paged, opened, view_of
from tests.store.test_security import open_to_the_clerk


def begun(journal: Journal) -> None:
    """Load the plant, with everything in the hall."""
    journal.load(DEFINITION, by=None, recorder=None)
    journal.record([Action(f"s{unit}", "place", (unit,), START, place="HALL") for unit in "UWX"])


def said(letters: str, tick: int, event_id: str = "") -> Action:
    """Return an action of the page, so many ticks after the start."""
    action: Action = SAID[letters]
    return replace(action, id=event_id or f"e{tick}", happened=START + tick)


def phrase(text: str, tick: int, **more: Any) -> Action:
    """Return the action of a phrase, so many ticks after the start."""
    found = parse_phrase(split_phrase(text), PLANT, id=f"e{tick}", happened=START + tick)
    return replace(found, **more)


def test_what_can_t_be_done_is_refused_with_who_said_so(url: str) -> None:
    """A record that can't be so is refused with the event and the way out; as-found takes it; rectified, it is done."""
    with opened(url) as journal:
        begun(journal)
        journal.record([phrase('defect open U:G seized torque="140 N*m"', 10, by="INA")])
        with pytest.raises(
            Refused,
            match=r"barred: U:G has a defect \(no open\): seized, torque 140 N\*m; `rectify open U:G seized` first, or"
            r" as-found; told by INA at 2031-01-01T00:00:00.000010Z: event e10, defect open U:G seized",
        ):
            journal.record([phrase("open U:G", 20)])
        journal.record([phrase("as-found U:G open", 30)])
        [open_one] = journal.discrepancies()
        assert open_one.event.expected == "U:G shut, open can't be done: seized"
        journal.record([phrase("shut U:G", 40)])
        with pytest.raises(Refused, match="barred"):
            journal.record([phrase("open U:G", 50)])
        journal.record([phrase("rectify U:G", 60), phrase("open U:G", 70)])
        with pytest.raises(Refused, match="no-defect: U:G has no defect to rectify"):
            journal.record([phrase("rectify U:G", 80)])
        assert audit(journal.database).is_sound


def test_a_late_defect_collides_with_what_was_done_after_it(url: str) -> None:
    """Told too late, a defect contradicts what is recorded to have been done then, unless it was rectified between."""
    with opened(url) as journal:
        begun(journal)
        journal.record([said("open", 30), said("shut", 40), said("mate P", 50)])
        with pytest.raises(Refused, match="collides with later event e30, open U:G"):
            journal.record([phrase("defect open U:G seized", 20)])
        with pytest.raises(Refused, match="collides with later event e50, mate U:P W:P"):
            journal.record([phrase("defect W missing", 45)])
        journal.record([phrase("defect open U:G seized", 20), phrase("rectify open U:G", 25)])
        journal.record([phrase("defect mate W:Q bent", 35), phrase("defect mate U:P to W:Q worn", 36)])
        with pytest.raises(Refused, match="collides with later event e25, rectify open U:G seized"):
            journal.record([Action("w", "withdraw", (), START + 60, withdraws="e20", reason="was another")])
        assert audit(journal.database).is_sound


def test_a_late_defect_of_a_place_reaches_what_was_put_there(url: str) -> None:
    """A bay that nothing can stand in, a cart that can't lift, told late: what went there since contradicts it."""
    with opened(url) as journal:
        begun(journal)
        journal.record([phrase("place U at BAY", 30), phrase("lift X by CART", 40)])
        with pytest.raises(Refused, match="collides with later event e30, place U at BAY"):
            journal.record([phrase("defect place BAY flooded", 20)])
        with pytest.raises(Refused, match="collides with later event e40, lift X at CART"):
            journal.record([phrase("defect lift CART jammed", 20)])
        journal.record([phrase("defect place BAY flooded", 35)])


def test_what_was_corrected_was_believed_until_then(url: str) -> None:
    """A corrected cause stands instead of the old one; asked as it was known then, the old one does."""
    with opened(url) as journal:
        begun(journal)
        journal.record([phrase("defect open U:G seized", 10)])
        before = journal.moment()[1]
        wrong = phrase("defect shut U:G jammed", 10, id="c", supersedes="e10", reason="it was the other way")
        journal.record([wrong])
        for view, expected in (
            (view_of(journal, NOW, before), [("open", "seized", "e10")]),
            (view_of(journal, NOW, journal.moment()[1]), [("shut", "jammed", "c")]),
            (journal.configuration(NOW, before), [("open", "seized", "e10")]),
            (journal.configuration(NOW), [("shut", "jammed", "c")]),
            (journal.configuration(START + 9), []),
        ):
            assert [(one.bars, one.cause, one.event) for one in defect.defects_on(view, "U:G")] == expected
        journal.record([said("open", 20)])
        assert audit(journal.database).is_sound


@pytest.mark.parametrize("few", [0, 1_000], ids=["in-memory", "asking"])
def test_within_one_batch_too(url: str, few: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """A late repair, or a withdrawal, frees what follows in the same batch."""
    monkeypatch.setattr(record, "FEW", few)
    with opened(url) as journal:
        begun(journal)
        journal.record([phrase("defect open U:G seized", 30), phrase("defect mate U:P to W:P bent", 31)])
        with pytest.raises(Refused, match="barred"):
            journal.record([phrase("defect shut U:G stuck", 33), said("mate P", 34)])
        gone = Action("w", "withdraw", (), START + 45, withdraws="e30", reason="was another valve")
        journal.record([gone, said("open", 50)])
        journal.record([phrase("rectify mate W:P to U:P", 40), said("mate P", 60)])
        assert seen(journal.configuration(NOW)) == Page(valve="open", plug="P")
        assert audit(journal.database).is_sound


# --- random histories with corrections, against the page ------------------------------------------------------------


def changes(page: Page, letters: str) -> tuple[object, ...]:
    """Return what an event changes on the page beyond its words: the plug that comes out, the defect that is lifted."""
    after = step(page, letters)
    if letters in ("demate", "found out"):
        return (page.plug,)
    return () if after is None else (page.stands - after.stands,)


PAGED = Paged(Page(), ACTIONS, step, changes, said, seen)


@pytest.mark.parametrize("few", [0, 1_000], ids=["in-memory", "asking"])
@settings(max_examples=12, deadline=None, suppress_health_check=[*HealthCheck])
@given(data=st.data())
def test_random_histories_are_judged_as_the_page_does(
    data: st.DataObject, few: int, fresh_url: FreshUrl, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is taken, and what can't be done at any time as known at any time, is what the page says.

    A row is taken exactly where all that then counts, from the first to the last, is possible on the page.
    """
    monkeypatch.setattr(record, "FEW", few)
    PAGED.judges(data, fresh_url(), begun)


TOLD = (
    'defect open U:G seized torque="140 N*m" gap="0.1 mm"',
    'defect mate U:P to W:P "won\'t seat"',
    "defect W missing",
    'defect open U:G jammed pressure="1e-7 Pa"',
    "rectify W missing",
    "defect place BAY flooded",
    'rectify open U:G seized remark="new stem"',
)


@pytest.mark.parametrize("form", ["csv", "jsonl"])
def test_rows_go_out_and_come_in_again(url: str, fresh_url: FreshUrl, form: str) -> None:
    """Defects, with what was measured, and what rectified them, are the same again after an export and an import."""
    with opened(url) as journal:
        begun(journal)
        journal.record([phrase(text, 10 * n, by="INA") for n, text in enumerate(TOLD, 1)])
        out = StringIO()
        entries = [entry for entry in journal.entries() if entry.event.action != "define"]
        (write_csv if form == "csv" else write_jsonl)(entries, out)
        before = defect.all_defects(journal.configuration(NOW))
        log = "".join(write_ocel(journal))
    assert [(one.what, one.why) for one in before] == [
        ("place BAY", "flooded"),
        ("open U:G", "jammed, pressure 1e-07 Pa"),
        ("mate U:P to W:P", "won't seat"),
    ]
    assert '"name": "bars", "value": "open"' in log
    with opened(fresh_url()) as other:
        other.load(DEFINITION, by=None, recorder=None)
        rows = list(read_rows(out.getvalue().splitlines(keepends=True), other.plant(), where=f"rows.{form}"))
        assert not [row for row in rows if isinstance(row, Problem)]
        other.record([row[1] for row in rows if not isinstance(row, Problem)])
        assert defect.all_defects(other.configuration(NOW)) == before
        again = [entry.event for entry in other.entries() if entry.event.action != "define"]
        assert again == [entry.event for entry in entries]


def test_a_server_writes_the_same_of_what_its_users_record(server: Server) -> None:
    """Recorded by a mere user, what follows is written by the database, to the letter as the tool would."""
    url = server.fresh()
    with open_journal(url, clock=system_clock) as journal:
        begun(journal)
    with open_journal(open_to_the_clerk(server, url), clock=system_clock) as journal:
        assert journal.database.is_restricted
        journal.record([phrase(text, 10 * n, by="INA") for n, text in enumerate(TOLD, 1)])
        journal.record([phrase('defect shut U:G "won\'t seat" temperature="-40 degC"', 100)])
        assert len(defect.all_defects(journal.configuration(NOW))) == 4
    with open_journal(url, clock=system_clock) as journal:
        assert [fault.sentence for fault in audit(journal.database).faults] == []
        before = seen(journal.configuration(NOW))
    rebuild(url)
    with open_journal(url, clock=system_clock) as journal:
        assert seen(journal.configuration(NOW)) == before
