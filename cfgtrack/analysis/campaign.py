"""Many pieces of work of one sort - sequences, failures, samples - done by whatever executor is handed in.

The executor is any of `concurrent.futures`: a pool of threads or of processes, or that of a Dask cluster
(`client.get_executor()`). Without one all is done here, one piece after the other. A piece is a function of a
module and one picklable argument; what comes back comes in the order of the pieces, whoever was ready first.

>>> done = run(abs, [-3, 2, -1])
>>> done.results, done.is_whole
([3, 2, 1], True)
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Generator, Iterable, Sequence
from concurrent.futures import Executor, Future
from contextlib import closing
from dataclasses import dataclass, field
from itertools import islice
from typing import Generic, TypeVar

Piece = TypeVar("Piece")
Result = TypeVar("Result")

Tell = Callable[[int, int], None]
"""Is told how many pieces are done, and of how many."""

AHEAD = 64
"""How many pieces are handed out at most before the first of them is back: so many wait in memory."""


class Cancelled(Exception):
    """The work is to stop here, and what is done so far is to be kept: raised by who is told of the progress."""


@dataclass(slots=True)
class Campaign(Generic[Result]):
    """What a campaign came to: the results so far, in order, of `pieces`."""

    pieces: int
    results: list[Result] = field(default_factory=list)

    @property
    def is_whole(self) -> bool:
        """Whether every piece was done."""
        return len(self.results) == self.pieces


def run(
    work: Callable[[Piece], Result],
    pieces: Sequence[Piece],
    *,
    executor: Executor | None = None,
    tell: Tell | None = None,
) -> Campaign[Result]:
    """Do some work for each of several pieces. An interrupt, or `Cancelled`, keeps what is done by then.

    Whatever else a piece raises is raised here; the rest isn't begun then.
    """
    done = Campaign[Result](len(pieces))
    try:
        with closing(each(work, pieces, executor=executor)) as results:
            for result in results:
                done.results.append(result)
                if tell is not None:
                    tell(len(done.results), len(pieces))
    except (KeyboardInterrupt, Cancelled):
        pass
    return done


def each(
    work: Callable[[Piece], Result], pieces: Iterable[Piece], *, executor: Executor | None = None
) -> Generator[Result, None, None]:
    """Yield what some work gives for each of several pieces, in order. What waits when nobody asks on is cancelled."""
    if executor is None:
        yield from map(work, pieces)
        return
    coming = iter(pieces)
    under_way: deque[Future[Result]] = deque()
    try:
        for piece in islice(coming, AHEAD):
            under_way.append(executor.submit(work, piece))
        while under_way:
            result = under_way[0].result()
            under_way.popleft()
            for piece in islice(coming, 1):
                under_way.append(executor.submit(work, piece))
            yield result
    finally:
        for future in under_way:
            future.cancel()
