"""Measures of a recorded motion: angles about the track, blocks, the stationary part, sweeps.

One recorded run is a handful of plain arrays over its n records, float64 and C-contiguous; there
are no lanes here. Sums run in the order of the records, so a result depends on the run alone.
Nothing here raises: what has no value is NaN.
"""

from __future__ import annotations

import math

from sim.kernels import kernel
from sim.kernels.pose import rotation

CYCLES_A_BLOCK = 4.0  # a block holds at least so many wobbles
TURNS_A_BLOCK = 1.25  # or, of a bait that turns over, turns
SHORTEST_BLOCK_S = 1.0
BLOCKS_A_RUN = 8.0
FEWEST_BLOCKS = 2  # alike blocks that make a motion stationary
FLOOR_DEG = 0.5  # differences below this count as none
PITCH_FLOOR_DEG = 2.0  # the same for mean pitch, which creeps with depth and decides no class
STEEPEST_DEG = 85.0  # of a free motion; beyond it Euler angles flip
STILL_DEG = 0.02  # a yaw that moves less (rms) has no frequency
SHORTEST_PATH_M = 1e-3  # a bait that travels less has no slope of its path

# Entries of ``params``, one bait's own numbers; lengths are three entries long where marked (3).
HEADING_DEG = 0  # direction of the track about the earth's z axis
ON_LINE = 1  # 1 with a line, 0 without
TIED = 2  # 1 when the bait has a tie point
TIE = 3  # (3) tie point from the centre of gravity, bait frame [m]
CENTRE = 6  # (3) centre of gravity from the nose, bait frame [m]
LENGTH = 9  # of the body [m]
N_PARAM = 10

# Entries of ``out``: the stationary part, then the measures.
FIRST, LAST = 0, 1  # records
FOUND, TURNING = 2, 3  # 1 or 0
FIRST_MEASURE = 4
MEASURES = (
    "wobble_frequency_hz",
    "yaw_amplitude_deg",
    "roll_amplitude_deg",
    "pitch_amplitude_deg",
    "lean_deg",
    "pitch_deg",
    "turns",
    "turn_rate_hz",
    "depth_m",
    "depth_rate_mm_s",
    "line_tension_n",
    "side_drift_m_per_m",
    "nose_sweep_mm",
    "tail_sweep_mm",
    "speed_m_s",
    "most_turns",
)
N_OUT = FIRST_MEASURE + len(MEASURES)

# Rows of ``scratch``.
YAW, PITCH, ROLL, TWIST, NOSE, TAIL = 0, 1, 2, 3, 4, 5
N_SCRATCH = 6

DEGREE = 180.0 / math.pi
TURN = 2.0 * math.pi


# ------------------------------------------------------------------------------------------ series


@kernel
def mean(series):
    """Mean of a series, shape (n,), n >= 1."""
    total = 0.0
    for x in series:
        total += x
    return total / series.size


@kernel
def spread(series):
    """Standard deviation of a series, shape (n,), about its mean."""
    middle = mean(series)
    total = 0.0
    for x in series:
        total += (x - middle) * (x - middle)
    return math.sqrt(total / series.size)


@kernel
def peak_to_peak(series):
    """Largest less smallest of a series, shape (n,); NaN when any is, or when there are none."""
    low, high = math.inf, -math.inf
    if series.size == 0:
        return math.nan
    for x in series:
        if x != x:
            return math.nan
        low = x if x < low else low
        high = x if x > high else high
    return high - low


@kernel
def half_range(series):
    """Half of peak to peak of a series, shape (n,)."""
    return 0.5 * peak_to_peak(series)


@kernel
def wrapped(angle_deg):
    """The same angle within -180 to 180 degrees."""
    return (angle_deg + 180.0) % 360.0 - 180.0


@kernel
def quarter_change(series):
    """Mean over the last quarter of a series, shape (n,), less that over the first."""
    quarter = max(1, series.size // 4)
    return mean(series[series.size - quarter :]) - mean(series[:quarter])


@kernel
def unwrap(series):
    """Take off jumps of a whole turn [rad] from a series, shape (n,), in place; as ``np.unwrap``.

    From a NaN on everything is NaN.
    """
    shift = 0.0
    before = series[0] if series.size else 0.0
    for i in range(series.size):
        here = series[i]
        jump = here - before
        if not abs(jump) < math.pi:
            short = (jump + math.pi) % TURN - math.pi
            if short == -math.pi and jump > 0.0:
                short = math.pi
            shift += short - jump
        before = here
        series[i] = here + shift


@kernel
def crossing_frequency(series, step):
    """Frequency [Hz] from the crossings of the mean, NaN without two in one sense.

    A crossing counts once the series has been beyond the mean by a fifth of its standard
    deviation since the last one that counted; times are interpolated. The mean of both senses.

    Parameters
    ----------
    series : ndarray, shape (n,)
    step : float    time between records [s]
    """
    middle = mean(series)
    limit = 0.2 * spread(series)
    total, senses = 0.0, 0
    if not limit > 0.0:
        return math.nan
    for sense in (1.0, -1.0):
        deep = False
        count, first, last = 0, 0.0, 0.0
        here = sense * (series[0] - middle)
        for i in range(series.size - 1):
            there = sense * (series[i + 1] - middle)
            if here < 0.0:
                deep = deep or here < -limit
                if deep and there >= 0.0:
                    last = i + here / (here - there)
                    first = last if count == 0 else first
                    count += 1
                    deep = False
            here = there
        if count >= 2:
            total += (count - 1) / ((last - first) * step)
            senses += 1
    return total / senses if senses > 0 else math.nan


# ------------------------------------------------------------------------------------------ angles


@kernel
def wrapped_angles(attitude, heading_deg, first, yaw, pitch, roll, twist):
    """Angles about the track of the records from ``first`` on, each within a turn.

    Yaw, roll and twist [rad], pitch [deg]; otherwise as ``track_angles``.
    """
    half = -0.5 * math.radians(heading_deg)
    c, s = math.cos(half), math.sin(half)
    for i in range(first, attitude.shape[0]):
        qw, qx, qy, qz = attitude[i, 0], attitude[i, 1], attitude[i, 2], attitude[i, 3]
        w, x, y, z = c * qw - s * qz, c * qx - s * qy, c * qy + s * qx, c * qz + s * qw
        yaw[i] = math.atan2(2.0 * (w * z + x * y), 1.0 - 2.0 * (y * y + z * z))
        pitch[i] = DEGREE * math.asin(min(max(2.0 * (w * y - z * x), -1.0), 1.0))
        roll[i] = math.atan2(2.0 * (w * x + y * z), 1.0 - 2.0 * (x * x + y * y))
        twist[i] = 2.0 * math.atan2(x, w)


@kernel
def unwrap_angles(yaw, roll, twist):
    """Unwrap angles [rad] in place; yaw and roll come out in degrees, twist in turns."""
    unwrap(yaw)
    unwrap(roll)
    unwrap(twist)
    for i in range(yaw.size):
        yaw[i] *= DEGREE
        roll[i] *= DEGREE
        twist[i] /= TURN


@kernel
def track_angles(attitude, heading_deg, yaw, pitch, roll, twist):
    """Angles of a series of attitudes about the track.

    Parameters
    ----------
    attitude : ndarray, shape (n, 4)    unit quaternions, scalar first, bait frame to earth
    heading_deg : float                 direction of the track about the earth's z axis
    yaw, pitch, roll : ndarray, shape (n,)    set: Euler angles of R = Rz(yaw) Ry(pitch) Rx(roll)
        after the heading is taken off [deg], yaw and roll unwrapped
    twist : ndarray, shape (n,)         set: turns about the track, unwrapped; the twist of the
        swing-twist split of the quaternion about x
    """
    wrapped_angles(attitude, heading_deg, 0, yaw, pitch, roll, twist)
    unwrap_angles(yaw, roll, twist)


# ---------------------------------------------------------------------------------- stationary part


@kernel
def block(yaw, pitch, roll, twist, step):
    """Statistics of one block, compared to find the stationary part.

    Returns
    -------
    tuple of 6 floats
        Swing of yaw and of roll (root-mean-square about the mean, times sqrt(2)) [deg], mean roll
        (the lean) [deg], mean pitch [deg], turning rate [turns/s], mean yaw [deg].
    """
    return (
        math.sqrt(2.0) * spread(yaw),
        math.sqrt(2.0) * spread(roll),
        mean(roll),
        mean(pitch),
        (twist[-1] - twist[0]) / ((twist.size - 1) * step),
        mean(yaw),
    )


@kernel
def near(a, b, allowed):
    """True when two values differ by no more than is allowed."""
    return abs(a - b) <= allowed


@kernel
def alike(a, b, tolerance, share, turning):
    """True when two blocks, see ``block``, differ by no more than ``share`` of what is allowed."""
    yaw_a, roll_a, lean_a, pitch_a, rate_a, mean_a = a
    yaw_b, roll_b, lean_b, pitch_b, rate_b, mean_b = b
    if turning:
        fastest = max(abs(rate_a), abs(rate_b))
        return rate_a * rate_b > 0.0 and near(rate_a, rate_b, share * 4.0 * tolerance * fastest)
    yaw, roll = max(yaw_a, yaw_b), max(roll_a, roll_b)
    return (
        near(yaw_a, yaw_b, share * max(FLOOR_DEG, tolerance * yaw))
        and near(roll_a, roll_b, share * max(FLOOR_DEG, tolerance * roll))
        and near(lean_a, lean_b, share * max(FLOOR_DEG, tolerance * max(roll_a, abs(lean_a))))
        and near(pitch_a, pitch_b, share * max(PITCH_FLOOR_DEG, tolerance * abs(pitch_a)))
        and near(mean_a, mean_b, share * max(FLOOR_DEG, tolerance * max(yaw_a, abs(mean_a))))
    )


@kernel
def stationary_part(yaw, pitch, roll, twist, step, tolerance, share):
    """Find the last stretch over which blocks of the motion look alike.

    Parameters
    ----------
    yaw, pitch, roll, twist : ndarray, shape (n,)    see ``track_angles`` [deg, turns]
    step : float         time between records [s]
    tolerance : float    largest relative change between blocks
    share : float        of what is allowed by it, and by the floors; 1 for a run that is over

    Returns
    -------
    first, last : int    records; the second half of the run when nothing was found
    found : bool
    turning : bool       half a turn or more over the second half of the run

    Notes
    -----
    Why blocks are as long and as many as they are: ``sim.measure.stationary_part``.
    """
    n = yaw.size
    half = n // 2
    length = max(SHORTEST_BLOCK_S, (n - 1) * step / BLOCKS_A_RUN)
    net = abs(twist[-1] - twist[half])
    turning = net >= 0.5
    if turning:
        length = max(length, TURNS_A_BLOCK * (n - half) * step / net)
    else:
        frequency = crossing_frequency(yaw[half:], step)
        if math.isfinite(frequency) and frequency > 0.0:
            length = max(length, CYCLES_A_BLOCK / frequency)
    size = max(1, round(length / step))
    if (n - 1) // size < FEWEST_BLOCKS:
        return half, n - 1, False, turning
    most = max(FEWEST_BLOCKS, (n - 1 - half) // size)
    first = n - 1 - size
    end = block(yaw[first:], pitch[first:], roll[first:], twist[first:], step)
    kept = 1
    while kept < most:
        a, b = first - size, first + 1
        before = block(yaw[a:b], pitch[a:b], roll[a:b], twist[a:b], step)
        if not alike(end, before, tolerance, share, turning):
            break
        first = a
        kept += 1
    if kept < FEWEST_BLOCKS:
        return half, n - 1, False, turning
    return first, n - 1, True, turning


# ---------------------------------------------------------------------------------------- measures


@kernel
def sweep(across, frequency, step):
    """Peak to peak of a path across the track, the mean over the wobbles.

    Parameters
    ----------
    across : ndarray, shape (n,)    place across the track; a straight line is taken off in place
        when there is no wobble
    frequency : float               of the wobble [Hz], NaN without one
    step : float                    time between records [s]
    """
    n = across.size
    if not math.isfinite(frequency):
        middle = mean(across)
        centre = 0.5 * (n - 1)
        moment, inertia = 0.0, 0.0
        for i in range(n):
            moment += (i - centre) * (across[i] - middle)
            inertia += (i - centre) * (i - centre)
        slope = moment / inertia if inertia > 0.0 else 0.0
        for i in range(n):
            across[i] -= middle + slope * (i - centre)
        return peak_to_peak(across)
    cycle = min(n, round(1.0 / (frequency * step)) + 1)
    count = n // cycle
    total = 0.0
    for i in range(count):
        total += peak_to_peak(across[i * cycle : (i + 1) * cycle])
    return total / count


@kernel
def part_measures(
    first, last, turning, yaw, pitch, roll, twist, position, attitude, tension, rod, step, params,
    nose, tail, out,
):  # fmt: skip
    """Measures over the records ``first`` to ``last``; the most turns over all records.

    Parameters
    ----------
    first, last : int
    turning : bool                               the bait keeps turning over
    yaw, pitch, roll, twist : ndarray, shape (n,)    see ``track_angles`` [deg, turns]
    position : ndarray, shape (n, 3)             of the centre of gravity, earth frame [m]
    attitude : ndarray, shape (n, 4)             quaternions, scalar first
    tension : ndarray, shape (n,)                [N]
    rod : ndarray, shape (n, 3)                  rod tip [m]; not read without a line
    step : float                                 time between records [s]
    params : ndarray, shape (N_PARAM,)           HEADING_DEG to LENGTH
    nose, tail : ndarray, shape (n,)             scratch
    out : ndarray, shape (N_OUT,)                the measures are set, in the order of ``MEASURES``

    Notes
    -----
    What each means: ``sim.measure.run_measures``.
    """
    n = last + 1 - first
    span = (last - first) * step
    heading = math.radians(params[HEADING_DEG])
    ahead, beside = math.cos(heading), math.sin(heading)
    on_line = params[ON_LINE] > 0.0
    tied = on_line and params[TIED] > 0.0
    most_turns = peak_to_peak(twist)  # of the whole run
    yaw, pitch, roll = yaw[first : last + 1], pitch[first : last + 1], roll[first : last + 1]
    twist = twist[first : last + 1]
    nose, tail = nose[:n], tail[:n]

    # straight up or down yaw and roll mean nothing; only free motions come there and stay upright
    steepest = 0.0
    if not on_line:
        for angle in pitch:
            steepest = max(steepest, abs(angle))
    lost = turning or steepest > STEEPEST_DEG
    frequency = math.nan
    if not lost and spread(yaw) >= STILL_DEG:
        frequency = crossing_frequency(yaw, step)

    depth, pull, reach_along, reach_across = 0.0, 0.0, 0.0, 0.0
    cx, cy, cz = params[CENTRE], params[CENTRE + 1], params[CENTRE + 2]
    tx, ty, tz = params[TIE], params[TIE + 1], params[TIE + 2]
    for i in range(n):
        k = first + i
        x, y = position[k, 0], position[k, 1]
        depth += position[k, 2]
        pull += tension[k]
        qw, qx, qy, qz = attitude[k, 0], attitude[k, 1], attitude[k, 2], attitude[k, 3]
        scale = 1.0 / math.sqrt(qw * qw + qx * qx + qy * qy + qz * qz)
        xx, xy, xz, yx, yy, yz, _, _, _ = rotation(scale * qw, scale * qx, scale * qy, scale * qz)
        # the row of the rotation that leads across the track
        sx, sy, sz = ahead * yx - beside * xx, ahead * yy - beside * xy, ahead * yz - beside * xz
        across = ahead * y - beside * x
        nose[i] = across - (sx * cx + sy * cy + sz * cz)
        tail[i] = nose[i] - params[LENGTH] * sx
        if tied:
            # from the tie point to the rod tip
            rx = rod[k, 0] - x - (xx * tx + xy * ty + xz * tz)
            ry = rod[k, 1] - y - (yx * tx + yy * ty + yz * tz)
            reach_along += ahead * rx + beside * ry
            reach_across += ahead * ry - beside * rx

    dx = position[last, 0] - position[first, 0]
    dy = position[last, 1] - position[first, 1]
    dz = position[last, 2] - position[first, 2]
    drift = math.nan
    if tied:
        if reach_along != 0.0:
            drift = -reach_across / reach_along
    else:
        travelled = abs(ahead * dx + beside * dy)
        if travelled > SHORTEST_PATH_M:
            drift = (ahead * dy - beside * dx) / travelled

    # of a bait that does not turn, what is left after the wobble: nothing but a change of lean
    turns = twist[-1] - twist[0] if turning else quarter_change(twist)
    quarter = max(1, n // 4)
    sinking = 0.0
    for i in range(quarter):
        sinking += position[last - i, 2] - position[first + i, 2]
    between = max(step, (n - quarter) * step)

    at = FIRST_MEASURE
    out[at] = frequency
    out[at + 1] = math.nan if lost else half_range(yaw)
    out[at + 2] = math.nan if lost else half_range(roll)
    out[at + 3] = half_range(pitch)
    out[at + 4] = math.nan if lost else wrapped(mean(roll))
    out[at + 5] = mean(pitch)
    out[at + 6] = turns
    out[at + 7] = turns / span if span > 0.0 else 0.0
    out[at + 8] = depth / n
    out[at + 9] = 1e3 * (sinking / quarter) / between
    out[at + 10] = pull / n if on_line else math.nan
    out[at + 11] = drift
    out[at + 12] = 1e3 * sweep(nose, frequency, step)
    out[at + 13] = 1e3 * sweep(tail, frequency, step)
    out[at + 14] = math.sqrt(dx * dx + dy * dy + dz * dz) / span if span > 0.0 else 0.0
    out[at + 15] = most_turns


@kernel
def measure_run(
    position, attitude, tension, rod, step, tolerance, share, params, known, angles, scratch, out
):  # fmt: skip
    """Find the stationary part of one run and measure it.

    Parameters
    ----------
    position : ndarray, shape (n, 3)      of the centre of gravity, earth frame [m]
    attitude : ndarray, shape (n, 4)      unit quaternions, scalar first, bait frame to earth
    tension : ndarray, shape (n,)         line tension [N]
    rod : ndarray, shape (n, 3)           rod tip, earth frame [m]; not read without a line
    step : float                          time between records [s]
    tolerance, share : float              see ``stationary_part``
    params : ndarray, shape (N_PARAM,)    HEADING_DEG to LENGTH
    known : int                           records whose angles stand in ``angles`` already
    angles : ndarray, shape (4, at least n)    yaw, pitch, roll, twist as ``wrapped_angles`` has
        them; set from ``known`` on. They take most of the time, so a run looked at several times
        keeps them
    scratch : ndarray, shape (N_SCRATCH, at least n)    its first four rows hold the angles after
        the call: yaw, pitch, roll [deg], twist [turns]
    out : ndarray, shape (N_OUT,)         set: FIRST, LAST, FOUND, TURNING, then ``MEASURES``

    Notes
    -----
    All records must be sound. Without a line there is nothing that a motion could settle on: the
    second half is measured and nothing is found or turning.
    """
    n = position.shape[0]
    yaw, pitch = scratch[YAW, :n], scratch[PITCH, :n]
    roll, twist = scratch[ROLL, :n], scratch[TWIST, :n]
    wrapped_angles(
        attitude, params[HEADING_DEG], known, angles[YAW], angles[PITCH], angles[ROLL],
        angles[TWIST],
    )  # fmt: skip
    yaw[:], pitch[:] = angles[YAW, :n], angles[PITCH, :n]
    roll[:], twist[:] = angles[ROLL, :n], angles[TWIST, :n]
    unwrap_angles(yaw, roll, twist)
    first, last, found, turning = (n - 1) // 2, n - 1, False, False
    if params[ON_LINE] > 0.0:
        first, last, found, turning = stationary_part(
            yaw, pitch, roll, twist, step, tolerance, share
        )
    out[FIRST] = first
    out[LAST] = last
    out[FOUND] = 1.0 if found else 0.0
    out[TURNING] = 1.0 if turning else 0.0
    part_measures(
        first, last, turning, yaw, pitch, roll, twist, position, attitude, tension, rod, step,
        params, scratch[NOSE, :n], scratch[TAIL, :n], out,
    )  # fmt: skip
