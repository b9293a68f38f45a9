"""``runtrue show``: a stored result in words, and drawn again."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NamedTuple

import typer

from sim import terminal
from sim.commands.map_pictures import ContoursOption, Drawing, QuantityOption
from sim.errors import ConfigError
from sim.terminal import (
    ForceOption,
    JsonOption,
    check_picture,
    epilog,
    picture_option,
)

if TYPE_CHECKING:
    from rich.console import RenderableType

    from sim.result import RunResult

EXAMPLES = epilog(
    "runtrue show results/pike.h5",
    "runtrue show results/pike-ties.h5 --picture results/pike-ties-yaw.png \\",
    "    --quantity yaw_amplitude_deg",
)


def show(
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE",
            readable=False,
            help="Result of an earlier run, map or other study, an .h5 file.",
        ),
    ],
    picture: Annotated[list[Path] | None, picture_option("Draw it again", repeated=True)] = None,
    contours: ContoursOption = None,
    quantity: QuantityOption = None,
    force: ForceOption = False,
    json_: JsonOption = False,
) -> None:
    """Print what a stored result came to, and draw it again.

    Tells also when and by which versions it was made.

    Units are those of the run command: degrees, mm from side to side, m, N, mm per m.
    """
    drawing = Drawing(tuple(picture or ()), contours, quantity)
    problems = drawing.problems()
    result = _stored(file)
    study = getattr(result, "study", None)  # a run has none
    telling = None if study is None else _telling(study.kind)
    if study is None or telling is not None:
        problems += [f"{text}: is for maps, and {file} is none. Leave it out."
                     for text in _given(drawing)]  # fmt: skip
    elif not drawing.pictures:
        problems += [
            f"{text}: needs --picture. Add it, or leave this out." for text in _given(drawing)
        ]
    if problems:
        raise ConfigError(problems)
    for path in drawing.pictures:
        check_picture(path, force=force)
    if study is None:
        _show_run(result, file, drawing, as_json=json_)
    elif telling is not None:
        _show_answer(result, telling, file, drawing.pictures, as_json=json_)
    else:
        _show_map(result, file, drawing, as_json=json_)


def _stored(file: Path) -> Any:
    """What a file holds: a run, or what a study came to."""
    from sim.store import load_run
    from sim.studies.risk_store import is_risk, load_risk
    from sim.studies.store import is_map, load_map

    if is_map(file):
        return load_map(file, states=False)
    return load_risk(file) if is_risk(file) else load_run(file)


def _given(drawing: Drawing) -> list[str]:
    """The options that are for pictures of maps alone."""
    options = (("--contours", drawing.contours), ("--quantity", drawing.quantity))
    return [f"{option} {name}" for option, name in options if name is not None]


def _show_run(result: RunResult, file: Path, drawing: Drawing, *, as_json: bool) -> None:
    from sim.report.run import run_document, run_summary
    from sim.report.text import to_json

    pictures = drawing.pictures
    if as_json:
        drawn = str(pictures[0]) if pictures else None
        terminal.emit(to_json(run_document(result, str(file), drawn)))
    else:
        terminal.show(run_summary(result, provenance=True))
        terminal.emit(f"Read from {file}")
    if pictures:
        from sim.plots.run import save_run_figure

        for path in pictures:
            path.parent.mkdir(parents=True, exist_ok=True)
            save_run_figure(result, path)
            if not as_json:
                terminal.emit(f"Wrote {path}")


def _show_map(result: Any, file: Path, drawing: Drawing, *, as_json: bool) -> None:
    from sim.report.map import map_facts, map_summary
    from sim.report.text import to_json

    problems = drawing.problems_with(result.study)
    if problems:
        raise ConfigError(problems)
    before = {path: terminal.stamp(path) for path in drawing.pictures}
    drawn: list[Path] = []
    complaint = ""
    if drawing.pictures:
        try:
            drawn, complaint = drawing.draw(result, file)
        except KeyboardInterrupt:
            terminal.say_interrupted(before)
            raise typer.Exit(terminal.INTERRUPTED) from None
    if as_json:
        names = [str(path) for path in drawn]
        terminal.emit(to_json(map_facts(result, output=str(file), pictures=names)))
    else:
        terminal.show(map_summary(result, provenance=True))
        terminal.emit(f"Read from {file}")
        for path in drawn:
            terminal.emit(f"Wrote {path}")
    if complaint:
        terminal.complain(complaint)
        raise typer.Exit(terminal.FAILED)


class _Telling(NamedTuple):
    """How the answer of a study is told that a command of its own laid out."""

    facts: Callable[..., dict[str, Any]]  # result, file, pictures
    summary: Callable[[Any, str], RenderableType]  # result, file
    draw: Callable[[Any, Path], object]


def _telling(kind: str) -> _Telling | None:
    """How a kind of study is told; None for a map, which has options of its own, and a run."""
    if kind == "holes":
        from sim.plots.holes import save_holes_figure
        from sim.report.holes import holes_facts, holes_summary

        return _Telling(
            holes_facts,
            lambda result, file: holes_summary(result, provenance=True, output=file),
            save_holes_figure,
        )
    if kind == "tune":
        from sim.plots.tune import save_tune_figure
        from sim.report.tune import tune_facts, tune_summary

        return _Telling(
            tune_facts,
            lambda result, file: tune_summary(result, provenance=True, output=file),
            save_tune_figure,
        )
    if kind == "compare":
        from sim.plots.compare import save_compare_figure
        from sim.report.compare import compare_facts, compare_summary

        return _Telling(
            compare_facts,
            lambda result, _: compare_summary(result, provenance=True),
            save_compare_figure,
        )
    if kind == "risk":
        from sim.plots.risk import save_risk_figure
        from sim.report.risk import risk_facts, risk_summary

        return _Telling(
            risk_facts,
            lambda result, _: risk_summary(result, provenance=True),
            save_risk_figure,
        )
    return None


def _show_answer(
    result: Any, telling: _Telling, file: Path, pictures: tuple[Path, ...], *, as_json: bool
) -> None:
    from sim.report.text import to_json

    before = {path: terminal.stamp(path) for path in pictures}
    try:
        for path in pictures:
            path.parent.mkdir(parents=True, exist_ok=True)
            telling.draw(result, path)
    except KeyboardInterrupt:
        terminal.say_interrupted(before)
        raise typer.Exit(terminal.INTERRUPTED) from None
    names = [str(path) for path in pictures]
    if as_json:
        terminal.emit(to_json(telling.facts(result, str(file), names)))
        return
    terminal.show(telling.summary(result, str(file)))
    terminal.emit(f"Read from {file}")
    for name in names:
        terminal.emit(f"Wrote {name}")
