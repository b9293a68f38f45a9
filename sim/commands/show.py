"""``runtrue show``: a stored run or map in words, and drawn again."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

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

EXAMPLES = epilog(
    "runtrue show results/pike.h5",
    "runtrue show results/pike-ties.h5 --picture results/pike-ties-yaw.png \\",
    "    --quantity yaw_amplitude_deg",
)


def show(
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE", readable=False, help="Result of an earlier run or map, an .h5 file."
        ),
    ],
    picture: Annotated[list[Path] | None, picture_option("Draw it again", repeated=True)] = None,
    contours: ContoursOption = None,
    quantity: QuantityOption = None,
    force: ForceOption = False,
    json_: JsonOption = False,
) -> None:
    """Print what a stored run or map came to, and draw it again.

    Tells also when and by which versions it was made.

    Units are those of the run command: degrees, mm from side to side, m, N, mm per m.
    """
    from sim.studies.store import is_map

    drawing = Drawing(tuple(picture or ()), contours, quantity)
    problems = drawing.problems()
    of_a_map = is_map(file)
    if of_a_map and not drawing.pictures:
        problems += [
            f"{text}: needs --picture. Add it, or leave this out." for text in _given(drawing)
        ]
    if problems:
        raise ConfigError(problems)
    for path in drawing.pictures:
        check_picture(path, force=force)
    if of_a_map:
        _show_map(file, drawing, as_json=json_)
    else:
        _show_run(file, drawing, as_json=json_)


def _given(drawing: Drawing) -> list[str]:
    """The options that are for pictures of maps alone."""
    options = (("--contours", drawing.contours), ("--quantity", drawing.quantity))
    return [f"{option} {name}" for option, name in options if name is not None]


def _show_run(file: Path, drawing: Drawing, *, as_json: bool) -> None:
    from sim.report.run import run_document, run_summary
    from sim.report.text import to_json
    from sim.store import load_run

    result = load_run(file)
    pictures = drawing.pictures
    problems = [
        f"{text}: is for maps, and {file} is none. Leave it out." for text in _given(drawing)
    ]
    if problems:
        raise ConfigError(problems)
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


def _show_map(file: Path, drawing: Drawing, *, as_json: bool) -> None:
    from sim.report.map import map_facts, map_summary
    from sim.report.text import to_json
    from sim.studies.store import load_map

    result = load_map(file, states=False)
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
