"""A rigid body, in vacuum and in ideal fluid, against closed forms and against MuJoCo."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import mujoco
import numpy as np
from matplotlib.figure import Figure
from scipy.integrate import quad
from scipy.interpolate import BarycentricInterpolator
from scipy.linalg import eigh
from scipy.optimize import brentq
from scipy.spatial.transform import Rotation
from scipy.special import ellipj, ellipk

import sim

from .lone import GRAVITY, LOADS, MM, RHO, ellipsoid, lone, plate
from .suite import (
    COMPUTED,
    CONFIGS,
    MEMORY_HIGH,
    OF_REFERENCE,
    OWN,
    READ,
    Row,
    case,
    picture,
)

TOP = (60.0, 40.0, 20.0)  # whole axes of an ellipsoid [mm]; the smallest moment is about x
LANDAU = "Landau & Lifshitz, Mechanics, section 37"
LAMB = "Lamb 1932, Hydrodynamics, Arts. 124, 125"
MUJOCO = "MuJoCo, RK4, step 0.05 ms"
FINE_S = 5e-5  # MuJoCo's step


def stepping(end_s: float, step_ms: float = 2.0, every: int = 1) -> dict[str, float]:
    """Solver table: the shipped fixed step."""
    return {
        "duration_s": end_s,
        "max_duration_s": end_s,
        "step_ms": step_ms,
        "output_step_ms": step_ms * every,
    }


def run_to_end(cfg: sim.Config) -> sim.RunResult:
    """A run that must not blow up."""
    run = sim.simulate(cfg)
    assert run.status != "diverged", run.message
    return run


def crossings(time: np.ndarray, series: np.ndarray) -> np.ndarray:
    """Times of the upward zero crossings, by a cubic through the four records around each."""
    found = []
    for i in np.flatnonzero((series[:-1] < 0.0) & (series[1:] >= 0.0)):
        low = min(max(int(i) - 1, 0), int(time.size) - 4)
        four = slice(low, low + 4)
        # the series runs one way here, so time is a smooth function of it
        found.append(float(BarycentricInterpolator(series[four], time[four])(0.0)))
    return np.array(found)


def apart_deg(a: np.ndarray, b: np.ndarray) -> float:
    """Largest angle between two series of attitudes, (n, 4) quaternions, scalar first."""
    turn = Rotation.from_quat(a, scalar_first=True).inv() * Rotation.from_quat(b, scalar_first=True)
    return math.degrees(float(turn.magnitude().max()))


# --- MuJoCo --------------------------------------------------------------------------------------


def mujoco_body(bait: sim.Assembly, line: sim.Config | None = None) -> mujoco.MjModel:
    """The same rigid body, in the same frame (z down), as a free body of MuJoCo.

    ``line`` adds gravity and a spring from the origin to the tie point that cannot push: a tendon
    whose rest length is anything from zero to the length of the line.
    """
    inertia = " ".join(
        f"{bait.inertia[i]:.17g}" for i in ((0, 0), (1, 1), (2, 2), (0, 1), (0, 2), (1, 2))
    )
    tendon, site, gravity = "", "", 0.0
    if line is not None:
        assert line.line is not None
        assert bait.r_b_tie is not None
        gravity = line.water.gravity_m_s2
        length = line.line.length_m
        area = math.pi * (0.5 * MM * line.line.diameter_mm) ** 2
        stiffness = line.line.modulus_gpa * 1e9 * area / length
        damping = 2.0 * line.line.damping_ratio * math.sqrt(stiffness * bait.mass)
        site = f'<site name="tie" pos="{" ".join(f"{x:.17g}" for x in bait.r_b_tie)}"/>'
        tendon = f"""<tendon><spatial springlength="0 {length:.17g}" stiffness="{stiffness:.17g}"
            damping="{damping:.17g}"><site site="rod"/><site site="tie"/></spatial></tendon>"""
    return mujoco.MjModel.from_xml_string(
        f"""<mujoco><option gravity="0 0 {gravity:.17g}" integrator="RK4"/>
        <compiler boundmass="0" boundinertia="0"/>
        <worldbody><site name="rod"/><body><freejoint/>
        <inertial pos="0 0 0" mass="{bait.mass:.17g}" fullinertia="{inertia}"/>{site}
        </body></worldbody>{tendon}</mujoco>"""
    )


def mujoco_run(
    model: mujoco.MjModel, run: sim.RunResult, step_s: float, origin: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Positions, attitudes and velocities (ours: bait frame) of MuJoCo at our times."""
    data = mujoco.MjData(model)
    model.opt.timestep = step_s
    start = Rotation.from_quat(run.attitude[0], scalar_first=True)
    data.qpos[:3], data.qpos[3:] = run.position[0] - origin, run.attitude[0]
    data.qvel[:3], data.qvel[3:] = start.apply(run.velocity[0, :3]), run.velocity[0, 3:]
    steps = round((run.time[1] - run.time[0]) / step_s)
    states = [np.concatenate([data.qpos, data.qvel])]
    for _ in run.time[1:]:
        mujoco.mj_step(model, data, steps)
        states.append(np.concatenate([data.qpos, data.qvel]))
    found = np.array(states)
    turn = Rotation.from_quat(found[:, 3:7], scalar_first=True)
    velocity = np.hstack([turn.apply(found[:, 7:10], inverse=True), found[:, 10:]])
    return found[:, :3] + origin, found[:, 3:7], velocity


# --- free rotation -------------------------------------------------------------------------------


def jacobi_rates(
    inertia: np.ndarray, a: float, c: float, t: np.ndarray
) -> tuple[np.ndarray, float]:
    """Rates of a free asymmetric top that starts with (a, 0, c), and their period; I1 < I2 < I3."""
    i1, i2, i3 = inertia
    energy2 = i1 * a * a + i3 * c * c  # 2 E
    spin2 = (i1 * a) ** 2 + (i3 * c) ** 2  # L^2
    swap = spin2 < energy2 * i2
    if swap:
        i1, i3 = i3, i1
    rate = math.sqrt((i3 - i2) * (spin2 - energy2 * i1) / (i1 * i2 * i3))
    m = (i2 - i1) * (energy2 * i3 - spin2) / ((i3 - i2) * (spin2 - energy2 * i1))
    sn, cn, dn, _ = ellipj(rate * t, m)
    first = math.sqrt((energy2 * i3 - spin2) / (i1 * (i3 - i1))) * cn
    second = math.sqrt((energy2 * i3 - spin2) / (i2 * (i3 - i2))) * sn
    third = math.sqrt((spin2 - energy2 * i1) / (i3 * (i3 - i1))) * dn
    if swap:
        first, second, third = third, second, first
    return np.column_stack([first, second, third]), 4.0 * float(ellipk(m)) / rate


@case("Free rotation: closed forms")
def free_rotation() -> Iterator[Row]:
    """A body without any load, turning freely. The rates of an asymmetric top are elliptic
    functions of time. The period of a body that starts almost about its middle axis, and turns over
    again and again (a plate with moments of inertia as 1 : 2 : 3, one turn of the rate about y
    being one turn over and back), is the hardest of these: it grows without end as the start comes
    nearer to the axis. Times are for a rate of 1 rad/s; the program turns the plate at 100 rad/s. A
    bait that turns this fast is far beyond any wobble: what is left of the difference is the fixed
    step."""
    for start, name in (((4.0, 9.0), "z"), ((12.0, 3.0), "x")):
        rates = [math.degrees(start[0]), 0.0, math.degrees(start[1])]
        cfg = lone(
            {"body": ellipsoid(TOP)}, start={"rates_deg_s": rates}, solver=stepping(2.0, 0.5)
        )
        bait, run = sim.assemble(cfg), run_to_end(cfg)
        expected, _ = jacobi_rates(np.diag(bait.inertia), *start, run.time)
        for axis, letter in ((0, "p"), (1, "q"), (2, "r")):
            yield Row(
                f"top turning mostly about {name}: {letter} after 2 s",
                run.velocity[-1, 3 + axis], expected[-1, axis], 1e-8,
                LANDAU, MEMORY_HIGH, "rad/s", "absolute",
            )  # fmt: skip
        yield Row(
            f"top turning mostly about {name}: largest error of the rates in 2 s",
            float(np.abs(run.velocity[:, 3:] - expected).max()), 0.0, 1e-8,
            LANDAU, MEMORY_HIGH, "rad/s", "absolute",
        )  # fmt: skip
        spin = Rotation.from_quat(run.attitude, scalar_first=True).apply(
            run.velocity[:, 3:] * np.diag(bait.inertia)
        )
        yield Row(
            f"top turning mostly about {name}: wander of its angular momentum in the earth frame",
            float(np.abs(spin - spin[0]).max() / np.linalg.norm(spin[0])), 0.0, 1e-8,
            "conserved", COMPUTED, "1", "absolute",
        )  # fmt: skip

    fast = 100.0
    flat = plate(20.0 * math.sqrt(2.0), 20.0, thickness_mm=1e-3)
    for eps, period, tolerance in (
        (1e-1, 25.51097788, 1e-6),
        (1e-2, 41.50921953, 1e-6),
        (1e-3, 57.46284887, 1e-6),
        (1e-6, 105.32088600, 1e-4),
    ):
        cfg = lone(
            {"plate": [flat]},
            start={"rates_deg_s": [math.degrees(eps * fast), math.degrees(fast), 0.0]},
            solver=stepping(math.ceil(140.0 * period / fast) / 100.0, 0.05, 4),
        )
        inertia = np.diag(sim.assemble(cfg).inertia)
        assert np.allclose(inertia / inertia[0], [1.0, 2.0, 3.0], rtol=1e-8, atol=0.0)
        run = run_to_end(cfg)
        times = crossings(run.time, -run.velocity[:, 4])
        yield Row(
            f"middle axis, start {eps:g} off it: period", fast * (times[1] - times[0]), period,
            tolerance, LANDAU, MEMORY_HIGH, "s",
        )  # fmt: skip

    eps = 1e-5
    cfg = lone(
        {"plate": [flat]},
        start={"rates_deg_s": [math.degrees(eps * fast), math.degrees(fast), 0.0]},
        solver=stepping(0.1, 0.1),
    )
    run = run_to_end(cfg)
    yield Row(
        "middle axis: growth rate of a small error",
        math.acosh(run.velocity[-1, 3] / run.velocity[0, 3]) / (fast * run.time[-1]),
        math.sqrt((3.0 - 2.0) * (2.0 - 1.0) / (1.0 * 3.0)), 1e-6,
        "Euler's equations, linear about the axis", COMPUTED, "1/s",
    )  # fmt: skip

    for shape, name in (((60.0, 20.0, 20.0), "long"), ((20.0, 50.0, 50.0), "flat")):
        spin, across = 30.0, 4.0
        cfg = lone(
            {"body": ellipsoid(shape)},
            start={"rates_deg_s": [math.degrees(spin), math.degrees(across), 0.0]},
            solver=stepping(1.0, 0.25),
        )
        run = run_to_end(cfg)
        i_x, i_y, _ = np.diag(sim.assemble(cfg).inertia)
        angle = np.unwrap(np.arctan2(run.velocity[:, 5], run.velocity[:, 4]))
        yield Row(
            f"{name} symmetric top: rate at which its axis of rotation goes round",
            float(angle[-1] / run.time[-1]), (i_x - i_y) / i_y * spin, 1e-8,
            "Landau & Lifshitz, Mechanics, section 33", MEMORY_HIGH, "rad/s",
        )  # fmt: skip


SPINS = {
    "bait, mostly in yaw": ("shallow-runner", (4.0, 1.0, 9.0)),
    "bait, mostly in roll": ("shallow-runner", (12.0, 1.0, 3.0)),
    "bait, tumbling": ("shallow-runner", (3.0, 12.0, -2.0)),
    "ellipsoid, about its middle axis": (None, (0.1, 12.0, 0.0)),
}


def thrown(name: str | None, rates: Sequence[float]) -> sim.Config:
    """The rigid part of a demonstration bait, or the ellipsoid, let go without any load."""
    start = {
        "velocity_m_s": [0.4, -0.2, 0.1],
        "rates_deg_s": [math.degrees(w) for w in rates],
    }
    solver = stepping(3.0, 1.0, 10)
    if name is None:
        return lone({"body": ellipsoid(TOP)}, start=start, solver=solver)
    changes: dict[str, Any] = {f"loads.{load}": False for load in LOADS}
    changes |= {"line": None, "water.surface": False}
    changes |= {f"start.{key}": value for key, value in start.items()}
    changes |= {f"solver.{key}": value for key, value in solver.items()}
    return sim.with_overrides(sim.load_config(CONFIGS / f"{name}.toml"), changes)


@case("Free rotation: MuJoCo")
def free_rotation_mujoco() -> Iterator[Row]:
    """The rigid part of a demonstration bait (its mass, its full inertia matrix with the product of
    inertia that bill and ballast bring) thrown into empty space, no load at all, for 3 s and about
    five turns, and an ellipsoid about its middle axis. The same masses go to MuJoCo, a rigid-body
    library for robots, which keeps its own frames, its own quaternion and its own integrator. Euler
    angles could hide a difference, so the angle of the rotation that takes one attitude to the
    other is given. MuJoCo's own error is shown by halving its step."""
    for name, (bait_name, rates) in SPINS.items():
        cfg = thrown(bait_name, rates)
        run, bait = run_to_end(cfg), sim.assemble(cfg)
        model = mujoco_body(bait)
        position, attitude, velocity = mujoco_run(model, run, FINE_S, np.zeros(3))
        _, rough, _ = mujoco_run(model, run, 2.0 * FINE_S, np.zeros(3))
        turned = np.linalg.norm(run.velocity[:, 3:], axis=1).mean() * run.time[-1] / (2 * math.pi)
        assert turned > 4.0
        for axis, letter in ((0, "p"), (1, "q"), (2, "r")):
            yield Row(
                f"{name}: {letter} after 3 s", run.velocity[-1, 3 + axis], velocity[-1, 3 + axis],
                1e-6, MUJOCO, COMPUTED, "rad/s", "absolute",
            )  # fmt: skip
        yield Row(
            f"{name}: largest angle between the attitudes",
            apart_deg(run.attitude, attitude), 0.0, 1e-5, MUJOCO, COMPUTED, "degrees", "absolute",
        )  # fmt: skip
        yield Row(
            f"{name}: largest distance between the places",
            float(np.linalg.norm(run.position - position, axis=1).max()) / MM, 0.0, 1e-4,
            MUJOCO, COMPUTED, "mm", "absolute",
        )  # fmt: skip
        yield Row(
            f"{name}: MuJoCo at twice the step, largest angle",
            apart_deg(rough, attitude), 0.0, 1e-6, MUJOCO, OF_REFERENCE, "degrees", "absolute",
            "MuJoCo against itself: its own error.",
        )  # fmt: skip


# --- hanging on a line ---------------------------------------------------------------------------


def hanging(name: str, **start: Any) -> sim.Config:
    """A demonstration bait in air so thin that it has no loads, on a short elastic line."""
    off = {f"loads.{load}": load in ("weight", "line") for load in LOADS}
    return sim.with_overrides(
        sim.load_config(CONFIGS / f"{name}.toml"),
        {
            **off,
            "water.surface": False,
            "line.length_m": 0.15,
            "line.modulus_gpa": 0.05,
            "line.damping_ratio": 0.05,
            "line.normal_drag_coefficient": 0.0,
            "line.tangential_drag_coefficient": 0.0,
            "line.rod_tip_height_m": 0.0,
            "retrieve.speed_m_s": 0.0,
            **{f"start.{key}": value for key, value in start.items()},
            **{f"solver.{k}": v for k, v in stepping(2.0, 0.5, 8).items()},
        },
    )


HANGING: dict[str, dict[str, Any]] = {
    "swinging": {"depth_m": 0.12, "yaw_deg": 0.0, "pitch_deg": 60.0},
    "thrown": {
        "depth_m": 0.10,
        "yaw_deg": 30.0,
        "pitch_deg": 20.0,
        "roll_deg": -25.0,
        "velocity_m_s": [0.1, 0.4, 0.2],
        "rates_deg_s": [200.0, -100.0, 300.0],
    },
}


@case("Bait hanging on a line: MuJoCo")
def hanging_mujoco() -> Iterator[Row]:
    """The rigid part of a demonstration bait hangs on 15 cm of soft line in air: only weight and
    line act, and the rod tip stands still. It is a double pendulum in three dimensions with a
    spring for its upper link. In MuJoCo the line is a tendon with the same stiffness and damping
    that is slack below its length. The program cannot hold a tie point fixed, so no pendulum
    without a line is compared. This tests the pull of the line, its arm about the centre of
    gravity, weight, and the frames; water is in the other cases. "Swinging" stays in the vertical
    plane, "thrown" goes all ways. Small differences grow in a double pendulum: hence only 2 s."""
    for bait_name in ("shallow-runner", "slab-sided"):
        for name, start in HANGING.items():
            cfg = hanging(bait_name, **start)
            run, bait = run_to_end(cfg), sim.assemble(cfg)
            assert run.line_tension[10:].min() > 0.0, run.line_tension.min()
            model = mujoco_body(bait, cfg)
            rod = run.rod_tip[0]
            position, attitude, _ = mujoco_run(model, run, FINE_S, rod)
            rough, _, _ = mujoco_run(model, run, 2.0 * FINE_S, rod)
            title = f"{bait_name}, {name}"
            for axis, letter in enumerate("xyz"):
                if letter == "y" and name == "swinging":
                    continue  # in the vertical plane both have a rounded zero
                yield Row(
                    f"{title}: {letter} after 2 s from the rod tip",
                    (run.position[-1, axis] - rod[axis]) / MM,
                    (position[-1, axis] - rod[axis]) / MM,
                    1e-4, MUJOCO, COMPUTED, "mm", "absolute",
                )  # fmt: skip
            yield Row(
                f"{title}: largest distance between the places",
                float(np.linalg.norm(run.position - position, axis=1).max()) / MM, 0.0, 1e-4,
                MUJOCO, COMPUTED, "mm", "absolute",
            )  # fmt: skip
            yield Row(
                f"{title}: largest angle between the attitudes", apart_deg(run.attitude, attitude),
                0.0, 1e-3, MUJOCO, COMPUTED, "degrees", "absolute",
            )  # fmt: skip
            yield Row(
                f"{title}: MuJoCo at twice the step, largest distance",
                float(np.linalg.norm(rough - position, axis=1).max()) / MM, 0.0, 1e-6,
                MUJOCO, OF_REFERENCE, "mm", "absolute", "MuJoCo against itself: its own error.",
            )  # fmt: skip


@picture(
    "rigid-body.png",
    "Left: an ellipsoid of 60 x 40 x 20 mm let go about its middle axis turns over and over; q is"
    " its rate about that axis. Right: the path of the centre of gravity of a demonstration bait"
    " thrown on 15 cm of soft line in air. Lines: the program; marks: MuJoCo.",
)
def rigid_picture() -> Figure:
    """Rates about the middle axis, and the path of a thrown bait, ours and MuJoCo's."""
    figure = Figure(figsize=(7.0, 3.6), layout="constrained")
    left, right = figure.subplots(1, 2)
    spin = run_to_end(thrown(*SPINS["ellipsoid, about its middle axis"]))
    model = mujoco_body(sim.assemble(spin.config))
    _, _, velocity = mujoco_run(model, spin, FINE_S, np.zeros(3))
    for axis, letter, colour, style, mark in (
        (3, "p", "#0072B2", "-", "o"),
        (4, "q", "#D55E00", "--", "s"),
        (5, "r", "#009E73", ":", "^"),
    ):
        left.plot(spin.time, spin.velocity[:, axis], style, color=colour, label=letter)
        left.plot(spin.time[::8], velocity[::8, axis], mark, color=colour, ms=3.5, mfc="none")
    left.set(xlabel="time [s]", ylabel="rate [rad/s]")
    left.legend(loc="upper right", ncols=3, fontsize="small")
    left.set_ylim(-14.0, 18.0)
    run = run_to_end(hanging("shallow-runner", **HANGING["thrown"]))
    place, _, _ = mujoco_run(
        mujoco_body(sim.assemble(run.config), run.config), run, FINE_S, run.rod_tip[0]
    )
    for axis, name, colour, style, mark in (
        (1, "sideways y", "#0072B2", "-", "o"),
        (2, "below the rod tip z", "#D55E00", "--", "s"),
    ):
        offset = run.rod_tip[0, axis]
        right.plot(run.time, (run.position[:, axis] - offset) / MM, style, color=colour, label=name)
        right.plot(
            run.time[::10],
            (place[::10, axis] - offset) / MM,
            mark,
            color=colour,
            ms=3.5,
            mfc="none",
        )
    right.set(xlabel="time [s]", ylabel="place [mm]")
    right.set_ylim(-180.0, 300.0)
    right.legend(loc="upper right", fontsize="small")
    return figure


# --- ideal fluid ---------------------------------------------------------------------------------


def lamb_added_mass(size_mm: Sequence[float]) -> tuple[np.ndarray, np.ndarray]:
    """Added mass [kg] and added moment of inertia [kg m2] of an ellipsoid, each shape (3,).

    Lamb 1932, Arts. 114, 121a, his integrals by quadrature.
    """
    semi = 0.5 * MM * np.asarray(size_mm, dtype=float)
    squares = (semi / semi.max()) ** 2  # the integrals have no size

    def alpha(i: int) -> float:
        def integrand(t: float) -> float:
            u = t / (1.0 - t)  # 0 to infinity
            return 1.0 / ((squares[i] + u) * math.sqrt(np.prod(squares + u)) * (1.0 - t) ** 2)

        found, _ = quad(integrand, 0.0, 1.0, epsabs=0.0, epsrel=1e-12, limit=500)
        return math.sqrt(float(np.prod(squares))) * found

    alphas = np.array([alpha(i) for i in range(3)])
    displaced = RHO * 4.0 / 3.0 * math.pi * float(np.prod(semi))
    inertia = np.zeros(3)
    for i in range(3):
        j, k = (i + 1) % 3, (i + 2) % 3
        less, plus = squares[j] - squares[k], squares[j] + squares[k]
        if less != 0.0:
            apart = alphas[k] - alphas[j]
            inertia[i] = displaced / 5.0 * less**2 * apart / (2.0 * less - plus * apart)
    return displaced * alphas / (2.0 - alphas), inertia * semi.max() ** 2


# The unit of length is 10 mm, of time 10 ms, so that a speed of 1 is 1 m/s.
UNIT_M, UNIT_S = 0.01, 0.01
TUMBLE = {
    "velocity_m_s": [1.0, 0.2, -0.1],
    "rates_deg_s": [math.degrees(w / UNIT_S) for w in (0.3, 0.2, 0.5)],
}


def ideal(solver: Mapping[str, Any], start: Mapping[str, Any], **water: Any) -> sim.Config:
    """The neutral ellipsoid 3 : 2 : 1 with its added mass and no other load."""
    return lone({"body": ellipsoid(TOP)}, ("added_mass",), start=start, solver=solver, water=water)


@case("Ellipsoid in ideal fluid: what is conserved")
def kirchhoff_invariants() -> Iterator[Row]:
    """An ellipsoid 3 : 2 : 1 that weighs what it displaces tumbles through water without friction:
    only its added mass acts, with the couple that turns a slender body across the stream (the Munk
    moment). Kirchhoff's equations keep the energy, the size of the impulse, the product of impulse
    and angular impulse, and in the earth frame both impulses as vectors. Lengths in units of 10 mm,
    times of 10 ms, water density 1. The shipped step of 2 ms is coarse here (the body turns at up
    to 60 rad/s, several times a wobble); the step of 0.1 ms shows that what is left comes from it.
    Water that moves as a whole must carry the motion with it."""
    total = np.diag((bait := sim.assemble(ideal(stepping(1.0), TUMBLE))).rigid_mass)
    total = total + np.diag(bait.added_mass)
    unit = RHO * UNIT_M**3 * np.array([1.0] * 3 + [UNIT_M**2] * 3)
    for name, ours, reference in zip(
        ("surge", "sway", "heave", "roll", "pitch", "yaw"),
        total / unit,
        (29.7887425, 34.2947121, 59.3516589, 34.7652989, 85.8653130, 69.2593187),
        strict=True,
    ):
        yield Row(
            f"solid and added together, {name}", float(ours), reference, 2e-8,
            "Lamb 1932, Hydrodynamics, Arts. 114, 121a", COMPUTED,
        )  # fmt: skip
    for step_ms, every, tolerance in ((0.1, 20, 1e-8), (2.0, 1, 2e-3)):
        run = run_to_end(ideal(stepping(2.0, step_ms, every), TUMBLE))
        momentum = run.velocity * total
        impulse, angular = momentum[:, :3], momentum[:, 3:]
        turn = Rotation.from_quat(run.attitude, scalar_first=True)
        in_earth = turn.apply(impulse)
        about_origin = turn.apply(angular) + np.cross(run.position, in_earth)
        reach = float(np.linalg.norm(angular[0])) + float(np.linalg.norm(impulse[0])) * float(
            np.linalg.norm(run.position, axis=1).max()
        )
        assert np.ptp(run.velocity[:, 0]) > 0.5, "the body should tumble"

        def conserved(
            name: str, series: np.ndarray, step_ms: float = step_ms, tolerance: float = tolerance
        ) -> Row:
            return Row(
                f"step {step_ms:g} ms: {name} after 2 s over its start",
                float(series[-1] / series[0]), 1.0, tolerance, LAMB, MEMORY_HIGH,
            )  # fmt: skip

        yield conserved("energy", (run.velocity * momentum).sum(axis=1))
        yield conserved("square of the impulse", (impulse**2).sum(axis=1))
        yield conserved("impulse times angular impulse", (impulse * angular).sum(axis=1))
        yield Row(
            f"step {step_ms:g} ms: largest wander of the impulse in the earth frame",
            float(np.linalg.norm(in_earth - in_earth[0], axis=1).max())
            / float(np.linalg.norm(impulse[0])),
            0.0, tolerance, LAMB, MEMORY_HIGH, "1", "absolute",
        )  # fmt: skip
        yield Row(
            f"step {step_ms:g} ms: largest wander of the angular impulse in the earth frame",
            float(np.linalg.norm(about_origin - about_origin[0], axis=1).max()) / reach,
            0.0, tolerance, LAMB, MEMORY_HIGH, "1", "absolute",
            "Over its own size and the impulse's with the longest arm of the path.",
        )  # fmt: skip

    still = run_to_end(ideal(stepping(0.5, 0.1, 10), TUMBLE))
    speed, toward = 0.7, math.radians(40.0)
    current = speed * np.array([math.cos(toward), math.sin(toward), 0.0])
    moved = run_to_end(
        ideal(
            stepping(0.5, 0.1, 10),
            {**TUMBLE, "velocity_m_s": list(np.array(TUMBLE["velocity_m_s"]) + current)},
            current_m_s=speed,
            current_toward_deg=40.0,
        )
    )
    carried = still.position + still.time[:, None] * current
    yield Row(
        "in a current: largest distance from the motion in still water, carried along",
        float(np.linalg.norm(moved.position - carried, axis=1).max()) / MM, 0.0, 1e-4,
        "Galileo: two runs alike", OWN, "mm", "absolute",
    )  # fmt: skip
    yield Row(
        "in a current: largest angle from the motion in still water",
        apart_deg(moved.attitude, still.attitude), 0.0, 1e-4, "Galileo: two runs alike", OWN,
        "degrees", "absolute",
    )  # fmt: skip


@case("Ellipsoid in ideal fluid: stability of straight motion")
def straight_motion() -> Iterator[Row]:
    """Nose first, a body without fins is unstable in ideal fluid: an error grows at a rate that
    follows from the added masses. Broadside on it swings about its course. Every bait fights the
    first of these; the linear side force and the pull of the line hold it."""
    mass, inertia = lamb_added_mass(TOP)
    solid = RHO * 4.0 / 3.0 * math.pi * 0.03 * 0.02 * 0.01
    m_x, m_z = solid + mass[0], solid + mass[2]
    i_y = solid / 5.0 * (0.03**2 + 0.01**2) + inertia[1]
    kick, speed = 1e-4, 1.0
    rates = [0.0, math.degrees(kick), 0.0]
    source = "Lamb 1932, Hydrodynamics, Art. 124, linear about the straight course"
    run = run_to_end(
        ideal(stepping(0.2, 0.1), {"velocity_m_s": [speed, 0.0, 0.0], "rates_deg_s": rates})
    )
    growth = speed * math.sqrt((m_z - m_x) * m_x / (i_y * m_z))
    at = int(np.searchsorted(run.time, 5.0 / growth))
    yield Row(
        "nose first, 1 m/s: growth rate in pitch",
        math.acosh(run.velocity[at, 4] / kick) / run.time[at], growth, 1e-5,
        source, COMPUTED, "1/s",
    )  # fmt: skip
    run = run_to_end(
        ideal(stepping(1.0, 0.5), {"velocity_m_s": [0.0, 0.0, speed], "rates_deg_s": rates})
    )
    times = crossings(run.time, run.velocity[:, 4])
    swing = speed * math.sqrt((m_z - m_x) * m_z / (i_y * m_x))
    yield Row(
        "broadside on, 1 m/s: frequency in pitch",
        (times.size - 1) / (times[-1] - times[0]), swing / (2.0 * math.pi), 1e-5,
        source, COMPUTED, "Hz",
    )  # fmt: skip


# --- weight, buoyancy, drag ----------------------------------------------------------------------


@case("Thrown and dropped")
def thrown_and_dropped() -> Iterator[Row]:
    """The first check cases of any flight code: a body thrown without drag flies a parabola and
    keeps turning as if it stood still; a sphere dropped with drag follows a hyperbolic tangent,
    without and with the water that it must bring along (half of what it displaces); a thin plate
    sinks flat at the speed at which its drag balances its weight in water. The drag coefficients
    themselves are not tested here: 0.47 of a sphere is built into the program, 1.17 of a square
    plate is compared elsewhere. The plate is an unstable case: it is let go flat and kept so by
    symmetry. A real plate flutters."""
    gravity = GRAVITY
    start = {"velocity_m_s": [2.0, 1.0, -3.0], "rates_deg_s": [300.0, 200.0, -100.0]}
    cfg = lone({"body": ellipsoid(TOP)}, ("weight",), start=start, solver=stepping(1.0, 1.0))
    run = run_to_end(cfg)
    t = run.time[-1]
    for axis, (name, reference) in enumerate(
        (("x", 2.0 * t), ("y", t), ("z", 0.5 - 3.0 * t + 0.5 * gravity * t * t))
    ):
        yield Row(
            f"thrown in vacuum, tumbling: {name} after 1 s", float(run.position[-1, axis]),
            reference, 1e-7, "parabola", COMPUTED, "m", "absolute",
        )  # fmt: skip
    idle = run_to_end(sim.with_overrides(cfg, {"loads.weight": False}))
    yield Row(
        "thrown in vacuum, tumbling: largest angle from the motion without weight",
        apart_deg(run.attitude, idle.attitude), 0.0, 1e-6,
        "weight has no moment: two runs alike", OWN, "degrees", "absolute",
    )  # fmt: skip

    radius, density = 15.0, 2.5
    volume = 4.0 / 3.0 * math.pi * (radius * MM) ** 3
    solid, water = density * 1000.0 * volume, RHO * volume
    ball = {"body": ellipsoid([2.0 * radius] * 3, density)}
    drag = 0.5 * RHO * 0.47 * math.pi * (radius * MM) ** 2
    built_in = (
        "The program's end factor is made so that a sphere has 0.47: the row is on the fall, not on"
        " the coefficient."
    )
    for loads, moved, pull, name in (
        (("weight", "body_drag"), solid, solid, "drag alone"),
        (("weight", "buoyancy", "body_drag"), solid, solid - water, "drag, buoyancy"),
        (
            ("weight", "buoyancy", "added_mass", "body_drag"),
            solid + 0.5 * water,
            solid - water,
            "drag, buoyancy, added mass",
        ),
    ):
        run = run_to_end(lone(ball, loads, solver=stepping(1.0, 1.0)))
        speed = math.sqrt(pull * gravity / drag)
        scale = moved * speed / (pull * gravity)
        source = "U tanh(t/T); C_d 0.47 of a sphere, White, Fluid Mechanics, table 7.3"
        for at in (0.05, 0.2, 1.0):
            yield Row(
                f"dropped sphere, {name}: speed at {at:g} s",
                float(run.velocity[round(at / (run.time[1] - run.time[0])), 2]),
                speed * math.tanh(at / scale), 1e-3, source, MEMORY_HIGH, "m/s", note=built_in,
            )  # fmt: skip
        yield Row(
            f"dropped sphere, {name}: way in 1 s", float(run.position[-1, 2] - 0.5),
            speed * scale * math.log(math.cosh(1.0 / scale)), 1e-3, source, MEMORY_HIGH, "m",
            note=built_in,
        )  # fmt: skip
    run = run_to_end(lone(ball, ("weight", "buoyancy", "added_mass"), solver=stepping(0.1, 1.0)))
    yield Row(
        "dropped sphere, no drag: acceleration", float(run.velocity[-1, 2] / run.time[-1]),
        (solid - water) * gravity / (solid + 0.5 * water), 1e-9,
        "Lamb 1932, Hydrodynamics, Art. 92: half of the displaced mass", MEMORY_HIGH, "m/s2",
    )  # fmt: skip

    sheet = plate(40.0, 40.0, thickness_mm=2.0, density_g_cm3=2.7)
    run = run_to_end(
        lone(
            {"plate": [sheet]},
            ("weight", "buoyancy", "added_mass", "plates"),
            solver=stepping(2.0, 1.0),
            water={"density_kg_m3": 998.2072, "viscosity_m2_s": 1.0034e-6},
        )
    )
    yield Row(
        "aluminium plate of 2 mm, 40 mm square, sinking flat: speed", float(run.velocity[-1, 2]),
        math.sqrt(2.0 * (2700.0 / 998.2072 - 1.0) * gravity * 2.0 * MM / 1.17), 5e-3,
        "weight in water against drag; C_d 1.17: Aeronautical Engineer's Data Book, p. 95", READ,
        "m/s",
    )  # fmt: skip


# --- hanging and floating in water ---------------------------------------------------------------


def pendulum_modes(
    bait: sim.Assembly, length_m: float, across: int, about: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Frequencies [rad/s], modes (line angle, tilt of the body; columns) and kinetic matrix.

    ``across`` and ``about`` are the axes of the swing's direction and of the tilt. The line has no
    mass and does not stretch; the body hangs with its tie point straight above its centres.
    """
    mass, inertia = lamb_added_mass(BALL)
    added, turned = float(mass[across]), float(inertia[about])
    displaced = RHO * bait.volume
    assert bait.r_b_tie is not None
    to_g = -float(bait.r_b_tie[2])
    to_b = to_g + float(bait.r_b_cb[2])
    about_g = float(bait.inertia[about, about])
    coupled = length_m * (bait.mass * to_g + added * to_b)
    kinetic = np.array(
        [
            [(bait.mass + added) * length_m**2, coupled],
            [coupled, bait.mass * to_g**2 + added * to_b**2 + about_g + turned],
        ]
    )
    restoring = GRAVITY * np.array(
        [(bait.mass - displaced) * length_m, bait.mass * to_g - displaced * to_b]
    )
    squared, modes = eigh(np.diag(restoring), kinetic)
    return np.sqrt(squared), modes, kinetic


BALL = (30.0, 30.0, 30.0)
NEUTRAL = (80.0, 14.0, 20.0)
LINE_M = 2.0


def pendulum(plane: str) -> sim.Config:
    """A ballasted sphere that hangs in water, tied a little above its centre of gravity.

    A start must be nearer to the rod tip than the line is long, the centre of gravity too: with the
    tie point 3 mm above it the line starts 3.1 degrees out of plumb, toward a rod tip ahead.
    """
    turned = {"pitch": {"pitch_deg": 1.0}, "roll": {"roll_deg": 1.0}}[plane]
    side = {"pitch": 0.0, "roll": LINE_M * math.sin(math.radians(1.0))}[plane]
    depth = math.sqrt((LINE_M - 1e-9) ** 2 - side**2)
    return lone(
        {
            "body": ellipsoid(BALL, 1.1),
            "ballast": [{"mass_g": 5.0, "from_nose_mm": 15.0, "above_centreline_mm": -9.0}],
            "tie": {"from_nose_mm": 15.0, "above_centreline_mm": 1.0},
        },
        ("weight", "buoyancy", "added_mass", "line"),
        line={
            "length_m": LINE_M,
            "modulus_gpa": 200.0,
            "normal_drag_coefficient": 0.0,
            "tangential_drag_coefficient": 0.0,
            "damping_ratio": 0.5,
        },
        retrieve={"speed_m_s": 0.0},
        start={"depth_m": depth, "y_m": side, "yaw_deg": 0.0, **turned},
        solver=stepping(24.0, 1.0, 4),
    )


@case("Swinging, rolling and bobbing in water")
def swinging_in_water() -> Iterator[Row]:
    """A ballasted sphere hangs in water on 2 m of stiff line from a rod tip that stands still, and
    swings a little, without drag, in pitch and in roll. (A long body would not do: its Munk moment
    acts at the slightest speed, and is as strong as its weights.) The program cannot hold a tie
    point, so the line is the upper link of a double pendulum: in the slow mode the body swings on
    the line, in the fast one it rocks below its tie point. Weight acts at one point, buoyancy and
    added mass at another: a pendulum in water is slower than in air by both. A body that weighs
    what it displaces rolls about its own weights while the water that it drags along moves it
    sideways. A sphere that floats half under water bobs with the stated added mass of the deep
    body: the program does not take the surface into account there."""
    for plane, across, about, sense in (("pitch", 0, 1, 1.0), ("roll", 1, 0, -1.0)):
        run = run_to_end(pendulum(plane))
        bait = sim.assemble(run.config)
        rates, modes, kinetic = pendulum_modes(bait, LINE_M, across, about)
        assert bait.r_b_tie is not None
        linear, turning = run.velocity[:, :3], run.velocity[:, 3:]
        tie = Rotation.from_quat(run.attitude, scalar_first=True).apply(
            linear + np.cross(turning, bait.r_b_tie)
        )
        # rates of line angle and tilt; each mode apart by the kinetic energy's metric
        small = np.column_stack([tie[:, across] / LINE_M, sense * turning[:, about]])
        for rate, mode, name in zip(rates, modes.T, ("slow", "fast"), strict=True):
            times = crossings(run.time, small @ kinetic @ mode)
            yield Row(
                f"hanging in water, {plane}, {name} mode: period",
                (times[-1] - times[0]) / (times.size - 1), 2.0 * math.pi / rate, 1e-3,
                "double pendulum, small swings; added mass: Lamb", COMPUTED, "s", "relative",
                "A swing of 3.1 degrees lengthens the slow period by 2e-4.",
            )  # fmt: skip

    size = np.array(NEUTRAL)
    mass = RHO * math.pi / 6.0 * float(np.prod(size)) * 1e-9
    cfg = lone(
        {
            "total_mass_g": mass * 1e3,
            "body": ellipsoid(NEUTRAL),
            "ballast": [{"mass_g": 4.0, "from_nose_mm": 40.0, "above_centreline_mm": -6.0}],
        },
        ("weight", "buoyancy", "added_mass"),
        start={"roll_deg": 1.0},
        solver=stepping(3.0, 1.0, 2),
    )
    bait, run = sim.assemble(cfg), run_to_end(cfg)
    water, turned = lamb_added_mass(NEUTRAL)
    arm = float(bait.r_b_cb[2])
    sway = float(water[1])
    about_x = bait.inertia[0, 0] + turned[0] + sway * mass / (mass + sway) * arm**2
    times = crossings(run.time, run.velocity[:, 3])
    yield Row(
        "neutral body, ballast below its centre: roll period",
        (times[-1] - times[0]) / (times.size - 1),
        2.0 * math.pi * math.sqrt(about_x / (mass * GRAVITY * abs(arm))), 1e-4,
        "Lamb 1932, Hydrodynamics, Art. 124; small swings", COMPUTED, "s", "relative",
        "A swing of 1 degree lengthens the period by 2e-5.",
    )  # fmt: skip

    radius = 20.0 * MM
    cfg = lone(
        {"body": ellipsoid([40.0] * 3, 0.5)},
        ("weight", "buoyancy", "added_mass"),
        water={"surface": True},
        start={"depth_m": 0.0005},
        solver=stepping(1.2, 1.0),
    )
    run = run_to_end(cfg)
    times = crossings(run.time, run.position[:, 2])
    volume = 4.0 / 3.0 * math.pi * radius**3
    moved = 0.5 * RHO * volume + 0.5 * RHO * volume
    yield Row(
        "half-floating sphere: period of bobbing", (times[-1] - times[0]) / (times.size - 1),
        2.0 * math.pi * math.sqrt(moved / (RHO * GRAVITY * math.pi * radius**2)), 1e-3,
        "added mass of the deep sphere; small heave", COMPUTED, "s",
    )  # fmt: skip


@case("Plate on a line, tied at its centre of pressure")
def towed_plate() -> Iterator[Row]:
    """A weightless square plate on a line, tied on its middle line ahead of its centre. Whatever
    the angle of the line, the plate must ride at the incidence at which its centre of pressure is
    at the tie point: the couple of its own added mass must not come in a second time (measured
    centres of pressure hold it). The law for the centre of pressure is the program's own, so this
    row tests that law, loads, added mass and line fit together, not the law. It starts 3 degrees
    off. Tied farther forward than these the plate still has this balance but flutters about it."""
    chord = 40.0
    for ahead in (0.05, 0.08):
        expected = brentq(
            lambda a, ahead=ahead: math.cos(a) * (0.25 - 0.05 * math.sin(a)) - ahead, 0.1, 1.57
        )
        cfg = lone(
            {
                "plate": [plate(chord, chord)],
                "tie": {"from_nose_mm": -ahead * chord, "above_centreline_mm": 0.0},
            },
            ("plates", "added_mass", "line"),
            line={
                "length_m": 1.0, "normal_drag_coefficient": 0.0, "tangential_drag_coefficient": 0.0,
            },
            retrieve={"speed_m_s": 1.0},
            start={"depth_m": 0.7, "yaw_deg": 0.0, "pitch_deg": 3.0 - math.degrees(expected)},
            solver=stepping(8.0, 2.0, 5),
        )  # fmt: skip
        run = run_to_end(cfg)
        u, _, w = run.velocity[-1, :3]
        yield Row(
            f"tied {100 * ahead:g} % of the chord ahead of the centre: incidence",
            math.degrees(math.atan2(-w, u)), math.degrees(expected), 1e-2,
            "the program's own law of the centre of pressure, solved by hand", OWN, "degrees",
            "absolute",
        )  # fmt: skip
