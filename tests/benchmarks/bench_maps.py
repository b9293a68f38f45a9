"""Whole maps: configuration, assembly, start, stepping, measures and class of every cell."""

from __future__ import annotations

import dataclasses
import multiprocessing
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from sim.studies.engine import run_cases
from sim.studies.study import Study, load_study

STUDIES = Path(__file__).parents[2] / "configs" / "studies"
WORKERS = 2
TARGET = 600.0  # runs of 8 s a second on two cores
CHUNK = 128


@pytest.fixture(scope="module")
def study() -> Study:
    """The shipped map of the shallow runner with runs of 8 s, none longer and none shorter."""
    made = load_study(STUDIES / "shallow-runner-tie-speed.toml", {"solver.max_duration_s": 8.0})
    return dataclasses.replace(made, stop_early=False)


def chunk_done(study: Study, first: int) -> int:
    cases = range(first, min(first + CHUNK, study.case_count))
    return len(run_cases(study, cases).case)


def spread(pool: ProcessPoolExecutor, study: Study) -> int:
    work = [pool.submit(chunk_done, study, i) for i in range(0, study.case_count, CHUNK)]
    return sum(w.result() for w in work)


def bench_one_process(benchmark: Any, rates: dict[str, float], study: Study) -> None:
    benchmark.group = "a map of 2135 cells"
    cases = range(0, study.case_count, 4)
    run_cases(study, range(8))
    benchmark.pedantic(run_cases, args=(study, cases), rounds=3)
    rates["map 1 process"] = len(cases) / float(benchmark.stats.stats.min)
    rates["target"] = TARGET


@pytest.mark.parametrize(
    ("name", "changes"),
    [
        ("map 2 processes", {}),
        ("map 2 early", {"stop_early": True}),
    ],
)
def bench_two_processes(
    benchmark: Any, rates: dict[str, float], study: Study, name: str, changes: dict[str, Any]
) -> None:
    """The start of the processes, about a second once a study, is not counted."""
    benchmark.group = "a map of 2135 cells"
    made = dataclasses.replace(study, **changes)
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(WORKERS, mp_context=context) as pool:
        for done in [pool.submit(chunk_done, made, i) for i in (0, CHUNK)]:
            done.result()  # imports and compiled code
        benchmark.pedantic(spread, args=(pool, made), rounds=3)
    rates[name] = made.case_count / float(benchmark.stats.stats.min)
