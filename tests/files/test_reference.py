"""The reference data that ships: what is read, what is told of a badly written file, and where it all is from."""

from __future__ import annotations

import re
from dataclasses import fields, is_dataclass
from typing import Any

import pytest

from cfgtrack.files.reference import STRESS_AREA, TABLES, parse_reference, shipped_table
from cfgtrack.folders import top_folder
from cfgtrack.model.quantity import Quantity
from cfgtrack.model.reference import Fluid, Pass, PropertyClass, Surface, Thread, TighteningPattern
from cfgtrack.model.trouble import BadInput
from tests.sources import faults_of_source

THREADS = """title = "t"
[[series]]
id = "metric"
title = "Metric"
form = "metric"
source = "common practice"
trust = "from memory"
threads = [
  { id = "M8", diameter = "8 mm", pitch = "1.25 mm" },
  { id = "M10", diameter = "10 mm", pitch = "1.5 mm" },
]
"""
TIGHTENING = """title = "t"
[[surface]]
id = "bare"
title = "Bare"
nut_factor = "0.2"
scatter = "wrench"
source = "common practice"
trust = "from memory"
[[scatter]]
id = "wrench"
title = "Wrench"
scatter = "30 %"
source = "common practice"
trust = "from memory"
[[class]]
id = "8.8"
title = "8.8"
form = "metric"
proof = [{ stress = "580 MPa", up_to = "16 mm" }, { stress = "600 MPa", over = "16 mm", up_to = "39 mm" }]
source = "common practice"
trust = "from memory"
[[pattern]]
id = "4"
title = "Four"
order = [1, 3, 2, 4]
source = "common practice"
trust = "from memory"
"""
FLUIDS = """title = "t"
[[fluid]]
id = "water"
title = "Water"
freezes = "0 degC"
source = "common practice"
trust = "computed"
[[fluid.state]]
temperature = "20 degC"
density = "998 kg/m^3"
expansivity = "2.07e-4 1/K"
compressibility = "4.59e-10 1/Pa"
rises = [
  { warmed = "1 K", rise = "4.6 bar" },
  { warmed = "5 K", rise = "26 bar" },
]
"""
TEXTS = {"threads.toml": THREADS, "tightening.toml": TIGHTENING, "fluids.toml": FLUIDS}


def test_values_are_in_si_and_as_written():
    """A value is kept in SI and as its file writes it; the stress area is computed (ISO 898-1: M8 has 36.61 mm2)."""
    thread = parse_reference("threads.toml", THREADS)["thread"]["M8"]
    assert isinstance(thread, Thread)
    assert (thread.diameter.value, str(thread.diameter)) == (0.008, "8 mm")
    assert thread.stress_area.value * 1e6 == pytest.approx(36.61, abs=0.005)
    assert (thread.title, thread.source, thread.trust) == ("Metric", "common practice", "from memory")
    fluid = parse_reference("fluids.toml", FLUIDS)["fluid"]["water"]
    assert isinstance(fluid, Fluid)
    assert fluid.freezes.value == 273.15
    assert fluid.state[0].points == [(1.0, 460_000.0), (5.0, 2_600_000.0)]
    surface = parse_reference("tightening.toml", TIGHTENING)["surface"]["bare"]
    assert isinstance(surface, Surface)
    assert (surface.nut_factor.value, surface.scatter) == (0.2, "wrench")


def test_threads_per_inch_are_a_pitch():
    """A unified thread's pitch is an inch over its threads an inch."""
    thread = shipped_table("thread")["1/4-20"]
    assert isinstance(thread, Thread)
    assert thread.threads_per_inch == 20
    assert thread.pitch.value == pytest.approx(0.0254 / 20)


@pytest.mark.parametrize(
    ("thread", "stress"),
    [("M16", 580e6), ("M18", 600e6), ("M30", 600e6), ("1/2-13", None)],
)
def test_proof_goes_by_diameter_and_form(thread, stress):
    """The proof stress of class 8.8 changes above 16 mm, which itself belongs below; inch threads have other grades."""
    found = shipped_table("thread")[thread]
    steel = shipped_table("class")["8.8"]
    assert isinstance(found, Thread)
    assert isinstance(steel, PropertyClass)
    proof = steel.proof_of(found)
    assert (None if proof is None else proof.value) == stress


def test_a_class_ends():
    """A bolt thicker than a class goes has no proof stress in it."""
    thick = shipped_table("thread")["M30"]
    stainless = shipped_table("class")["A2-70"]
    assert isinstance(thick, Thread)
    assert isinstance(stainless, PropertyClass)
    assert stainless.proof_of(thick) is None


@pytest.mark.parametrize(
    ("file", "old", "new", "line", "told"),
    [
        ("threads.toml", '"8 mm"', '"8 kg"', 9, "bad-quantity: series 1, threads 1, diameter: expected a length"),
        ("threads.toml", '"8 mm"', '"8"', 9, "bad-quantity: series 1, threads 1, diameter: expected a length"),
        ("threads.toml", '"8 mm"', "8", 9, "wrong-type: series 1, threads 1, diameter: expected a number with its"),
        ("threads.toml", '"1.25 mm"', '"8 mm"', 9, "out-of-range: series 1, threads 1, pitch: expected more than"),
        ("threads.toml", '"1.25 mm"', '"0 mm"', 9, "out-of-range: series 1, threads 1, pitch: expected more than"),
        ("threads.toml", 'pitch = "1.25 mm"', "threads_per_inch = 8", 9, "missing: series 1, threads 1: pitch is"),
        ("threads.toml", '"M10"', '"M8"', 10, "duplicate: series 1, threads 2, id: there is M8 already"),
        ("threads.toml", '"from memory"', '"hearsay"', 7, "unknown: series 1, trust: there is no trust hearsay; "),
        ("threads.toml", 'source = "common practice"', "", 2, "missing: series 1: source is missing"),
        ("threads.toml", 'form = "metric"', 'form = "imperial"', 5, "unknown: series 1, form: there is no form"),
        ("threads.toml", 'title = "Metric"', 'titel = "Metric"', 4, "unknown-field: series 1, titel: there is no"),
        ("tightening.toml", '"0.2"', '"0.2 N"', 5, "bad-quantity: surface 1, nut_factor: expected a ratio"),
        ("tightening.toml", '"wrench"\nsource', '"wrensh"\nsource', 6, "unknown: surface 1, scatter: there is no"),
        ("tightening.toml", '"580 MPa"', '"580 N"', 19, "bad-quantity: class 1, proof 1, stress: expected a pressure"),
        ("tightening.toml", "[1, 3, 2, 4]", "[1, 3, 3, 4]", 25, "not-an-order: pattern 1, order: expected the numbers"),
        ("tightening.toml", "[1, 3, 2, 4]", '["1", "2"]', 25, "not-an-order: pattern 1, order: expected the numbers"),
        ("tightening.toml", "[1, 3, 2, 4]", "[]", 25, "not-an-order: pattern 1, order: expected the numbers"),
        ("fluids.toml", '"2.07e-4 1/K"', '"2.07e-4 1/Pa"', 11, "bad-quantity: fluid 1, state 1, expansivity: expected"),
        ("fluids.toml", '"26 bar"', '"4 bar"', 15, "not-rising: fluid 1, state 1, rises 2: expected more warming"),
        ("fluids.toml", '"5 K"', '"-5 K"', 15, "out-of-range: fluid 1, state 1, rises 2, warmed: expected at least 0"),
        ("fluids.toml", 'freezes = "0 degC"', "", 2, "missing: fluid 1: freezes is missing"),
    ],
)  # fmt: skip
def test_badly_written(file, old, new, line, told):
    """What is wrong with a reference file is told at its line."""
    assert old in TEXTS[file]
    with pytest.raises(BadInput) as trouble:
        parse_reference(file, TEXTS[file].replace(old, new, 1))
    assert any(str(p).startswith(f"{file}:{line}: {told}") for p in trouble.value.problems), trouble.value


def test_every_problem_at_once():
    """Two wrong values of a file are told in one go, in the order of its lines."""
    text = THREADS.replace('"8 mm"', '"8 s"').replace('"1.5 mm"', '"1.5 s"')
    with pytest.raises(BadInput) as trouble:
        parse_reference("threads.toml", text)
    assert [p.where for p in trouble.value.problems] == ["threads.toml:9", "threads.toml:10"]


def quantities(value: Any) -> list[Quantity]:
    """Return every quantity in an entry."""
    if isinstance(value, Quantity):
        return [value]
    if isinstance(value, tuple):
        return [found for one in value for found in quantities(one)]
    if is_dataclass(value):
        return [found for field in fields(value) for found in quantities(getattr(value, field.name))]
    return []


@pytest.mark.parametrize("name", TABLES)
def test_every_entry_has_a_source(name):
    """Every entry of every table says which document it is from, by the grammar of sources, and holds some value."""
    entries = shipped_table(name)
    assert entries
    for entry in entries.values():
        assert faults_of_source(entry.source) == [], entry
        assert quantities(entry) or isinstance(entry, TighteningPattern | Pass)
        assert (entry.trust == "computed") == entry.source.startswith("CoolProp")


def test_formulas_have_a_source():
    """The formulas of the stress area say where they are from, too."""
    assert [fault for source in STRESS_AREA.values() for fault in faults_of_source(source)] == []


def test_every_kind_has_a_source():
    """Every medium and kind that ships has its source behind it, by the same grammar."""
    lines = (top_folder("shared") / "kinds.toml").read_text(encoding="utf-8").splitlines()
    heads = [line for line in lines if re.match(r"\[\[(kind|medium)\]\]", line)]
    assert len(heads) > 10
    for head in heads:
        found = re.fullmatch(r"\[\[\w+\]\]  # source: (.+)", head)
        assert found is not None, head
        assert faults_of_source(found[1]) == []


def test_every_file_is_read():
    """No file of shared/ is left that nothing reads: those of the tables, the kinds, and how steps fail."""
    files = {path.name for path in top_folder("shared").iterdir()}
    assert files == {file for file, _ in TABLES.values()} | {"kinds.toml", "failures.toml"}
