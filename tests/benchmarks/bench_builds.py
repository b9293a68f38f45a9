"""Builds of one bait: no two alike, so that nothing of a bill or its mass is remembered."""

from __future__ import annotations

import multiprocessing
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import pytest

import sim
from sim.studies.builds import SHOP, BuildStudy
from sim.studies.engine import run_cases

CONFIG = Path(__file__).parents[2] / "configs" / "shallow-runner.toml"
SPEEDS = (0.4, 1.2, 2.0)  # m/s
BUILDS, WORKERS, CHUNK = 2000, 2, 120


@pytest.fixture(scope="module")
def study() -> BuildStudy:
    return BuildStudy("builds", "", sim.load_config(CONFIG), {}, SPEEDS, BUILDS, BUILDS, 256)


def chunk_done(study: BuildStudy, first: int) -> int:
    return len(run_cases(study, study.cases(SHOP)[first : first + CHUNK].tolist()).case)


def spread(pool: ProcessPoolExecutor, study: BuildStudy) -> int:
    runs = study.cases(SHOP).size
    return sum(
        w.result() for w in [pool.submit(chunk_done, study, i) for i in range(0, runs, CHUNK)]
    )


def bench_builds_two_processes(benchmark: Any, rates: dict[str, float], study: BuildStudy) -> None:
    """2000 builds at three speeds; the start of the processes is not counted."""
    benchmark.group = "2000 builds at 3 speeds"
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(WORKERS, mp_context=context) as pool:
        for done in [pool.submit(chunk_done, study, i) for i in (0, CHUNK)]:
            done.result()  # imports and compiled code
        benchmark.pedantic(spread, args=(pool, study), rounds=2)
    rates["builds 2 processes"] = study.cases(SHOP).size / float(benchmark.stats.stats.min)
