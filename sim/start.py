"""Where a run starts: pose, velocity, and the rod tip ahead of it."""

from __future__ import annotations

import math

import numpy as np

from sim.bait.assembly import Assembly
from sim.bait.frame import heading, heading_deg
from sim.config.models import Config
from sim.errors import ConfigError
from sim.kernels import layout as lo
from sim.kernels.layout import Model
from sim.kernels.pose import rotation
from sim.trim import upright_tow

FIRST_KICK_DEG = 2.0  # yaw where none is given: lets growing motion show
STRETCHED = 1.2  # no line stretches farther in a tow
START_DEPTH_M = 0.5  # where none is given and there is no steady tow to start from


def _quaternion(yaw_deg: float, pitch_deg: float, roll_deg: float) -> tuple[float, ...]:
    """Unit quaternion of the attitude, scalar first; of the two that there are, the one whose
    first figure that is not 0 is positive.

    Fossen (2011), Handbook of Marine Craft Hydrodynamics and Motion Control, sec. 2.2.2.
    """
    half = math.radians(0.5 * roll_deg), math.radians(0.5 * pitch_deg), math.radians(0.5 * yaw_deg)
    (cr, cp, cy), (sr, sp, sy) = map(math.cos, half), map(math.sin, half)
    found = (
        cr * cp * cy + sr * sp * sy,
        sr * cp * cy - cr * sp * sy,
        cr * sp * cy + sr * cp * sy,
        cr * cp * sy - sr * sp * cy,
    )
    return tuple(-v for v in found) if next(filter(None, found)) < 0.0 else found


def _steady(config: Config, bait: Assembly, model: Model | None) -> tuple[float, float] | None:
    """Depth [m] and pitch [degrees] of the steady tow, for a run that starts at its speed."""
    retrieve, given = config.retrieve, config.start.velocity_m_s
    if config.line is None or not config.loads.line or given is not None:
        return None
    if retrieve.ramp_s > 0.0 or retrieve.speed_m_s == 0.0:
        return None
    return upright_tow(config, bait, model)


def start_state(
    config: Config, bait: Assembly, model: Model | None = None
) -> tuple[np.ndarray, np.ndarray]:
    """State at the start, shape (15,), and the rod tip then, shape (3,) [m].

    Yaw is counted from the direction of the retrieve. Where no depth is given a bait that starts at
    the speed of the retrieve starts at the depth of its steady tow, and where no pitch is given in
    its pitch: what is measured is then its swimming, not the dive before. With a line the rod tip
    is put on its track, the vertical plane through the origin along the retrieve, as far ahead of
    the tie point as the line is long: straight and just not taut. Without one the rod tip is NaN.

    Parameters
    ----------
    config : Config
    bait : Assembly             ``assemble(config)``
    model : Model, optional     ``build_model`` of both, where it is at hand; with any rod tip

    Raises
    ------
    ConfigError
        When the line is too short to reach the tie point.
    """
    start, line = config.start, config.line
    along = heading(config)
    yaw = start.yaw_deg
    if yaw is None:
        yaw = FIRST_KICK_DEG if line is not None else 0.0
    depth, pitch = start.depth_m, start.pitch_deg
    towed = _steady(config, bait, model) if depth is None else None
    if depth is None:
        depth = START_DEPTH_M if towed is None else towed[0]
        if pitch is None and towed is not None:
            pitch = towed[1]
    if pitch is None:
        pitch = 0.0
    quat = _quaternion(heading_deg(config) + yaw, pitch, start.roll_deg)
    to_earth = np.array(rotation(*quat)).reshape(3, 3)
    y = np.zeros(lo.N_STATE)
    y[lo.X : lo.Z + 1] = start.x_m, start.y_m, depth
    y[lo.QW : lo.QZ + 1] = quat
    rod = np.full(3, math.nan)
    if line is not None and bait.r_b_tie is not None:
        tie = y[: lo.Z + 1] + to_earth @ bait.r_b_tie
        ahead = float(tie @ along)
        height = np.array([0.0, 0.0, -line.rod_tip_height_m])
        apart = float(np.linalg.norm(tie - ahead * along - height))
        # the line of a steady tow is stretched
        if apart > line.length_m * (STRETCHED if towed is not None else 1.0):
            given = f"start.depth_m = {depth:g}{'' if start.depth_m is not None else ' (default)'}"
            raise ConfigError(
                f"{config.source_path or 'config'}: {given}: puts the tie point {apart:.4g} m from"
                f" the path of the rod tip: must be within {line.length_m:g} m of it"
                " (line.length_m). Start nearer to that path, lower line.rod_tip_height_m, or give"
                " a longer line."
            )
        reach = math.sqrt(max(0.0, line.length_m**2 - apart**2))
        rod = (ahead + reach) * along + height
    if start.velocity_m_s is not None:
        y[lo.U : lo.W + 1] = start.velocity_m_s
    elif line is not None and config.retrieve.ramp_s == 0.0:
        y[lo.U : lo.W + 1] = config.retrieve.speed_m_s * along @ to_earth
    y[lo.P : lo.R + 1] = np.radians(start.rates_deg_s)
    y[lo.S], y[lo.SDOT] = start.wake, start.wake_rate
    return y, rod
