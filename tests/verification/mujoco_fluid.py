"""The ellipsoid fluid model of MuJoCo, term by term where it has the same terms."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

import mujoco
import numpy as np
from scipy.spatial.transform import Rotation

import sim

from .lone import GRAVITY, MM, RHO, ellipsoid, lone
from .suite import ARRIVES, COMPUTED, CONFIGS, Row, case

MUJOCO = "MuJoCo, ellipsoid fluid model"
SHAPES = {  # whole axes along x, y, z [mm]
    "sphere": (30.0, 30.0, 30.0),
    "2:1 spheroid": (60.0, 30.0, 30.0),
    "6:1 spheroid": (90.0, 15.0, 15.0),
    "3:2:1 ellipsoid": (60.0, 40.0, 20.0),
    "disc of 50 x 5": (50.0, 50.0, 5.0),
}


def row_of(values: Any) -> str:
    """Numbers as MuJoCo's XML has them."""
    return " ".join(f"{x:.17g}" for x in values)


def in_water(
    size: Sequence[float],
    mass: float = 1.0,
    inertia: Sequence[float] | np.ndarray = (1.0, 1.0, 1.0),
    centre: Sequence[float] | np.ndarray = (0.0, 0.0, 0.0),
    blunt: float = 0.0,
    buoyancy: float = 0.0,
    gravity: float = 0.0,
) -> mujoco.MjModel:
    """A free ellipsoid in MuJoCo's water; ``centre`` from its centre of gravity [m].

    Of the five coefficients only that of blunt drag is ever set: no slender and no angular drag, no
    Kutta lift, no Magnus force. Added mass has no coefficient and is always there.
    """
    return mujoco.MjModel.from_xml_string(
        f"""<mujoco><compiler boundmass="0" boundinertia="0"/>
        <option gravity="0 0 {gravity:.17g}" density="{RHO}" viscosity="0" integrator="RK4"/>
        <worldbody><body gravcomp="{buoyancy:.17g}"><freejoint/>
        <inertial pos="0 0 0" mass="{mass:.17g}" diaginertia="{row_of(inertia)}"/>
        <geom type="ellipsoid" pos="{row_of(centre)}" size="{row_of(0.5 * MM * x for x in size)}"
         mass="0" fluidshape="ellipsoid" fluidcoef="{blunt:.17g} 0 0 0 0"/>
        </body></worldbody></mujoco>"""
    )


def fluid_load(
    model: mujoco.MjModel, velocity: Sequence[float], rates: Sequence[float], turn: Rotation
) -> np.ndarray:
    """Force and moment of MuJoCo's water about the centre of gravity, bait frame, shape (6,)."""
    data = mujoco.MjData(model)
    data.qpos[3:] = turn.as_quat(scalar_first=True)
    # a free body of MuJoCo has velocity and force in the earth frame, rates and moment in its own
    data.qvel[:3], data.qvel[3:] = turn.apply(velocity), rates
    mujoco.mj_forward(model, data)
    return np.concatenate([turn.apply(data.qfrc_fluid[:3], inverse=True), data.qfrc_fluid[3:]])


@case("Added mass of ellipsoids: MuJoCo")
def added_mass() -> Iterator[Row]:
    """MuJoCo, a rigid-body library for robots, has a fluid model for ellipsoids; its added masses
    are Green's integrals, worked out by a quadrature of its own. They are compared with what the
    assembly of a lone ellipsoid gives, in units of the displaced mass, and of its moment of inertia
    per mass in cm2. The body of a demonstration bait is shown beside the ellipsoid of its length,
    its volume and the shape of its greatest section. Bill, fins and hooks have no counterpart
    there."""
    for name, size in SHAPES.items():
        bait = sim.assemble(lone({"body": ellipsoid(size)}, ("added_mass",)))
        ours = np.diag(bait.added_mass)
        fluid = in_water(size).geom_fluid[0]
        volume = math.pi / 6.0 * float(np.prod(size)) * MM**3
        for k, axis in enumerate(("surge", "sway", "heave", "roll", "pitch", "yaw")):
            unit = RHO * volume * (1.0 if k < 3 else 1e-4)
            theirs = RHO * float(fluid[6 + k])
            if theirs == 0.0:
                assert abs(ours[k]) < 1e-15
                continue
            yield Row(
                f"{name}: {axis}", float(ours[k]) / unit, theirs / unit, 1e-5, MUJOCO, COMPUTED,
                "1" if k < 3 else "cm2",
            )  # fmt: skip
    cfg = sim.load_config(CONFIGS / "shallow-runner.toml")
    body = cfg.bait.body
    assert body is not None
    height = max(s.upper_mm + s.lower_mm for s in body.station)
    width = max(2.0 * s.half_width_mm for s in body.station)
    bait = sim.assemble(cfg)
    assert bait.body is not None
    cross = bait.body.volume / (MM**3 * math.pi / 6.0 * body.length_mm)
    shrink = math.sqrt(cross / (height * width))
    size = (body.length_mm, width * shrink, height * shrink)
    alone = sim.assemble(
        sim.config_from_dict(
            {
                "bait": {"body": {**body.model_dump(exclude_none=True), "density_g_cm3": 1.0}},
                "water": {"density_kg_m3": RHO, "viscosity_m2_s": 1e-6},
            }
        )
    )
    fluid = in_water(size).geom_fluid[0]
    for k, axis in enumerate(("surge", "sway", "heave")):
        yield Row(
            f"shallow-runner, body without bill: {axis}",
            float(alone.added_mass[k, k]) / (RHO * alone.volume),
            float(fluid[6 + k]) / alone.volume, math.inf,
            "MuJoCo, the ellipsoid of equal length, volume and section", COMPUTED, "1", "relative",
            "A bait is no ellipsoid: what a model made of ellipsoids would miss, not an error.",
        )  # fmt: skip


MOTIONS = {
    "10 deg yaw": ((1.0, -math.tan(math.radians(10.0)), 0.0), (0.0, 0.0, 0.0)),
    "45 deg nose up": ((1.0, 0.0, 1.0), (0.0, 0.0, 0.0)),
    "aslant": ((1.0, 0.2, -0.1), (0.0, 0.0, 0.0)),
    "turning": ((0.0, 0.0, 0.0), (5.0, -8.0, 12.0)),
    "aslant and turning": ((1.0, 0.2, -0.1), (5.0, -8.0, 12.0)),
}


@case("Loads of the added mass in steady motion: MuJoCo")
def munk_couple() -> Iterator[Row]:
    """What the water's added mass does to an ellipsoid that moves aslant or turns, at an instant:
    the Munk couple, which turns a body across the stream, and the forces and couples that come with
    turning. It is MuJoCo's whole added-mass load: it leaves out the part that answers accelerations
    (the next case shows it), which the program has in its mass matrix. A captive test holds the
    motion steady, so both must agree. The last block has ballast below and ahead of the centre: the
    loads are then about a centre of gravity that is not the ellipsoid's centre. The attitude is
    oblique, so that a frame mixed up would show. Kutta lift, Magnus force, slender and angular drag
    are set to zero and not compared: the program has other models in their place (linear side
    force, crossflow)."""
    turn = Rotation.from_euler("ZYX", [40.0, -25.0, 15.0], degrees=True)
    ballast = {"mass_g": 8.0, "from_nose_mm": 18.0, "above_centreline_mm": -5.0}
    for name, size, more in (
        ("2:1 spheroid", SHAPES["2:1 spheroid"], {}),
        ("3:2:1 ellipsoid", SHAPES["3:2:1 ellipsoid"], {}),
        ("3:2:1 ellipsoid, ballasted", SHAPES["3:2:1 ellipsoid"], {"ballast": [ballast]}),
    ):
        cfg = lone({"body": ellipsoid(size), **more}, ("added_mass",))
        bait = sim.assemble(cfg)
        centre = np.array([-0.5 * MM * size[0], 0.0, 0.0]) - bait.centre_of_gravity
        model = in_water(size, centre=centre)
        for motion, (velocity, rates) in MOTIONS.items():
            if name == "2:1 spheroid" and any(rates):
                continue
            held = sim.captive(cfg, velocity, rates, attitude_deg=(15.0, -25.0, 40.0))
            theirs = fluid_load(model, velocity, rates, turn)
            ours = np.concatenate([held.added_force, held.added_moment])
            for k, (letter, unit, scale) in enumerate(
                [(x, "N", 1.0) for x in "XYZ"] + [(x, "N mm", 1e3) for x in "KMN"]
            ):
                if abs(theirs[k]) < 1e-12:
                    assert abs(ours[k]) < 1e-9
                    continue
                largest = float(np.abs(theirs[3 * (k // 3) :][:3]).max())
                yield Row(
                    f"{name}, {motion}: {letter}", scale * float(ours[k]),
                    scale * float(theirs[k]), 1e-5 * scale * largest,
                    MUJOCO, COMPUTED, unit, "absolute",
                    "Tolerance: 1e-5 of the largest of the three components.",
                )  # fmt: skip


@case("Spinning in ideal fluid: MuJoCo")
def spinning() -> Iterator[Row]:
    """An ellipsoid turns on the spot, without gravity and friction, for 2 s: its solid inertia and
    its added inertia act together. MuJoCo leaves out the part of the added inertia that answers
    accelerations; for turning on the spot it can be supplied as the "armature" of its joint, and
    then its equations are the same as the program's. (Sliding aslant it cannot: a mass that differs
    with the direction in the body has no place there.)"""
    size = SHAPES["3:2:1 ellipsoid"]
    for name, rates in (
        ("mostly in yaw", (4.0, 1.0, 9.0)),
        ("about the middle axis", (0.1, 0.5, 12.0)),
    ):
        cfg = lone(
            {"body": ellipsoid(size, 0.5)},
            ("added_mass",),
            start={"rates_deg_s": [math.degrees(w) for w in rates]},
            solver={
                "duration_s": 2.0, "max_duration_s": 2.0, "step_ms": 1.0, "output_step_ms": 10.0,
            },
        )  # fmt: skip
        bait, run = sim.assemble(cfg), sim.simulate(cfg)
        model = in_water(size, bait.mass, np.diag(bait.inertia))
        model.dof_armature[3:] = RHO * model.geom_fluid[0, 9:12]
        model.opt.timestep = 1e-4
        data = mujoco.MjData(model)
        mujoco.mj_setConst(model, data)  # so that the armature counts
        data.qvel[3:] = run.velocity[0, 3:]
        mujoco.mj_step(model, data, 20000)
        theirs = Rotation.from_quat(data.qpos[3:], scalar_first=True)
        ours = Rotation.from_quat(run.attitude[-1], scalar_first=True)
        for k, letter in enumerate("pqr"):
            yield Row(
                f"{name}: {letter} after 2 s", float(run.velocity[-1, 3 + k]),
                float(data.qvel[3 + k]), 1e-3, MUJOCO, COMPUTED, "rad/s", "absolute",
            )  # fmt: skip
        yield Row(
            f"{name}: angle between the attitudes after 2 s",
            math.degrees(float((theirs.inv() * ours).magnitude())), 0.0, 1e-2, MUJOCO, COMPUTED,
            "degrees", "absolute", "MuJoCo's Green integrals are good to 1e-6 of the added mass.",
        )  # fmt: skip


@case("Sphere in water: MuJoCo")
def sphere() -> Iterator[Row]:
    """A sphere of 30 mm, twice as dense as water, let go: weight, buoyancy (MuJoCo: compensation of
    gravity), added mass (as the armature of its joint) and drag. MuJoCo has drag along the path,
    density times the given coefficient times the projected area times the square of the speed,
    without the half that is usual: its coefficient is set to half of 0.47. The program's end factor
    is made so that a sphere has 0.47 across the body, so there the rows show that this number
    arrives; along it Hoerner's formula comes near 0.47. Aslant it takes each component by itself
    (the independence principle, which is for long bodies), and a sphere that moves at 45 degrees to
    its axes has 0.7 of its drag. A bait is no sphere; do not use the program for one."""
    size = SHAPES["sphere"]
    density = 2.0
    cfg = lone(
        {"body": ellipsoid(size, density)},
        ("weight", "buoyancy", "added_mass", "body_drag", "axial_drag"),
        solver={"duration_s": 1.0, "max_duration_s": 1.0, "step_ms": 1.0, "output_step_ms": 50.0},
    )
    bait, run = sim.assemble(cfg), sim.simulate(cfg)
    model = in_water(
        size, bait.mass, np.diag(bait.inertia), blunt=0.5 * 0.47,
        buoyancy=RHO * bait.volume / bait.mass, gravity=GRAVITY,
    )  # fmt: skip
    model.dof_armature[:3] = RHO * model.geom_fluid[0, 6:9]
    model.opt.timestep = 1e-4
    data = mujoco.MjData(model)
    mujoco.mj_setConst(model, data)
    for i, t in enumerate(run.time[1:], 1):
        mujoco.mj_step(model, data, 500)
        if round(1e3 * t) not in (50, 100, 200, 500, 1000):
            continue
        yield Row(
            f"let go: speed after {t:g} s", float(run.velocity[i, 2]), float(data.qvel[2]), 2e-3,
            MUJOCO, COMPUTED, "m/s",
        )  # fmt: skip
        yield Row(
            f"let go: way after {t:g} s", float(run.position[i, 2] - run.position[0, 2]),
            float(data.qpos[2]), 2e-3, MUJOCO, COMPUTED, "m",
        )  # fmt: skip
    for name, velocity, tolerance, note in (
        ("along z", (0.0, 0.0, 1.0), 1e-3, ARRIVES),
        ("along y", (0.0, -1.0, 0.0), 1e-3, ARRIVES),
        (
            "along x",
            (1.0, 0.0, 0.0),
            0.2,
            "Axial drag is Hoerner's formula for streamlined bodies (from memory, medium), 20 %.",
        ),
        (
            "aslant, 45 degrees between x and z",
            (math.sqrt(0.5), 0.0, math.sqrt(0.5)),
            math.inf,
            "The independence principle does not hold for a sphere: 0.7 of the drag, as it must.",
        ),
        (
            "aslant, 45 degrees between y and z",
            (0.0, math.sqrt(0.5), math.sqrt(0.5)),
            1e-3,
            f"{ARRIVES} Both across the body: one section, no component is taken by itself.",
        ),
    ):
        held = sim.captive(
            sim.with_overrides(cfg, {"loads.weight": False, "loads.buoyancy": False}), velocity
        )
        theirs = fluid_load(model, velocity, (0.0, 0.0, 0.0), Rotation.identity())
        yield Row(
            f"drag at 1 m/s {name}", float(-held.force @ velocity),
            float(-theirs[:3] @ velocity), tolerance, MUJOCO, COMPUTED, "N", "relative", note,
        )  # fmt: skip
