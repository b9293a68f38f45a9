"""``runtrue modes``: steady tow and small motions of a bait."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sim import terminal
from sim.commands.inputs import load_settings, warn
from sim.errors import ConfigError
from sim.terminal import (
    ConfigFile,
    ForceOption,
    JsonOption,
    QuietOption,
    SetOption,
    check_picture,
    epilog,
    picture_option,
    picture_problems,
)

if TYPE_CHECKING:
    from sim.config.models import Config
    from sim.small_motion import TiePoint

EXAMPLES = epilog(
    "runtrue modes pike.toml",
    "runtrue modes pike.toml --tie-path --picture results/pike-modes.png",
)


def modes(
    config: ConfigFile,
    tie_path: Annotated[
        bool,
        typer.Option(
            "--tie-path",
            help="Add a table with the line tied at every mm from the top of the nose to the tip"
            " of the bill.",
        ),
    ] = False,
    picture: Annotated[Path | None, picture_option("Draw the modes along the tie path")] = None,
    set_: SetOption = None,
    force: ForceOption = False,
    quiet: QuietOption = False,
    json_: JsonOption = False,
) -> None:
    """Tell why a bait does what it does.

    Its steady tow, and the small motions about that. The wobble is the sideways swing that has most
    of frequency and growth together: does it grow by itself? The lean is the slowest of the other
    sideways motions: how fast does the bait come upright again? The wake of the bill is left out
    of both.

    Growth is per second, negative dies out; frequency in Hz, angles in degrees, depth in m,
    tension in N, places on the tie path in mm. Nothing but the picture is written.
    """
    settings = load_settings(config, set_)
    along_path = tie_path or picture is not None
    problems = _modes_problems(settings, "--tie-path" if tie_path else "--picture", along_path)
    if picture is not None:
        problems += picture_problems(picture)
    if problems:
        raise ConfigError(problems)
    if picture is not None:
        check_picture(picture, force=force)
    from sim.report.modes import modes_document, modes_summary
    from sim.report.text import to_json
    from sim.small_motion import modes as solve
    from sim.small_motion import modes_along

    name = settings.name or "modes"
    # of every tie point the modes and, for the picture, a run: both are counted
    works = 1 if picture is None else 2
    unit = "tie points" if picture is None else "modes and runs"
    with terminal.Watch(name, quiet=quiet, unit=unit, digits=0) as watch:
        found = solve(settings)
        along: tuple[TiePoint, ...] = ()
        if along_path:
            along = modes_along(settings, progress=lambda now, aim: watch(now, works * aim))
        if picture is not None:
            from sim.plots.modes import save_modes_figure
            from sim.run import simulate

            classes = []
            for done, point in enumerate(along, len(along)):
                watch(done, works * len(along))
                classes.append(simulate(point.config).motion_class)
            picture.parent.mkdir(parents=True, exist_ok=True)
            save_modes_figure(settings, along, picture, classes)
    body = settings.bait.body
    length = None if body is None else body.length_mm * 1e-3
    shown = along if tie_path else ()
    if json_:
        drawn = None if picture is None else str(picture)
        document = modes_document(settings, found, length, shown, drawn)
        terminal.emit(to_json(document))
    else:
        terminal.show(modes_summary(settings, found, length, shown))
        if picture is not None:
            terminal.emit(f"Wrote {picture}")
    warn(settings, quiet=quiet)


def _modes_problems(settings: Config, option: str, along_path: bool) -> list[str]:
    """What a sound configuration lacks for its modes, and for those along its tie path."""
    where = settings.source_path or "config"
    problems = []
    if settings.line is None:
        problems.append(
            f"{where}: missing table [line], needed because a steady tow is one on a line. Add"
            " [line] (every key has a default), and [bait.tie] where there is none."
        )
    elif not settings.loads.line:
        problems.append(f"{where}: loads.line = false: must be true for a steady tow. Take it out.")
    if along_path:
        for name in ("body", "bill"):
            if getattr(settings.bait, name) is None:
                problems.append(
                    f"{where}: missing table [bait.{name}], needed for {option}: the tie path runs"
                    f" over the nose of the body and out along the bill. Add [bait.{name}], or"
                    f" leave {option} out."
                )
    return problems
