"""Modes of the steady tow: against the time domain, and against cases worked by hand."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np
from matplotlib.figure import Figure
from scipy.spatial.transform import Rotation

import sim

from .lone import only
from .suite import BAITS, COMPUTED, CONFIGS, MEMORY_HIGH, OWN, Row, case, picture

SMALL_DEG = 0.1  # largest angle of the motion that is set going
STIFF_GPA = 300.0  # the run starts with a line that is straight and not yet stretched
ROLES = 0.3  # relative jump of a root from mm to mm that means another root took its name
SWINGS, FALLS = 3.0, 3.0  # how long it is followed: so many swings, or falls by e
DEEP = {"water.surface": False, "loads.wake": False, "solver.output_step_ms": 2.0}


def _perturbed(cfg: sim.Config, found: sim.Modes, shape: np.ndarray, seconds: float) -> sim.Config:
    """The bait set off from its steady tow along a mode."""
    pose = found.trim.pose
    small = (math.radians(SMALL_DEG) * shape).real
    attitude = Rotation.from_euler("ZYX", pose[[5, 4, 3]]) * Rotation.from_rotvec(small[3:6])
    yaw, pitch, roll = attitude.as_euler("ZYX", degrees=True)
    steady = Rotation.from_euler("ZYX", pose[[5, 4, 3]]).inv().apply([found.trim.speed_m_s, 0, 0])
    height = 0.0 if cfg.line is None else cfg.line.rod_tip_height_m
    start = {
        "x_m": 0.0,
        "y_m": pose[1] + small[1],
        "depth_m": pose[2] - height + small[2],
        "roll_deg": roll,
        "pitch_deg": pitch,
        "yaw_deg": yaw,
        "velocity_m_s": list(steady + small[6:9]),
        "rates_deg_s": list(np.degrees(small[9:12])),
        "wake": 0.0,
    }
    return sim.with_overrides(
        cfg,
        {
            **{f"start.{key}": value for key, value in start.items()},
            "solver.duration_s": seconds,
            "solver.max_duration_s": seconds,
        },
    )


def _measured_root(cfg: sim.Config, found: sim.Modes, root: complex) -> complex:
    """Growth and angular frequency of a mode in a run, by its share in the motion."""
    roots, vectors = np.linalg.eig(found.matrix)
    i = int(np.argmin(np.abs(roots - root)))
    seconds = SWINGS * 2.0 * math.pi / root.imag if root.imag else math.inf
    seconds = max(0.1, min(seconds, FALLS / abs(root.real)))
    scale = np.abs(vectors[3:6, i]).max()
    run = sim.simulate(_perturbed(cfg, found, vectors[:, i] / scale, seconds))
    steady = Rotation.from_euler("ZYX", found.trim.pose[[5, 4, 3]])
    turn = (steady.inv() * Rotation.from_quat(run.attitude, scalar_first=True)).as_rotvec()
    nu = np.zeros(6)
    nu[:3] = steady.inv().apply([found.trim.speed_m_s, 0.0, 0.0])
    place = run.position - run.rod_tip - found.trim.pose[:3]
    motion = np.hstack([place, turn, run.velocity - nu])
    part = np.linalg.inv(vectors)[i] @ motion.T
    kept = (run.time > 0.02) & (run.time <= seconds)
    size = np.polyfit(run.time[kept], np.log(np.abs(part[kept])), 1)[0]
    phase = np.polyfit(run.time[kept], np.unwrap(np.angle(part[kept])), 1)[0]
    return complex(size, phase)


# Where the line is tied, mm behind the nose tip and above the centreline; None as configured.
TIED: tuple[tuple[str, tuple[float, float] | None], ...] = (
    ("shallow-runner", (0.1, -1.2)),
    ("shallow-runner", None),
    ("shallow-runner", (5.7, -6.8)),
    ("surface-runner", (0.1, 0.5)),
    ("surface-runner", None),
    ("deep-runner", None),
    ("deep-runner", (5.6, -5.7)),
    ("slab-sided", None),
    ("slow-sinker", None),
)


def _tied(name: str, at: tuple[float, float] | None, **more: Any) -> sim.Config:
    over: dict[str, Any] = {**DEEP, **more}
    if at is not None:
        over |= {"bait.tie.from_nose_mm": at[0], "bait.tie.above_centreline_mm": at[1]}
    return sim.load_config(CONFIGS / f"{name}.toml", over)


def _place(at: tuple[float, float] | None) -> str:
    return "tied as configured" if at is None else f"tied {at[0]:g} mm behind, {at[1]:g} mm up"


@case("Modes against the time domain")
def time_domain() -> Iterator[Row]:
    """Each mode is set going alone, with its largest angle at 0.1 degrees, and the run is
    projected on it: growth and frequency then follow from how that share grows and turns.
    The runs are the program's own; what is checked is the steady tow, the linearisation and the
    integration against each other. The line is stiff here, as a run starts with it just not taut.
    """
    source = "the same bait in a run"
    for name, at in TIED:
        cfg = _tied(name, at, **{"line.modulus_gpa": STIFF_GPA})
        found = sim.modes(cfg)
        for mode in (found.wobble, found.lean):
            assert mode is not None
            seen = _measured_root(cfg, found, mode.root)
            label = f"{name}, {_place(at)}: {mode.name}"
            yield Row(f"{label}, growth", mode.growth_1_s, seen.real, 0.02, source, OWN, "1/s")
            if mode.oscillates:
                yield Row(
                    f"{label}, frequency", mode.frequency_hz, seen.imag / (2 * math.pi), 0.02,
                    source, OWN, "Hz",
                )  # fmt: skip


@case("Growth of a wobble read off a yaw trace")
def yaw_trace() -> Iterator[Row]:
    """The same without the program's own eigenvectors: a bait tied where its wobble grows is let
    go with its nose 0.002 degrees aside; growth and frequency are read off the peaks of its yaw.
    """
    for name, at in (("deep-runner", (3.0, -7.1)), ("deep-runner", (1.2, -8.1))):
        cfg = _tied(name, at, **{"line.modulus_gpa": STIFF_GPA})
        found = sim.modes(cfg)
        assert found.wobble is not None
        run = sim.simulate(_perturbed(cfg, found, np.eye(12)[5] * 0.02, 2.5))
        yaw = Rotation.from_quat(run.attitude, scalar_first=True).as_euler("ZYX")[:, 0]
        middle = np.flatnonzero((yaw[1:-1] > yaw[:-2]) & (yaw[1:-1] > yaw[2:])) + 1
        # the top of a parabola through three samples
        before, at_top, after = yaw[middle - 1], yaw[middle], yaw[middle + 1]
        shift = 0.5 * (before - after) / (before - 2 * at_top + after)
        time = run.time[middle] + shift * (run.time[1] - run.time[0])
        height = at_top - 0.25 * (before - after) * shift
        # once the other motions are gone, and while it is still small
        kept = (time > 0.6) & (height > 0.0) & (height < math.radians(0.7))
        growth = np.polyfit(time[kept], np.log(height[kept]), 1)[0]
        frequency = 1.0 / np.polyfit(np.arange(kept.sum()), time[kept], 1)[0]
        label, source = f"{name}, {_place(at)}", "peaks of the yaw in a run"
        yield Row(f"{label}: growth", found.wobble.growth_1_s, growth, 0.02, source, OWN, "1/s")
        yield Row(
            f"{label}: frequency", found.wobble.frequency_hz, frequency, 0.02, source, OWN,
            "Hz",
        )  # fmt: skip


@case("Steady tow against a run that comes to rest")
def steady_tow() -> Iterator[Row]:
    """Where the wobble dies out without the bill's wake, a run ends in the steady tow. The slowest
    motion left is that of the line (the depth comes in as exp(-t U / L)), so the line is short.
    """
    source = "end of a run of 12 s, wake off"
    for name in BAITS:
        at = (0.1, 0.5) if name in ("surface-runner", "slow-sinker") else None
        cfg = _tied(name, at, **{"line.length_m": 1.0, "solver.duration_s": 12.0})
        trim = sim.modes(cfg).trim
        run = sim.simulate(cfg)
        pitch = Rotation.from_quat(run.attitude[-1], scalar_first=True).as_euler("ZYX")[1]
        rows = (
            ("pitch", trim.pitch_deg, math.degrees(pitch), 0.02, "deg", "absolute"),
            ("depth", trim.depth_m, run.position[-1, 2], 1e-3, "m", "relative"),
            ("tension", trim.line_tension_n, run.line_tension[-1], 1e-3, "N", "relative"),
        )
        for what, ours, theirs, tolerance, unit, kind in rows:
            yield Row(f"{name}: {what}", ours, float(theirs), tolerance, source, OWN, unit, kind)


# --- by hand -----------------------------------------------------------------------------------

WATER = {"density_kg_m3": 1000.0, "viscosity_m2_s": 1e-6, "surface": False}


def _fin(speed: float, side_mm: float, behind_mm: float) -> sim.Config:
    """A weight at the tie point, heavy enough to hold it, and one fin behind."""
    return sim.config_from_dict(
        {
            "bait": {
                "ballast": [
                    {
                        "name": "weight", "mass_g": 30000.0, "density_g_cm3": 25.0, "inside": False,
                        "from_nose_mm": 0.0, "above_centreline_mm": 0.0,
                    }
                ],
                "plate": [
                    {
                        "name": "fin", "from_nose_mm": behind_mm + 0.5 * side_mm,
                        "above_centreline_mm": 0.0, "length_mm": side_mm, "width_mm": side_mm,
                        "angle_deg": 0.0, "cant_deg": 90.0, "outline": "square",
                        "thickness_mm": 1.0, "density_g_cm3": 1.2,
                    }
                ],
                "tie": {"from_nose_mm": 0.0, "above_centreline_mm": 0.0},
            },
            "loads": only("plates", "added_mass", "line"),
            "line": {"length_m": 3.0},
            "retrieve": {"speed_m_s": speed},
            "water": WATER,
        }
    )  # fmt: skip


@case("A single fin behind a held tie point, by hand")
def single_fin() -> Iterator[Row]:
    """A square fin behind a weight that holds the tie point still. With the side force slope Y
    (Helmbold) at the quarter chord, r' behind the tie point, and the fin's added mass m_a at its
    centre, r behind: yaw stiffness k = Y r', damping c = Y r^2 / U + m_a r U, inertia I with m_a.
    The pair's size is sqrt(k / I) and its growth -c / (2 I); both go with the speed.
    """
    side, behind = 0.05, 0.3
    slope = 2.0 * math.pi / (2.0 + math.sqrt(5.0))
    source = "elementary; slope: Helmbold 1942, added mass: DNV-RP-C205 App. D"
    for speed in (0.5, 1.0, 2.0):
        cfg = _fin(speed, side * 1e3, behind * 1e3)
        bait = sim.assemble(cfg)
        found = sim.modes(cfg)
        # the other sideways pair is that of the weight on its long line, a hundred times slower
        pair = max((m for m in found.modes if m.sideways > 0.5), key=lambda m: abs(m.root))
        assert pair.oscillates
        force = 0.5 * 1000.0 * speed**2 * side**2 * slope
        fluid = 1000.0 * 0.579 * math.pi / 4.0 * side**3
        inertia = bait.inertia[2, 2] + bait.added_mass[5, 5]
        stiffness = force * (behind - 0.25 * side)
        damping = force * behind**2 / speed + fluid * behind * speed
        size = math.sqrt(stiffness / inertia) / (2.0 * math.pi)
        yield Row(
            f"{speed:g} m/s: size of the root over 2 pi", abs(pair.root) / (2.0 * math.pi), size,
            0.01, source, MEMORY_HIGH, "Hz",
        )  # fmt: skip
        yield Row(
            f"{speed:g} m/s: growth", pair.growth_1_s, -0.5 * damping / inertia, 0.02, source,
            MEMORY_HIGH, "1/s",
        )  # fmt: skip


@case("A body hanging on its line, by hand")
def hanging() -> Iterator[Row]:
    """A homogeneous ellipsoid hangs in still water below its tie point: line and body are a double
    pendulum, [[m L^2, m L d], [m L d, I + m d^2]] against g (M - m_water) [L, d], with the added
    mass of Lamb's closed form in m and I. Sideways it swings in sway and roll, lengthways in surge
    and pitch.
    """
    size = np.array([80.0, 30.0, 40.0])
    above, length, g = 0.05, 0.4, 9.80665
    cfg = sim.config_from_dict(
        {
            "bait": {
                "body": {
                    "form": "ellipsoid", "length_mm": size[0], "width_mm": size[1],
                    "height_mm": size[2], "density_g_cm3": 3.0,
                },
                "tie": {"from_nose_mm": 40.0, "above_centreline_mm": above * 1e3},
            },
            "loads": only("weight", "buoyancy", "added_mass", "line"),
            "line": {
                "length_m": length, "modulus_gpa": 200.0, "normal_drag_coefficient": 0.0,
                "tangential_drag_coefficient": 0.0,
            },
            "retrieve": {"speed_m_s": 0.0},
            "start": {"depth_m": 0.3},
            "water": WATER,
        }
    )  # fmt: skip
    bait = sim.assemble(cfg)
    pull = (bait.mass - 1000.0 * bait.volume) * g
    found = sim.modes(cfg)
    for name, force, turn, across in (
        ("sway and roll", 1, 3, True),
        ("surge and pitch", 0, 4, False),
    ):
        m = bait.mass + bait.added_mass[force, force]
        inertia = bait.inertia[turn - 3, turn - 3] + bait.added_mass[turn, turn]
        mass = np.array(
            [[m * length**2, m * length * above], [m * length * above, inertia + m * above**2]]
        )
        stiff = np.diag([pull * length, pull * above])
        hand = np.sort(np.sqrt(np.linalg.eigvals(np.linalg.solve(mass, stiff)).real)) / (
            2 * math.pi
        )
        pairs = sorted(
            m.frequency_hz for m in found.modes if m.oscillates and (m.sideways > 0.5) == across
        )[:2]
        for which, ours, reference in zip(("slow", "fast"), pairs, hand, strict=True):
            yield Row(
                f"{name}, {which} swing", ours, float(reference), 2e-3, "double pendulum",
                COMPUTED, "Hz",
            )  # fmt: skip


@picture(
    "modes.png",
    "Modes of the steady tow along the tie path, from the top of the nose to the tip of the bill."
    " Down the nose the wobble slows and its damping falls, on some baits to growth; the lean comes"
    " back slowest at the top, where every error of bill or ballast shows most.",
)
def along_the_tie_path() -> Figure:
    figure = Figure(figsize=(11.0, 8.0))
    axes = figure.subplots(3, 3, sharex="col", sharey="row")
    figure.subplots_adjust(left=0.075, right=0.985, top=0.94, bottom=0.07, hspace=0.14, wspace=0.06)
    titles = ("wobble: frequency [Hz]", "wobble: growth [1/s]", "lean: growth [1/s]")
    for column, name in enumerate(BAITS[:3]):
        cfg = sim.load_config(CONFIGS / f"{name}.toml")
        path = sim.tie_path(cfg)
        at = np.arange(math.ceil(path.distance_mm[0]), path.distance_mm[-1], 1.0)
        curves = np.full((3, at.size), math.nan)
        swings = np.zeros(at.size, dtype=bool)
        for i, distance in enumerate(at):
            aft, above = path.at(float(distance))
            tie = {"bait.tie.from_nose_mm": aft, "bait.tie.above_centreline_mm": above}
            try:
                found = sim.modes(sim.with_overrides(cfg, tie))
            except sim.RunError:  # no steady tow there
                continue
            if found.wobble is not None:
                curves[:2, i] = found.wobble.frequency_hz, found.wobble.growth_1_s
            if found.lean is not None:
                curves[2, i], swings[i] = found.lean.growth_1_s, found.lean.oscillates
        tie_point = cfg.bait.tie
        assert tie_point is not None
        own, _ = path.nearest(tie_point.from_nose_mm, tie_point.above_centreline_mm)
        # where two modes change roles the name goes from one to the other: no line joins those
        change = np.abs(np.diff(curves[1] + 2j * math.pi * curves[0]))
        apart = np.flatnonzero(change > ROLES * np.abs(curves[1] + 2j * math.pi * curves[0])[:-1])
        for row, ax in enumerate(axes[:, column]):
            colour, marker = ("#0072B2", "o") if row < 2 else ("#CC79A7", "s")
            ax.plot(
                np.insert(at, apart + 1, math.nan), np.insert(curves[row], apart + 1, math.nan),
                color=colour, linewidth=1.2,
            )  # fmt: skip
            ax.plot(
                at, np.where(swings & (row == 2), math.nan, curves[row]), color=colour,
                linestyle="none", marker=marker, markersize=3.5,
            )  # fmt: skip
            if row == 2 and swings.any():
                ax.plot(
                    at, np.where(swings, curves[row], math.nan), color=colour, linestyle="none",
                    marker="D", markerfacecolor="white", markersize=4, label="swings back",
                )  # fmt: skip
                ax.legend(loc="lower right", fontsize=9, frameon=False)
            if row > 0:
                ax.axhline(0.0, color="#333333", linewidth=1.0)
            ax.axvline(own, color="#D55E00", linestyle=":", linewidth=1.5)
            ax.grid(color="#E5E5E5", linewidth=0.7)
            ax.set_axisbelow(True)
            if column == 0:
                ax.set_ylabel(titles[row])
        axes[0, column].set_title(name, loc="left", fontweight="bold")
        axes[2, column].set_xlabel("tie path [mm], 0: bill leaves the nose")
    axes[0, 0].set_ylim(bottom=0.0)
    axes[0, 0].text(0.98, 0.95, "dotted: tied here", transform=axes[0, 0].transAxes, ha="right",
                    va="top", fontsize=9, color="#D55E00")  # fmt: skip
    return figure
