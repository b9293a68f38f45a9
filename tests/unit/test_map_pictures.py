"""Pictures of maps, checked by what is drawn: cells, letters, lines at known places, legends."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from map_examples import CLASSES, FAIL, NONE, OPEN, B, O, S, T, make_map, make_study
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_hex, to_rgb
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch

from sim.errors import RuntrueError
from sim.plots.map import (
    FREQUENCY,
    ROLL,
    WORST,
    YAW,
    axis_lines,
    class_map,
    map_figure,
    map_title,
    quantity_figure,
    quantity_map,
    save_map_figure,
    zeros,
)
from sim.plots.style import GREY, NO_CLASS, NOT_SETTLED, class_style
from sim.report.map import KINDS

X = np.array([-10.0, -8.0, -6.0, -2.0, 0.0])  # uneven on purpose
Y = np.array([0.5, 1.0, 1.5])
X_EDGES = [-11.0, -9.0, -7.0, -4.0, -1.0, 1.0]  # half-way by hand
Y_EDGES = [0.25, 0.75, 1.25, 1.75]
MAP = np.array([[T, B, B, O, S], [T, T, B, B, B], [FAIL, OPEN, B, OPEN, FAIL]]).T
STARTS = ("steady", "kick")


def patches(ax: Axes) -> dict[str, PathPatch]:
    """Cells by kind; there is one patch for each."""
    found = [p for p in ax.patches if isinstance(p, PathPatch)]
    assert len({p.get_gid() for p in found}) == len(found)
    return {str(p.get_gid()): p for p in found}


def rectangles(patch: PathPatch) -> set[tuple[float, float, float, float]]:
    corners = patch.get_path().vertices.reshape(-1, 5, 2)
    return {(*r.min(axis=0).tolist(), *r.max(axis=0).tolist()) for r in corners}


def area(patch: PathPatch) -> float:
    return sum((c - a) * (d - b) for a, b, c, d in rectangles(patch))


def letters(ax: Axes) -> dict[tuple[float, float], str]:
    return {t.get_position(): t.get_text() for t in ax.texts if t.get_gid() == "letter"}


def by_gid(ax: Axes, gid: str) -> list[Any]:
    return [c for c in (*ax.collections, *ax.lines, *ax.patches) if c.get_gid() == gid]


def legend_texts(figure: Figure) -> list[str]:
    return [t.get_text() for legend in figure.legends for t in legend.get_texts()]


def figure_of(ax: Axes) -> Figure:
    figure = ax.get_figure()
    assert isinstance(figure, Figure)
    return figure


def panel(figure: Figure, title: str) -> Axes:
    (found,) = (ax for ax in figure.axes if ax.get_title(loc="left").startswith(title))
    return found


def wide_map(**changes: Any) -> Any:
    """Bands of 10 columns: tight, balanced, over-rolling, and a lone spinning cell."""
    kinds = np.repeat([T, B, O], 10)[:, None] * np.ones((1, 20), int)
    kinds[25, 10] = S
    study = make_study(np.arange(-20.0, 10.0), np.linspace(0.5, 2.4, 20))
    return make_map(kinds, study, **changes)


# -------------------------------------------------------------------------------------------- cells


def test_cells_reach_half_way_and_have_the_look_of_their_class():
    ax = class_map(make_map(MAP, make_study(X, Y)))
    found = patches(ax)
    assert set(found) == {*CLASSES, "not settled", "failed"}
    for kind, patch in found.items():
        style = {"not settled": NOT_SETTLED, "failed": NO_CLASS}.get(kind) or class_style(kind)
        assert to_hex(patch.get_facecolor()) == to_hex(style.colour)
        assert (patch.get_hatch() or "") == style.hatch
    assert to_hex(found["failed"].get_facecolor()) == GREY
    # neighbours along x are one rectangle
    assert rectangles(found["tight"]) == {(-11.0, 0.25, -9.0, 0.75), (-11.0, 0.75, -7.0, 1.25)}
    assert rectangles(found["balanced"]) == {
        (-9.0, 0.25, -4.0, 0.75), (-7.0, 0.75, 1.0, 1.25), (-7.0, 1.25, -4.0, 1.75)
    }  # fmt: skip
    assert rectangles(found["spinning"]) == {(-1.0, 0.25, 1.0, 0.75)}
    assert sum(map(area, found.values())) == pytest.approx(12.0 * 1.5)
    assert ax.get_xlim() == (-11.0, 1.0) and ax.get_ylim() == (0.25, 1.75)
    assert ax.get_xlabel() == "tie point along the tie path [mm]"
    assert ax.get_ylabel() == "retrieve speed [m/s]"


def test_every_kind_can_be_told_without_colour():
    styles = [*map(class_style, CLASSES), NO_CLASS, NOT_SETTLED]
    assert len({s.letter for s in styles}) == 6
    # the two without a hatch are the darkest and the lightest
    plain = [s for s in styles if not s.hatch]
    assert len({s.hatch for s in styles}) == 5 and len(plain) == 2
    weights = np.array([0.2126, 0.7152, 0.0722])
    light = sorted(float(weights @ to_rgb(s.colour)) for s in plain)
    assert light[1] - light[0] > 0.3


def test_a_small_map_has_a_letter_in_each_cell():
    ax = class_map(make_map(MAP, make_study(X, Y)))
    middle = [0.5 * (a + b) for a, b in pairwise(X_EDGES)]
    rows = ["tBBOS", "ttBBB", "x?B?x"]
    assert letters(ax) == {
        (middle[i], y): rows[j][i] for j, y in enumerate(Y.tolist()) for i in range(5)
    }


def test_a_large_map_has_letters_in_its_regions():
    result = wide_map()
    found = letters(class_map(result))
    assert set(found.values()) == {"t", "B", "O", "S"}
    assert 4 <= len(found) < 30
    for (x, y), letter in found.items():
        i = int(np.abs(np.arange(-20.0, 10.0) - x).argmin())
        j = int(np.abs(np.linspace(0.5, 2.4, 20) - y).argmin())
        assert class_style(CLASSES[result.motion_class[i, j, 0]]).letter == letter
    assert [p for p, text in found.items() if text == "S"] == [(5.0, pytest.approx(1.5))]


def test_speckles_do_not_pile_up_letters():
    rng = np.random.default_rng(3)
    kinds = rng.integers(0, 4, (90, 90))
    ax = class_map(make_map(kinds, make_study(np.arange(90.0), np.arange(90.0))), contours=None)
    figure = figure_of(ax)
    FigureCanvasAgg(figure).draw()
    boxes = [t.get_window_extent() for t in ax.texts if t.get_gid() == "letter"]
    centres = np.array([[0.5 * (b.x0 + b.x1), 0.5 * (b.y0 + b.y1)] for b in boxes])
    gaps = np.hypot(*(centres[:, None] - centres[None]).transpose(2, 0, 1))
    sizes = [t.get_fontsize() for t in ax.texts if t.get_gid() == "letter"]
    assert min(sizes) == 7.0 and max(sizes) <= 14.0  # small in bare cells
    assert len(boxes) > 50 and gaps[np.triu_indices(len(boxes), 1)].min() > 8.0


def test_lines_between_kinds():
    ax = class_map(make_map(MAP, make_study(X, Y)))
    (lines,) = by_gid(ax, "class boundaries")
    segments = {tuple(map(tuple, s.tolist())) for s in lines.get_segments()}
    assert ((-9.0, 0.25), (-9.0, 0.75)) in segments  # tight to balanced
    assert ((-7.0, 0.25), (-7.0, 0.75)) not in segments  # balanced to balanced
    assert ((-9.0, 0.75), (-7.0, 0.75)) in segments  # balanced below tight
    # by hand: 3 + 1 + 4 upright ones, 3 + 4 level ones
    assert len(segments) == 8 + 7


def test_cells_filled_in_are_paler_and_so_are_single_runs_among_them():
    kinds = np.full((9, 9), B)
    inferred = np.ones((9, 9), bool)
    inferred[:4] = False
    inferred[6, 4] = False
    result = make_map(kinds, make_study(np.arange(9.0), np.arange(9.0)), inferred)
    ax = class_map(result)
    found = patches(ax)
    assert set(found) == {"balanced", "balanced filled in"}
    assert area(found["balanced filled in"]) == pytest.approx(45.0)
    assert area(found["balanced"]) == pytest.approx(36.0)
    full, pale = (np.array(found[k].get_facecolor()[:3]) for k in found)
    assert pale == pytest.approx(0.5 + 0.5 * full)
    texts = legend_texts(figure_of(ax))
    assert "paler: runs here and there, cells between them filled in" in texts


def test_a_cell_not_run_yet_stays_white():
    kinds = MAP.copy()
    kinds[0, 0] = NONE
    result = make_map(kinds, make_study(X, Y), complete=False)
    ax = class_map(result)
    assert (-10.0, 0.5) not in letters(ax)
    assert sum(map(area, patches(ax).values())) == pytest.approx(12.0 * 1.5 - 2.0 * 0.5)
    assert "not run yet" in legend_texts(figure_of(ax))
    assert map_title(result)[1].endswith("14 runs, not complete")


def test_depth_points_down():
    result = make_map(MAP, make_study(X, Y))
    axis = type(result.study.axes[1])("start.depth_m", "depth at the start", "m", Y)
    object.__setattr__(result.study, "axes", (result.study.axes[0], axis))
    assert class_map(result, contours=None).yaxis_inverted()


# ----------------------------------------------------------------------------------------- overlays


def test_legend_names_the_classes_with_their_share():
    ax = class_map(make_map(MAP, make_study(X, Y)), contours=None)
    assert legend_texts(figure_of(ax)) == [
        "t  tight, 20 %", "B  balanced, 40 %", "O  over-rolling, 7 %", "S  spinning, 7 %",
        "?  not settled, 13 %", "x  failed, 13 %", "as in the file (-3 mm, 1 m/s)",
    ]  # fmt: skip


def test_contours_are_where_the_measure_has_their_value():
    ax = class_map(wide_map(), contours=FREQUENCY)
    (lines,) = by_gid(ax, "contours")
    assert len(lines.levels) >= 4
    for level, path in zip(lines.levels, lines.get_paths(), strict=True):
        x, y = path.vertices.T
        assert 8.0 - 0.1 * x + 2.0 * y == pytest.approx(level, abs=1e-9)
        # none over the spinning cell, which has no wobble
        assert not ((np.abs(x - 5.0) < 0.9) & (np.abs(y - 1.5) < 0.09)).any()
    labels = {t.get_text() for t in lines.labelTexts}
    assert labels and labels <= {f"{v:g} Hz" for v in lines.levels}
    assert "wobble frequency [Hz]" in legend_texts(figure_of(ax))


def test_contours_of_the_yaw_amplitude():
    ax = class_map(wide_map(), contours=YAW)
    (lines,) = by_gid(ax, "contours")
    for level, path in zip(lines.levels, lines.get_paths(), strict=True):
        x, y = path.vertices.T
        assert 5.0 + 0.3 * np.abs(x) + y == pytest.approx(level, abs=1e-9)
    assert "yaw amplitude [deg]" in legend_texts(figure_of(ax))


def test_no_contour_crosses_a_jump():
    result = wide_map()
    result.measures[FREQUENCY][15:] += 8.0
    (lines,) = by_gid(class_map(result), "contours")
    x = np.concatenate([p.vertices[:, 0] for p in lines.get_paths()])
    assert x.size and not ((x > -6.0 + 1e-9) & (x < -5.0 - 1e-9)).any()


def test_contours_too_short_to_read_are_left_out():
    kinds = np.full((30, 20), OPEN)
    kinds[3:5, 3:5] = B  # a cell is 32 pixels wide and 34 high; the lines are nearly level
    result = wide_map()
    ax = class_map(make_map(kinds, result.study), contours=FREQUENCY)
    assert not by_gid(ax, "contours")
    assert "wobble frequency [Hz]" not in legend_texts(figure_of(ax))


def test_contours_go_on_across_cells_filled_in():
    result = wide_map()
    inferred = np.ones((30, 20), bool)
    inferred[::3, :] = inferred[-1, :] = False
    kinds = result.motion_class[..., 0].astype(int)
    kinds[25, 10] = O
    thin = make_map(kinds, result.study, inferred)
    (lines,) = by_gid(class_map(thin), "contours")
    for level, path in zip(lines.levels, lines.get_paths(), strict=True):
        x, y = path.vertices.T
        assert 8.0 - 0.1 * x + 2.0 * y == pytest.approx(level, abs=1e-9)
        assert (np.mod(x + 20.0, 3.0) > 0.5).any()


def test_without_contours_there_are_none():
    ax = class_map(wide_map(), contours=None)
    assert not by_gid(ax, "contours")
    assert "wobble frequency [Hz]" not in legend_texts(figure_of(ax))


def modes_of(result: Any, **growth: Any) -> dict[str, Any]:
    x = np.linspace(-20.0, 9.0, 8)
    y = np.linspace(0.5, 2.4, 5)
    fields = {k: f(x[:, None], y[None, :]) for k, f in growth.items()}
    return {"mode_axes": (x, y), "growth": fields}


def test_neutral_lines_are_at_no_growth_with_the_growing_side_on_their_left():
    known = {"wobble": lambda x, y: x + 4.0 * y, "lean": lambda x, y: 1.0 - y + 0.0 * x}
    ax = class_map(wide_map(**modes_of(None, **known)))
    styles = set()
    for name, field in known.items():
        (line,) = by_gid(ax, f"neutral {name}")
        (path,) = line.get_paths()
        points = path.vertices
        assert field(*points.T) == pytest.approx(0.0, abs=1e-9)
        step = np.diff(points, axis=0)
        left = points[:-1] + 0.5 * step + 1e-3 * np.column_stack([-step[:, 1], step[:, 0]])
        assert (field(*left.T) > 0.0).all()  # the side of the ticks
        styles.add((to_hex(line.get_edgecolor()[0]), str(line.get_linestyle())))
    assert len(styles) == 2
    texts = legend_texts(figure_of(ax))
    assert "small wobble grows by itself on the side of the ticks" in texts
    assert "small lean grows by itself on the side of the ticks" in texts


def test_no_neutral_line_where_growth_keeps_its_sign_or_is_not_known():
    fields = {"wobble": lambda x, y: -1.0 + 0.0 * x * y, "lean": lambda x, y: math.nan * x * y}
    ax = class_map(wide_map(**modes_of(None, **fields)))
    assert not by_gid(ax, "neutral wobble") and not by_gid(ax, "neutral lean")
    assert not any("grows" in t for t in legend_texts(figure_of(ax)))


def test_the_shipped_place_is_a_star():
    ax = class_map(make_map(MAP, make_study(X, Y), shipped=(-2.539, 1.1)))
    (star,) = by_gid(ax, "own place")
    assert star.get_marker() == "*" and star.get_xydata().tolist() == [[-2.539, 1.1]]
    assert "as in the file (-2.5 mm, 1.1 m/s)" in legend_texts(figure_of(ax))


@pytest.mark.parametrize(
    ("shipped", "xy"),
    [((math.nan, 1.0), ([0, 1], [1.0, 1.0])), ((-3.0, math.nan), ([-3.0, -3.0], [0, 1]))],
)
def test_a_shipped_place_on_one_axis_is_a_line(shipped, xy):
    ax = class_map(make_map(MAP, make_study(X, Y), shipped=shipped))
    (line,) = by_gid(ax, "own place")
    assert (list(line.get_xdata()), list(line.get_ydata())) == xy


@pytest.mark.parametrize("shipped", [(5.0, 1.0), (-3.0, 9.0), (math.nan, math.nan)])
def test_a_shipped_place_off_the_map_is_not_drawn(shipped):
    ax = class_map(make_map(MAP, make_study(X, Y), shipped=shipped))
    assert not by_gid(ax, "own place")
    assert not any("as in the file" in t for t in legend_texts(figure_of(ax)))


def test_rings_are_on_the_cells_that_depend_on_the_start():
    x, y = np.arange(30.0), np.arange(20.0)
    kinds = np.full((30, 20, 2), B)
    kinds[3, 4, 1], kinds[20, 7, 0], kinds[8, 8, 1] = S, T, OPEN
    result = make_map(kinds, make_study(x, y, STARTS))
    ax = class_map(result, WORST, None)
    (rings,) = (ln for ln in ax.lines if ln.get_marker() == "o")
    assert rings.get_xydata().tolist() == [[3.0, 4.0], [20.0, 7.0]]
    assert "class depends on the start" in legend_texts(figure_of(ax))
    assert area(patches(ax)["spinning"]) == area(patches(ax)["tight"]) == 1.0
    assert ax.get_title(loc="left") == "Class of the motion, worst of all starts"
    # beside the letters where every cell has one
    ax = class_map(make_map(kinds[:5, :6], make_study(x[:5], y[:6], STARTS)), 1, None)
    (rings,) = (ln for ln in ax.lines if ln.get_marker() == "o")
    assert rings.get_xydata().tolist() == [[2.75, 3.75]]
    assert ax.get_title(loc="left") == 'Class of the motion, start "kick"'


# --------------------------------------------------------------------------------------- quantities


def test_quantity_map_has_the_values_and_greys_out_the_rest():
    result = make_map(MAP, make_study(X, Y))
    ax = quantity_map(result, ROLL)
    (mesh,) = (c for c in ax.collections if c.get_array() is not None)
    values = np.ma.filled(mesh.get_array(), math.nan).reshape(3, 5).T
    known = MAP >= 0
    assert np.array_equal(np.isfinite(values), known)
    field = 20.0 + 0.8 * X[:, None] + Y[None, :]
    assert values[known] == pytest.approx(field[known])
    assert mesh.get_cmap().name == "cividis"
    assert mesh.get_coordinates()[0, :, 0].tolist() == X_EDGES
    found = patches(ax)
    assert set(found) == {"failed", "not settled"} and found["failed"].get_hatch() == "xx"
    assert ax.get_title(loc="left") == "Roll amplitude"
    assert figure_of(ax).axes[1].get_ylabel() == "deg"
    (lines,) = by_gid(ax, "class boundaries")
    assert len(lines.get_segments()) == 15
    assert legend_texts(figure_of(ax)) == [
        "where the class changes", "?  not settled, 13 %", "x  failed, 13 %",
        "as in the file (-3 mm, 1 m/s)",
    ]  # fmt: skip


def test_cells_without_the_measure_are_white():
    result = make_map(MAP, make_study(X, Y))
    result.measures[FREQUENCY][4, 0] = math.nan  # it spins
    ax = quantity_map(result, FREQUENCY)
    (mesh,) = (c for c in ax.collections if c.get_array() is not None)
    values = np.ma.filled(mesh.get_array(), math.nan).reshape(3, 5).T
    assert np.isnan(values[4, 0]) and "no value" in legend_texts(figure_of(ax))


def test_a_few_far_values_do_not_set_the_colours():
    result = wide_map()
    result.measures[ROLL][0, :2] = 900.0
    ax = quantity_map(result, ROLL)
    (mesh,) = (c for c in ax.collections if c.get_array() is not None)
    usual = result.measures[ROLL][result.measures[ROLL] < 900.0]
    assert mesh.get_clim()[1] <= usual.max() and mesh.get_clim()[0] == usual.min()
    assert np.nanmax(mesh.get_array()) == 900.0


def test_quantity_between_runs_is_interpolated_and_says_so():
    inferred = np.zeros((9, 9), bool)
    inferred[1:-1, 1:-1] = True
    inferred[4, 4] = False
    result = make_map(np.full((9, 9), B), make_study(np.arange(9.0), np.arange(9.0)), inferred)
    ax = quantity_map(result, FREQUENCY)
    (mesh,) = (c for c in ax.collections if c.get_array() is not None)
    values = np.asarray(mesh.get_array()).reshape(9, 9).T
    assert values == pytest.approx(8.0 - 0.1 * np.arange(9.0)[:, None] + 2.0 * np.arange(9.0))
    assert ax.get_title(loc="left") == "Wobble frequency, interpolated between runs"


def test_quantity_figure_has_one_scale_for_all_starts():
    x, y = np.arange(6.0), np.arange(5.0)
    kinds = np.full((6, 5, 2), B)
    kinds[0, 0, 1] = FAIL
    result = make_map(kinds, make_study(x, y, STARTS))
    result.measures[ROLL][..., 1] += 10.0
    figure = quantity_figure(result, ROLL)
    titles = [t for ax in figure.axes if (t := ax.get_title(loc="left"))]
    assert titles == ['Roll amplitude, start "steady"', 'Roll amplitude, start "kick"']
    meshes = [c for ax in figure.axes for c in ax.collections if type(c).__name__ == "QuadMesh"]
    limits = {m.get_clim() for m in meshes if m.get_array().size == 30}
    # 20 + 0.8 x + y, by hand
    assert limits == {(20.0, 20.0 + 0.8 * 5.0 + 4.0 + 10.0)}
    assert legend_texts(figure) == ["where the class changes", "x  failed"]


def test_quantity_figure_of_one_axis_is_a_curve():
    result = line_map()
    result.measures["lean_deg"] = result.measures[ROLL] - 30.0
    figure = quantity_figure(result, "lean_deg")
    curve, band = figure.axes
    assert curve.get_ylabel() == "lean (mean roll) [deg]" and band.get_ylabel() == "class"
    (line,) = by_gid(curve, "lean_deg steady")
    assert np.array_equal(line.get_ydata(), result.measures["lean_deg"][:, 0], equal_nan=True)
    assert curve.get_ylim()[0] < np.nanmin(line.get_ydata()) < 0.0


# @@@ one axis


def line_map(starts: tuple[str, ...] = ("steady",), **changes: Any) -> Any:
    kinds = np.array([T] * 5 + [B] * 8 + [O] * 6 + [FAIL, O])
    if len(starts) > 1:
        other = kinds.copy()
        other[12:15] = S
        kinds = np.column_stack([kinds, other])
    return make_map(kinds, make_study(np.arange(-10.0, 11.0), starts=starts), **changes)


def test_curves_are_the_data_with_a_gap_where_there_is_no_class():
    result = line_map()
    panels = axis_lines(result)
    assert len(panels) == 4
    for ax, measure in zip(panels, (FREQUENCY, YAW, ROLL), strict=False):
        (curve,) = by_gid(ax, f"{measure} steady")
        x, y = curve.get_data()
        assert list(x) == list(np.arange(-10.0, 11.0))
        assert np.array_equal(y, result.measures[measure][:, 0], equal_nan=True)
        assert np.flatnonzero(np.isnan(y)).tolist() == [19]
        assert ax.get_xlim() == (-10.5, 10.5)
        assert ax.get_ylim()[0] == 0.0 and ax.get_ylim()[1] > np.nanmax(y)
    assert [ax.get_ylabel() for ax in panels] == [
        "frequency [Hz]", "amplitude [deg]", "amplitude [deg]", "class"
    ]  # fmt: skip
    assert panels[-1].get_xlabel() == "tie point along the tie path [mm]"


def test_curves_go_straight_across_cells_filled_in():
    inferred = np.zeros(21, bool)
    inferred[5:9] = True
    (curve,) = by_gid(axis_lines(line_map(inferred=inferred))[0], f"{FREQUENCY} steady")
    assert len(curve.get_xdata()) == 17 and np.isnan(curve.get_ydata()).sum() == 1


def test_limits_of_the_classes_are_drawn():
    _, yaw, roll, _ = axis_lines(line_map())
    for ax, value, text in (
        (yaw, 6.0, "tight below 6 deg"),
        (roll, 35.0, "over-rolling above 35 deg"),
    ):
        (line,) = by_gid(ax, "limit")
        assert list(line.get_ydata()) == [value, value]
        assert text in [t.get_text() for t in ax.texts]
        assert ax.get_ylim()[1] > value


def test_a_limit_far_above_is_only_named():
    result = line_map()
    result.measures[ROLL][:] *= 0.1
    roll = axis_lines(result)[2]
    assert not by_gid(roll, "limit") and roll.get_ylim()[1] < 5.0
    assert "over-rolling above 35 deg, off scale" in [t.get_text() for t in roll.texts]


def test_band_has_the_classes():
    band = axis_lines(line_map())[3]
    found = patches(band)
    assert rectangles(found["tight"]) == {(-10.5, 0.0, -5.5, 1.0)}
    assert rectangles(found["balanced"]) == {(-5.5, 0.0, 2.5, 1.0)}
    assert rectangles(found["over-rolling"]) == {(2.5, 0.0, 8.5, 1.0), (9.5, 0.0, 10.5, 1.0)}
    assert rectangles(found["failed"]) == {(8.5, 0.0, 9.5, 1.0)}
    assert "".join(t for _, t in sorted(letters(band).items())) == "tttttBBBBBBBBOOOOOOxO"


def test_shipped_place_and_growth_along_one_axis():
    x = np.arange(-10.0, 11.0, 4.0)
    growth = {"wobble": x - 1.0, "lean": np.full(x.size, math.nan)}
    panels = axis_lines(line_map(mode_axes=(x,), growth=growth))
    for ax in panels[:3]:
        (own,) = by_gid(ax, "own place")
        assert list(own.get_xdata()) == [-3.0, -3.0] and own.get_linestyle() == ":"
        (span,) = by_gid(ax, "neutral wobble")
        assert span.get_x() == pytest.approx(1.0)
        assert span.get_x() + span.get_width() == pytest.approx(10.0)
        assert not by_gid(ax, "neutral lean")
    texts = legend_texts(figure_of(panels[0]))
    assert "small wobble grows by itself" in texts and "as in the file (-3 mm)" in texts
    assert not any("ticks" in t for t in texts)


def test_several_starts_along_one_axis():
    panels = axis_lines(line_map(STARTS), None)
    assert [ax.get_ylabel() for ax in panels[3:]] == ["steady", "kick", "worst"]
    names = [t.get_text() for t in panels[0].get_legend().get_texts()]
    assert names == ["steady", "kick"]
    curves = [ln for ln in panels[0].lines if str(ln.get_gid()).startswith(FREQUENCY)]
    assert len({(ln.get_color(), ln.get_linestyle(), ln.get_marker()) for ln in curves}) == 2
    assert len({ln.get_linestyle() for ln in curves}) == 2
    assert rectangles(patches(panels[5])["spinning"]) == {(1.5, 0.0, 4.5, 1.0)}
    (rings,) = (ln for ln in panels[5].lines if ln.get_marker() == "o")
    assert list(rings.get_xdata()) == [2.0, 3.0, 4.0]


def test_zeros_of_a_curve():
    x = np.array([0.0, 1.0, 2.0, 4.0, 5.0, 6.0])
    assert zeros(x, np.array([-1.0, 1.0, 3.0, -3.0, math.nan, 2.0])) == [0.5, 3.0]
    assert zeros(x, np.array([0.0, 1.0, 2.0, 1.0, 1.0, 0.0])) == [0.0]
    assert zeros(x, np.full(6, math.nan)) == []


# -------------------------------------------------------------------------------- the whole picture


def examples() -> dict[str, Any]:
    starts = np.stack([wide_map().motion_class[..., 0].astype(int)] * 2, -1)
    starts[12:18, 3:9, 1] = S
    study = make_study(np.arange(-20.0, 10.0), np.linspace(0.5, 2.4, 20), STARTS)
    known = modes_of(None, wobble=lambda x, y: x + 4.0 * y, lean=lambda x, y: 1.0 - y + 0.0 * x)
    return {
        "two axes": wide_map(**known),
        "small": make_map(MAP, make_study(X, Y), **modes_of(None)),
        "two starts": make_map(starts, study, **known),
        "line": line_map(),
        "line, two starts": line_map(STARTS),
    }


def test_panels_of_each_kind_of_picture():
    titles = {
        name: [t for ax in map_figure(r).axes if (t := ax.get_title(loc="left"))]
        for name, r in examples().items()
    }
    assert titles["two axes"] == ["Class of the motion", "Wobble frequency", "Roll amplitude"]
    assert titles["two starts"] == [
        'Class of the motion, start "steady"', 'Class of the motion, start "kick"',
        "Class of the motion, worst of all starts",
    ]  # fmt: skip
    assert titles["line"] == ["Wobble frequency", "Yaw amplitude", "Roll amplitude"]


def test_title_tells_bait_sweep_and_what_was_fixed():
    study = make_study(X, Y, fixed={"solver.step_ms": 4.0, "line.length_m": 5.0})
    assert map_title(make_map(MAP, study)) == [
        "shallow-runner: motion over tie point along the tie path and retrieve speed",
        "towed, solver.step_ms = 4.0, line.length_m = 5.0, 15 runs",
    ]
    figure = map_figure(line_map())
    texts = [t.get_text() for t in figure.texts]
    assert texts == [
        "shallow-runner: motion over tie point along the tie path",
        "towed at 1 m/s, line 3 m, 21 runs",
    ]
    inferred = np.zeros(21, bool)
    inferred[5:9] = True
    assert map_title(line_map(inferred=inferred))[1].endswith(
        "17 runs, 4 of 21 cells filled in between them"
    )


@pytest.mark.parametrize("name", list(examples()))
def test_nothing_touches_a_neighbour_or_leaves_the_page(name):
    figure = map_figure(examples()[name])
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    renderer = canvas.get_renderer()
    boxes = [ax.get_tightbbox(renderer) for ax in figure.axes]
    boxes += [legend.get_window_extent(renderer) for legend in figure.legends]
    boxes += [text.get_window_extent(renderer) for text in figure.texts]
    width, height = figure.bbox.width, figure.bbox.height
    for i, one in enumerate(boxes):
        assert one.x0 >= 0.0 and one.y0 >= 0.0 and one.x1 <= width and one.y1 <= height
        for other in boxes[i + 1 :]:
            inside = (
                min(one.x1, other.x1) - max(one.x0, other.x0),
                min(one.y1, other.y1) - max(one.y0, other.y0),
            )
            assert min(inside) < 4.0  # half a star may hang over an edge, no text over text


def test_file_has_the_same_bytes_again_and_the_size_of_all_pictures(tmp_path):
    result = examples()["two starts"]
    one = save_map_figure(result, tmp_path / "a.svg").read_bytes()
    assert save_map_figure(result, tmp_path / "b.svg").read_bytes() == one
    png = save_map_figure(result, tmp_path / "a.png").read_bytes()
    assert (int.from_bytes(png[16:20]), int.from_bytes(png[20:24])) == (1600, 1000)
    with pytest.raises(RuntrueError, match=r"must end in .png, .svg or .pdf"):
        save_map_figure(result, tmp_path / "a.gif")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.png", "a.svg", "b.svg"]


def test_kinds_are_the_classes_and_three_more():
    assert KINDS == ("tight", "balanced", "over-rolling", "spinning", "not settled", "failed",
                     "missing")  # fmt: skip
