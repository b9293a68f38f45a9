"""``runtrue map``: every cell of a study, kept in one file and drawn."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sim import terminal
from sim.errors import ConfigError, RuntrueError
from sim.terminal import (
    ForceOption,
    JsonOption,
    OutputOption,
    QuietOption,
    SetOption,
    check_picture,
    picture_option,
    picture_problems,
)

if TYPE_CHECKING:
    from sim.studies.store import MapResult
    from sim.studies.study import Study

RESULTS = Path("results")

StudyFile = Annotated[
    Path, typer.Argument(metavar="STUDY", readable=False, help="Study to work off, a TOML file.")
]
PicturesOption = Annotated[
    list[Path] | None,
    picture_option("Draw the map here instead of beside its file; may be repeated"),
]
ContoursOption = Annotated[
    str | None,
    typer.Option(
        "--contours",
        metavar="MEASURE",
        help="Measure whose contour lines lie over the classes, such as yaw_amplitude_deg; none"
        " draws no lines. [default: wobble_frequency_hz]",
    ),
]
QuantityOption = Annotated[
    str | None,
    typer.Option(
        "--quantity",
        metavar="MEASURE",
        help="Draw this measure over the axes instead of the classes.",
    ),
]


def map_study(
    study: StudyFile,
    output: OutputOption = None,
    picture: PicturesOption = None,
    contours: ContoursOption = None,
    quantity: QuantityOption = None,
    resume: Annotated[
        bool,
        typer.Option(
            "--resume",
            help="Go on with what an interrupted call left; the map has the same bits as one that"
            " was not interrupted.",
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
    threads: Annotated[
        int | None,
        typer.Option(
            "--threads", min=1, help="Runs side by side. [default: as many as processors]"
        ),
    ] = None,
    set_: SetOption = None,
    force: ForceOption = False,
    quiet: QuietOption = False,
    json_: JsonOption = False,
) -> None:
    """Run a bait over one or two swept keys, and draw the map of its classes.

    A study names a bait, the keys to sweep (tie point, speed, bill, ballast or any other number of
    the configuration) and how finely. Every cell is a retrieve of its own, measured and classed as
    run does it. Units are those of the configuration: mm, g, degrees, m/s.

    The map is kept in results/NAME.h5 and drawn in results/NAME.png, NAME being the name of the
    study. Cells that cannot be built or blow up are kept and drawn as failed, counted by cause, and
    make the exit code 3.
    """
    from sim.studies.study import load_study

    overrides, problems = terminal.read_overrides(set_)
    try:
        settings = load_study(study, overrides)
    except ConfigError as error:
        raise ConfigError(problems + error.problems) from None
    target = output if output is not None else RESULTS / f"{settings.name}.h5"
    pictures = picture or [target.with_suffix(".png")]
    problems += _name_problems(study, target, pictures)
    problems += measure_problems(contours, quantity)
    if problems:
        raise ConfigError(problems)
    for path in pictures:
        # a call that goes on replaces the picture of the one before
        check_picture(path, force=force or resume)
    result = _work(settings, study, target, (resume, force, scheduler, threads), set_, quiet)
    drawn = draw(result, pictures, contours, quantity, target)
    _tell(result, target, drawn, as_json=json_)
    failed = _failed(result)
    if failed:
        terminal.complain(f"{study}: {failed} of its runs failed, see above.")
        raise typer.Exit(terminal.SOME_FAILED)


def _name_problems(study: Path, target: Path, pictures: Sequence[Path]) -> list[str]:
    """Names that would destroy one file by another."""
    from sim.plots import SUFFIXES

    problems = []
    if target.suffix.lower() in SUFFIXES:
        problems.append(
            f"--output {target}: is the name of a picture, the map is an .h5 file. Use --picture"
            f" {target.name} to draw it, and --output for the map."
        )
    for path in pictures:
        problems += picture_problems(path)
        if path.resolve() == target.resolve():
            problems.append(f"--picture {path}: is the --output file as well. Use another name.")
    for option, path in [("--output", target), *[("--picture", p) for p in pictures]]:
        if path.resolve() == study.resolve():
            problems.append(f"{option} {path}: is the study itself. Use another {option}.")
    return problems


def measure_problems(contours: str | None, quantity: str | None) -> list[str]:
    """Names of measures that there are not."""
    from difflib import get_close_matches

    from sim.kernels.motion import MEASURES

    problems = []
    for option, name in (("--contours", contours), ("--quantity", quantity)):
        if name is None or name in MEASURES or (name == "none" and option == "--contours"):
            continue
        near = get_close_matches(name, MEASURES, n=1)
        meant = f" Did you mean {near[0]}?" if near else ""
        problems.append(
            f"{option} {name}: is no measure.{meant} The measures are {', '.join(MEASURES)}."
        )
    return problems


def _work(
    settings: Study,
    study: Path,
    target: Path,
    how: tuple[bool, bool, str | None, int | None],
    set_: Sequence[str] | None,
    quiet: bool,
) -> MapResult:
    """Run the study; after an interrupt tell how to go on."""
    from sim.studies.neutral import neutral_grid
    from sim.studies.run import run_study

    resume, force, scheduler, threads = how
    try:
        with terminal.Tally(settings.name, quiet=quiet) as tally:
            return run_study(
                settings, target, resume=resume, force=force, scheduler=scheduler,
                threads=threads, progress=tally, overlay=neutral_grid,
            )  # fmt: skip
    except KeyboardInterrupt:
        words = ["runtrue", "map", str(study), "--resume", "--output", str(target)]
        words += [word for pair in set_ or () for word in ("--set", pair)]
        if scheduler:
            words += ["--scheduler", scheduler]
        terminal.complain(f"interrupted; what is done is kept. To go on:\n  {shlex.join(words)}")
        raise typer.Exit(terminal.INTERRUPTED) from None


def draw(
    result: MapResult,
    pictures: Sequence[Path],
    contours: str | None,
    quantity: str | None,
    kept: Path,
) -> list[Path]:
    """Draw a map into files; ``kept`` is where it is stored."""
    from sim.plots.map import FREQUENCY, save_map_figure, save_quantity_figure

    lines = None if contours == "none" else contours or FREQUENCY
    for path in pictures:
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            if quantity is not None:
                save_quantity_figure(result, quantity, path)
            else:
                save_map_figure(result, path, lines)
        except (RuntrueError, OSError) as error:
            raise RuntrueError(f"{error} The map itself is in {kept}.") from error
    return list(pictures)


def _failed(result: MapResult) -> int:
    from sim.studies.engine import FAILED, STATUSES

    return sum(int((result.status == STATUSES.index(name)).sum()) for name in FAILED)


def _tell(result: MapResult, target: Path, pictures: Sequence[Path], *, as_json: bool) -> None:
    from sim.report.map import map_facts, map_summary
    from sim.report.text import to_json

    if as_json:
        drawn = [str(path) for path in pictures]
        terminal.emit(to_json(map_facts(result, output=str(target), pictures=drawn)))
        return
    terminal.show(map_summary(result))
    for path in (target, *pictures):
        terminal.emit(f"Wrote {path}")
