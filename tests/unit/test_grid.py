"""The plan of a refined map, against the same map run on every node of its finest grid."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter, maximum_filter, minimum_filter

from sim.studies import grid

Field = Callable[[np.ndarray, np.ndarray], np.ndarray]


def refine(truth: np.ndarray, levels: int) -> tuple[np.ndarray, np.ndarray, list[np.ndarray]]:
    """Map, nodes run, and what was asked for in turn, when the classes are ``truth``."""
    codes = np.full(truth.shape, -9)
    known = np.zeros(truth.shape, dtype=bool)
    asked = []
    for level in range(levels + 1):
        while len(cells := grid.next_cells(level, levels, codes, known)):
            assert not known.flat[cells].any(), "a cell was asked for twice"
            assert (np.diff(cells) > 0).all(), "not in row order"
            codes.flat[cells] = truth.flat[cells]
            known.flat[cells] = True
            asked.append(cells)
        codes = grid.fill(level, levels, codes, known)
    return codes, known, asked


def near_two_classes(codes: np.ndarray, cells: int) -> np.ndarray:
    """Nodes with another class no farther away than a number of cells."""
    size = 2 * cells + 1
    return maximum_filter(codes, size) != minimum_filter(codes, size)


def boundary(codes: np.ndarray) -> np.ndarray:
    """Nodes next to another class, along an axis or across."""
    return near_two_classes(codes, 1)


def field(name: str, nodes: int) -> np.ndarray:
    x, y = np.meshgrid(np.linspace(0, 1, nodes), np.linspace(0, 1, nodes), indexing="ij")
    fields: dict[str, np.ndarray] = {
        "disc": np.hypot(x - 0.47, y - 0.55) < 0.31,
        "oblique stripe": np.abs(0.8 * x - 0.6 * y) < 0.13,
        "wedge": (np.abs(y - 0.5) < 0.3 * (x - 0.1)) & (x > 0.1),
        "three classes": 1 * (x + 0.3 * y > 0.52) + 1 * (y - 0.2 * x * x > 0.41),
    }
    return fields[name].astype(int) + 1


def random_field(seed: int, nodes: int) -> np.ndarray:
    """Smooth, of three classes; smoothed over a sixth of the map."""
    noise = np.random.default_rng(seed).normal(size=(nodes, nodes))
    smooth = gaussian_filter(noise, nodes / 6, mode="nearest")
    low, high = np.quantile(smooth, [0.4, 0.75])
    return np.digitize(smooth, [low, high]) - 1  # with -1, as for a failed cell


@pytest.mark.parametrize("name", ["disc", "oblique stripe", "wedge", "three classes"])
def test_map_equals_the_full_grid_at_a_third_of_its_runs(name: str) -> None:
    truth = field(name, 12 * 8 + 1)
    codes, known, _ = refine(truth, 3)
    np.testing.assert_array_equal(codes, truth)
    share = known.mean()
    print(f"{name}: {share:.1%} of the nodes run")
    assert share < 0.35


@pytest.mark.parametrize("seed", range(20))
def test_boundary_of_a_random_field_is_within_one_cell(seed: int) -> None:
    truth = random_field(seed, 16 * 8 + 1)
    codes, known, _ = refine(truth, 3)
    # every boundary found is true to a cell; one that is missed is an island or a thin finger
    assert not (boundary(codes) & ~near_two_classes(truth, 1)).any()
    assert not (boundary(truth) & ~near_two_classes(codes, 1)).any()
    assert (codes != truth).mean() < 0.001
    assert known.mean() < 0.45


def test_a_line_between_two_classes_never_passes_along_an_inferred_node() -> None:
    missed = flipped = 0
    for seed in range(20):
        # islands smaller than a square of level 0, so that inferring goes wrong
        noise = np.random.default_rng(100 + seed).normal(size=(129, 129))
        truth = (gaussian_filter(noise, 3.0) > 0.12).astype(int)
        codes, known, asked = refine(truth, 3)
        missed += np.count_nonzero(codes != truth)
        flipped += len(asked) > 4  # asked more than once at a level
        np.testing.assert_array_equal(codes[known], truth[known])
        assert known[boundary(codes)].all()
    assert missed
    assert flipped


def test_a_thin_finger_is_followed_from_its_root() -> None:
    # one fine cell thick and a square of level 0 long, it passes between the nodes of level 0
    truth = np.ones((65, 65), dtype=int)
    truth[:20] = 2
    truth[20:28, 35] = 2
    codes, known, _ = refine(truth, 3)
    np.testing.assert_array_equal(codes, truth)
    assert known.mean() < 0.35


def test_one_class_runs_only_the_first_level() -> None:
    codes, known, asked = refine(np.full((33, 65), 3), 4)
    assert len(asked) == 1
    assert known.sum() == 3 * 5
    assert known[::16, ::16].all()
    assert (codes == 3).all()


def test_a_single_cell_of_its_own_class_is_surrounded() -> None:
    truth = np.zeros((33, 33), dtype=int)
    truth[16, 16] = -1  # failed
    codes, known, _ = refine(truth, 3)
    np.testing.assert_array_equal(codes, truth)
    assert known[15:18, 15:18].all()


def test_one_axis() -> None:
    x = np.linspace(0, 1, 20 * 16 + 1)
    truth = (x > 0.3141).astype(int) + (x > 0.72)
    codes, known, asked = refine(truth, 4)
    np.testing.assert_array_equal(codes, truth)
    # beyond level 0, each boundary costs at most three new nodes a level
    assert known.sum() <= 21 + 2 * 3 * 4
    np.testing.assert_array_equal(asked[0], np.arange(0, 321, 16))


def test_an_axis_of_one_node_and_no_levels() -> None:
    truth = (np.linspace(0, 1, 33) > 0.4).astype(int)[:, None]
    codes, known, _ = refine(truth, 3)
    np.testing.assert_array_equal(codes, truth)
    flat, flat_known, _ = refine(truth[:, 0], 3)
    np.testing.assert_array_equal(known[:, 0], flat_known)
    np.testing.assert_array_equal(codes[:, 0], flat)
    assert refine(truth, 0)[1].all()


def test_first_questions_by_hand() -> None:
    # corners 0 0 / 0 1 of a 5 x 5 grid, two levels: the one square is mixed
    codes = np.zeros((5, 5), dtype=int)
    known = np.zeros((5, 5), dtype=bool)
    np.testing.assert_array_equal(grid.next_cells(0, 2, codes, known), [0, 4, 20, 24])
    known[::4, ::4] = True
    codes[4, 4] = 1
    np.testing.assert_array_equal(grid.next_cells(1, 2, codes, known), [2, 10, 12, 14, 22])
    known.flat[[2, 10, 12, 14, 22]] = True
    assert grid.next_cells(1, 2, codes, known).size == 0
    # only the square at (4, 4) is mixed, but the other three touch it
    assert grid.next_cells(2, 2, codes, known).size == 25 - 9


def test_the_plan_depends_on_nothing_but_the_classes() -> None:
    truth = random_field(5, 65)
    first, second = refine(truth, 3)[2], refine(truth * 7 + 3, 3)[2]
    assert [a.tolist() for a in first] == [a.tolist() for a in second]
    turned = refine(truth.T.copy(), 3)[1]
    np.testing.assert_array_equal(turned.T, refine(truth, 3)[1])


@pytest.mark.parametrize(
    ("shape", "levels", "text"),
    [
        ((10,), 2, "10 nodes cannot be halved 2 times: (n - 1) 4 + 1 needed"),
        ((9, 6), 3, "6 nodes cannot be halved 3 times"),
        ((3, 3, 3), 1, "one axis or two, not 3"),
    ],
)
def test_grids_that_cannot_be_halved(shape: tuple[int, ...], levels: int, text: str) -> None:
    nothing = np.zeros(shape, dtype=int)
    with pytest.raises(ValueError) as caught:
        grid.next_cells(0, levels, nothing, nothing.astype(bool))
    assert text in str(caught.value)
    with pytest.raises(ValueError, match="level 4 is not one of 0 to 3"):
        grid.stride(4, 3)
