"""Benchmarks: `python -m tests.bench` runs them all, `python -m tests.bench plans` that one.

Each prints ratios to a named floor, measured beside it.
"""

import runpy
import sys

ALL = ("bench_cli", "bench_store", "bench_loading", "bench_rules", "plans", "bench_pictures")

one = sys.argv[1:2]
for name in one or ALL:
    sys.argv = [name, *sys.argv[2:]] if one else [name]
    runpy.run_module(f"tests.bench.{name}", run_name="__main__")
    print(flush=True)
