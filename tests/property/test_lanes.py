"""Side by side, in pieces, again, and with other thread counts: the same bits."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from random_baits import Set, generator, random_bait, ready

from sim.config import config_from_dict
from sim.kernels import layout as lo
from sim.kernels.layout import Model
from sim.kernels.rhs import derivative, make_scratch
from sim.kernels.stepper import integrate, integrate_eight
from sim.run import simulate

STEP, EVERY = 2e-3, 2
RECORDS = 251  # one second
SHARED = ("slices",)  # one for all lanes


def side_by_side(cases: list[Set]) -> tuple[Model, np.ndarray]:
    """One model and one state with a lane for each bait."""
    fields = {
        name: getattr(cases[0].model, name)
        if name in SHARED
        else np.ascontiguousarray(np.concatenate([getattr(c.model, name) for c in cases], axis=-1))
        for name in Model._fields
    }
    return Model(**fields), np.ascontiguousarray(np.column_stack([c.start for c in cases]))


def stepped(
    model: Model, state: np.ndarray, pieces: tuple[int, ...] = (RECORDS,)
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """States, tensions, sound records and the last state; ``state`` is left as it was."""
    y, lanes, first = state.copy(), state.shape[1], 0
    scratch = make_scratch(model)
    states, tensions, good = [], [], np.zeros(lanes, dtype=np.int64)
    for records in pieces:
        out, pull = np.full((records, lo.N_STATE, lanes), -7.0), np.full((records, lanes), -7.0)
        count = np.zeros(lanes, dtype=np.int64)
        integrate(first, EVERY, STEP, y, model, scratch, out, pull, count)
        states.append(out)
        tensions.append(pull)
        good += count
        first += records
    return np.concatenate(states), np.concatenate(tensions), good, y


@pytest.fixture(scope="module")
def cases() -> list[Set]:
    """Seven different baits, one of them started at the surface."""
    data = [random_bait(generator(21, seed)) for seed in range(7)]
    data[2]["start"]["depth_m"] = 0.0
    return [ready(d) for d in data]


def test_baits_side_by_side_move_as_each_alone(cases: list[Set]) -> None:
    model, state = side_by_side(cases)
    states, tensions, good, last = stepped(model, state)
    assert (good == RECORDS).all()
    for k, case in enumerate(cases):
        alone, pull, _, end = stepped(case.model, case.start[:, None])
        np.testing.assert_array_equal(states[:, :, k], alone[:, :, 0])
        np.testing.assert_array_equal(tensions[:, k], pull[:, 0])
        np.testing.assert_array_equal(last[:, k], end[:, 0])
    # they are different baits
    assert len({states[-1, :, k].tobytes() for k in range(len(cases))}) == len(cases)


def eight(cases: list[Set]) -> tuple[Model, np.ndarray]:
    """The seven baits and the first once more, started elsewhere."""
    model, state = side_by_side([*cases, cases[0]])
    state[lo.Z, 7] += 0.3
    state[lo.P, 7] = 2.0
    return model, state


def in_vectors(
    model: Model, state: np.ndarray, records: int = RECORDS
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """What :func:`stepped` gives, from the vector code."""
    y = state.copy()
    out, pull = np.full((records, lo.N_STATE, 8), -7.0), np.full((records, 8), -7.0)
    count = np.zeros(8)
    integrate_eight(0, EVERY, STEP, y, model, make_scratch(model), out, pull, count)
    return out, pull, count, y


def test_eight_at_once_move_as_each_alone(cases: list[Set]) -> None:
    # one of them at the surface, so that both ways through every branch are taken
    model, state = eight(cases)
    for name, a, b in zip(
        ("states", "tensions", "count", "last"),
        stepped(model, state),
        in_vectors(model, state),
        strict=True,
    ):
        np.testing.assert_array_equal(a, b, err_msg=name)


def test_eight_at_once_with_a_ramp_a_reel_and_a_surface_for_some() -> None:
    data = [random_bait(generator(23, seed)) for seed in range(8)]
    for i, d in enumerate(data):
        d["retrieve"] = {"speed_m_s": 0.7 + 0.2 * i, "ramp_s": 0.3 + 0.1 * i}
        d["retrieve"]["mode"] = "reel" if i % 2 else "tow"
        d.setdefault("water", {})["surface"] = i % 3 != 0
        d["start"]["depth_m"] = 0.1 * i
    model, state = side_by_side([ready(d) for d in data])
    for a, b in zip(stepped(model, state), in_vectors(model, state), strict=True):
        np.testing.assert_array_equal(a, b)


def test_blown_up_lane_of_eight_spoils_no_other(cases: list[Set]) -> None:
    model, state = eight(cases)
    broken = state.copy()
    broken[lo.U, 3] = np.inf
    states, _, good, _ = in_vectors(model, broken)
    sound, _, _, _ = in_vectors(model, state)
    assert good.tolist() == [RECORDS] * 3 + [0] + [RECORDS] * 4
    others = [0, 1, 2, 4, 5, 6, 7]
    np.testing.assert_array_equal(states[:, :, others], sound[:, :, others])


def test_order_of_the_lanes_does_not_matter(cases: list[Set]) -> None:
    forward, _, _, _ = stepped(*side_by_side(cases))
    backward, _, _, _ = stepped(*side_by_side(cases[::-1]))
    np.testing.assert_array_equal(forward, backward[:, :, ::-1])


def test_rates_side_by_side_are_those_alone(cases: list[Set]) -> None:
    model, state = side_by_side(cases)
    out = np.zeros_like(state)
    derivative(0.3, state, model, make_scratch(model), out)
    for k, case in enumerate(cases):
        one = np.zeros((lo.N_STATE, 1))
        derivative(0.3, case.start[:, None].copy(), case.model, make_scratch(case.model), one)
        np.testing.assert_array_equal(out[:, k], one[:, 0])


@pytest.mark.parametrize("pieces", [(1, 250), (100, 100, 51), (7,) * 35 + (6,)])
def test_run_in_pieces_has_the_bits_of_one_at_once(
    cases: list[Set], pieces: tuple[int, ...]
) -> None:
    assert sum(pieces) == RECORDS
    model, state = side_by_side(cases)
    whole, parts = stepped(model, state), stepped(model, state, pieces)
    for name, a, b in zip(("states", "tensions", "count", "last"), whole, parts, strict=True):
        np.testing.assert_array_equal(a, b, err_msg=name)


def test_run_restarted_from_a_recorded_state_has_the_same_bits(cases: list[Set]) -> None:
    case = cases[0]
    whole, _, _, _ = stepped(case.model, case.start[:, None])
    y = whole[100].copy()
    out, pull = np.empty((50, lo.N_STATE, 1)), np.empty((50, 1))
    count = np.zeros(1, dtype=np.int64)
    integrate(100, EVERY, STEP, y, case.model, make_scratch(case.model), out, pull, count)
    np.testing.assert_array_equal(out, whole[100:150])


def test_blown_up_lane_is_found_and_spoils_no_other(cases: list[Set]) -> None:
    model, state = side_by_side(cases[:3])
    broken = state.copy()
    broken[lo.P, 1] = np.nan
    states, _, good, _ = stepped(model, broken)
    sound, _, _, _ = stepped(model, state)
    assert good.tolist() == [RECORDS, 0, RECORDS]
    np.testing.assert_array_equal(states[:, :, [0, 2]], sound[:, :, [0, 2]])
    assert np.isnan(states[0, :, 1]).any()
    assert (states[1:, :, 1] == -7.0).all()  # not stepped any further


def test_all_lanes_blown_up_stop_at_once(cases: list[Set]) -> None:
    model, state = side_by_side(cases[:2])
    state[lo.U] = np.inf
    states, _, good, _ = stepped(model, state)
    assert good.tolist() == [0, 0]
    assert (states[1:] == -7.0).all()  # not touched


def test_too_fast_a_turn_counts_as_blown_up(cases: list[Set]) -> None:
    model, state = side_by_side(cases[:2])
    state[lo.P, 0] = 1.01e4
    assert stepped(model, state)[2].tolist() == [0, RECORDS]


def digest(run_count: int = 1) -> str:
    """Digest over every number of a retrieve."""
    total = hashlib.sha256()
    for _ in range(run_count):
        run = simulate(config_from_dict(random_bait(generator(22, 0))))
        for array in (run.time, run.position, run.attitude, run.velocity, run.wake,
                      run.line_tension, run.rod_tip):  # fmt: skip
            total.update(np.ascontiguousarray(array).tobytes())
        total.update(repr(sorted(run.measures.items())).encode())
    return total.hexdigest()


def test_same_retrieve_twice_gives_the_same_bits() -> None:
    assert digest() == digest()


@pytest.mark.parametrize("threads", ["1", "2"])
def test_other_thread_counts_give_the_same_bits(threads: str) -> None:
    here = str(Path(__file__).parent)
    done = subprocess.run(
        [sys.executable, "-c", "import test_lanes; print(test_lanes.digest())"],
        env={**os.environ, "NUMBA_NUM_THREADS": threads, "OMP_NUM_THREADS": threads,
             "OPENBLAS_NUM_THREADS": threads},
        cwd=here, capture_output=True, text=True, timeout=300, check=True,
    )  # fmt: skip
    assert done.stdout.strip() == digest()
