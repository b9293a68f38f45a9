"""``runtrue new`` and ``runtrue schema``: a configuration to start from, and what may be in one."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from sim import terminal
from sim.terminal import ForceOption, OutputOption, epilog

EXAMPLES = epilog("runtrue new pike")
SCHEMA_EXAMPLES = epilog("runtrue schema --output config.schema.json")


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
