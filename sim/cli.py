"""The command line: what a user types, and which exit code comes back."""

from __future__ import annotations

from typing import Annotated

import typer

from sim import terminal
from sim.commands import check, compare, holes, modes, new, risk, run, show, sources, tune, weigh
from sim.commands import map as map_
from sim.terminal import epilog

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


for _name, _command, _examples in (
    ("run", run.run, run.EXAMPLES),
    ("map", map_.map_study, map_.EXAMPLES),
    ("holes", holes.holes, holes.EXAMPLES),
    ("tune", tune.tune, tune.EXAMPLES),
    ("compare", compare.compare, compare.EXAMPLES),
    ("risk", risk.risk, risk.EXAMPLES),
    ("show", show.show, show.EXAMPLES),
    ("weigh", weigh.weigh, weigh.EXAMPLES),
    ("sources", sources.sources, sources.EXAMPLES),
    ("modes", modes.modes, modes.EXAMPLES),
    ("check", check.check, check.EXAMPLES),
    ("new", new.new, new.EXAMPLES),
    ("schema", new.schema, new.SCHEMA_EXAMPLES),
):
    app.command(_name, epilog=_examples)(_command)


if __name__ == "__main__":
    main()
