"""What a console holds a journal against, by plain lists of leaves: copies, exercises, forks and real rollbacks."""

from __future__ import annotations

from dataclasses import dataclass, field

from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.answers.console import held
from cfgtrack.files.heads import Memory, Remembered
from cfgtrack.store.growth import CUT, REWRITTEN

PLACES = "PQR"
STEPS = st.lists(
    st.one_of(
        st.tuples(st.just("grow"), st.sampled_from(PLACES), st.integers(1, 3)),
        st.tuples(st.just("copy"), st.sampled_from(PLACES), st.sampled_from(PLACES)),
        st.tuples(st.just("keep"), st.sampled_from(PLACES), st.just(0)),
        st.tuples(st.just("back"), st.sampled_from(PLACES), st.integers(0, 5)),
        st.tuples(st.just("look"), st.sampled_from(PLACES), st.just(0)),
    ),
    max_size=30,
)


def _begins(long: list[int], short: list[int]) -> bool:
    return long[: len(short)] == short


@dataclass
class _Told:
    """All that a console was shown, kept in full: what it ought to know, written without trees."""

    here: dict[str, list[int]] = field(default_factory=dict)
    most: list[int] = field(default_factory=list)


@given(STEPS)
def test_growing_is_no_rollback_and_losing_is_one(steps: list[tuple[str, str, object]]) -> None:
    """A place is doubted where it lost or changed what was seen in it; a new one, where it lacks what was seen."""
    worlds: dict[str, list[int]] = {"P": [0]}
    backups: list[list[int]] = [[0]]
    memory, told, texts = Memory(), _Told(), dict[bytes, list[int]]()
    fresh = 0
    for what, place, more in steps:
        if what == "copy" and place in worlds:
            worlds[str(more)] = list(worlds[place])
        elif what == "back":
            assert isinstance(more, int)
            worlds[place] = list(backups[more % len(backups)])
        elif what == "keep" and place in worlds:
            backups.append(list(worlds[place]))
        elif what == "grow" and place in worlds:
            assert isinstance(more, int)
            worlds[place] += range(fresh := fresh + 10, fresh + more)
        if what not in ("look", "grow") or place not in worlds:
            continue
        now = worlds[place]

        def fault(seen: Remembered, now: list[int] = now) -> str:
            leaves = texts[seen.frontier]
            return CUT if len(now) < len(leaves) else "" if _begins(now, leaves) else REWRITTEN

        found = held(memory, place, "journal", fault)
        wanted = told.here.get(place, told.most)
        assert bool(found.code) is not _begins(now, wanted)
        if found.code:
            continue  # nothing is remembered of it
        assert bool(found.elsewhere) is (place in told.here and not _begins(now, told.most))
        text = repr(now).encode()
        texts[text] = list(now)
        memory.keep(place, "journal", Remembered(len(now), text, 0))
        told.here[place] = list(now)
        told.most = max(told.most, list(now), key=len)
