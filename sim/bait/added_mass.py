"""Added mass of ellipsoids, flat plates and slender bodies in unbounded ideal fluid."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from scipy.special import ellipe, elliprd

from sim.bait.frame import cross_matrix

# DNV-RP-C205 (2010) App. D, rectangular plate moving along its normal:
# m = rho C_A (pi/4) a^2 b with a <= b. Read in a secondary copy.
PLATE_RATIO = np.array(
    [1.0, 1.25, 1.5, 1.59, 2.0, 2.5, 3.0, 3.17, 4.0, 5.0, 6.25, 8.0, 10.0, 1000.0]
)
PLATE_CA = np.array(
    [0.579, 0.642, 0.690, 0.704, 0.757, 0.801, 0.830, 0.840, 0.872, 0.897, 0.917, 0.934, 0.947, 1.0]
)
# Two-dimensional rectangle 2a x 2b moving along b, on rho pi a^2, against a/b (DNV-RP-C205
# App. D, from memory, high confidence).
BOX_RATIO = np.array([0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 1000.0])
BOX_CA = np.array([2.23, 1.98, 1.70, 1.51, 1.36, 1.21, 1.14, 1.0])


class EllipsoidAddedMass(NamedTuple):
    """Added mass [kg] and added inertia [kg m^2] along and about the three axes, shape (3,)."""

    mass: np.ndarray
    inertia: np.ndarray


def green_integrals(semi_axes: np.ndarray) -> np.ndarray:
    """Lamb's three non-dimensional integrals alpha_0, beta_0, gamma_0; they add up to 2.

    Parameters
    ----------
    semi_axes : array, shape (3,)    semi-axes [m]

    Notes
    -----
    Lamb (1932), Hydrodynamics, Art. 114, as Carlson integrals: 2/3 a b c R_D(b^2, c^2, a^2).
    """
    a, b, c = (float(s) for s in semi_axes)
    product = 2.0 / 3.0 * a * b * c
    return np.array(
        [
            product * elliprd(b * b, c * c, a * a),
            product * elliprd(c * c, a * a, b * b),
            product * elliprd(a * a, b * b, c * c),
        ]
    )


def ellipsoid_added_mass(semi_axes: np.ndarray, rho: float) -> EllipsoidAddedMass:
    """Exact added mass of an ellipsoid about its centre.

    Parameters
    ----------
    semi_axes : array, shape (3,)    semi-axes along x, y, z [m]
    rho : float                      water density [kg/m^3]

    Notes
    -----
    Lamb (1932), Arts. 114 and 121a. The added inertia about an axis normal to two equal
    semi-axes is zero.
    """
    axes = np.asarray(semi_axes, dtype=float)
    kappa = green_integrals(axes)
    fluid = rho * 4.0 / 3.0 * math.pi * float(np.prod(axes))
    mass = fluid * kappa / (2.0 - kappa)
    inertia = np.zeros(3)
    for i in range(3):
        j, k = (i + 1) % 3, (i + 2) % 3
        b2, c2 = axes[j] ** 2, axes[k] ** 2
        bottom = 2.0 * (b2 - c2) + (b2 + c2) * (kappa[j] - kappa[k])
        if abs(b2 - c2) > 1e-12 * (b2 + c2):
            inertia[i] = fluid / 5.0 * (b2 - c2) ** 2 * (kappa[k] - kappa[j]) / bottom
    return EllipsoidAddedMass(mass, inertia)


def elliptic_disc_mass(length: float, width: float, rho: float) -> float:
    """Broadside added mass of a thin elliptic disc, axes ``length`` and ``width`` [m], in kg.

    (4/3) pi rho a b^2 / E(1 - b^2/a^2); 8/3 rho a^3 for a circle (Lamb 1932, Arts. 102, 114).
    """
    a, b = max(length, width) / 2.0, min(length, width) / 2.0
    return 4.0 / 3.0 * math.pi * rho * a * b * b / float(ellipe(1.0 - (b / a) ** 2))


def rectangle_mass(length: float, width: float, rho: float) -> float:
    """Broadside added mass of a thin rectangle [kg], from the table of DNV-RP-C205 App. D."""
    a, b = min(length, width), max(length, width)
    coefficient = float(np.interp(b / a, PLATE_RATIO, PLATE_CA))
    return rho * coefficient * math.pi / 4.0 * a * a * b


def plate_added_mass(length: float, width: float, area: float, rho: float) -> float:
    """Broadside added mass of a plate outline [kg].

    Parameters
    ----------
    length, width : float    overall length and greatest width [m]
    area : float             [m^2]

    Notes
    -----
    Between the rectangle (fullness 1) and the elliptic disc (pi/4) in proportion to the fullness
    area / (length width); below pi/4 the disc's value falls with the fullness (assumed).
    """
    fullness = area / (length * width)
    disc = elliptic_disc_mass(length, width, rho)
    if fullness <= math.pi / 4.0:
        return disc * fullness / (math.pi / 4.0)
    share = (fullness - math.pi / 4.0) / (1.0 - math.pi / 4.0)
    return disc + min(share, 1.0) * (rectangle_mass(length, width, rho) - disc)


def plate_gyration(length: float, width: float) -> tuple[float, float]:
    """Radii of gyration of a plate's added mass along its length and its width [m].

    From the exact thin elliptic disc of the same overall size (Lamb's integrals; a circle of
    diameter d has d / sqrt(30), Lamb 1932 Art. 108); for a strip moving edge-on-edge the two
    outlines agree (chord / sqrt(32)).
    """
    disc = ellipsoid_added_mass(np.array([length / 2.0, width / 2.0, 1e-4 * width]), 1.0)
    along = math.sqrt(disc.inertia[1] / disc.mass[2])
    across = math.sqrt(disc.inertia[0] / disc.mass[2])
    return along, across


def section_factor(ratio: float, fullness: float) -> float:
    """Added mass of a superelliptic section over that of the ellipse of the same axes.

    Parameters
    ----------
    ratio : float       half extent across the motion over half extent along it
    fullness : float    section area over its bounding rectangle, pi/4 to 1

    Notes
    -----
    Between the ellipse (1) and the rectangle (DNV-RP-C205 App. D) in proportion to the fullness;
    the in-between is an assumption.
    """
    box = float(np.exp(np.interp(math.log(ratio), np.log(BOX_RATIO), np.log(BOX_CA))))
    share = (fullness - math.pi / 4.0) / (1.0 - math.pi / 4.0)
    return 1.0 + min(1.0, max(0.0, share)) * (box - 1.0)


def point_added_mass(mass: float, direction: np.ndarray, position: np.ndarray) -> np.ndarray:
    """6 x 6 added mass of fluid that moves with one point along one direction only.

    m n n^T with n = (d, r x d): symmetric and never negative by construction.
    """
    n = np.concatenate([direction, np.cross(position, direction)])
    return mass * np.outer(n, n)


def shift_matrix(matrix: np.ndarray, offset: np.ndarray) -> np.ndarray:
    """Refer a 6 x 6 mass matrix to an origin displaced by ``offset`` (new origin minus old) [m].

    Fossen (2011), eq. 7.29: velocities at the old origin are v - offset x omega of the new.
    """
    h = np.eye(6)
    h[:3, 3:] = cross_matrix(np.asarray(offset))
    return h.T @ matrix @ h
