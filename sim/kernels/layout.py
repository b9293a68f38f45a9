"""Names of the rows in the kernels' arrays: state, scalars, parts, scratch.

numba freezes module-level integers into the compiled code, so an index costs nothing there.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

# --- state, shape (N_STATE, lanes): SNAME order, quaternion scalar first, bait frame velocities
X, Y, Z = 0, 1, 2
QW, QX, QY, QZ = 3, 4, 5, 6
U, V, W = 7, 8, 9
P, Q, R = 10, 11, 12
S, SDOT = 13, 14
N_STATE = 15

# fmt: off
# --- scalars, shape (N_SCALAR, lanes)
(
    WEIGHT,  # m g, 0 when the load is off [N]
    BUOY,  # rho g V of everything, 0 when off [N]
    CB_X, CB_Y, CB_Z,  # centre of buoyancy from the centre of gravity [m]
    RADIUS,  # no part reaches farther from the centre of gravity than this [m]
    SURFACE,  # 1 with a free surface at z = 0, 0 without
    CUR_X, CUR_Y, CUR_Z,  # water velocity, earth frame [m/s]
    TAIL_Y,  # side force slope, k rho pi a^2 [kg/m]
    TAIL_Z,  # lift slope, k rho pi b^2 [kg/m]
    TAIL_PX, TAIL_PZ,  # mid-length, from which these are counted [m]
    TAIL_AFT_Y, TAIL_AFT_Z,  # how far downstream of it they act [m]
    TAIL_SPREAD_Y, TAIL_SPREAD_Z,  # mean square distance from there over which they act [m^2]
    AXIAL,  # 0.5 rho A C_d along the body [kg/m]
    BODY_PZ,  # where the axial drag acts [m]
    EPS,  # wake oscillator: damping [-]
    STROUHAL,  # wake oscillator: 2 pi St / bill width [rad/m]
    COUPLING,  # wake oscillator: coupling / bill width [1/m]
    BILL_X, BILL_Y, BILL_Z,  # centre of the bill [m]
    BILL_SX, BILL_SY, BILL_SZ,  # the bill's width direction [-]
    BILL_NX, BILL_NY, BILL_NZ,  # the bill's normal [-]
    TIE_X, TIE_Y, TIE_Z,  # tie point from the centre of gravity [m]
    LINE_ON,  # 1 with a line
    EA,  # axial stiffness [N]
    LINE_DAMP,  # 2 zeta sqrt(m): damping is this times sqrt(EA / L) [kg^0.5]
    LENGTH,  # line out at the start [m]
    LINE_CN,  # 0.25 rho d C_n: half of the line is carried by the tie point [kg/m^2]
    LINE_CT,  # 0.25 rho pi d C_t [kg/m^2]
    LINE_NODE,  # where along the bait a tug at the tie point leaves it at rest [m]
    LINE_WAVE,  # angular frequency of the tie point's motion over the speed [rad/m]
    ROD_X, ROD_Y, ROD_Z,  # rod tip at the start [m]
    HEAD_X, HEAD_Y,  # direction of the retrieve, earth frame [-]
    REEL,  # 1: the line shortens, 0: the rod tip moves
) = range(49)
N_SCALAR = 49

# --- plates, shape (plates, N_PLATE, lanes)
(
    PL_X, PL_Y, PL_Z,  # centroid [m]
    PL_1X, PL_1Y, PL_1Z,  # e1, from the root along the length [-]
    PL_2X, PL_2Y, PL_2Z,  # e2, across [-]
    PL_NX, PL_NY, PL_NZ,  # normal, e1 x e2 [-]
    PL_L1, PL_L2,  # length and mean width [m]
    PL_K1, PL_K2,  # slope of the normal force for flow along e1 and along e2 [1/rad]
    PL_CD,  # normal force coefficient broadside [-]
    PL_CE,  # side-edge coefficient [-]
    PL_FRICTION,  # 1.328 rho area sqrt(nu / length) [kg m^-0.5 s^-0.5]
    PL_MUNK,  # added mass whose steady couple the coefficients already hold [kg]
    PL_WAKE,  # side shift of the centre of pressure per unit of s [m]
    PL_ON,  # 0.5 rho area, 0 when the load is off [kg/m]
    PL_REACH,  # no corner is farther from the centroid [m]
) = range(23)
N_PLATE = 23

# fmt: on
# --- plate elements, shape (plates, 3, elements, lanes): along e1 and e2 from the centroid, share
EL_1, EL_2, EL_SHARE = 0, 1, 2

# fmt: off
# --- body strips, shape (strips, N_STRIP, lanes)
(
    ST_X, ST_Z,  # centre of the section [m]
    ST_HALF,  # half height [m]
    ST_SWAY,  # 0.5 rho C_d 2 a_z dx [kg/m]
    ST_HEAVE,  # 0.5 rho C_d 2 a_y dx [kg/m]
    ST_SHARE,  # of the body's length [-]
) = range(6)
N_STRIP = 6

# --- displaced volumes, shape (volumes, N_VOLUME, lanes): elliptic slabs
(
    VO_X, VO_Y, VO_Z,  # centre [m]
    VO_BUOY,  # rho g V, 0 when off [N]
    VO_AX, VO_AY, VO_AZ,  # half extents along the bait axes [m]
) = range(7)
N_VOLUME = 7

# fmt: on
# --- retrieve speed, shape (3, knots, lanes)
SP_TIME, SP_VALUE, SP_PATH = 0, 1, 2

# --- hooks, shape (hooks, 4, lanes): position and 0.5 rho C_d A
HK_X, HK_Y, HK_Z, HK_DRAG = 0, 1, 2, 3


class Model(NamedTuple):
    """Everything the right-hand side needs, one lane a bait; SI units, bait frame about the CG."""

    scalar: np.ndarray  # (N_SCALAR, lanes)
    mass: np.ndarray  # (2, 6, 6, lanes), rigid plus added mass, and the inverse of that
    plates: np.ndarray  # (plates, N_PLATE, lanes)
    elements: np.ndarray  # (plates, 3, elements, lanes)
    strips: np.ndarray  # (strips, N_STRIP, lanes)
    slices: np.ndarray  # (slices, 2): place in the half height and weight, sum of weights 1
    volumes: np.ndarray  # (volumes, N_VOLUME, lanes)
    hooks: np.ndarray  # (hooks, 4, lanes)
    speed: (
        np.ndarray
    )  # (3, knots, lanes): time [s], speed [m/s] straight between the knots, path [m]
