"""Journal rows, in and out."""

import io
import itertools
import json
from dataclasses import fields

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.files.rows import read_rows, write_csv, write_jsonl, write_rejects
from cfgtrack.model.action import Action
from cfgtrack.model.event import Entry, Event
from cfgtrack.model.quantity import parse_quantity
from cfgtrack.model.time import HOUR, MINUTE
from cfgtrack.model.trouble import Problem
from tests.told import code_of

EIGHT = 1_935_388_800_000_000
"""2031-05-01T08:00:00Z in microseconds, by GNU date."""

SHEET = '''\
at;action;subject;subject2;torque;by;outing;values;remark
2031-05-01T08:00:00Z;begin;;;;;o-1;;
+00:05;let go;PUMP-1:B1;;;INA;o-1;;

09:10;torque;PUMP-1:B1;BAY-1:B1;25 N*m;;o-1;;"said ""fine"""
2031-05-01T12:00:00+02:00;measure;PUMP-1:F1;;;;;pressure="2 bar" flow="3 L/min";
'''


def read(text, plant, where="j.csv", **more):
    """What comes of a text: the events, and `where: code` of what can't be taken."""
    found = list(read_rows(io.StringIO(text), plant, where=where, **more))
    events = [one[1] for one in found if not isinstance(one, Problem)]
    return events, [f"{one.where}: {code_of(one)}" for one in found if isinstance(one, Problem)]


def test_rows_are_read_as_people_write_them(plant):
    """Times count from the outing's start where they have no date; cells with values carry their units."""
    events, told = read(SHEET, plant, defaults={"recorder": "desk", "by": "BEN"})
    assert told == []
    assert [(e.action, e.happened - EIGHT, e.by, e.recorder) for e in events] == [
        ("begin", 0, "BEN", "desk"),
        ("let-go", 5 * MINUTE, "INA", "desk"),
        ("torque", HOUR + 10 * MINUTE, "BEN", "desk"),
        ("measure", 2 * HOUR, "BEN", "desk"),
    ]
    assert events[2].subjects == ("PUMP-1:B1", "BAY-1:B1")
    assert (events[2].remark, str(events[2].values["torque"])) == ('said "fine"', "25 N*m")
    assert {name: str(q) for name, q in events[3].values.items()} == {"pressure": "2 bar", "flow": "3 L/min"}


def test_every_row_has_its_place(plant):
    """Rows are named by file and row as a spreadsheet counts them, blank ones included."""
    found = read_rows(io.StringIO(SHEET), plant, where="j.csv")
    assert [one[0] for one in found if not isinstance(one, Problem)] == [
        f"j.csv row {number}" for number in (2, 3, 5, 6)
    ]


def test_the_same_row_has_the_same_id_whoever_feeds_it(plant):
    """A row without an id gets one from what it says: the same again at another desk, another for another row."""
    once, again = (read(SHEET, plant, defaults={"recorder": who})[0] for who in ("a", "b"))
    assert [e.id for e in once] == [e.id for e in again]
    assert len({e.id for e in once}) == len(once)


def test_a_line_may_give_its_fields_as_json(plant):
    """A JSON line has the same fields as a row; subjects may be a list and values an object."""
    line = {
        "id": "e-1",
        "at": "+01:00",
        "action": "torque",
        "subjects": ["PUMP-1:B1", "BAY-1:B1"],
        "values": {"torque": "25 N*m"},
        "outing": "o-1",
    }
    events, told = read("\n" + json.dumps(line), plant, "-", outing_starts={"o-1": EIGHT})
    assert told == []
    assert (events[0].id, events[0].happened, str(events[0].values["torque"])) == (
        "e-1",
        EIGHT + HOUR,
        "25 N*m",
    )


AT = "2031-05-01T08:00:00Z"
BAD_ROWS = [
    ("", ["j.csv: empty"]),
    ("at,action,subjekt\n", ["j.csv row 1: unknown-column"]),
    ("one,two\n1,2\n", ["j.csv row 1: no-header"]),
    ("# a plant\ntitle = 'x'\n\n[[part]]\nid = 'p'\n", ["j.csv row 1: wrong-kind"]),
    ("\n[[unit]]\nid = 'p'\n", ["j.csv row 2: wrong-kind"]),
    ("title = 'x'\n", ["j.csv row 1: wrong-kind"]),
    ("<html><body>\n", ["j.csv row 1: wrong-kind"]),
    ('{"at": "x"}\n', ["j.csv row 1: wrong-kind"]),
    ("action,subject\n", ["j.csv row 1: missing-column"]),
    (f"at,action,subject\n{AT},inspect\n", ["j.csv row 2: short-row"]),
    (f"at,action,subject\n{AT},inspect,PUMP-1,x\n", ["j.csv row 2: long-row"]),
    (f'at,action,subject\n{AT},inspect,"PUMP', ["j.csv row 2: syntax"]),
    ("at,action,subject\n08:00,inspect,PUMP-1\n", ["j.csv row 2, column at: bad-time"]),
    ("at,action,subject\n2031-05-01T08:00:00,inspect,PUMP-1\n", ["j.csv row 2, column at: bad-time"]),
    ("at,action,subject\n,inspect,PUMP-1\n", ["j.csv row 2: missing"]),
    (
        f"at,action,subject\n\n{AT},inspct,PUMP-1\n{AT},inspect,PUMP-9\n",
        ["j.csv row 3, column action: unknown-action", "j.csv row 4, column subject: unknown-unit"],
    ),
    (f"at,action,subject,torque\n{AT},inspect,PUMP-1,25\n", ["j.csv row 2, column torque: bad-quantity"]),
    (f"at,action,subject,cycles\n{AT},measure,PUMP-1:F1,28\n", ["j.csv row 2, column cycles: counted"]),
    (f"at,action,subject,values\n{AT},inspect,PUMP-1,2 bar\n", ["j.csv row 2, column values: syntax"] * 2),
    (f"at,action,subject,basis\n{AT},inspect,PUMP-1,seen\n", ["j.csv row 2, column basis: unknown-basis"]),
    (f"at,action,subject,outing\n{AT},begin,PUMP-1,o-1\n", ["j.csv row 2, column subject: subjects"]),
    (f"at,action,subject,values\n{AT},inspect,PUMP-1,torque='2\n", ["j.csv row 2, column values: syntax"]),
    (f"at,action,subject,reason\n{AT},acknowledge,,x\n", ["j.csv row 2: missing"]),
    (f"at,action,subject\n{AT},define,\n", ["j.csv row 2, column action: unexpected"]),
]


@pytest.mark.parametrize(("text", "wanted"), BAD_ROWS)
def test_rows_that_cannot_be_taken_are_told(plant, text, wanted):
    """Every row that is wrong is told with its number and column."""
    assert read(text, plant) == ([], wanted)


def test_good_rows_are_taken_beside_bad_ones(plant):
    """A bad row stops neither those before nor those behind it."""
    text = f"at,action,subject\n{AT},inspect,PUMP-1\n{AT},inspct,PUMP-1\n{AT},inspect,PUMP-2\n"
    events, told = read(text, plant)
    assert [e.subjects for e in events] == [("PUMP-1",), ("PUMP-2",)]
    assert told == ["j.csv row 3, column action: unknown-action"]


BAD_LINES = [
    ('{"at"', "syntax"),
    ("{", "wrong-kind"),
    ("<a>", "wrong-kind"),
    ("title = 1", "wrong-kind"),
    ("[1]", "wrong-type"),
    ('{"a": NaN}', "syntax"),
    (f'{{"at": "{AT}", "at": "{AT}"}}', "syntax"),
    (f'{{"at": "{AT}", "action": "inspect", "subject": 4}}', "wrong-type subjects"),
    (f'{{"at": "{AT}", "action": "inspect", "subject": "PUMP-1", "outting": "o"}}', "unknown-field"),
    (f'{{"at": "{AT}", "action": "inspect", "subject": "PUMP-1", "values": {{"torque": 3}}}}', "wrong-type"),
    ('{"happened": 1.5}', "wrong-type missing missing"),
    ('{"happened": 1, "id": "e", "action": "mate", "subjects": "A:F1"}', "wrong-type"),
    ('{"happened": 1, "id": "e", "action": "mate", "subjects": [1]}', "wrong-type"),
    ('{"happened": 1, "id": "e", "action": "mate", "colour": "red"}', "unknown-field"),
    ('{"happened": 1, "id": "e", "action": "mate", "values": {"torque": 3}}', "bad-quantity"),
    ('{"happened": true, "id": "e", "action": "mate"}', "wrong-type"),
]


@pytest.mark.parametrize(("line", "codes"), BAD_LINES)
def test_lines_that_cannot_be_taken_are_told(plant, line, codes):
    """Every line that is no event is told with its number, and what it would have lost is named."""
    assert read(f"\n{line}\n", plant, "j.jsonl") == ([], [f"j.jsonl:2: {code}" for code in codes.split()])


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("# a plant\n[[part]]\nid = 'p'\n", "found what looks like TOML"),
        ("one,two\n", "columns such as at, action, number, known, id, subject, found none of them"),
    ],
)
def test_a_file_of_the_wrong_kind_is_told_in_one_sentence(plant, text, says):
    """What has no column that is known is no journal: one sentence says what was expected and what it looks like."""
    (told,) = read_rows(io.StringIO(text), plant, where="plant.toml")
    assert isinstance(told, Problem)
    assert told.sentence.endswith(says)


def test_a_stream_of_the_wrong_kind_is_kept_whole(plant):
    """Of a file that isn't JSON Lines at all nothing is lost among the rejected."""
    text = '{\n  "at": 1\n}\n'
    (told,) = read_rows(io.StringIO(text), plant, where="j.jsonl")
    assert isinstance(told, Problem)
    out = io.StringIO()
    write_rejects(io.StringIO(text), out, where="j.jsonl", reasons={told.where: [told]})
    assert out.getvalue() == text


def test_bytes_that_are_no_text_end_the_stream(plant):
    """A byte that is not UTF-8 is told with its row; nothing behind it is taken."""
    raw = f"at,action,subject\n{AT},inspect,PUMP-1\n".encode() + b"\xff\n" + b"x" * 9000
    lines = list(raw.splitlines(keepends=True))
    decoded = (line.decode() for line in lines)
    found = list(read_rows(decoded, plant, where="j.csv"))
    assert [one.code if isinstance(one, Problem) else one[0] for one in found] == ["j.csv row 2", "not-text"]


def test_rows_are_read_one_by_one(plant):
    """An endless stream is read as far as it is asked for: nothing is kept."""
    endless = itertools.chain(
        ["at,action,subject\n"],
        (f"2031-05-01T08:00:00.{i % 10**6:06d}Z,inspect,PUMP-1\n" for i in itertools.count()),
    )
    rows = read_rows(endless, plant, where="-")
    assert [one[0] for one in itertools.islice(rows, 3) if not isinstance(one, Problem)] == [
        "- row 2",
        "- row 3",
        "- row 4",
    ]


def rejected(text, plant, where="j.csv"):
    """What is written of the rows of a text that can't be taken."""
    reasons: dict[str, list[Problem]] = {}
    for one in read_rows(io.StringIO(text), plant, where=where):
        if isinstance(one, Problem):
            reasons.setdefault(one.where.partition(", column ")[0], []).append(one)
    out = io.StringIO()
    write_rejects(io.StringIO(text), out, where=where, reasons=reasons)
    return out.getvalue()


MIXED = f"""\
at;action;subject;why
{AT};inspect;PUMP-1;
{AT};inspct;PUMP-1;as before

{AT};inspect;"PUMP-9"
{AT};inspect;PUMP-2;
{AT};inspect;PUMP-9;;x
"""


def test_rejected_rows_can_be_mended_and_fed_again(plant):
    """Rejected rows come under their header with the reasons; mended, they are taken, reasons and all."""
    out = rejected(MIXED, plant)
    assert out.splitlines() == [
        "at;action;subject;why",
        f'{AT};inspct;PUMP-1;"there is no action inspct; near names: inspect"',
        f"{AT};inspect;PUMP-9",
        f"{AT};inspect;PUMP-9;x;expected 4 cells, found 5: what holds the sign between cells needs quotes",
    ]
    events, told = read(out.replace("inspct;P", "inspect;P"), plant)
    assert ([e.subjects for e in events], len(told)) == ([("PUMP-1",)], 2)


def test_rejected_lines_carry_their_reasons(plant):
    """Rejected JSON lines get a field with the reasons; a line that is no object is written as it is."""
    line = {"at": AT, "action": "inspct", "subject": "PUMP-1", "why": "old"}
    good = {**line, "action": "inspect"}
    text = "\n".join(json.dumps(one) for one in (good, line)) + "\n{\n"
    first, second = rejected(text, plant, "j.jsonl").splitlines()
    assert json.loads(first) == {**line, "why": "there is no action inspct; near names: inspect"}
    assert second == "{"


def test_what_is_not_told_apart_into_rows_is_kept_whole(plant):
    """Behind a quote that is never closed, and under a bad header, everything is kept as it stands."""
    open_quote = f'at,action,subject\n{AT},inspect,PUMP-1\n{AT},inspect,"PUMP-1\n{AT},inspect,PUMP-2\n'
    assert rejected(open_quote, plant) == "at,action,subject,why\r\n" + open_quote.split("\n", 2)[2]
    bad_header = f"\nat,action,subjekt\n{AT},inspect,PUMP-1\n"
    assert rejected(bad_header, plant) == bad_header


TEXT = st.none() | st.text(st.characters(exclude_categories=["Cs", "Cc"]), min_size=1, max_size=8).map(
    str.strip
).filter(bool)
INSTANTS = st.integers(0, 4 * 10**15)
VALUES = st.dictionaries(
    st.just("torque"),
    st.integers(-(10**9), 10**9).map(
        lambda number: parse_quantity(f"{number / 1000} ft lbf", dimension="torque")
    ),
)
SAID = {"by": TEXT, "recorder": TEXT, "outing": TEXT, "remark": TEXT, "reason": TEXT, "supersedes": TEXT}
IDS = st.text("abc-1", min_size=1)
PEOPLE = st.one_of(
    st.builds(Event, IDS, st.just("inspect"), st.just(("PUMP-1",)), INSTANTS, values=VALUES, **SAID),
    st.builds(Event, IDS, st.just("mate"), st.just(("PUMP-1:F1", "BAY-1:F1")), INSTANTS, **SAID),
    st.builds(Event, IDS, st.just("place"), st.just(("PUMP-1",)), INSTANTS, place=st.just("BAY-1"), **SAID),
    st.builds(
        Event, IDS, st.just("as-found"), st.just(("PUMP-1:F2",)), INSTANTS, status=st.just("capped"), **SAID
    ),
)
ANY = PEOPLE | st.builds(
    Event,
    IDS,
    IDS,
    st.lists(IDS, max_size=2).map(tuple),
    INSTANTS,
    peer=TEXT,
    moved=st.lists(IDS, max_size=2).map(tuple),
    expected=TEXT,
    initial=st.booleans(),
    basis=st.sampled_from(["reported", "measured"]),
    body=st.none() | st.dictionaries(IDS, st.integers() | IDS | st.lists(st.booleans())),
    **SAID,
)


def entries(events):
    """Events as a journal would hold them."""
    return [Entry(event, number, event.happened + number) for number, event in enumerate(events, 1)]


@given(st.lists(ANY, max_size=5))
def test_json_lines_bring_back_every_event_as_it_was(plant, events):
    """What the journal writes as JSON Lines it reads again, every field, whatever it says."""
    stream = io.StringIO()
    write_jsonl(entries(events), stream)
    assert read(stream.getvalue(), plant, "j.jsonl") == (events, [])


@given(st.lists(PEOPLE, min_size=1, max_size=5))
def test_csv_brings_back_what_people_said(plant, events):
    """What people said comes back from CSV: cells with commas, quotes and units included."""
    stream = io.StringIO()
    write_csv(entries(events), stream)
    said = [Action(*(getattr(event, field.name) for field in fields(Action))) for event in events]
    assert read(stream.getvalue(), plant, "j.csv") == (said, [])


ROWS = st.lists(
    st.lists(st.sampled_from(["", AT, "inspect", "inspct", "PUMP-1", "PUMP-9", '"', '"a', "x"]), max_size=5),
    max_size=6,
)


@given(
    ROWS, st.sampled_from(["at,action,subject", "at;action;subject;why", "at,action,subject,remark,basis"])
)
def test_rejected_rows_that_are_not_mended_are_rejected_again(plant, rows, header):
    """Nothing that was rejected passes when it is fed again as it was written out."""
    text = "\n".join([header, *((";" if ";" in header else ",").join(cells) for cells in rows)])
    assert read(rejected(text, plant), plant)[0] == []


@given(st.text('{}[]",;:\n at1\\', max_size=60), st.sampled_from(["j.csv", "j.jsonl", "-"]))
def test_any_stream_is_read_or_told(plant, text, where):
    """Whatever the stream, what comes of it is events and problems."""
    header = "at,action,subject\n" if where == "j.csv" else ""
    _, told = read(header + text, plant, where)
    assert all(one.startswith(where) for one in told)


def test_half_a_surrogate_pair_is_set_aside_as_it_came():
    """A text that no file can hold is written among the rejects escaped as it came, and reads back as the same."""
    line = '{"id":"E1","action":"inspect","subjects":["PUMP-1"],"happened":1,"remark":"\\ud800"}'
    out = io.StringIO()
    why = {"in.jsonl:1": [Problem("in.jsonl:1", "not-json", "half a pair")]}
    write_rejects([line], out, where="in.jsonl", reasons=why)
    out.getvalue().encode()
    assert {**json.loads(line), "why": "half a pair"} == json.loads(out.getvalue())
