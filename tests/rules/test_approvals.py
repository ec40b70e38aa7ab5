"""Approvals against a slow reading of the text (`oracle/approvals.py`), as random records have them.

The rules' own code is asked directly, and the whole tool by its public questions, with both times drawn. The ordinary
run draws a few cases; ``CFGTRACK_CASES=2000`` in the environment draws that many.
"""

from __future__ import annotations

import io
import json
import os
import shutil
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st

from cfgtrack.answers import hardware, review, rules, transfer
from cfgtrack.answers.asking import Asking
from cfgtrack.model.approval import Hands
from cfgtrack.model.event import Entry, Event
from cfgtrack.model.time import parse_instant
from cfgtrack.rules.approved import Approved, Withdrawal
from cfgtrack.rules.finding import Finding, Instance
from cfgtrack.rules.variance import Variance, under_variance, variance_of
from tests.rules.oracle.approvals import Broken, People, Row, Ruling, is_anew, ruling

CASES = os.environ.get("CFGTRACK_CASES")
MINUTE = 60_000_000
START = parse_instant("2031-05-01T08:00:00Z")
END = 16

NAMES = ("ANN", "ann", " Ann ", "BEN", "BENCART", "=BEN+1", "CY", "DOT", "EVE")
"""Ann and Ben by several names, and three more; Eve may not approve where the plant says who may."""

AS_WRITTEN = People({name: " ".join(name.split()).lower() for name in NAMES} | {"=BEN+1": "bencart"})
"""Where the plant names nobody, what a place is called besides is that place; two ways to write a name are one."""

STAFF = People(
    {"ANN": "ANN", "BEN": "BEN", "BENCART": "BEN", "=BEN+1": "BEN", "CY": "CY", "DOT": "DOT", "EVE": "EVE"},
    frozenset(["ANN", "BEN", "CY", "DOT"]),
)
FINDINGS = ("a" * 12, "b" * 12)


@dataclass(frozen=True)
class Drawn:
    """What was broken and mended, and when each was recorded; the record of approvals; and when it is asked about."""

    broken: Broken
    recorded: tuple[int, int]
    rows: tuple[Row, ...]
    asked: tuple[tuple[int, int], ...]


@st.composite
def drawn_cases(
    draw: st.DrawFn, names: tuple[str, ...] = NAMES, findings: tuple[str, ...] = FINDINGS
) -> Drawn:
    """Return any case: times are whole minutes, and no two things become known in one."""
    minute = st.integers(0, END)
    time = draw(st.integers(3, 8))
    mended = draw(st.none() | st.integers(time + 1, 14))
    codes = st.frozensets(st.sampled_from(findings), min_size=1)
    who = st.sampled_from(names)
    knowns = draw(st.lists(st.integers(1, END), unique=True, min_size=1, max_size=7).map(sorted))
    rows: list[Row] = []
    for number, known in enumerate(knowns):
        of = draw(st.sampled_from(["", "", *(row.id for row in rows if row.names)]))
        since = draw(st.none() | minute)
        happened = draw(st.integers(0, known) | st.just(known))
        begins = happened if since is None else since
        until = draw(st.none() | st.integers(begins + 1, END + 1)) if begins <= END else None
        if of and (of in {row.of for row in rows} or draw(st.booleans())):
            if of in {row.of for row in rows}:
                continue  # it is gone already
            rows.append(Row(f"W{number}", known, happened, of=of))
            continue
        recorder = draw(st.sampled_from(["", "desk"]) | who)
        rows.append(Row(f"V{number}", known, happened, draw(who), recorder, draw(codes), since, until, of))
    free = [m for m in range(1, 2 * END) if m not in knowns]
    known_of = next(m for m in free if m >= time)
    known_mended = draw(st.sampled_from([m for m in range(known_of + 1, known_of + END) if m not in knowns]))
    broken = Broken(findings[0], time, mended, draw(st.sampled_from([1, 2])))
    asked = draw(st.lists(st.tuples(st.integers(time, END), st.integers(1, END + 9)), min_size=2, max_size=5))
    asked.append((draw(st.integers(time - 1, END)), END + 9))
    return Drawn(broken, (known_of, known_mended), tuple(rows), tuple(asked))


def expect(approved: Approved | None, wanted: Ruling | None) -> None:
    """Expect that what was approved excuses as the slow reading has it: by whom, whether before the fact, how long."""
    if wanted is None:
        assert approved is None or not approved.excuses, approved
        return
    assert approved is not None
    assert approved.excuses, (approved, wanted)
    assert frozenset(one.event for one in approved.approvals) in wanted.sets
    assert approved.fact == ("before" if wanted.before else "after")
    assert approved.until == wanted.until
    event("excused, before" if wanted.before else "excused, after")


# --- the rules' own code ----------------------------------------------------------------------------------------------


def _held(rows: tuple[Row, ...], people: People, known: int) -> Iterator[Variance]:
    told = [row for row in rows if row.known <= known]
    by = {row.of: row for row in told if row.of}

    def hands(entry: Entry) -> Hands:
        done = entry.event
        approver = people.who(done.by or "")
        mine = frozenset(people.who(name) for name in (done.by, done.recorder) if name)
        may = people.may is None or approver in people.may
        return Hands(mine, approver, people.may is not None, "" if may else "no role")

    for row in told:
        if not row.names:
            continue
        body: dict[str, Any] = {"fingerprints": sorted(row.names)}
        body |= {} if row.since is None else {"start": row.since}
        body |= {} if row.until is None else {"end": row.until}
        done = Event(row.id, "approve", (), row.happened, by=row.by, recorder=row.recorder, body=body)
        gone = by.get(row.id)
        withdrawal = None if gone is None else Withdrawal(gone.id, "", gone.known, "")
        found = variance_of(Entry(done, 1, row.known), hands, withdrawal)
        if isinstance(found, Variance):
            yield found


@settings(max_examples=int(CASES or 1_000))
@given(drawn_cases(), st.sampled_from([AS_WRITTEN, STAFF]))
def test_the_rules_agree_with_the_text(drawn: Drawn, people: People) -> None:
    """At any time, as known at any time, an instance is excused just where the text has it, and as it has it."""
    broken = drawn.broken
    for at, known in drawn.asked:
        if at < broken.time:
            continue
        until = broken.mended if broken.mended is not None and broken.mended <= at else None
        finding = Finding.of(
            (Instance(broken.name, ("V",), ()),),
            rule="R",
            title="",
            severity=1,
            mode="always",
            time=broken.time,
            since=broken.time,
            until=until,
            approvals=broken.needs,
        )
        plain, excused = under_variance([finding], tuple(_held(drawn.rows, people, known)), at=at)
        ((told,),) = (some for some in (plain, excused) if some)
        wanted = ruling(drawn.rows, people, broken, at, known)
        assert bool(excused) == (wanted is not None)
        expect(told.approved, wanted)


@settings(max_examples=int(CASES or 300))
@given(
    st.lists(st.integers(1, END), unique=True, min_size=1, max_size=6),
    st.integers(0, END),
    st.integers(0, END),
    st.integers(0, 3),
)
def test_what_was_broken_anew_agrees_with_the_text(
    blows: list[int], happened: int, late: int, planned: int
) -> None:
    """Broken any number of times, each is told as anew just where an approval was given of none that the text has."""
    body = {"fingerprints": [FINDINGS[0]], "start": 0, **({"planned": planned} if planned else {})}
    done = Event("V", "approve", (), happened, by="ANN", body=body)
    held = variance_of(Entry(done, 1, happened + late))
    assert isinstance(held, Variance)
    fields: dict[str, Any] = {"rule": "R", "title": "", "severity": 1, "mode": "at"}
    instance = (Instance(FINDINGS[0], ("V",), ()),)
    findings = [Finding.of(instance, time=time, since=time, **fields) for time in blows]
    _, excused = under_variance(findings, (held,), at=END)
    assert [one.time for one in excused] == blows
    for one in excused:
        assert one.approved is not None
        anew = is_anew(blows, happened, planned, one.time)
        assert one.approved.anew == (one.time if anew else None)
        event("anew" if anew else "given of this")


# --- the whole tool ---------------------------------------------------------------------------------------------------

PLANT = """
[[part]]
id = "bay"
port = [{ name = "V", kind = "valve" }, { name = "W", kind = "valve" }]
[[place]]
id = "BAY"
part = "bay"
[[place]]
id = "BENCART"
aliases = ["=BEN+1"]
mobile = true
[initial]
at = 2031-05-01T08:00:00Z
by = "survey"
status = { "BAY:V" = "open", "BAY:W" = "open" }
"""
ROLES = """
[[person]]
id = "BEN"
place = "BENCART"
roles = ["record", "correct", "approve", "define", "administer"]
""" + "".join(
    f'[[person]]\nid = "{name}"\nroles = ["record", "correct", "approve"]\n' for name in ("ANN", "CY", "DOT")
)
RULES = """
[approvals]
catastrophic = {needs}
[[rule]]
id = "open"
title = "Every valve is open"
hazard = "it bursts"
severity = 1
source = "none"
mode = "always"
scope = {{ id = "BAY:*" }}
condition = {{ status = "it", is = "open" }}
"""


def _asking(path: Path, minute: int, **more: Any) -> Asking:
    return Asking(str(path), clock=lambda: START + minute * MINUTE, **more)


@pytest.fixture(scope="module")
def loaded(tmp_path_factory: pytest.TempPathFactory) -> dict[tuple[int, bool], tuple[Path, tuple[str, str]]]:
    """A loaded journal for one approval and for two, of a plant with people and without; and what is called how."""
    folder = tmp_path_factory.mktemp("approvals")
    found: dict[tuple[int, bool], tuple[Path, tuple[str, str]]] = {}
    for needs in (1, 2):
        for staffed in (False, True):
            path = folder / f"{needs}-{staffed}.db"
            (folder / "plant.toml").write_text(PLANT + (ROLES if staffed else ""))
            (folder / "rules.toml").write_text(RULES.format(needs=needs))
            writing = _asking(path, 0, by="BEN", recorder="BEN")
            hardware.load(writing, [folder / "plant.toml"])
            rules.load(writing, [folder / "rules.toml"])
            found[needs, staffed] = path, (_code(path, "BAY:V"), _code(path, "BAY:W"))
    return found


def _code(path: Path, valve: str) -> str:
    from cfgtrack.answers.check import check

    (finding,) = check(_asking(path, 0), f"shut {valve}").check.new
    return finding.fingerprints[0]


def _take(path: Path, known: int, **line: Any) -> None:
    """Record one line at a console whose clock says so."""
    said = {name: one for name, one in line.items() if one not in ("", None)}
    said["happened"] = START + line["happened"] * MINUTE
    transfer.take_in(_asking(path, known), io.StringIO(json.dumps(said) + "\n"), form="jsonl")


def _line(row: Row) -> dict[str, Any]:
    if not row.names:
        return {
            "id": row.id, "action": "withdraw", "happened": row.happened, "withdraws": row.of, "reason": "x",
            "by": "BEN", "recorder": "BEN",
        }  # fmt: skip
    body: dict[str, Any] = {"fingerprints": sorted(row.names)}
    body |= {} if row.since is None else {"start": START + row.since * MINUTE}
    body |= {} if row.until is None else {"end": START + row.until * MINUTE}
    return {
        "id": row.id, "action": "approve", "happened": row.happened, "by": row.by, "recorder": row.recorder,
        "body": body, "reason": "x", "supersedes": row.of,
    }  # fmt: skip


@pytest.mark.parametrize("staffed", [False, True], ids=["nobody is named", "people are named"])
@settings(max_examples=int(CASES or 80) // 2)
@given(data=st.data())
def test_the_tool_agrees_with_the_text(
    data: st.DataObject,
    staffed: bool,
    loaded: dict[tuple[int, bool], tuple[Path, tuple[str, str]]],
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    """Recorded in a journal and asked at any time, as known at any time, the tool says what the text says."""
    # Where people are named, the door lets nobody else in: that is tested elsewhere.
    names = ("ANN", "BEN", "BENCART", "=BEN+1", "CY", "DOT") if staffed else NAMES
    codes = loaded[1, staffed][1]
    drawn = data.draw(drawn_cases(names, codes))
    people = STAFF if staffed else AS_WRITTEN
    broken = drawn.broken
    path = tmp_path_factory.mktemp("case") / "plant.db"
    shutil.copyfile(loaded[broken.needs, staffed][0], path)
    known_of, known_mended = drawn.recorded
    rows = tuple(_written_by_staff(row) for row in drawn.rows) if staffed else drawn.rows
    lines: list[tuple[int, dict[str, Any]]] = [(row.known, _line(row)) for row in rows]
    work = {"subjects": ["BAY:V"], "by": "BEN", "recorder": "BEN"}
    lines.append((known_of, {**work, "id": "S", "action": "shut", "happened": broken.time}))
    if broken.mended is not None and known_mended >= broken.mended:
        lines.append((known_mended, {**work, "id": "O", "action": "open", "happened": broken.mended}))
    for known, line in sorted(lines, key=lambda one: one[0]):
        _take(path, known, **line)
    for at, known in drawn.asked:
        found = review.review(_asking(path, 90, at=START + at * MINUTE, known_at=START + known * MINUTE))
        told = [(f, bool(f.variance)) for f in (*found.findings, *found.excused)]
        if known < known_of or at < broken.time:
            assert not told
            continue
        ((one, is_excused),) = told
        is_mended_by_then = broken.mended is not None and broken.mended <= known_mended <= known
        as_known = Broken(
            broken.name, broken.time, broken.mended if is_mended_by_then else None, broken.needs
        )
        wanted = ruling(rows, people, as_known, at, known)
        wanted = wanted and Ruling(
            wanted.sets, wanted.before, None if wanted.until is None else START + wanted.until * MINUTE
        )
        assert is_excused == (wanted is not None)
        expect(one.approved, wanted)


def _written_by_staff(row: Row) -> Row:
    """Return a row as the door lets it in where people are named: written down by one of them, by his id."""
    return replace(row, recorder=STAFF.who(row.by if row.recorder in ("", "desk") else row.recorder))
