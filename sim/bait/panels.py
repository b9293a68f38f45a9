"""Added mass of a body of superelliptic sections: potential flow about its surface, by panels.

The surface is cut into quadrilaterals, ring by ring. On each the potential of the water at the
surface is constant, and the condition is that no flow is left inside the body (Morino & Kuo 1974,
AIAA J. 12, 191-197, as for a wing without wake; from memory, high confidence): doublets and sources
on flat panels. The solid angles are exact and add up to 4 pi, so that a thin body does no harm. The
error falls with the square of the panel size: two meshes, of which one has every second line of
the other, are extrapolated (Richardson). Flows alike on both sides of y = 0 and flows opposite
there are solved apart, with the panels of one side.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np

ALONG = 10  # rings of the coarse mesh along the body
AROUND = 6  # panels of the coarse mesh around half a ring
TURNING = 0.3  # pull of a section's corners on the lines of the mesh, against its arc
MIRROR = np.array([1.0, -1.0, 1.0])
FIGURES = 10  # that are kept
EVEN, ODD = [0, 2, 4], [1, 3, 5]  # motions whose flow is alike, or opposite, on both sides


class Rings(NamedTuple):
    """Upper height, lower height and half width of sections [m], each of shape (n,)."""

    upper: np.ndarray
    lower: np.ndarray
    half_width: np.ndarray


def _quadrant(side: float, up: float, exponent: float, count: int) -> np.ndarray:
    """Points on a quarter of a superellipse from the top to the side, over its half axes.

    Even in the arc and a share of the turning of the normal, both over the whole: panels where the
    water turns, without leaving the flanks bare. Shape (count + 1, 2).
    """
    half = np.linspace(0.0, 0.5 ** (1.0 / exponent), 400)
    flank = (1.0 - half**exponent) ** (1.0 / exponent)
    y, z = np.concatenate([half, flank[-2::-1]]), np.concatenate([flank, half[-2::-1]])
    arc = np.hypot(side * np.diff(y), up * np.diff(z))
    turned = np.arctan2(up * y ** (exponent - 1.0), side * z ** (exponent - 1.0))
    run = np.concatenate([[0.0], np.cumsum(arc)]) / arc.sum() + TURNING * turned / (0.5 * math.pi)
    places = np.linspace(0.0, run[-1], count + 1)
    points = np.column_stack([np.interp(places, run, y), np.interp(places, run, z)])
    points[[0, -1]] = [0.0, 1.0], [1.0, 0.0]
    return points


def half_surface(
    shape: Callable[[np.ndarray], Rings], length: float, exponent: float
) -> np.ndarray:
    """Corners of the panels on the starboard half, flat ends included, in the bait axes.

    Parameters
    ----------
    shape : callable     from distances behind the nose tip [m] to the sections there
    length : float       [m]
    exponent : float     of the superelliptic sections

    Returns
    -------
    ndarray, shape (2 n + 1, 2 m + 1, 3)    from nose to tail, and from back to belly [m]
    """
    turn = np.linspace(0.0, math.pi, 2 * ALONG + 1)
    aft = 0.5 * length * (1.0 - np.cos(turn))
    rings = shape(aft)
    side, up, low = (float(v.max()) for v in (rings.half_width, rings.upper, rings.lower))
    # each half of the section gets panels by its arc
    share = (side + up) / (2.0 * side + up + low)
    above = min(AROUND - 2, max(2, round(AROUND * share)))
    top = _quadrant(side, up, exponent, 2 * above)
    bottom = _quadrant(side, low, exponent, 2 * (AROUND - above))[-2::-1]
    across = np.concatenate([top[:, 0], bottom[:, 0]])
    y = np.outer(rings.half_width, across)
    z = np.hstack([-np.outer(rings.upper, top[:, 1]), np.outer(rings.lower, bottom[:, 1])])
    x = np.repeat(-aft[:, None], across.size, 1)
    grid = np.stack([x, y, z], axis=-1)
    nose, tail = (_flat_end(grid[i], length) for i in (0, -1))
    return np.concatenate([nose, grid, tail[::-1]])


def _flat_end(rim: np.ndarray, length: float) -> np.ndarray:
    """Rings from the middle of a flat end out to its rim (left out), shape (k, m, 3)."""
    size = 0.5 * float(np.ptp(rim[:, 2])), float(rim[:, 1].max())
    if min(size) < 1e-6 * length:
        return np.empty((0, *rim.shape))
    count = max(1, round(6.0 * math.sqrt(max(size) / length)))
    share = np.sin(np.linspace(0.0, 0.5 * math.pi, 2 * count + 1))[:-1, None, None]
    middle = np.array([rim[0, 0], 0.0, 0.5 * (rim[0, 2] + rim[-1, 2])])
    return middle + share * (rim - middle)


def _influence(
    grid: np.ndarray, normal: np.ndarray, points: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Solid angles of the panels of a grid seen from points, and potentials of unit sources.

    Both of shape (points, panels); the angles are positive from behind, where the normal points
    away. Angles of two triangles a panel: van Oosterom & Strackee (1983), IEEE Trans. Biomed. Eng.
    30, 125-126. Sources: Hess & Smith (1967), Prog. Aero. Sci. 8, 1-138, edge by edge. Both from
    memory, high confidence; checked against Lamb's ellipsoids.
    """
    r = [grid[None, ..., k] - points[:, k, None, None] for k in range(3)]
    far = np.sqrt(_dot(r, r))
    corners = np.s_[:, :-1, :-1], np.s_[:, 1:, :-1], np.s_[:, 1:, 1:], np.s_[:, :-1, 1:]
    a, b, c, d = ([v[at] for v in r] for at in corners)
    la, lb, lc, ld = (far[at] for at in corners)

    ac = _dot(a, c)
    cross = [a[1] * c[2] - a[2] * c[1], a[2] * c[0] - a[0] * c[2], a[0] * c[1] - a[1] * c[0]]
    high_1, high_2 = -_dot(cross, b), _dot(cross, d)
    low_1 = (la * lb + _dot(a, b)) * lc + ac * lb + _dot(b, c) * la
    low_2 = (la * ld + _dot(a, d)) * lc + ac * ld + _dot(d, c) * la
    angle = 2.0 * np.arctan2(high_1 * low_2 + high_2 * low_1, low_1 * low_2 - high_1 * high_2)

    logs, tangents = [], []
    for axis, one, other in ((0, far[:, :-1], far[:, 1:]), (1, far[:, :, :-1], far[:, :, 1:])):
        step = np.diff(grid, axis=axis)
        size = np.linalg.norm(step, axis=-1)
        logs.append(np.log((one + other + size) / (one + other - size)))
        tangents.append(step / np.where(size > 0.0, size, 1.0)[..., None])
    (log_u, log_v), (u, v) = logs, tangents
    source = -np.abs(
        _dot([0.25 * sum(p) for p in zip(a, b, c, d, strict=True)], _columns(normal)) * angle
    )
    for corner, log, outward in (
        (a, log_u[:, :, :-1], np.cross(u[:, :-1], normal)),
        (b, log_v[:, 1:], np.cross(v[1:], normal)),
        (d, log_u[:, :, 1:], np.cross(normal, u[:, 1:])),
        (a, log_v[:, :-1], np.cross(normal, v[:-1])),
    ):
        source += _dot(corner, _columns(outward)) * log
    return angle, source


def _dot(p: Sequence[np.ndarray], q: Sequence[np.ndarray]) -> np.ndarray:
    return p[0] * q[0] + p[1] * q[1] + p[2] * q[2]


def _columns(v: np.ndarray) -> list[np.ndarray]:
    return [v[..., k] for k in range(3)]


def _one_mesh(grid: np.ndarray) -> np.ndarray:
    """Added mass over the water's density, shape (6, 6), about the origin."""
    a, b, c, d = grid[:-1, :-1], grid[1:, :-1], grid[1:, 1:], grid[:-1, 1:]
    middle = 0.25 * (a + b + c + d)
    flow = 0.5 * np.cross(c - a, d - b)  # through the panel at unit speed: its area, as a vector
    area = np.linalg.norm(flow, axis=-1)
    normal = flow / area[..., None]
    points = middle.reshape(-1, 3)
    n = len(points)
    motions = np.hstack([flow.reshape(n, 3), _moment(a, b, c, d).reshape(n, 3)])

    angle, source = _influence(grid, normal, points)
    other = _influence((grid * MIRROR)[:, ::-1], (normal * MIRROR)[:, ::-1], points)
    angle, source = angle.reshape(n, n), source.reshape(n, n)
    angle_2, source_2 = (v[:, :, ::-1].reshape(n, n) for v in other)
    # what the others leave of the whole sphere is the panel itself, seen from just inside
    np.fill_diagonal(angle, 0.0)
    np.fill_diagonal(angle, 4.0 * math.pi - angle.sum(1) - angle_2.sum(1))
    matrix = np.zeros((6, 6))
    speed = motions / area.reshape(n, 1)
    for motion, sign in ((EVEN, 1.0), (ODD, -1.0)):
        raised = (source + sign * source_2) @ speed[:, motion]
        potential = np.linalg.solve(angle + sign * angle_2, raised)
        matrix[np.ix_(motion, motion)] = 2.0 * motions[:, motion].T @ potential
    return 0.5 * (matrix + matrix.T)


def _moment(a: np.ndarray, b: np.ndarray, c: np.ndarray, d: np.ndarray) -> np.ndarray:
    """Integral of r x n over the panels, each as four triangles about its middle."""
    middle = 0.25 * (a + b + c + d)
    total = np.zeros_like(middle)
    for p, q in ((a, b), (b, c), (c, d), (d, a)):
        total += np.cross(p + q + middle, np.cross(p - middle, q - middle)) / 6.0
    return total


def panel_added_mass(
    shape: Callable[[np.ndarray], Rings], length: float, exponent: float
) -> np.ndarray:
    """Added mass over the water's density of a body in water without end.

    Parameters
    ----------
    as for :func:`half_surface`

    Returns
    -------
    ndarray, shape (6, 6)    about the nose tip, in the bait axes [m^3, m^4, m^5]

    Notes
    -----
    Never negative: what the extrapolation leaves below zero (nothing in a bait, a trace in a body
    of revolution turning about its axis) is cut off. Sideways and lengthways motions stay exactly
    apart, and the last figures, which the linear algebra of one machine may have other than that of
    the next, are rounded away.
    """
    fine = half_surface(shape, length, exponent)
    matrix = (4.0 * _one_mesh(fine) - _one_mesh(fine[::2, ::2])) / 3.0
    size = np.array([1.0] * 3 + [length] * 3)
    scale = length**3 * np.outer(size, size)
    found = np.zeros((6, 6))
    for motion in (EVEN, ODD):
        block = np.ix_(motion, motion)
        values, vectors = np.linalg.eigh(matrix[block] / scale[block])
        found[block] = (vectors * np.maximum(values, 0.0)) @ vectors.T
    found = 0.5 * (found + found.T) * scale
    # in parts of the roots of the diagonal, these to as many figures
    root = np.array([float(f"{math.sqrt(v):.{FIGURES}g}") for v in np.diag(found)])
    unit = np.outer(root, root)
    return np.round(np.divide(found, unit, out=np.zeros((6, 6)), where=unit > 0.0), FIGURES) * unit
