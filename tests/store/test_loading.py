"""A load that is looked at before it counts: kept, refused or accepted; no half of it, no more than was accepted."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import count

from cfgtrack.files.definition import parse_definition
from cfgtrack.store.journal import Journal, open_journal
from cfgtrack.store.loading import Loading

PLANT = parse_definition({"plant.toml": '[[place]]\nid = "HALL"\n'})


def opened(url: str) -> Journal:
    """Open a journal whose clock ticks."""
    ticks = count(1)
    return open_journal(url, clock=lambda: next(ticks))


class Judging:
    """Finds something else each time it is asked."""

    def __init__(self, *found: Sequence[str]) -> None:
        self.found: Iterator[Sequence[str]] = iter(found)
        self.places: list[int] = []

    def __call__(self, loading: Loading) -> Sequence[str]:
        """Return what must be accepted; note how many places there are before and after."""
        self.places += [len(loading.before.plant.places), len(loading.after.plant.places)]
        return next(self.found)


def test_both_sides_of_a_load_are_seen(url: str) -> None:
    """Whoever judges sees what was before and what would be, and nothing of it is kept when he is refused."""
    with opened(url) as journal:
        judge = Judging(("less",))
        report = journal.load(PLANT, by=None, recorder=None, judge=judge)
        assert (report.refused, report.event, report.accepted) == (True, None, None)
        assert judge.places == [0, 1]
        assert list(journal.log()) == []


def test_no_more_is_accepted_than_was_found(url: str) -> None:
    """Where another one writes in between, so that more must be accepted, what is recorded is what was found last."""
    with opened(url) as journal:
        judge = Judging(("a",), ("a", "b"), ("a", "b"))
        report = journal.load(PLANT, by=None, recorder=None, judge=judge, accept="so it is")
        assert (report.refused, report.accepted) == (False, "so it is")
        (line,) = journal.log()
        body = line.entry.event.body or {}
        assert body["accepted"] == {"reason": "so it is", "what": ["a", "b"]}


def test_what_needs_nothing_records_no_reason(url: str) -> None:
    """A reason for nothing is not recorded."""
    with opened(url) as journal:
        report = journal.load(PLANT, by=None, recorder=None, judge=Judging(()), accept="so it is")
        (line,) = journal.log()
        assert report.accepted is None
        assert sorted(line.entry.event.body or {}) == ["count", "items"]
