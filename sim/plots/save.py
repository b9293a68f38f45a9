"""Writing a picture: whole or not at all, and the same bytes for the same figure."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

from matplotlib.figure import Figure

from sim.errors import RuntrueError
from sim.plots import SUFFIXES
from sim.plots.style import plot_style


def save_figure(draw: Callable[[], Figure], path: str | os.PathLike[str]) -> Path:
    """Draw into a PNG, SVG or PDF file, replacing one of that name; returns its path.

    Parameters
    ----------
    draw : callable    makes the figure; called inside :func:`sim.plots.style.plot_style`
    path : path

    Raises
    ------
    RuntrueError
        For another suffix, or when the file cannot be written; an existing file is then kept.
    """
    path = Path(path)
    suffix = path.suffix.lower()
    if suffix not in SUFFIXES:
        given = f'suffix "{path.suffix}"' if path.suffix else "no suffix"
        raise RuntrueError(
            f"{path}: {given}: the picture's file name must end in .png, .svg or .pdf. "
            f"Try {path.with_suffix('.png') if path.name else 'run.png'}."
        )
    # without a date the same figure gives the same file
    metadata: dict[str, Any] = {
        ".png": {},
        ".svg": {"Date": None},
        ".pdf": {"CreationDate": None},
    }[suffix]
    with plot_style():
        figure = draw()
        part = path.with_name(f".{path.name}.{os.getpid()}.part")
        try:
            try:
                with part.open("xb") as stream:
                    figure.savefig(stream, format=suffix[1:], metadata=metadata)
                part.replace(path)
            finally:
                part.unlink(missing_ok=True)
        except OSError as error:
            raise RuntrueError(
                f"{path}: cannot write the picture: {error.strerror or error}. "
                "Give a file name in a folder that exists and may be written to."
            ) from error
    return path
