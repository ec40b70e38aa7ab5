"""Every key and element of a TOML text has its line."""

import itertools
import re
import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.files.lines import line_numbers

COMMENTS = ["", "  # plain", " # ] } ''' \"\"\" [x] k = 1", "#", "\t# é"]
SCALARS = [
    '"{}"',
    '"\\"{} # ] , \\\\"',
    "'{} \" ] # \\'",
    "'{}'",
    '"""{}\n] # [x]\nk = 1 \\""" """',
    '"""{} ""\\\n  """""',
    "'''{}\n}}, \"\"\" \\\n'''''",
    "1_000",
    "-0.5e3",
    "true",
    "1979-05-27 07:32:00",
    "1979-05-27T07:32:00.5-07:00",
    "inf",
]
KEYS = ["{}", '"{}"', "'{}'", '"{} . # ]"', "'{} = \"'", '"{}\\u00e9\\""']


class _Writer:
    """Writes a random TOML text in which every key and every string is marked with a number of its own."""

    def __init__(self, draw):
        self.draw = draw
        self.numbers = itertools.count()

    def choose(self, choices):
        return self.draw(st.sampled_from(choices))

    def mark(self):
        return f"m{next(self.numbers)}m"

    def key(self):
        return self.choose(KEYS).format(self.mark())

    def dotted_key(self):
        dot = self.choose([".", " . "])
        return dot.join(self.key() for _ in range(self.draw(st.integers(1, 3))))

    def end(self):
        return self.choose(COMMENTS) + "\n" * self.draw(st.integers(1, 2))

    def value(self, depth):
        shape = self.choose(["scalar", "scalar", "array", "table"]) if depth else "scalar"
        if shape == "array":
            return self.array(depth - 1)
        if shape == "table":
            pairs = [self.pair(depth - 1) for _ in range(self.draw(st.integers(0, 3)))]
            return "{" + self.choose(["", " "]) + ", ".join(pairs) + " }"
        return self.choose(SCALARS).format(self.mark())

    def array(self, depth):
        gap = self.choose(["", " ", "\n"])
        text = "[" + (self.end() if gap == "\n" else gap)
        size = self.draw(st.integers(0, 4))
        for index in range(size):
            last = index == size - 1
            comma = "" if last and self.draw(st.booleans()) else ","
            text += self.value(depth) + comma + (self.end() if gap == "\n" else gap)
        return text + "]"

    def pair(self, depth):
        return self.dotted_key() + self.choose(["=", " = "]) + self.value(depth)

    def table(self, path, depth):
        text = "".join(self.pair(2) + self.end() for _ in range(self.draw(st.integers(0, 3))))
        for _ in range(self.draw(st.integers(0, 2)) if depth else 0):
            inner = [*path, *(self.key() for _ in range(self.draw(st.integers(1, 2))))]
            name = ".".join(inner)
            if self.draw(st.booleans()):
                text += f"[{name}]{self.end()}{self.table(inner, depth - 1)}"
            else:
                for _ in range(self.draw(st.integers(1, 3))):
                    text += f"[[ {name} ]]{self.end()}{self.table(inner, depth - 1)}"
        return text


@st.composite
def _documents(draw):
    return _Writer(draw).table([], 2)


def _paths(value, path=()):
    yield path, value
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in items:
        yield from _paths(inner, (*path, key))


def _line_of_mark(text, marked):
    mark = re.search(r"m\d+m", marked)
    assert mark
    return text[: text.index(mark.group())].count("\n") + 1


@given(_documents())
def test_every_path_has_its_line(text):
    """Exactly the paths that the parser finds have a line, the one where their mark first stands."""
    parsed = tomllib.loads(text)
    lines = line_numbers(text)
    assert lines.keys() == {path for path, _ in _paths(parsed)}
    rows = text.split("\n")
    for path, value in _paths(parsed):
        if path and isinstance(path[-1], str):
            assert lines[path] == _line_of_mark(text, path[-1])
        elif isinstance(value, str):
            assert lines[path] == _line_of_mark(text, value)
        elif path and isinstance(value, int | float):
            assert any(number in rows[lines[path] - 1] for number in ("1_000", "-0.5e3", "true", "inf"))


@given(_documents())
def test_a_part_never_stands_before_the_whole(text):
    """A key or element stands on the line of what holds it, or below."""
    lines = line_numbers(text)
    assert all(lines[path[:-1]] <= line for path, line in lines.items() if path)


@given(_documents())
def test_line_ends_do_not_count(text):
    """A text with CR LF line ends has the same lines."""
    assert line_numbers(text.replace("\n", "\r\n")) == line_numbers(text)


PLANT = """\
# a plant
title = "two lines"

[[unit]]
id = "PUMP-1"
ports = [
  { id = "J1", kind = "fluid" },  # the inlet

  { id = "J2", kind = "fluid" },
]

[[unit]]
id = "PUMP-2"
at.place = "BAY"
[unit.limits]
[[unit.note]]
text = '''
one
two'''
"""


@pytest.mark.parametrize(
    ("path", "line"),
    [
        ((), 1),
        (("title",), 2),
        (("unit",), 4),
        (("unit", 0), 4),
        (("unit", 0, "id"), 5),
        (("unit", 0, "ports"), 6),
        (("unit", 0, "ports", 0, "kind"), 7),
        (("unit", 0, "ports", 1), 9),
        (("unit", 1), 12),
        (("unit", 1, "at", "place"), 14),
        (("unit", 1, "limits"), 15),
        (("unit", 1, "note", 0), 16),
        (("unit", 1, "note", 0, "text"), 17),
    ],
)
def test_a_plant(path, line):
    """In a small plant each thing has the line that a reader would point at."""
    assert line_numbers(PLANT)[path] == line


def test_a_text_that_is_no_toml():
    """A text that would not have parsed is a mistake of the caller's, and said to be one."""
    with pytest.raises(ValueError, match="line 2: not TOML"):
        line_numbers("a = 1\n= 2\n")
