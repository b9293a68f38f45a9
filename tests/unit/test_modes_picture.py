"""The picture of the modes, checked by what is drawn: curves, bounds, labels, classes."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

import sim
from sim.bait.tie_path import tie_path
from sim.errors import RuntrueError
from sim.plots.modes import modes_figure, save_modes_figure
from sim.plots.style import OKABE_ITO, class_style
from sim.small_motion import TiePoint, modes_along

CONFIGS = Path(__file__).parents[2] / "configs"
CLASSES = ("tight", "balanced", None, "over-rolling", "spinning", "tight")


def load(name: str = "shallow-runner", **over: Any) -> sim.Config:
    return sim.load_config(CONFIGS / f"{name}.toml", over)


def along(config: sim.Config, pitch_mm: float = 2.0) -> tuple[TiePoint, ...]:
    return modes_along(config, pitch_mm)


def panel(figure: Figure, title: str) -> Axes:
    """The one panel whose title begins so."""
    (found,) = (
        ax
        for ax in figure.axes
        if any(ax.get_title(loc=loc).startswith(title) for loc in ("left", "center", "right"))
    )
    return found


def drawn(ax: Axes) -> dict[float, float]:
    """Place to value of the marked points of a panel; the curve and its marks must agree."""
    points: dict[float, float] = {}
    for line in ax.get_lines():
        x, y = line.get_data()
        if line.get_linestyle() == ":" or len(x) < 3 or line.get_transform() != ax.transData:
            continue
        for place, value in zip(np.asarray(x, float), np.asarray(y, float), strict=True):
            if math.isfinite(place):
                assert points.setdefault(place, value) == pytest.approx(value, nan_ok=True)
    return points


@pytest.mark.parametrize("name", ["shallow-runner", "surface-runner", "deep-runner"])
def test_curves_are_the_data(name):
    config = load(name)
    path = along(config, 1.0)
    figure = modes_figure(config, path)
    wanted = {
        "Wobble: frequency": lambda m: m.wobble.frequency_hz,
        "Wobble: growth": lambda m: m.wobble.growth_1_s,
        "Lean": lambda m: m.lean.growth_1_s,
    }
    for title, value in wanted.items():
        points = drawn(panel(figure, title))
        for p in path:
            if p.modes is None:
                assert math.isnan(points.get(p.distance_mm, math.nan))
            else:
                assert points[p.distance_mm] == value(p.modes)
        assert len([v for v in points.values() if math.isfinite(v)]) == sum(
            p.modes is not None for p in path
        )


def test_everything_drawn_is_within_bounds():
    config = load()
    path = along(config, 1.0)
    figure = modes_figure(config, path)
    for title in ("Wobble: frequency", "Wobble: growth", "Lean"):
        ax = panel(figure, title)
        low, high = ax.get_ylim()
        values = [v for v in drawn(ax).values() if math.isfinite(v)]
        assert low <= min(values) and max(values) <= high
        left, right = ax.get_xlim()
        assert left < path[0].distance_mm and path[-1].distance_mm < right
        if title != "Wobble: frequency":
            assert low < 0.0 < high  # where growth turns to decay is always seen
    assert panel(figure, "Wobble: frequency").get_ylim()[0] == 0.0


def test_labels_have_names_and_units():
    config = load()
    figure = modes_figure(config, along(config, 6.0))
    assert panel(figure, "Wobble: frequency").get_ylabel() == "frequency [Hz]"
    for title in ("Wobble: growth", "Lean"):
        assert panel(figure, title).get_ylabel() == "growth [1/s]"
    assert panel(figure, "Lean").get_xlabel().startswith("tie point along the tie path [mm]")
    words = " ".join(t.get_text() for t in figure.texts)
    assert "shallow-runner: modes of the steady tow along the tie path" in words
    assert "1 m/s through the water, line 3 m, the bill's wake left out of the modes" in words
    assert "not of the runs" not in words
    for title, texts in {
        "Wobble: growth": ("grows by itself", "dies out"),
        "Lean": ("goes over", "comes back"),
    }.items():
        found = {t.get_text(): t for t in panel(figure, title).texts}
        assert set(texts) <= set(found)
        # what grows is above the line
        assert found[texts[0]].get_va() == "bottom" and found[texts[1]].get_va() == "top"


def test_the_tie_point_of_the_file_is_marked():
    config = load()
    figure = modes_figure(config, along(config, 6.0))
    own, _ = tie_path(config).nearest(
        config.bait.tie.from_nose_mm, config.bait.tie.above_centreline_mm
    )
    for title in ("Wobble: frequency", "Wobble: growth", "Lean"):
        (mark,) = (ln for ln in panel(figure, title).get_lines() if ln.get_linestyle() == ":")
        assert list(mark.get_xdata()) == [own, own]
    assert "tied here" in [t.get_text() for t in panel(figure, "Wobble: frequency").texts]


def test_straight_and_swinging_leans_are_told_apart():
    config = load()
    path = along(config, 1.0)
    ax = panel(modes_figure(config, path), "Lean")
    by_label = {ln.get_label(): set(ln.get_xdata()) for ln in ax.get_lines()}
    swings = {p.distance_mm for p in path if p.modes.lean.oscillates}
    assert by_label["swings back (met another root)"] == swings
    assert by_label["comes straight back"] == {p.distance_mm for p in path} - swings
    assert {t.get_text() for t in ax.get_legend().get_texts()} == {
        "comes straight back", "swings back (met another root)"
    }  # fmt: skip


def test_a_line_ends_where_two_modes_change_roles():
    # on the shallow runner between -4 and -3 mm (docs/modes.md)
    config = load()
    path = along(config, 1.0)
    for title in ("Wobble: frequency", "Wobble: growth", "Lean"):
        ax = panel(modes_figure(config, path), title)
        curve = max(ax.get_lines(), key=lambda ln: len(ln.get_xdata()))
        x = np.asarray(curve.get_xdata(), float)
        (gap,) = np.flatnonzero(np.isnan(x))
        assert (x[gap - 1], x[gap + 1]) == (-4.0, -3.0)


def test_band_has_the_class_of_every_tie_point():
    config = load()
    path = along(config, 7.0)
    figure = modes_figure(config, path, CLASSES)
    band = panel(figure, "What a run does there: ")
    patches = [p for p in band.patches if isinstance(p, Rectangle)]
    letters = [t for t in band.texts if len(t.get_text()) == 1]
    assert len(patches) == len(letters) == len(path)
    for p, name, patch, letter in zip(path, CLASSES, patches, letters, strict=True):
        style = class_style(name)
        assert patch.get_x() + 0.5 * patch.get_width() == pytest.approx(p.distance_mm)
        assert patch.get_width() == pytest.approx(7.0)
        assert to_hex(patch.get_facecolor()) == to_hex(style.colour)
        assert (patch.get_hatch() or "") == (style.hatch or "")
        assert (letter.get_text(), letter.get_position()[0]) == (style.letter, p.distance_mm)
    title = band.get_title(loc="left") or band.get_title()
    for name in CLASSES:
        assert f"{class_style(name).letter} {class_style(name).words}" in title
    assert "the bill's wake left out of the modes, not of the runs" in " ".join(
        t.get_text() for t in figure.texts
    )


def test_without_classes_there_is_no_band():
    config = load()
    figure = modes_figure(config, along(config, 8.0))
    assert not any(
        ax.get_title(loc=loc).startswith("What a run") for ax in figure.axes
        for loc in ("left", "center")
    )  # fmt: skip


def test_classes_must_be_as_many_as_tie_points():
    config = load()
    with pytest.raises(ValueError, match="zip"):
        modes_figure(config, along(config, 8.0), ["tight"])


def test_the_bait_is_drawn_with_its_tie_path_to_scale():
    config = load()
    ax = panel(modes_figure(config, along(config, 8.0)), "Tie path [mm]")
    path = tie_path(config)
    assert any(
        len(ln.get_xdata()) == path.distance_mm.size
        and np.array_equal(ln.get_xdata(), path.from_nose_mm)
        and np.array_equal(ln.get_ydata(), path.above_centreline_mm)
        for ln in ax.get_lines()
    )
    marks = {t.get_text(): t.xy for t in ax.texts if hasattr(t, "xy")}
    assert {"-20", "-10", "0", "10"} <= set(marks)
    for text in ("-20", "0", "10"):
        assert marks[text] == path.at(float(text))
    assert ax.get_aspect() in (1.0, "equal")
    left, right = ax.get_xlim()
    assert left > right  # the nose points to the right
    assert right < path.from_nose_mm.min() and path.from_nose_mm.max() < left


def test_no_steady_tow_anywhere_is_drawn_all_the_same():
    config = load()
    path = [TiePoint(p.config, p.distance_mm, p.from_nose_mm, p.above_centreline_mm, None)
            for p in along(config, 8.0)]  # fmt: skip
    figure = modes_figure(config, path, [None] * len(path))
    assert all(math.isnan(v) for v in drawn(panel(figure, "Lean")).values())


def test_no_text_touches_another_panel():
    config = load()
    figure = modes_figure(config, along(config, 7.0), CLASSES)
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    renderer = canvas.get_renderer()
    boxes = [ax.get_tightbbox(renderer) for ax in figure.axes]
    width, height = figure.bbox.width, figure.bbox.height
    for i, one in enumerate(boxes):
        assert one.x0 >= 0.0 and one.y0 >= 0.0 and one.x1 <= width and one.y1 <= height
        for other in boxes[i + 1 :]:
            assert not one.overlaps(other)
    for text in figure.texts:
        box = text.get_window_extent(renderer)
        assert box.x0 >= 0.0 and box.x1 <= width and box.y1 <= height
        assert not any(box.overlaps(other) for other in boxes)


def test_colours_are_those_of_the_palette():
    config = load()
    figure = modes_figure(config, along(config, 8.0))
    allowed = {to_hex(c) for c in OKABE_ITO.values()} | {"#333333"}
    for title in ("Wobble: frequency", "Wobble: growth", "Lean"):
        for line in panel(figure, title).get_lines():
            assert to_hex(line.get_color()) in allowed


def test_same_bytes_again_and_no_file_for_an_unknown_suffix(tmp_path):
    config = load()
    path = along(config, 12.0)
    one = save_modes_figure(config, path, tmp_path / "a.svg").read_bytes()
    assert save_modes_figure(config, path, tmp_path / "b.svg").read_bytes() == one
    assert one.startswith(b"<?xml")
    with pytest.raises(RuntrueError, match=r"must end in .png, .svg or .pdf"):
        save_modes_figure(config, path, tmp_path / "a.gif")
    with pytest.raises(RuntrueError, match="folder that exists"):
        save_modes_figure(config, path, tmp_path / "none" / "a.png")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.svg", "b.svg"]
