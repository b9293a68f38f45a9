"""Captive test: what a balance reads on a bait that is held, or led along a given motion."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from sim.bait.assembly import assemble
from sim.config import with_overrides
from sim.config.models import Config
from sim.kernels import layout as lo
from sim.kernels.rhs import derivative, make_scratch
from sim.model import build_model
from sim.start import START_DEPTH_M


@dataclass(frozen=True, eq=False)
class CaptiveLoads:
    """Loads on a bait led along, bait frame, about the centre of gravity of the rigged bait.

    Attributes
    ----------
    force, moment : ndarray, shape (3,)
        Sum of the load models: weight, buoyancy, plates, body, hooks [N, N m].
    added_force, added_moment : ndarray, shape (3,)
        What the added mass answers to the steady motion: -omega x P_A, and
        -(omega x H_A + v x P_A), which holds the Munk moment [N, N m].
    centre_of_gravity : ndarray, shape (3,)
        The point of reference, bait axes from the nose tip, x forward, z down [m].
    """

    force: np.ndarray
    moment: np.ndarray
    added_force: np.ndarray
    added_moment: np.ndarray
    centre_of_gravity: np.ndarray

    @property
    def total_force(self) -> np.ndarray:
        """Force of water and weight together, shape (3,) [N]: what a balance reads."""
        return self.force + self.added_force

    @property
    def total_moment(self) -> np.ndarray:
        """Moment of water and weight together about the centre of gravity, shape (3,) [N m]."""
        return self.moment + self.added_moment


def captive(
    config: Config,
    velocity: Sequence[float],
    rates: Sequence[float] = (0.0, 0.0, 0.0),
    attitude_deg: Sequence[float] = (0.0, 0.0, 0.0),
    wake: float = 0.0,
) -> CaptiveLoads:
    """Loads on the bait at a given motion, its line off.

    Parameters
    ----------
    config : Config
    velocity : (3,)        of the centre of gravity through the water, bait frame [m/s]
    rates : (3,)           roll, pitch and yaw rate, bait frame [rad/s]
    attitude_deg : (3,)    roll, pitch, yaw [degrees]
    wake : float           state of the wake oscillator; 0 is the mean over its swing

    Returns
    -------
    CaptiveLoads

    Raises
    ------
    ConfigError
        When the parts of the bait contradict each other.

    Notes
    -----
    The same right-hand side as in a run, at one instant, in steady motion: the part of the added
    mass that answers accelerations is not in it. The bait is at ``start.depth_m`` (0.5 m unless
    given); without a surface (``water.surface = false``) that does not matter. Friction along the
    body is that of the retrieve's speed through the water, whatever ``velocity`` is, as in a run.
    """
    held = with_overrides(config, {"loads.line": False})
    bait = assemble(held)
    model = build_model(held, bait, np.zeros(3))
    state = np.zeros((lo.N_STATE, 1))
    roll, pitch, yaw = attitude_deg
    attitude = Rotation.from_euler("ZYX", [yaw, pitch, roll], degrees=True)
    state[lo.Z, 0] = START_DEPTH_M if held.start.depth_m is None else held.start.depth_m
    state[lo.QW : lo.QZ + 1, 0] = attitude.as_quat(scalar_first=True)
    # the state holds the velocity over ground
    drift = attitude.inv().apply(model.scalar[lo.CUR_X : lo.CUR_Z + 1, 0])
    state[lo.U : lo.W + 1, 0] = velocity + drift
    state[lo.P : lo.R + 1, 0] = rates
    state[lo.S, 0] = wake
    rate = np.zeros_like(state)
    derivative(0.0, state, model, make_scratch(model), rate)
    nu = np.concatenate([velocity, rates])
    v, omega = nu[:3], nu[3:]
    added = bait.added_mass if held.loads.added_mass else np.zeros((6, 6))
    mass = bait.rigid_mass + added
    change = rate[lo.U : lo.R + 1, 0].copy()
    change[:3] += np.cross(omega, drift)  # back to the velocity through the water
    change, momentum = mass @ change, mass @ nu
    fluid = added @ nu
    return CaptiveLoads(
        force=change[:3] + np.cross(omega, momentum[:3]),
        moment=change[3:] + np.cross(omega, momentum[3:]) + np.cross(v, momentum[:3]),
        added_force=-np.cross(omega, fluid[:3]),
        added_moment=-np.cross(omega, fluid[3:]) - np.cross(v, fluid[:3]),
        centre_of_gravity=bait.centre_of_gravity,
    )
