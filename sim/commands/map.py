"""``runtrue map``: every cell of a study, kept in one file and drawn."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sim import terminal
from sim.commands.inputs import RESULTS
from sim.commands.map_pictures import ContoursOption, Drawing, QuantityOption
from sim.commands.resumable import LongCall, ResumeOption, SchedulerOption
from sim.commands.short import WorkersOption
from sim.errors import ConfigError
from sim.terminal import (
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

    from sim.studies.run import Modes
    from sim.studies.store import MapResult
    from sim.studies.study import Study

StudyFile = Annotated[
    Path, typer.Argument(metavar="STUDY", readable=False, help="Study to work off, a TOML file.")
]

EXAMPLES = epilog(
    "runtrue map configs/studies/shallow-runner-tie-speed.toml",
    "runtrue map pike-ties.toml --resume --picture results/pike-ties.svg",
)


def map_study(
    study: StudyFile,
    output: OutputOption = None,
    picture: Annotated[
        list[Path] | None,
        picture_option("Draw the map there, not beside its file", repeated=True),
    ] = None,
    contours: ContoursOption = None,
    quantity: QuantityOption = None,
    resume: ResumeOption = False,
    scheduler: SchedulerOption = None,
    workers: WorkersOption = None,
    set_: SetOption = None,
    force: ForceOption = False,
    quiet: QuietOption = False,
    json_: JsonOption = False,
) -> None:
    """Sweep one or two keys, and draw the map of what the bait does.

    A study names a bait, the keys to sweep (tie point, speed, bill, ballast or any other number of
    the configuration) and how finely. Every cell is a retrieve of its own, measured and classed as
    run does it. Units are those of the configuration: mm, g, degrees, m/s.

    The map is kept in results/NAME.h5 and drawn in results/NAME.png, NAME being the name of the
    study. Cells that cannot be built or blow up are kept and drawn as failed, counted by cause, and
    make the exit code 3.
    """
    from sim.studies.study import load_study

    wanted = Drawing(tuple(picture or ()), contours, quantity)
    call = MapCall(
        study, output, wanted, resume, force, scheduler, workers, set_ or (), quiet, json_
    )
    overrides, problems = terminal.read_overrides(set_)
    problems += call.problems()
    try:
        settings = load_study(study, overrides)
    except ConfigError as error:
        raise ConfigError(problems + error.problems) from None
    target = output if output is not None else RESULTS / f"{settings.name}.h5"
    taken = {study: "the study itself"}
    if settings.base.source_path:
        taken[Path(settings.base.source_path)] = "the configuration of its bait"
    problems += call.name_problems(target, taken) + wanted.problems_with(settings)
    if problems:
        raise ConfigError(problems)
    drawing = Drawing(wanted.pictures or (target.with_suffix(".png"),), contours, quantity)
    call.check_files(settings, target, drawing)
    call.carry_out(settings, target, drawing)


@dataclass(frozen=True)
class MapCall(LongCall):
    """A call of ``runtrue map``."""

    name = "map"

    def load(self, path: Path) -> MapResult:
        from sim.studies.store import load_map

        return load_map(path, states=False)

    def open_ended(self, study: Study) -> bool:
        return study.levels > 0

    def run(self, study: Study, target: Path, tally: terminal.Tally) -> MapResult:
        from sim.studies.neutral import neutral_grid
        from sim.studies.run import processors, run_study

        def overlay(study: Study) -> Modes:
            tally.stage("small motions")
            return neutral_grid(study)

        return run_study(
            study, target, resume=self.resume, force=self.force, scheduler=self.scheduler,
            workers=self.workers or processors(), progress=tally, overlay=overlay,
        )  # fmt: skip

    def facts(self, result: MapResult, output: str, pictures: list[str]) -> dict[str, Any]:
        from sim.report.map import map_facts

        return map_facts(result, output=output, pictures=pictures)

    def summary(self, result: MapResult) -> RenderableType:
        from sim.report.map import map_summary

        return map_summary(result)

    def warn(self, study: Study) -> None:
        """Tell of slips in the bait, except in what the axes set."""
        from sim.cautions import cautions
        from sim.studies.axes import sets, touch

        swept = [key for axis in study.axes for key in sets(axis.key)]
        where = f"{study.base.source_path or 'config'}: "
        for text in () if self.quiet else cautions(study.base):
            subject = text.removeprefix(where).split(" ", 1)[0]
            if not any(touch(key, subject) for key in swept):
                terminal.complain(f"warning: {text}")
