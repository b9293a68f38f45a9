"""The command line: what a user types, and which exit code comes back."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sim import terminal
from sim.commands.map import (
    ContoursOption,
    PicturesOption,
    QuantityOption,
    draw,
    map_study,
    measure_problems,
)
from sim.errors import ConfigError, RuntrueError, StoreError
from sim.plots import SUFFIXES
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
    picture_problems,
)

if TYPE_CHECKING:
    from sim.config.models import Config
    from sim.result import RunResult
    from sim.small_motion import TiePoint

# Imports of the simulation stand inside the commands, so that those that need none answer at once.

RESULTS = Path("results")
LIBRARIES = ("numpy", "scipy", "numba", "h5py", "pydantic", "matplotlib", "typer", "rich")

app = typer.Typer(
    cls=terminal.Commands,
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def main() -> None:
    """Entry point of ``runtrue``."""
    terminal.prepare_streams()
    with terminal.plain_errors():
        app(prog_name="runtrue")


def _print_versions(wanted: bool) -> None:
    if not wanted:
        return
    import platform
    from importlib import metadata

    lines = []
    for name in ("runtrue", *LIBRARIES):
        try:
            lines.append(f"{name} {metadata.version(name)}")
        except metadata.PackageNotFoundError:
            lines.append(f"{name} not installed")
    lines.insert(1, f"python {platform.python_version()}")
    terminal.emit("\n".join(lines))
    raise typer.Exit(terminal.DONE)


@app.callback(epilog=epilog("runtrue new pike", "runtrue check pike.toml", "runtrue run pike.toml"))
def root(
    version: Annotated[
        bool,
        typer.Option(
            "--version",
            callback=_print_versions,
            is_eager=True,
            help="Print the versions of the program and its main libraries.",
        ),
    ] = False,
) -> None:
    """Motion of a lipped bait on a retrieve: from its parts to how it swims.

    A bait is described in a TOML file: lengths in mm, masses in g, angles in degrees, speeds in
    m/s. Results go to standard output, everything else to standard error.
    """


# ---- run ----------------------------------------------------------------------------------------


@app.command(
    epilog=epilog(
        "runtrue run pike.toml",
        "runtrue run pike.toml --set bait.tie.above_centreline_mm=-2 \\",
        "    --output results/pike-high.h5 --picture results/pike-high.png",
    )
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
    settings = _load(config, set_)
    target = output if output is not None else RESULTS / f"{settings.name}.h5"
    _check_names(config, target, picture)
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
    _warn(settings, quiet=quiet)
    if result.status == "diverged":
        terminal.complain(f"{config}: {result.message}")
        raise typer.Exit(terminal.FAILED)


def _load(config: Path, pairs: Sequence[str] | None) -> Config:
    """The configuration with ``--set`` applied; problems of both are told together."""
    from sim.config import load_config

    overrides, problems = terminal.read_overrides(pairs)
    try:
        settings = load_config(config, overrides)
    except ConfigError as error:
        raise ConfigError(problems + error.problems) from None
    if problems:
        raise ConfigError(problems)
    return settings


def _check_names(config: Path, output: Path, picture: Path | None) -> None:
    """Refuse names that would destroy one file by another."""
    problems = []
    if output.suffix.lower() in SUFFIXES:
        problems.append(
            f"--output {output}: is the name of a picture, the result is an .h5 file. Use"
            f" --picture {output.name} to draw it, and --output for the result."
        )
    if picture is not None:
        problems += picture_problems(picture)
    here = config.resolve()
    for option, path in (("--output", output), ("--picture", picture)):
        if path is not None and path.resolve() == here:
            problems.append(f"{option} {path}: is the configuration itself. Use another {option}.")
    if picture is not None and picture.resolve() == output.resolve():
        problems.append(f"--picture {picture}: is the --output file as well. Use another name.")
    if problems:
        raise ConfigError(problems)


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


def _warn(settings: Config, *, quiet: bool) -> None:
    """Tell what `check` warns of as well: a slip must not hide behind a sound answer."""
    from sim.cautions import cautions

    if not quiet:
        for text in cautions(settings):
            terminal.complain(f"warning: {text}")


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


# ---- map ----------------------------------------------------------------------------------------

app.command(
    "map",
    epilog=epilog(
        "runtrue map configs/studies/shallow-runner-tie-speed.toml",
        "runtrue map pike-ties.toml --resume --picture results/pike-ties.svg",
    ),
)(map_study)


# ---- show ---------------------------------------------------------------------------------------


@app.command(
    epilog=epilog(
        "runtrue show results/pike.h5",
        "runtrue show results/pike-ties.h5 --picture results/pike-ties-yaw.png \\",
        "    --quantity yaw_amplitude_deg",
    )
)
def show(
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE", readable=False, help="Result of an earlier run or map, an .h5 file."
        ),
    ],
    picture: PicturesOption = None,
    contours: ContoursOption = None,
    quantity: QuantityOption = None,
    force: ForceOption = False,
    json_: JsonOption = False,
) -> None:
    """Print what the bait did in a stored run or map, and draw it again.

    Tells also when and by which versions it was made.

    Units are those of the run command: degrees, mm from side to side, m, N, mm per m.
    """
    from sim.studies.store import is_map

    pictures = picture or []
    problems = [text for path in pictures for text in picture_problems(path)]
    problems += measure_problems(contours, quantity)
    of_a_map = is_map(file)
    for option, given in (("--contours", contours), ("--quantity", quantity)):
        if given is not None and not (of_a_map and pictures):
            what = "needs --picture" if of_a_map else f"is for maps, and {file} is none"
            problems.append(f"{option} {given}: {what}. Leave it out.")
    if problems:
        raise ConfigError(problems)
    for path in pictures:
        check_picture(path, force=force)
    if of_a_map:
        _show_map(file, pictures, contours, quantity, as_json=json_)
    else:
        _show_run(file, pictures, as_json=json_)


def _show_run(file: Path, pictures: Sequence[Path], *, as_json: bool) -> None:
    from sim.report.run import run_document, run_summary
    from sim.report.text import to_json
    from sim.store import load_run

    result = load_run(file)
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


def _show_map(
    file: Path,
    pictures: Sequence[Path],
    contours: str | None,
    quantity: str | None,
    *,
    as_json: bool,
) -> None:
    from sim.report.map import map_facts, map_summary
    from sim.report.text import to_json
    from sim.studies.store import load_map

    result = load_map(file, states=False)
    drawn = draw(result, pictures, contours, quantity, file)
    if as_json:
        names = [str(path) for path in drawn]
        terminal.emit(to_json(map_facts(result, output=str(file), pictures=names)))
        return
    terminal.show(map_summary(result, provenance=True))
    terminal.emit(f"Read from {file}")
    for path in drawn:
        terminal.emit(f"Wrote {path}")


# ---- weigh --------------------------------------------------------------------------------------


@app.command(
    epilog=epilog(
        "runtrue weigh pike.toml",
        "runtrue weigh pike.toml --set bait.ballast.0.mass_g=3.2",
    )
)
def weigh(
    config: ConfigFile,
    set_: SetOption = None,
    quiet: QuietOption = False,
    json_: JsonOption = False,
) -> None:
    """Give the answers of bench and bath tub.

    Parts, mass and balance, how it floats, how fast it rises or sinks, added mass.

    Masses are in g, positions in mm from the nose tip (aft positive) and above the centreline,
    volumes in cm3, speeds in m/s, the added mass in g, g mm and g mm2 about the centre of gravity.
    Nothing is written.
    """
    settings = _load(config, set_)
    from sim.bait.assembly import assemble
    from sim.hydrostatics import rest, terminal_speed
    from sim.report.text import to_json
    from sim.report.weigh import weigh_document, weigh_summary

    with terminal.Watch(settings.name or "weigh", quiet=quiet):
        bait = assemble(settings)
        answers = (settings, bait, rest(settings, bait), terminal_speed(settings))
    if json_:
        terminal.emit(to_json(weigh_document(*answers)))
    else:
        terminal.show(weigh_summary(*answers))
    _warn(settings, quiet=quiet)


# ---- sources ------------------------------------------------------------------------------------


@app.command(
    epilog=epilog(
        "runtrue sources pike.toml",
        "runtrue sources pike.toml --set coefficients.side_force_shift=0.05",
    )
)
def sources(
    config: ConfigFile,
    set_: SetOption = None,
    quiet: QuietOption = False,
    json_: JsonOption = False,
) -> None:
    """Tell where every number comes from, and how far it is known.

    Lists the loads that act on the bait with their coefficients: value, source, the key that
    changes it, and a status. Below stand the loads that are off, with the reason.

    A value was read in its source, read in a copy that quotes it, computed, written from memory
    (with the confidence), fitted, assumed (nothing published), given by the configuration, or is a
    convention (steps, elements, limits of the classes).

    Every value has its unit beside it, that of the configuration: mm, g, degrees. Nothing is
    written.
    """
    settings = _load(config, set_)
    from sim.coefficients import loads_off
    from sim.coefficients import sources as find
    from sim.report.sources import sources_document, sources_summary
    from sim.report.text import to_json

    with terminal.Watch(settings.name or "sources", quiet=quiet):
        active, off = find(settings), loads_off(settings)
    if json_:
        terminal.emit(to_json(sources_document(active, off)))
    else:
        terminal.show(sources_summary(settings, active, off))
    _warn(settings, quiet=quiet)


# ---- modes --------------------------------------------------------------------------------------


@app.command(
    epilog=epilog(
        "runtrue modes pike.toml",
        "runtrue modes pike.toml --tie-path --picture results/pike-modes.png",
    )
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
    settings = _load(config, set_)
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
    _warn(settings, quiet=quiet)


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


# ---- check --------------------------------------------------------------------------------------


@app.command(epilog=epilog("runtrue check pike.toml"))
def check(config: ConfigFile, set_: SetOption = None, json_: JsonOption = False) -> None:
    """Tell all that is wrong with a configuration.

    Problems come one a line, each with the key, its value and what is allowed in the key's unit
    (mm, g, degrees, m/s). Warnings, on what may be a slip, do not change the exit code.
    """
    problems, warnings = _problems_and_warnings(config, set_)
    if json_:
        import json

        document = {"ok": not problems, "problems": problems, "warnings": warnings}
        terminal.emit(json.dumps(document, indent=2))
    elif problems:
        terminal.complain("\n".join(problems))
    else:
        terminal.emit(f"{config}: ok")
    if not json_:
        for text in warnings:
            terminal.complain(f"warning: {text}")
    if problems:
        raise typer.Exit(terminal.BAD_INPUT)


def _problems_and_warnings(
    config: Path, pairs: Sequence[str] | None
) -> tuple[list[str], list[str]]:
    try:
        settings = _load(config, pairs)
    except ConfigError as error:
        return error.problems, []
    from sim.bait.assembly import assemble
    from sim.cautions import cautions
    from sim.start import start_state

    try:
        start_state(settings, assemble(settings))
    except ConfigError as error:
        return error.problems, cautions(settings)
    return [], cautions(settings)


# ---- new and schema -----------------------------------------------------------------------------


@app.command(epilog=epilog("runtrue new pike"))
def new(
    name: Annotated[
        str,
        typer.Argument(
            metavar="NAME", help="Name of the bait: letters, digits, - _ and . without blanks."
        ),
    ],
    output: OutputOption = None,
    force: ForceOption = False,
) -> None:
    """Write NAME.toml, a configuration to start from.

    It holds an invented bait of 70 mm, with comments that tell what every setting means and its
    unit (mm, g, degrees, m/s).
    """
    from sim.config import starting_config

    name = name.removesuffix(".toml")
    path = output if output is not None else Path(f"{name}.toml")
    terminal.write_text(path, starting_config(name), force=force)
    terminal.emit(
        f"Wrote {path}\n"
        "Put the measures of your bait in, then:\n"
        f"  runtrue check {path}    is the file sound?\n"
        f"  runtrue weigh {path}    does it balance and float as yours does?\n"
        f"  runtrue run {path}      how does it swim?"
    )


@app.command(epilog=epilog("runtrue schema --output config.schema.json"))
def schema(output: OutputOption = None, force: ForceOption = False) -> None:
    """Print the JSON schema of the configuration.

    Many editors complete and check keys by it. Every key has its unit and range in it.
    """
    import json

    from sim.config import json_schema

    text = json.dumps(json_schema(), indent=2, ensure_ascii=False)
    if output is None:
        terminal.emit(text)
        return
    terminal.write_text(output, text + "\n", force=force)
    terminal.emit(f"Wrote {output}")


if __name__ == "__main__":
    main()
