"""The options for a range of speeds, and what a bait needs to be retrieved at them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from sim.config.models import Config

SLOWEST_M_S, FASTEST_M_S = 0.4, 2.0  # what a maker winds at, from creeping to burning
MOST_M_S = 10.0  # as for retrieve.speed_m_s
MOST_SPEEDS = 20

SlowestOption = Annotated[
    float, typer.Option("--slowest", metavar="M_S", help="Slowest speed it is retrieved at [m/s].")
]
FastestOption = Annotated[
    float, typer.Option("--fastest", metavar="M_S", help="Fastest speed it is retrieved at [m/s].")
]
SpeedsOption = Annotated[
    int,
    typer.Option(
        "--speeds",
        metavar="N",
        help="Speeds from the slowest to the fastest, in even steps; that of the file is added.",
    ),
]


def speed_problems(slowest: float, fastest: float, count: int, fewest: int = 2) -> list[str]:
    """What is wrong with the three options, a line each."""
    problems = []
    for option, given in (("--slowest", slowest), ("--fastest", fastest)):
        if not (math.isfinite(given) and 0.0 < given <= MOST_M_S):
            problems.append(
                f"{option} {given:g}: must be > 0 and at most {MOST_M_S:g} m/s. Correct it."
            )
    if not problems and slowest >= fastest:
        problems.append(
            f"--slowest {slowest:g}: must be less than --fastest {fastest:g} m/s. Correct one."
        )
    if not fewest <= count <= MOST_SPEEDS:
        problems.append(f"--speeds {count}: must be from {fewest} to {MOST_SPEEDS}. Correct it.")
    return problems


def retrieve_problems(settings: Config, name: str = "config") -> list[str]:
    """Why a bait cannot be retrieved at a row of speeds, a line each.

    Parameters
    ----------
    settings : Config
    name : str          its file, where it has none
    """
    where = settings.source_path or name
    problems = []
    if settings.line is None:
        problems.append(
            f"{where}: has no table [line], but its runs are to be retrieves. Add [line] (every key"
            " has a default), and [bait.tie] where there is none."
        )
    elif not settings.loads.line:
        problems.append(
            f"{where}: loads.line = false: must be true, its runs are retrieves. Take it out."
        )
    if settings.solver.method != "rk4":
        problems.append(
            f'{where}: has solver.method = "dop853", but rows of runs are stepped by "rk4" alone.'
            " Take it out."
        )
    return problems


def table_problems(settings: Config, missing: str) -> list[str]:
    """Tables of the bait that there must be, body and bill; a line for each that is missing.

    Parameters
    ----------
    settings : Config
    missing : str        why it must be there, behind the name of the table
    """
    where = settings.source_path or "config"
    return [
        f"{where}: missing table [bait.{name}]{missing} Add [bait.{name}]."
        for name in ("body", "bill")
        if getattr(settings.bait, name) is None
    ]


def towed(settings: Config) -> Config:
    """The same bait with the rod tip moving: a line that is reeled in comes to an end.

    It is then among the overrides, and so told as set.
    """
    from sim.config import with_overrides

    if settings.retrieve.mode == "tow":
        return settings
    return with_overrides(settings, {"retrieve.mode": "tow"})
