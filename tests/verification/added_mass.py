"""Added mass: Lamb's ellipsoids, discs, plates, and a boundary-element library on bodies."""

from __future__ import annotations

import math
from collections.abc import Iterable
from functools import cache
from typing import Any, NamedTuple

import numpy as np
from matplotlib.figure import Figure
from scipy.integrate import quad
from scipy.interpolate import PchipInterpolator
from scipy.special import ellipe

import sim

from . import lone, suite
from .suite import (
    ARRIVES,
    COMPUTED,
    MEMORY_HIGH,
    OF_REFERENCE,
    SECONDARY,
    Row,
    case,
    picture,
)

MM = 1e-3
TERMS = ("surge", "sway", "heave", "roll", "pitch", "yaw")
COUPLINGS = (("sway-roll", 1, 3), ("sway-yaw", 1, 5), ("heave-pitch", 2, 4))
LAMB = "Lamb 1932, Hydrodynamics, Arts. 114 and 121a, integrals by quadrature"
PANELS = "capytaine, direct method, two meshes extrapolated"
ROLL = (
    "A slab section that rolls about its middle moves water with its corners only, and both panel"
    " methods lose some of them. This term is a tenth of a bait's own roll inertia; most of the"
    " water's comes through sway, from the centre of gravity below the middle."
)
MESH = (
    "Over the roots of the diagonal. It says how good the coarser pair is. What the finer pair,"
    " which the program is compared with, still lacks is a third of it or less: with 36 and 54"
    " rings deep runner, slab-sided bait and flat nose move by 0.1 % at most."
)


def assembled(bait: dict[str, Any]) -> sim.Assembly:
    return sim.assemble(lone.lone(bait, ("added_mass",)))


def per_density(bait: sim.Assembly) -> np.ndarray:
    """Added mass about the centre of gravity over the water's density, in cm, cm^2, ..."""
    scale = np.array([1.0] * 3 + [100.0] * 3)
    return bait.added_mass / bait.water.density * np.outer(scale, scale) * 1e6


# --------------------------------------------------------------------------------------- ellipsoids


def ellipsoid(a: float, b: float, c: float) -> sim.Assembly:
    """Semi-axes in cm along x, y, z."""
    return assembled({"body": lone.ellipsoid((20 * a, 20 * b, 20 * c))})


def lamb(*axes: float) -> np.ndarray:
    """The six terms of an ellipsoid about its centre, density 1."""

    def integrand(s: float, i: int) -> float:
        return 1.0 / ((axes[i] ** 2 + s) * math.sqrt(math.prod(a * a + s for a in axes)))

    kappa = [math.prod(axes) * quad(integrand, 0.0, math.inf, args=(i,))[0] for i in range(3)]
    volume = 4.0 / 3.0 * math.pi * math.prod(axes)
    mass = [volume * k / (2.0 - k) for k in kappa]
    inertia = []
    for i in range(3):
        j, k = (i + 1) % 3, (i + 2) % 3
        less, more = axes[j] ** 2 - axes[k] ** 2, axes[j] ** 2 + axes[k] ** 2
        bottom = 2.0 * less + more * (kappa[j] - kappa[k])
        inertia.append(volume / 5.0 * less**2 * (kappa[k] - kappa[j]) / bottom if less else 0.0)
    return np.array(mass + inertia)


# Lamb (1932), the printed table of Art. 115, three rounded decimals: slenderness; axial and
# transverse on the water displaced; rotation on that water's inertia. From memory.
PRINTED = (
    (1.5, 0.305, 0.621, 0.094), (2.0, 0.209, 0.702, 0.240), (2.51, 0.156, 0.763, 0.367),
    (2.99, 0.122, 0.803, 0.465), (3.99, 0.082, 0.860, 0.608), (4.99, 0.059, 0.895, 0.701),
    (6.01, 0.045, 0.918, 0.764), (8.01, 0.029, 0.945, 0.840), (9.97, 0.021, 0.960, 0.883),
)  # fmt: skip


@case("Added mass of ellipsoids")
def ellipsoids() -> Iterable[Row]:
    """
    The water that an accelerated body takes along, in water without surface or bottom. For an
    ellipsoid the answer is exact since Lamb, and a body given as an ellipsoid uses it. Compared are
    Lamb's integrals, evaluated here by quadrature, and his printed table of spheroids.
    """
    note = "The printed values are rounded to three decimals, and some are off by one or two."
    for slenderness, *printed in PRINTED:
        bait = ellipsoid(slenderness, 1.0, 1.0)
        found = np.diag(per_density(bait))
        exact = lamb(slenderness, 1.0, 1.0)
        water = bait.volume * 1e6
        scale = water, water, water / 5.0 * (slenderness**2 + 1.0)
        for name, i, value, own in zip(
            ("surge", "sway", "yaw"), (0, 1, 5), printed, scale, strict=True
        ):
            what = f"{name} of a spheroid {slenderness:g}:1, on the water displaced"
            yield Row(what, found[i] / own, exact[i] / own, 1e-5, LAMB, COMPUTED)
            yield Row(
                f"{what}, printed", found[i] / own, value, 0.0101 if value > 0.1 else 0.015,
                "Lamb 1932, Art. 115, table", MEMORY_HIGH, note=note,
            )  # fmt: skip
    for axes in (
        (1.5, 1.5, 1.5),
        (3.0, 2.0, 1.0),
        (3.0, 1.0, 2.0),
        (4.0, 0.8, 1.1),
        (1.5, 1.5, 0.3),
    ):
        matrix, exact = per_density(ellipsoid(*axes)), lamb(*axes)
        found = np.diag(matrix)
        for i, name in enumerate(TERMS):
            what = f"{name} of an ellipsoid {axes[0]:g}:{axes[1]:g}:{axes[2]:g}, over the density"
            unit = "cm^3" if i < 3 else "cm^5"
            if exact[i] > 0.0:
                yield Row(what, found[i], exact[i], 1e-5, LAMB, COMPUTED, unit)
            else:
                yield Row(what, found[i], 0.0, 1e-9, LAMB, COMPUTED, unit, "absolute")
        what = f"largest coupling of an ellipsoid {axes[0]:g}:{axes[1]:g}:{axes[2]:g}"
        largest = float(np.abs(matrix - np.diag(found)).max())
        yield Row(what, largest, 0.0, 1e-9, LAMB, COMPUTED, "cm^4", "absolute")


# ------------------------------------------------------------------------------------------- plates


def plate(length: float, width: float, corners: np.ndarray | None = None) -> np.ndarray:
    """Heave, roll and pitch of a thin plate about its middle over the density; sizes in cm."""
    shape: dict[str, Any] = {}
    if corners is not None:
        shape = {"outline": "polygon", "outline_mm": (10.0 * corners).tolist()}
    part = lone.plate(10.0 * length, 10.0 * width, **shape)
    return np.diag(per_density(assembled({"plate": [part]})))[2:5]


def disc(a: float, b: float) -> np.ndarray:
    """The same of an ellipse of semi-axes ``a`` along and ``b`` across, a polygon of 96 corners."""
    turn = np.linspace(0.0, 2.0 * math.pi, 97)[:-1]
    return plate(2 * a, 2 * b, np.column_stack([a - a * np.cos(turn), b * np.sin(turn)]))


# Sides' ratio, and the coefficient on pi/4 (short side)^2 (long side).
RECTANGLES = (
    (1.0, 0.579), (1.25, 0.642), (1.5, 0.690), (1.59, 0.704), (2.0, 0.757), (2.5, 0.801),
    (3.0, 0.830), (3.17, 0.840), (4.0, 0.872), (5.0, 0.897), (6.25, 0.917), (8.0, 0.934),
    (10.0, 0.947), (1000.0, 1.000),
)  # fmt: skip


@case("Added mass of plates")
def plates() -> Iterable[Row]:
    """
    Bills, fins and keels are plates that move water along their normal only. Compared are the
    elliptic disc (exact), a long strip that turns about its middle (exact), and the table of DNV
    for rectangles. The program has that table built in, so its rows show only that it arrives; the
    next section compares two rectangles with something that is not. Real bills lie between ellipse
    and rectangle; the program goes by how full the outline is, which nothing here tests.
    """
    cut = "The disc is a polygon of 96 corners, 0.07 % smaller, and its fullness that much lower."
    whole = disc(1.0, 1.0)
    yield Row(
        "circular disc along its axis, radius 1 cm", whole[0], 8.0 / 3.0, 1e-3,
        "Lamb 1932, Art. 102: 8/3 a^3", MEMORY_HIGH, "cm^3", note=cut,
    )  # fmt: skip
    for name, value in zip(("along", "across"), whole[1:], strict=True):
        yield Row(
            f"circular disc about a diameter {name} the bait", value, 16.0 / 45.0, 1e-3,
            "Lamb 1932, Art. 108: 16/45 a^5", MEMORY_HIGH, "cm^5", note=cut,
        )  # fmt: skip
    for ratio in (0.8, 0.5, 0.25, 0.1):
        exact = 4.0 / 3.0 * math.pi * ratio**2 / float(ellipe(1.0 - ratio**2))
        yield Row(
            f"elliptic disc, semi-axes 1 and {ratio:g} cm, along its normal", disc(1.0, ratio)[0],
            exact, 1e-3, "4/3 pi a b^2 / E(1 - b^2/a^2) (Lamb 1932, Art. 114)", COMPUTED, "cm^3",
            note=cut,
        )  # fmt: skip
    for ratio, coefficient in RECTANGLES:
        for name, size in (("long", (ratio, 1.0)), ("wide", (1.0, ratio))):
            yield Row(
                f"rectangle 1:{ratio:g}, {name}: coefficient C_A",
                plate(*size)[0] / (0.25 * math.pi * ratio), coefficient, 1e-3,
                "DNV-RP-C205 (2010) App. D, rectangular plates", SECONDARY, note=ARRIVES,
            )  # fmt: skip
    yield Row(
        "strip 1:1000 about its long middle line, on pi c^4 / 128",
        plate(1.0, 1000.0)[2] / (math.pi / 128.0 * 1000.0), 1.0, 1e-3,
        "flat plate in two dimensions", MEMORY_HIGH,
    )  # fmt: skip


# --------------------------------------------------------------------- the boundary-element library


def deep_water(mesh: Any, about: np.ndarray, motions: Iterable[str]) -> np.ndarray:
    """Added mass by capytaine without free surface and bottom, density 1."""
    import capytaine as cpt

    cpt.set_logging("ERROR")  # panels of a tapered body are not quite plane
    # without table of waves, which deep water does not need
    solver = cpt.BEMSolver(
        green_function=cpt.Delhommeau(tabulation_nr=0, tabulation_nz=0), method="direct"
    )
    body = cpt.FloatingBody(mesh=mesh, dofs=cpt.rigid_body_dofs(rotation_center=tuple(about)))
    deep = {"free_surface": math.inf, "water_depth": math.inf, "omega": math.inf, "rho": 1.0}
    motions = [m.capitalize() for m in motions]
    rows = [
        solver.solve(cpt.RadiationProblem(body=body, radiating_dof=m, **deep)).added_masses
        for m in motions
    ]
    return np.array([[row[m] for m in motions] for row in rows])


def faces(grid: np.ndarray, start: int = 0) -> np.ndarray:
    """Quadrilaterals of a grid of vertices, shape (n, 4)."""
    i = start + np.arange(grid.shape[0] * grid.shape[1]).reshape(grid.shape[:2])
    return np.stack([i[:-1, :-1], i[1:, :-1], i[1:, 1:], i[:-1, 1:]], axis=-1).reshape(-1, 4)


def settled(coarse: np.ndarray, fine: np.ndarray, ratio: float = 1.5) -> np.ndarray:
    """Richardson: the error falls with the square of the panel size."""
    return (ratio**2 * fine - coarse) / (ratio**2 - 1.0)


def box(length: float, width: float, thickness: float, n: int) -> Any:
    """Mesh of a thin box, finer toward the edges."""
    import capytaine as cpt

    def line(size: float, count: int, axis: int) -> np.ndarray:
        places = -0.5 * size * np.cos(np.linspace(0.0, math.pi, count + 1))
        return places[:, None] * np.eye(3)[axis]

    stretch = math.sqrt(length / width)
    sides = [
        line(length, round(n * stretch), 0),
        line(width, round(n / stretch), 1),
        line(thickness, n // 4, 2),
    ]
    vertices: list[np.ndarray] = []
    panels: list[np.ndarray] = []
    for out in range(3):
        u, v = sides[(out + 1) % 3], sides[(out + 2) % 3]
        for end, p, q in ((-1, u, v), (0, v, u)):  # normals point outward
            grid = sides[out][end] + p[:, None] + q[None]
            panels.append(faces(grid, sum(map(len, vertices))))
            vertices.append(grid.reshape(-1, 3))
    return cpt.Mesh(vertices=np.concatenate(vertices), faces=np.concatenate(panels))


def thin(length: float, width: float) -> np.ndarray:
    """Heave, roll and pitch of a box without thickness, from boxes of three."""
    sizes = np.array([0.2, 0.1, 0.05])
    motions = ("heave", "roll", "pitch")
    found = []
    for t in sizes:
        coarse, fine = (
            np.diag(deep_water(box(length, width, t, n), np.zeros(3), motions)) for n in (16, 24)
        )
        found.append(settled(coarse, fine))
    # a rounded edge of an otherwise flat plate counts as t log t
    law = np.column_stack([np.ones(3), sizes, sizes * np.log(sizes)])
    return np.linalg.solve(law, np.array(found))[0]


@case("Added mass of plates by panels", slow=True)
def plates_by_panels() -> Iterable[Row]:
    """
    The boundary-element library capytaine needs a closed body: it is given boxes of a thickness of
    0.2, 0.1 and 0.05 of the short side, and their values are extrapolated to none along c0 + c1 t +
    c2 t log t. With other thicknesses the result moves by about 1 % in heave and 2 % in the
    rotations; so far it can be trusted. The rotations matter for a bill: its own share of the roll
    inertia is of the size of the body's.
    """
    source = "capytaine, direct method, boxes extrapolated to no thickness"
    for length in (1.0, 2.0):
        for name, ours, theirs, tolerance, unit in zip(
            ("heave", "roll", "pitch"), plate(length, 1.0), thin(length, 1.0),
            (0.015, 0.025, 0.025), ("cm^3", "cm^5", "cm^5"), strict=True,
        ):  # fmt: skip
            what = f"plate {length:g} x 1 cm, {name}, over the density"
            yield Row(what, ours, theirs, tolerance, source, COMPUTED, unit)


# ------------------------------------------------------------------------------------------- bodies

Stations = tuple[tuple[float, float, float, float], ...]  # from nose, upper, lower, half width [mm]


class Body(NamedTuple):
    """A body alone: its stations and the exponent of its sections."""

    stations: Stations
    exponent: float

    def outline(self, aft: np.ndarray) -> np.ndarray:
        """Upper, lower, half width at places [mm], shape (3, n); docs/config.md says how."""
        at, *columns = np.array(self.stations).T
        return np.array([PchipInterpolator(at, column)(aft) for column in columns])

    def assembly(self) -> sim.Assembly:
        keys = ("from_nose_mm", "upper_mm", "lower_mm", "half_width_mm")
        rows = [dict(zip(keys, row, strict=True)) for row in self.stations]
        length = self.stations[-1][0]
        table = {"length_mm": length, "density_g_cm3": 0.5, "exponent": self.exponent}
        return assembled({"body": {**table, "station": rows}})


def quarter(side: float, up: float, exponent: float, count: int) -> np.ndarray:
    """Share of the half axes along a quarter section, top to side, denser where it turns."""
    turn = np.linspace(0.0, 0.5 * math.pi, 4001)
    direction = np.abs(np.column_stack([np.sin(turn), np.cos(turn)]))
    points = direction / (direction**exponent).sum(axis=1)[:, None] ** (1.0 / exponent)
    step = np.diff(points, axis=0) * (side, up)
    normal = points ** (exponent - 1.0) * (up, side)
    bend = np.arctan2(normal[:, 0], normal[:, 1])
    arc = np.concatenate([[0.0], np.cumsum(np.hypot(*step.T))])
    run = arc / arc[-1] + 0.5 * bend / bend[-1]
    places = np.linspace(0.0, run[-1], count + 1)
    return np.column_stack([np.interp(places, run, column) for column in points.T])


def surface(body: Body, n: int) -> np.ndarray:
    """Vertices of the starboard half from nose to tail and back to belly [cm], x forward, z down.

    Rings crowd at both ends; flat ends are closed by rings that shrink to their middle.
    """
    length = body.stations[-1][0]
    aft = 0.5 * length * (1.0 - np.cos(np.linspace(0.0, math.pi, n + 1)))
    upper, lower, side = body.outline(aft)
    top = quarter(side.max(), upper.max(), body.exponent, n // 2)
    bottom = quarter(side.max(), lower.max(), body.exponent, n // 2)[-2::-1]
    across = np.concatenate([top[:, 0], bottom[:, 0]])
    z = np.hstack([-np.outer(upper, top[:, 1]), np.outer(lower, bottom[:, 1])])
    grid = np.stack([np.repeat(-aft[:, None], n + 1, 1), np.outer(side, across), z], axis=-1)
    parts = [grid]
    for end in (0, -1):
        rim = grid[end]
        size = max(np.ptp(rim[:, 2]), np.ptp(rim[:, 1])) / length
        if size > 1e-9:
            count = max(2, round(0.3 * n * math.sqrt(size)))
            middle = 0.5 * (rim[0] + rim[-1])
            share = np.sin(np.linspace(0.0, 0.5 * math.pi, count + 1))[:-1, None, None]
            disc = middle + share * (rim - middle)
            parts = [disc, *parts] if end == 0 else [*parts, disc[::-1]]
    return 0.1 * np.concatenate(parts)


def panels_of(grid: np.ndarray, about: np.ndarray) -> np.ndarray:
    """All six terms of a body from the vertices of its starboard half, by capytaine."""
    import capytaine as cpt

    half = cpt.Mesh(vertices=grid.reshape(-1, 3), faces=faces(grid))
    found = deep_water(cpt.ReflectionSymmetricMesh(half, plane="xOz"), about, TERMS)
    return 0.5 * (found + found.T)


class Compared(NamedTuple):
    """Matrices about the centre of gravity over the density, in cm.

    ``moved`` is the largest change of the reference with its mesh, over the roots of its diagonal.
    """

    ours: np.ndarray
    theirs: np.ndarray
    moved: float


@cache
def compared(body: Body) -> Compared:
    """The program's matrix of a lone body, and capytaine's."""
    bait = body.assembly()
    about = 100.0 * bait.centre_of_gravity
    coarse, middle, fine = (panels_of(surface(body, n), about) for n in (16, 24, 36))
    before, theirs = settled(coarse, middle), settled(middle, fine)
    moved = float(np.abs((before - theirs) / roots(theirs)).max())
    return Compared(per_density(bait), theirs, moved)


def roots(matrix: np.ndarray) -> np.ndarray:
    """Roots of the products of diagonal terms, the scale of the couplings."""
    diagonal = np.sqrt(np.diag(matrix))
    return np.outer(diagonal, diagonal)


def body_rows(name: str, body: Body, roll: float = 0.01) -> Iterable[Row]:
    ours, theirs, moved = compared(body)
    for i, term in enumerate(TERMS):
        yield Row(
            f"{name}: {term}, over the density", ours[i, i], theirs[i, i],
            roll if term == "roll" else 0.01, PANELS, COMPUTED, "cm^3" if i < 3 else "cm^5",
            note=ROLL if term == "roll" and body.exponent > 2.0 else "",
        )  # fmt: skip
    for term, i, j in COUPLINGS:
        scale = roots(theirs)[i, j]
        yield Row(
            f"{name}: {term}, over the root of the two", ours[i, j] / scale,
            theirs[i, j] / scale, 1e-3, PANELS, COMPUTED, kind="absolute",
        )  # fmt: skip
    yield Row(
        f"{name}: largest change of capytaine's terms with its mesh", moved, 0.0,
        0.01, "16 and 24 rings against 24 and 36, both extrapolated", OF_REFERENCE, kind="absolute",
        note=MESH,
    )  # fmt: skip


@cache
def shipped(name: str) -> Body:
    """The body of one of the baits in configs/."""
    body = sim.load_config(suite.CONFIGS / f"{name}.toml").bait.body
    assert body is not None
    rows = [(s.from_nose_mm, s.upper_mm, s.lower_mm, s.half_width_mm) for s in body.station]
    return Body(tuple(rows), body.exponent)


def half_ellipsoid(a: float, b: float, c: float, n: int) -> np.ndarray:
    """Vertices like those of :func:`surface`, nose first, about the centre."""
    along, around = np.linspace(0.0, math.pi, n + 1)[:, None], np.linspace(0.0, math.pi, n + 1)
    y, z = b * np.sin(along) * np.sin(around), -c * np.sin(along) * np.cos(around)
    return np.stack([a * np.cos(along) + 0.0 * around, y, z], axis=-1)


@case("Added mass of the shipped bodies by panels", slow=True)
def shipped_bodies() -> Iterable[Row]:
    """
    The bodies of the baits in configs/, alone in deep water and about their own centre of gravity,
    against the boundary-element library capytaine. Its mesh is made from the stations by the rules
    of docs/config.md, two half superellipses a section; its result is extrapolated from two meshes
    of 24 and 36 rings. For ellipsoids the same procedure meets Lamb, in the first rows
    ("capytaine's own" checks the reference, not the program). Couplings are shown over the root of
    the product of the two terms they couple; sway-yaw says where along the bait the water sits that
    sways with it, and with that how readily it yaws. All terms meet within 0.3 %, roll of slab
    sides within 3 %, so that a maker need not think of the body's added mass as a source of error:
    drag and the bill's lift are known far less well.
    """
    for axes in ((3.0, 2.0, 1.0), (4.0, 1.0, 1.0)):
        coarse, fine = (panels_of(half_ellipsoid(*axes, n), np.zeros(3)) for n in (24, 36))
        theirs = settled(coarse, fine)
        ours, exact = np.diag(per_density(ellipsoid(*axes))), lamb(*axes)
        for i, term in enumerate(TERMS):
            what = f"ellipsoid {axes[0]:g}:{axes[1]:g}:{axes[2]:g}: {term}, over the density"
            unit = "cm^3" if i < 3 else "cm^5"
            if exact[i] > 0.0:
                yield Row(what, ours[i], theirs[i, i], 0.005, PANELS, COMPUTED, unit)
                what = f"capytaine's own {what}"
                yield Row(what, theirs[i, i], exact[i], 0.005, LAMB, OF_REFERENCE, unit)
    for name in suite.BAITS:
        body = shipped(name)
        yield from body_rows(name, body, 0.01 if body.exponent == 2.0 else 0.03)


def shaped(
    length: float, height: float, width: float, exponent: float, shares: Iterable[tuple[float, ...]]
) -> Body:
    """Stations by shares of the length, half height up and down, and half width."""
    rows = [
        (length * at, 0.5 * height * up, 0.5 * height * low, 0.5 * width * side)
        for at, up, low, side in shares
    ]
    return Body(tuple(rows), exponent)


def even(*shares: tuple[float, float]) -> list[tuple[float, ...]]:
    return [(at, size, size, size) for at, size in shares]


FISH = even((0, 0.05), (0.06, 0.55), (0.17, 0.85), (0.34, 1), (0.5, 1), (0.7, 0.82), (0.9, 0.35),
            (1, 0.06))  # fmt: skip
BELLY = [(at, 0.7 * up, 1.3 * low, side) for at, up, low, side in FISH]
VARIANTS = {
    "short and round, 54 x 18 x 17 mm": shaped(54.0, 18.0, 17.0, 2.0, FISH),
    "long, 126 x 18 x 13 mm": shaped(126.0, 18.0, 13.0, 2.0, FISH),
    "deep belly, 70 x 20 x 13 mm": shaped(70.0, 20.0, 13.0, 2.0, BELLY),
    "pointed at both ends, 80 x 16 x 14 mm": shaped(
        80.0, 16.0, 14.0, 2.0, even((0, 0), (0.4, 1), (0.55, 1), (1, 0))
    ),
    "flat nose, 70 x 18 x 16 mm": shaped(
        70.0, 18.0, 16.0, 2.0, even((0, 0.9), (0.2, 1), (0.5, 0.9), (1, 0.1))
    ),
    "thin, 80 x 24 x 6 mm": shaped(80.0, 24.0, 6.0, 2.0, FISH),
    "exponent 3, 72 x 18 x 14 mm": shaped(72.0, 18.0, 14.0, 3.0, FISH),
    "exponent 6, 72 x 18 x 14 mm": shaped(72.0, 18.0, 14.0, 6.0, FISH),
}


@case("Added mass of other bodies by panels", slow=True)
def other_bodies() -> Iterable[Row]:
    """
    The same for bodies that a maker might come to: short and long ones, a deep belly, pointed and
    flat ends, a thin blade, slab sides.
    """
    for name, body in VARIANTS.items():
        yield from body_rows(name, body, 0.01 if body.exponent == 2.0 else 0.03)


def by_hand(body: Body) -> np.ndarray:
    """The estimate that naval architects make by hand, about the same point, over the density.

    Strips of elliptic section as in two dimensions, scaled by what an ellipsoid of equal length,
    volume and section has over its own strips, forces and moments apart; surge from the ellipsoid.
    """
    bait = body.assembly()
    length = 0.1 * body.stations[-1][0]
    x = (np.arange(2000) + 0.5) / 2000.0 * length
    upper, lower, side = 0.1 * body.outline(10.0 * x)
    height = 0.5 * (upper + lower)
    dx, ratio = length / 2000.0, float(height.max() / side.max())
    c = math.sqrt(1.5 * math.pi * (height * side).sum() * dx / (math.pi * length) * ratio)
    b = c / ratio
    exact = lamb(0.5 * length, b, c)
    centre = 100.0 * bait.centre_of_gravity
    matrix = np.zeros((6, 6))
    matrix[0, 0] = exact[0]
    for i, turn, sign, semi, extent in ((1, 5, 1.0, c, height), (2, 4, -1.0, b, side)):
        strips = 2.0 / 3.0 * math.pi * length * semi**2
        force = exact[i] / strips
        moment = exact[turn] / (strips * length**2 / 20.0)
        mass = math.pi * extent**2 * dx
        arm = -x - centre[0]
        middle = float(mass @ arm) / float(mass.sum())
        matrix[i, i] = force * float(mass.sum())
        matrix[i, turn] = matrix[turn, i] = sign * matrix[i, i] * middle
        spread = moment * float(mass @ (arm - middle) ** 2)
        matrix[turn, turn] = spread + matrix[i, i] * middle**2
    roll = math.pi / 8.0 * float(((height**2 - side**2) ** 2).sum()) * dx
    matrix[3, 3] = roll * exact[3] / (math.pi / 15.0 * length * (c * c - b * b) ** 2)
    return matrix


@picture(
    "added-mass.png",
    "Added mass of the shipped bodies against the boundary-element library, term by term: above,"
    " strips of elliptic section with the ends of an ellipsoid, the usual estimate by hand; below,"
    " the program, on a scale twenty times finer. Couplings count against the root of the product"
    " of the two terms they couple.",
)
def errors_of_bodies() -> Figure:
    colours = ("#0072B2", "#E69F00", "#009E73", "#CC79A7", "#56B4E9")
    hatches = ("", "//", "..", "xx", "--")
    labels = (*TERMS, "sway-\nyaw", "heave-\npitch")
    figure = Figure(figsize=(7.5, 5.5), layout="constrained")
    hand, program = figure.subplots(2, 1, sharex=True)
    for k, name in enumerate(suite.BAITS):
        ours, theirs, _ = compared(shipped(name))
        for axes, matrix in ((hand, by_hand(shipped(name))), (program, ours)):
            apart = 100.0 * (matrix - theirs) / roots(theirs)
            values = [*np.diag(apart), apart[1, 5], apart[2, 4]]
            places = np.arange(len(labels)) + 0.16 * (k - 2)
            axes.bar(
                places, values, 0.15, color=colours[k], hatch=hatches[k], edgecolor="black",
                linewidth=0.4, label=name,
            )  # fmt: skip
    for axes, title, limit in (
        (hand, "strips and an ellipsoid, by hand", (-70.0, 20.0)),
        (program, "the program", (-3.5, 1.0)),
    ):
        axes.set_ylim(*limit)
        axes.axhline(0.0, color="black", linewidth=0.8)
        axes.grid(axis="y", linewidth=0.4)
        axes.set_ylabel("error [%]")
        axes.set_title(title, fontsize=10)
    program.set_xticks(range(len(labels)), labels)
    program.legend(fontsize=8, ncols=2, loc="lower left")
    return figure
