"""How a schedule may come out: durations drawn at random, again and again, and when everything then is.

Samples are drawn in chunks, each from a seed of its own that is made of the seed and the chunk's number: so the
same seed gives the same numbers on every machine, in whatever order and by however many workers the chunks are
drawn. A chunk is laid out column by column, a column a point of the schedule, which a plain interpreter does fast
enough.
"""

from __future__ import annotations

from array import array
from collections.abc import Generator, Iterable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from itertools import repeat
from operator import add, eq, lt, sub
from random import Random

from cfgtrack.analysis.campaign import each
from cfgtrack.analysis.duration_model import Shape, Takes, drawing
from cfgtrack.model.sequence import NEVER, Schedule

CHUNK = 500
"""How many samples are drawn from one seed."""


@dataclass(frozen=True, slots=True)
class Draws:
    """What is drawn: a schedule as numbers alone, with the shape of its durations. Times count from `origin` on."""

    before: tuple[tuple[int, ...], ...]
    floor: tuple[int | None, ...]
    takes: tuple[Takes, ...]
    shape: Shape
    seed: int
    origin: int = 0


def draws_of(schedule: Schedule, shape: Shape, seed: int) -> Draws:
    """Return what is drawn of a schedule."""
    origin = min((floor for floor in schedule.floor if floor != NEVER), default=0)
    return Draws(
        tuple(map(tuple, schedule.before)),
        tuple(None if floor == NEVER else floor - origin for floor in schedule.floor),
        tuple(schedule.takes),
        shape,
        seed,
        origin,
    )


@dataclass(frozen=True, slots=True)
class Chunk:
    """Some samples: a column of times for each point of the schedule, from the origin on."""

    number: int
    times: tuple[array[int], ...]

    def __len__(self) -> int:
        return len(self.times[0]) if self.times else 0


def draw_chunk(piece: tuple[Draws, int, int]) -> Chunk:
    """Draw a chunk: what is drawn, the number of the chunk, and how many samples."""
    draws, number, size = piece
    # Nothing is kept secret by it.
    random = Random(f"cfgtrack samples {draws.seed} {number}").random  # noqa: S311
    times: list[list[int]] = []
    for before, floor, takes in zip(draws.before, draws.floor, draws.takes, strict=True):
        columns = [times[p] for p in before]
        begin: Iterable[int] = repeat(floor, size) if floor is not None else []
        if columns and floor is not None:
            begin = map(max, repeat(floor), *columns)
        elif len(columns) > 1:
            begin = map(max, *columns)
        elif columns:
            begin = columns[0]
        low, _, high = takes
        if high == 0:
            times.append(list(begin))
        elif low == high:
            times.append(list(map(add, begin, repeat(low))))
        else:
            times.append(list(map(add, begin, drawing(draws.shape, takes)([random() for _ in range(size)]))))
    return Chunk(number, tuple(array("q", column) for column in times))


def chunks(draws: Draws, samples: int, *, executor: Executor | None = None) -> Generator[Chunk, None, None]:
    """Yield so many samples, chunk by chunk, in order."""
    sizes = [CHUNK] * (samples // CHUNK) + ([samples % CHUNK] if samples % CHUNK else [])
    return each(draw_chunk, [(draws, number, size) for number, size in enumerate(sizes)], executor=executor)


# --- what of an order matters -------------------------------------------------------------------------------------

OrderKey = tuple[bool, ...]
"""Which of two points comes first, and whether they are at one instant, for each pair of which that matters."""


def orders(chunk: Chunk, pairs: Sequence[tuple[int, int]]) -> dict[OrderKey, list[int]]:
    """Return the samples of a chunk by the order of those pairs of points that it depends on."""
    if not pairs:
        return {(): list(range(len(chunk)))}
    columns = [list(map(compare, chunk.times[a], chunk.times[b])) for a, b in pairs for compare in (lt, eq)]
    out: dict[OrderKey, list[int]] = {}
    for number, key in enumerate(zip(*columns, strict=True)):
        out.setdefault(key, []).append(number)
    return out


def takes_in(draws: Draws, chunk: Chunk, number: int) -> tuple[int, ...]:
    """Return what each point takes in one sample of a chunk."""
    times = [column[number] for column in chunk.times]
    out = []
    for time, before, floor in zip(times, draws.before, draws.floor, strict=True):
        ahead = [times[p] for p in before]
        out.append(time - max([*ahead, *([] if floor is None else [floor])]))
    return tuple(out)


# --- what drives it -----------------------------------------------------------------------------------------------


def durations_in(draws: Draws, chunk: Chunk, point: int) -> list[int]:
    """Return what a point takes in each sample of a chunk."""
    columns: list[Iterable[int]] = [chunk.times[p] for p in draws.before[point]]
    floor = draws.floor[point]
    if floor is not None:
        columns.append(repeat(floor, len(chunk)))
    begin = map(max, *columns) if len(columns) > 1 else columns[0]
    return list(map(sub, chunk.times[point], begin))


def criticality(draws: Draws, chunk: Chunk, begin: int, over: int) -> dict[int, int]:
    """Return in how many samples of a chunk each point between two lies on a longest way to the second.

    Van Slyke, "Monte Carlo methods and the PERT problem", Operations Research 11 (1963) 839: the criticality index.
    """
    size = len(chunk)
    on_way: list[list[bool] | None] = [None] * (over + 1)
    on_way[over] = [True] * size
    counted: dict[int, int] = {}
    for point in range(over, begin, -1):
        here = on_way[point]
        if here is None:
            continue
        if point != over:
            counted[point] = sum(here)
        starts = list(map(sub, chunk.times[point], durations_in(draws, chunk, point)))
        for p in draws.before[point]:
            if p <= begin:
                continue
            decides = map(eq, chunk.times[p], starts)
            both = [a and b for a, b in zip(here, decides, strict=True)]
            ahead = on_way[p]
            on_way[p] = both if ahead is None else [a or b for a, b in zip(ahead, both, strict=True)]
    return counted


def ranks(values: Sequence[int]) -> list[float]:
    """Return the rank of each value, from 1 on; equal ones share the middle of theirs.

    >>> ranks([30, 10, 30])
    [2.5, 1.0, 2.5]
    """
    by_value = sorted(range(len(values)), key=values.__getitem__)
    out = [0.0] * len(values)
    first = 0
    while first < len(by_value):
        last = first
        while last + 1 < len(by_value) and values[by_value[last + 1]] == values[by_value[first]]:
            last += 1
        for i in range(first, last + 1):
            out[by_value[i]] = (first + last) / 2 + 1
        first = last + 1
    return out
