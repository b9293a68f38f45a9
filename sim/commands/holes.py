"""``runtrue holes``: the row of trial holes of a bait, and the sweet spot in it."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sim import terminal
from sim.commands.inputs import load_settings, warn
from sim.commands.short import Files, WorkersOption, close, run_short, tell
from sim.commands.speeds import (
    FASTEST_M_S,
    SLOWEST_M_S,
    FastestOption,
    SlowestOption,
    SpeedsOption,
    retrieve_problems,
    speed_problems,
    table_problems,
    towed,
)
from sim.errors import ConfigError
from sim.terminal import (
    ConfigFile,
    ForceOption,
    JsonOption,
    OutputOption,
    QuietOption,
    SetOption,
    epilog,
    picture_option,
)

if TYPE_CHECKING:
    from sim.studies.changes import Changes
    from sim.studies.store import MapResult
    from sim.studies.study import Study

LEAST_MM, MOST_MM = 0.1, 10.0
MISSING = ": the holes run over the nose of the body and out along the bill."  # of a table

EXAMPLES = epilog(
    "runtrue holes pike.toml",
    "runtrue holes pike.toml --slowest 0.6 --fastest 1.5 --try-changes",
)


def holes(
    config: ConfigFile,
    pitch_mm: Annotated[
        float,
        typer.Option(
            "--pitch-mm",
            metavar="MM",
            help="Distance from hole to hole, 0.1 to 10; the ends of the sweet spot are found to a"
            " quarter of it.",
        ),
    ] = 1.0,
    slowest: SlowestOption = SLOWEST_M_S,
    fastest: FastestOption = FASTEST_M_S,
    speeds: SpeedsOption = 9,
    try_changes: Annotated[
        bool,
        typer.Option(
            "--try-changes",
            help="Find out what would widen the sweet spot: another bill, weights elsewhere, more"
            " or less mass. Done anyway where there is none.",
        ),
    ] = False,
    output: OutputOption = None,
    picture: Annotated[
        Path | None, picture_option("Draw the holes there, not beside their file")
    ] = None,
    set_: SetOption = None,
    workers: WorkersOption = None,
    force: ForceOption = False,
    quiet: QuietOption = False,
    json_: JsonOption = False,
) -> None:
    """Drill a row of trial holes, and tell where the sweet spot is.

    The holes go down the nose and out along the bill, and each is run at a range of speeds. The
    sweet spot is the longest stretch of holes at which the bait is balanced at every speed and
    never goes round. Where there is none, the nearest hole is told, and what to change first, found
    by trying.

    Places are in mm, speeds in m/s, angles in degrees, the wobble in Hz. The runs are kept in
    results/NAME-holes.h5 and drawn in results/NAME-holes.png, NAME being the name of the bait.
    """
    problems = speed_problems(slowest, fastest, speeds)
    if not (math.isfinite(pitch_mm) and LEAST_MM <= pitch_mm <= MOST_MM):
        problems.append(
            f"--pitch-mm {pitch_mm:g}: must be from {LEAST_MM:g} to {MOST_MM:g} mm. Correct it."
        )
    settings = None
    try:
        settings = load_settings(config, set_)
        problems += retrieve_problems(settings) + table_problems(settings, MISSING)
    except ConfigError as error:
        problems += error.problems
    name = (settings and settings.name) or "bait"
    files = Files.of(f"{name}-holes", output, picture, force=force)
    problems += files.problems(config)
    if problems or settings is None:
        raise ConfigError(problems)
    from sim.studies.holes import holes_study
    from sim.studies.speeds import speed_row

    settings = towed(settings)
    study = holes_study(settings, pitch_mm, speed_row(settings, slowest, fastest, speeds))
    files.check()
    result = run_short(study, files, quiet=quiet, workers=workers)
    try:
        changes = _changes(result, study, wanted=try_changes, quiet=quiet, workers=workers)
        _tell(result, changes, files, as_json=json_)
        warn(settings, quiet=quiet)
    except KeyboardInterrupt:
        terminal.complain(f"interrupted; the holes are in {files.result}.")
        raise typer.Exit(terminal.INTERRUPTED) from None
    close(result, config, as_json=json_)


def _changes(
    result: MapResult, study: Study, *, wanted: bool, quiet: bool, workers: int | None
) -> Changes | None:
    """What was tried, where it was asked for or there is no sweet spot."""
    from sim.studies.changes import try_changes
    from sim.studies.holes import sweet_spot
    from sim.studies.run import processors

    if not wanted and sweet_spot(result) is not None:
        return None
    with terminal.Tally(f"{study.name}, changes", quiet=quiet) as tally:
        return try_changes(result, workers=workers or processors(), progress=tally)


def _tell(result: MapResult, changes: Changes | None, files: Files, *, as_json: bool) -> None:
    from sim.plots.holes import save_holes_figure
    from sim.report.holes import holes_facts, holes_summary

    tell(
        files,
        as_json=as_json,
        facts=lambda drawn: holes_facts(result, str(files.result), drawn, changes),
        summary=lambda: holes_summary(result, changes),
        draw=lambda path: save_holes_figure(result, path),
    )
