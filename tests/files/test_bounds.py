"""What is read has bounds: depth, length, size, and what sort of file it is."""

from __future__ import annotations

import io
import os
import time
from pathlib import Path

import pytest

from cfgtrack.files.definition import read_definition
from cfgtrack.files.fingerprint import fingerprint_of
from cfgtrack.files.foreign import reader
from cfgtrack.files.rows import MOST_LINE, read_rows
from cfgtrack.files.source import parse_toml, read_raw
from cfgtrack.model.plant import Plant
from cfgtrack.model.trouble import BadInput, Problems
from tests.clocks import in_time

LONG = 100_000


TOML = {
    "a dotted key": ("a" + ".a" * LONG + " = 1\n", "x.toml:1: depth: expected at most 32 names"),
    "a header": ("\n[" + "a." * LONG + "a]\n", "x.toml:2: depth: "),
    "a quoted key": ('"a".' * LONG + "a = 1\n", "x.toml:1: depth: "),
    "lists": ("a = " + "[" * 5_000 + "]" * 5_000, "x.toml: depth: expected at most 32 tables and lists"),
    "tables": ("a = " + "{ a = " * 40 + "1" + " }" * 40, "x.toml: depth: "),
    "a hexadecimal number": (
        "a = 0x" + "f" * LONG,
        "x.toml: syntax: expected TOML: a whole number has at most 64",
    ),
    "a decimal number": ("a = " + "1" * LONG, "x.toml: syntax: "),
    "what is never closed": ("a." * 40 + 'a = 1\nb = "' + '\\"' * LONG, "x.toml:1: depth: "),
}


@pytest.mark.parametrize("case", TOML)
def test_toml_has_bounds(case: str) -> None:
    """What is too deep or too large is refused at once, with its line where there is one."""
    text, says = TOML[case]
    problems = Problems()
    with in_time(5):
        assert parse_toml("x.toml", text, problems) is None
    (told,) = map(str, problems.found)
    assert told.startswith(says)
    assert len(told) < 200


@pytest.mark.parametrize(
    "text",
    [
        't = "' + "." * 100 + '"',
        "t = '''\n" + "." * 80 + "\n'''",
        "# " + "." * 99,
        "t = [" + "1.5, " * 99 + "]",
    ],
)
def test_dots_elsewhere_are_no_long_key(text: str) -> None:
    """Texts, comments and numbers may have as many dots as they like."""
    problems = Problems()
    assert parse_toml("x.toml", text, problems) is not None
    assert not problems


@pytest.fixture
def pipe(tmp_path: Path) -> Path:
    """A pipe that nobody writes to."""
    os.mkfifo(tmp_path / "list.csv")
    return tmp_path / "list.csv"


@pytest.mark.parametrize(
    "table", ['[[csv]]\nfile = "{}"\ntable = "units"\n', '[[table]]\nfile = "{}"\nof = "units"\n']
)
@pytest.mark.parametrize("device", ["", "/dev/zero", "/dev/stdin"])
def test_a_table_is_a_regular_file(device: str, table: str, pipe: Path, tmp_path: Path) -> None:
    """A device or a pipe that a definition names is refused and never read, by whatever looks at the files."""
    file = tmp_path / "plant.toml"
    file.write_text(table.format(device or pipe.name))
    with in_time(5), pytest.raises(BadInput) as raised:
        read_definition([file])
    assert "expected a file, found a device or a pipe" in str(raised.value)
    with in_time(5):
        assert fingerprint_of([file]) is None


def test_a_file_without_an_end_is_not_read_to_it() -> None:
    """Of a file more than may be read is refused."""
    problems = Problems()
    with in_time(20):
        assert read_raw(Path("/dev/zero"), problems) is None
    assert [p.code for p in problems.found] == ["too-large"]


def test_a_line_without_an_end_is_not_read_to_it() -> None:
    """A stream of rows is refused at the first line that is too long, without that in the message."""
    line = "at,action,subject," + "x" * (MOST_LINE + 10)
    with pytest.raises(BadInput, match="at most 4 MB") as raised:
        list(read_rows(io.StringIO(line), Plant({}, {}, {}, {}, {}), where="rows.csv"))
    assert len(str(raised.value)) < 200


NAMES = {
    "a NUL in a title": ('[[place]]\nid = "A"\ntitle = "a\\u0000b"\n', "found a NUL character"),
    "a long id": (f'[[place]]\nid = "{"A" * 201}"\n', "expected at most 200 characters, found 201"),
    "a long alias": (f'[[place]]\nid = "A"\naliases = ["{"é" * 201}"]\n', "expected at most 200 characters"),
    "a long title": (
        f'[[place]]\nid = "A"\ntitle = "{"x" * 20_001}"\n',
        "expected at most 20,000 characters",
    ),
    "a long name that isn't there": (f'[[unit]]\nid = "A"\npart = "{"B" * LONG}"\n', "B ..."),
}


@pytest.mark.parametrize("case", NAMES)
def test_names_and_texts_have_bounds(case: str, tmp_path: Path) -> None:
    """In a definition a NUL or a name that is too long is told, soon, with its line."""
    text, says = NAMES[case]
    file = tmp_path / "plant.toml"
    file.write_text(text)
    began = time.monotonic()
    with pytest.raises(BadInput) as raised:
        read_definition([file])
    assert time.monotonic() - began < 5
    assert says in str(raised.value)
    assert len(str(raised.value).splitlines()[0]) < 600


def test_a_list_of_others_without_an_end_is_not_read_to_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """A device has no size to ask for: what is read of it is bounded all the same."""
    monkeypatch.setattr(reader, "MOST", 100_000)
    with in_time(5), pytest.raises(BadInput) as raised:
        reader.raw_of(Path("/dev/zero"))
    assert [p.code for p in raised.value.problems] == ["too-large"]
