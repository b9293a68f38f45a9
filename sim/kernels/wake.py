"""The bill's alternate shedding: one van der Pol oscillator."""

from __future__ import annotations

from sim.kernels import kernel
from sim.kernels.layout import (
    BILL_NX, BILL_NY, BILL_NZ, BILL_SX, BILL_SY, BILL_SZ, BILL_X, BILL_Y, BILL_Z, COUPLING, EPS,
    P, Q, R, S, SDOT, STROUHAL, U, V, W,
)  # fmt: skip


# The swing is about 2. A bill that turns out of the stream slows the oscillator's beat but not its
# speed, and throws s far beyond that: neither damping nor shift follow it farther than this.
WIDEST = 3.0


@kernel
def wake_oscillator(u, v, w, p, q, r, s, rate, scalar, k, dy):
    """Set the rates of the wake rows of ``dy`` from the bill's motion.

    s'' + eps w (s^2 - 1) s' + w^2 s = coupling a / width, w = 2 pi St |v_n| / width, a the
    acceleration of the bill's centre through the water along its width.

    Parameters
    ----------
    u, v, w, p, q, r : float    velocity through the water and turning rates [m/s, rad/s]
    s, rate : float             oscillator and its rate
    scalar : ndarray, shape (N_SCALAR, lanes)
    k : int                     lane
    dy : ndarray, shape (15, lanes)    rows U to R hold the rates of the
        velocity through the water

    Notes
    -----
    Form and eps = 0.3 from Facchinetti, de Langre & Biolley (2004), J. Fluids Struct. 19,
    123-140, who set it up for cylinders; its use on a bill is an assumption. Without a bill the
    rows of ``scalar`` are zero and s keeps its rate without any effect.
    """
    x, y, z = scalar[BILL_X, k], scalar[BILL_Y, k], scalar[BILL_Z, k]
    normal = (
        (u + q * z - r * y) * scalar[BILL_NX, k]
        + (v + r * x - p * z) * scalar[BILL_NY, k]
        + (w + p * y - q * x) * scalar[BILL_NZ, k]
    )
    omega = scalar[STROUHAL, k] * abs(normal)
    dp, dq, dr = dy[P, k], dy[Q, k], dy[R, k]
    # dv/dt + omega x v + domega/dt x r + omega x (omega x r)
    spin2 = p * p + q * q + r * r
    along = p * x + q * y + r * z
    side = (
        (dy[U, k] + q * w - r * v + dq * z - dr * y + p * along - spin2 * x) * scalar[BILL_SX, k]
        + (dy[V, k] + r * u - p * w + dr * x - dp * z + q * along - spin2 * y) * scalar[BILL_SY, k]
        + (dy[W, k] + p * v - q * u + dp * y - dq * x + r * along - spin2 * z) * scalar[BILL_SZ, k]
    )
    dy[S, k] = rate
    dy[SDOT, k] = (
        scalar[COUPLING, k] * side
        - scalar[EPS, k] * omega * (min(s * s, WIDEST * WIDEST) - 1.0) * rate
        - omega * omega * s
    )
