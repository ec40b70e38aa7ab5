"""What a console remembers is one file, with a log of what grew: the user's alone, shared by his processes."""

import json
import multiprocessing
import os
import stat
import sys
import tempfile
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.files import heads
from cfgtrack.files.heads import (
    Memory,
    Remembered,
    Stood,
    Unreadable,
    change_memory,
    keep_in_memory,
    read_memory,
)


def _grow(file: str, name: str, sizes: range) -> None:
    for size in sizes:

        def grow(memory: Memory, size: int = size) -> None:
            before = memory.journals.get(name)
            if before is None or before.size < size:
                memory.journals[name] = Remembered(size, size.to_bytes(8, "big"), size)
            memory.places[f"{name}-{size}"] = Stood(name, None)

        change_memory(Path(file), grow)
        keep_in_memory(Path(file), f"{name}+{size}", name, Remembered(size, size.to_bytes(8, "big"), size))


def test_several_processes_lose_nothing(tmp_path: Path) -> None:
    """Four processes that remember at once leave the largest of each, and all that each wrote."""
    file = tmp_path / "deep" / "heads.json"
    context = multiprocessing.get_context("spawn")
    work = [("a", range(0, 40, 2)), ("a", range(1, 40, 2)), ("b", range(20)), ("b", range(20, 40))]
    processes = [context.Process(target=_grow, args=(str(file), *one)) for one in work]
    for process in processes:
        process.start()
    while any(process.is_alive() for process in processes):
        read_memory(file)  # whoever reads meanwhile finds a whole file
    for process in processes:
        process.join()
        assert process.exitcode == 0
    memory = read_memory(file)
    assert {name: one.size for name, one in memory.journals.items()} == {"a": 39, "b": 39}
    assert len(memory.places) == 160
    assert {path.name for path in file.parent.iterdir()} - {"heads.log"} == {"heads.json", "heads.lock"}


@given(st.lists(st.tuples(st.sampled_from("ab"), st.integers(1, 99)), max_size=12), st.data())
def test_a_log_that_was_torn_tells_what_is_whole_in_it(
    grown: list[tuple[str, int]], data: st.DataObject
) -> None:
    """Cut off anywhere, the log still tells each line before the cut, and what comes after is told as well."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "heads.json"
        change_memory(file, lambda memory: memory.places.update(x=Stood("y", None)))
        ends = []
        for name, size in grown:
            keep_in_memory(file, f"at {name}", name, Remembered(size, bytes(8), size))
            ends.append(file.with_suffix(".log").stat().st_size)
        cut = data.draw(st.integers(0, ends[-1] if ends else 0))
        if ends:
            os.truncate(file.with_suffix(".log"), cut)
        # The newline that ends a line may be what is missing: the line is whole all the same.
        whole = [one for one, end in zip(grown, ends, strict=True) if end - 1 <= cut]
        keep_in_memory(file, "at c", "c", Remembered(7, bytes(8), 7))
        largest: dict[str, int] = {}
        for name, size in [*whole, ("c", 7)]:
            largest[name] = max(size, largest.get(name, 0))
        memory = read_memory(file)
        assert {name: one.size for name, one in memory.journals.items()} == largest
        assert {place: one.journal for place, one in memory.places.items()} == {
            "x": "y", **{f"at {name}": name for name in largest}
        }  # fmt: skip


def test_a_long_log_becomes_one_with_the_file(tmp_path: Path) -> None:
    """The log never grows beyond its bound by more than a line, and nothing that it told is forgotten."""
    file = tmp_path / "heads.json"
    log = file.with_suffix(".log")
    lengths = set()
    for size in range(1, 400):
        keep_in_memory(file, "here", "a", Remembered(size, bytes(500), size))
        assert read_memory(file).journals["a"].size == size
        lengths.add(log.stat().st_size if log.exists() else 0)
    assert max(lengths) < heads.LONGEST_LOG + 2_000
    assert {size for size in lengths if size < 3_000}, "it was never made one"


def test_what_is_forgotten_is_in_no_log(tmp_path: Path) -> None:
    """Who forgets a journal forgets what the log tells of it."""
    file = tmp_path / "heads.json"
    for size in (1, 2, 3):
        keep_in_memory(file, "here", "a", Remembered(size, bytes(8), size))
    change_memory(file, lambda memory: memory.journals.clear())
    assert read_memory(file).journals == {}


@pytest.mark.skipif(sys.platform == "win32", reason="no file modes there")
def test_nobody_else_reads_it(tmp_path: Path) -> None:
    """The file and its lock are the user's alone, whatever his umask."""
    file = tmp_path / "state" / "heads.json"
    change_memory(file, lambda memory: memory.places.update(a=Stood("b", None)))
    assert {stat.S_IMODE(path.stat().st_mode) for path in file.parent.iterdir()} == {0o600}
    assert stat.S_IMODE(file.parent.stat().st_mode) == 0o700


def test_what_changes_nothing_writes_nothing(tmp_path: Path) -> None:
    """Who remembers what is remembered already costs the disk nothing."""
    file = tmp_path / "heads.json"
    change_memory(file, lambda memory: memory.places.update(a=Stood("b", None)))
    before = file.stat()
    change_memory(file, lambda memory: memory.places.update(a=Stood("b", None)))
    assert file.stat().st_ino == before.st_ino


@pytest.mark.parametrize(
    "text", ["", "{", "[]", "{}", '{"journals":{"a":{}},"places":{},"forgotten":[]}', "\xff"]
)
def test_what_is_none_is_said_and_kept(text: str, tmp_path: Path) -> None:
    """A damaged file is never taken for an empty one, and stays until somebody says so."""
    file = tmp_path / "heads.json"
    file.write_text(text, encoding="latin-1")
    with pytest.raises(Unreadable):
        read_memory(file)
    with pytest.raises(Unreadable):
        change_memory(file, lambda memory: None)
    assert file.read_text(encoding="latin-1") == text
    change_memory(file, lambda memory: memory.places.update(a=Stood("b", None)), anew=True)
    assert json.loads(file.read_text())["places"] == {"a": "b"}


@pytest.mark.skipif(sys.platform == "win32", reason="another sort of lock there")
def test_nobody_waits_for_ever(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where another process never gives the lock back, that is said after a while, and nothing is changed."""
    import fcntl

    monkeypatch.setattr("cfgtrack.files.heads.WAIT", 0.05)
    file = tmp_path / "heads.json"
    with file.with_suffix(".lock").open("w") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        with pytest.raises(TimeoutError):
            change_memory(file, lambda memory: memory.places.update(a=Stood("b", None)))
    assert not file.exists()
    change_memory(file, lambda memory: memory.places.update(a=Stood("b", None)))


def test_what_an_earlier_version_remembered_is_read(tmp_path: Path) -> None:
    """It wrote down the largest tree of a journal, and of a place the journal alone."""
    file = tmp_path / "heads.json"
    old = {
        "journals": {"a": {"size": 3, "frontier": "00", "known": 7}},
        "places": {"here": "a"},
        "forgotten": [],
    }
    file.write_text(json.dumps(old))
    memory = read_memory(file)
    assert memory.journals == {"a": Remembered(3, b"\0", 7)}
    assert memory.places == {"here": Stood("a", None)}
    keep_in_memory(file, "here", "a", Remembered(4, b"\1", 8))
    change_memory(file, lambda memory: None)
    now = Remembered(4, b"\1", 8, at="here")
    assert read_memory(file) == Memory({"a": now}, {"here": Stood("a", now)}, [])


def test_what_never_ends_is_damaged(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A device in the place of the file or of its log is none of ours, and too much of a file isn't either."""
    file = tmp_path / "heads.json"
    for one in (file, file.with_suffix(".log")):
        one.symlink_to("/dev/zero")
        with pytest.raises(Unreadable):
            read_memory(file)
        one.unlink()
    monkeypatch.setattr(heads, "MOST_BYTES", 10)
    file.write_text(" " * 11)
    with pytest.raises(Unreadable):
        read_memory(file)
