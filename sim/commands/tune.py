"""``runtrue tune``: which way and how far to bend the eye of a bait that runs to one side."""

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
    from sim.studies.store import MapResult

EXAMPLES = epilog(
    "runtrue tune pike.toml --set bait.bill.yaw_error_deg=2",
    "runtrue tune pike.toml --eye-mm 6 --fastest 1.5",
)
MISSING = ", needed for a bait to tune."  # what is told of a table
LONGEST_EYE_MM = 50.0  # as bait.tie.eye_mm


def tune(
    config: ConfigFile,
    eye_mm: Annotated[
        float | None,
        typer.Option(
            "--eye-mm",
            metavar="MM",
            help="Length of the wire between the place where it bends and the knot, on top of"
            " bait.tie.eye_mm [mm].",
        ),
    ] = None,
    slowest: SlowestOption = SLOWEST_M_S,
    fastest: FastestOption = FASTEST_M_S,
    speeds: SpeedsOption = 3,
    output: OutputOption = None,
    picture: Annotated[Path | None, picture_option("Draw it there, not beside the result")] = None,
    workers: WorkersOption = None,
    set_: SetOption = None,
    force: ForceOption = False,
    quiet: QuietOption = False,
    json_: JsonOption = False,
) -> None:
    """Tell which way and how far to bend the eye of a bait.

    That is for a bait that runs to one side. It is towed at each of a row of speeds with its eye
    bent to either side, by up to 45 degrees. The best bend keeps drift and lean furthest within
    limits.run_off_deg and limits.lean_deg at all the speeds. What is off to one side in the file,
    such as bait.bill.yaw_error_deg, is put right in turn as well, to tell what cures the bait
    instead.

    Angles are in degrees, starboard is the bait's right-hand side. The runs are kept in
    results/NAME-tune.h5 and drawn in results/NAME-tune.png. Runs that cannot be built or blow up
    make the exit code 3.
    """
    from sim.studies.speeds import speed_row
    from sim.studies.tune import tune_study

    problems = speed_problems(slowest, fastest, speeds) + _eye_problems(eye_mm)
    settings = None
    try:
        settings = load_settings(config, set_)
        problems += retrieve_problems(settings) + table_problems(settings, MISSING)
    except ConfigError as error:
        problems += error.problems
    name = (settings and settings.name) or "bait"
    files = Files.of(f"{name}-tune", output, picture, force=force)
    problems += files.problems(config)
    if problems or settings is None:
        raise ConfigError(problems)
    if eye_mm is not None:
        from sim.config import with_overrides

        settings = with_overrides(settings, {"bait.tie.eye_mm": eye_mm})
    files.check()
    study = tune_study(towed(settings), speed_row(settings, slowest, fastest, speeds))
    result = run_short(study, files, quiet=quiet, workers=workers)
    try:
        _tell(result, files, as_json=json_)
        warn(settings, quiet=quiet)
    except KeyboardInterrupt:
        terminal.complain(f"interrupted; the bends are in {files.result}.")
        raise typer.Exit(terminal.INTERRUPTED) from None
    close(result, config, as_json=json_)


def _tell(result: MapResult, files: Files, *, as_json: bool) -> None:
    """Put right what is off to one side where the bait does not run true, and tell it all."""
    from sim.plots.tune import save_tune_figure
    from sim.report.tune import tune_facts, tune_summary
    from sim.studies.tune import put_right, tuning

    found = tuning(result)
    righted = (
        () if found.verdict == "runs true" else put_right(result.study.base, found.speeds.tolist())
    )
    tell(
        files,
        as_json=as_json,
        facts=lambda drawn: tune_facts(result, str(files.result), drawn, righted),
        summary=lambda: tune_summary(result, righted),
        draw=lambda path: save_tune_figure(result, path),
    )


def _eye_problems(eye_mm: float | None) -> list[str]:
    if eye_mm is None or (math.isfinite(eye_mm) and 0.0 < eye_mm <= LONGEST_EYE_MM):
        return []
    return [f"--eye-mm {eye_mm:g}: must be > 0 and at most {LONGEST_EYE_MM:g} mm. Correct it."]
