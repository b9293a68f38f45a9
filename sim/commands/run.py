"""``runtrue run``: one retrieve, kept in a file and drawn."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sim import terminal
from sim.commands.inputs import RESULTS, check_names, load_settings, warn
from sim.errors import RuntrueError, StoreError
from sim.terminal import (
    ConfigFile,
    ForceOption,
    JsonOption,
    OutputOption,
    QuietOption,
    SetOption,
    check_picture,
    epilog,
    picture_option,
)

if TYPE_CHECKING:
    from sim.config.models import Config
    from sim.result import RunResult

EXAMPLES = epilog(
    "runtrue run pike.toml",
    "runtrue run pike.toml --set bait.tie.above_centreline_mm=-2 \\",
    "    --output results/pike-high.h5 --picture results/pike-high.png",
)


def run(
    config: ConfigFile,
    output: OutputOption = None,
    picture: Annotated[Path | None, picture_option("Draw the run as well")] = None,
    set_: SetOption = None,
    force: ForceOption = False,
    quiet: QuietOption = False,
    json_: JsonOption = False,
) -> None:
    """Simulate one retrieve and keep it in a file.

    Prints what the bait did: its class, how it wobbles, where it runs.

    The file is results/NAME.h5 unless --output names another, NAME being the name in the
    configuration. Nothing is simulated when a file is in the way and --force is not given.

    Angles are in degrees, sweeps in mm from side to side, depth in m, tension in N, side drift in
    mm per m of retrieve. A run that has not settled has no class, says so, and is no failure; one
    that blew up is.
    """
    settings = load_settings(config, set_)
    target = output if output is not None else RESULTS / f"{settings.name}.h5"
    check_names(config, target, picture)
    _check_result_file(target, settings, force=force)
    if picture is not None:
        check_picture(picture, force=force)
    before = {path: terminal.stamp(path) for path in (target, picture) if path is not None}
    try:
        result = _simulate_and_write(settings, target, picture, force=force, quiet=quiet)
    except KeyboardInterrupt:
        terminal.say_interrupted(before)
        raise typer.Exit(terminal.INTERRUPTED) from None
    _print_run(result, target, picture, as_json=json_)
    warn(settings, quiet=quiet)
    if result.status == "diverged":
        terminal.complain(f"{config}: {result.message}")
        raise typer.Exit(terminal.FAILED)


def _check_result_file(path: Path, settings: Config, *, force: bool) -> None:
    """Refuse to replace a result, and tell whether it would be the same one again."""
    try:
        terminal.check_file(path, force=force)
    except StoreError as error:
        if force or not path.is_file():
            raise
        raise StoreError(
            f"{path}: exists already, {_what_is_there(path, settings)}. Nothing was simulated. Use"
            " another --output, or --force to replace it."
        ) from error


def _what_is_there(path: Path, settings: Config) -> str:
    from sim.config import config_digest
    from sim.report.text import SHORT_DIGEST
    from sim.store import load_run

    try:
        stored = config_digest(load_run(path).config)
    except StoreError:
        return "and is not a run that this program can read"
    now = config_digest(settings)
    if stored == now:
        return f"a run of the same config (sha256 {now[:SHORT_DIGEST]})"
    return f"a run of another config (sha256 {stored[:SHORT_DIGEST]}, now {now[:SHORT_DIGEST]})"


def _simulate_and_write(
    settings: Config, target: Path, picture: Path | None, *, force: bool, quiet: bool
) -> RunResult:
    from sim.run import simulate
    from sim.store import save_run

    with terminal.Watch(settings.name or "run", quiet=quiet) as watch:
        result = simulate(settings, watch)
    save_run(result, target, overwrite=force)
    if picture is not None:
        from sim.plots.run import save_run_figure

        try:
            picture.parent.mkdir(parents=True, exist_ok=True)
            save_run_figure(result, picture)
        except (RuntrueError, OSError) as error:
            raise RuntrueError(f"{error} The run itself is in {target}.") from error
    return result


def _print_run(result: RunResult, file: Path, picture: Path | None, *, as_json: bool) -> None:
    from sim.report.run import run_document, run_summary
    from sim.report.text import to_json

    if as_json:
        drawn = None if picture is None else str(picture)
        terminal.emit(to_json(run_document(result, str(file), drawn)))
        return
    terminal.show(run_summary(result))
    for path in (file, picture):
        if path is not None:
            terminal.emit(f"Wrote {path}")
