"""Linear side force and lift of a body in drift: how large, where, and how far spread."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from sim.bait.cached import KEPT, Keyed
from sim.bait.frame import MM
from sim.bait.sections import BodyProperties, Outline, outline_at
from sim.config.models import Body

FINE = 2000
EXCESS = 0.40  # Clarke, Gedling & Hine (1983), from memory: 1 + 0.40 C_B B/T
NEAR_GREATEST = 1e-6  # a section within this share of the greatest counts as it


@dataclass(frozen=True)
class SideForce:
    """One plane's force, -k rho pi a^2 |u| v with a the greatest half extent across the drift.

    Attributes
    ----------
    factor : float       k
    tail_share : float   share of it that the tail loses; the rest is spread along the body
    aft_of_mid : float   where it acts behind mid-length, share of the length
    spread : float       root mean square distance from there over which it acts, share of the
                         length
    """

    factor: float
    tail_share: float
    aft_of_mid: float
    spread: float


def side_force(properties: BodyProperties, heave: bool) -> SideForce:
    """Side force (lift with ``heave``) of a body, from its outline.

    Parameters
    ----------
    properties : BodyProperties
    heave : bool                   drift up and down in place of sideways

    Notes
    -----
    In ideal flow the widening nose and the narrowing tail of a slender body carry equal and
    opposite side loads, -+rho u v dA/dx with A = pi a^2: a couple (Munk's, which the momentum
    equations bring in) and no force. At the Reynolds numbers of a bait (1e4 to 1e5, laminar) the
    flow leaves the body behind its thickest section, so the tail's share is lost. What is lost,
    rho pi a_max^2 u v, is the lift of a slender wing of that span (Jones 1946), and it acts where
    the section falls off. Hulls have more than that, 1 + 0.40 C_B B/T in place of 1 (Clarke,
    Gedling & Hine 1983), T the half extent and B the extent across it; the excess is taken as
    spread over the body as a^2 is (assumed). Bodies of revolution at a hundred times the Reynolds
    number, where the flow follows the tail, have a fifth of the force and half of its moment.
    """
    p = properties
    return _side_force_and_lift(p.key, p.length, p.volume, p.half_width, p.half_height)[heave]


@lru_cache(maxsize=KEPT)
def _side_force_and_lift(
    key: Keyed[Body], length: float, volume: float, half_width: float, half_height: float
) -> tuple[SideForce, SideForce]:
    """Both planes from one outline, kept for bodies seen before."""
    aft = np.linspace(0.0, 1.0, FINE + 1)
    outline = outline_at(key.table, aft * key.table.length_mm * MM)
    extents = length, volume, half_width, half_height
    return _one_plane(aft, outline, *extents, False), _one_plane(aft, outline, *extents, True)


def _one_plane(
    aft: np.ndarray,
    outline: Outline,
    length: float,
    volume: float,
    half_width: float,
    half_height: float,
    heave: bool,
) -> SideForce:
    half = outline.half_width if heave else 0.5 * (outline.upper + outline.lower)
    square = (half / half.max()) ** 2
    thickest = int(np.flatnonzero(square >= 1.0 - NEAR_GREATEST)[-1])
    # a blunt end loses what is left at the end itself
    places = np.append(0.5 * (aft[thickest:-1] + aft[thickest + 1 :]), 1.0)
    lost = np.append(-np.diff(square[thickest:]), square[-1])

    across = half_width, half_height
    deep, wide = across if heave else across[::-1]
    block = volume / (length * 4.0 * deep * wide)
    excess = EXCESS * block * 2.0 * wide / deep
    weights = np.concatenate([lost / lost.sum(), excess * square / square.sum()])
    at = np.concatenate([places, aft])
    factor = float(weights.sum())
    mean = float(weights @ at) / factor
    spread = float(weights @ (at - mean) ** 2) / factor
    return SideForce(factor, 1.0 / factor, mean - 0.5, float(np.sqrt(spread)))
