"""Campaigns: the same results in the same order, whoever does the work; an interrupt keeps what is there."""

from __future__ import annotations

import threading
import time
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from multiprocessing import get_context

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.analysis.campaign import AHEAD, Cancelled, each, run
from cfgtrack.analysis.check import Start
from cfgtrack.analysis.duration_model import Shape
from cfgtrack.analysis.how_long import Sampling, how_long
from cfgtrack.model.configuration import Configuration
from tests.analysis.test_mixes import PLANT, looked_at, plan, step


def halved(number: int) -> float:
    """Take longer for small numbers, so that later pieces are done first."""
    time.sleep(0.002 if number % 5 == 0 else 0)
    return number / 2


def refused(number: int) -> int:
    """Fail at one piece."""
    if number == 7:
        raise ZeroDivisionError
    return number


@given(st.lists(st.integers(-9, 9)))
def test_results_come_in_the_order_of_the_pieces(pieces: list[int]) -> None:
    """Done here or by threads, each result stands where its piece stood."""
    here = run(abs, pieces)
    assert (here.results, here.is_whole) == ([abs(one) for one in pieces], True)
    with ThreadPoolExecutor(3) as threads:
        assert run(abs, pieces, executor=threads) == here


def test_more_pieces_than_are_handed_out_at_once() -> None:
    """Never more wait than are allowed to, and all are done in order, whichever is ready first."""
    waiting = []

    class Counting(Executor):
        """Does a piece when somebody asks for it."""

        def submit(self, fn, /, *args, **kwargs):
            future: Future = Future()
            waiting.append(future)
            future.set_result(fn(*args, **kwargs))
            return future

    results = each(halved, range(3 * AHEAD), executor=Counting())
    assert next(results) == 0
    assert len(waiting) == AHEAD + 1
    assert [0.0, *results] == [number / 2 for number in range(3 * AHEAD)]
    with ThreadPoolExecutor(4) as threads:
        assert run(halved, range(2 * AHEAD), executor=threads).results == [n / 2 for n in range(2 * AHEAD)]


def test_what_a_piece_raises_comes_back() -> None:
    """An error is raised where the campaign was asked for, in process and by an executor alike."""
    with pytest.raises(ZeroDivisionError):
        run(refused, range(20))
    with ThreadPoolExecutor(2) as threads, pytest.raises(ZeroDivisionError):
        run(refused, range(20), executor=threads)


@pytest.mark.parametrize("stop", [Cancelled, KeyboardInterrupt])
def test_an_interrupt_keeps_what_is_done(stop: type[BaseException]) -> None:
    """What was done is there, in order; what waits is cancelled and never begun."""
    begun = set()
    gate = threading.Event()

    def work(number: int) -> int:
        begun.add(number)
        if number > 4:
            gate.wait(5)
        return number

    def tell(done: int, of: int) -> None:
        assert of == 50
        if done == 4:
            raise stop

    with ThreadPoolExecutor(1) as threads:
        found = run(work, range(50), executor=threads, tell=tell)
        gate.set()
    assert (found.results, found.is_whole) == ([0, 1, 2, 3], False)
    assert len(begun) < 10


SEQUENCE = plan(
    step("1", "a", "inspect P:A", (1, 5, 9)),
    step("2", "b", "remark P:A", (2, 5, 12)),
    step("3", "a", "remark P:B", (0, 2, 4)),
)


def sampled(executor: Executor | None):
    """Sample a plan."""
    drawn = Sampling(1_300, 11, Shape.PERT)
    return how_long(looked_at(4), Start(Configuration(PLANT)), SEQUENCE, drawn=drawn, executor=executor)


def test_samples_are_the_same_whoever_draws_them() -> None:
    """Drawn here, by threads or by new processes, the answer is the same to the last digit."""
    here = sampled(None)
    assert here.samples == 1_300
    with ThreadPoolExecutor(3) as threads:
        assert sampled(threads) == here
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as processes:
        assert sampled(processes) == here
