"""Builds of one bait: every build error and every uncertain coefficient drawn, to configurations.

A design says what is drawn: the errors of the shop, the coefficients that nobody has measured,
both, or a variation of these that the indices or the search for a tolerance need. Build number i of
a design depends on the seed, i and the design alone.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, fields
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
from scipy.stats import qmc, truncnorm

from sim.bait.assembly import assemble
from sim.bait.frame import GRAM_PER_CM3, MM, from_nose
from sim.bait.plates import plate_axes
from sim.config import Config, config_digest, config_from_dict, with_overrides
from sim.config.builds import Build, Uncertainty
from sim.config.models import Bill, Body, Coefficients
from sim.config.schema import within
from sim.config.units import unit_of
from sim.errors import ConfigError
from sim.model import crossflow_factor
from sim.studies.axes import Overrides
from sim.studies.own_place import own_place
from sim.studies.starts import STEADY

__all__ = [
    "DOUBTS",
    "ERRORS",
    "SCALES",
    "BuildStudy",
    "Design",
    "Meant",
    "Quantity",
    "as_meant",
    "build_overrides",
    "doubt_overrides",
    "few_of",
]

BELL_SIGMAS = 2.0  # a bell-shaped error is cut off at so many standard deviations: its tolerance


class Quantity(NamedTuple):
    """Something drawn: its key in ``[build]`` or ``[uncertainty]``, its name and its unit."""

    key: str
    label: str
    unit: str


def _quantities(model: type[Build] | type[Uncertainty]) -> tuple[Quantity, ...]:
    return tuple(
        Quantity(key, str(field.title), unit_of(key))
        for key, field in model.model_fields.items()
        if key != "errors"
    )


ERRORS = _quantities(Build)
DOUBTS = _quantities(Uncertainty)
# Shares of a tolerance that the search for a tighter one may try.
SCALES = tuple(n / 16 for n in range(17))
LEAST_FEW, MOST_FEW = 500, 1000
UPWARD = "_more"  # keys of coefficients that may only be larger

# Designs that every risk has; further ones are numbered behind them.
NAMES = ("workmanship", "both", "coefficients", "second", "meant")
SHOP, BOTH, DOUBT, SECOND, MEANT = range(len(NAMES))
MIXED = len(NAMES)  # the first of the designs that take one error from the second sample
SEARCH = MIXED + len(ERRORS)  # the first of those that scale errors, len(SCALES) an error
ALL = len(ERRORS)  # number that stands for all errors at once in these


class Design(NamedTuple):
    """What is drawn.

    ``kind`` is "workmanship", "both", "coefficients", "second" (a second sample of workmanship),
    "meant" (nothing), "mixed" or "search"; ``error`` is the number in ERRORS that "mixed" takes
    from the second sample and "search" scales by ``scale``, ALL for all of them.
    """

    kind: str
    error: int = -1
    scale: float = 1.0

    @classmethod
    def of(cls, number: int) -> Design:
        """A design by its number."""
        if number < MIXED:
            return cls(NAMES[number])
        if number < SEARCH:
            return cls("mixed", number - MIXED)
        error, step = divmod(number - SEARCH, len(SCALES))
        return cls("search", error, SCALES[step])


@dataclass(frozen=True, eq=False)
class BuildStudy:
    """Builds of a bait, each at some speeds, for designs planned on the way.

    Cases count in the order design, build, speed: the speed varies fastest.

    Attributes
    ----------
    name, source_path : str
    base : Config                  the bait as it is meant to be
    fixed : dict                   overrides of the base, dotted key to value
    speeds : tuple of float        [m/s]
    builds : int                   of the designs that draw what the answer tells
    few : int                      builds of coefficients alone and of every step of a search
    pairs : int                    builds for the indices, a power of two
    target : float                 share of bad builds that is looked for
    seed : int
    """

    name: str
    source_path: str
    base: Config
    fixed: Overrides
    speeds: tuple[float, ...]
    builds: int
    few: int
    pairs: int
    target: float = 0.05
    seed: int = 1
    chunk: int = 120

    def __post_init__(self) -> None:
        if not 1 <= self.few <= self.builds or not 2 <= self.pairs <= self.builds:
            raise ValueError(f"{self.few} and {self.pairs} of {self.builds} builds: from 2 to all")
        if self.pairs & (self.pairs - 1):
            raise ValueError(f"{self.pairs} pairs: must be a power of two")

    kind = "risk"
    starts = (STEADY,)
    stop_early = False  # its rules know the limits of classes, not that of running off
    keep_states_ms = 0.0

    # ------------------------------------------------------------------------------- the samples

    @cached_property
    def _unit(self) -> np.ndarray:
        """Points of a scrambled Sobol sequence, shape (builds, 2 len(ERRORS) + len(DOUBTS)).

        A build keeps its point however many there are.
        """
        power = max(0, int(self.builds - 1).bit_length())
        width = 2 * len(ERRORS) + len(DOUBTS)
        # 62 bits, or one point in some thousands would be 0 or 1 after scrambling
        sampler = qmc.Sobol(width, bits=62, rng=np.random.default_rng(self.seed))
        return np.asarray(sampler.random_base2(power)[: self.builds])

    @cached_property
    def tolerances(self) -> np.ndarray:
        """Tolerance of every error, 0 where the bait lacks the part, shape (len(ERRORS),)."""
        bait, build = self.base.bait, self.base.build
        there = {
            "bill": bait.bill is not None,
            "tie": bait.tie is not None,
            "ballast": bool(bait.ballast),
            "body": bait.body is not None,
            "total": bait.body is not None,
            "hook": any(hook.mass_g > 0.0 for hook in bait.hook),
        }
        return np.array(
            [getattr(build, q.key) if there[q.key.partition("_")[0]] else 0.0 for q in ERRORS]
        )

    @property
    def active(self) -> tuple[int, ...]:
        """Numbers of the errors that have a tolerance."""
        return tuple(int(i) for i in np.flatnonzero(self.tolerances))

    def _errors(self, second: bool) -> np.ndarray:
        n = len(ERRORS)
        unit = self._unit[:, n : 2 * n] if second else self._unit[:, :n]
        if self.base.build.errors == "even":
            shape = 2.0 * unit - 1.0
        else:
            shape = truncnorm.ppf(unit, -BELL_SIGMAS, BELL_SIGMAS) / BELL_SIGMAS
        return np.asarray(shape * self.tolerances)

    @cached_property
    def errors(self) -> np.ndarray:
        """Errors of the builds in the unit of their keys, shape (builds, len(ERRORS))."""
        return self._errors(second=False)

    @cached_property
    def second_errors(self) -> np.ndarray:
        """A second, independent sample of the errors, same shape."""
        return self._errors(second=True)

    @cached_property
    def doubts(self) -> np.ndarray:
        """Changes of the coefficients, in the unit of their keys, shape (builds, len(DOUBTS))."""
        unit = self._unit[:, 2 * len(ERRORS) :]
        shape = np.where([q.key.endswith(UPWARD) for q in DOUBTS], unit, 2.0 * unit - 1.0)
        return np.asarray(shape * [getattr(self.base.uncertainty, q.key) for q in DOUBTS])

    def drawn(self, design: Design, build: int) -> tuple[np.ndarray, np.ndarray]:
        """Errors and changes of coefficients of one build, shapes as the keys."""
        errors, doubts = self.errors[build], np.zeros(len(DOUBTS))
        if design.kind in ("both", "coefficients"):
            doubts = self.doubts[build]
        if design.kind in ("coefficients", "meant"):
            errors = np.zeros(len(ERRORS))
        elif design.kind == "second":
            errors = self.second_errors[build]
        elif design.error == ALL:
            errors = design.scale * errors
        elif design.error >= 0:
            errors = errors.copy()
            if design.kind == "mixed":
                errors[design.error] = self.second_errors[build, design.error]
            else:
                errors[design.error] *= design.scale
        return errors, doubts

    # ----------------------------------------------------------------------------------- cases

    def count(self, design: int) -> int:
        """Number of builds of a design."""
        kind = Design.of(design).kind
        if kind == "meant":
            return 1
        if kind in ("workmanship", "both"):
            return self.builds
        return self.pairs if kind in ("second", "mixed") else self.few

    def cases(self, design: int, speeds: np.ndarray | None = None) -> np.ndarray:
        """Case numbers of a design, at the speeds marked (bool) where not at all of them."""
        of_each = len(self.speeds)
        first = design * self.builds * of_each
        cases = np.arange(first, first + self.count(design) * of_each).reshape(-1, of_each)
        return (cases if speeds is None else cases[:, speeds]).ravel()

    def place(self, case: int | np.ndarray) -> tuple[Any, Any, Any]:
        """(design, build, speed number) of cases."""
        rest, speed = np.divmod(case, len(self.speeds))
        design, build = np.divmod(rest, self.builds)
        return design, build, speed

    def case_config(self, case: int) -> Config:
        """Configuration of a case; depends on the study and the case alone.

        Raises
        ------
        ConfigError
            For a build that has no valid configuration.
        """
        number, build, speed = (int(i) for i in self.place(case))
        errors, doubts = self.drawn(Design.of(number), build)
        changes = build_overrides(self._meant, _named(ERRORS, errors))
        changes |= doubt_overrides(self._meant, _named(DOUBTS, doubts))
        changes["retrieve.speed_m_s"] = self.speeds[speed]
        return with_overrides(self._meant.config, changes)

    @cached_property
    def _meant(self) -> Meant:
        return as_meant(self.base)

    @cached_property
    def study_digest(self) -> str:
        """SHA-256 (hex) over all that decides results."""
        content = {
            "kind": self.kind,
            "base": config_digest(self.base),
            "build": _no_minus_zero(self.base.build.model_dump()),
            "uncertainty": _no_minus_zero(self.base.uncertainty.model_dump()),
            "speeds": [float(speed) for speed in self.speeds],
            "counts": [self.builds, self.few, self.pairs],
            "target": self.target,
            "seed": self.seed,
        }
        text = json.dumps(content, sort_keys=True, separators=(",", ":"), allow_nan=False)
        return hashlib.sha256(text.encode()).hexdigest()

    # ------------------------------------------------------------------------------------ JSON

    def to_json(self) -> str:
        """The whole study as JSON text, for :meth:`from_json` in a process without the files."""
        content = {field.name: getattr(self, field.name) for field in fields(self)}
        content["kind"] = self.kind
        content["base"] = {
            "values": self.base.model_dump(mode="json"),
            "source_path": self.base.source_path,
            "source_text": self.base.source_text,
        }
        return json.dumps(content, ensure_ascii=False, allow_nan=False)

    @classmethod
    def from_json(cls, text: str) -> BuildStudy:
        """The study that :meth:`to_json` wrote; the numbers keep every bit."""
        content = json.loads(text)
        del content["kind"]
        base = content["base"]
        content["base"] = config_from_dict(
            base["values"], base["source_path"], content["fixed"], base["source_text"]
        )
        content["speeds"] = tuple(content["speeds"])
        return cls(**content)

    # ------------------------------------------------------------------------------- its bounds

    def tolerance_problems(self) -> list[str]:
        """Tolerances whose largest error, by itself, is one that no bait can be built with."""
        where, found = self.base.source_path or "config", []
        for number in self.active:
            quantity, tolerance = ERRORS[number], float(self.tolerances[number])
            for side in (-tolerance, tolerance):
                changes = build_overrides(self._meant, {quantity.key: side})
                try:
                    assemble(with_overrides(self._meant.config, changes))
                except ConfigError as error:
                    # what is wrong, not what its advice would be for a key that is given
                    text = error.problems[0].removeprefix(f"{where}: ").split(". ")[0]
                    text = text.replace(" (override)", "").rstrip(".")
                    found.append(
                        f"{where}: build.{quantity.key} = {tolerance:g}: an error of {side:g}"
                        f" {quantity.unit} gives no bait ({text}). Give a closer"
                        " tolerance."
                    )
                    break
        return found


# ------------------------------------------------------------------------- errors to overrides


def _no_minus_zero(table: dict[str, Any]) -> dict[str, Any]:
    return {key: v + 0.0 if isinstance(v, float) else v for key, v in table.items()}


def _named(quantities: tuple[Quantity, ...], values: np.ndarray) -> dict[str, float]:
    pairs = zip(quantities, values.tolist(), strict=True)
    return {quantity.key: value for quantity, value in pairs if value != 0.0}


def few_of(builds: int) -> int:
    """Builds of coefficients alone and of a step of a search: a quarter, within bounds, or all."""
    return min(builds, MOST_FEW, max(LEAST_FEW, builds // 4))


class Meant(NamedTuple):
    """The bait as it is meant to be, and what its builds need to know of it.

    Attributes
    ----------
    config : Config              its body by density: with the weighed total given, a heavier hook
                                 would make the body lighter
    density_g_cm3 : float        of the body, NaN without one
    total_to_material : float    mass of the rigged bait over that of the body's material
    tied_on_bill : bool          the line leaves from the bill, and moves with it
    crossflow_factor : float     see ``sim.model.crossflow_factor``, NaN without a body
    """

    config: Config
    density_g_cm3: float
    total_to_material: float
    tied_on_bill: bool
    crossflow_factor: float


def as_meant(config: Config) -> Meant:
    """Prepare a bait for its builds.

    Raises
    ------
    ConfigError
        When its parts contradict each other.
    """
    bait, settings = assemble(config), config.bait.body
    on_bill = own_place(config, "tie_path_mm") > 0.0
    if settings is None or bait.body is None or bait.body_density is None:
        return Meant(config, math.nan, math.nan, on_bill, math.nan)
    density = bait.body_density / GRAM_PER_CM3
    if config.bait.total_mass_g is not None:
        changes = {"bait.total_mass_g": None, "bait.body.density_g_cm3": density}
        config = with_overrides(config, changes)
    # of a solid body the ballast drills some out
    material = sum(
        part.mass
        for part in bait.parts
        if part.kind == "body" and (settings.wall_mm is None or part.name == "body")
    )
    factor = crossflow_factor(config, bait.body)
    return Meant(config, density, bait.mass / material, on_bill, factor)


def build_overrides(meant: Meant, errors: Mapping[str, float]) -> Overrides:
    """Dotted keys and values of a bait that was built with errors.

    Parameters
    ----------
    meant : Meant
    errors : mapping    key of ``[build]`` to error in the unit of the key; what is left out is 0

    Notes
    -----
    A line that is tied on the bill moves with it. A heavier or lighter bait is one by its body.
    """
    error = dict.fromkeys((quantity.key for quantity in ERRORS), 0.0) | dict(errors)
    found: Overrides = {}
    bait = meant.config.bait
    if bait.bill is not None:
        found |= _bill(bait.bill, error)
    if bait.tie is not None:
        place = _tied(meant, found)
        for key, at in zip(("from_nose_mm", "above_centreline_mm", "right_mm"), place, strict=True):
            name = "tie_above_mm" if key.startswith("above") else f"tie_{key}"
            if at + error[name] != getattr(bait.tie, key):
                found[f"bait.tie.{key}"] = at + error[name]
    for n, piece in enumerate(bait.ballast):
        for key in ("right_mm", "from_nose_mm"):
            if error[f"ballast_{key}"] != 0.0:
                found[f"bait.ballast.{n}.{key}"] = getattr(piece, key) + error[f"ballast_{key}"]
    for n, hook in enumerate(bait.hook):
        if error["hook_mass_percent"] != 0.0:
            found[f"bait.hook.{n}.mass_g"] = hook.mass_g * (1.0 + _share(error, "hook_mass"))
    if bait.body is not None:
        found |= _body(meant, bait.body, error)
    return found


def _share(error: Mapping[str, float], name: str) -> float:
    return 0.01 * error[f"{name}_percent"]


def _bill(bill: Bill, error: Mapping[str, float]) -> Overrides:
    moved = {
        "yaw_error_deg": bill.yaw_error_deg + error["bill_yaw_deg"],
        "roll_error_deg": bill.roll_error_deg + error["bill_roll_deg"],
        "angle_deg": bill.angle_deg + error["bill_angle_deg"],
        "right_mm": bill.right_mm + error["bill_right_mm"],
        "length_mm": bill.length_mm + error["bill_length_mm"],
        "width_mm": bill.width_mm + error["bill_width_mm"],
    }
    found: Overrides = {f"bait.bill.{k}": v for k, v in moved.items() if v != getattr(bill, k)}
    if bill.outline_mm and (error["bill_length_mm"] or error["bill_width_mm"]):
        along = moved["length_mm"] / bill.length_mm
        across = moved["width_mm"] / bill.width_mm
        found["bait.bill.outline_mm"] = [[along * x, across * y] for x, y in bill.outline_mm]
    return found


def _tied(meant: Meant, moved: Overrides) -> tuple[float, float, float]:
    """Where the tie point comes to by a bill that is off: (from nose, above, right) [mm]."""
    tie, bill = meant.config.bait.tie, meant.config.bait.bill
    assert tie is not None
    here = (tie.from_nose_mm, tie.above_centreline_mm, tie.right_mm)
    if bill is None or not moved or not meant.tied_on_bill:
        return here
    keys = {key.removeprefix("bait.bill."): value for key, value in moved.items()}
    keys.pop("outline_mm", None)
    built = bill.model_copy(update=keys)
    root = from_nose(bill.from_nose_mm, bill.above_centreline_mm, bill.right_mm)
    new_root = from_nose(built.from_nose_mm, built.above_centreline_mm, built.right_mm)
    on_bill = plate_axes(bill, 0.0) @ (from_nose(*here) - root)
    x, y, z = (new_root + on_bill @ plate_axes(built, 0.0)) / MM
    return (-float(x), -float(z), float(y))


def _body(meant: Meant, body: Body, error: Mapping[str, float]) -> Overrides:
    found: Overrides = {}
    if error["body_lopsided_mm"] != 0.0:
        found["bait.body.lopsided_mm"] = body.lopsided_mm + error["body_lopsided_mm"]
    more = _share(error, "body_density") + _share(error, "total_mass") * meant.total_to_material
    if more != 0.0:
        found["bait.body.density_g_cm3"] = meant.density_g_cm3 * (1.0 + more)
    return found


def doubt_overrides(meant: Meant, changes: Mapping[str, float]) -> Overrides:
    """Dotted keys and values of a bait whose coefficients are other than they are taken to be.

    Parameters
    ----------
    meant : Meant
    changes : mapping    key of ``[uncertainty]`` to change in the unit of the key

    Notes
    -----
    A coefficient stays within the bounds that its key has.
    """
    config = meant.config
    held = config.coefficients
    change = dict.fromkeys((quantity.key for quantity in DOUBTS), 0.0) | dict(changes)
    values = {
        "strouhal": held.strouhal * (1.0 + _share(change, "strouhal")),
        "wake_offset": held.wake_offset * (1.0 + _share(change, "wake_offset")),
        "wake_damping": held.wake_damping * (1.0 + _share(change, "wake_damping")),
        "wake_coupling": held.wake_coupling + change["wake_coupling_more"],
        "side_force_factor": held.side_force_factor * (1.0 + _share(change, "side_force")),
        "side_force_shift": held.side_force_shift + change["side_force_shift"],
        "bill_shadow": held.bill_shadow + change["bill_shadow_more"],
    }
    if change["crossflow_percent"] != 0.0 and config.bait.body is not None:
        factor = meant.crossflow_factor * (1.0 + _share(change, "crossflow"))
        values["crossflow_end_factor"] = factor
    found: Overrides = {
        f"coefficients.{key}": within(Coefficients.model_fields[key], value)
        for key, value in values.items()
        if value != getattr(held, key)
    }
    for n, hook in enumerate(config.bait.hook):
        if change["hook_drag_percent"] != 0.0:
            area = hook.drag_area_mm2 * (1.0 + _share(change, "hook_drag"))
            found[f"bait.hook.{n}.drag_area_mm2"] = area
    if change["line_drag_percent"] != 0.0 and config.line is not None:
        drag = config.line.normal_drag_coefficient * (1.0 + _share(change, "line_drag"))
        found["line.normal_drag_coefficient"] = drag
    return found
