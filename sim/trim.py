"""Steady tow: the pose in which every load on the towed bait is in balance."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import root
from scipy.spatial.transform import Rotation

from sim.bait.assembly import Assembly, assemble
from sim.bait.frame import through_water
from sim.config.models import Config
from sim.errors import RunError
from sim.kernels import layout as lo
from sim.kernels.layout import Model
from sim.kernels.rhs import derivative, make_scratch
from sim.kernels.tow import BALANCED, upright_balance
from sim.model import build_model

PITCH_GUESSES = (-0.35, -0.6, -0.1, -0.9, 0.2)  # [rad], nose down first: so a lipped bait swims
DOWN_GUESSES = (0.2, 0.45, 0.02, 0.005)  # the line's angle below the horizontal [rad]
GUESSES = np.array([[0.0, down, pitch] for pitch in PITCH_GUESSES for down in DOWN_GUESSES])
# A slow floating bait rides at the surface, where the balance is met in a layer as thin as the bait
AWASH_GUESSES = np.array([[0.0, 0.0, pitch] for pitch in PITCH_GUESSES])
AWASH = 0.4  # depth there, as a share of the cube root of the bait's volume


@dataclass(frozen=True, eq=False)
class Trim:
    """A steady tow, seen along the way through the water (x along it, y to starboard, z down).

    Attributes
    ----------
    pose : ndarray, shape (6,)    centre of gravity from the rod tip [m]; roll, pitch, yaw [rad]
    speed_m_s : float             through the water
    pitch_deg : float             nose up positive
    lean_deg : float              starboard side down positive
    yaw_deg : float               nose to starboard positive
    depth_m : float               of the centre of gravity below the surface
    side_m : float                of the centre of gravity to starboard of the rod tip's track
    line_angle_deg : float        of the line below the horizontal, seen from the rod tip
    line_tension_n : float
    """

    pose: np.ndarray
    speed_m_s: float
    pitch_deg: float
    lean_deg: float
    yaw_deg: float
    depth_m: float
    side_m: float
    line_angle_deg: float
    line_tension_n: float


def tow_model(model: Model, config: Config) -> Model:
    """The model of a run changed into that of its steady tow; what does not change is shared.

    The rod tip moves along x at the speed of the retrieve through the water, the water is at rest
    and so is the bill's wake.

    Parameters
    ----------
    model : Model      of ``config``, one lane; where it has the rod tip does not matter
    config : Config    with a line
    """
    assert config.line is not None
    scalar, plates = model.scalar.copy(), model.plates.copy()
    scalar[lo.CUR_X : lo.CUR_Z + 1] = 0.0
    scalar[lo.ROD_X : lo.ROD_Y + 1] = 0.0
    scalar[lo.ROD_Z] = -config.line.rod_tip_height_m
    scalar[lo.HEAD_X], scalar[lo.HEAD_Y] = 1.0, 0.0
    scalar[lo.REEL] = 0.0
    plates[:, lo.PL_WAKE] = 0.0
    speed = np.zeros((3, 1, scalar.shape[1]))
    speed[lo.SP_VALUE] = np.linalg.norm(through_water(config))
    return model._replace(scalar=scalar, plates=plates, speed=speed)


class Towed:
    """The right-hand side of a bait on a line whose rod tip moves steadily, wake at rest.

    The frame moves with the rod tip, x along its way through the water: a rod tip that moves
    through a current is one that moves otherwise through still water. A reeled line is taken at
    its length at the start: it shortens slowly against the motions looked at.

    Parameters
    ----------
    config : Config
    bait : Assembly, optional    ``assemble(config)``, where it is at hand
    model : Model, optional      ``build_model`` of both, where it is at hand; with any rod tip

    Raises
    ------
    RunError
        Without a line.
    """

    def __init__(self, config: Config, bait: Assembly | None = None, model: Model | None = None):
        line = config.line
        if line is None or config.bait.tie is None or not config.loads.line:
            raise RunError(
                f"{config.source_path or 'config'}: a steady tow needs [line], [bait.tie] and"
                " loads.line = true."
            )
        self.config = config
        self.bait: Assembly = assemble(config) if bait is None else bait
        self.rod = np.array([0.0, 0.0, -line.rod_tip_height_m])
        self.length = line.length_m
        self._model = tow_model(
            build_model(config, self.bait, self.rod) if model is None else model, config
        )
        self.speed = float(self._model.speed[lo.SP_VALUE, 0, 0])
        self.stiffness = float(self._model.scalar[lo.EA, 0])
        self._scratch = make_scratch(self._model)
        self._state = np.zeros((lo.N_STATE, 1))
        self._rate = np.zeros((lo.N_STATE, 1))

    def rate(self, place: np.ndarray, attitude: Rotation, nu: np.ndarray) -> np.ndarray:
        """Rates of position (earth frame, over ground) and of ``nu``, shape (9,).

        Parameters
        ----------
        place : ndarray, shape (3,)    centre of gravity from the rod tip [m]
        attitude : Rotation            bait frame to the frame of the retrieve
        nu : ndarray, shape (6,)       velocity over ground and turning rates, bait frame
        """
        y = self._state
        y[lo.X : lo.Z + 1, 0] = self.rod + place
        y[lo.QW : lo.QZ + 1, 0] = attitude.as_quat(scalar_first=True)
        y[lo.U : lo.R + 1, 0] = nu
        derivative(0.0, y, self._model, self._scratch, self._rate)
        return np.concatenate(
            [self._rate[lo.X : lo.Z + 1, 0], self._rate[lo.U : lo.R + 1, 0]]
        )  # fmt: skip

    def steady(self, pose: np.ndarray) -> tuple[np.ndarray, Rotation, np.ndarray]:
        """Place, attitude and velocity of a bait that moves with the rod tip in ``pose``."""
        attitude = Rotation.from_euler("ZYX", pose[[5, 4, 3]])
        nu = np.zeros(6)
        nu[:3] = attitude.inv().apply([self.speed, 0.0, 0.0])
        return pose[:3], attitude, nu

    def imbalance(self, pose: np.ndarray) -> np.ndarray:
        """Accelerations of a bait led along in ``pose``, shape (6,); zero in a steady tow."""
        return self.rate(*self.steady(pose))[3:]

    def upright(self, guesses: np.ndarray) -> np.ndarray | None:
        """Balance of surge, heave and pitch with the bait upright on its track; None without one.

        Parameters
        ----------
        guesses : ndarray, shape (guesses, 3)    where to look for it, as in ``_guesses``

        Returns
        -------
        ndarray, shape (4,)    tension [N], angle of the line below the horizontal and pitch [rad],
                               depth of the centre of gravity [m]
        """
        found = np.empty(4)
        reached = upright_balance(self._model, self._scratch, guesses, 0, found)
        return found if reached >= 0 else None

    @property
    def tension(self) -> float:
        """Line tension at the last state asked for [N]."""
        return float(self._scratch.tension[0])


def _pose(towed: Towed, sought: np.ndarray) -> np.ndarray:
    """Pose, shape (6,), for what the solver seeks.

    That is the tension of the line [N], its angles below the horizontal and to the side of the
    track, and roll, pitch and yaw [rad]: counted so, the balance is as easy on a stiff line.
    """
    tension, down, side = sought[:3]
    out = towed.length * (1.0 + tension / towed.stiffness)
    line = out * np.array(
        [-math.cos(down) * math.cos(side), math.cos(down) * math.sin(side), math.sin(down)]
    )
    tie = Rotation.from_euler("ZYX", sought[[5, 4, 3]]).apply(towed.bait.r_b_tie)
    return np.concatenate([line - tie, sought[3:]])


def _guesses(towed: Towed) -> np.ndarray:
    """Where to look for the upright balance, shape (guesses, 3).

    Tension of the line [N], its angle below the horizontal and pitch of the bait [rad].
    """
    if towed.speed == 0.0:
        weight = -towed.bait.reserve_buoyancy * towed.config.water.gravity_m_s2
        down = math.copysign(0.5 * math.pi, weight)
        return np.array([[abs(weight), down, p] for p in (0.0, 0.5 * math.pi, -0.5 * math.pi)])
    high, drag = -float(towed.rod[2]), 0.3 * towed.speed**2
    # a line that starts high above the water comes down to the bait at least
    least = math.asin(min(0.95, max(0.0, high) / towed.length))
    guesses = GUESSES + np.array([drag, least, 0.0])
    if not towed.config.water.surface:
        return guesses
    awash = (high + AWASH * towed.bait.volume ** (1.0 / 3.0)) / towed.length
    down = math.asin(min(0.95, max(-0.95, awash)))
    return np.concatenate([guesses, AWASH_GUESSES + np.array([drag, down, 0.0])])


def _full_balance(towed: Towed, guess: np.ndarray) -> np.ndarray | None:
    """Solve all six balances for what :func:`_pose` takes; None where that fails."""

    def left(sought: np.ndarray) -> np.ndarray:
        return towed.imbalance(_pose(towed, sought))

    with np.errstate(all="ignore"):
        found = root(left, guess, method="hybr", options={"xtol": 1e-12})
        if not np.abs(left(found.x)).max() < BALANCED or towed.tension <= 0.0:
            return None
    return found.x


def upright_tow(
    config: Config, bait: Assembly, model: Model | None = None
) -> tuple[float, float] | None:
    """Depth [m] and pitch [degrees] of a bait towed upright on its track; None without a balance.

    Parameters
    ----------
    config : Config             with a line
    bait : Assembly             ``assemble(config)``
    model : Model, optional     ``build_model`` of both, where it is at hand; with any rod tip
    """
    towed = Towed(config, bait, model)
    found = towed.upright(_guesses(towed))
    if found is None:
        return None
    # rounded, so that the last figures of the solver do not stand at the start of a run
    return round(float(found[3]), 6), round(math.degrees(float(found[2])), 4)


def balance(towed: Towed) -> Trim:
    """The steady tow of ``towed``; see :func:`steady_tow`."""
    full = None
    upright = towed.upright(_guesses(towed))
    if upright is not None:
        # a skewed bait has side loads left over, which the full balance takes up
        tension, down, pitch, _ = upright
        full = _full_balance(towed, np.array([tension, down, 0.0, 0.0, pitch, 0.0]))
    if full is None:
        raise RunError(
            f"{towed.config.source_path or 'config'}: no steady tow found at"
            f" {towed.speed:g} m/s through the water: no pose in it was found that balances all"
            " loads with the line taut. Such a bait turns, comes up or is not reached by its line:"
            " look at a run, or try another speed or water.surface = false."
        )
    pose = _pose(towed, full)
    towed.imbalance(pose)
    roll, pitch, yaw = np.degrees(pose[3:])
    return Trim(
        pose=pose,
        speed_m_s=towed.speed,
        pitch_deg=float(pitch),
        lean_deg=float(roll),
        yaw_deg=float(yaw),
        depth_m=float(pose[2] + towed.rod[2]),
        side_m=float(pose[1]),
        line_angle_deg=math.degrees(full[1]),
        line_tension_n=towed.tension,
    )


def steady_tow(config: Config) -> Trim:
    """Solve the six balances of a bait on a steady retrieve.

    Parameters
    ----------
    config : Config    with a line; a reeled line is taken at its length at the start

    Returns
    -------
    Trim

    Raises
    ------
    RunError
        Without a line, or where no balance with a taut line is found.
    ConfigError
        When the parts of the bait contradict each other.

    Notes
    -----
    Surge, heave and pitch are balanced first with the bait upright (``sim.kernels.tow``), then all
    six from there by SciPy's hybrid method, both over the right-hand side of the runs. A bait may
    have several balances; the one nearest to upright is given, which need not be a stable one. The
    bill's wake is left at its mean.
    """
    return balance(Towed(config))
