"""Every load and every coefficient of the configuration changes the answer, each on its own."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from random_baits import (
    LOADS,
    Set,
    changed,
    generator,
    random_bait,
    random_state,
    rates,
    ready,
    run,
)

from sim.config.models import Coefficients, Loads
from sim.kernels import layout as lo

SEEDS = range(4)
ACCELERATIONS = slice(lo.U, lo.R + 1)
# what to set each coefficient to, and what has to be set beside it so that it counts
CHANGES: dict[str, tuple[float, dict[str, float]]] = {
    "strouhal": (0.2, {}),
    "wake_offset": (0.1, {}),
    "wake_damping": (0.5, {}),
    "wake_coupling": (6.0, {}),
    "side_force_factor": (0.8, {}),
    "side_force_shift": (-0.1, {}),
    "crossflow_end_factor": (0.5, {}),
    "bill_shadow": (0.4, {}),
    "bill_shadow_reach_mm": (40.0, {"bill_shadow": 0.4}),
    "bluff_drag_share": (0.1, {}),
}
# these move the wake oscillator, which moves the bait a moment later
BY_THE_WAKE = ("strouhal", "wake_damping", "wake_coupling")


def generic(seed: int) -> tuple[dict[str, Any], np.ndarray]:
    """A bait and a generic state with a taut line, 1 cm longer than the line."""
    rng = generator(6, seed)
    data = random_bait(rng)
    case = ready(data)
    state = random_state(rng, case)
    state[lo.Z] = case.start[lo.Z]
    state[lo.X] = case.start[lo.X] - 0.3
    return data, state


def test_lists_are_complete() -> None:
    assert set(LOADS) == set(Loads.model_fields)
    assert set(CHANGES) == set(Coefficients.model_fields)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("load", LOADS)
def test_each_load_changes_the_accelerations(load: str, seed: int) -> None:
    data, state = generic(seed)
    on, off = ready(data), ready(changed(data, loads={load: False}))
    change = (rates(off, state) - rates(on, state))[ACCELERATIONS]
    # 1e-6 of the largest acceleration; the smallest found is some 1e-4 of it
    assert np.abs(change).max() > 1e-6 * np.abs(rates(on, state)[ACCELERATIONS]).max()
    assert np.isfinite(change).all()


@pytest.mark.parametrize("seed", SEEDS)
def test_without_any_load_only_inertia_is_left(seed: int) -> None:
    data, state = generic(seed)
    bare = ready(changed(data, loads=dict.fromkeys(LOADS, False), water={"current_m_s": 0.0}))
    rate = rates(bare, state)
    v, w = state[lo.U : lo.W + 1], state[lo.P : lo.R + 1]
    # Newton and Euler in the bait frame: dv/dt = -w x v, I dw/dt = -w x I w
    inertia = bare.bait.inertia
    np.testing.assert_allclose(rate[lo.U : lo.W + 1], -np.cross(w, v), rtol=1e-10, atol=1e-10)
    expected = np.linalg.solve(inertia, -np.cross(w, inertia @ w))
    np.testing.assert_allclose(rate[lo.P : lo.R + 1], expected, rtol=1e-9, atol=1e-9)


def switched(data: dict[str, Any], name: str) -> tuple[Set, Set]:
    value, beside = CHANGES[name]
    first = changed(data, coefficients=beside)
    return ready(first), ready(changed(first, coefficients={name: value}))


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("name", sorted(set(CHANGES) - set(BY_THE_WAKE)))
def test_each_coefficient_changes_the_accelerations(name: str, seed: int) -> None:
    data, state = generic(seed)
    before, after = switched(data, name)
    base = rates(before, state)[ACCELERATIONS]
    change = rates(after, state)[ACCELERATIONS] - base
    assert np.abs(change).max() > 1e-6 * np.abs(base).max()


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("name", BY_THE_WAKE)
def test_wake_coefficients_change_the_wake_and_then_the_motion(name: str, seed: int) -> None:
    data, state = generic(seed)
    before, after = switched(data, name)
    first, second = rates(before, state), rates(after, state)
    assert abs(second[lo.SDOT] - first[lo.SDOT]) > 1e-6 * abs(first[lo.SDOT])
    np.testing.assert_array_equal(first[: lo.SDOT], second[: lo.SDOT])
    a, b = run(before, 26), run(after, 26)  # 0.1 s
    assert np.abs(a - b)[-1, lo.P : lo.R + 1].max() > 1e-6


@pytest.mark.parametrize("seed", SEEDS)
def test_wake_switched_off_does_not_touch_the_bait(seed: int) -> None:
    data, state = generic(seed)
    off = ready(changed(data, loads={"wake": False}))
    pushed = state.copy()
    pushed[lo.S] += 1.0
    np.testing.assert_array_equal(rates(off, state)[: lo.S], rates(off, pushed)[: lo.S])
    on = ready(data)
    assert np.abs(rates(on, state)[lo.P] - rates(on, pushed)[lo.P]) > 1e-3


@pytest.mark.parametrize("seed", SEEDS)
def test_coefficients_of_a_load_that_is_off_do_nothing(seed: int) -> None:
    data, state = generic(seed)
    without = changed(data, loads={"wake": False, "tail": False, "body_drag": False})
    plain = rates(ready(without), state)
    for name, value in (
        ("wake_offset", 0.2), ("side_force_factor", 2.0), ("crossflow_end_factor", 1.5)
    ):  # fmt: skip
        other = rates(ready(changed(without, coefficients={name: value})), state)
        np.testing.assert_array_equal(plain, other)
