"""The rigged bait: its parts put together to mass, inertia, hydrostatics and added mass."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from sim.bait.added_mass import shift_matrix
from sim.bait.cached import read_only
from sim.bait.frame import GRAM, GRAM_PER_CM3, MM, from_nose, squared_lengths, total
from sim.bait.plates import PlateProperties, plate_properties
from sim.bait.sections import BodyProperties, body_properties
from sim.config.models import Config
from sim.errors import ConfigError
from sim.water import WaterProperties, water_properties

EYE = read_only(np.eye(3))


@dataclass(frozen=True)
class Part:
    """One contribution to mass and displacement; vectors in the bait axes from the nose tip, SI.

    ``position`` is its centre of mass. ``volume`` is the water it displaces, none for what sits
    inside the body, and ``displaced_at`` the centre of that where it is another point (a shell).
    """

    name: str
    kind: str
    mass: float
    position: np.ndarray
    volume: float
    inertia: np.ndarray
    displaced_at: np.ndarray | None = None

    @property
    def buoyant_at(self) -> np.ndarray:
        """Centre of the displaced volume, shape (3,)."""
        return self.position if self.displaced_at is None else self.displaced_at


@dataclass(frozen=True)
class Assembly:
    """Mass properties of a rigged bait.

    Vectors are in the bait axes (x forward, y starboard, z toward the belly). Those named
    ``r_b_*`` start at the centre of gravity, the others at the nose tip on the centreline.

    Attributes
    ----------
    parts : tuple of Part
    mass : float                                  [kg]
    inertia : ndarray, shape (3, 3)               about the centre of gravity [kg m^2]
    volume : float                                displaced when submerged [m^3]
    centre_of_gravity, centre_of_buoyancy : ndarray, shape (3,)    from the nose tip [m]
    r_b_cb, r_b_tie : ndarray, shape (3,)         from the centre of gravity [m]; tie may be None
    added_mass : ndarray, shape (6, 6)            about the centre of gravity, blocks in
                                                  kg, kg m, kg m^2
    rigid_mass : ndarray, shape (6, 6)            the same for the bait itself
    body_density : float or None                  of the body's material, implied by the weighed
                                                  total where that is given [kg/m^3]
    body : BodyProperties or None
    bill : PlateProperties or None
    plates : tuple of PlateProperties             the bill first where there is one
    water : WaterProperties
    """

    parts: tuple[Part, ...]
    mass: float
    inertia: np.ndarray
    volume: float
    centre_of_gravity: np.ndarray
    centre_of_buoyancy: np.ndarray
    r_b_cb: np.ndarray
    r_b_tie: np.ndarray | None
    added_mass: np.ndarray
    rigid_mass: np.ndarray
    body_density: float | None
    body: BodyProperties | None
    bill: PlateProperties | None
    plates: tuple[PlateProperties, ...]
    water: WaterProperties

    @property
    def reserve_buoyancy(self) -> float:
        """Mass that the submerged bait could still carry [kg]; negative for one that sinks."""
        return self.water.density * self.volume - self.mass


def _point_part(
    name: str, kind: str, mass: float, at: np.ndarray, volume: float, displaces: bool = True
) -> Part:
    """A small compact part; its own inertia is that of a sphere of its volume."""
    radius2 = (0.75 * volume / math.pi) ** (2.0 / 3.0)
    inertia = 0.4 * mass * radius2 * EYE
    return Part(name, kind, mass, at, volume if displaces else 0.0, inertia)


def assemble(config: Config) -> Assembly:
    """Put the configured bait together.

    Raises
    ------
    ConfigError
        When the parts contradict each other: a weighed total below the sum of the hardware, or
        ballast larger than the body that should hold it, or no mass at all.
    """
    bait = config.bait
    solver = config.solver
    water = water_properties(config.water)
    rho = water.density

    plates: list[PlateProperties] = []
    bill = None
    grid = (solver.plate_elements_along, solver.plate_elements_across)
    if bait.bill is not None:
        bill = plate_properties(bait.bill, "bill", 0.0, *grid, rho)
        plates.append(bill)
    plates += [plate_properties(p, p.name, p.cant_deg, *grid, rho) for p in bait.plate]

    parts = [
        Part(p.name, "bill" if p is bill else "plate", p.mass, p.centroid, p.volume, p.inertia)
        for p in plates
    ]
    body = None
    density = None
    holes: list[tuple[str, np.ndarray, float]] = []
    for b in bait.ballast:
        at = from_nose(b.from_nose_mm, b.above_centreline_mm, b.right_mm)
        mass = b.mass_g * GRAM
        volume = mass / (b.density_g_cm3 * GRAM_PER_CM3)
        if b.inside:
            holes.append((b.name, at, volume))
        parts.append(_point_part(b.name, "ballast", mass, at, volume, not b.inside))
    for h in bait.hook:
        at = from_nose(h.from_nose_mm, h.above_centreline_mm - h.hang_mm, h.right_mm)
        mass = h.mass_g * GRAM
        parts.append(_point_part(h.name, "hook", mass, at, mass / (h.density_g_cm3 * GRAM_PER_CM3)))

    if bait.body is not None:
        body = body_properties(bait.body, solver.body_strips, rho)
        drilled = sum(volume for _, _, volume in holes)
        room = body.filling_volume if bait.body.wall_mm is not None else body.solid_volume
        if drilled >= room:
            raise ConfigError(
                [
                    f"{_where(config)}: bait.ballast: the pieces inside the body take "
                    f"{drilled * 1e9:.0f} mm3, the body has room for {room * 1e9:.0f} mm3. "
                    "Use fewer or denser pieces, or set inside = false."
                ]
            )
        density = _body_density(config, body, parts, drilled)
        parts = [*_body_parts(config, body, density, holes), *parts]

    mass = sum(p.mass for p in parts)
    if not mass > 0.0:
        raise ConfigError(
            [f"{_where(config)}: bait: no part has any mass. Give a density or a mass."]
        )
    masses = np.array([p.mass for p in parts])
    places = np.array([p.position for p in parts])
    centre = total(masses[:, None] * places) / mass
    r = places - centre
    turned = squared_lengths(r)[:, None, None] * EYE - r[:, :, None] * r[:, None, :]
    own = np.array([p.inertia for p in parts])
    inertia = total(own + masses[:, None, None] * turned)
    if not _positive(inertia):
        principal = np.linalg.eigvalsh(inertia)
        raise ConfigError(
            [
                f"{_where(config)}: bait: the moment of inertia about one axis is "
                f"{principal[0]:.3g} kg m2: must be > 0. A single point mass cannot turn: add a "
                "body or a plate, or give the piece a lower density so that it has some size."
            ]
        )
    volume = sum(p.volume for p in parts)
    buoyancy = centre
    if volume > 0.0:
        volumes = np.array([p.volume for p in parts])
        buoyancy = total(volumes[:, None] * np.array([p.buoyant_at for p in parts])) / volume
    added = np.zeros((6, 6))
    if body is not None:
        added += body.added_mass
    for plate in plates:
        added += plate.added_mass
    rigid = np.zeros((6, 6))
    rigid[:3, :3] = mass * EYE
    rigid[3:, 3:] = inertia
    tie = bait.tie
    return Assembly(
        parts=tuple(parts),
        mass=float(mass),
        inertia=inertia,
        volume=float(volume),
        centre_of_gravity=centre,
        centre_of_buoyancy=buoyancy,
        r_b_cb=buoyancy - centre,
        r_b_tie=None
        if tie is None
        else from_nose(tie.from_nose_mm, tie.above_centreline_mm, tie.right_mm) - centre,
        added_mass=shift_matrix(added, centre),
        rigid_mass=rigid,
        body_density=density,
        body=body,
        bill=bill,
        plates=tuple(plates),
        water=water,
    )


def _where(config: Config) -> str:
    return config.source_path or "config"


def _positive(a: np.ndarray) -> bool:
    """True when a symmetric matrix (3, 3) is positive definite (its leading minors are)."""
    (xx, xy, xz), (_, yy, yz), (_, _, zz) = a.tolist()
    two = xx * yy - xy * xy
    three = zz * two - xx * yz * yz + 2.0 * xy * xz * yz - yy * xz * xz
    return xx > 0.0 and two > 0.0 and three > 0.0


def _body_density(config: Config, body: BodyProperties, parts: list[Part], drilled: float) -> float:
    """Density of the body's material, from the weighed total where there is one [kg/m^3]."""
    settings = config.bait.body
    assert settings is not None
    total = config.bait.total_mass_g
    if total is None:
        assert settings.density_g_cm3 is not None
        return settings.density_g_cm3 * GRAM_PER_CM3
    hardware = sum(p.mass for p in parts)
    solid = body.solid_volume
    if settings.wall_mm is None:
        solid -= drilled
    else:
        hardware += settings.filling_density_g_cm3 * GRAM_PER_CM3 * (body.filling_volume - drilled)
    density = (total * GRAM - hardware) / solid
    if density <= 0.0:
        raise ConfigError(
            [
                f"{_where(config)}: bait.total_mass_g = {total:g}: must be >"
                f" {hardware / GRAM:.3f} g, the mass of bill, ballast and hooks alone. Weigh the"
                " rigged bait again or correct the hardware."
            ]
        )
    return density


def _body_parts(
    config: Config,
    body: BodyProperties,
    density: float,
    holes: list[tuple[str, np.ndarray, float]],
) -> list[Part]:
    """The body's material, its filling, and the material that the ballast holes take away."""
    settings = config.bait.body
    assert settings is not None
    aside = np.array([0.0, settings.lopsided_mm * MM, 0.0])
    parts = [
        Part(
            "body",
            "body",
            density * body.solid_volume,
            body.solid_centroid + aside,
            body.volume,
            density * body.solid_inertia,
            body.centroid,
        )
    ]
    removed = density
    if settings.wall_mm is not None:
        removed = settings.filling_density_g_cm3 * GRAM_PER_CM3
        if removed > 0.0:
            parts.append(
                Part(
                    "filling",
                    "body",
                    removed * body.filling_volume,
                    body.filling_centroid,
                    0.0,
                    removed * body.filling_inertia,
                )
            )
    for name, at, volume in holes:
        if removed > 0.0:
            parts.append(
                _point_part(f"hole for {name}", "body", -removed * volume, at, volume, False)
            )
    return parts
