"""Pictures of runs, checked by what is drawn: data, labels, limits, extents, text."""

from __future__ import annotations

import dataclasses
import math
import subprocess
import sys
import tomllib
from typing import Any

import matplotlib
import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from matplotlib.patches import Polygon
from scipy.spatial.transform import Rotation

from sim.bait.plates import plate_properties
from sim.config import Config, config_from_dict, starting_config
from sim.config.models import Ballast, Plate
from sim.errors import RuntrueError
from sim.plots import outline, panels, style
from sim.plots import run as plots
from sim.result import MOTION_CLASSES, STATUSES, RunResult


def config(name: str = "trial-70", **tables: dict[str, Any]) -> Config:
    """The starting bait, with keys of tables replaced; line=None takes the line off."""
    data = tomllib.loads(starting_config(name))
    for key, values in tables.items():
        if values is None:
            data.pop(key, None)
        else:
            data.setdefault(key, {}).update(values)
    return config_from_dict(data)


def wobble(
    settings: Config | None = None,
    *,
    duration: float = 8.0,
    step: float = 0.004,
    yaw_deg: float = 13.0,
    roll_deg: float = 21.0,
    lean_deg: float = 1.2,
    frequency: float = 7.2,
    turn_rate: float = 0.0,
    motion_class: str | None = "balanced",
    status: str = "settled",
    **changes: Any,
) -> RunResult:
    """A made-up run that looks like a wobbling bait on a tow."""
    settings = settings or config()
    heading = settings.retrieve.heading_deg if settings.line is not None else 0.0
    time = np.arange(0.0, duration + 0.5 * step, step)
    grown = 1.0 - np.exp(-time / 0.6)
    swing = np.sin(2.0 * np.pi * frequency * time)
    lag = np.sin(2.0 * np.pi * frequency * time - 0.7)
    yaw = 0.5 + yaw_deg * grown * swing
    roll = lean_deg + roll_deg * grown * lag + 360.0 * turn_rate * time
    pitch = -12.0 + 1.5 * grown * np.sin(4.0 * np.pi * frequency * time)
    quat = Rotation.from_euler(
        "ZYX", np.column_stack([yaw + heading, pitch, roll]), degrees=True
    ).as_quat(scalar_first=True)
    speed = settings.retrieve.speed_m_s
    depth = 0.3 + 0.45 * (1.0 - np.exp(-time / 1.2))
    along = speed * time - 2.9
    side = 0.0015 * grown * lag + 0.004 * time
    angle = math.radians(heading)
    position = np.column_stack(
        [
            along * math.cos(angle) - side * math.sin(angle),
            along * math.sin(angle) + side * math.cos(angle),
            depth,
        ]
    )
    tip = speed * time
    rod = np.column_stack([tip * math.cos(angle), tip * math.sin(angle), np.zeros_like(tip)])
    tension = 1.35 + 0.25 * grown * np.sin(4.0 * np.pi * frequency * time)
    tension += 2.0 * np.exp(-time / 0.1)
    measures = {
        "wobble_frequency_hz": frequency,
        "yaw_amplitude_deg": yaw_deg,
        "roll_amplitude_deg": roll_deg,
        "lean_deg": lean_deg,
        "turn_rate_hz": turn_rate,
        "depth_m": 0.75,
        "line_tension_n": 1.35,
    }
    values: dict[str, Any] = {
        "config": settings,
        "time": time,
        "position": position,
        "attitude": quat,
        "velocity": np.zeros((time.size, 6)),
        "wake": np.zeros((time.size, 2)),
        "line_tension": tension,
        "rod_tip": rod,
        "status": status,
        "message": "the motion settled",
        "motion_class": motion_class,
        "class_reason": "yaw amplitude 13.0 deg at or above 6 deg, roll 21.0 deg within 35 deg",
        "measures": measures,
        "margins": {"spin": 1.0, "roll": 0.4, "lean": 0.97, "roll_to_yaw": 0.46},
        "window": (0.4 * duration, duration),
        "stats": {"steps": 4000.0},
    }
    values.update(changes)
    return RunResult(**values)


def diverged(run: RunResult, at: float = 0.7) -> RunResult:
    """The same run blown up and NaN after a share of its rows, without measures."""
    stop = int(at * run.time.size)
    arrays = {}
    for key in ("position", "attitude", "velocity", "wake", "line_tension", "rod_tip"):
        values = np.array(getattr(run, key))
        values[stop:] = np.nan
        arrays[key] = values
    grow = np.exp(np.arange(min(12, stop)))[:, None]
    arrays["position"][stop - grow.shape[0] : stop] += 1e-4 * grow * np.array([1.0, 0.7, 0.4])
    arrays["line_tension"][stop - grow.shape[0] : stop] += grow[:, 0]
    return dataclasses.replace(
        run,
        status="diverged",
        motion_class=None,
        class_reason="",
        message="state not finite at t = 5.604 s (first: pitch rate q, last finite 913 rad/s); "
        "stopped. Try a smaller solver.step_ms, below 0.5",
        measures={key: math.nan for key in run.measures},
        margins={},
        window=(math.nan, math.nan),
        warnings=("the line went slack 12 times",),
        **arrays,
    )


def free() -> RunResult:
    """A bait that sinks without a line."""
    run = wobble(
        config(line=None, bait={}),
        duration=3.0,
        motion_class=None,
        status="free",
        window=(math.nan, math.nan),
        measures={},
        class_reason="no line: nothing to class",
        message="the end of the run was reached",
    )
    time = run.time
    position = np.column_stack([0.12 * time**2, 0.02 * np.sin(3.0 * time), 0.5 + 0.3 * time])
    return dataclasses.replace(
        run,
        position=position,
        line_tension=np.zeros_like(time),
        rod_tip=np.full((time.size, 3), np.nan),
    )


def gallery() -> dict[str, RunResult]:
    """One run of every kind a picture must bear."""
    still = math.nan
    return {
        "balanced": wobble(),
        "tight": wobble(
            yaw_deg=1.2,
            roll_deg=3.1,
            motion_class="tight",
            class_reason="yaw amplitude 1.2 deg below 6 deg",
        ),
        "over-rolling": wobble(
            config(retrieve={"heading_deg": 30.0}),
            yaw_deg=27.0,
            roll_deg=48.0,
            lean_deg=-6.0,
            frequency=6.4,
            motion_class="over-rolling",
            class_reason="roll amplitude 48.0 deg above 35 deg",
        ),
        "leaning": wobble(
            roll_deg=8.0,
            lean_deg=41.0,
            motion_class="over-rolling",
            class_reason="leans 41.0 deg, limit 35 deg",
        ),
        "spinning": wobble(
            turn_rate=-0.8,
            motion_class="spinning",
            class_reason="3.8 net turns about the track in one sense, limit 1",
            measures={
                "wobble_frequency_hz": still,
                "yaw_amplitude_deg": 13.0,
                "turns": -3.84,
                "roll_amplitude_deg": still,
                "lean_deg": still,
                "turn_rate_hz": -0.8,
                "depth_m": 0.75,
                "line_tension_n": 1.35,
            },
        ),
        "diverged": diverged(wobble()),
        "free": free(),
        "half measured": wobble(
            motion_class=None,
            status="not settled",
            class_reason="no class: not settled",
            message="not stationary after 8 s",
        ),
        "much to say": wobble(
            config("a-bait-with-a-rather-long-name-of-its-own-that-fills-the-line-" + 38 * "x"),
            motion_class=None,
            status="not settled",
            class_reason="",
            message="so it went " * 60,
            warnings=("the line went slack again and again " * 9, "another"),
        ),
        "nothing known": diverged(wobble(), at=0.0),
        "not settled": wobble(
            duration=24.0,
            motion_class=None,
            status="not settled",
            window=(still, still),
            class_reason="",
            measures={},
            message="the motion had not settled after 24 s: the yaw amplitude still changed by "
            "9 percent from block to block, 5 percent are allowed. Give a longer "
            "solver.max_duration_s, or look at the whole run: the bait may never settle",
        ),
        "line in": wobble(
            config(retrieve={"mode": "reel"}),
            duration=2.6,
            motion_class=None,
            status="line in",
            window=(still, still),
            class_reason="",
            measures={},
            message="the reel ran out of line after 2.6 s",
            rod_tip=np.zeros((651, 3)),
        ),
        "short": wobble(
            duration=0.004,
            motion_class=None,
            status="not settled",
            window=(still, still),
            class_reason="",
            measures={},
            message="the run is too short",
        ),
        "single row": wobble(
            duration=0.0,
            motion_class=None,
            status="not settled",
            window=(still, still),
            class_reason="",
            measures={},
            message="the run is too short",
        ),
    }


GALLERY = gallery()


def panel(figure: Figure, start: str) -> Axes:
    """The one panel whose title starts so."""
    found = [ax for ax in figure.axes if ax.get_title(loc="left").startswith(start)]
    assert len(found) == 1, [ax.get_title(loc="left") for ax in figure.axes]
    return found[0]


def drawn(ax: Axes, label: str) -> np.ndarray:
    """Data of the one line whose label starts so, shape (2, n)."""
    lines = [line for line in ax.lines if str(line.get_label()).startswith(label)]
    assert len(lines) == 1, [line.get_label() for line in ax.lines]
    return np.array(lines[0].get_data(), dtype=float)


def levels(ax: Axes) -> list[float]:
    """Heights of the horizontal lines that cross the whole panel."""
    return sorted(
        float(line.get_ydata()[0])
        for line in ax.lines
        if list(line.get_xdata()) == [0, 1] and line.get_ydata()[0] == line.get_ydata()[1]
    )


# ---- style --------------------------------------------------------------------------------------


def test_every_class_has_its_own_colour_hatch_marker_and_letter() -> None:
    assert set(style.CLASS_STYLES) == set(MOTION_CLASSES)
    every = [*style.CLASS_STYLES.values(), style.NO_CLASS]
    for key in ("colour", "hatch", "marker", "letter"):
        assert len({getattr(s, key) for s in every}) == len(every), key
    letters = {name: s.letter for name, s in style.CLASS_STYLES.items()}
    assert letters == {"tight": "t", "balanced": "B", "over-rolling": "O", "spinning": "S"}
    assert style.class_style(None).marker == style.class_style(None).letter == "x"
    for s in style.CLASS_STYLES.values():
        assert s.colour in style.OKABE_ITO.values()
    r, g, b = matplotlib.colors.to_rgb(style.NO_CLASS.colour)
    assert r == g == b
    with pytest.raises(KeyError):
        style.class_style("wild")


def test_style_leaves_no_setting_behind() -> None:
    before = dict(matplotlib.rcParams)
    with style.plot_style():
        assert matplotlib.rcParams["axes.titlelocation"] == "left"
    assert dict(matplotlib.rcParams) == before
    plots.run_figure(GALLERY["balanced"])
    assert dict(matplotlib.rcParams) == before


def test_drawing_never_loads_pyplot() -> None:
    code = "import sys, sim.plots.run; sys.exit('matplotlib.pyplot' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


# ---- angles and paths ---------------------------------------------------------------------------


def test_angles_are_relative_to_the_retrieve_and_turns_count_whole_turns() -> None:
    time = np.linspace(0.0, 5.0, 1001)
    yaw, pitch = 10.0 * np.sin(9.0 * time), np.full(1001, -80.0)
    roll = 150.0 + 20.0 * time
    quat = Rotation.from_euler(
        "ZYX", np.column_stack([yaw + 170.0, pitch, roll]), degrees=True
    ).as_quat(scalar_first=True)
    quat[::2] *= -1.0  # the same attitude
    quat[900:] = np.nan
    angles = plots.attitude_angles(quat, 170.0)
    np.testing.assert_allclose(angles.yaw[:900], yaw[:900], atol=1e-6)
    np.testing.assert_allclose(angles.pitch[:900], -80.0, atol=1e-6)
    np.testing.assert_allclose(angles.roll[:900], roll[:900], atol=1e-6)  # past 180, no jump
    for values in (angles.yaw, angles.pitch, angles.roll, angles.twist):
        assert np.isnan(values[900:]).all()
    # a pure turn about the track at a fixed pitch and yaw of the bait against it
    turn = Rotation.from_euler("X", -370.0 * time[:, None], degrees=True)
    held = turn * Rotation.from_euler("ZYX", [30.0, -25.0, 10.0], degrees=True)
    spun = Rotation.from_euler("Z", 170.0, degrees=True) * held
    turns = plots.attitude_angles(spun.as_quat(scalar_first=True), 170.0).twist
    # exact at whole turns; between them the twist runs ahead and behind
    assert turns[0] == 0.0
    np.testing.assert_allclose(np.interp(3.6 / 3.7, time, turns), -1.0, atol=1e-3)
    assert turns[-1] == pytest.approx(-5.0 * 370.0 / 360.0, abs=0.05)


def test_nose_straight_down_gives_no_warning(recwarn: pytest.WarningsRecorder) -> None:
    quat = Rotation.from_euler("ZYX", [[0, -90, 0]] * 3, degrees=True).as_quat(scalar_first=True)
    assert plots.attitude_angles(quat, 0.0).pitch == pytest.approx(-90.0)
    assert not recwarn.list


def test_along_and_side_follow_the_heading() -> None:
    points = np.array([[0.0, 2.0, 0.3], [-3.0, 0.0, 0.3]])
    along, side = plots.along_and_side(points, 90.0)  # toward starboard of x, that is along +y
    np.testing.assert_allclose(along, [2.0, 0.0], atol=1e-12)
    np.testing.assert_allclose(side, [0.0, 3.0], atol=1e-12)


# ---- panels -------------------------------------------------------------------------------------


def test_plan_draws_the_given_path_with_starboard_down() -> None:
    along, side = np.linspace(0.0, 8.0, 50), 0.02 * np.sin(np.arange(50.0))
    rod = (along + 3.0, np.zeros(50))
    ax = plots.plan_panel(along, side, rod=rod)
    np.testing.assert_array_equal(drawn(ax, "bait"), [along, side])
    np.testing.assert_array_equal(drawn(ax, "rod tip"), rod)
    np.testing.assert_array_equal(drawn(ax, "line at the end"), [[8.0, 11.0], [side[-1], 0.0]])
    assert ax.get_xlabel() == "distance along the retrieve [m]"
    assert ax.get_ylabel() == "to starboard [m]"
    low, high = ax.get_ylim()
    assert low > side.max() > side.min() > high
    assert ax.get_xlim()[0] < 0.0 and ax.get_xlim()[1] > 11.0


def test_plan_states_its_stretch_and_keeps_to_it() -> None:
    long, thin = np.linspace(0.0, 8.0, 50), 0.02 * np.sin(np.arange(50.0))
    ax = plots.plan_panel(long, thin)
    factor = ax.get_aspect()
    assert factor in panels.STRETCHES and factor > 1.0
    assert ax.get_title(loc="left") == f"Path from above, sideways drawn {factor:g}x"
    ax.get_figure().draw_without_rendering()
    (x0, y0), (x1, y1) = ax.transData.transform([(0.0, 0.0), (1.0, 1.0)])
    assert abs(y1 - y0) / abs(x1 - x0) == pytest.approx(factor, rel=1e-6)
    round_trip = plots.plan_panel(np.cos(long), np.sin(long))
    assert round_trip.get_aspect() == 1.0
    assert round_trip.get_title(loc="left") == "Path from above, true to scale"


@pytest.mark.parametrize("surface", [True, False])
def test_depth_points_down_and_the_surface_is_drawn_where_there_is_one(surface: bool) -> None:
    time, depth = np.linspace(0.0, 3.0, 40), np.linspace(0.4, 1.1, 40)
    ax = plots.depth_panel(time, depth, xlabel="time [s]", surface=surface)
    assert ax.yaxis_inverted()
    np.testing.assert_array_equal(drawn(ax, "bait"), [time, depth])
    assert ax.get_xlabel() == "time [s]"
    assert levels(ax) == ([0.0] if surface else [])
    assert ax.get_ylabel() == ("depth [m]" if surface else "depth below origin [m]")


def test_attitude_limits_are_those_of_the_config_about_the_middle_of_the_swing() -> None:
    settings = config(limits={"roll_deg": 31.0, "tight_yaw_deg": 4.5})
    time = np.linspace(0.0, 2.0, 801)  # whole quarters, so that the peaks are hit
    angles = {
        "yaw": 2.0 + 12.0 * np.sin(10.0 * np.pi * time),
        "roll": -3.0 + 20.0 * np.sin(10.0 * np.pi * time),
        "pitch": np.full(801, -10.0),
    }
    ax = plots.attitude_panel(time, angles, limits=settings.limits)
    assert levels(ax) == pytest.approx([-34.0, -2.5, 6.5, 28.0])
    for key, values in angles.items():
        np.testing.assert_array_equal(drawn(ax, key), [time, values])
    low, high = ax.get_ylim()
    assert low < -34.0 and high > 28.0
    words = " ".join(text.get_text() for text in ax.texts)
    assert "±4.5° of yaw" in words and "±31° of roll" in words
    assert ax.get_xlabel() == "time [s]" and ax.get_ylabel() == "angle to the retrieve [°]"


def test_far_roll_limit_leaves_a_small_motion_readable_and_is_named() -> None:
    time = np.linspace(0.0, 2.0, 801)
    small = np.sin(10.0 * np.pi * time)
    ax = plots.attitude_panel(time, {"yaw": small, "roll": 2.0 * small}, limits=config().limits)
    assert levels(ax) == pytest.approx([-6.0, 6.0])
    assert ax.get_ylim()[1] < 10.0
    assert any("±35° of roll" in t.get_text() and "off scale" in t.get_text() for t in ax.texts)


def test_lean_limit_is_drawn_on_the_side_the_bait_leans_to() -> None:
    time = np.linspace(0.0, 2.0, 801)
    roll = -30.0 + 5.0 * np.sin(10.0 * np.pi * time)
    limits = config(limits={"lean_deg": 33.0}).limits
    ax = plots.attitude_panel(time, {"roll": roll}, limits=limits)
    assert -33.0 in levels(ax)
    assert any("33° of lean" in t.get_text() for t in ax.texts)


def test_a_last_jerk_does_not_move_the_limits() -> None:
    time = np.linspace(0.0, 2.0, 801)
    yaw = 10.0 * np.sin(10.0 * np.pi * time)
    yaw[-20:] = np.linspace(0.0, 240.0, 20)
    ax = plots.attitude_panel(time, {"yaw": yaw}, limits=config().limits)
    assert levels(ax) == pytest.approx([-6.0, 6.0], abs=0.2)


def test_turns_draw_the_limit_from_the_start_of_the_window_in_their_own_sense() -> None:
    time = np.linspace(0.0, 4.0, 401)
    ax = plots.turns_panel(time, -0.5 * time, spin_turns=1.5, window=(1.0, 4.0))
    np.testing.assert_array_equal(drawn(ax, "turns"), [time, -0.5 * time])
    np.testing.assert_allclose(drawn(ax, "spinning past 1.5"), [[1.0, 4.0], [-2.0, -2.0]])
    assert ax.get_ylabel() == "turns [-]" and ax.get_xlabel() == "time [s]"


def test_tension_draws_its_data_and_mean_from_zero() -> None:
    time = np.linspace(0.0, 4.0, 401)
    tension = 1.4 + 0.2 * np.sin(40.0 * time)
    ax = plots.tension_panel(time, tension, mean=1.4, window=(1.0, 4.0))
    np.testing.assert_array_equal(drawn(ax, "tension"), [time, tension])
    np.testing.assert_array_equal(drawn(ax, "mean 1.4 N"), [[1.0, 4.0], [1.4, 1.4]])
    assert ax.get_ylim()[0] == 0.0
    assert ax.get_ylabel() == "tension [N]" and ax.get_xlabel() == "time [s]"


def test_a_few_rows_out_of_all_proportion_do_not_set_the_scale_and_are_told() -> None:
    time = np.linspace(0.0, 4.0, 401)
    tension = 1.4 + 0.2 * np.sin(40.0 * time)
    tension[-3:] = 5e6
    ax = plots.tension_panel(time, tension)
    assert ax.get_ylim()[1] < 5.0
    assert "5e+06 N is off scale" in ax.get_title(loc="left")
    np.testing.assert_array_equal(drawn(ax, "tension"), [time, tension])


@pytest.mark.parametrize(
    ("draw", "data"),
    [
        (plots.plan_panel, (np.arange(5.0), np.arange(5.0))),
        (plots.depth_panel, (np.arange(5.0), np.arange(5.0))),
        (plots.attitude_panel, (np.arange(5.0), {"yaw": np.arange(5.0)})),
        (plots.turns_panel, (np.arange(5.0), np.arange(5.0))),
        (plots.tension_panel, (np.arange(5.0), np.arange(5.0))),
        (plots.bait_panel, (config().bait,)),
    ],
)
def test_panels_draw_into_the_given_axes_and_return_it(draw: Any, data: tuple) -> None:
    ax = Figure().add_subplot()
    assert draw(*data, ax=ax) is ax
    assert len(ax.lines) + len(ax.patches) > 0
    alone = draw(*data)
    assert isinstance(alone, Axes) and alone is not ax


# ---- the drawing of the bait --------------------------------------------------------------------


def test_bait_drawing_has_the_extents_of_the_config() -> None:
    bait = config().bait
    ax = plots.bait_panel(bait)
    shapes = {str(p.get_label()): p.get_xy() for p in ax.patches if isinstance(p, Polygon)}
    body = shapes["body"]
    assert (body[:, 0].min(), body[:, 0].max()) == pytest.approx((0.0, 70.0))
    assert (body[:, 1].min(), body[:, 1].max()) == pytest.approx((-10.0, 10.0))
    # bill: root (7, -6), 16 mm at 55 degrees below straight ahead, 1 mm thick
    c, s = math.cos(math.radians(55.0)), math.sin(math.radians(55.0))
    bill = shapes["bill"]
    assert bill[:, 0].min() == pytest.approx(7.0 - 16.0 * c - 0.5 * s)
    assert bill[:, 0].max() == pytest.approx(7.0 + 0.5 * s)
    assert bill[:, 1].min() == pytest.approx(-6.0 - 16.0 * s - 0.5 * c)
    assert bill[:, 1].max() == pytest.approx(-6.0 + 0.5 * c)
    np.testing.assert_array_equal(drawn(ax, "tie point"), [[3.0], [-5.0]])
    np.testing.assert_array_equal(drawn(ax, "hook"), [[28.0, 28.0], [-10.5, -19.5]])
    lead = next(p for p in ax.patches if p.get_label() == "ballast")
    assert lead.center == (27.0, -6.0)
    # 2.6 g of lead at 11.34 g/cm3 is a sphere of 229.3 mm3
    assert 4.0 / 3.0 * math.pi * lead.radius**3 == pytest.approx(229.28, rel=1e-4)
    assert ax.get_aspect() == 1.0
    assert ax.xaxis_inverted()  # nose to the right, as the paths run
    assert ax.get_xlabel() == "from nose tip [mm]" and ax.get_ylabel() == "above centreline [mm]"
    fore, aft, low, high = outline.side_outline(bait).extent()
    assert ax.get_xlim()[1] < fore < aft < ax.get_xlim()[0]
    assert ax.get_ylim()[0] < low < high < ax.get_ylim()[1]
    assert aft == 70.0 + 0.0 and high == 10.0 and low == -19.5  # the hooks hang lowest


def test_ellipsoid_outline_is_an_ellipse() -> None:
    body = {
        "form": "ellipsoid",
        "length_mm": 80.0,
        "height_mm": 24.0,
        "width_mm": 10.0,
        "density_g_cm3": 0.5,
    }
    settings = config_from_dict({"bait": {"body": body}})
    points = outline.body_outline(settings.bait.body)
    x, z = points.T
    np.testing.assert_allclose((x / 40.0 - 1.0) ** 2 + (z / 12.0) ** 2, 1.0, atol=1e-9)
    assert z.max() == pytest.approx(12.0, rel=1e-3) and z.min() == -z.max()


@pytest.mark.parametrize("shape", ["square", "rounded", "tapered", "coffin"])
@pytest.mark.parametrize("cant", [0.0, 35.0, 90.0])
def test_plate_drawing_holds_the_outline_that_the_loads_use(shape: str, cant: float) -> None:
    plate = Plate(
        name="keel",
        from_nose_mm=40.0,
        above_centreline_mm=-8.0,
        length_mm=12.0,
        width_mm=20.0,
        angle_deg=80.0,
        outline=shape,
        cant_deg=cant,
        thickness_mm=0.001,
    )
    corners = plate_properties(plate, "keel", cant, 4, 4, 1000.0).outline * 1000.0
    seen = outline.side_view_of_plate(plate, cant)
    assert seen[:, 0].min() == pytest.approx((-corners[:, 0]).min(), abs=2e-3)
    assert seen[:, 0].max() == pytest.approx((-corners[:, 0]).max(), abs=2e-3)
    assert seen[:, 1].min() == pytest.approx((-corners[:, 2]).min(), abs=2e-3)
    assert seen[:, 1].max() == pytest.approx((-corners[:, 2]).max(), abs=2e-3)


def test_hollow_corner_of_a_keel_is_not_filled_out() -> None:
    corners = ((0.0, -10.0), (10.0, -10.0), (3.0, 0.0), (10.0, 10.0), (0.0, 10.0))
    keel = Plate(
        name="keel",
        from_nose_mm=40.0,
        above_centreline_mm=0.0,
        length_mm=10.0,
        width_mm=20.0,
        angle_deg=90.0,
        outline="polygon",
        outline_mm=corners,
        cant_deg=90.0,
    )
    seen = outline.side_view_of_plate(keel, 90.0)
    x, y = seen.T
    area = 0.5 * abs(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
    assert area == pytest.approx(200.0 - 70.0)  # the notch is a triangle 20 wide and 7 deep


def test_parts_may_be_missing() -> None:
    only = Ballast(name="lead", mass_g=5.0, from_nose_mm=10.0, above_centreline_mm=0.0)
    bait = config().bait.model_copy(
        update={"body": None, "bill": None, "hook": (), "tie": None, "ballast": (only,)}
    )
    radius = outline.ballast_radius_mm(only)
    extent = outline.side_outline(bait).extent()
    assert extent == pytest.approx((10.0 - radius, 10.0 + radius, -radius, radius))
    bare = bait.model_copy(update={"ballast": ()})
    assert all(map(math.isnan, outline.side_outline(bare).extent()))
    assert not plots.bait_panel(bare).patches


# ---- the whole picture --------------------------------------------------------------------------


@pytest.mark.parametrize("name", list(GALLERY))
def test_every_kind_of_run_is_drawn_whole(name: str) -> None:
    run = GALLERY[name]
    figure = plots.run_figure(run)
    with style.plot_style():
        figure.canvas.draw()
        assert tuple(figure.canvas.get_width_height()) == (1600, 1000)
        box = figure.get_tightbbox()
    width, height = style.FIGURE_INCHES
    assert box.x0 >= 0.0 and box.y0 >= 0.0 and box.x1 <= width and box.y1 <= height
    title = figure.get_suptitle()
    assert run.config.name in title
    look = style.class_style(run.motion_class)
    if run.motion_class is None:
        assert "no class" in title and run.status in title
    else:
        assert f"class {look.letter}, {run.motion_class}" in title
    patch = next(a for a in figure.artists if a.get_gid() == "class patch")
    assert to_hex(patch.get_facecolor()) == look.colour.lower()
    letter = next(t for t in figure.texts if t.get_gid() == "class letter")
    assert letter.get_text() == look.letter
    for ax in figure.axes:
        assert ax.get_ylabel().endswith("]")
        assert ax.get_xlabel().endswith("]") or not ax.get_xlabel()
        legend = ax.get_legend()
        if legend is not None:  # above the data, never on it
            assert legend.get_window_extent().y0 >= ax.get_window_extent().y1


@pytest.mark.parametrize("name", list(GALLERY))
def test_no_panel_touches_its_neighbour(name: str) -> None:
    figure = plots.run_figure(GALLERY[name])
    with style.plot_style():
        figure.canvas.draw()
        boxes = [ax.get_tightbbox() for ax in figure.axes]
        boxes += [t.get_window_extent() for t in figure.texts if t.get_text()]
    for i, a in enumerate(boxes):
        for b in boxes[i + 1 :]:
            apart = a.x1 <= b.x0 or b.x1 <= a.x0 or a.y1 <= b.y0 or b.y1 <= a.y0
            assert apart, (a, b)


def test_a_run_without_a_single_row_is_drawn() -> None:
    run = GALLERY["nothing known"]
    rows = ("time", "position", "attitude", "velocity", "wake", "line_tension", "rod_tip")
    figure = plots.run_figure(
        dataclasses.replace(run, **{key: getattr(run, key)[:0] for key in rows})
    )
    assert any(t.get_text() == "no finite rows" for t in panel(figure, "Path").texts)


def test_gallery_has_every_status_and_class() -> None:
    assert {run.status for run in GALLERY.values()} == set(STATUSES)
    assert {run.motion_class for run in GALLERY.values()} == {*MOTION_CLASSES, None}


def test_run_figure_draws_the_data_of_the_run() -> None:
    run = GALLERY["over-rolling"]  # heading 30 degrees
    figure = plots.run_figure(run)
    along, side = plots.along_and_side(run.position, 30.0)
    np.testing.assert_array_equal(drawn(panel(figure, "Path"), "bait"), [along, side])
    depth = drawn(panel(figure, "Depth"), "bait")
    np.testing.assert_array_equal(depth, [along, run.position[:, 2]])
    assert panel(figure, "Depth").yaxis_inverted()
    tension = drawn(panel(figure, "Line tension"), "tension")
    np.testing.assert_array_equal(tension, [run.time, run.line_tension])
    close = panel(figure, "Attitude")
    time, roll = drawn(close, "roll")
    assert time[-1] == run.window[1] and time[0] >= run.window[0]
    assert time[-1] - time[0] == pytest.approx(12.0 / 6.4, abs=0.01)
    assert 0.5 * np.ptp(roll) == pytest.approx(48.0, abs=0.5)
    assert np.mean(drawn(close, "yaw")[1]) == pytest.approx(0.5, abs=1.0)  # not 30.5
    middle = 0.5 * (roll.max() + roll.min())
    assert (levels(close)[0], levels(close)[-1]) == pytest.approx((middle - 35.0, middle + 35.0))
    whole = panel(figure, "Whole run")
    np.testing.assert_array_equal(drawn(whole, "yaw")[0], run.time)
    shade = next(p for p in whole.patches if p.get_label() == "stationary part")
    assert (shade.get_x(), shade.get_x() + shade.get_width()) == pytest.approx(run.window)


def test_a_spinner_shows_turns_instead_of_roll() -> None:
    run = GALLERY["spinning"]
    figure = plots.run_figure(run)
    close = panel(figure, "Attitude")
    assert not [line for line in close.lines if str(line.get_label()).startswith("roll")]
    assert not levels(close)  # yaw and roll decide nothing here, the turns do
    assert drawn(panel(figure, "Whole run: turns"), "spinning past 1 turn").shape == (2, 2)
    turns = drawn(panel(figure, "Whole run: turns"), "turns")
    np.testing.assert_array_equal(turns[0], run.time)
    assert turns[1][-1] == pytest.approx(-0.8 * 8.0, abs=0.1)
    assert "0.80 turns a second" in plots.measures_line(run)


def test_a_run_that_broke_off_says_so_and_shows_where() -> None:
    run = GALLERY["diverged"]
    figure = plots.run_figure(run)
    words = " ".join(t.get_text() for t in figure.texts)
    assert "Status: diverged." in words and "last finite 913 rad/s" in words
    assert "no measures" in words and "1 warning: the line went slack 12 times" in words
    last = run.time[np.isfinite(run.position[:, 0])][-1]
    stop = drawn(panel(figure, "Whole run"), "stopped")
    assert stop[0][0] == last
    assert panel(figure, "Whole run").get_xlim() == (run.time[0], run.time[-1])
    low, high = panel(figure, "Path").get_xlim()
    assert high - low < 20.0  # the blown-up rows do not set the scale


def test_free_run_has_no_line_and_no_rod() -> None:
    figure = plots.run_figure(GALLERY["free"])
    titles = [ax.get_title(loc="left") for ax in figure.axes]
    assert not [t for t in titles if "tension" in t]
    assert not levels(panel(figure, "Attitude"))  # nothing is classed
    for ax in figure.axes:
        assert not [line for line in ax.lines if "rod" in str(line.get_label())]
    assert panel(figure, "Depth").get_xlabel() == "time [s]"
    assert "without a line" in figure.get_suptitle()


def test_measures_line_has_the_figures_and_drops_what_does_not_apply() -> None:
    run = GALLERY["balanced"]
    line = plots.measures_line(run)
    for part in ("7.2 Hz", "yaw ±13°", "roll ±21°", "lean 1.2° to starboard", "1.35 N", "0.75 m"):
        assert part in line
    port = dataclasses.replace(run, measures={"lean_deg": -3.0, "yaw_amplitude_deg": math.nan})
    assert plots.measures_line(port) == "lean 3.0° to port"


def test_a_motion_that_did_not_settle_is_never_called_stationary() -> None:
    run = GALLERY["half measured"]  # has a window and measures all the same
    assert plots.measures_line(run).startswith("not stationary:   wobble 7.2 Hz")
    figure = plots.run_figure(run)
    assert panel(figure, "Attitude").get_title(loc="left").endswith("of the part measured")
    words = [str(a.get_label()) for ax in figure.axes for a in ax.get_children()]
    assert "part measured" in words and "stationary part" not in words


def test_long_names_and_messages_fit() -> None:
    run = dataclasses.replace(
        GALLERY["diverged"],
        config=config("W" * 100),
        message="why $x^2 " * 200,
        warnings=("slack " * 100,) * 3,
    )
    figure = plots.run_figure(run)
    with style.plot_style():
        figure.canvas.draw()
        for text in figure.texts:
            assert text.get_window_extent().x1 <= 1600.0


# ---- files --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("suffix", "start"),
    [(".png", b"\x89PNG"), (".svg", b"<?xml"), (".pdf", b"%PDF"), (".PNG", b"\x89PNG")],
)
def test_file_is_of_the_kind_its_name_says(tmp_path: Any, suffix: str, start: bytes) -> None:
    path = tmp_path / f"run{suffix}"
    assert plots.save_run_figure(GALLERY["short"], path) == path
    assert path.read_bytes().startswith(start)
    assert [p.name for p in tmp_path.iterdir()] == [path.name]
    first = path.read_bytes()
    plots.save_run_figure(GALLERY["short"], str(path))
    assert path.read_bytes() == first  # the same run gives the same file


@pytest.mark.parametrize("name", ["run.jpg", "run", "run.tar.gz"])
def test_unknown_suffix_is_told_the_allowed_ones(tmp_path: Any, name: str) -> None:
    with pytest.raises(RuntrueError) as caught:
        plots.save_run_figure(GALLERY["short"], tmp_path / name)
    text = str(caught.value)
    assert name in text and ".png, .svg or .pdf" in text and "Try " in text
    assert not list(tmp_path.iterdir())


def test_folder_that_is_missing_is_told(tmp_path: Any) -> None:
    with pytest.raises(RuntrueError, match=r"gone.*cannot write the picture.*folder that exists"):
        plots.save_run_figure(GALLERY["short"], tmp_path / "gone" / "run.png")


def test_whole_turns_before_the_part_shown_are_taken_off() -> None:
    time = np.linspace(0.0, 4.0, 401)
    roll = np.where(time < 2.0, 765.0 * time, 1530.0)
    angles = plots.Angles(0.0 * time, 0.0 * time, roll, roll / 360.0)
    found = plots.whole_turns_off(angles, time > 3.0)
    np.testing.assert_allclose(found.roll[time > 3.0], 90.0)
    np.testing.assert_allclose(np.diff(found.roll), np.diff(roll))
