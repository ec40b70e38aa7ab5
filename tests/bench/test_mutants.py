"""The mutants that `tests.bench.mutants` makes, and what it says of those that a known test kills, or doesn't."""

import os
import subprocess
import sys
from itertools import pairwise

import pytest

from tests.bench.faults import Source, draw, faults, mutant
from tests.bench.mutants import CHECKOUT

PRICE = '''
"""Prices."""
from dataclasses import dataclass


@dataclass(frozen=True)
class Order:
    """So many of one price."""

    price: int | None
    count: int = 1


def reduced(price: int | float, count: int) -> int | float:
    """Return the price of each of many."""
    if count > 10 and price:
        return price - 1
    return price


def logged(price: int, log: list[int]) -> int:
    """Return a price, and keep it."""
    log.append(price)
    return price
'''

SHOP = """
def doubled(price):
    return price * 2


def logged(price, log):
    log.append(price)
    return price
"""

TESTS = """
import subprocess, sys
from shop.price import doubled, logged


def test_doubled():
    assert doubled(3) == 6


def test_of_a_log_that_nobody_reads():
    assert logged(5, []) == 5


def test_in_another_process():
    program = "from shop.price import logged as f; log = []; f(1, log); assert log == [1]"
    subprocess.run([sys.executable, "-c", program], check=True)
"""

PROGRAM = """
import sys
from pathlib import Path
from tests.bench.mutants import main
main(sys.argv[2:], Path(sys.argv[1]))
"""


@pytest.fixture
def source() -> Source:
    """A small file with all that faults are put into, or left out of."""
    return Source("shop/price.py", PRICE)


def changes(source: Source) -> dict[str, str]:
    """Return what is said of every mutant, with the one line that differs."""
    made = [mutant(source, fault) for fault in faults(source)]
    return {each.what: each.text for each in made if each is not None}


def test_known_faults_are_made(source) -> None:
    """A comparison, a connective, a sum, a number, a default, a call left out and None returned are among them."""
    made = changes(source)
    for fault in (
        "ReplaceComparisonOperator_Gt_GtE: if count > 10 and price:  ->  if count >= 10 and price:",
        "ReplaceAndWithOr: if count > 10 and price:  ->  if count > 10 or price:",
        "ReplaceBinaryOperator_Sub_Add: return price - 1  ->  return price + 1",
        "NumberReplacer: if count > 10 and price:  ->  if count > 11 and price:",
        "NumberReplacer: count: int = 1  ->  count: int = 2",
        "statement left out: log.append(price)  ->  pass",
        "None returned: return price - 1  ->  return None",
    ):
        assert fault in made
    changed = PRICE.replace("    log.append(price)", "    pass")
    assert made["statement left out: log.append(price)  ->  pass"] == changed


def test_what_nothing_can_notice_is_left_alone(source) -> None:
    """Annotations, decorators and docstrings get no fault."""
    lines = {text.partition("  ->  ")[0].partition(": ")[2] for text in changes(source)}
    untouched = {"price: int | None", "@dataclass(frozen=True)", '"""Prices."""'}
    assert not lines & untouched
    assert not any(line.startswith("def ") for line in lines)


def test_statement_of_a_fault_is_known(source) -> None:
    """A fault belongs to the lines of its statement; a default, or a constant of a class, runs on import."""
    of = {each.what: each.lines for fault in faults(source) if (each := mutant(source, fault)) is not None}
    row = PRICE.splitlines().index("    log.append(price)") + 1
    assert of["statement left out: log.append(price)  ->  pass"] == frozenset({row})
    assert of["NumberReplacer: count: int = 1  ->  count: int = 2"] is None


def test_same_seed_draws_the_same_mutants(source) -> None:
    """The sample follows from seed and tree, no place is in it twice, and another seed gives another."""
    first, second, other = (draw([source], 6, seed)[0] for seed in (3, 3, 4))
    assert first == second != other
    assert len({(each.fault.begin, each.fault.end) for each in first}) == 6


def test_killed_and_surviving_are_told_apart(tmp_path) -> None:
    """What a test notices that reaches the line is killed by it; what only another process notices, by the suite."""
    shop = tmp_path / "tree"
    (shop / "shop").mkdir(parents=True)
    (shop / "shop/__init__.py").write_text("")
    (shop / "shop/price.py").write_text(SHOP)
    (shop / "test_price.py").write_text(TESTS)
    (shop / "pytest.ini").write_text("[pytest]\npythonpath = .\n")
    words = ["--folder", tmp_path / "kept", "--modules", "shop", "--jobs", "1"]
    command = [sys.executable, "-c", PROGRAM, shop, *words]
    environment = {**os.environ, "PYTHONPATH": str(CHECKOUT)}
    done = subprocess.run(command, cwd=CHECKOUT, env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    rows = done.stdout.splitlines()
    fates = {(row.partition(": ")[2], fate.partition(" (")[0].strip()) for row, fate in pairwise(rows)}
    assert ("return price * 2  ->  return None", "killed by test_price.py::test_doubled") in fates
    assert ("log.append(price)  ->  pass", "SURVIVED 1 tests that reach it") in fates
    assert ("log.append(price)  ->  pass", "killed by test_price.py::test_in_another_process") in fates
    assert any(
        row.startswith("seed 1: 5 mutants, 5 killed, 0 of them by time, 0 survived (0.0%)") for row in rows
    )
    assert (shop / "shop/price.py").read_text() == SHOP
