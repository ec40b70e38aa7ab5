"""Slips of a tired hand: each gets an answer, and none destroys anything."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli import world
from tests.cli.conftest import Command

AT = ("--at", "2031-05-01T09:30:00Z")

COUPLER = """
[[kind]]
id = "coupler"
title = "Coupler of a wagon"
medium = "hold"
statuses = ["apart", "coupled"]
joined = "coupled"
carries = "coupled"
[[kind.move]]
action = "couple"
from = ["apart"]
to = "coupled"
[[kind.move]]
action = "uncouple"
from = ["coupled"]
to = "apart"
[[part]]
id = "wagon"
port = [{ name = "FRONT", kind = "coupler" }, { name = "REAR", kind = "coupler" }]
[[unit]]
id = "WAGON-1"
part = "wagon"
[[unit]]
id = "WAGON-2"
part = "wagon"
[[place]]
id = "SIDING"
[initial]
at = 2031-05-01T08:00:00Z
place = { WAGON-1 = "SIDING", WAGON-2 = "SIDING" }
"""


# --- nothing is written over --------------------------------------------------------------------------------------

OUTPUTS = {
    "export": ("export", "--form", "jsonl", "-o"),
    "export as CSV": ("export", "--form", "csv", "-o"),
    "archive": ("export", "--form", "archive", "-o"),
    "draw": ("draw", "--form", "svg", "-o"),
    "rejects": ("import", "rows.csv", "--rejects"),
    "backup": ("backup",),
}
ROWS = "at,action,subject\n2031-05-01T09:10:00Z,inspect,PUMP-1\n2031-05-01T09:11:00Z,inspect,PUMP-9\n"


def contents(folder: Path) -> dict[str, bytes]:
    """Return every file of a folder, with what is in it."""
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


@pytest.mark.parametrize("output", OUTPUTS)
@pytest.mark.parametrize("name", ["plant.db", "plant.db-wal", "link.svg", "hard.svg"])
def test_no_output_onto_the_database(
    output: str, name: str, cfgtrack: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An output that is the database, by any name, or that belongs to it, is refused, and nothing is changed."""
    cfgtrack.file("rows.csv", ROWS)
    (cfgtrack.folder / "link.svg").symlink_to(cfgtrack.db)
    os.link(cfgtrack.db, cfgtrack.folder / "hard.svg")
    monkeypatch.chdir(cfgtrack.folder)
    before = contents(cfgtrack.folder)
    answer = cfgtrack(*OUTPUTS[output], name)
    exists = output == "backup" and (cfgtrack.folder / name).exists()
    assert (answer.status, answer.out) == (4 if exists else 2, "")
    assert re.match(f"{name}: {'exists' if exists else 'spared'}: ", answer.err)
    after = contents(cfgtrack.folder)
    assert {n: after[n] for n in before if not n.startswith("plant.db-")} == {
        n: before[n] for n in before if not n.startswith("plant.db-")
    }
    assert set(after) - set(before) <= {"plant.db-wal", "plant.db-shm"}


@pytest.mark.parametrize("source", ["rows.csv", "-"])
@pytest.mark.parametrize("name", ["rows.csv", "link.csv", "hard.csv"])
def test_no_rejects_onto_the_rows(source: str, name: str, cfgtrack: Command) -> None:
    """Rejects onto the rows that are read are refused before anything is recorded, from standard input too."""
    rows = cfgtrack.file("rows.csv", ROWS)
    (cfgtrack.folder / "link.csv").symlink_to(rows)
    os.link(rows, cfgtrack.folder / "hard.csv")
    events = cfgtrack.ok("head").split()[0]
    command = [
        sys.executable,
        "-m",
        "cfgtrack",
        "--db",
        str(cfgtrack.db),
        "import",
        source,
        "--rejects",
        name,
    ]
    with rows.open() as stdin:
        done = subprocess.run(
            command,
            cwd=cfgtrack.folder,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
            stdin=stdin,
            capture_output=True,
            text=True,
            check=False,
        )
    assert done.returncode == 2, done.stderr
    assert done.stderr == f"{name}: spared: this is the file that is read: name another file\n"
    assert rows.read_text() == ROWS
    assert cfgtrack.ok("head").split()[0] == events


@pytest.mark.parametrize("output", [o for o in OUTPUTS if o not in ("backup", "rejects")])
@pytest.mark.parametrize("name", ["plant.toml", "notes.md", "as-run.csv"])
def test_no_output_onto_somebodys_own_file(
    output: str, name: str, cfgtrack: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A definition, notes, the rows that were imported last week: what is no earlier output of the kind stays."""
    cfgtrack.file("rows.csv", ROWS)
    cfgtrack.file("notes.md", "# Notes")
    cfgtrack.file("as-run.csv", ROWS)
    monkeypatch.chdir(cfgtrack.folder)
    before = (cfgtrack.folder / name).read_bytes()
    events = cfgtrack.ok("head")
    answer = cfgtrack(*OUTPUTS[output], name)
    assert (answer.status, answer.out) == (2, "")
    assert answer.err.startswith(f"{name}: spared: this is another file than an earlier one of these")
    assert (cfgtrack.folder / name).read_bytes() == before
    assert cfgtrack.ok("head") == events


@pytest.mark.parametrize("first", ["csv", "jsonl", "archive", "ocel"])
@pytest.mark.parametrize("second", ["csv", "archive"])
def test_an_earlier_export_is_replaced(first: str, second: str, cfgtrack: Command) -> None:
    """An export replaces an earlier one, whatever its form."""
    cfgtrack.ok("inspect", "PUMP-1", *AT)
    out = cfgtrack.folder / "out"
    for form in (first, second):
        cfgtrack.ok("export", "--form", form, "-o", out)
    assert out.read_text() == cfgtrack.ok("export", "--form", second).replace("\r\n", "\n")


@pytest.mark.parametrize("form", ["svg", "png", "pdf", "dot"])
def test_an_earlier_picture_is_replaced(form: str, cfgtrack: Command) -> None:
    """A picture replaces an earlier one, of anything."""
    out = cfgtrack.folder / f"out.{form}"
    cfgtrack.ok("draw", "--loop", "A", "-o", out)
    before = out.read_bytes()
    cfgtrack.ok("draw", "--places", "-o", out)
    assert out.read_bytes() != before


def test_rejects_only_when_there_are_some(cfgtrack: Command) -> None:
    """Where every row is taken, an older file of rejects is left as it is; else it is replaced."""
    older = "at,action,subject,why\nolder\n"
    rejects = cfgtrack.file("rejects.csv", older)
    good = cfgtrack.file("good.csv", ROWS.rsplit("\n", 2)[0] + "\n")
    cfgtrack.ok("import", good, "--rejects", rejects)
    assert rejects.read_text() == older
    assert cfgtrack("import", cfgtrack.file("rows.csv", ROWS), "--rejects", rejects).status == 3
    assert "PUMP-9" in rejects.read_text()
    assert cfgtrack("import", cfgtrack.file("rows.csv", ROWS), "--rejects", rejects).status == 3


def test_rejects_into_a_pipe(cfgtrack: Command) -> None:
    """A pipe (or /dev/null) that takes the rejects is still there afterwards, whether there were some or not."""
    pipe = cfgtrack.folder / "pipe"
    os.mkfifo(pipe)
    read = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    cfgtrack.ok("import", cfgtrack.file("good.csv", ROWS.rsplit("\n", 2)[0] + "\n"), "--rejects", pipe)
    assert pipe.is_fifo()
    assert cfgtrack("import", cfgtrack.file("rows.csv", ROWS), "--rejects", pipe).status == 3
    assert b"PUMP-9" in os.read(read, 1000)
    os.close(read)
    assert pipe.is_fifo()


@pytest.mark.parametrize("form", ["csv", "jsonl", "archive", "ocel"])
def test_an_export_that_fails_leaves_the_old_one(
    form: str, cfgtrack: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Cut off in the middle, an export leaves what stood there before, and no part of itself."""
    old = cfgtrack.file("old.txt", "number,known,id,at,action,\nprecious\n")
    text = old.read_text()
    names = set(contents(cfgtrack.folder))

    def interrupted(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("cfgtrack.answers.transfer._export", interrupted)
    answer = cfgtrack("export", "--form", form, "-o", old)
    assert answer.status == 1
    assert old.read_text() == text
    assert set(contents(cfgtrack.folder)) - names <= {"plant.db-wal", "plant.db-shm"}


# --- no room --------------------------------------------------------------------------------------------------------

FULL = Path("/dev/full")
needs_full = pytest.mark.skipif(not FULL.exists(), reason="no /dev/full here")


@needs_full
@pytest.mark.parametrize(
    "words",
    [
        ("--help",),
        ("state", *AT),
        ("export",),
        ("draw", "--form", "svg", *AT),
        ("rules", "starter"),
        ("remark", "PUMP-1", "hums", *AT),
    ],
    ids=lambda words: words[0],
)
def test_no_room_for_the_answer(words: tuple[str, ...], cfgtrack: Command) -> None:
    """Where standard output has no room, that is told, and the status is not one that answers something."""
    with FULL.open("w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "cfgtrack", "--db", str(cfgtrack.db), *words],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
    said = [line for line in done.stderr.splitlines() if not line.startswith("clock: ")]
    assert (done.returncode, len(said)) == (4, 1), done.stderr
    assert said[0].startswith("output: disk-full: ")


@needs_full
@pytest.mark.parametrize(
    "words", [("export", "--form", "csv"), ("draw", "--form", "svg")], ids=lambda w: w[0]
)
def test_no_room_for_a_file(words: tuple[str, ...], cfgtrack: Command) -> None:
    """Where a file has no room, its name is told."""
    answer = cfgtrack(*words, "-o", FULL)
    assert (answer.status, answer.err.partition(": there")[0]) == (4, "/dev/full: disk-full")


# --- actions of a plant's own ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("where", ["before", "after", "joined", "environment"])
def test_own_actions_are_commands(where: str, empty: Command) -> None:
    """An action of the plant's own kinds is a command like the shipped ones, wherever the database is named."""
    db = empty.folder / "siding.db"
    empty.ok("--db", db, "load", empty.file("siding.toml", COUPLER))
    words = ["couple", "WAGON-1:REAR", "WAGON-2:FRONT", *AT]
    if where == "before":
        words = ["--db", str(db), *words]
    elif where == "after":
        words = [*words, "--db", str(db)]
    elif where == "joined":
        words = [*words, f"--db={db}"]
    else:
        empty.db = db
    assert "couple WAGON-1:REAR WAGON-2:FRONT" in empty.ok(*words)
    empty.db = db
    assert empty.json_of("state", "WAGON-1:REAR")["state"]["ports"][0]["status"] == "coupled"
    assert "couple" in empty.ok("couple", "--help")


def test_own_actions_mistyped(empty: Command) -> None:
    """A mistyped action of the plant's own gets its near name; where the plant has none, it is no command."""
    empty.ok("load", empty.file("siding.toml", COUPLER))
    answer = empty("coupel", "WAGON-1:REAR")
    assert answer.status == 2
    assert "'couple'" in answer.err
    assert empty("--db", empty.folder / "nowhere.db", "couple", "WAGON-1:REAR").status == 2


def test_a_remark_may_speak_of_options(cfgtrack: Command) -> None:
    """What looks like an option inside a text is no option: it is recorded where the command says."""
    cfgtrack.ok("remark", "PUMP-1", *AT, "--", "--db", "elsewhere.db")
    assert not (cfgtrack.folder / "elsewhere.db").exists()
    assert "--db" in cfgtrack.ok("remarks", "PUMP-1")


# --- a thing inside a thing -------------------------------------------------------------------------------------------


def test_can_of_a_node(cfgtrack: Command) -> None:
    """What may be done to a volume inside a unit is what may be done to the ports and gates that lead to it."""
    of_node = cfgtrack.json_of("can", "PUMP-1:VOL")["can"]
    of_port = cfgtrack.json_of("can", "PUMP-1:F1")["can"]
    assert of_node
    assert [c["action"] for c in of_node] == [c["action"] for c in of_port]
    assert [c["action"] for c in cfgtrack.json_of("can", "HALL:BUS")["can"]] == [
        c["action"] for name in ("J1", "K1") for c in cfgtrack.json_of("can", f"HALL:{name}")["can"]
    ]


@pytest.mark.parametrize("words", [("can", "pump"), ("draw", "--unit", "pump", "-o", "x.svg")])
def test_a_part_is_no_thing(words: tuple[str, ...], cfgtrack: Command) -> None:
    """What is asked of a part, and only its units can have, names the units."""
    answer = cfgtrack(*words)
    assert answer.status == 4
    assert "PUMP-1, PUMP-2" in answer.err


# --- numbers and times ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seconds", ["nan", "inf", "-1", "soon", "1e300"])
def test_no_such_wait(seconds: str, cfgtrack: Command) -> None:
    """A wait that is no number of seconds within a day is bad usage."""
    answer = cfgtrack("--wait", seconds, "inspect", "PUMP-1", *AT)
    assert answer.status == 2
    assert "--wait" in answer.err


@pytest.mark.parametrize("url", ["postgresql://localhost:abc/x", "postgresql://[::1/x", "sqlite://host:x/y"])
def test_no_such_address(url: str, empty: Command) -> None:
    """An address with something else than a number for its port is no database."""
    answer = empty("--db", url, "state")
    assert answer.status == 4
    assert "no-database" in answer.err


def test_a_database_is_no_head(cfgtrack: Command) -> None:
    """A database given as the head that was kept is told for what it is; so are other bytes, and a long text."""
    answer = cfgtrack("audit", "--kept", cfgtrack.db)
    assert (answer.status, "a SQLite database" in answer.err) == (2, True)
    junk = cfgtrack.folder / "junk"
    junk.write_bytes(b"\xff\x00" * 5_000)
    assert cfgtrack("audit", "--kept", junk).status == 2
    assert cfgtrack("audit", "--kept", cfgtrack.file("empty", "")).status == 2
    kept = cfgtrack.file("head.txt", cfgtrack.ok("head"))
    assert cfgtrack("audit", "--kept", kept).status == 0


@pytest.mark.parametrize("number", ["1e999", "-1e999", "NaN", "1" * 5000, "[" * 100_000, '"x"', "null", "{}"])
def test_no_number_of_a_proof(number: str, cfgtrack: Command) -> None:
    """A proof with something else for a number is no proof."""
    proof = cfgtrack.ok("prove", "define:1")
    text = re.sub(r'"known": \d+', f'"known": {number}', proof, count=1)
    assert text != proof
    answer = cfgtrack("verify", cfgtrack.file("proof.json", text))
    assert answer.status == 2
    assert answer.out == ""


@pytest.mark.parametrize("value", ["power=3 dB", "power=3 dBm", "level=3 Np", "current=2 octave"])
def test_no_logarithms(value: str, cfgtrack: Command) -> None:
    """A value in decibels is told to be the logarithm of a ratio."""
    answer = cfgtrack("measure", "PUMP-1:VOL", value, *AT)
    assert answer.status == 2
    assert "the logarithm of a ratio" in answer.err


def test_nanoseconds(cfgtrack: Command) -> None:
    """A time with digits past the microsecond is refused in every form: none is dropped in silence."""
    nano = "2031-05-01T09:30:00.123456789Z"
    lines = [
        f'{{"id": "E1", "action": "inspect", "subjects": ["PUMP-1"], "happened": {1935480600123456789}}}',
        f'{{"at": "{nano}", "action": "inspect", "subject": "PUMP-1"}}',
    ]
    answers = [
        cfgtrack("inspect", "PUMP-1", "--at", nano),
        *(cfgtrack("import", cfgtrack.file(f"{n}.jsonl", line)) for n, line in enumerate(lines)),
        cfgtrack("import", cfgtrack.file("rows.csv", f"at,action,subject\n{nano},inspect,PUMP-1\n")),
        cfgtrack("check", cfgtrack.file("ns.toml", world.GOOD.replace("08:00:00Z", "08:00:00.123456789Z"))),
        cfgtrack("load", cfgtrack.file("p.toml", world.PLANT.replace("08:00:00Z", "08:00:00.123456789Z"))),
    ]
    for answer in answers:
        assert answer.status in (2, 3), answer.out
        assert re.search("past the microsecond|are they nanoseconds", answer.err), answer.err
    assert "inspect" not in cfgtrack.ok("history")


@pytest.mark.parametrize("takes", ["600000 week", "5300 week", "99999999999 h"])
def test_no_such_duration(takes: str, cfgtrack: Command) -> None:
    """A step, a budget, a limit of more than a hundred years is a slip, told at its line."""
    for old, new in (('takes = "1 min"', f'takes = "{takes}"'), ('budget = "1 h"', f'budget = "{takes}"')):
        answer = cfgtrack("check", cfgtrack.file("long.toml", world.GOOD.replace(old, new)))
        assert answer.status == 2
        assert re.match(r".*long\.toml:\d+: bad-duration: .*more than a hundred years", answer.err)
    rules = world.RULES.replace('within = "1 h"', f'within = "{takes}"')
    assert cfgtrack("rules", "load", cfgtrack.file("rules2.toml", rules)).status == 2


def test_steps_of_more_than_a_hundred_years_together(cfgtrack: Command) -> None:
    """Steps that each pass, and together take longer than anybody plans for, are told at the one too many."""
    long = cfgtrack.file("long.toml", world.GOOD.replace('takes = "1 min"', 'takes = "2000 week"'))
    answer = cfgtrack("check", long)
    assert answer.status == 2
    assert "step 3, takes: with this step the sequence takes more than a hundred years" in answer.err


def test_a_time_too_far_ahead(cfgtrack: Command) -> None:
    """A question about a time whose deadlines couldn't be written is refused, not a crash."""
    answer = cfgtrack("check", "--do", "de-energise HALL:K1", "--at", "9999-12-31T23:59:59Z")
    assert answer.status == 2
    assert "too far from 1970" in answer.err
    latest = cfgtrack("check", "--do", "de-energise HALL:K1", "--at", "2254-12-31T23:59:59Z")
    assert latest.status in (0, 3)


def test_a_backup_that_the_disk_refuses(cfgtrack: Command) -> None:
    """A backup that the disk refuses names the copy, not the journal, and leaves nothing behind."""
    program = (
        "import resource, sys; resource.setrlimit(resource.RLIMIT_FSIZE, (40_000, 40_000));"
        "from cfgtrack.cli.main import main; main(sys.argv[1:], prog_name='cfgtrack')"
    )
    copy = cfgtrack.folder / "copy.db"
    cfgtrack.ok("state")
    names = set(contents(cfgtrack.folder))
    command = [sys.executable, "-c", program, "--db", str(cfgtrack.db), "backup", str(copy)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (4, f"{copy}: disk: the disk refused to write the copy\n")
    assert set(contents(cfgtrack.folder)) <= names | {"plant.db-wal", "plant.db-shm"}


@pytest.mark.parametrize("words", [["state", "\udcff"], ["remark", "PUMP-1", "caf\udce9"], ["\udcff"]])
def test_words_that_are_no_text(words: list[str], cfgtrack: Command) -> None:
    """Bytes that are no UTF-8 are bad usage, wherever they stand: they could be neither kept nor printed."""
    answer = cfgtrack(*words)
    assert (answer.status, answer.out) == (2, "")
    assert answer.err.startswith("command line: not-text: expected UTF-8 text, found '")
    typed = [sys.executable.encode(), b"-m", b"cfgtrack", *(os.fsencode(word) for word in words)]
    done = subprocess.run(typed, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (2, answer.err)


# --- what a tired hand types ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("words", [("on",), ("is", "on"), ("status=on",), ("off",), ("is", "off")])
def test_found_on_and_off(words: tuple[str, ...], cfgtrack: Command) -> None:
    """A breaker can be found on as it can be found off, though `on` is a filler elsewhere."""
    answer = cfgtrack.json_of("as-found", "HALL:K1", *words, *AT)
    assert answer["event"]["status"] == words[-1].removeprefix("status=")
    assert cfgtrack("check", "--do", f"as-found HALL:K1 {' '.join(words)}").status == 0


def test_a_repeat_without_its_time(cfgtrack: Command) -> None:
    """Said again under its id, an event without --at is the one that is recorded: repeating is harmless."""
    first = cfgtrack.json_of("inspect", "PUMP-1", "--id", "E1")["event"]
    assert cfgtrack.json_of("inspect", "PUMP-1", "--id", "E1")["event"] == first
    assert cfgtrack("inspect", "PUMP-2", "--id", "E1").status == 3
    once = cfgtrack.json_of("withdraw", "E1", "--reason", "it was not", "--id", "E2")["event"]
    assert cfgtrack.json_of("withdraw", "E1", "--reason", "it was not", "--id", "E2")["event"] == once


def test_a_remark_by_its_option(cfgtrack: Command) -> None:
    """The text of a remark may stand in --remark."""
    said = cfgtrack.json_of("remark", "PUMP-1", "--remark", "hums, since noon", *AT)["event"]
    assert (said["subjects"], said["remark"]) == (["PUMP-1"], "hums, since noon")


@pytest.mark.parametrize("db", [":memory:", "sqlite://", "sqlite:///:memory:"])
def test_no_journal_in_memory(db: str, empty: Command) -> None:
    """A journal that would be gone with the command isn't made: nothing could be acknowledged."""
    answer = empty("--db", db, "load", empty.file("plant.toml", world.PLANT))
    assert (answer.status, answer.out) == (4, "")
    assert "expected the name of a file" in answer.err


@pytest.mark.parametrize(
    "words", [("draw", "--form", "dot", *AT), ("export", "--form", "csv")], ids=lambda w: w[0]
)
def test_a_dash_is_standard_output(
    words: tuple[str, ...], cfgtrack: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    """-o - writes to standard output, and makes no file of that name."""
    monkeypatch.chdir(cfgtrack.folder)
    assert cfgtrack.ok(*words, "-o", "-") == cfgtrack.ok(*words)
    assert not (cfgtrack.folder / "-").exists()


@pytest.mark.parametrize("value", ["torque=25 Nm", "torque=0.025 kNm"])
def test_torque_as_the_shop_writes_it(value: str, cfgtrack: Command) -> None:
    """Nm is a torque."""
    found = cfgtrack.json_of("torque", "PUMP-1:B1", value, *AT)["event"]["values"]["torque"]
    assert found["value"] == pytest.approx(25.0)


def test_actions_in_small_letters(empty: Command) -> None:
    """An action that nobody could say is told when its kind is loaded."""
    answer = empty("load", empty.file("siding.toml", COUPLER.replace('"couple"', '"Couple"')))
    assert answer.status == 2
    assert "write couple" in answer.err
