"""Pictures of a map: the options that ask for them, and drawing them for ``map`` and ``show``."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sim.commands.pictures import Pictures

if TYPE_CHECKING:
    from sim.studies.store import MapResult
    from sim.studies.study import Study

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
NONE = "none"  # no contour lines


@dataclass(frozen=True)
class Drawing(Pictures):
    """What is drawn of a map, and where.

    Attributes
    ----------
    pictures : tuple of Path
    contours, quantity : str or None    as they were given
    """

    contours: str | None
    quantity: str | None

    noun = "map"

    def problems(self) -> list[str]:
        """What is wrong with names of files and measures, whatever the map."""
        from difflib import get_close_matches

        from sim.kernels.motion import MEASURES

        found = super().problems()
        for option, name in (("--contours", self.contours), ("--quantity", self.quantity)):
            if name is None or name in MEASURES or (name == NONE and option == "--contours"):
                continue
            near = [measure for measure in MEASURES if name and name.lower() in measure]
            near = near or get_close_matches(name.lower(), MEASURES, n=1)
            if near:
                advice = f"Did you mean {' or '.join(near)}?"
            else:
                advice = f"The measures are {', '.join(MEASURES)}."
            found.append(f"{option} {name}: is no measure. {advice}")
        if self.contours not in (None, NONE) and self.quantity is not None:
            found.append(
                f"--contours {self.contours}: lines lie over the classes, which --quantity"
                f" {self.quantity} does not draw. Leave one of them out."
            )
        return found

    def problems_with(self, study: Study) -> list[str]:
        """What cannot be drawn of this study."""
        if self.contours in (None, NONE) or len(study.axes) > 1:
            return []
        return [
            f"--contours {self.contours}: lines need two axes, and this study has one. Leave it"
            " out; --quantity draws one measure as a curve."
        ]

    def options(self, pictures: Sequence[Path]) -> list[str]:
        """The words that ask for some of the pictures again."""
        words = super().options(pictures)
        for option, name in (("--contours", self.contours), ("--quantity", self.quantity)):
            if name is not None:
                words += [option, name]
        return words

    def save(self, result: MapResult, path: Path) -> None:
        """Draw a map into one file."""
        from sim.plots.map import FREQUENCY, save_map_figure, save_quantity_figure

        if self.quantity is not None:
            save_quantity_figure(result, self.quantity, path)
        else:
            save_map_figure(
                result, path, None if self.contours == NONE else self.contours or FREQUENCY
            )
