"""Pieces of which every answer is made: numbers, rows and titles as text, dictionaries as JSON."""

from __future__ import annotations

import io
import json
import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np
from rich.console import Console, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from sim.config import config_digest
from sim.config.models import Config

SHORT_DIGEST = 12  # characters of a digest in text


def as_text(text: RenderableType, width: int, *, styled: bool = False) -> str:
    """Lines of a renderable, no wider than ``width`` columns.

    Parameters
    ----------
    text : renderable
    width : int
    styled : bool    for a terminal: bold and colour, the latter unless NO_COLOR is set
    """
    stream = io.StringIO()
    console = Console(
        file=stream, width=width, force_terminal=styled, markup=False, highlight=False, emoji=False
    )
    console.print(text)
    return "\n".join(line.rstrip() for line in stream.getvalue().splitlines())


def to_json(document: Mapping[str, Any] | Sequence[Mapping[str, Any]]) -> str:
    """One JSON document; NaN and infinity become null."""
    return json.dumps(_plain(document), indent=2, allow_nan=False)


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {str(key): _plain(inner) for key, inner in value.items()}
    if isinstance(value, np.ndarray):
        return _plain(value.tolist())
    if isinstance(value, list | tuple):
        return [_plain(inner) for inner in value]
    if isinstance(value, np.generic):
        value = value.item()
    return None if isinstance(value, float) and not math.isfinite(value) else value


def fixed(value: float | None, digits: int, unit: str = "") -> str:
    """A number with so many decimals, no minus zero; "-" where there is none."""
    if value is None or not math.isfinite(value):
        return "-"
    text = f"{value:.{digits}f}"
    if float(text) == 0.0:
        text = text.lstrip("-")
    return f"{text} {unit}".rstrip()


def significant(value: float, digits: int = 4) -> str:
    """A number with so many figures, never in powers of ten unless it is far off."""
    if value == 0.0 or not math.isfinite(value):
        return "0" if value == 0.0 else "-"
    text = f"{value:.{digits - 1}e}"
    places = digits - 1 - int(text.partition("e")[2])
    return f"{value:.{max(0, places)}f}" if -9 < places < 9 else text


def sided(value: float, digits: int, unit: str, plus: str, minus: str) -> str:
    """A magnitude with its direction in words, so that nobody has to know a sign."""
    text = fixed(abs(value), digits, unit)
    if text == "-" or float(text.split()[0]) == 0.0:
        return text
    return f"{text} {plus if value > 0.0 else minus}"


def labelled(rows: Iterable[tuple[str, RenderableType]]) -> RenderableType:
    """Labels on the left, what they label on the right, wrapped there."""
    grid = Table.grid(padding=(0, 2))
    grid.add_column(no_wrap=True)
    grid.add_column()
    for label, text in rows:
        grid.add_row(Text(label), Text(text) if isinstance(text, str) else text)
    return Padding(grid, (0, 0, 0, 2))


def title(name: str, rest: str = "") -> Text:
    """A name and what follows it, in bold."""
    return Text(name + rest, style="bold")


def name_of(config: Config) -> str:
    """The bait's name, "bait" without one."""
    return config.name or "bait"


def config_document(config: Config) -> dict[str, Any]:
    """Where a configuration came from and which it is."""
    return {
        "source": config.source_path,
        "digest": config_digest(config),
        "overrides": config.overrides,
    }


def note(text: str) -> RenderableType:
    """A remark below a table, in line with it."""
    return Padding(Text(text), (0, 0, 0, 2))


def made_by(made: Mapping[str, str]) -> list[tuple[str, str]]:
    """When and by which versions a stored result was made, as rows of a table."""
    commit = made.get("git_commit", "none")
    code = f"runtrue {made.get('program', 'unknown')}"
    if commit not in ("none", "unknown"):
        code += f", commit {commit[:SHORT_DIGEST]}"
        code += " with changes" if made.get("git_dirty") == "yes" else ""
    date = made.get("date_utc", "at an unknown date").replace("T", " ").replace("+00:00", " UTC")
    libraries = ("python", "numpy", "scipy", "numba", "h5py")
    versions = ", ".join(f"{name} {made[name]}" for name in libraries if name in made)
    return [("Made", f"{date} by {code}"), ("", versions)]
