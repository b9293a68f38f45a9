"""``runtrue risk``: what comes of builds that are a little off, and how closely to build."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sim import terminal
from sim.commands.inputs import RESULTS, load_settings, warn
from sim.commands.pictures import Pictures
from sim.commands.resumable import LongCall, ResumeOption, SchedulerOption
from sim.commands.short import WorkersOption
from sim.commands.speeds import (
    FASTEST_M_S,
    SLOWEST_M_S,
    FastestOption,
    SlowestOption,
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
    from rich.console import RenderableType

    from sim.config.models import Config
    from sim.studies.builds import BuildStudy
    from sim.studies.risk import RiskResult

BUILDS, SPEEDS, TARGET_PERCENT, SEED = 2000, 3, 5.0, 1
FEWEST, MOST = 16, 100_000  # builds
FEWEST_PAIRS = 16  # builds for the indices: an eighth of all
MOST_SEED = 2**63 - 1

EXAMPLES = epilog(
    "runtrue risk pike.toml",
    "runtrue risk pike.toml --target-percent 2 --set build.bill_yaw_deg=0.5",
)


def risk(
    config: ConfigFile,
    builds: Annotated[
        int,
        typer.Option(
            "--builds", metavar="N", help="Builds, 16 to 100000; more of them narrow the answer."
        ),
    ] = BUILDS,
    slowest: SlowestOption = SLOWEST_M_S,
    fastest: FastestOption = FASTEST_M_S,
    speeds: Annotated[
        int,
        typer.Option(
            "--speeds",
            metavar="N",
            help="Speeds from the slowest to the fastest, in even steps; 1 is that of the file"
            " alone.",
        ),
    ] = SPEEDS,
    target_percent: Annotated[
        float,
        typer.Option(
            "--target-percent",
            metavar="P",
            help="Bad builds that you would put up with, per cent; how closely to build for that is"
            " found out.",
        ),
    ] = TARGET_PERCENT,
    seed: Annotated[
        int,
        typer.Option("--seed", metavar="N", help="Another seed draws other builds."),
    ] = SEED,
    output: OutputOption = None,
    picture: Annotated[
        list[Path] | None,
        picture_option("Draw the risk there, not beside its file", repeated=True),
    ] = None,
    resume: ResumeOption = False,
    scheduler: SchedulerOption = None,
    workers: WorkersOption = None,
    set_: SetOption = None,
    force: ForceOption = False,
    quiet: QuietOption = False,
    json_: JsonOption = False,
) -> None:
    """Build a bait many times, each a little off, and count bad ones.

    Every build has its own errors, within the tolerances in [build] of the file, and is retrieved
    at a range of speeds. It is bad when it goes round, over-rolls, runs off to one side or does not
    settle at any of them. What matters most is told, and how closely to build for few bad ones.

    Coefficients that nobody has measured are drawn as well, within [uncertainty]: what they spoil
    no better workmanship cures, and only a prototype tells.

    A run lasts until the side drift is full at the fastest speed; slower ones at which it is not
    are told.

    Tolerances are in mm, degrees and per cent, speeds in m/s. The risk is kept in
    results/NAME-risk.h5 and drawn in results/NAME-risk.png, NAME being the name of the bait. Builds
    that cannot be made or blow up are counted by cause, and make the exit code 3.
    """
    problems = speed_problems(slowest, fastest, speeds, fewest=1)
    problems += _number_problems(builds, target_percent, seed)
    own = {
        "--builds": (builds, BUILDS), "--slowest": (slowest, SLOWEST_M_S),
        "--fastest": (fastest, FASTEST_M_S), "--speeds": (speeds, SPEEDS),
        "--target-percent": (target_percent, TARGET_PERCENT), "--seed": (seed, SEED),
    }  # fmt: skip
    words = tuple(
        word
        for option, (given, usual) in own.items()
        if given != usual
        for word in (option, f"{given!r}")
    )
    wanted = RiskPictures(tuple(picture or ()))
    call = RiskCall(
        config, output, wanted, resume, force, scheduler, workers, set_ or (), quiet, json_, words
    )
    problems += call.problems()
    try:
        settings = load_settings(config, set_)
    except ConfigError as error:
        raise ConfigError(problems + error.problems) from None
    target = output if output is not None else RESULTS / f"{settings.name or 'bait'}-risk.h5"
    problems += call.name_problems(target, {config: "the configuration itself"})
    problems += retrieve_problems(settings)
    if problems:
        raise ConfigError(problems)
    from sim.studies.builds import as_meant
    from sim.studies.risk import long_enough
    from sim.studies.speeds import speed_row

    settings = towed(settings)
    as_meant(settings)  # parts that contradict each other are told before anything is begun
    row = speed_row(settings, slowest, fastest, speeds, add_own=False)
    settings = long_enough(settings, row)
    study = _study(settings, row, builds, target_percent / 100.0, seed)
    if problems := study.tolerance_problems():
        raise ConfigError(problems)
    drawing = RiskPictures(wanted.pictures or (target.with_suffix(".png"),))
    call.check_files(study, target, drawing)
    call.carry_out(study, target, drawing)


def _number_problems(builds: int, target_percent: float, seed: int) -> list[str]:
    problems = []
    if not FEWEST <= builds <= MOST:
        problems.append(f"--builds {builds}: must be from {FEWEST} to {MOST}. Correct it.")
    if not (math.isfinite(target_percent) and 0.0 < target_percent < 100.0):
        problems.append(
            f"--target-percent {target_percent:g}: must be > 0 and < 100 per cent. Correct it."
        )
    if not 0 <= seed <= MOST_SEED:
        problems.append(f"--seed {seed}: must be from 0 to {MOST_SEED}. Correct it.")
    return problems


def _study(
    settings: Config, speeds: tuple[float, ...], builds: int, target: float, seed: int
) -> BuildStudy:
    """The builds of a bait; samples beside the main one are as large as they need to be."""
    from sim.studies.builds import BuildStudy, few_of

    return BuildStudy(
        name=f"{settings.name or 'bait'}-risk",
        source_path=settings.source_path,
        base=settings,
        fixed=dict(settings.overrides),
        speeds=speeds,
        builds=builds,
        few=few_of(builds),
        pairs=max(FEWEST_PAIRS, 1 << round(math.log2(builds / 8))),
        target=target,
        seed=seed,
    )


@dataclass(frozen=True)
class RiskPictures(Pictures):
    """What is drawn of a risk, and where."""

    noun = "risk"

    def save(self, result: RiskResult, path: Path) -> None:
        from sim.plots.risk import save_risk_figure

        save_risk_figure(result, path)


@dataclass(frozen=True)
class RiskCall(LongCall):
    """A call of ``runtrue risk``; ``own`` are the words of the options that it alone has."""

    own: tuple[str, ...]

    name = "risk"

    def own_options(self) -> list[str]:
        return list(self.own)

    def load(self, path: Path) -> RiskResult:
        from sim.studies.risk_store import load_risk

        return load_risk(path)

    def open_ended(self, study: BuildStudy) -> bool:
        return True  # the search for a tolerance plans step by step

    def run(self, study: BuildStudy, target: Path, tally: terminal.Tally) -> RiskResult:
        from sim.studies.risk_store import RISK
        from sim.studies.run import carry_out, processors

        found: RiskResult = carry_out(
            study, target, RISK, resume=self.resume, force=self.force, scheduler=self.scheduler,
            workers=self.workers or processors(), progress=tally,
        )  # fmt: skip
        return found

    def facts(self, result: RiskResult, output: str, pictures: list[str]) -> dict[str, Any]:
        from sim.report.risk import risk_facts

        return risk_facts(result, output, pictures)

    def summary(self, result: RiskResult) -> RenderableType:
        from sim.report.risk import risk_summary

        return risk_summary(result)

    def warn(self, study: BuildStudy) -> None:
        warn(study.base, quiet=self.quiet)
