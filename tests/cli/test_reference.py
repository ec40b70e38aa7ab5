"""`reference`: the tables that ship, and what follows from them at the bench."""

from __future__ import annotations

import pytest

from cfgtrack import __version__
from cfgtrack.files.reference import TABLES, shipped_table
from cfgtrack.model.reference import ADVISES
from tests.cli.conftest import Command


def test_tables_are_listed(empty: Command) -> None:
    """Every table is listed with how many entries it has; no database is needed, and none is made."""
    said = empty.ok("reference")
    lines = {line.split()[0]: line.split()[1] for line in said.splitlines()[4:-2]}
    assert lines == {name: str(len(shipped_table(name))) for name in TABLES}
    assert ADVISES in said
    assert not empty.db.exists()


@pytest.mark.parametrize("name", TABLES)
def test_a_table(name: str, empty: Command) -> None:
    """A table shows each of its entries, and every source that it has."""
    said = empty.ok("reference", name)
    first = [line.split()[0] for line in said.splitlines() if line and not line.startswith(" ")]
    entries = shipped_table(name)
    assert set(entries) <= set(first)
    flat = " ".join(said.split())
    for entry in entries.values():
        assert f"{entry.source} ({entry.trust})" in flat
    assert ADVISES in flat
    assert max(map(len, said.splitlines())) <= 100


def test_an_entry(empty: Command) -> None:
    """One entry shows every value with its unit, where it is from and how that was come by."""
    said = empty.ok("reference", "thread", "M16")
    for shown in (
        "16 mm",
        "2 mm",
        "156.7 mm^2",
        "ISO 261 (edition not seen), coarse pitches",
        "seen in a secondary source",
    ):
        assert shown in said
    assert "ISO 898-1 (edition not seen), nominal stress area" in said  # of the formula
    assert ADVISES in said


def test_a_fluid(empty: Command) -> None:
    """A fluid shows its states and its rises of pressure (CoolProp: water from 20 degC gains 25.75 bar over 5 K)."""
    said = empty.ok("reference", "fluid", "water")
    assert "0.00020666 1/K" in said
    assert "998.16 kg/m^3" in said
    (row,) = [line.split() for line in said.splitlines() if line.startswith("20 degC") and "kg" not in line]
    assert row[:2] == ["20", "degC"]
    assert row[2::2] == ["4.6342", "9.53", "25.752", "57.692", "95.394", "138.45"]
    assert row[3::2] == ["bar"] * 6


def test_preload_of_a_torque(empty: Command) -> None:
    """200 N m on a lubricated M16 give 200 / (0.18 x 0.016) = 69,444 N, 25 % more or less: of class 8.8's proof load
    (580 MPa on 156.67 mm2, 90,867 N) 57, 76 and 96 %.
    """
    words = ("reference", "thread", "M16", "--torque", "200 N*m", "--surface", "lubricated")
    said = empty.ok(*words)
    assert "69.44 kN likely, 52.08 kN low, 86.81 kN high" in said
    rows = {line.split()[0]: " ".join(line.split()[1:]) for line in said.splitlines() if "MPa" in line}
    assert rows["8.8"] == "580 MPa 57 % 76 % 96 % little left for twist"
    assert rows["10.9"] == "830 MPa 40 % 53 % 67 %"
    assert rows["A2-70"] == "450 MPa at 0.2 % 74 % 99 % 123 % may go above proof"
    assert "Tension alone: while the nut is turned, twist comes on top." in said
    assert rows["5.8"] == "380 MPa 87 % 117 % 146 % above proof"
    assert rows["4.6"] == "225 MPa 148 % 197 % 246 % above proof"
    assert "grade-8" not in said
    assert ADVISES in said
    found = empty(*words, "--json").json["tightening"]
    assert found["preload"] == pytest.approx({"low": 52_083.3, "likely": 69_444.4, "high": 86_805.6})
    (steel,) = [one for one in found["of_proof"] if one["class"] == "8.8"]
    assert steel["likely"] == pytest.approx(69_444.4 / 90_867.5, rel=1e-4)
    assert found["advises"] == ADVISES


def test_torque_for_a_preload(empty: Command) -> None:
    """Wentzell, Machine Design, example 6.1: 24,131.5 lb in a 3/4-10 bolt take 3,619.73 lb in at K 0.20, which is 0.85
    of the proof load of its 85 ksi.
    """
    words = ("reference", "thread", "3/4-10", "--preload", "24131.5 lbf", "--surface", "zinc")
    found = empty(*words, "--json").json["tightening"]
    assert found["torque"]["value"] == pytest.approx(3_619.73 * 0.112984829, rel=1e-5)
    assert found["preload"]["likely"] == pytest.approx(24_131.5 * 4.4482216, rel=1e-6)
    (grade,) = [one for one in found["of_proof"] if one["class"] == "grade-5"]
    assert grade["likely"] == pytest.approx(0.85, rel=3e-3)
    said = empty.ok(*words)
    assert "24131.5 lbf takes 301.6 ft lbf on 3/4-10" in said
    assert " MPa" not in said


def test_warmed(empty: Command) -> None:
    """Water that fills a rigid volume and is warmed by 5 K gains 25.75 bar from 20 degC (CoolProp 8.0.0), more from
    warmer; the answer says that walls give and that cooling isn't covered.
    """
    words = ("reference", "fluid", "water", "--warmed", "5 K")
    said = empty.ok(*words)
    assert "20 degC  25.75 bar" in said
    assert "A real wall gives" in said
    assert "Cooling is not covered" in said
    assert ADVISES in said
    found = empty(*words, "--json").json["warming"]
    rises = [one["rise"]["value"] for one in found["from"]]
    assert rises == sorted(rises)
    assert rises[2] == pytest.approx(25.752e5, rel=1e-4)
    assert found["wall"] == "rigid"


def test_allowed_rise(empty: Command) -> None:
    """Ammonia at 20 degC may warm by 5 K for 82.9 bar (CoolProp 8.0.0); where the table ends first, that is said."""
    words = ("reference", "fluid", "ammonia", "--rise", "82.899 bar")
    assert "20 degC   5 K" in empty.ok(*words)
    far = empty.ok("reference", "fluid", "ammonia", "--rise", "300 bar")
    assert "40 degC   more than 20 K: outside the table" in far
    found = empty("reference", "fluid", "ammonia", "--rise", "300 bar", "--json").json["warming"]
    assert found["from"][-1]["warmed"] is None


def test_json(empty: Command) -> None:
    """Every answer is one JSON object with the tool's version: values in SI and as written, entries with sources."""
    tables = empty("reference", "--json").json
    assert [one["table"] for one in tables["tables"]] == list(TABLES)
    entries = empty("reference", "turn", "--json").json["entries"]
    assert [one["id"] for one in entries] == list(shipped_table("turn"))
    entry = empty("reference", "thread", "1/4-20", "--json").json
    assert entry["version"] == tables["version"] == __version__
    assert entry["entry"]["threads_per_inch"] == 20
    assert entry["entry"]["diameter"]["value"] == pytest.approx(0.00635)
    assert entry["entry"]["source"] == "ASME B1.1 (edition not seen), UNC"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("thred",), "thred: unknown: there is no reference table thred; near names: thread"),
        (("bolts",), "; known: thread, surface,"),
        (("thread", "M16x15"), "M16x15: unknown: there is no thread M16x15; near names: M16x1.5"),
        (("class", "xyz"), "xyz: unknown: there is no class xyz; known: 4.6, 5.8, 8.8"),
        (("thread", "M16", "--torque", "1 N*m", "--surface", "zink"), "there is no surface zink; near names: zinc"),
        (("fluid", "ethylene-glycol-30", "--warmed", "1 K"), "ethylene-glycol-30: no-data: "),
        (("fluid", "water", "--warmed", "21 K"), "--warmed: beyond-table: the rises of water are known up to 20 K"),
    ],
)  # fmt: skip
def test_cannot_answer(words: tuple[str, ...], told: str, empty: Command) -> None:
    """What isn't in the tables ends with 4, near names where there are some, and no answer."""
    answer = empty("reference", *words)
    assert (answer.status, answer.out) == (4, "")
    assert told in answer.err


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("thread", "M16", "--torque", "5 K", "--surface", "zinc"), "--torque: bad-quantity: expected a torque"),
        (("thread", "M16", "--torque", "-5 N*m", "--surface", "zinc"), "--torque: out-of-range: expected nothing"),
        (("thread", "M16", "--preload", "5", "--surface", "zinc"), "--preload: bad-quantity: expected a force"),
        (("fluid", "water", "--warmed", "-1 K"), "--warmed: out-of-range: cooling is not covered"),
        (("fluid", "water", "--rise", "-1 bar"), "--rise: out-of-range: expected nothing below zero"),
        (("thread", "M16", "--torque", "5 N*m"), "goes with --surface, one of black, zinc, "),
        (("thread", "M16", "--surface", "zinc"), "goes with --surface"),
        (("thread", "--torque", "5 N*m", "--surface", "zinc"), "--torque asks about one thread"),
        (("fluid", "water", "--torque", "5 N*m", "--surface", "zinc"), "--torque asks about one thread"),
        (("thread", "M16", "--warmed", "5 K"), "--warmed asks about one fluid"),
        (("thread", "M16", "--torque", "5 N*m", "--preload", "5 N", "--surface", "zinc"), "not both"),
        (("fluid", "water", "--warmed", "5 K", "--rise", "5 bar"), "not both"),
    ],
)  # fmt: skip
def test_bad_question(words: tuple[str, ...], told: str, empty: Command) -> None:
    """A wrong quantity, and options that don't go together, end with 2 and say what was expected."""
    answer = empty("reference", *words)
    assert (answer.status, answer.out) == (2, "")
    assert told in answer.err


def test_narrow(empty: Command) -> None:
    """On a narrow screen nothing is wider than it."""
    answer = empty("reference", "thread", "M16", "--torque", "200 N*m", "--surface", "black", COLUMNS="60")
    assert answer.status == 0
    assert max(map(len, answer.out.splitlines())) <= 60


def test_completion() -> None:
    """Tables complete, and behind a table its entries."""
    import click

    from cfgtrack.cli.reference import reference_command

    context = click.Context(reference_command)
    table, name = (param for param in reference_command.params if isinstance(param, click.Argument))
    assert [one.value for one in table.shell_complete(context, "p")] == ["pass", "pattern"]
    context.params["table"] = "thread"
    assert [one.value for one in name.shell_complete(context, "M16")] == ["M16", "M16x1.5"]
    context.params["table"] = "nothing"
    assert list(name.shell_complete(context, "M")) == []
