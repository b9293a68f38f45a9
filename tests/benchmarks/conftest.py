"""Rates measured by the benchmarks, compared in the run that measured them."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

RATES: dict[str, float] = {}


@pytest.fixture(scope="session")
def rates() -> Iterator[dict[str, float]]:
    """Name to rate, a second; shared by all benchmarks of a run."""
    yield RATES


# what is compared with what: (name, its rate, the other rate)
PAIRS = (
    (
        "map on two processes over its target of 600 runs of 8 s a second",
        "map 2 processes",
        "target",
    ),
    ("two processes over one", "map 2 processes", "map 1 process"),
    (
        "builds of one bait over cells of a map, two processes",
        "builds 2 processes",
        "map 2 processes",
    ),
    ("with early stops over without", "map 2 early", "map 2 processes"),
    (
        "map on two processes over DOP853 from Python at equal error",
        "map 2 processes",
        "runs dop853",
    ),
    ("stepping on one core over DOP853 from Python, equal error", "runs eight", "runs dop853"),
    ("stepping eight abreast over one bait alone", "steps eight", "steps one"),
    ("body-steps on one core over MuJoCo rolled out on one", "steps eight", "steps mujoco"),
    ("arithmetic of the stepping over that of a matrix product", "flops eight", "flops peak"),
)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Print the rates and what they come to beside one another."""
    if not RATES:
        return
    terminalreporter.section("rates measured in this run")
    for name, rate in RATES.items():
        terminalreporter.write_line(f"{name:<28}{rate:>16,.0f} a second")
    for text, one, other in PAIRS:
        if one in RATES and other in RATES:
            terminalreporter.write_line(f"{RATES[one] / RATES[other]:>10.3g}  {text}")
