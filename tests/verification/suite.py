"""Rows of the verification table, and the register of the cases that fill it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from matplotlib.figure import Figure

TOP = Path(__file__).parents[2]
CONFIGS = TOP / "configs"
BAITS = ("shallow-runner", "surface-runner", "deep-runner", "slab-sided", "slow-sinker")

# How far the reference of a row can be trusted.
READ = "read"  # in the source itself
SECONDARY = "read in a copy"  # public code or notes that quote it
COMPUTED = "computed"  # from a closed form, or by another program, when the suite runs
MEMORY_HIGH = "from memory, high"
MEMORY_MEDIUM = "from memory, medium"
PRACTICE = "common practice, no source"  # a word of the trade
OWN = "this program"  # another setting, another integrator over its equations, its own runs
OF_REFERENCE = "check of a reference"  # one outside thing against another; not the program
STATUSES = (
    READ, SECONDARY, COMPUTED, MEMORY_HIGH, MEMORY_MEDIUM, PRACTICE, OWN, OF_REFERENCE,
)  # fmt: skip

# What the judged rows are counted as: how much a row that holds says about the program.
Group = Literal["outside", "formula", "itself", "reference"]
# Note of a row whose reference is the very table or formula that the program uses.
ARRIVES = "The program uses this formula: the row shows that it arrives, not that it is right."

# the files of cases, in the order of the document
MODULES = (
    "rigid_body", "mujoco_fluid", "trajectories", "added_mass", "plates", "bodies", "falling",
    "wake", "line_water", "modes", "convergence", "sensitivity",
)  # fmt: skip


def group(status: str, note: str) -> Group:
    """What a row is counted as, from its status and its note."""
    if status == OWN:
        return "itself"
    if status == OF_REFERENCE:
        return "reference"
    return "formula" if ARRIVES in note else "outside"


@dataclass(frozen=True)
class Row:
    """One quantity of the program against one reference value.

    Attributes
    ----------
    quantity : str      what is compared, with the case's parameters
    ours, reference : float
    tolerance : float   largest difference that passes; ``inf`` for a row that is only reported
    source : str        where the reference value comes from
    status : str        how far that can be trusted: one of the words above
    unit : str          "1" without one
    kind : str          "relative" (difference over the reference), or "absolute" (in the unit)
    note : str          why the tolerance is what it is, or what a known difference means; with
                        ``ARRIVES`` in it where the program uses the reference's own formula

    Raises
    ------
    ValueError    for a row that could not be judged or shown, with its quantity
    """

    quantity: str
    ours: float
    reference: float
    tolerance: float
    source: str
    status: str
    unit: str = "1"
    kind: Literal["relative", "absolute"] = "relative"
    note: str = ""

    def __post_init__(self) -> None:
        """Refuse a row that could not be judged or shown."""
        exact = self.tolerance == 0.0 and self.kind == "absolute"
        faults = [
            text
            for wrong, text in (
                (self.kind not in ("relative", "absolute"), f"unknown kind {self.kind!r}"),
                (self.status not in STATUSES, f"unknown status {self.status!r}"),
                (not math.isfinite(self.reference), f"reference {self.reference}"),
                (
                    self.kind == "relative" and self.reference == 0.0,
                    "a difference relative to 0; make it absolute",
                ),
                (
                    not (self.tolerance > 0.0 or exact),
                    f"tolerance {self.tolerance}; above 0, or 0 for an absolute row",
                ),
                ("|" in self.source, "a bar in the source, which ends the cell of the table"),
            )
            if wrong
        ]
        if faults:
            raise ValueError(f"row {self.quantity!r}: {'; '.join(faults)}")

    @property
    def difference(self) -> float:
        """Ours less the reference, over the reference where the row is relative."""
        apart = self.ours - self.reference
        return apart / abs(self.reference) if self.kind == "relative" else apart

    @property
    def group(self) -> Group:
        """What the row is counted as."""
        return group(self.status, self.note)

    @property
    def reported_only(self) -> bool:
        """True for a known difference that is shown and not judged."""
        return math.isinf(self.tolerance)

    @property
    def holds(self) -> bool:
        """True when the difference is finite and within the tolerance."""
        return math.isfinite(self.difference) and abs(self.difference) <= self.tolerance


@dataclass(frozen=True)
class Case:
    """Rows that belong together, made by one function.

    ``slow`` cases (over about 5 s) carry the marker of that name in the tests.
    """

    title: str
    text: str
    rows: Callable[[], tuple[Row, ...]]
    slow: bool
    module: str


@dataclass(frozen=True)
class Picture:
    """A figure of the document."""

    file: str
    caption: str
    draw: Callable[[], Figure]
    module: str


_CASES: list[Case] = []
_PICTURES: list[Picture] = []


def case(title: str, slow: bool = False) -> Callable[[Callable[[], Iterable[Row]]], None]:
    """Register a function that returns rows; its docstring becomes the text above them."""

    def register(function: Callable[[], Iterable[Row]]) -> None:
        @cache
        def rows() -> tuple[Row, ...]:
            return tuple(function())

        text = " ".join((function.__doc__ or "").split())
        _CASES.append(Case(title, text, rows, slow, function.__module__))

    return register


def picture(file: str, caption: str) -> Callable[[Callable[[], Figure]], None]:
    """Register a function that draws a figure of the document, a .png in docs/verification/."""

    def register(function: Callable[[], Figure]) -> None:
        _PICTURES.append(Picture(file, caption, function, function.__module__))

    return register


def _load() -> None:
    for name in MODULES:
        import_module(f"{__package__}.{name}")


def _in_order(items: list) -> Iterator:  # type: ignore[type-arg]
    order = [f"{__package__}.{name}" for name in MODULES]
    return iter(sorted(items, key=lambda item: order.index(item.module)))


def cases() -> list[Case]:
    """All cases, in the order of the document."""
    _load()
    return list(_in_order(_CASES))


def pictures() -> list[Picture]:
    """All figures, in the order of the document."""
    _load()
    return list(_in_order(_PICTURES))
