"""Which way and how far to bend the eye of a bait that runs to one side.

A study of kind "tune" has two axes: the bend of the eye and the speed. Everything here is a pure
function of the finished study, or of the configuration; nothing is fitted.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from sim.bait.frame import heading_deg
from sim.classify import goes_round
from sim.config import Config, with_overrides
from sim.kernels.motion import MEASURES
from sim.studies.axes import NAMED_AXES, Overrides, axis_label
from sim.studies.engine import CLASSES, FAILED, STATUSES, run_configs
from sim.studies.speeds import drift_time_s
from sim.studies.starts import STEADY
from sim.studies.study import Axis, Study

if TYPE_CHECKING:
    from sim.config.models import Limits
    from sim.studies.store import MapResult

__all__ = [
    "BEND",
    "SPEED",
    "Asymmetry",
    "Righted",
    "Swims",
    "Tuning",
    "asymmetries",
    "bends_for",
    "knot_shift",
    "put_right",
    "tune_study",
    "tuning",
]

BEND, SPEED = "eye_bend_deg", "retrieve.speed_m_s"
WIDEST_DEG = 45.0  # a wire is not bent further to tune a bait
CENTRE_DEG = 20.0  # within it the steps are half as long
STEPS_DEG = (0.5, 0.25, 0.1)
NEAR_MM = 0.1  # least step of the knot, and how well its place is told
TRUE_SHARE = 0.1  # of the limits, within which a bait runs true
LEAST_GAIN = 0.05  # of the limits, below which a bend is not worth the pliers
BETWEEN = 50  # places looked at between two bends
BEYOND = 1e3  # shares of the limits; a speed at which the bait is beyond all counts more

_SETTLED = STATUSES.index("settled")
_FAILED = [STATUSES.index(name) for name in FAILED]


# ------------------------------------------------------------------------------------- the study


def knot_shift(eye_mm: float, bend_deg: float) -> tuple[float, float]:
    """How far the knot moves to starboard and aft when the wire of the eye is bent [mm].

    Parameters
    ----------
    eye_mm : float      length of the wire between the place where it bends and the knot
    bend_deg : float    positive to starboard
    """
    angle = math.radians(bend_deg)
    return eye_mm * math.sin(angle), eye_mm * (1.0 - math.cos(angle))


def bends_for(eye_mm: float) -> np.ndarray:
    """Bends to try, strictly rising, shape (n,) [deg]; 0 is one of them.

    Steps of half a degree, of a degree beyond 20; of an eye so long that the knot would move by
    more than 0.1 mm a step near the middle, a half or a fifth of that.
    """
    fine = [s for s in STEPS_DEG if eye_mm * math.radians(s) <= NEAR_MM]
    step = fine[0] if fine else STEPS_DEG[-1]
    inner = np.arange(0, round(CENTRE_DEG / step) + 1) * step
    outer = CENTRE_DEG + np.arange(1, round((WIDEST_DEG - CENTRE_DEG) / (2 * step)) + 1) * 2 * step
    right = np.round(np.concatenate([inner, outer]), 9)
    return np.concatenate([-right[:0:-1], right])


def tune_study(
    config: Config, speeds: Sequence[float], bends: Sequence[float] | np.ndarray | None = None
) -> Study:
    """Lay out the bends of a bait's eye and the speeds.

    Parameters
    ----------
    config : Config               with a line, and towed: see :mod:`sim.commands.speeds`
    speeds : sequence of float    strictly rising [m/s]
    bends : sequence of float     strictly rising, 0 among them [deg]; left out, :func:`bends_for`

    Notes
    -----
    The side drift comes in slowly, as the line swings out: :func:`sim.studies.speeds.drift_time_s`.
    Where ``solver.duration_s`` is too short for that at the slowest speed it is raised, up to
    ``solver.max_duration_s``; :func:`sim.studies.speeds.not_full` tells where that is too short as
    well. No run is stopped early.

    Raises
    ------
    ValueError
        Without a line or a tie point, or without 0 among the bends.
    """
    tie, solver = config.bait.tie, config.solver
    if tie is None or config.line is None:
        raise ValueError("no eye to bend without [bait.tie] and [line]")
    row = bends_for(tie.eye_mm) if bends is None else np.asarray(bends, dtype=float)
    if not (row == 0.0).any():
        raise ValueError("the bends must have 0 among them, the eye as it is")
    longer = min(drift_time_s(config, min(speeds)), solver.max_duration_s)
    if longer > solver.duration_s:
        config = with_overrides(config, {"solver.duration_s": longer})
    return Study(
        name=f"{config.name or 'bait'}-tune",
        note="",
        text="",
        source_path=config.source_path,
        base=config,
        fixed=dict(config.overrides),
        axes=(
            Axis(BEND, NAMED_AXES[BEND].label, NAMED_AXES[BEND].unit, row),
            Axis(SPEED, axis_label(config, SPEED), "m/s", np.asarray(speeds, dtype=float)),
        ),
        starts=(STEADY,),
        stop_early=False,
        chunk=64,
        kind="tune",
    )


# ------------------------------------------------------------------------------------ the answer


@dataclass(frozen=True, eq=False)
class Swims:
    """How a bait runs to one side in some runs; all arrays of one shape.

    Attributes
    ----------
    drift : ndarray          angle between line and retrieve from above, positive to starboard [deg]
    lean : ndarray           mean roll, positive starboard side down [deg]
    motion_class : ndarray   place in CLASSES, -1 for none
    sound : ndarray of bool  settled, and did not go round
    round_ : ndarray of bool went round, at the end or on the way
    failed : ndarray of bool no sound numerics or no sound configuration
    share : ndarray          the larger of drift and lean as shares of their limits; infinite for
                             runs that go round or fail, and for those that :func:`tuning` puts
                             beyond every limit because they do not settle
    """

    drift: np.ndarray
    lean: np.ndarray
    motion_class: np.ndarray
    sound: np.ndarray
    round_: np.ndarray
    failed: np.ndarray
    share: np.ndarray

    @classmethod
    def of(
        cls, status: np.ndarray, motion_class: np.ndarray, measures: dict[str, np.ndarray],
        limits: Limits,
    ) -> Swims:  # fmt: skip
        """From what is stored of runs, all arrays of one shape."""
        drift = np.degrees(np.arctan(measures["side_drift_m_per_m"]))
        lean = np.asarray(measures["lean_deg"], dtype=float)
        round_ = goes_round(motion_class, measures["most_turns"], limits.spin_turns)
        failed = np.isin(status, _FAILED)
        known = np.isfinite(drift) & np.isfinite(lean) & ~round_ & ~failed
        sound = (status == _SETTLED) & known
        worse = np.maximum(np.abs(drift) / limits.run_off_deg, np.abs(lean) / limits.lean_deg)
        return cls(
            drift, lean, np.asarray(motion_class), sound, round_, failed,
            np.where(known, worse, math.inf),
        )  # fmt: skip

    def at(self, index: Any) -> Swims:
        """The same of some of the runs."""
        return Swims(*(getattr(self, name)[index] for name in self.__dataclass_fields__))

    @property
    def unsettled(self) -> np.ndarray:
        """Runs that neither go round nor fail, but do not settle."""
        return ~(self.sound | self.round_ | self.failed)

    @property
    def measured(self) -> np.ndarray:
        """Runs whose drift and lean mean something, settled or not."""
        known = np.isfinite(self.drift) & np.isfinite(self.lean)
        return known & ~(self.round_ | self.failed)

    @property
    def worst(self) -> float:
        """Largest share of the limits, infinite when a run is beyond every limit."""
        return float(self.share.max())


@dataclass(frozen=True, eq=False)
class Tuning:
    """What bending the eye does, and which bend is best.

    Attributes
    ----------
    bends : ndarray, shape (n,)      [deg], positive to starboard
    speeds : ndarray, shape (m,)     [m/s]
    swims : Swims, shape (n, m)
    own, best : int                  places among the bends of the eye as it is, and of the best
    optimum : float                  the best bend by interpolation between those run [deg]
    window : (float, float) or None  bends about the best that keep drift and lean within their
                                     limits at all speeds, interpolated [deg]; None when the best
                                     does not
    open_ends : (bool, bool)         the window reaches the end of the bends tried
    verdict : str                    "runs true", "bend" (the best bend keeps within the limits),
                                     "leave" (within them as it is, and no bend is better), or
                                     "not cured" (beyond them whatever the bend)
    """

    bends: np.ndarray
    speeds: np.ndarray
    swims: Swims
    own: int
    best: int
    optimum: float
    window: tuple[float, float] | None
    open_ends: tuple[bool, bool]
    verdict: str

    @property
    def before(self) -> Swims:
        """With the eye as it is, shape (m,)."""
        return self.swims.at(self.own)

    @property
    def after(self) -> Swims:
        """With the best bend, shape (m,)."""
        return self.swims.at(self.best)

    @property
    def bend(self) -> float:
        """The best bend [deg]."""
        return float(self.bends[self.best])


def tuning(result: MapResult) -> Tuning:
    """The best bend of a finished study, and how far it may be off.

    Notes
    -----
    The best bend has the least worst share over the speeds of max(drift / limits.run_off_deg,
    lean / limits.lean_deg). Runs that go round or fail are beyond every limit: first the fewest of
    them count. Drift and lean are interpolated between the bends that were run, and the better by
    its runs of the two next to that optimum is taken, so that the figures told are those of runs. A
    gain of less than ``LEAST_GAIN`` is no reason to bend.

    Whether a run settles hangs on a hair's breadth. The drift and lean of one that does not count
    as measured, so that no bend is worth while for settling alone. Only where the eye as it is
    settles, and bends next to each other do not, are these beyond every limit.
    """
    study = result.study
    bends, speeds = (np.asarray(axis.values, dtype=float) for axis in study.axes)
    limits = study.base.limits
    swims = Swims.of(
        result.status[..., 0],
        result.motion_class[..., 0],
        {name: values[..., 0] for name, values in result.measures.items()},
        limits,
    )
    own = int(np.abs(bends).argmin())
    swims = replace(swims, share=np.where(_lastingly_unsettled(swims, own), math.inf, swims.share))
    fine = _between(bends)
    share = _interpolated(fine, bends, swims, limits)
    optimum = float(fine[_least(_score(share), fine)])
    score = _score(swims.share)
    right = min(int(np.searchsorted(bends, optimum)), bends.size - 1)
    near = [i for i in (right - 1, right) if i >= 0]
    unsettled = (swims.unsettled & ~swims.unsettled[own]).sum(axis=1)
    best = min(near, key=lambda i: (unsettled[i], score[i], abs(bends[i] - optimum)))
    if score[own] - score[best] < LEAST_GAIN:
        best = own
    window, open_ends = _window(fine, share.max(axis=1) <= 1.0, float(bends[best]))
    if score[own] <= TRUE_SHARE:
        verdict = "runs true"
    elif score[best] > 1.0:
        verdict = "not cured"
    else:
        verdict = "leave" if best == own else "bend"
    if verdict == "runs true":
        best = own
    return Tuning(bends, speeds, swims, own, best, optimum, window, open_ends, verdict)


def _lastingly_unsettled(swims: Swims, own: int) -> np.ndarray:
    """Runs that do not settle where the eye as it is does, nor one next to them, shape (n, m)."""
    open_ = np.pad(swims.unsettled, ((1, 1), (0, 0)))
    return swims.unsettled & (open_[:-2] | open_[2:]) & swims.sound[own]


def _between(bends: np.ndarray) -> np.ndarray:
    """The bends and places between them."""
    part = np.arange(BETWEEN) / BETWEEN
    steps = bends[:-1, None] + part * np.diff(bends)[:, None]
    return np.append(steps.ravel(), bends[-1])


def _interpolated(
    fine: np.ndarray, bends: np.ndarray, swims: Swims, limits: Limits
) -> np.ndarray:  # fmt: skip
    """Shares of the limits at places between the bends, infinite beside a run beyond them all."""
    found = np.full((fine.size, swims.sound.shape[1]), math.inf)
    for m in range(found.shape[1]):
        counts = np.isfinite(swims.share[:, m])
        known = np.interp(fine, bends, counts.astype(float)) > 1.0 - 1e-9
        drift, lean = (
            np.interp(fine, bends, np.where(counts, values[:, m], 0.0))
            for values in (swims.drift, swims.lean)
        )
        worse = np.maximum(np.abs(drift) / limits.run_off_deg, np.abs(lean) / limits.lean_deg)
        found[known, m] = worse[known]
    return found


def _score(share: np.ndarray) -> np.ndarray:
    """One number a bend: the worst share over the speeds; speeds beyond every limit count first."""
    beyond = ~np.isfinite(share)
    worst = np.where(beyond, 0.0, np.minimum(share, BEYOND)).max(axis=1)
    return np.asarray(worst + 2.0 * BEYOND * beyond.sum(axis=1))


def _least(score: np.ndarray, bends: np.ndarray) -> int:
    """Place of the least score; of several alike the one bent least."""
    alike = np.flatnonzero(score <= score.min() + 1e-9)
    return int(alike[np.abs(bends[alike]).argmin()])


def _window(
    fine: np.ndarray, inside: np.ndarray, bend: float
) -> tuple[tuple[float, float] | None, tuple[bool, bool]]:
    """The unbroken stretch of places within the limits that holds a bend."""
    at = int(np.abs(fine - bend).argmin())
    if not inside[at]:
        return None, (False, False)
    out = np.flatnonzero(~inside)
    low = int(out[out < at].max(initial=-1)) + 1
    high = int(out[out > at].min(initial=fine.size)) - 1
    return (float(fine[low]), float(fine[high])), (low == 0, high == fine.size - 1)


# ------------------------------------------------------------------------------------ the causes


@dataclass(frozen=True)
class Asymmetry:
    """Something of a bait, or around it, that is off to one side.

    Attributes
    ----------
    key, label, unit : str    dotted key, what it is in words, and its unit
    value : float             as the configuration has it
    overrides : dict          what puts it right
    """

    key: str
    label: str
    unit: str
    value: float
    overrides: Overrides


@dataclass(frozen=True)
class Righted:
    """How a bait swims, the eye unbent, once some of its asymmetries are put right.

    ``swims`` has shape (speeds,); ``cures`` when drift and lean then keep within their limits at
    all speeds, whether it settles or not.
    """

    asymmetries: tuple[Asymmetry, ...]
    swims: Swims
    cures: bool


_SIDES = {  # keys that are 0 on a bait alike on both sides
    "bill": ("right_mm", "yaw_error_deg", "roll_error_deg"),
    "plate": ("right_mm", "yaw_error_deg", "roll_error_deg"),
    "ballast": ("right_mm",),
    "hook": ("right_mm",),
}
_MIRRORED = ("right_mm", "yaw_error_deg", "roll_error_deg", "cant_deg")


def asymmetries(config: Config) -> tuple[Asymmetry, ...]:
    """Everything in a configuration that is off to one side and can be put right.

    Plates, weights and hooks in pairs, one the mirror image of the other, are as they should be.
    A plate canted to one side is taken for meant.
    """
    bait, found = config.bait, []

    def add(key: str, value: float, overrides: Overrides | None = None, label: str = "") -> None:
        if value != 0.0:
            unit = "deg" if key.endswith("_deg") else "m/s" if key.endswith("_m_s") else "mm"
            words = label or axis_label(config, key)
            found.append(Asymmetry(key, words, unit, value, overrides or {key: 0.0}))

    for name in _SIDES["bill"]:
        if bait.bill is not None:
            add(f"bait.bill.{name}", getattr(bait.bill, name))
    if bait.body is not None:
        add("bait.body.lopsided_mm", bait.body.lopsided_mm)
    for table in ("ballast", "hook", "plate"):
        entries = getattr(bait, table)
        for i in _unpaired(entries):
            for name in _SIDES[table]:
                add(f"bait.{table}.{i}.{name}", getattr(entries[i], name))
    if bait.tie is not None:
        add("bait.tie.right_mm", bait.tie.right_mm)
    water = config.water
    across = math.sin(math.radians(water.current_toward_deg - heading_deg(config)))
    if abs(water.current_m_s * across) > 1e-9:
        add("water.current_m_s", water.current_m_s, label="current across the retrieve")
    return tuple(found)


def _unpaired(entries: Sequence[Any]) -> list[int]:
    """Numbers of the entries of which no other one is the mirror image."""
    plain = [entry.model_dump(exclude={"name"}) for entry in entries]
    alone = list(range(len(plain)))
    for i, one in enumerate(plain):
        image = {k: -v if k in _MIRRORED else v for k, v in one.items()}
        for j in alone:
            if i in alone and j != i and plain[j] == image:
                alone = [n for n in alone if n not in (i, j)]
                break
    return alone


def put_right(config: Config, speeds: Sequence[float]) -> tuple[Righted, ...]:
    """Put every asymmetry of a bait right, one at a time, and run it with the eye unbent.

    Parameters
    ----------
    config : Config               the base of a study of kind "tune"
    speeds : sequence of float    [m/s]

    Returns
    -------
    tuple of Righted
        The one that helps most first. Behind them all together, where there are several and none
        cures alone. Empty for a bait that is alike on both sides.
    """
    single = [(a,) for a in asymmetries(config)]
    found = _run_righted(config, single, speeds)
    if len(single) > 1 and not any(one.cures for one in found):
        every = tuple(a for (a,) in single)
        return (*found, *_run_righted(config, [every], speeds))
    return found


def _run_righted(
    config: Config, groups: Sequence[tuple[Asymmetry, ...]], speeds: Sequence[float]
) -> tuple[Righted, ...]:
    configs = [
        with_overrides(config, {k: v for a in group for k, v in a.overrides.items()} | {SPEED: v})
        for group in groups
        for v in speeds
    ]
    if not configs:
        return ()
    ran = run_configs(configs, stop_early=False)
    shape = (len(groups), len(speeds))
    codes = [CLASSES.index(o.motion_class) if o.motion_class else -1 for o, _ in ran]
    values = np.array([measures for _, measures in ran]).reshape(*shape, -1)
    swims = Swims.of(
        np.array([STATUSES.index(o.status) for o, _ in ran]).reshape(shape),
        np.array(codes).reshape(shape),
        {name: values[..., column] for column, name in enumerate(MEASURES)},
        config.limits,
    )
    found = [
        Righted(group, swims.at(row), bool(swims.share[row].max() <= 1.0))
        for row, group in enumerate(groups)
    ]
    order = np.argsort(_score(swims.share), kind="stable")
    return tuple(found[row] for row in order)
