"""The body and its hooks held in a stream, against sections, spheres, cylinders and hulls."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from matplotlib.figure import Figure

import sim

from .lone import MM, RHO, WATER, ellipsoid, lone
from .suite import (
    ARRIVES,
    COMPUTED,
    MEMORY_HIGH,
    MEMORY_MEDIUM,
    READ,
    SECONDARY,
    Row,
    case,
    picture,
)

REPORTED = math.inf

WHITE = "White, Fluid Mechanics, table 7.2"
SPHERE = "White, Fluid Mechanics, table 7.3, Re 1e4 to 1e5"
DNV = "DNV-RP-C205 App. E"
SECTION = "Hoerner ch. 3, 2 C_f (1 + c/t) + 1.1 t/c"
SUBCRITICAL = "Hoerner ch. 6, laminar separation, Re 6e4"
TURBULENT = "Hoerner ch. 6, turbulent, on C_f of Prandtl and Schlichting"
DATA_BOOK = "Aeronautical Engineer's Data Book p. 95"
HULL_CURVE = "MSS toolbox, Hoerner's curve by Leite et al. 1998"
ROUND = "Roddy 1990, DTRC/SHD-1298-08, bare hull"
CLARKE = "Clarke, Gedling & Hine 1983, Trans. RINA 125"
INOUE = "Inoue, Hirano & Kijima 1981, Int. Shipbuilding Progress 28"
LAMB = "Lamb Arts. 114, 121a"
STRIP = "strip integral, rho C_D w^2 L^4 / 64"

# Extent along the flow over extent across it, C_D on the extent across.
WHITE_ELLIPSES = ((1.0, 1.2), (2.0, 0.6), (4.0, 0.35), (8.0, 0.25))
DNV_ELLIPSES = ((0.5, 1.6), (1.0, 1.0), (2.0, 0.6), (4.0, 0.3), (8.0, 0.22))
WHITE_BOXES = ((0.1, 1.9), (0.4, 2.3), (0.7, 2.7), (1.2, 2.1), (2.0, 1.8), (2.5, 1.4), (3.0, 1.3),
               (6.0, 0.9))  # fmt: skip
HULLS = ((0.353, 1.898), (0.493, 1.279), (0.646, 0.999), (0.988, 0.828), (1.639, 0.691),
         (2.313, 0.631), (4.003, 0.559))  # fmt: skip


def hoerner_ellipse(ratio: float) -> float:
    """Section drag at C_f = 0.0054."""
    return 2.0 * 0.0054 * (1.0 + ratio) + 1.1 / ratio


def hoerner_axial(slender: float) -> float:
    """Drag on the frontal area of a round body with laminar separation, Re 6e4."""
    friction = 1.328 / math.sqrt(6e4)
    return 0.44 / slender + 4.0 * friction * slender + 4.0 * friction / math.sqrt(slender)


def hoerner_turbulent(slender: float) -> float:
    """The same with a turbulent boundary layer from the nose on, Re 6e4."""
    friction = 0.455 / math.log10(6e4) ** 2.58
    return friction * (3.0 * slender + 4.5 / math.sqrt(slender) + 21.0 / slender**2)


def alone(
    body: dict[str, Any],
    loads: tuple[str, ...],
    viscosity: float = WATER["viscosity_m2_s"],
    hooks: tuple[dict[str, float], ...] = (),
    **tables: Any,
) -> sim.Config:
    """A body in water without end in which only the named loads act."""
    bait = {"body": {"density_g_cm3": 1.0, **body}, "hook": list(hooks)}
    return lone(bait, loads, water={"viscosity_m2_s": viscosity}, **tables)


def prism(length_mm: float, width_mm: float, height_mm: float, exponent: float) -> dict[str, Any]:
    """A body of one section from end to end; exponent 2 is an ellipse."""
    return {
        "length_mm": length_mm,
        "exponent": exponent,
        "station": [
            {
                "from_nose_mm": share * length_mm,
                "upper_mm": 0.5 * height_mm,
                "lower_mm": 0.5 * height_mm,
                "half_width_mm": 0.5 * width_mm,
            }
            for share in (0.0, 0.5, 1.0)
        ],
    }


NO_ENDS: dict[str, Any] = {"coefficients": {"crossflow_end_factor": 1.0}}


def section(ratio: float, motion: str = "sway", exponent: float = 2.0) -> float:
    """C_D of a long prism without end effect on its extent across the flow."""
    across, along, length = 10.0, 10.0 * ratio, 2000.0
    sizes = (along, across) if motion == "sway" else (across, along)
    cfg = alone(prism(length, *sizes, exponent), ("body_drag",), **NO_ENDS)
    row = 1 if motion == "sway" else 2
    force = sim.captive(cfg, np.eye(3)[row]).force[row]
    return -float(force) / (0.5 * RHO * length * across * MM**2)


def drag(cfg: sim.Config, velocity: tuple[float, float, float], area_mm2: float) -> float:
    """Coefficient of the force against the velocity."""
    v = np.array(velocity)
    speed = float(np.linalg.norm(v))
    return -float(sim.captive(cfg, velocity).force @ v) / (0.5 * RHO * speed**3 * area_mm2 * MM**2)


# Cases.
# fmt: off


@case("Body sections across the flow: ellipses and circles")
def ellipses() -> list[Row]:
    """Drag of a long body of elliptic section moved sideways or up and down, without end effect, on
    the extent across the flow. c/t is the extent along the flow over that across it: 0.5 is a tall
    bait moved sideways, 2 the same bait moved up and down. The program's table is made of these
    sources: White's from c/t 2 on, DNV's at 0.5, and 1.1 for the circle, between White's 1.2 and
    DNV's 1.0. Those rows show that the table arrives. Independent of it are Hoerner's formula and
    DNV's thinner ellipses; they scatter by 15 %. At c/t 0.5, where a bait that moves sideways is,
    there is no second source. The program has no Reynolds number here: one value holds from 1e3 to
    1e5.
    """
    disagree = "White has 0.35 here and the program follows White."
    chosen = "The program's 1.1 was chosen between White's 1.2 and DNV's 1.0."
    rows = [
        Row(f"C_D, c/t {r:g}, {motion}, White", section(r, motion), value,
            0.15 if r == 1.0 else 1e-3, WHITE, MEMORY_HIGH,
            note=f"{ARRIVES} {chosen}" if r == 1.0 else ARRIVES)
        for r, value in WHITE_ELLIPSES for motion in ("sway", "heave")
    ]
    notes = {0.5: ARRIVES, 1.0: f"{ARRIVES} {chosen}", 2.0: ARRIVES, 4.0: disagree}
    tolerances = {0.5: 1e-3, 2.0: 1e-3, 4.0: REPORTED}
    rows += [
        Row(f"C_D, c/t {r:g}, DNV", section(r), value, tolerances.get(r, 0.15),
            f"{DNV}; Delany & Sorensen 1953" if r == 0.5 else DNV, MEMORY_MEDIUM,
            note=notes.get(r, ""))
        for r, value in DNV_ELLIPSES
    ]
    rows += [
        Row(f"C_D, c/t {r:g}, Hoerner", section(r), hoerner_ellipse(r), 0.15, SECTION,
            MEMORY_MEDIUM)
        for r in (1.0, 2.0, 4.0, 8.0)
    ]
    formula = "White, 1 + 10 Re^(-2/3)"
    slow = "Slower or thinner than a bait: 0.3 m/s past 1 mm."
    rows += [
        Row(f"C_D, circle, Re {reynolds:g}", section(1.0), 1.0 + 10.0 * reynolds ** (-2.0 / 3.0),
            tolerance, formula, MEMORY_HIGH, note=note)
        for reynolds, tolerance, note in (
            (300.0, REPORTED, slow), (1e3, 0.08, chosen), (1e4, 0.08, chosen)
        )
    ]
    rows.append(Row("C_D, circle, Re 1e3 to 2e5, band", section(1.0), 1.1, 0.1,
                    "White, 1.0 to 1.2", MEMORY_HIGH, kind="absolute", note=chosen))
    return rows


@case("Body sections across the flow: rectangles and hulls")
def boxes() -> list[Row]:
    """Slab-sided bodies (exponent 20 is a rectangle with slightly rounded edges). Measured
    rectangles have a narrow peak near c/t 0.65 that the program's table cuts off, and very flat or
    very deep ones are up to a third too high; both are reported. A curve used for ships, for
    sections with rounded bilges, shows how much the corner radius decides: it lies below the
    program's ellipse at c/t 0.5 to 1 and above it for flat hulls. Between exponent 6 and 20 the
    program leans from ellipse to rectangle (assumed).
    """
    beyond = "Flatter or deeper than a bait; the table behind the program is coarse there."
    peak = "Narrow peak (2.7 to 2.9 at 0.6 to 0.7) that the table cuts off."
    notes = {0.1: beyond, 0.7: peak, 6.0: beyond}
    hull = "Ship sections with round bilges, B/2T as c/t; the program's ellipse beside it."
    rows = [
        Row(f"C_D, rectangle c/t {r:g}, White", section(r, "sway", 20.0), value,
            REPORTED if r in notes else 0.15, WHITE, MEMORY_MEDIUM, note=notes.get(r, ""))
        for r, value in WHITE_BOXES
    ]
    rows.append(Row("C_D, square, DNV", section(1.0, "sway", 20.0), 2.05, 1e-3, DNV, MEMORY_MEDIUM,
                    note=ARRIVES))
    rows += [
        Row(f"C_D, ellipse c/t {r:g}, hull curve", section(r), value, REPORTED, HULL_CURVE,
            SECONDARY, note=hull)
        for r, value in HULLS
    ]
    return rows


@case("Spheres and short cylinders")
def short_bodies() -> list[Row]:
    """What the ends take away. Across the body the program is made so that a sphere has its
    measured drag; endways it goes by Hoerner's formula, which knows nothing of that and comes
    within 10 % of it. A cylinder that drifts steadily sideways loses 40 % of its drag round the
    ends. The program lets a body of three diameters or more keep 90 %, because in the short strokes
    of a wobble the wake has no time to spread (assumed). So a bait that drifts steadily sideways is
    braked by up to a third too much here: a known departure. For such a study set
    `coefficients.crossflow_end_factor = 0.6`, judged below. What is held of the default: never
    below the steady measurement, never above the endless cylinder. The axial drag does not see
    blunt ends: give `coefficients.bluff_drag_share` for a cupped or cut nose.
    """
    d = 40.0
    area = math.pi / 4.0 * d**2
    sphere = ellipsoid((d, d, d))
    rows = [
        Row(f"C_D, sphere, {name}", drag(alone(sphere, ("body_drag",)), v, area), 0.47, 1e-3,
            SPHERE, MEMORY_HIGH, note=ARRIVES)
        for name, v in (("sideways", (0.0, 0.7, 0.0)), ("oblique", (0.0, 0.4, -0.6)))
    ]
    for reynolds in (2e4, 4e4, 1e5):
        cfg = alone(sphere, ("axial_drag", "body_drag"), viscosity=d * MM / reynolds)
        rows.append(Row(f"C_D, sphere, endways, Re {reynolds:g}", drag(cfg, (1.0, 0.0, 0.0), area),
                        0.47, 0.10, SPHERE, MEMORY_HIGH))
    known = "Known departure: steady drift against the short strokes of a wobble."
    endless = section(1.0)
    for slender, value in ((1, 0.63), (2, 0.68), (5, 0.74), (10, 0.82), (40, 0.98)):
        length = slender * d
        cylinder, velocity = prism(length, d, d, 2.0), (0.0, 1.0, 0.0)
        ours = drag(alone(cylinder, ("body_drag",)), velocity, length * d)
        rows.append(Row(f"C_D, cylinder L/D {slender} across", ours, value, REPORTED, DATA_BOOK,
                        READ, note=known))
        low = value / 1.20
        if slender > 1:
            rows.append(Row(f"share of the endless cylinder, L/D {slender}, band", ours / endless,
                            0.5 * (low + 1.0), 0.5 * (1.0 - low), f"{DATA_BOOK} to no end effect",
                            READ, kind="absolute"))
        if slender in (2, 5):
            cfg = alone(cylinder, ("body_drag",), coefficients={"crossflow_end_factor": 0.6})
            rows.append(Row(f"C_D, cylinder L/D {slender} across, end factor set to 0.6",
                            drag(cfg, velocity, length * d), value, 0.12, DATA_BOOK, READ))
    blunt = "Blunt ends, which the axial formula does not know; `bluff_drag_share` adds to it."
    for slender, value in ((2, 0.85), (4, 0.87)):
        cfg = alone(prism(slender * d, d, d, 2.0), ("axial_drag",))
        rows.append(Row(f"C_D, blunt cylinder L/D {slender} along", drag(
            cfg, (1.0, 0.0, 0.0), area), value, REPORTED, DATA_BOOK, READ, note=blunt))
    return rows


@case("Drag along a round body")
def axial() -> list[Row]:
    """Smooth round bodies endways, on the frontal area, at the Reynolds number of a 60 mm bait at 1
    m/s. The program uses Hoerner's formula for laminar separation, so these rows show only that it
    arrives. Had a rough paint or the bill's wake made the boundary layer turbulent, his other
    formula gives half as much for a slender body; it is reported. Most of a bait's drag is its
    bill's, not this.
    """
    other = "Turbulent boundary layer from the nose on; a bait of 60 mm at 1 m/s has a laminar one."
    rows = []
    for slender in (1.0, 1.5, 2.0, 3.0, 4.0, 5.0):
        d = 20.0
        cfg = alone(ellipsoid((slender * d, d, d)), ("axial_drag",), slender * d * MM / 6e4)
        ours = drag(cfg, (1.0, 0.0, 0.0), math.pi / 4.0 * d**2)
        rows.append(Row(f"C_D, l/d {slender:g}", ours, hoerner_axial(slender), 1e-3, SUBCRITICAL,
                        MEMORY_MEDIUM, note=ARRIVES))
        if slender >= 2.0:
            rows.append(Row(f"C_D, l/d {slender:g}, turbulent", ours, hoerner_turbulent(slender),
                            REPORTED, TURBULENT, MEMORY_HIGH, note=other))
    return rows


HULL_SIZES = ((80.0, 14.0, 20.0), (100.0, 16.0, 20.0), (120.0, 20.0, 20.0), (60.0, 20.0, 20.0))


def _drift(size: tuple[float, float, float]) -> tuple[float, float]:
    """Y'_v and N'_v of an ellipsoid as the double body of a hull: a hull's half of the load."""
    length = MM * size[0]
    speed, drift = 1.0, 0.01
    found = sim.captive(
        alone(ellipsoid(size), ("tail", "added_mass")), (speed, drift * speed, 0.0)
    )
    head = 0.5 * RHO * speed**2 * drift * 2.0
    force, moment = float(found.total_force[1]), float(found.total_moment[2])
    return force / (head * length**2), moment / (head * length**3)


@case("Hull in drift: side force and turning moment")
def hulls() -> list[Row]:
    """A body that moves slightly askew: the slopes of side force and yaw moment at zero drift. An
    ellipsoid is taken as the double body of a ship's hull, block coefficient 0.52, its draught half
    the body's height, in the form of ship manoeuvring (on 0.5 rho L^2 U and 0.5 rho L^3 U). The
    side force is Clarke's, from whose regression the program takes its factor with the body's own
    fullness: those rows show that it arrives. Inoue's regression, which is another, is the only
    outside one; it lies within 4 %, for ships. The moment that turns the nose farther out is about
    a third of a ship's: the program lets the flow leave at the thickest section, so the force acts
    well behind mid-length and takes back more of the Munk couple than on a hull, which is fuller at
    its ends. A slender submarine hull without fins, whose turbulent flow follows the tail, has a
    fifth of the force and keeps twice the moment. A bait, short and laminar, is like neither, and
    nothing published says where it lies: the page on assumptions shows what that means in
    millimetres of tie point.
    """
    band = "Reported: a hull is fuller at its ends than a bait and keeps more of the Munk couple."
    short = "Shorter than any ship of the regression."
    tail = (
        "Body of revolution 8.6 times as long as thick at Re above 1e7, where the flow follows the"
        " tail; here an ellipsoid of that slenderness."
    )
    rows = []
    for size in HULL_SIZES:
        length, width, height = size
        draught, name = 0.5 * height, "{:g} x {:g} x {:g} mm".format(*size)
        slim, beam, block = draught / length, width / draught, math.pi / 6.0
        force, moment = _drift(size)
        k = 2.0 * slim
        clarke = -math.pi * slim**2 * (1.0 + 0.40 * block * beam)
        inoue = -slim * (0.5 * math.pi * k + 1.4 * block * width / length)
        turn = -math.pi * slim**2 * (0.5 + 2.4 * slim)
        ship = length >= 4.0 * width
        rows += [
            Row(f"Y'_v, {name}, Clarke", force, clarke, 1e-3, CLARKE, MEMORY_HIGH,
                note=ARRIVES),
            Row(f"Y'_v, {name}, Inoue", force, inoue, 0.15, INOUE, MEMORY_HIGH),
            Row(f"N'_v, {name}, Clarke", moment, turn, REPORTED, CLARKE, MEMORY_HIGH,
                note=band if ship else short),
            Row(f"N'_v, {name}, Inoue", moment, -k * slim, REPORTED, INOUE, MEMORY_HIGH),
        ]
    force, moment = (2.0 * v for v in _drift((171.5, 20.0, 20.0)))  # the whole body, not a half
    return [
        *rows,
        Row("Y'_v, bare submarine hull", force, -0.00595, REPORTED, ROUND, MEMORY_MEDIUM,
            note=tail),
        Row("N'_v, bare submarine hull", moment, -0.0128, REPORTED, ROUND, MEMORY_MEDIUM,
            note=tail),
    ]


@case("Munk couple of a body in ideal flow")
def munk() -> list[Row]:
    """The couple that turns a body in drift broadside, without any viscous load: rho V U^2 (k2 -
    k1) sin a cos a with Lamb's coefficients for a spheroid, a/b its slenderness. It comes from the
    added mass alone, and it is what bill and tail have to overcome.
    """
    rows = []
    values = {2: (0.4942, 0.702 - 0.209), 4: (0.7782, 0.860 - 0.082), 6: (0.8719, 0.918 - 0.045)}
    for slender, (exact, table) in values.items():
        d, a, speed = 20.0, math.radians(5.0), 1.3
        cfg = alone(ellipsoid((slender * d, d, d)), ("added_mass",))
        velocity = (speed * math.cos(a), speed * math.sin(a), 0.0)
        volume = math.pi / 6.0 * slender * (d * MM) ** 3
        scale = RHO * volume * speed**2 * math.sin(a) * math.cos(a)
        ours = -float(sim.captive(cfg, velocity).total_moment[2]) / scale
        rows += [
            Row(f"k2 - k1, a/b {slender}", ours, exact, 1e-3, LAMB, COMPUTED),
            Row(f"k2 - k1, a/b {slender}, table", ours, table, 0.015, f"{LAMB}, table rounded",
                MEMORY_HIGH, note="" if slender == 2 else "Table at 3.99 and 6.01."),
        ]
    ball = sim.captive(alone(ellipsoid((40.0, 40.0, 40.0)), ("added_mass",)), (1.0, 0.5, 0.2))
    size = RHO * math.pi / 6.0 * 0.04**3
    couple = float(np.abs(ball.total_moment).max())
    rows.append(Row("couple on a sphere over rho V U^2", couple / size, 0.0, 1e-9,
                    "symmetry, exact", COMPUTED, kind="absolute"))
    return rows


@case("Turning body and hooks")
def turning() -> list[Row]:
    """Damping of a turning body by the drag of its parts, each at its own speed, against the exact
    integral over a long prism with the program's own section coefficients. With the default 8
    sections and 3 slices pitch and yaw are met within 0.1 %, roll within 4 %. The drag of a section
    lies against the velocity across the axis and does not know the velocity along it (independence
    principle; a stated simplification). A hook is dragged at its own velocity: exact.
    """
    length, width, height, spin = 2000.0, 14.0, 20.0, 3.0
    sway, heave = section(width / height, "sway"), section(height / width, "heave")
    long, high, wide = length * MM, height * MM, width * MM
    exact = {
        "roll": sway * long * high**4, "pitch": heave * wide * long**4, "yaw": sway * high * long**4
    }
    rows = []
    for solver, name, tolerances in (
        ({}, "8 x 3", (0.04, 2e-3, 2e-3)),
        ({"body_slices": 16, "body_strips": 32}, "32 x 16", (1e-3, 1e-3, 1e-3)),
    ):
        cfg = alone(prism(length, width, height, 2.0), ("body_drag",), solver=solver, **NO_ENDS)
        for axis, (motion, scale) in enumerate(exact.items()):
            moment = sim.captive(cfg, (0.0, 0.0, 0.0), spin * np.eye(3)[axis]).moment[axis]
            rows.append(Row(f"damping in {motion}, {name} parts", float(moment),
                            -RHO * spin**2 / 64.0 * scale, tolerances[axis], STRIP, COMPUTED,
                            "N m"))
    cfg = alone(prism(length, 14.0, 14.0, 2.0), ("body_drag",), **NO_ENDS)
    still = sim.captive(cfg, (0.0, 0.5, 0.0)).force[1]
    oblique = sim.captive(cfg, (2.0, 0.3, 0.4)).force
    principle = "independence principle, Hoerner ch. 3"
    rows += [
        Row("side force at (2, 0.3, 0.4) m/s over that at (0, 0.5, 0)", float(oblique[1] / still),
            0.6, 1e-6, principle, MEMORY_HIGH, note=ARRIVES),
        Row("upward force at (2, 0.3, 0.4) m/s over the same", float(oblique[2] / still), 0.8, 1e-6,
            principle, MEMORY_HIGH, note=ARRIVES),
    ]
    hook = {"mass_g": 0.8, "from_nose_mm": 50.0, "above_centreline_mm": -8.0, "right_mm": 3.0,
            "hang_mm": 9.0, "drag_area_mm2": 42.0}
    cfg = alone(ellipsoid((60.0, 14.0, 20.0)), ("hooks",), hooks=(hook,))
    velocity, rates = np.array([0.9, -0.2, 0.1]), np.array([2.0, -1.0, 5.0])
    found = sim.captive(cfg, velocity.tolist(), rates.tolist())
    place = np.array([-50.0, 3.0, 17.0]) * MM - found.centre_of_gravity
    at = velocity + np.cross(rates, place)
    pull = -0.5 * RHO * 42e-6 * float(np.linalg.norm(at)) * at
    turn = np.cross(place, pull)
    quadratic = "0.5 rho C_D A V^2 against V of the hook"
    rows += [
        Row(f"hook, {name}", float(ours), float(value), 1e-6, quadratic, COMPUTED, unit,
            note=ARRIVES)
        for name, ours, value, unit in (
            ("surge force", found.force[0], pull[0], "N"),
            ("sway force", found.force[1], pull[1], "N"),
            ("roll moment", found.moment[0], turn[0], "N m"),
            ("yaw moment", found.moment[2], turn[2], "N m"),
        )
    ]
    return rows


# fmt: on


@picture(
    "body-sections.png",
    "Drag coefficient of body sections across the flow against extent along over extent across the"
    " flow: the program's ellipse and rectangle (solid) and published sections. A bait that moves"
    " sideways lies between 0.4 and 1.",
)
def section_figure() -> Figure:
    figure = Figure(figsize=(7.0, 4.5), layout="constrained")
    axes = figure.add_subplot()
    x = np.geomspace(0.1, 8.0, 41)
    axes.plot(x, [section(r) for r in x], color="#000000", linewidth=2.4, label="program, ellipse")
    axes.plot(
        x,
        [section(r, "sway", 20.0) for r in x],
        color="0.55",
        linewidth=2.4,
        label="program, rectangle (exponent 20)",
    )
    for points, name, colour, marker in (
        (WHITE_ELLIPSES, "White, ellipses", "#D55E00", "o"),
        (DNV_ELLIPSES, "DNV, ellipses", "#0072B2", "s"),
        (WHITE_BOXES, "White, rectangles", "#009E73", "^"),
        (HULLS, "hull curve, round bilges", "#CC79A7", "D"),
    ):
        line = "--" if marker in "D" else ""
        axes.plot(
            *zip(*points, strict=True), marker=marker, color=colour, linestyle=line, label=name
        )
    axes.plot(
        x[x >= 1.0],
        [hoerner_ellipse(r) for r in x[x >= 1.0]],
        color="#E69F00",
        linestyle="-.",
        label="Hoerner, ellipses",
    )
    axes.set_xscale("log")
    axes.set(xlim=(0.1, 8.0), ylim=(0.0, 3.0), xticks=[0.1, 0.2, 0.5, 1, 2, 4, 8])
    axes.xaxis.set_major_formatter("{x:g}")
    axes.minorticks_off()
    axes.set_xlabel("extent along the flow / extent across [-]")
    axes.set_ylabel("C_D on the extent across [-]")
    axes.grid(alpha=0.3)
    axes.legend(fontsize=8.5, loc="upper right")
    return figure
