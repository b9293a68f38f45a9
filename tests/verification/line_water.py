"""The line and the water: weights on lines in still water and in streams, and tables of water."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from matplotlib.figure import Figure
from scipy.optimize import brentq
from scipy.spatial.transform import Rotation

import sim

from .lone import ellipsoid, lone, only
from .suite import (
    ARRIVES,
    COMPUTED,
    CONFIGS,
    MEMORY_HIGH,
    MEMORY_MEDIUM,
    SECONDARY,
    Row,
    case,
    picture,
)

REPORTED = math.inf
MM = 1e-3
GRAVITY = 9.80665
RHO = 1000.0  # [kg/m^3]
RADIUS = 20.0  # mm
VOLUME = 4.0 / 3.0 * math.pi * (RADIUS * MM) ** 3
NO_DRAG = {"normal_drag_coefficient": 0.0, "tangential_drag_coefficient": 0.0}
DEEP = ("weight", "buoyancy", "added_mass")

SPHERE = "statics; sphere 0.47 of White, table 7.3"
STATICS = "statics, exact"
SPRING = "spring and mass, exact"
STRING = "taut string in a viscous fluid, exact"
CATENARY = "catenary of a weightless line (Pode 1951, DTMB Report 687)"
IAPWS = "IAPWS-95 and IAPWS viscosity 2008"
ITTC = "ITTC 7.5-02-01-03"


def on_a_line(
    loads: tuple[str, ...],
    density_g_cm3: float,
    line: dict[str, float],
    solver: dict[str, Any],
    start: dict[str, Any],
    radius_mm: float = RADIUS,
    **tables: dict[str, Any],
) -> sim.Config:
    """A sphere tied at its centre, so that the line cannot turn it, in water without a surface."""
    size = {key: 2.0 * radius_mm for key in ("length_mm", "width_mm", "height_mm")}
    water = {"surface": False, "density_kg_m3": RHO, "viscosity_m2_s": 1e-6}
    return sim.config_from_dict(
        {
            "bait": {
                "body": {"form": "ellipsoid", "density_g_cm3": density_g_cm3, **size},
                "tie": {"from_nose_mm": radius_mm, "above_centreline_mm": 0.0},
            },
            "line": line,
            "retrieve": tables.get("retrieve", {"speed_m_s": 0.0}),
            "water": {**water, **tables.get("water", {})},
            "start": {"velocity_m_s": [0.0, 0.0, 0.0], **start},
            "loads": only(*loads, "line"),
            "solver": solver,
        }
    )


def runs(duration_s: float, step_ms: float, output_step_ms: float) -> dict[str, float]:
    """Solver table of a run that is not prolonged."""
    return {
        "duration_s": duration_s,
        "max_duration_s": duration_s,
        "step_ms": step_ms,
        "output_step_ms": output_step_ms,
    }


def hanging(angle_deg: float, length: float) -> tuple[dict[str, float], dict[str, float]]:
    """Line and start of a bait below the rod tip, off the vertical by an angle, toward -x."""
    # never quite upright: the start must be nearer to the rod's path than the line is long
    height = length * math.cos(math.radians(max(angle_deg, 6e-3)))
    return {"length_m": length, "rod_tip_height_m": height - 1.0}, {"depth_m": 1.0, "yaw_deg": 0.0}


def stiffness(line: Any) -> float:
    """E A / L of a configured line [N/m]."""
    return line.modulus_gpa * 1e9 * math.pi / 4.0 * (line.diameter_mm * MM) ** 2 / line.length_m


def upward_crossings(time: np.ndarray, series: np.ndarray) -> np.ndarray:
    """Times of the upward zero crossings, by a cubic through the four points around each."""
    found = []
    for i in np.flatnonzero((series[:-1] < 0.0) & (series[1:] >= 0.0)):
        low = min(max(i - 1, 0), time.size - 4)
        x, t = series[low : low + 4], time[low : low + 4]
        weights = [np.prod([x[k] / (x[k] - x[j]) for k in range(4) if k != j]) for j in range(4)]
        found.append(float(np.dot(weights, t)))
    return np.array(found)


def period(time: np.ndarray, series: np.ndarray) -> float:
    """Mean time from one upward zero crossing to the next [s]."""
    times = upward_crossings(time, series)
    return float(times[-1] - times[0]) / (times.size - 1)


# The closed forms.


def chord_angle(weight: float, drag: float, half_load: float) -> float:
    """Angle from the vertical of a straight line hinged at the rod tip [rad].

    W sin a = D cos a + F cos^2 a: moments about the rod tip, F half of the normal load of the line
    across the stream (independence principle).
    """

    def turning(a: float) -> float:
        return weight * math.sin(a) - drag * math.cos(a) - half_load * math.cos(a) ** 2

    return float(brentq(turning, 0.0, 1.57))


def catenary_depth(phi0: float, length: float, parameter: float) -> float:
    """Depth of the bait below the rod tip.

    A weightless line whose normal load goes with the squared sine of its angle to the stream has
    constant tension T and hangs in a catenary of parameter c = T / R about an axis along the
    stream: cot phi1 = cot phi0 + s / c, y = c ln[tan(phi0 / 2) / tan(phi1 / 2)]. With 1 N, 10 m,
    phi0 = 30 degrees and c = 5.963071547 m it is 3.71779 m.
    """
    phi1 = math.atan(1.0 / (1.0 / math.tan(phi0) + length / parameter))
    return parameter * math.log(math.tan(0.5 * phi0) / math.tan(0.5 * phi1))


# Cases.
# fmt: off


def _stream(speed: float, friction: float) -> tuple[sim.Config, float, float, float]:
    """A sphere of twice the density of water in a stream, with the loads of the closed form."""
    length, diameter, density = 2.0, 0.28, 2.0
    area = math.pi * (RADIUS * MM) ** 2
    weight = (1e3 * density - RHO) * VOLUME * GRAVITY
    drag = 0.5 * RHO * 0.47 * area * speed**2
    half = 0.25 * RHO * 1.2 * diameter * MM * length * speed**2
    angle = chord_angle(weight, drag, half)
    rub = 0.25 * RHO * friction * math.pi * diameter * MM * length * speed**2 * math.sin(angle) ** 2
    tension = weight * math.cos(angle) + drag * math.sin(angle) + rub
    line, start = hanging(math.degrees(angle), length)
    cfg = on_a_line(
        (*DEEP, "body_drag"), density,
        {**line, "diameter_mm": diameter, "tangential_drag_coefficient": friction},
        runs(20.0, 2.0, 20.0), {**start, "yaw_deg": 90.0},
        water={"current_m_s": speed, "current_toward_deg": 180.0},
    )
    return cfg, angle, tension, weight


@case("Weight on a line in a stream")
def stream() -> list[Row]:
    """A sphere of 40 mm and twice the density of water hangs on 2 m of line in a stream until it is
    at rest. Statics give the angle of the line from the vertical and its tension from the measured
    drag of a sphere, half of the drag of the line being carried by the bait. Then an ellipsoid
    tied at its back is towed with all its loads until it is steady, askew in all three angles: what
    a balance reads on it at that attitude must be what the line pulls.
    """
    rows = []
    for speed, friction in ((0.3, 0.03), (0.6, 0.03), (1.0, 0.03), (1.0, 0.0)):
        cfg, angle, tension, _ = _stream(speed, friction)
        run = sim.simulate(cfg)
        apart = run.position[-1] - run.rod_tip[-1]
        name = f"{speed:g} m/s" + ("" if friction else ", line without friction")
        rows += [
            Row(f"angle from the vertical, {name}", math.degrees(math.atan2(-apart[0], apart[2])),
                math.degrees(angle), 5e-3, SPHERE, MEMORY_HIGH, "deg"),
            Row(f"tension, {name}", float(run.line_tension[-1]), tension, 5e-3, SPHERE, MEMORY_HIGH,
                "N"),
        ]
    return rows + _at_rest()


def _at_rest() -> list[Row]:
    """Balance against line on an ellipsoid in a steady tow."""
    speed, length = 0.5, 70.0
    cfg = sim.config_from_dict({
        "bait": {
            "body": {"form": "ellipsoid", "length_mm": length, "width_mm": 14.0, "height_mm": 20.0,
                     "density_g_cm3": 1.8},
            "tie": {"from_nose_mm": 20.0, "above_centreline_mm": 9.0},
        },
        "line": {"length_m": 1.5, "rod_tip_height_m": -0.5, **NO_DRAG},
        "water": {"surface": False},
        "retrieve": {"speed_m_s": speed},
        "start": {"depth_m": 1.2, "yaw_deg": 0.0},
        "solver": runs(60.0, 2.0, 20.0),
    })
    run = sim.simulate(cfg)
    attitude = Rotation.from_quat(run.attitude[-1], scalar_first=True)
    tie = sim.assemble(cfg).r_b_tie
    pull = run.rod_tip[-1] - run.position[-1] - attitude.apply(tie)
    pull *= run.line_tension[-1] / np.linalg.norm(pull)
    yaw, pitch, roll = attitude.as_euler("ZYX", degrees=True)
    back = attitude.inv()
    found = sim.captive(cfg, back.apply([speed, 0.0, 0.0]), attitude_deg=(roll, pitch, yaw))
    left = found.total_force + back.apply(pull)
    about_tie = found.total_moment - np.cross(tie, found.total_force)
    tension = float(run.line_tension[-1])
    return [
        Row("largest force left on the ellipsoid over tension", float(np.abs(left).max()) / tension,
            0.0, 1e-4, STATICS, COMPUTED, kind="absolute"),
        Row("largest moment left about its tie point over tension x length",
            float(np.abs(about_tie).max()) / (tension * length * MM), 0.0, 1e-4, STATICS, COMPUTED,
            kind="absolute"),
    ]


@case("End of a line that is swung sideways")
def swung_end() -> list[Row]:
    """A tie point that swings takes only the near end of the line along: a taut string in water,
    T y'' = c dy/dt + m d2y/dt2, held at the rod, resists with T k coth(k L) / (i w), k^2 = (i w c -
    w^2 m) / T (closed form, at the frequency w of the swing itself). The program keeps the
    resistance of a long string without inertia at a frequency of 0.45 swings a body length, and
    leaves out the stiffness of equal size. It is read off what the line's drag takes from the
    growth of the yaw of an ellipsoid tied at its nose, with a drogue at its centre of gravity, by
    the energy of that mode. At the lowest speed the line hangs steeply and the swing is slow: half
    of what it should be. Then the slow swing of a bait on a long line: one that follows its line
    comes back onto the track as exp(-t U / L).
    """
    rows = []
    for speed, length in ((0.6, 3.0), (1.0, 3.0), (1.0, 10.0), (1.6, 3.0)):
        config = _drogue(speed, length)
        still = sim.with_overrides(config, {"line.normal_drag_coefficient": 0.0})
        found, bait = sim.modes(config), sim.assemble(config)
        swing = max((m for m in found.modes if m.sideways > 0.5), key=lambda m: m.root.imag)
        free = max((m for m in sim.modes(still).modes if m.sideways > 0.5),
                   key=lambda m: m.root.imag)
        mass = bait.rigid_mass + bait.added_mass
        shape = swing.shape
        moves = np.concatenate([swing.root * shape[:3], swing.root * shape[3:6]])
        tie = np.concatenate([moves[:3], moves[3:]])
        at_tie = tie[1] + tie[5] * bait.r_b_tie[0] - tie[3] * bait.r_b_tie[2]
        energy = float((moves.conj() @ mass @ moves).real)
        ours = -2.0 * (swing.growth_1_s - free.growth_1_s) * energy / abs(at_tie) ** 2
        tension, w = found.trim.line_tension_n, swing.root.imag
        c = 0.5 * RHO * 1.2 * 0.28 * MM * speed
        c *= math.sin(math.radians(found.trim.line_angle_deg))
        inertia = math.pi * (0.28 * MM) ** 2 / 4.0 * (1140.0 + RHO)
        k = np.sqrt((1j * w * c - w * w * inertia) / tension)
        exact = tension * k / np.tanh(k * length) / (1j * w)
        rows.append(Row(f"resistance, {length:g} m of line at {speed:g} m/s", ours,
                        float(exact.real), 0.35 if speed > 0.7 else REPORTED, STRING, COMPUTED,
                        "N s/m", note="Half of the line would resist 5 to 30 times as much."))
    for name in ("shallow-runner", "surface-runner", "slab-sided", "slow-sinker"):
        config = sim.load_config(CONFIGS / f"{name}.toml", {"line.length_m": 30.0})
        root = next(m.root.real for m in sim.modes(config).modes if m.name == "line")
        rows.append(Row(f"root of the line times L / U, {name} on 30 m",
                        root * 30.0 / config.retrieve.speed_m_s, -1.0, 0.05,
                        "kinematics of a towed point that follows its line", COMPUTED))
    return rows


def _drogue(speed: float, length: float) -> sim.Config:
    """An ellipsoid tied at its nose, slowed by a drogue at its centre of gravity."""
    return lone(
        {
            "body": ellipsoid((70.0, 14.0, 20.0), 1.6),
            "hook": [{"name": "drogue", "mass_g": 0.01, "from_nose_mm": 35.0,
                      "above_centreline_mm": 0.0, "hang_mm": 0.0, "drag_area_mm2": 600.0}],
            "tie": {"from_nose_mm": 0.0, "above_centreline_mm": 0.0},
        },
        ("weight", "buoyancy", "added_mass", "hooks", "line"),
        line={"length_m": length}, retrieve={"speed_m_s": speed},
        start={"depth_m": 0.0},
    )


@case("Line as a spring")
def spring() -> list[Row]:
    """A weight on a line in still water or in none: stretch, bounce and damping in closed form. The
    weight is let go on an unstretched line, m x'' + c x' + k x = m g with k = EA / L and c the
    damping ratio times 2 sqrt(k m); in water half of the sphere's displaced mass moves too. The
    default modulus is that of nylon.
    """
    rows = []
    for length in (1.0, 3.0):
        line, start = hanging(0.0, length)
        cfg = on_a_line(("weight",), 2.0, line, runs(6.0, 1.0, 10.0), start)
        run = sim.simulate(cfg)
        weight = 2000.0 * VOLUME * GRAVITY
        stretch = float(run.position[-1, 2] - run.rod_tip[-1, 2]) - length
        rows.append(Row(f"stretch of {length:g} m of 0.28 mm", 1e3 * stretch,
                        1e3 * weight / stiffness(cfg.line), 1e-4, "Hooke, exact", COMPUTED, "mm"))
        rows.append(Row(f"E A from the stretch of {length:g} m", weight * length / stretch, 123.0,
                        0.01, "nylon 2 GPa, data sheets, E pi d^2 / 4", MEMORY_MEDIUM, "N"))
    for name, loads, damping in (
        ("no water, no damping", ("weight",), 0.0),
        ("no water, damping 0.1", ("weight",), 0.1),
        ("in water, damping 0.1", ("weight", "added_mass"), 0.1),
    ):
        line, start = hanging(0.0, 1.0)
        line |= {**NO_DRAG, "damping_ratio": damping}
        cfg = on_a_line(loads, 2.0, line, runs(1.0, 0.2, 0.2), start)
        run = sim.simulate(cfg)
        mass, k = 2000.0 * VOLUME, stiffness(cfg.line)
        moved = mass + (0.5 * RHO * VOLUME if "added_mass" in loads else 0.0)
        c = 2.0 * damping * math.sqrt(k * mass)
        decay = c / (2.0 * moved)
        omega = math.sqrt(k / moved - decay**2)
        cosine, sine = np.cos(omega * run.time), np.sin(omega * run.time)
        falling = np.exp(-decay * run.time)
        weight = mass * GRAVITY
        x = weight / k * (1.0 - falling * (cosine + decay / omega * sine))
        rate = weight / k * falling * (decay**2 / omega + omega) * sine
        rows += [
            Row(f"period of the bounce, {name}", period(run.time, run.line_tension - weight),
                2.0 * math.pi / omega, 2e-4, SPRING, COMPUTED, "s"),
            Row(f"largest departure of the tension over weight, {name}",
                float(np.abs(run.line_tension - k * x - c * rate).max()) / weight, 0.0, 2e-4,
                SPRING, COMPUTED, kind="absolute"),
        ]
    return rows


@case("Pendulum in water")
def pendulum() -> list[Row]:
    """A sphere on a line swings by 2 degrees in still water without drag:
    T = 2 pi sqrt{(m + m_a) L / [(m - m_f) g]}, half of the displaced mass m_f for the added mass
    m_a (Lamb Art. 92), L the stretched length. And one let go askew, with all its drag, hangs at
    last with its weight in water on the line (Archimedes), nose up when tied at the nose.
    """
    rows = []
    for density in (1.5, 3.0, 8.0):
        line, start = hanging(2.0, 0.5)
        cfg = on_a_line(DEEP, density, {**line, **NO_DRAG, "modulus_gpa": 60.0},
                        runs(10.0, 0.5, 2.0), start)
        run = sim.simulate(cfg)
        mass, fluid = density * 1e3 * VOLUME, RHO * VOLUME
        pull = (mass - fluid) * GRAVITY
        length = 0.5 + pull / stiffness(cfg.line)
        swing = run.position[:, 0] - run.rod_tip[:, 0]
        rows.append(Row(
            f"period, density {density:g} g/cm3", period(run.time, swing),
            2.0 * math.pi * math.sqrt((mass + 0.5 * fluid) * length / pull), 1e-3,
            "pendulum in ideal fluid, exact", COMPUTED, "s",
        ))
    line, start = hanging(3.0, 0.5)
    over = {"bait.tie.from_nose_mm": 0.0}
    cfg = on_a_line((*DEEP, "body_drag", "axial_drag"), 3.0, line, runs(24.0, 1.0, 10.0),
                    {**start, "pitch_deg": 60.0})
    run = sim.simulate(sim.with_overrides(cfg, over))
    rows += [
        Row("tension of a hanging weight", float(run.line_tension[-1]), 2000.0 * VOLUME * GRAVITY,
            1e-3, "Archimedes, exact", COMPUTED, "N"),
        Row("its pitch, tied at the nose", run.measures["pitch_deg"], 90.0, 1.0, STATICS, COMPUTED,
            "deg", "absolute", "What is left is the slow end of the swing."),
    ]
    return rows


@case("Sphere towed deep and level")
def towing() -> list[Row]:
    """A sphere of the density of water behind a rod tip at its own depth: the line carries the
    sphere's drag and half of its own friction. Endways the program has Hoerner's formula, which for
    a sphere lies within 10 % of the measured drag.
    """
    length, diameter = 3.0, 0.28
    area = math.pi * (RADIUS * MM) ** 2
    half = "Hoerner ch. 6 and half of the line's friction"
    rows = []
    for speed in (0.5, 1.0, 2.0):
        tension = []
        for friction in (0.0, 0.03):
            cfg = on_a_line(
                (*DEEP, "body_drag", "axial_drag"), 1.0,
                {"length_m": length, "rod_tip_height_m": -2.0, "diameter_mm": diameter,
                 "tangential_drag_coefficient": friction},
                runs(4.0, 1.0, 10.0),
                {"depth_m": 2.0, "yaw_deg": 0.0, "velocity_m_s": [speed, 0.0, 0.0]},
                retrieve={"speed_m_s": speed},
            )
            run = sim.simulate(sim.with_overrides(cfg, {"bait.tie.from_nose_mm": 0.0}))
            tension.append(float(run.line_tension[-1]))
        head = 0.5 * RHO * speed**2
        formula = head * area * (0.44 + 8.0 * 1.328 / math.sqrt(speed * 2.0 * RADIUS * MM / 1e-6))
        rub = 0.5 * head * math.pi * diameter * MM * length * 0.03
        rows += [
            Row(f"tension, {speed:g} m/s, line without friction", tension[0], head * area * 0.47,
                0.10, "sphere 0.47, White table 7.3", MEMORY_HIGH, "N"),
            Row(f"tension, {speed:g} m/s, C_t 0.03", tension[1], formula + rub, 2e-3, half,
                MEMORY_MEDIUM, "N"),
        ]
    return rows


def _long_line(length: float, phi0_deg: float, seconds: float = 30.0) -> tuple[float, float]:
    """Depth of the bait below the rod tip [m]: the program's, and that of the catenary.

    The bait is a sphere whose weight in water and drag pull with 1 N at phi0 to the stream.
    """
    rho, speed, diameter, normal = 998.2072, 1.0, 0.28, 1.2
    phi0 = math.radians(phi0_deg)
    radius = math.sqrt(math.cos(phi0) / (0.5 * rho * 0.47 * math.pi * speed**2))
    volume = 4.0 / 3.0 * math.pi * radius**3
    density = rho + math.sin(phi0) / (volume * GRAVITY)
    half = 0.25 * rho * normal * diameter * MM * length * speed**2
    line, start = hanging(
        math.degrees(chord_angle(math.sin(phi0), math.cos(phi0), half)), length
    )
    cfg = on_a_line(
        (*DEEP, "body_drag"), 1e-3 * density,
        {**line, "diameter_mm": diameter, "normal_drag_coefficient": normal, "modulus_gpa": 80.0,
         "tangential_drag_coefficient": 0.0},
        runs(seconds, 2.0, 20.0), {**start, "yaw_deg": 90.0, "velocity_m_s": [0.0, -speed, 0.0]},
        radius_mm=1e3 * radius, water={"density_kg_m3": rho, "viscosity_m2_s": 1e-6},
        retrieve={"speed_m_s": speed},
    )
    run = sim.simulate(cfg)
    parameter = 1.0 / (0.5 * rho * normal * diameter * MM * speed**2)
    ours = float(run.position[-1, 2] - run.rod_tip[-1, 2])
    return ours, catenary_depth(phi0, length, parameter)


@case("Straight line against the true curve")
def chord() -> list[Row]:
    """The program's line is straight, with half of its drag at the bait. A real line in a stream
    bows: without weight and friction it is a catenary (closed form). The same bait on both, a
    sphere that pulls with 1 N at a shallow or a steep angle to the stream, at 1 m/s on 0.28 mm. On
    3 m of line the depth is 0.3 to 1.1 % too great, on 10 m 2 to 7 %, on 30 m 10 to 24 %. So depths
    on short lines can be compared with a tank, and depths on a long cast are too great by up to
    that much. A bait that pulls harder bows its line less.
    """
    far = "Known departure: the straight line stays deeper than the bow."
    rows = []
    for length in (1.0, 3.0, 10.0, 30.0):
        for phi0 in (20.0, 30.0, 60.0):
            ours, closed = _long_line(length, phi0)
            short = length <= 3.0
            rows.append(Row(f"depth below the rod tip, {length:g} m, pull at {phi0:g} deg", ours,
                            closed, 0.02 if short else REPORTED, CATENARY, COMPUTED, "m",
                            note="" if short else far))
    return rows


def _water(kind: str, temperature_c: float) -> tuple[float, float]:
    """Density [kg/m^3] and kinematic viscosity [1e-6 m^2/s]."""
    sphere = {"form": "ellipsoid", "length_mm": 20.0, "width_mm": 20.0, "height_mm": 20.0,
              "density_g_cm3": 1.0}
    water = sim.assemble(sim.config_from_dict({
        "bait": {"body": sphere}, "water": {"kind": kind, "temperature_c": temperature_c},
    })).water
    return water.density, 1e6 * water.viscosity


@case("Fresh water")
def fresh_water() -> list[Row]:
    """Density and kinematic viscosity at one atmosphere against the standard of the steam tables.
    The densities are also those that the ITTC lists for towing tanks.
    """
    rows = []
    for temperature, density, viscosity in (
        (5.0, 999.9666, 1.51822), (10.0, 999.7025, 1.30629), (15.0, 999.1026, 1.13859),
        (20.0, 998.2072, 1.00340), (25.0, 997.0476, 0.89266), (30.0, 995.6495, 0.80071),
    ):
        ours = _water("fresh", temperature)
        rows += [
            Row(f"density, {temperature:g} C", ours[0], density, 2e-5, f"{IAPWS}; {ITTC}", COMPUTED,
                "kg/m3"),
            Row(f"viscosity, {temperature:g} C", ours[1], viscosity, 1e-3, IAPWS, COMPUTED,
                "1e-6 m2/s"),
        ]
    return rows


@case("Sea water")
def sea_water() -> list[Row]:
    """The same for standard sea water. The tabled densities hold at 10 m depth, 0.045 kg/m3 above
    those of the surface; the program's are those of the surface. Viscosity is known to 1 %.
    """
    teos, sharqawy = "TEOS-10 at the surface", "Sharqawy, Lienhard & Zubair 2010"
    rows = []
    for temperature, density, viscosity in (
        (5.0, 1027.676, 1.576), (10.0, 1027.0, 1.361), (15.0, 1026.021, None),
        (20.0, 1024.8103, 1.051), (25.0, 1023.3873, 0.937), (30.0, 1021.7694, 0.843),
    ):
        ours = _water("sea", temperature)
        cold = temperature == 5.0
        rows.append(Row(f"density, {temperature:g} C", ours[0], density, 1e-4,
                        teos if cold else ITTC, COMPUTED if cold else SECONDARY, "kg/m3"))
        if viscosity is not None:
            rows.append(Row(f"viscosity, {temperature:g} C", ours[1], viscosity, 0.01, sharqawy,
                            COMPUTED, "1e-6 m2/s", note=ARRIVES))
    ours = _water("sea", 15.0)
    rows += [
        Row(f"viscosity, 15 C, {name} copy of ITTC", ours[1], value, 0.01, ITTC, SECONDARY,
            "1e-6 m2/s")
        for name, value in (("one", 1.18831), ("another", 1.1892))
    ]
    return rows


# fmt: on


@picture(
    "line-chord.png",
    "How much too deep the straight line lets a bait run, against the length of line, for a bait"
    " that pulls with 1 N at 20 to 60 degrees to the stream, 0.28 mm line, 1 m/s. Markers: runs of"
    " the program against the catenary. Lines: the program's line in closed form against it.",
)
def chord_figure() -> Figure:
    figure = Figure(figsize=(7.0, 4.5), layout="constrained")
    axes = figure.add_subplot()
    rho, diameter = 998.2072, 0.28
    parameter = 1.0 / (0.5 * rho * 1.2 * diameter * MM)
    lengths = np.geomspace(1.0, 30.0, 40)
    for phi0, colour, marker, style in (
        (20.0, "#0072B2", "o", "-"),
        (30.0, "#D55E00", "s", "--"),
        (45.0, "#009E73", "^", "-."),
        (60.0, "#CC79A7", "D", ":"),
    ):
        at = math.radians(phi0)
        over = []
        for length in lengths:
            half = 0.25 * rho * 1.2 * diameter * MM * length
            angle = chord_angle(math.sin(at), math.cos(at), half)
            over.append(length * math.cos(angle) / catenary_depth(at, length, parameter) - 1.0)
        axes.plot(lengths, 100.0 * np.array(over), color=colour, linestyle=style)
        some = (1.0, 2.0, 3.0, 5.0, 10.0, 20.0, 30.0)
        pairs = [_long_line(length, phi0) for length in some]
        axes.plot(
            some,
            [100.0 * (ours / closed - 1.0) for ours, closed in pairs],
            color=colour,
            marker=marker,
            linestyle="",
            label=f"pull at {phi0:g} degrees to the stream",
        )
    axes.set_xscale("log")
    axes.set(xticks=[1, 2, 3, 5, 10, 20, 30], xlim=(0.95, 32.0), ylim=(0.0, 26.0))
    axes.xaxis.set_major_formatter("{x:g}")
    axes.minorticks_off()
    axes.set_xlabel("length of the line [m]")
    axes.set_ylabel("depth beyond that of the true curve [%]")
    axes.grid(alpha=0.3)
    axes.legend(fontsize=8.5)
    return figure
