"""Files that were loaded before: the same answer, though they aren't read again unless something differs."""

from pathlib import Path

import pytest

from cfgtrack.answers import hardware
from cfgtrack.answers.asking import Asking
from cfgtrack.answers.hardware import load
from cfgtrack.files.definition import read_definition
from cfgtrack.files.fingerprint import fingerprint_of
from cfgtrack.model.trouble import BadInput

PLANT = """\
title = "Hall"
[[part]]
id = "valve"
[[table]]
file = "ports.csv"
of = "ports"
[[csv]]
file = "units.csv"
table = "units"
[[place]]
id = "HALL"
[initial]
at = 2031-05-01T00:00:00Z
place = { "V-*" = "HALL" }
"""
FILES = {
    "plant.toml": PLANT,
    "ports.csv": "part,name,kind\nvalve,V,valve\n",
    "units.csv": "id,part\nV-1,valve\nV-2,valve\n",
}


@pytest.fixture
def plant(tmp_path: Path) -> Path:
    """A definition in three files."""
    for name, text in FILES.items():
        (tmp_path / name).write_text(text)
    return tmp_path / "plant.toml"


@pytest.fixture
def readings(monkeypatch):
    """How often a definition is read."""
    found = []

    def reading(paths, **how):
        found.append(paths)
        return read_definition(paths, **how)

    monkeypatch.setattr(hardware, "read_definition", reading)
    return found


def told(loaded):
    """What a load says of itself, without its moment."""
    report = loaded.load
    return (
        loaded.dry_run,
        report.added,
        report.changed,
        report.same,
        report.missing,
        report.initial.recorded,
        report.initial.repeated,
        report.event,
        loaded.notes,
    )


def test_a_second_load_is_answered_as_if_the_files_were_read(fresh_url, plant, readings):
    """The same files aren't read again, and what is told is what reading them again would tell, on both databases."""
    asking = Asking(fresh_url())
    load(asking, [plant])
    again = load(asking, [plant])
    assert len(readings) == 1
    plant.write_text(PLANT + "# the same, in other bytes\n")
    in_full = load(asking, [plant])
    assert len(readings) == 2
    assert told(again) == told(in_full)
    assert (again.moment, again.load.same, again.load.initial.repeated) == (
        in_full.moment,
        in_full.load.same,
        2,
    )


@pytest.mark.parametrize("name", FILES)
def test_a_byte_that_differs_is_read(fresh_url, plant, readings, name):
    """Whichever of the files differs, all are read again."""
    asking = Asking(fresh_url())
    load(asking, [plant])
    file = plant.parent / name
    file.write_text(FILES[name] + "\n")
    load(asking, [plant])
    assert len(readings) == 2
    file.write_text(FILES[name] + "[[\n,,,,\n")
    with pytest.raises(BadInput):
        load(asking, [plant])


def test_what_was_defined_otherwise_since_is_read(fresh_url, plant, readings, tmp_path):
    """After another load changed the plant, the first files are no longer what it is."""
    asking = Asking(fresh_url())
    load(asking, [plant])
    other = tmp_path / "other.toml"
    port = 'port = [{ name = "V", kind = "valve" }]'
    other.write_text(f'[[part]]\nid = "valve"\ntitle = "Ball valve"\n{port}\n')
    load(asking, [other])
    back = load(asking, [plant])
    assert len(readings) == 3
    assert [change.fields[0][1:] for change in back.load.changed] == [("Ball valve", None)]
    load(asking, [plant])
    assert len(readings) == 3


def test_a_dry_run_of_the_same_files_tells_the_same(fresh_url, plant, readings):
    """A dry run of what is loaded reads nothing, and says that it is one."""
    asking = Asking(fresh_url())
    load(asking, [plant])
    dry = load(Asking(asking.database, dry_run=True), [plant])
    assert (dry.dry_run, dry.load.same > 0, dry.load.added, len(readings)) == (True, True, [], 1)


def test_a_fingerprint_is_of_what_was_read(plant):
    """It is the same whether files are read for it alone or as a definition; there is none where one is missing."""
    assert fingerprint_of([plant]) == read_definition([plant]).fingerprint
    (plant.parent / "units.csv").unlink()
    assert fingerprint_of([plant]) is None
    plant.write_text("[[\n")
    assert fingerprint_of([plant]) is None


def test_rows_that_are_hidden_are_told_each_time(fresh_url, plant, readings):
    """A note to whoever loads is told with every load, so those files are read every time."""
    from tests.files.malformed import book

    def hide(_, sheet):
        sheet.row_dimensions[2].hidden = True

    (plant.parent / "units.xlsx").write_bytes(
        book(["id", "part"], ["V-1", "valve"], ["V-2", "valve"], also=hide)
    )
    plant.write_text(PLANT.replace("units.csv", "units.xlsx"))
    asking = Asking(fresh_url())
    assert load(asking, [plant]).notes
    assert load(asking, [plant]).notes
    assert len(readings) == 2
