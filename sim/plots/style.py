"""How the classes of motion and all pictures look: the one place that fixes it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from types import MappingProxyType

import matplotlib.style

# Okabe & Ito (2008), "Color Universal Design": told apart with the common colour deficiencies.
OKABE_ITO: Mapping[str, str] = MappingProxyType(
    {
        "black": "#000000",
        "orange": "#E69F00",
        "sky blue": "#56B4E9",
        "bluish green": "#009E73",
        "yellow": "#F0E442",
        "blue": "#0072B2",
        "vermillion": "#D55E00",
        "reddish purple": "#CC79A7",
    }
)
GREY = "#999999"

FIGURE_INCHES = (16.0, 10.0)
DPI = 100  # 1600 x 1000 pixels


@dataclass(frozen=True)
class ClassStyle:
    """Look of one class of motion; the letter, hatch and marker carry it without colour."""

    letter: str
    colour: str
    hatch: str
    marker: str
    words: str


NO_CLASS = ClassStyle("x", GREY, "xx", "x", "no class")
NOT_SETTLED = ClassStyle("?", "#DDDDDD", "", "$?$", "not settled")
# Of a build, beside its class: it keeps its class and yet cannot be used.
RUNS_OFF = ClassStyle("R", OKABE_ITO["reddish purple"], "\\\\", "D", "runs off")
CLASS_STYLES: Mapping[str, ClassStyle] = MappingProxyType(
    {
        "tight": ClassStyle("t", OKABE_ITO["sky blue"], "..", "v", "tight"),
        "balanced": ClassStyle("B", OKABE_ITO["bluish green"], "", "o", "balanced"),
        "over-rolling": ClassStyle("O", OKABE_ITO["orange"], "//", "^", "over-rolling"),
        "spinning": ClassStyle("S", OKABE_ITO["vermillion"], "--", "s", "spinning"),
    }
)

RC: Mapping[str, object] = MappingProxyType(
    {
        "figure.dpi": DPI,
        "savefig.dpi": "figure",
        "font.family": "DejaVu Sans",  # comes with matplotlib, so text has the same size anywhere
        "font.size": 11.0,
        "text.hinting": "no_hinting",  # bold numerals else get feet at this size
        "axes.titlesize": 12.0,
        "axes.titleweight": "bold",
        "axes.titlelocation": "left",
        "axes.labelsize": 11.0,
        "axes.spines.top": False,
        "axes.spines.right": False,
        "axes.grid": True,
        "axes.axisbelow": True,
        "axes.formatter.useoffset": False,
        "grid.color": "#E0E0E0",
        "grid.linewidth": 0.7,
        "xtick.labelsize": 10.0,
        "ytick.labelsize": 10.0,
        "legend.fontsize": 10.0,
        "legend.frameon": False,
        "lines.linewidth": 1.4,
        "hatch.linewidth": 0.8,
        "svg.hashsalt": "runtrue",  # the same run gives the same file
        "pdf.fonttype": 42,
    }
)


def class_style(motion_class: str | None) -> ClassStyle:
    """Look of a class of motion; None, a run without a class, is grey with an x.

    Raises
    ------
    KeyError
        For a name that is no class of motion.
    """
    return NO_CLASS if motion_class is None else CLASS_STYLES[motion_class]


@contextmanager
def plot_style() -> Iterator[None]:
    """Drawing and saving inside this block uses the shared settings; none is left behind."""
    with matplotlib.style.context(["default", dict(RC)]):
        yield
