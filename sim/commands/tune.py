"""``runtrue tune``: which way and how far to bend the eye of a bait that runs to one side."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sim import terminal
from sim.commands.inputs import load_settings, warn
from sim.commands.short import Files, WorkersOption, run_short, tell
from sim.commands.speeds import (
    FASTEST_M_S,
    SLOWEST_M_S,
    FastestOption,
    SlowestOption,
    SpeedsOption,
    retrieve_problems,
    speed_problems,
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
    from sim.config.models import Config

EXAMPLES = epilog(
    "runtrue tune pike.toml --set bait.bill.yaw_error_deg=2",
    "runtrue tune pike.toml --eye-mm 6 --fastest 1.5",
)
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
    try:
        settings = load_settings(config, set_)
        problems += _bait_problems(settings)
    except ConfigError as error:
        raise ConfigError(problems + error.problems) from None
    if problems:
        raise ConfigError(problems)
    if eye_mm is not None:
        from sim.config import with_overrides

        settings = with_overrides(settings, {"bait.tie.eye_mm": eye_mm})
    files = Files.of(f"{settings.name or 'bait'}-tune", output, picture, force=force)
    files.check(config)
    study = tune_study(towed(settings), speed_row(settings, slowest, fastest, speeds))
    result = run_short(study, files, quiet=quiet, workers=workers)

    from sim.plots.tune import save_tune_figure
    from sim.report.tune import tune_facts, tune_summary

    tell(
        files,
        as_json=json_,
        facts=lambda drawn: tune_facts(result, str(files.result), drawn),
        summary=lambda: tune_summary(result),
        draw=lambda path: save_tune_figure(result, path),
    )
    warn(settings, quiet=quiet)
    failed = count_failed(result.status)
    if failed:
        where = 'see "failures"' if json_ else "see above"
        terminal.complain(f"{config}: {failed} of its runs failed, {where}.")
        raise typer.Exit(terminal.SOME_FAILED)


def _eye_problems(eye_mm: float | None) -> list[str]:
    if eye_mm is None or (math.isfinite(eye_mm) and 0.0 < eye_mm <= LONGEST_EYE_MM):
        return []
    return [f"--eye-mm {eye_mm:g}: must be > 0 and at most {LONGEST_EYE_MM:g} mm. Correct it."]


def _bait_problems(settings: Config) -> list[str]:
    """What a sound configuration lacks for tuning."""
    where = settings.source_path or "config"
    return retrieve_problems(settings) + [
        f"{where}: missing table [bait.{name}], needed for a bait to tune. Add it."
        for name in ("body", "bill")
        if getattr(settings.bait, name) is None
    ]


def count_failed(status: object) -> int:
    """Runs of a study that failed, from their places in STATUSES."""
    import numpy as np

    from sim.studies.engine import FAILED, STATUSES

    return int(np.isin(status, [STATUSES.index(name) for name in FAILED]).sum())  # type: ignore[arg-type]
