"""Small solvers of potential flow, to check added mass against something the program lacks.

They solve Laplace's equation outside the body by singularities on its surface: vortex rings for a
flat plate, sources (Hess & Smith 1967, Prog. Aero. Sci. 8, 1-138) for a closed body and for a
section. They are checked themselves on closed forms before anything is compared with them.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np


def _rings(length: float, width: float, n: int, m: int) -> tuple[float, float, float]:
    """Added mass and added inertias of a rectangle by n x m vortex rings, rho = 1."""
    xe, ye = np.linspace(-0.5, 0.5, n + 1) * length, np.linspace(-0.5, 0.5, m + 1) * width
    xc, yc = 0.5 * (xe[1:] + xe[:-1]), 0.5 * (ye[1:] + ye[:-1])

    def corner(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        gx, gy = x[:, None, :, None], y[None, :, None, :]
        return np.sqrt(gx**2 + gy**2) / (gx * gy)

    x0, x1 = xc[:, None] - xe[None, :-1], xc[:, None] - xe[None, 1:]
    y0, y1 = yc[:, None] - ye[None, :-1], yc[:, None] - ye[None, 1:]
    induced = corner(x1, y1) - corner(x0, y1) - corner(x1, y0) + corner(x0, y0)
    at_x, at_y = np.repeat(xc, m), np.tile(yc, n)
    cell = length * width / (n * m)
    asked = np.column_stack([np.ones(n * m), at_x, at_y])
    jump = np.linalg.solve(induced.reshape(n * m, n * m) / (4.0 * math.pi), asked)
    return tuple(abs(cell * float(asked[:, i] @ jump[:, i])) for i in range(3))  # type: ignore[return-value]


def rectangle(length: float, width: float) -> tuple[float, float, float]:
    """Broadside added mass over rho, and radii of gyration along length and width.

    The error of the lattice falls with the width of its rings: two lattices are extrapolated.
    """
    share = min(max((length / width) ** 0.4, 0.6), 1.7)
    n, m = round(16 * share), round(16 / share)
    coarse, fine = (np.array(_rings(length, width, i * n, i * m)) for i in (1, 2))
    mass, along, across = 2.0 * fine - coarse
    return float(mass), math.sqrt(along / mass), math.sqrt(across / mass)


Sections = Callable[[np.ndarray], tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]]


def _panels(sections: Sections, n: int, m: int) -> np.ndarray:
    """Corners of n x m panels on a body of two half ellipses a section, shape (n m, 4, 3)."""
    share = 0.5 * (1.0 - np.cos(np.linspace(0.0, math.pi, n + 1)))
    turn = np.linspace(0.0, 2.0 * math.pi, m + 1)
    x, half_width, upper, lower = (v[:, None] for v in sections(share))
    z = np.where(np.sin(turn) > 0.0, lower, upper) * np.sin(turn)
    p = np.stack([np.repeat(x, m + 1, 1), half_width * np.cos(turn), z], axis=-1)
    return np.stack([p[:-1, :-1], p[1:, :-1], p[1:, 1:], p[:-1, 1:]], 2).reshape(-1, 4, 3)


def _sources(panels: np.ndarray) -> np.ndarray:
    """Added mass, shape (6, 6), about the origin by constant sources on panels, rho = 1."""
    normal = 0.5 * np.cross(panels[:, 2] - panels[:, 0], panels[:, 3] - panels[:, 1])
    area = np.linalg.norm(normal, axis=1)
    normal = normal / area[:, None]
    places, weights = np.polynomial.legendre.leggauss(3)
    points, parts = [], []
    for gu, wu in zip(places, weights, strict=True):
        for gv, wv in zip(places, weights, strict=True):
            u, v = 0.5 * (1.0 + gu), 0.5 * (1.0 + gv)
            a, b, c, d = (panels[:, i] for i in range(4))
            points.append((1 - u) * ((1 - v) * a + v * d) + u * ((1 - v) * b + v * c))
            tangent = np.cross((b - a) * (1 - v) + (c - d) * v, (d - a) * (1 - u) + (c - b) * u)
            parts.append(np.linalg.norm(tangent, axis=1) * wu * wv / 4.0)
    centre = sum(p * w[:, None] for p, w in zip(points, parts, strict=True)) / area[:, None]
    count = len(panels)
    flux, potential = np.zeros((count, count)), np.zeros((count, count))
    for p, w in zip(points, parts, strict=True):
        d = centre[:, None] - p[None]
        r2 = (d * d).sum(-1)
        np.fill_diagonal(r2, 1.0)
        near = w / np.sqrt(r2)
        potential += near
        flux += near / r2 * np.einsum("ijk,ik->ij", d, normal)
    # on the panel itself: what is missing to the whole flux out of it, which is exact
    np.fill_diagonal(flux, 0.0)
    np.fill_diagonal(flux, 4.0 * math.pi - (area[:, None] * flux).sum(0) / area)
    long = 0.5 * (
        np.linalg.norm(panels[:, 1] - panels[:, 0], axis=1)
        + np.linalg.norm(panels[:, 2] - panels[:, 3], axis=1)
    )
    wide = area / long
    np.fill_diagonal(
        potential, 2.0 * (long * np.arcsinh(wide / long) + wide * np.arcsinh(long / wide))
    )
    motions = np.hstack([normal, np.cross(centre, normal)])
    strength = np.linalg.solve(flux, motions)
    return (potential @ strength * area[:, None]).T @ motions


def slender_body(sections: Sections) -> np.ndarray:
    """Added mass over rho, shape (6, 6), about the origin of a body of two half ellipses a section.

    Parameters
    ----------
    sections : callable
        From places 0 to 1 along the body to x, half width, upper and lower height; both ends
        closed to (nearly) a point.

    Notes
    -----
    The error falls with the square of the panel size: two meshes are extrapolated.
    """
    coarse, fine = (_sources(_panels(sections, n, m)) for n, m in ((24, 16), (36, 24)))
    return (9.0 * fine - 4.0 * coarse) / 5.0


def section(half_width: float, half_height: float, exponent: float) -> tuple[float, float, float]:
    """Added mass in sway and heave and added inertia in roll over rho, a length.

    The section is |y/a|^n + |z/b|^n = 1; 600 source panels of equal length.
    """
    turn = np.linspace(0.0, 2.0 * math.pi, 20001)
    c, s = (np.where(np.abs(v) < 1e-12, 0.0, v) for v in (np.cos(turn), np.sin(turn)))
    y = half_width * np.sign(c) * np.abs(c) ** (2.0 / exponent)
    z = half_height * np.sign(s) * np.abs(s) ** (2.0 / exponent)
    run = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(y), np.diff(z)))])
    places = np.linspace(0.0, run[-1], 601)
    y, z = np.interp(places, run, y), np.interp(places, run, z)
    ym, zm = 0.5 * (y[1:] + y[:-1]), 0.5 * (z[1:] + z[:-1])
    length = np.hypot(np.diff(y), np.diff(z))
    ny, nz = np.diff(z) / length, -np.diff(y) / length
    dy, dz = ym[:, None] - ym, zm[:, None] - zm
    r2 = dy * dy + dz * dz
    np.fill_diagonal(r2, 1.0)
    flux = (dy * ny[:, None] + dz * nz[:, None]) / r2 * length / (2.0 * math.pi)
    np.fill_diagonal(flux, 0.5)
    potential = 0.5 * np.log(r2) * length / (2.0 * math.pi)
    np.fill_diagonal(potential, length * (np.log(0.5 * length) - 1.0) / (2.0 * math.pi))
    motions = np.column_stack([ny, nz, ym * nz - zm * ny])
    flow = potential @ np.linalg.solve(flux, motions)
    return tuple(-float((flow[:, i] * length) @ motions[:, i]) for i in range(3))  # type: ignore[return-value]
