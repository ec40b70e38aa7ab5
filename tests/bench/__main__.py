"""Every benchmark in one run: `python -m tests.bench`. Each prints ratios to a named floor, measured beside it."""

import runpy
import sys

for name in ("bench_cli", "bench_store", "bench_loading", "bench_rules"):
    sys.argv = [name]
    runpy.run_module(f"tests.bench.{name}", run_name="__main__")
    print(flush=True)
