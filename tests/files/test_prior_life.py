"""What is read of a prior life: values of the start, older readings and inspections, and what is told of bad ones."""

from __future__ import annotations

import pytest

from cfgtrack.files.definition import parse_definition
from cfgtrack.model.trouble import BadInput

PLANT = """
[[part]]
id = "box"
port = [{ name = "F", kind = "fluid-disconnect" }, { name = "V", kind = "valve" }]
[[unit]]
id = "A"
part = "box"
[initial]
at = 2031-05-01T08:00:00Z
"""


def test_rows_say_the_same_as_tables() -> None:
    """A row's values and time of inspection are read like a line of [initial.before]."""
    lines = (
        '[initial.before]\n"A:F" = { cycles = 7 }\nA = { time = "1200 h", inspect = 2030-11-02T10:00:00Z }\n'
    )
    rows = "subject,values,inspected\nA:F,cycles=7,\nA,\"time='1200 h'\",2030-11-02T10:00:00Z\n"
    sheets = 'csv = [{ file = "rows.csv", table = "initial" }]\n'
    told = parse_definition({"x": PLANT + lines}).initial
    assert told == parse_definition({"x": sheets + PLANT}, sheets={"rows.csv": rows}).initial
    said = [(e.id, e.action, e.initial, {n: q.value for n, q in e.values.items()}) for e in told]
    assert sorted(said) == [
        ("initial:A:F:before", "measure", True, {"cycles": 7.0}),
        ("initial:A:before", "measure", True, {"time": 4_320_000.0}),
        ("initial:A:inspect", "inspect", False, {}),
    ]


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ('"A:F" = { cycles = 7.5 }', "cycles of A:F are a whole number, found 7.5"),
        ('"A:F" = { cycles = -1 }', "cycles of A:F are a whole number"),
        ('"A:F" = { cycles = { is = 7, at = 2030-01-01T00:00:00Z } }', "they have no time of their own"),
        ('"A:V" = { cycles = 7 }', "A:V has no mate cycles"),
        ("A = { cycles = 7 }", "A has no mate cycles"),
        ('A = { time = "7 bar" }', "time of A"),
        ("A = { colour = 3 }", "there is no quantity colour"),
        ("NOBODY = { time = '1 h' }", "NOBODY"),
        ("A = { inspect = 2031-05-02T00:00:00Z }", "is later than the start"),
        ('A = { inspect = "some day" }', "inspect of A"),
        ('A = { inspect = { is = "x" } }', "expected a value, and maybe its time"),
        ('A = { time = { at = "2030-01-01T00:00:00Z" } }', "expected a value, and maybe its time"),
        ("A = 7", "expected what was so before"),
    ],
)
def test_bad_lives(line: str, says: str) -> None:
    """What can't have been so before is told with its line."""
    with pytest.raises(BadInput) as caught:
        parse_definition({"x": f"{PLANT}[initial.before]\n{line}\n"})
    (problem,) = caught.value.problems
    assert says in problem.sentence
    assert problem.where.startswith("x:11")
