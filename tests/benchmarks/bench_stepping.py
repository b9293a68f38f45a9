"""Stepping alone, one core: eight abreast, one bait, SciPy's DOP853, MuJoCo, the machine's peak."""

from __future__ import annotations

import math
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from types import FunctionType, SimpleNamespace
from typing import Any, ClassVar

import mujoco
import mujoco.rollout
import numpy as np
import pytest
from scipy.integrate import solve_ivp

import sim
from sim.kernels import body, line, plate, pose, rhs, wake
from sim.kernels import layout as lo
from sim.kernels.layout import Model
from sim.kernels.rhs import derivative, make_scratch
from sim.kernels.stepper import integrate, integrate_eight
from sim.plan import Plan, plan_retrieve

CONFIG = Path(__file__).parents[2] / "configs" / "shallow-runner.toml"
SECONDS = 8.0


@pytest.fixture(scope="module")
def plan() -> Plan:
    return plan_retrieve(sim.load_config(CONFIG))


def abreast(plan: Plan, lanes: int) -> tuple[Model, np.ndarray]:
    """The bait in so many lanes."""
    model = Model(
        *(a if n == "slices" else np.ascontiguousarray(np.repeat(a, lanes, axis=-1))
          for n, a in zip(Model._fields, plan.model, strict=True))
    )  # fmt: skip
    return model, np.repeat(plan.start[:, None], lanes, axis=1)


def stepper(plan: Plan, lanes: int) -> Callable[[], np.ndarray]:
    """One retrieve of 8 s in every lane; gives the last state of the first."""
    model, start = abreast(plan, lanes)
    records = round(SECONDS / plan.record_step)
    out, pull = np.empty((records, lo.N_STATE, lanes)), np.empty((records, lanes))
    good, scratch = np.zeros(lanes), make_scratch(model)
    step = integrate_eight if lanes == 8 else integrate

    def run() -> np.ndarray:
        y = start.copy()
        step(0, plan.every, plan.step, y, model, scratch, out, pull, good)
        assert (good == records).all()
        return y[:, 0]

    run()  # compiles
    return run


def best(stats: Any) -> float:
    return float(stats.stats.stats.min)


@pytest.mark.parametrize(("lanes", "name"), [(8, "eight"), (1, "one")])
def bench_stepping(
    benchmark: Any, rates: dict[str, float], plan: Plan, lanes: int, name: str
) -> None:
    benchmark.group = "8 s of retrieve, stepping alone"
    benchmark(stepper(plan, lanes))
    rates[f"runs {name}"] = lanes / best(benchmark)
    rates[f"steps {name}"] = rates[f"runs {name}"] * SECONDS / plan.step


def bench_dop853_at_equal_error(benchmark: Any, rates: dict[str, float], plan: Plan) -> None:
    """SciPy's integrator with the same right-hand side called from Python, the same records kept.

    Its tolerance is the loosest at which it is as near to a much finer solution as the shipped
    step, in the attitude after half a second (later the motions part for reasons that have
    nothing to do with the integrator).
    """
    benchmark.group = "8 s of retrieve, stepping alone"
    model, start = abreast(plan, 1)
    scratch, rate = make_scratch(model), np.zeros((lo.N_STATE, 1))

    def rhs(t: float, y: np.ndarray) -> np.ndarray:
        derivative(t, np.ascontiguousarray(y[:, None]), model, scratch, rate)
        return rate[:, 0].copy()

    def adaptive(tolerance: float, end: float) -> np.ndarray:
        records = np.arange(round(end / plan.record_step) + 1) * plan.record_step
        found = solve_ivp(
            rhs, (0.0, records[-1]), start[:, 0], method="DOP853", t_eval=records,
            rtol=tolerance, atol=1e-2 * tolerance,
        )  # fmt: skip
        return np.asarray(found.y[:, -1])

    half = 0.5
    records = round(half / plan.record_step)
    out, pull = np.empty((records, lo.N_STATE, 1)), np.empty((records, 1))
    y = start.copy()
    integrate(0, plan.every, plan.step, y, model, scratch, out, pull, np.zeros(1))
    fine = adaptive(1e-12, half)
    pose = slice(lo.QW, lo.QZ + 1)
    allowed = float(np.linalg.norm(y[pose, 0] - fine[pose]))
    tolerance = next(
        t for t in 10.0 ** np.arange(-2.0, -11.0, -0.5)
        if np.linalg.norm(adaptive(t, half)[pose] - fine[pose]) <= allowed
    )  # fmt: skip
    print(f"error of the step {2.0 * allowed:.1e} rad, tolerance of DOP853 {tolerance:.1e}")
    benchmark.pedantic(adaptive, args=(tolerance, SECONDS), rounds=3)
    rates["runs dop853"] = 1.0 / best(benchmark)


def bench_mujoco(benchmark: Any, rates: dict[str, float]) -> None:
    """MuJoCo stepping one free ellipsoid with its fluid model, from compiled code, one thread."""
    benchmark.group = "8 s of retrieve, stepping alone"
    model = mujoco.MjModel.from_xml_string(
        """<mujoco><option gravity="0 0 -9.8" density="1000" viscosity="1e-3" timestep="0.002"
        integrator="RK4"/><worldbody><body gravcomp="1"><freejoint/><geom type="ellipsoid"
        size="0.05 0.01 0.015" mass="0.02" fluidshape="ellipsoid"/></body></worldbody></mujoco>"""
    )
    data, steps = mujoco.MjData(model), 4000
    data.qvel[:] = (0.5, 0.1, 0.0, 1.0, 2.0, 3.0)
    state = np.zeros(mujoco.mj_stateSize(model, mujoco.mjtState.mjSTATE_FULLPHYSICS))
    mujoco.mj_getState(model, data, state, mujoco.mjtState.mjSTATE_FULLPHYSICS)

    def run() -> None:
        mujoco.rollout.rollout(model, data, state[None], nstep=steps)

    benchmark(run)
    rates["steps mujoco"] = steps / best(benchmark)


class Counted:
    """A number that counts what is done with it."""

    done: ClassVar[Counter[str]] = Counter()

    def __init__(self, value: float):
        self.value = float(value)


def _count(name: str, reckon: Callable[..., float]) -> Callable[..., Any]:
    def work(*given: Any) -> Counted:
        Counted.done[name] += 1
        return Counted(reckon(*(float(x.value if isinstance(x, Counted) else x) for x in given)))

    return work


for _name, _reckon in (
    ("add", lambda a, b: a + b), ("sub", lambda a, b: a - b), ("mul", lambda a, b: a * b),
    ("truediv", lambda a, b: a / b if b else math.nan),
):  # fmt: skip
    setattr(Counted, f"__{_name}__", _count(_name, _reckon))
    setattr(Counted, f"__r{_name}__", _count(_name, lambda a, b, f=_reckon: f(b, a)))
Counted.__neg__ = lambda self: Counted(-self.value)  # type: ignore[attr-defined]
Counted.__abs__ = lambda self: Counted(abs(self.value))  # type: ignore[attr-defined]
for _name in ("lt", "le", "gt", "ge"):
    _of = getattr(float, f"__{_name}__")
    setattr(
        Counted, f"__{_name}__",
        lambda a, b, f=_of: f(a.value, float(b.value if isinstance(b, Counted) else b)),
    )  # fmt: skip


def operations(plan: Plan) -> int:
    """Sums, products, quotients and roots of one right-hand side, counted by running its source."""
    model, start = abreast(plan, 1)
    wrapped = [np.vectorize(Counted, otypes=[object])(a) if a.size else a for a in model]
    y = np.vectorize(Counted, otypes=[object])(start)
    scratch, rate = make_scratch(model), np.full((lo.N_STATE, 1), None, dtype=object)
    # the kernels' own source, uncompiled, with roots that count
    roots = SimpleNamespace(
        sqrt=_count("sqrt", lambda x: math.sqrt(x) if x >= 0.0 else math.nan),
        asin=_count("asin", math.asin), pi=math.pi, isfinite=math.isfinite,
    )  # fmt: skip
    plain: dict[str, Any] = {}
    for module in (body, line, plate, pose, wake, rhs):
        for name, value in vars(module).items():
            if hasattr(value, "py_func"):
                plain[name] = value.py_func
    made: dict[str, FunctionType] = {}
    for name, function in plain.items():
        scope = dict(function.__globals__)
        scope["math"] = roots
        made[name] = FunctionType(function.__code__, scope, name)
    for function in made.values():
        function.__globals__.update(made)
    Counted.done.clear()
    tension = np.full(1, None, dtype=object)
    made["lane_derivative"](0.0, y, *wrapped, scratch.wet, tension, rate, 0)
    return Counted.done.total()


def bench_share_of_the_peak(benchmark: Any, rates: dict[str, float], plan: Plan) -> None:
    """Operations a second of the stepping and of NumPy's matrix product, one core.

    A matrix product has a fused multiplication and addition in every slot; the stepping has none of
    them (results would hang on the compiler), a root or a quotient takes as long as some twenty
    products, and more numbers are alive than there are registers.
    """
    benchmark.group = "arithmetic"
    count = operations(plan)
    a = np.random.default_rng(1).random((1500, 1500))
    took = []
    for _ in range(5):
        begin = time.perf_counter()
        a @ a
        took.append(time.perf_counter() - begin)
    rates["flops peak"] = 2.0 * a.shape[0] ** 3 / min(took)
    benchmark(stepper(plan, 8))
    a_step = 4 * count + 15 * (4 * 4 + 3)  # and the sums of the Runge-Kutta step
    rates["flops eight"] = 8.0 * SECONDS / plan.step * a_step / best(benchmark)
    print(f"{count} operations a right-hand side: {dict(Counted.done)}")
