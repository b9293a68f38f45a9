"""``runtrue map``: every cell of a study, kept in one file and drawn."""

from __future__ import annotations

import shlex
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sim import terminal
from sim.commands.inputs import RESULTS
from sim.commands.map_pictures import ContoursOption, Drawing, QuantityOption
from sim.errors import ConfigError, StoreError
from sim.plots import SUFFIXES
from sim.terminal import (
    ForceOption,
    JsonOption,
    OutputOption,
    QuietOption,
    SetOption,
    Stamp,
    check_picture,
    epilog,
    picture_option,
)

if TYPE_CHECKING:
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
    resume: Annotated[
        bool,
        typer.Option(
            "--resume",
            help="Go on with what an interrupted call left, and replace its pictures; the map has"
            " the same bits as one that was not interrupted.",
        ),
    ] = False,
    scheduler: Annotated[
        str | None,
        typer.Option(
            "--scheduler",
            metavar="ADDRESS",
            help="Send the runs to a Dask cluster, such as tcp://host:8786; needs the extra"
            " runtrue[cluster].",
        ),
    ] = None,
    workers: Annotated[
        int | None,
        typer.Option(
            "--workers",
            metavar="N",
            min=1,
            help="Processes that calculate side by side. [default: as many as processors]",
        ),
    ] = None,
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
    call = _Call(study, output, wanted, resume, force, scheduler, workers, set_ or (), quiet, json_)
    overrides, problems = terminal.read_overrides(set_)
    problems += call.problems()
    try:
        settings = load_study(study, overrides)
    except ConfigError as error:
        raise ConfigError(problems + error.problems) from None
    target = output if output is not None else RESULTS / f"{settings.name}.h5"
    problems += _name_problems(call, settings, target) + wanted.problems_with(settings)
    if problems:
        raise ConfigError(problems)
    _check_map_file(call, settings, target)
    drawing = Drawing(wanted.pictures or (target.with_suffix(".png"),), contours, quantity)
    for path in drawing.pictures:
        # a call that goes on replaces the pictures of the one before
        check_picture(path, force=force or resume)
    complaint = _work(call, settings, target, drawing)
    if complaint:
        terminal.complain(complaint)
        raise typer.Exit(terminal.FAILED)


@dataclass(frozen=True)
class _Call:
    """What the user asked for."""

    study: Path
    output: Path | None
    drawing: Drawing
    resume: bool
    force: bool
    scheduler: str | None
    workers: int | None
    set_: Sequence[str]
    quiet: bool
    as_json: bool

    def problems(self) -> list[str]:
        """What is wrong with the options, whatever the study."""
        found = self.drawing.problems()
        if self.scheduler is not None and self.workers is not None:
            found.append(
                f"--workers {self.workers}: are processes here, and --scheduler {self.scheduler}"
                " has workers of its own. Leave one of them out."
            )
        return found

    def to_go_on(self) -> str:
        """The command that goes on with this one where it was stopped."""
        words = ["runtrue", "map", str(self.study), "--resume"]
        if self.output is not None:
            words += ["--output", str(self.output)]
        words += self.drawing.options(self.drawing.pictures)
        for pair in self.set_:
            words += ["--set", pair]
        if self.scheduler is not None:
            words += ["--scheduler", self.scheduler]
        if self.workers is not None:
            words += ["--workers", str(self.workers)]
        words += ["--quiet"] * self.quiet + ["--json"] * self.as_json
        return shlex.join(words)


# ---- before the work ----------------------------------------------------------------------------


def _name_problems(call: _Call, study: Study, target: Path) -> list[str]:
    """Names that would destroy one file by another."""
    problems = []
    if target.suffix.lower() in SUFFIXES:
        problems.append(
            f"--output {target}: is the name of a picture, the map is an .h5 file. Use --picture"
            f" {target.name} to draw it, and --output for the map."
        )
    given = call.drawing.pictures
    for path in given:
        if path.resolve() == target.resolve():
            problems.append(f"--picture {path}: is the --output file as well. Use another name.")
    taken = {call.study.resolve(): "the study itself"}
    if study.base.source_path:
        taken[Path(study.base.source_path).resolve()] = "the configuration of its bait"
    for option, path in [("--output", target), *[("--picture", p) for p in given]]:
        what = taken.get(path.resolve())
        if what is not None:
            problems.append(f"{option} {path}: is {what}. Use another {option}.")
    return problems


def _check_map_file(call: _Call, study: Study, target: Path) -> None:
    """Refuse to replace a map, finished or begun, and tell how to go on with it."""
    from sim.studies.parts import PartFolder

    try:
        terminal.check_file(target, force=call.force or call.resume)
    except StoreError as error:
        if call.resume or call.force or not target.is_file():
            raise
        raise StoreError(
            f"{target}: exists already, {_what_is_there(target, study)}. Nothing was run. Use"
            " another --output, or --force to replace it."
        ) from error
    begun = PartFolder.of(target.resolve(), str(target))
    if call.resume and not call.quiet and not begun.exists() and not target.exists():
        terminal.complain(f"{target}: nothing is there to go on with; beginning.")
    if begun.exists() and not (call.resume or call.force):
        raise StoreError(
            f"{begun.where}: a study was stopped before it was finished. Use another --output,"
            f" --force to begin anew, or go on with it:\n  {call.to_go_on()}"
        )


def _what_is_there(path: Path, study: Study) -> str:
    from sim.report.text import SHORT_DIGEST
    from sim.studies.store import load_map

    try:
        stored = load_map(path, states=False).study.study_digest
    except StoreError:
        return "and is not a map that this program can read"
    now = study.study_digest
    if stored == now:
        return f"a map of the same study (sha256 {now[:SHORT_DIGEST]})"
    return f"a map of another study (sha256 {stored[:SHORT_DIGEST]}, now {now[:SHORT_DIGEST]})"


# ---- the work -----------------------------------------------------------------------------------


def _work(call: _Call, study: Study, target: Path, drawing: Drawing) -> str:
    """Run, draw and print; what is to be complained of where a picture could not be drawn."""
    before = {path: terminal.stamp(path) for path in (target, *drawing.pictures)}
    left = _left_before(target) if call.resume else 0
    tally = terminal.Tally(study.name, quiet=call.quiet, open_ended=study.levels > 0, left=left)
    result = None
    try:
        with tally:
            result = _run(call, study, target, tally)
            tally.stage("drawing")
            drawn, complaint = drawing.draw(result, target)
        _tell(result, target, drawn, kept=terminal.stamp(target) == before[target], call=call)
        _warn(study, quiet=call.quiet)
    except KeyboardInterrupt:
        terminal.complain(_interrupted(call, target, drawing, before, tally, result is not None))
        raise typer.Exit(terminal.INTERRUPTED) from None
    failed = _failed(result)
    if failed and not complaint:
        where = 'see "failures"' if call.as_json else "see above"
        terminal.complain(f"{call.study}: {failed} of its runs failed, {where}.")
        raise typer.Exit(terminal.SOME_FAILED)
    return complaint


def _left_before(target: Path) -> int:
    """Runs that an earlier call left, at most."""
    from sim.studies.parts import PartFolder

    begun = PartFolder.of(target.resolve(), str(target))
    note = begun.note()
    return 0 if note is None else note["chunk"] * len(list(begun.folder.glob("chunk-*.h5")))


def _run(call: _Call, study: Study, target: Path, tally: terminal.Tally) -> MapResult:
    from sim.studies.neutral import neutral_grid
    from sim.studies.run import processors, run_study

    def overlay(study: Study) -> Modes:
        tally.stage("small motions")
        return neutral_grid(study)

    return run_study(
        study, target, resume=call.resume, force=call.force, scheduler=call.scheduler,
        workers=call.workers or processors(), progress=tally, overlay=overlay,
    )  # fmt: skip


def _interrupted(
    call: _Call,
    target: Path,
    drawing: Drawing,
    before: Mapping[Path, Stamp],
    tally: terminal.Tally,
    finished: bool,
) -> str:
    """What is left after Ctrl-C, and how to go on."""
    from sim.studies.parts import PartFolder

    begun = PartFolder.of(target.resolve(), str(target))
    if begun.exists() and not finished:
        if tally.counted:
            done = f" after {tally.counted}; what is done is kept in {begun.where}"
        else:
            done = " before any run was done"
        return f"interrupted{done}. To go on:\n  {call.to_go_on()}"
    written = [path for path, old in before.items() if terminal.stamp(path) != old]
    if not (finished or target in written):
        return "interrupted; nothing was written."
    left = [path for path in drawing.pictures if path not in written]
    text = f"interrupted; the map is in {target}."
    return f"{text} To draw it:\n  {drawing.again(left, target)}" if left else text


# ---- after the work -----------------------------------------------------------------------------


def _failed(result: MapResult) -> int:
    from sim.studies.engine import FAILED, STATUSES

    return sum(int((result.status == STATUSES.index(name)).sum()) for name in FAILED)


def _tell(
    result: MapResult, target: Path, pictures: Sequence[Path], *, kept: bool, call: _Call
) -> None:
    """Print a map; ``kept`` when its file was there and finished before."""
    from sim.report.map import map_facts, map_summary
    from sim.report.text import to_json

    if call.as_json:
        drawn = [str(path) for path in pictures]
        terminal.emit(to_json(map_facts(result, output=str(target), pictures=drawn)))
        return
    terminal.show(map_summary(result))
    terminal.emit(f"Read from {target}, finished before" if kept else f"Wrote {target}")
    for path in pictures:
        terminal.emit(f"Wrote {path}")


def _warn(study: Study, *, quiet: bool) -> None:
    """Tell of slips in the bait, except in what the axes set."""
    from sim.cautions import cautions
    from sim.studies.axes import sets, touch

    swept = [key for axis in study.axes for key in sets(axis.key)]
    where = f"{study.base.source_path or 'config'}: "
    for text in () if quiet else cautions(study.base):
        subject = text.removeprefix(where).split(" ", 1)[0]
        if not any(touch(key, subject) for key in swept):
            terminal.complain(f"warning: {text}")
