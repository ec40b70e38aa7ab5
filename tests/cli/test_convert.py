"""`convert` and `new`: files of others, and lists, become definition files that load; and say what was guessed."""

from __future__ import annotations

import builtins
import errno
import re
import tomllib
from pathlib import Path
from typing import Any

import pytest

from cfgtrack.answers.convert import EMPTY
from cfgtrack.cli.convert import FORMS
from cfgtrack.files import writer
from cfgtrack.files.foreign import reader
from tests.cli.conftest import Command

DRAWING = Path(__file__).parents[1] / "outside" / "drawings" / "C01V04-VER.EX01.xml"
UNITS = "name,kind,litres\nT 1,tank,90 l\nV1,ball valve,\nC,cooler,4 l\n"
JOINTS = "a,b,kind\nT 1:OUT,V1,pipe\nV1,C,\n"


def test_a_drawing_becomes_a_plant(empty: Command) -> None:
    """First it says what came in, then what was guessed and left out by name; what it wrote loads and can be asked."""
    out = empty.folder / "made"
    said = empty.ok("convert", DRAWING, "--to", out)
    lines = said.splitlines()
    assert lines[0].startswith(f"read      {DRAWING}"[:60])
    assert "(DEXPI XML): 29 pipes (centre lines), 5 BallValve" in " ".join(said.split())
    labels = [label for line in lines if (label := line[:10].strip()) in ("read", "guessed", "left out")]
    assert labels == [
        "read",
        *["guessed"] * labels.count("guessed"),
        *["left out"] * labels.count("left out"),
    ]
    assert "1 taken to have a free surface, so room for its liquid to expand: T4750" in said
    assert "4 process instrumentation function: 4712.01, 4712.02" in said
    assert all(len(line) <= 100 for line in lines if str(empty.folder) not in line)
    empty.ok("load", out / "plant.toml")
    assert "HV4750.01" in empty.ok("state", "HV4750.01")
    assert empty("load", out / "plant.toml").out.startswith("nothing to load")
    head = (out / "plant.toml").read_text().partition('title = "')[0]
    assert "# Guessed:" in head
    assert "T4750" in head


def test_what_is_there_is_not_written_over(empty: Command) -> None:
    """Where one of the files is there already nothing is written: somebody may have changed it."""
    out = empty.folder / "made"
    empty.ok("new", out)
    (out / "plant.toml").write_text("title = 'mine'\n")
    (out / "rules.toml").unlink()
    for words in (("new", out), ("convert", DRAWING, "--to", out)):
        refused = empty(*words)
        assert refused.status == 2
        assert refused.err.startswith(f"{out}/plant.toml: spared: ")
    assert [file.name for file in out.iterdir()] == ["plant.toml"]
    assert (out / "plant.toml").read_text() == "title = 'mine'\n"


def test_a_dry_run_writes_nothing(empty: Command) -> None:
    """With --dry-run all is said, and no folder is made."""
    out = empty.folder / "made"
    assert "would write" in empty.ok("convert", DRAWING, "--to", out, "--dry-run")
    assert not out.exists()


def test_a_full_disk_leaves_nothing_half(empty: Command, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the second file finds no room the first is taken away again, and the folder that was made."""
    real = writer.replacing

    def full(target: Path, **settings: Any) -> Any:
        if target.name == "rules.toml":
            raise OSError(errno.ENOSPC, "no room", str(target))
        return real(target, **settings)

    monkeypatch.setattr(writer, "replacing", full)
    said = empty("new", empty.folder / "made")
    assert (said.status, said.err.split(": ")[1]) == (4, "disk-full")
    assert not (empty.folder / "made").exists()


def test_an_empty_plant_loads(empty: Command) -> None:
    """An empty plant loads with its rules; so does its example, once the marks before it are taken away."""
    out = empty.folder / "made"
    empty.ok("new", out)
    assert (out / "plant.toml").read_text() == EMPTY
    empty.ok("load", out / "plant.toml")
    empty.ok("rules", "load", out / "rules.toml")
    example = re.sub(r"^#(?=[^ \n])", "", EMPTY, flags=re.MULTILINE)
    assert len(tomllib.loads(example)) > 3
    said = empty.ok("load", empty.file("example.toml", example))
    assert "2 units: TANK-1, COOLER-1" in said
    assert "TANK-1:COOLANT" in empty.ok("state", "COOLER-1")


def test_a_plant_from_two_lists(empty: Command) -> None:
    """Two lists make a plant that loads, with the starter rules that fit it; each says what it would guard."""
    out = empty.folder / "made"
    units, joints = empty.file("units.csv", UNITS), empty.file("joints.csv", JOINTS)
    said = empty.ok("new", out, "--units", units, "--joints", joints)
    assert "taken for something that opens and shuts, by the word valve: V1" in said
    assert re.search(r"^expansion-path +1 +2 +T-1:body, C:body$", said, re.MULTILINE)
    assert "guard nothing here: trapped-clock" in said
    empty.ok("load", out / "plant.toml")
    empty.ok("rules", "load", out / "rules.toml")
    kept = {rule["id"] for rule in empty.json_of("rules", "list")["rules"]}
    told = {line.split()[0] for line in said.splitlines() if re.match(r"[a-z-]+ +[1-4] +\d", line)}
    assert kept == told
    assert "T-1:body" in empty.ok("rules", "explain", "expansion-path")
    found = empty("check", "--do", "shut V1:V")
    assert found.status in (0, 3)


def test_every_problem_of_the_lists(empty: Command) -> None:
    """What is wrong with the lists is told with row and column, all at once, and nothing is written."""
    units, joints = empty.file("units.csv", UNITS + "V1,,\n"), empty.file("joints.csv", JOINTS + "C,X,\n")
    refused = empty("new", empty.folder / "made", "--units", units, "--joints", joints)
    assert refused.status == 2
    assert [line.split(": ")[1] for line in refused.err.splitlines() if line[0] == "/"] == [
        "duplicate",
        "unknown",
    ]
    assert not (empty.folder / "made").exists()
    alone = empty("new", empty.folder / "made", "--joints", joints)
    assert (alone.status, alone.err.partition(":")[0]) == (2, "--joints")


def test_without_the_extra(empty: Command, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where wntr is missing the answer is none, and names the extra that brings it."""
    real = builtins.__import__

    def without(name: str, *more: Any, **settings: Any) -> Any:
        if name.partition(".")[0] == "wntr":
            raise ModuleNotFoundError(name)
        return real(name, *more, **settings)

    monkeypatch.setattr(builtins, "__import__", without)
    network = empty.file("net.inp", "[JUNCTIONS]\n J1 0 0\n[END]\n")
    said = empty("convert", network, "--to", empty.folder / "made")
    assert said.status == 4
    assert "wntr, which is not installed: pip install 'cfgtrack[epanet]'" in said.err


@pytest.mark.parametrize(
    ("text", "words", "code"),
    [
        ("", (), "empty"),
        ("hello", (), "wrong-kind"),
        ("<PlantModel/>", (), "empty"),
        ("<PlantModel>", (), "syntax"),
        ("<graphml/>", ("--form", "dexpi"), "wrong-kind"),
        ("[JUNCTIONS]\n A\n[PIPES]\n P A B x\n", (), "syntax"),
        ('{"_class": "pandapowerNet"', (), "syntax"),
        ('{"_class": "pandapowerNet", "_object": {"bus": {"_object": "[]"}}}', (), "wrong-type"),
        ('{"_class": "pandapowerNet", "_object": {}}', (), "empty"),
    ],
)
def test_what_is_no_drawing(text: str, words: tuple[str, ...], code: str, empty: Command) -> None:
    """What is of none of the forms, broken or empty is refused by name, and nothing is written."""
    source = empty.file("source", text)
    refused = empty("convert", source, "--to", empty.folder / "made", *words)
    assert refused.status == 2
    assert re.match(rf"{re.escape(str(source))}(:\d+)?: {code}: ", refused.err), refused.err
    assert not (empty.folder / "made").exists()


def test_what_is_not_there(empty: Command) -> None:
    """A file that isn't there, and a folder that is a file, are told by name."""
    gone = empty("convert", empty.folder / "gone.xml", "--to", empty.folder / "made")
    assert (gone.status, gone.err.split(": ")[1]) == (2, "no-such-file")
    taken = empty("convert", DRAWING, "--to", empty.file("taken", "x"))
    assert taken.status == 2
    assert "expected a folder, found a file" in taken.err
    late = empty("convert", DRAWING, "--to", empty.folder / "made", "--at", "yesterday")
    assert (late.status, late.err.split(": ")[:2]) == (2, ["--at", "bad-time"])


def test_the_forms_that_are_offered() -> None:
    """The command offers every form that there is a reader of."""
    assert tuple(sorted(FORMS)) == tuple(sorted(reader.FORMS))


def test_one_is_told_as_one(empty: Command) -> None:
    """One unit and one joint are told as that."""
    units, joints = (
        empty.file("units.csv", "name,kind\nT,tank\nP,pump\n"),
        empty.file("joints.csv", "a,b,kind\nT,P,pipe\n"),
    )
    said = empty.ok("new", empty.folder / "made", "--units", units, "--joints", joints)
    assert ": 2 units, 1 unit in joints" in " ".join(said.split())
