"""What comes from outside is believed in nothing: each case passed once, and shouldn't have."""

from __future__ import annotations

import csv
import hashlib
import io
import json
from html import unescape
from typing import Any

import pytest

from tests.cli import world
from tests.cli.conftest import Command

AT = 1_935_568_800_000_000
BAR = {"dimension": "pressure", "shown": 7.1, "unit": "bar", "value": 7.1e5}
APPROVED = {"action": "approve", "subjects": [], "by": "x", "reason": "y"}
SHUT = {"action": "shut", "subjects": ["HALL:V1"]}
READ = {"action": "measure", "subjects": ["PUMP-1"]}


def deep(levels: int) -> dict[str, Any]:
    """Return an object in an object, so many times."""
    found: dict[str, Any] = {}
    for _ in range(levels):
        found = {"a": found}
    return found


ROWS: dict[str, tuple[dict[str, Any], str]] = {
    "a value that is not the number shown": (
        {**READ, "values": {"pressure": {**BAR, "value": 0.0}}},
        "7.1 bar is 710000.0 Pa, found the value 0.0",
    ),
    "a value named as a place": ({**READ, "values": {"@": BAR}}, "there is no quantity @"),
    "a value without a name": ({**READ, "values": {"": BAR}}, "there is no quantity"),
    "a value named as a lock": ({**READ, "values": {"!lock ANN": BAR}}, "there is no quantity !lock ANN"),
    "a value of another dimension": (
        {**READ, "values": {"torque": BAR}},
        "torque is a torque, found a pressure",
    ),
    "a value in no unit": ({**READ, "values": {"pressure": {**BAR, "unit": "wobble"}}}, "no unit is named"),
    "another unit moved": ({**SHUT, "moved": ["PUMP-1"]}, "told to move PUMP-1, and moves nothing"),
    "a place it brings nothing to": ({**SHUT, "place": "STORE"}, "told to bring something to STORE"),
    "a place that isn't there": ({**SHUT, "place": "NOWHERE", "moved": ["NOBODY"]}, "NOWHERE"),
    "another mate": ({"action": "demate", "subjects": ["PUMP-1:F1"], "peer": "HALL:P2"}, "told as HALL:P2"),
    "somebody who was found": ({**SHUT, "found": {"PUMP-2": "HALL"}}, "PUMP-2 is told to be found at HALL"),
    "an end that lies somewhere": ({**SHUT, "ends": {"PUMP-1:F2": "HALL"}}, "told to lie at HALL"),
    "something carried by a valve": (
        {**SHUT, "carried": {"PUMP-2": "HALL"}},
        "carried doesn't follow from shut",
    ),
    "a half that was parted": (
        {**SHUT, "parted": ["PUMP-1:F1"]},
        "PUMP-1:F1 is told to be demated or released by it, and isn't",
    ),
    "places that are no texts": ({**SHUT, "ends": {"PUMP-1:F2": 1}}, "ends: expected an object of texts"),
    "a place of a measurement": ({**READ, "values": {"pressure": BAR}, "place": "STORE"}, "takes no place"),
    "a status of a move": ({**SHUT, "status": "open"}, "shut takes no status"),
    "what a move bars": ({**SHUT, "bars": "open"}, "shut takes no bars"),
    "a defect without a cause": (
        {"action": "defect", "subjects": ["HALL:V1"], "bars": "open"},
        "say what is wrong",
    ),
    "a defect that bars what isn't": (
        {"action": "defect", "subjects": ["HALL:V1"], "bars": "opne", "status": "seized"},
        "takes no opne; near names: open",
    ),
    "a defect that bars another's action": (
        {"action": "defect", "subjects": ["HALL:V1"], "bars": "torque", "status": "seized"},
        "HALL:V1 takes no torque",
    ),
    "a defect in a place": (
        {"action": "defect", "subjects": ["HALL:V1"], "status": "seized", "place": "HALL"},
        "told to bring something to HALL",
    ),
    "a cause of many words": (
        {"action": "defect", "subjects": ["HALL:V1"], "status": "x" * 201},
        "expected at most 200 characters, found 201",
    ),
    "a body of a move": ({**SHUT, "body": {"items": "x"}}, "shut takes no body"),
    "subjects of an outing": (
        {"action": "begin", "subjects": ["HALL:V1"], "outing": "W1"},
        "takes no subjects",
    ),
    "a port measured twice": (
        {"action": "measure", "subjects": ["PUMP-1:F1", "PUMP-1:F1"], "values": {"pressure": BAR}},
        "each unit, port or place once",
    ),
    "an empty text": ({**SHUT, "supersedes": ""}, "supersedes: expected a text, found an empty one"),
    "a measurement of nothing": ({"action": "measure", "values": {"pressure": BAR}}, "none given"),
    "an initial state": (
        {"action": "as-found", "subjects": ["HALL:V1"], "status": "shut", "initial": True},
        "load",
    ),
    "an approval with a number for a name": ({**APPROVED, "body": {"fingerprints": [1]}}, "a list of texts"),
    "an approval that starts at a text": (
        {**APPROVED, "body": {"fingerprints": ["a"], "start": "x"}},
        "a time",
    ),
    "an approval that ends first": (
        {**APPROVED, "body": {"fingerprints": ["a"], "start": 2, "end": 1}},
        "its end must be later",
    ),
    "an approval that says more": (
        {**APPROVED, "body": {"fingerprints": ["a"], "x": 1}},
        "there is no member x",
    ),
    "an acknowledgement with a body": (
        {"action": "acknowledge", "acknowledges": "a", "reason": "x", "body": {"x": 1}},
        "acknowledge takes no body",
    ),
    "a body 900 deep": ({**APPROVED, "body": {"fingerprints": ["a"], "x": deep(900)}}, "at most 32"),
    "a body too deep to be read": ({**APPROVED, "body": {"x": deep(40_000)}}, "at most 32"),
    "a remark of a megabyte": (
        {"action": "remark", "subjects": ["HALL"], "remark": "a" * 1_000_000},
        "at most 20,000 characters, found 1,000,000",
    ),
    "a long name": ({**SHUT, "by": "a" * 201}, "by: expected at most 200 characters"),
    "a NUL in a name": ({**SHUT, "by": "a\0b"}, "by: expected text, found a NUL character"),
    "half a pair in a name": (
        {**SHUT, "outing": "\ud800"},
        "outing: expected text, found half a surrogate pair",
    ),
    "half a pair in a remark": ({**SHUT, "remark": "\udc00"}, "half a surrogate pair"),
}


@pytest.mark.parametrize("case", ROWS)
def test_a_row_that_says_what_it_may_not_is_refused(case: str, cfgtrack: Command) -> None:
    """It is told with its line and what was expected, nothing is written, and every question has its answer."""
    row, says = ROWS[case]
    before = cfgtrack.ok("head")
    answer = cfgtrack("import", "-", stdin=_line({"id": "E1", "happened": AT, **row}))
    assert answer.status in (2, 3), answer.out
    assert says in answer.err
    assert "stdin:1: " in answer.err
    assert len(answer.err) < 2_000
    assert cfgtrack.ok("head") == before
    for question in ("state", "findings", "review", "history"):
        assert cfgtrack(question).status in (0, 3)


def _line(row: dict[str, Any]) -> str:
    # The standard library writes nothing as deep: what lies in one another is written from the inside.
    body = row.get("body")
    if isinstance(body, dict) and isinstance(body.get("x"), dict):
        levels, inner = 0, body["x"]
        while inner:
            levels, inner = levels + 1, inner["a"]
        text = '{"a":' * levels + "{}" + "}" * levels
        return json.dumps({**row, "body": {**body, "x": "DEEP"}}).replace('"DEEP"', text) + "\n"
    return json.dumps(row) + "\n"


def test_what_is_told_as_it_follows_is_taken(cfgtrack: Command) -> None:
    """A row may tell what follows from it, or leave it out: what the journal keeps is what it worked out."""
    told = {"id": "E1", "happened": AT, "action": "demate", "subjects": ["PUMP-1:F1", "HALL:P1"]}
    cfgtrack.ok("import", "-", stdin=_line(told))
    cfgtrack.ok("import", "-", stdin=_line({**SHUT, "id": "E2", "happened": AT, "moved": [], "ends": {}}))
    assert cfgtrack("audit").status == 0


def test_a_value_may_differ_in_its_last_digit(cfgtrack: Command) -> None:
    """What was computed from a fraction comes back, though its decimal isn't the same to the last bit."""
    cfgtrack.ok("measure", "PUMP-1", "length=1/3 in", "--at", "2031-05-01T10:00:00Z", "--id", "L")
    text = cfgtrack.ok("export")
    again = cfgtrack("import", "-", "--json", stdin=text)
    assert (again.status, again.json["recorded"]) == (0, 0)


# --- what goes out ------------------------------------------------------------------------------------------------

NASTY = {
    "an escape": "ok\x1b[1A\x1b[2K\x1b[8mgone",
    "a C1 control": "ok\x9b2Jgone",
    "a bell, a backspace": "ok\a\b\b",
    "a carriage return": "bad\rgood",
    "the other direction": "pin \u202e3 si\u2066x\u2069",
    "no width": "PUMP\u200b-1\ufeff\u2060",
    "a line of its own": "x\u2028y\u0085z",
    "a tag": "x\U000e0041",
}
ACTS = {
    chr(n)
    for n in [*range(32), *range(0x7F, 0xA0), 0x200B, *range(0x2028, 0x202F), *range(0x2060, 0x2070), 0xFEFF]
}
ACTS |= {"\U000e0041"}
ACTS -= set("\n\t")


@pytest.mark.parametrize("case", NASTY)
def test_what_acts_on_a_terminal_is_shown(case: str, cfgtrack: Command) -> None:
    """In tables, findings, errors, JSON, pictures and exports no text moves the cursor or hides; JSON says the same."""
    text = NASTY[case]
    row = {
        "id": "E1",
        "happened": AT,
        "action": "remark",
        "subjects": ["PUMP-1"],
        "remark": text,
        "by": "A" + text,
    }
    cfgtrack.ok("import", "-", stdin=_line(row))
    picture = cfgtrack.folder / "x.dot"
    asked = (
        ("remarks",),
        ("remarks", "PUMP-1"),
        ("history",),
        ("history", "PUMP-1"),
        ("state", "PUMP-1"),
        ("state", text),
        ("check", "--do", f"shut {text}"),
        ("record", text),
        (text,),
        ("state", f"--{text}"),
        ("state", "--at", text),
        ("load", f"/nowhere/{text}"),
        ("history", "--json"),
        ("remarks", "--json"),
        ("export",),
        ("export", "--form", "archive"),
        ("export", "--form", "ocel"),
        ("draw", "--unit", "PUMP-1", "-o", picture),
    )
    for words in asked:
        answer = cfgtrack(*words)
        found = ACTS & {*answer.out, *answer.err}
        assert not found, (words, found)
    assert not ACTS & {*picture.read_text()}
    (told,) = cfgtrack.json_of("remarks", "PUMP-1")["remarks"]
    assert text in json.dumps(told, ensure_ascii=False) or json.dumps(text)[1:-1] in json.dumps(told)
    back = [json.loads(line) for line in cfgtrack.ok("export").splitlines()]
    assert [one["remark"] for one in back if one["id"] == "E1"] == [text]


TITLES = """
[[unit]]
id = "PUMP-3"
part = "pump"
title = "{}"
home = "STORE"
"""


@pytest.mark.parametrize("form", ["svg", "dot", "graphml"])
def test_a_picture_keeps_its_boxes_and_caption(form: str, cfgtrack: Command) -> None:
    """A title with marks empties no box and drops no caption: they are shown."""
    titled = TITLES.format(r"spare\u001b[2J\u0001\u202eknup")
    cfgtrack.ok("load", cfgtrack.file("more.toml", world.PLANT.replace("[initial]", f"{titled}\n[initial]")))
    picture = cfgtrack.folder / f"x.{form}"
    cfgtrack.ok("draw", "-o", picture)
    text = picture.read_text()
    assert not ACTS & {*text}
    assert "PUMP-3" in unescape(text)
    if form != "graphml":
        assert "x1b" in text


FORMULAS = [
    "=1+1",
    "+1+1",
    "-1+1",
    "@SUM(A1)",
    "\t=1+1",
    " =1 ",
    "'quoted'",
    "'=x'",
    "a;=1+1",
    'a;"=1+1',
    "a\n=cmd|' /C calc'!A1",
    "a;'=1",
    "a;''=1;=2",
    "\uff1d1+1",
    "plain, and -5 degC",
    "trailing ",
    "'",
    "''",
]


def test_no_export_leaves_a_live_formula(cfgtrack: Command) -> None:
    """In CSV no cell begins as a formula, wherever a spreadsheet cuts it; taken back, the rows are those exported."""
    rows = [
        _line(
            {
                "id": f"E{n}",
                "happened": AT + n,
                "action": "remark",
                "subjects": ["PUMP-1"],
                "remark": text,
                "recorder": "ada",
            }
        )
        for n, text in enumerate(FORMULAS)
    ]
    cfgtrack.ok("import", "-", stdin="".join(rows))
    text = cfgtrack.ok("export", "--form", "csv")
    cells = [cell for row in csv.reader(io.StringIO(text, newline="")) for cell in row]
    cells += [cell for row in csv.reader(io.StringIO(text, newline=""), delimiter=";") for cell in row]
    assert [cell for cell in cells if cell.lstrip('" \t\r\n')[:1] in set("=+-@\uff1d")] == []
    again = cfgtrack("import", "-", "--form", "csv", "--json", stdin=text)
    assert again.status == 0, again.err
    assert (again.json["recorded"], again.json["repeated"]) == (0, len(FORMULAS))


def test_a_workbook_holds_formulas_as_texts(cfgtrack: Command) -> None:
    """As openpyxl reads it back, a text that begins as a formula is a text, marked to stay one when it is edited."""
    import openpyxl

    row = {"id": "E1", "happened": AT, "action": "remark", "subjects": ["PUMP-1"], "remark": "=1+1"}
    cfgtrack.ok("import", "-", stdin=_line(row))
    book = cfgtrack.folder / "out.xlsx"
    cfgtrack.ok("export", "-o", book)
    sheet = openpyxl.load_workbook(book).active
    assert sheet is not None
    (cell,) = [cell for row in sheet.iter_rows() for cell in row if cell.value == "=1+1"]
    assert (cell.data_type, cell.quotePrefix) == ("s", True)


def test_rejects_leave_no_live_formula(cfgtrack: Command) -> None:
    """A row that is set aside is written so that no cell is one, and says the same when it is fed again."""
    rows = "at,action,subject,remark\n2031-05-03T10:00:00Z,remark,PUMP-9,=1+1\n"
    aside = cfgtrack.folder / "aside.csv"
    cfgtrack("import", "-", "--rejects", aside, stdin=rows)
    assert "'=1+1'" in aside.read_text()
    cfgtrack.ok("import", cfgtrack.file("again.csv", aside.read_text().replace("PUMP-9", "PUMP-1", 1)))
    assert "remark: =1+1" in cfgtrack.ok("remarks", "PUMP-1") or "=1+1" in cfgtrack.ok("remarks", "PUMP-1")


def test_the_database_stays_as_it_was(cfgtrack: Command) -> None:
    """What is refused leaves the file byte for byte."""
    before = hashlib.sha256(cfgtrack.db.read_bytes()).hexdigest()
    cfgtrack("import", "-", stdin=_line({"id": "E1", "happened": AT, **SHUT, "place": "STORE"}))
    assert hashlib.sha256(cfgtrack.db.read_bytes()).hexdigest() == before


def test_a_row_of_an_id_that_nothing_keeps_is_refused(cfgtrack: Command) -> None:
    """Half a surrogate pair as the id of what was so at the beginning: the row is refused, whoever looks it up."""
    row = {"id": "\ud800", "action": "as-found", "subjects": ["PUMP-1:F1"], "initial": True, "happened": 0}
    answer = cfgtrack("import", cfgtrack.file("rows.jsonl", json.dumps(row) + "\n"), "--sure")
    assert answer.status in (2, 3), answer.err
