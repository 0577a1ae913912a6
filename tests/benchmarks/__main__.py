"""Run the benchmarks and print their figures."""

from __future__ import annotations

from tests.benchmarks import in_memory, over_http

for benchmark in (in_memory, over_http):
    for line in benchmark.measure():
        print(line, flush=True)
