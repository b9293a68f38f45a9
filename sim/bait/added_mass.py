"""Added mass of ellipsoids and flat plates in ideal fluid without end; see also panels.py."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from scipy.special import ellipe, elliprd

from sim.bait.cached import read_only
from sim.bait.frame import cross, cross_matrix

# DNV-RP-C205 (2010) App. D, rectangular plate moving along its normal:
# m = rho C_A (pi/4) a^2 b with a <= b. Read in a secondary copy.
PLATE_RATIO = np.array([1.0, 1.25, 1.5, 1.59, 2.0, 2.5, 3.0, 3.17, 4.0, 5.0, 6.25, 8.0, 10.0])
PLATE_CA = np.array(
    [0.579, 0.642, 0.690, 0.704, 0.757, 0.801, 0.830, 0.840, 0.872, 0.897, 0.917, 0.934, 0.947]
)
# Squared radii of gyration of a rectangle's added mass over the side squared, against the sides'
# ratio, along the longer and the shorter side. Computed by a vortex lattice (the one of
# tests/reference/potential_flow.py); the ends of the last column are exact, 1/12 and 1/32.
GYRATION_RATIO = np.array([1.0, 1.25, 1.5, 2.0, 3.0, 5.0, 10.0, 20.0, 1000.0])
GYRATION_LONG = np.array(
    [0.0442, 0.0472, 0.0499, 0.0546, 0.0611, 0.0684, 0.0753, 0.0795, 1.0 / 12.0]
)
GYRATION_SHORT = np.array(
    [0.0442, 0.0417, 0.0399, 0.0377, 0.0355, 0.0339, 0.0327, 0.0321, 1.0 / 32.0]
)
LOG_GYRATION_RATIO = np.log(GYRATION_RATIO)
EYE = read_only(np.eye(6))


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
    kappa = green_integrals(semi_axes)
    axes, share = [float(s) for s in semi_axes], kappa.tolist()
    fluid = rho * 4.0 / 3.0 * math.pi * math.prod(axes)
    mass = fluid * kappa / (2.0 - kappa)
    inertia = np.zeros(3)
    for i in range(3):
        j, k = (i + 1) % 3, (i + 2) % 3
        b2, c2 = axes[j] ** 2, axes[k] ** 2
        bottom = 2.0 * (b2 - c2) + (b2 + c2) * (share[j] - share[k])
        if abs(b2 - c2) > 1e-12 * (b2 + c2):
            inertia[i] = fluid / 5.0 * (b2 - c2) ** 2 * (share[k] - share[j]) / bottom
    return EllipsoidAddedMass(mass, inertia)


def elliptic_disc_mass(length: float, width: float, rho: float) -> float:
    """Broadside added mass of a thin elliptic disc, axes ``length`` and ``width`` [m], in kg.

    (4/3) pi rho a b^2 / E(1 - b^2/a^2); 8/3 rho a^3 for a circle (Lamb 1932, Arts. 102, 114).
    """
    a, b = max(length, width) / 2.0, min(length, width) / 2.0
    return 4.0 / 3.0 * math.pi * rho * a * b * b / float(ellipe(1.0 - (b / a) ** 2))


def rectangle_mass(length: float, width: float, rho: float) -> float:
    """Broadside added mass of a thin rectangle [kg], from the table of DNV-RP-C205 App. D.

    Past its last row (ratio 10) the gap to the infinitely long strip closes with the ratio.
    """
    a, b = min(length, width), max(length, width)
    ratio = b / a
    coefficient = float(np.interp(ratio, PLATE_RATIO, PLATE_CA))
    if ratio > PLATE_RATIO[-1]:
        coefficient = 1.0 - (1.0 - float(PLATE_CA[-1])) * float(PLATE_RATIO[-1]) / ratio
    return rho * coefficient * math.pi / 4.0 * a * a * b


def _rectangle_share(length: float, width: float, area: float) -> float:
    """How far an outline is from the ellipse (0) to the rectangle (1), by its fullness."""
    fullness = area / (length * width)
    return min(1.0, max(0.0, (fullness - math.pi / 4.0) / (1.0 - math.pi / 4.0)))


def plate_added_mass(length: float, width: float, area: float, rho: float) -> float:
    """Broadside added mass of a plate outline [kg].

    Parameters
    ----------
    length, width : float    overall length and greatest width [m]
    area : float             [m^2]

    Notes
    -----
    Between the elliptic disc (fullness pi/4 of length times width) and the rectangle (1) in
    proportion to the fullness; below pi/4 the disc's value falls with the fullness (assumed).
    """
    disc = elliptic_disc_mass(length, width, rho)
    share = _rectangle_share(length, width, area)
    thin = min(1.0, area / (length * width) / (math.pi / 4.0))
    return thin * disc + share * (rectangle_mass(length, width, rho) - disc)


def plate_gyration(length: float, width: float, area: float) -> tuple[float, float]:
    """Radii of gyration of a plate's added mass along its length and its width [m].

    Between the exact thin elliptic disc (Lamb's integrals; a circle of diameter d has
    d / sqrt(30), Lamb 1932 Art. 108) and the rectangle (table above), squared, by the fullness.
    """
    disc = ellipsoid_added_mass(np.array([length / 2.0, width / 2.0, 1e-4 * width]), 1.0)
    round_off = (disc.inertia[1] / disc.mass[2], disc.inertia[0] / disc.mass[2])
    ratio = max(length, width) / min(length, width)
    long = float(np.interp(math.log(ratio), LOG_GYRATION_RATIO, GYRATION_LONG))
    short = float(np.interp(math.log(ratio), LOG_GYRATION_RATIO, GYRATION_SHORT))
    along, across = (long, short) if length >= width else (short, long)
    share = _rectangle_share(length, width, area)
    return (
        math.sqrt(round_off[0] + share * (along * length**2 - round_off[0])),
        math.sqrt(round_off[1] + share * (across * width**2 - round_off[1])),
    )


def point_added_mass(mass: float, direction: np.ndarray, position: np.ndarray) -> np.ndarray:
    """6 x 6 added mass of fluid that moves with one point along one direction only.

    m n n^T with n = (d, r x d): symmetric and never negative by construction. Positions of shape
    (..., 3) give as many matrices.
    """
    n = np.empty((*position.shape[:-1], 6))
    n[..., :3], n[..., 3:] = direction, cross(position, direction)
    return mass * (n[..., :, None] * n[..., None, :])


def shift_matrix(matrix: np.ndarray, offset: np.ndarray) -> np.ndarray:
    """Refer a 6 x 6 mass matrix to an origin displaced by ``offset`` (new origin minus old) [m].

    Fossen (2011), eq. 7.29: the velocity at the old origin is v + offset x omega of the new one.
    """
    h = EYE.copy()
    h[:3, 3:] = cross_matrix(np.asarray(offset))
    return h.T @ matrix @ h
