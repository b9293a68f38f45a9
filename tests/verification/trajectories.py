"""The shipped fixed step against SciPy's DOP853, and against integrators written here."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from functools import cache
from typing import Any

import numpy as np
from matplotlib.figure import Figure
from scipy.integrate import solve_ivp
from scipy.spatial.transform import Rotation

import sim

from .lone import GRAVITY, MM, RHO, ellipsoid, lone
from .suite import BAITS, COMPUTED, CONFIGS, MEMORY_HIGH, OWN, Row, case, picture

DOP853 = "SciPy's DOP853, rtol 1e-12"
TIGHT = {"method": "dop853", "rtol": 1e-12, "atol": 1e-14}


@cache
def swim(bait: str, step_ms: float, whole: bool = False) -> sim.RunResult:
    """A demonstration bait for a second, or its whole run as shipped; step 0 is DOP853."""
    second = {"duration_s": 1.0, "max_duration_s": 1.0, "output_step_ms": 20.0}
    solver: dict[str, Any] = {} if whole else second
    solver |= {"step_ms": step_ms} if step_ms else TIGHT
    cfg = sim.load_config(CONFIGS / f"{bait}.toml")
    run = sim.simulate(sim.with_overrides(cfg, {f"solver.{k}": v for k, v in solver.items()}))
    assert run.status != "diverged", run.message
    assert not step_ms or run.stats["step_ms"] == step_ms
    return run


def apart_mm(a: sim.RunResult, b: sim.RunResult) -> np.ndarray:
    """Distance between two runs, shape (n,) [mm]."""
    return np.linalg.norm(a.position - b.position, axis=1) / MM


def apart_deg(a: sim.RunResult, b: sim.RunResult) -> np.ndarray:
    """Angle of the turn from one attitude to the other, shape (n,) [degrees]."""
    return turn_deg(a.attitude, Rotation.from_quat(b.attitude, scalar_first=True))


def turn_deg(attitude: np.ndarray, other: Rotation) -> np.ndarray:
    """The same of quaternions, shape (n, 4), and rotations."""
    turn = Rotation.from_quat(attitude, scalar_first=True).inv() * other
    return np.degrees(turn.magnitude())


def yaw_deg(run: sim.RunResult, i: int) -> float:
    """Euler angle of yaw at record i."""
    attitude = Rotation.from_quat(run.attitude[i], scalar_first=True)
    return float(attitude.as_euler("ZYX", degrees=True)[0])


def state_error(run: sim.RunResult, exact: sim.RunResult) -> float:
    """Largest difference of the whole state, each part over a size of its own."""
    return max(
        float(np.abs(run.position - exact.position).max()) / 0.1,
        float(np.abs(run.attitude - exact.attitude).max()),
        float(np.abs(run.velocity[:, :3] - exact.velocity[:, :3]).max()),
        float(np.abs(run.velocity[:, 3:] - exact.velocity[:, 3:]).max()) / 30.0,
        float(np.abs(run.wake[:, 0] - exact.wake[:, 0]).max()),
    )


# --- the fixed step ------------------------------------------------------------------------------


@case("Fixed step against DOP853: the first second")
def first_second() -> Iterator[Row]:
    """The program steps 2 ms at a time with the classical Runge-Kutta method. Here the five
    demonstration baits swim their first second with all loads on, and once more with the same
    equations under SciPy's adaptive method of order 8 at a relative tolerance of 1e-12 (its own
    error is below 1e-8 mm). Both have the program's own equations, so this says nothing about them.
    The difference is what the step costs: less than a ten-thousandth of a millimetre and a
    thousandth of a degree, far below anything else in this document."""
    for bait in BAITS:
        run, exact = swim(bait, 2.0), swim(bait, 0.0)
        place, turn = apart_mm(run, exact), apart_deg(run, exact)
        for at in (0.5, 1.0):
            i = int(np.searchsorted(run.time, at - 1e-9))
            yield Row(
                f"{bait}: yaw at {at:g} s", yaw_deg(run, i), yaw_deg(exact, i), 2e-3, DOP853,
                OWN, "degrees", "absolute",
            )  # fmt: skip
            yield Row(
                f"{bait}: distance between the places at {at:g} s", float(place[i]), 0.0, 1e-3,
                DOP853, OWN, "mm", "absolute",
            )  # fmt: skip
            yield Row(
                f"{bait}: angle between the attitudes at {at:g} s", float(turn[i]), 0.0, 2e-3,
                DOP853, OWN, "degrees", "absolute",
            )  # fmt: skip


MEASURES = {
    "wobble_frequency_hz": ("wobble frequency", "Hz", 1e-3),
    "yaw_amplitude_deg": ("yaw amplitude", "degrees", 1e-2),
    "roll_amplitude_deg": ("roll amplitude", "degrees", 1e-2),
    "pitch_deg": ("mean pitch", "degrees", 1e-2),
    "depth_m": ("depth", "m", 1e-3),
    "line_tension_n": ("line tension", "N", 1e-3),
}


@case("Fixed step against DOP853: what a whole run reports", slow=True)
def whole_run() -> Iterator[Row]:
    """The same over a whole run as shipped, 8 s or as long as it takes to settle: the measures a
    maker reads, and the class (0: the same class). Two wobbles that started alike drift apart in
    phase over time; the measures must not."""
    for bait in BAITS:
        run, exact = swim(bait, 2.0, True), swim(bait, 0.0, True)
        for key, (name, unit, tolerance) in MEASURES.items():
            yield Row(
                f"{bait}: {name}", run.measures[key], exact.measures[key], tolerance, DOP853,
                OWN, unit,
            )  # fmt: skip
        yield Row(
            f"{bait}: other class ({exact.motion_class})",
            float(run.motion_class != exact.motion_class), 0.0, 0.0, DOP853, OWN, "1",
            "absolute",
        )  # fmt: skip


@case("Order of the stepper")
def order() -> Iterator[Row]:
    """Halving the step of a method of order 4 divides the error by 16. Observed order: the binary
    logarithm of the ratio of errors, over the whole state of the demonstration baits in the first
    second, and of an ellipsoid that tumbles in ideal fluid. It would fall short if anything in the
    equations were cut off, delayed by a step, or switched."""
    source = "Hairer, Norsett & Wanner 1993, Solving Ordinary Differential Equations I"
    for bait in BAITS:
        exact = swim(bait, 0.0)
        errors = [state_error(swim(bait, step), exact) for step in (1.0, 0.5, 0.25)]
        for coarse, step in ((0, 1.0), (1, 0.5)):
            yield Row(
                f"{bait}: from {step:g} to {0.5 * step:g} ms",
                math.log2(errors[coarse] / errors[coarse + 1]), 4.0, 0.2, source, MEMORY_HIGH, "1",
                "absolute",
            )  # fmt: skip
    exact = sim.simulate(tumbling(TIGHT))
    errors = [
        state_error(sim.simulate(tumbling({"step_ms": step})), exact)
        for step in (1.0, 0.5, 0.25, 0.125)
    ]
    for coarse, step in ((1, 0.5), (2, 0.25)):
        yield Row(
            f"ellipsoid in ideal fluid: from {step:g} to {0.5 * step:g} ms",
            math.log2(errors[coarse] / errors[coarse + 1]), 4.0, 0.2, source, MEMORY_HIGH, "1",
            "absolute",
        )  # fmt: skip


@picture(
    "step-convergence.png",
    "Difference from DOP853 after one second of swimming, over the step. The shipped step is 2 ms.",
)
def step_picture() -> Figure:
    """Error over step for two baits, place and attitude."""
    steps = np.array([5.0, 4.0, 2.0, 1.0, 0.5, 0.25])
    figure = Figure(figsize=(7.0, 4.5), layout="constrained")
    axes = figure.add_subplot()
    for bait, colour, mark in (("shallow-runner", "#0072B2", "o"), ("slow-sinker", "#D55E00", "s")):
        exact = swim(bait, 0.0)
        runs = [swim(bait, float(step)) for step in steps]
        axes.loglog(
            steps, [apart_mm(run, exact)[-1] for run in runs], mark + "-", color=colour,
            label=f"{bait}, place [mm]",
        )  # fmt: skip
        axes.loglog(
            steps, [apart_deg(run, exact)[-1] for run in runs], mark + "--", color=colour,
            mfc="none", label=f"{bait}, attitude [degrees]",
        )  # fmt: skip
    axes.loglog(steps, 2e-8 * (steps / 0.5) ** 4, ":", color="black", label="order 4")
    axes.axvline(2.0, color="0.7", zorder=0)
    axes.set(xlabel="step [ms]", ylabel="difference at 1 s [mm, degrees]")
    axes.set_xticks(steps, [f"{s:g}" for s in steps])
    axes.minorticks_off()
    axes.legend(fontsize="small")
    return figure


# --- integrators of our own ----------------------------------------------------------------------


SIZE = (60.0, 40.0, 20.0)  # whole axes of the ellipsoid [mm]


def lasting(end_s: float) -> dict[str, float]:
    """Solver table: the shipped step, a state each ten."""
    return {"duration_s": end_s, "max_duration_s": end_s, "step_ms": 2.0, "output_step_ms": 20.0}


def tumbling(solver: Mapping[str, Any]) -> sim.Config:
    """A neutral ellipsoid in ideal fluid, fast."""
    return lone(
        {"body": ellipsoid(SIZE)},
        ("added_mass",),
        start={
            "velocity_m_s": [1.0, 0.2, -0.1],
            "rates_deg_s": [math.degrees(w) for w in (30.0, 20.0, 50.0)],
        },
        solver={**lasting(0.4), **solver},
    )


Load = Callable[[np.ndarray, np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]]


def cross(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Vector product of two vectors; np.cross takes ten times as long."""
    (a1, a2, a3), (b1, b2, b3) = a.tolist(), b.tolist()
    return np.array([a2 * b3 - a3 * b2, a3 * b1 - a1 * b3, a1 * b2 - a2 * b1])


def kirchhoff(total: np.ndarray, run: sim.RunResult, load: Load) -> tuple[np.ndarray, Rotation]:
    """Places and attitudes of a body in ideal fluid at the times of a run.

    Impulse and angular impulse in the EARTH frame are the unknowns, the latter about its origin,
    and the attitude is a matrix of nine numbers: dP/dt = F, dL/dt = r x F + N,
    dR/dt = R [omega x]. ``load`` gives force and moment about the centre of gravity, earth frame.
    ``total`` is the sum of solid and added mass about the centre of gravity, bait frame, (6, 6).
    """
    inverse = np.linalg.inv(total)

    def rate(_: float, y: np.ndarray) -> np.ndarray:
        r, turn, push = y[:3], y[3:12].reshape(3, 3), y[12:15]
        v_omega = inverse @ np.concatenate([turn.T @ push, turn.T @ (y[15:] - cross(r, push))])
        p, q, s = v_omega[3:]
        force, moment = load(r, turn, v_omega)
        spin = np.array([[0.0, -s, q], [s, 0.0, -p], [-q, p, 0.0]])
        return np.concatenate(
            [turn @ v_omega[:3], (turn @ spin).ravel(), force, cross(r, force) + moment]
        )

    turn = Rotation.from_quat(run.attitude[0], scalar_first=True).as_matrix()
    impulse = total @ run.velocity[0]
    push = turn @ impulse[:3]
    angular = turn @ impulse[3:] + cross(run.position[0], push)
    start = np.concatenate([run.position[0], turn.ravel(), push, angular])
    found = solve_ivp(
        rate, (0.0, run.time[-1]), start, "DOP853", run.time, rtol=1e-12, atol=1e-15
    ).y.T
    return found[:, :3], Rotation.from_matrix(found[:, 3:12].reshape(-1, 3, 3))


def simple_loads(cfg: sim.Config, bait: sim.Assembly, rod: np.ndarray) -> Load:
    """Weight, buoyancy and a line that pulls when it is stretched."""
    down = np.array([0.0, 0.0, GRAVITY])
    weight = bait.mass * down if cfg.loads.weight else 0.0 * down
    lift = -RHO * bait.volume * down if cfg.loads.buoyancy else 0.0 * down
    line, tie = cfg.line, bait.r_b_tie

    def load(r: np.ndarray, turn: np.ndarray, nu: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        force, moment = weight + lift, cross(turn @ bait.r_b_cb, lift)
        if line is None or tie is None:
            return force, moment
        stiffness = line.modulus_gpa * 1e9 * math.pi * (0.5 * MM * line.diameter_mm) ** 2
        stiffness /= line.length_m
        damping = 2.0 * line.damping_ratio * math.sqrt(stiffness * bait.mass)
        arm = turn @ tie
        reach = rod - r - arm
        length = math.sqrt(reach @ reach)
        away = -float((turn @ (nu[:3] + cross(nu[3:], tie))) @ reach) / length
        if length > line.length_m:
            size = max(0.0, stiffness * (length - line.length_m) + damping * away)
            pull = size / length * reach
            force, moment = force + pull, moment + cross(arm, pull)
        return force, moment

    return load


BALLAST = [{"mass_g": 8.0, "from_nose_mm": 24.0, "above_centreline_mm": -5.0, "right_mm": 2.0}]
SOFT = {
    "length_m": 0.3, "modulus_gpa": 0.05, "damping_ratio": 0.1, "normal_drag_coefficient": 0.0,
    "tangential_drag_coefficient": 0.0,
}  # fmt: skip


def independent_cases() -> dict[str, sim.Config]:
    """Bodies on which only loads act that a few lines can state."""
    ballasted = {"body": ellipsoid(SIZE), "ballast": BALLAST}
    tied = {**ballasted, "tie": {"from_nose_mm": 2.0, "above_centreline_mm": 3.0}}
    two_seconds = lasting(2.0)
    hung = {
        "solver": two_seconds,
        "line": SOFT,
        "retrieve": {"speed_m_s": 0.0},
        "start": {"depth_m": 0.2, "yaw_deg": 10.0, "roll_deg": 10.0},
    }
    tumble = {
        "velocity_m_s": [0.3, 0.06, -0.03],
        "rates_deg_s": [200.0, 100.0, 300.0],
        "roll_deg": 20.0,
        "yaw_deg": 50.0,
    }
    sinking = ("weight", "buoyancy", "added_mass")
    return {
        "neutral, tumbling": lone(
            {"body": ellipsoid(SIZE)}, ("added_mass",), start=tumble, solver=two_seconds
        ),
        "ballasted, sinking": lone(
            ballasted,
            sinking,
            start={"roll_deg": 30.0, "pitch_deg": 20.0},
            solver=two_seconds,
        ),
        "on a line in water": lone(tied, (*sinking, "line"), **hung),
        "on a line in air": lone(tied, ("weight", "line"), **hung),
    }


@case("Integrators written for this page")
def independent() -> Iterator[Row]:
    """Comparing two integrators of one right-hand side cannot find a mistake in it. So here the
    equations are written once more, in another form: impulse and angular impulse in the earth frame
    and a rotation matrix as the unknowns (the program has velocities in the bait's frame and a
    quaternion), with SciPy's DOP853 at 1e-12. Loads are those that take a few lines: weight,
    buoyancy, added mass, and an elastic line with damping. The mass matrix is the program's (it is
    compared elsewhere). Drag, plates and wake are not in it. Both steps show that what is left is
    the step. The spring pendulum is a body tied at its centre of gravity, where its attitude does
    not matter: a point on a spring, three equations."""
    source = "Kirchhoff's equations in the earth frame"
    for name, cfg in independent_cases().items():
        bait = sim.assemble(cfg)
        total = bait.rigid_mass + (bait.added_mass if cfg.loads.added_mass else 0.0)
        run = sim.simulate(cfg)
        place, turn = kirchhoff(total, run, simple_loads(cfg, bait, run.rod_tip[0]))
        fine = sim.simulate(sim.with_overrides(cfg, {"solver.step_ms": 0.25}))
        for title, ran, most_mm, most_deg in (
            (f"{name}, shipped step", run, 0.2, 0.5),
            (f"{name}, step 0.25 ms", fine, 1e-4, 1e-3),
        ):
            yield Row(
                f"{title}: largest distance in 2 s",
                float(np.linalg.norm(ran.position - place, axis=1).max()) / MM, 0.0, most_mm,
                source, COMPUTED, "mm", "absolute",
            )  # fmt: skip
            yield Row(
                f"{title}: largest angle in 2 s", float(turn_deg(ran.attitude, turn).max()), 0.0,
                most_deg, source, COMPUTED, "degrees", "absolute",
            )  # fmt: skip

    # a sphere tied at its centre: only its place matters
    cfg = lone(
        {
            "body": ellipsoid((20.0, 20.0, 20.0), 2.0),
            "tie": {"from_nose_mm": 10.0, "above_centreline_mm": 0.0},
        },
        ("weight", "line"),
        solver=lasting(4.0),
        line={**SOFT, "damping_ratio": 0.02},
        retrieve={"speed_m_s": 0.0},
        start={"depth_m": 0.2, "yaw_deg": 0.0, "velocity_m_s": [0.0, 0.8, 0.0]},
    )
    run = sim.simulate(cfg)
    assert cfg.line is not None
    mass = 2000.0 * 4.0 / 3.0 * math.pi * 0.01**3
    length = cfg.line.length_m
    stiffness = 0.05e9 * math.pi * 0.14e-3**2 / length
    damping = 2.0 * 0.02 * math.sqrt(stiffness * mass)

    def rate(_: float, y: np.ndarray) -> np.ndarray:
        away = y[:3] - run.rod_tip[0]
        span = math.sqrt(away @ away)
        pull = stiffness * (span - length) + damping * float(y[3:] @ away) / span
        pull = max(0.0, pull) if span > length else 0.0
        return np.concatenate([y[3:], [0.0, 0.0, GRAVITY] - pull / mass * away / span])

    assert run.line_tension[2:].min() > 0.0
    start = np.concatenate([run.position[0], run.velocity[0, :3]])
    expected = solve_ivp(
        rate, (0.0, run.time[-1]), start, "DOP853", run.time, rtol=1e-12, atol=1e-14
    ).y.T
    for axis, letter in enumerate("xyz"):
        yield Row(
            f"spring pendulum: {letter} after 4 s", float(run.position[-1, axis]) / MM,
            float(expected[-1, axis]) / MM, 1e-2, "a point on a spring", COMPUTED, "mm", "absolute",
        )  # fmt: skip
    yield Row(
        "spring pendulum: largest distance in 4 s",
        float(np.linalg.norm(run.position - expected[:, :3], axis=1).max()) / MM, 0.0, 1e-2,
        "a point on a spring", COMPUTED, "mm", "absolute",
    )  # fmt: skip
