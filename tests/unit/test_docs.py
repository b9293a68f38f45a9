"""The pages in docs/: generated parts are up to date, examples work, what they state is so."""

from __future__ import annotations

import ast
import dataclasses
import hashlib
import json
import math
import re
import tomllib
from pathlib import Path

import h5py
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import sim
from sim import measure
from sim.bait.frame import from_nose, heading
from sim.bait.plates import plate_axes
from sim.bait.tie_path import tie_path
from sim.cautions import cautions
from sim.classify import classify
from sim.config import config_from_dict, json_schema, load_config, with_overrides
from sim.config import reference as ref
from sim.config.models import Bill, Limits
from sim.config.schema import children, header, tables
from sim.config.units import unit_of
from sim.errors import RuntrueError
from sim.hydrostatics import rest
from sim.kernels import layout
from sim.kernels.stepper import FASTEST_TURN
from sim.plan import LINE_LEFT_M, ROD_HEIGHTS_LEFT
from sim.plots.style import CLASS_STYLES, NO_CLASS
from sim.result import MOTION_CLASSES, STATUSES
from sim.start import start_state
from sim.store import MEASURES, save_run

TOP = Path(__file__).parents[2]
DOCS = TOP / "docs"
PAGES = sorted(DOCS.glob("*.md"))
LINKED = [*PAGES, *(p for p in (TOP / "README.md", TOP / "DEVELOPERS.md") if p.exists())]
RENEW = f"is out of date: run `{ref.COMMAND}`, which rewrites it"


def page(name: str) -> str:
    return (DOCS / f"{name}.md").read_text("utf-8")


def words(name: str) -> str:
    """A page with its lines joined, to look for a sentence."""
    return " ".join(page(name).split())


def blocks(text: str, language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)


def rows(text: str) -> list[list[str]]:
    """Cells of every row of every table, heads and rulers left out."""
    lines = text.splitlines()
    found = []
    for i, line in enumerate(lines):
        ruler = line.startswith("|--")
        head = i + 1 < len(lines) and lines[i + 1].startswith("|--")
        if line.startswith("| ") and not ruler and not head:
            found.append([c.strip() for c in re.split(r"(?<!\\)\|", line)[1:-1]])
    return found


def section(text: str, title: str) -> str:
    """From a heading to the next one of its level or above."""
    level = re.search(rf"^(#+) {re.escape(title)}$", text, re.MULTILINE)
    assert level, f"no heading {title!r}"
    after = text[level.end() :]
    end = re.search(rf"^#{{1,{len(level[1])}}} ", after, re.MULTILINE)
    return after[: end.start()] if end else after


def code(cell: str) -> list[str]:
    return re.findall(r"`([^`]+)`", cell)


def slug(title: str) -> str:
    kept = re.sub(r"[^\w\- ]", "", title.replace("`", "").lower())
    return kept.strip().replace(" ", "-")


def outside_code(text: str) -> str:
    return re.sub(r"^```.*?^```$", "", text, flags=re.MULTILINE | re.DOTALL)


# ------------------------------------------------------------------------------- generated parts


def test_the_reference_is_what_the_models_say():
    text = page("config")
    assert text == ref.with_reference(text), f"docs/config.md {RENEW}"


def test_the_schema_file_is_what_the_models_say():
    stored = json.loads((DOCS / ref.SCHEMA).read_text("utf-8"))
    assert stored == json_schema(), f"docs/{ref.SCHEMA} {RENEW}"


def test_every_key_has_its_row():
    # read back from the page, independently of what writes it
    for path, child in tables().items():
        title = f"`{header(path)}`" if path else "Top of the file"
        found = {code(cells[0])[0]: cells for cells in rows(section(page("config"), title))}
        inner = children(child.model)
        assert set(found) == set(child.model.model_fields) - set(inner), path
        for key, (_, unit, default, allowed, meaning) in found.items():
            field = child.model.model_fields[key]
            assert unit == (unit_of(key) or "-")
            assert allowed and meaning.endswith(".")
            if field.is_required():
                assert default == "**needed**"
            elif default != "none":
                value = tomllib.loads(f"x = {default.strip('`')}")["x"]
                expected = field.get_default(call_default_factory=True)
                assert value == (list(expected) if isinstance(expected, tuple) else expected)
            else:
                assert field.default is None


@pytest.mark.parametrize("table", ["loads", "coefficients"])
def test_every_load_and_coefficient_says_what_it_is(table):
    found = {code(c[0])[0]: c[4] for c in rows(section(page("config"), f"`[{table}]`"))}
    assert set(found) == set(tables()[table].model.model_fields)
    assert all(len(meaning.split()) >= 5 or "switches" in meaning for meaning in found.values())


def test_a_few_rows_of_the_reference():
    text = ref.config_reference()
    for row in (
        "| `speed_m_s` | m/s | `1.0` | from 0 to 10 | Speed of the retrieve. |",
        "| `plate_elements_along` | - | `4` | whole number, from 1 to 16 |",
        "| `velocity_m_s` | m/s | none | list of 3 numbers |",
        "| `outline_mm` | mm | `[]` | list of pairs of numbers |",
        "| `mass_g` | g | **needed** | > 0 | Mass of the weight. |",
        '| `mode` | - | `"tow"` | `"tow"`, `"reel"` |',
        '| `name` | - | `"hook"` | text, at most 80 characters |',
        "| `surface` | - | `true` | `true`, `false` |",
    ):
        assert row in text


def test_the_command_rewrites_what_is_stale_and_keeps_the_rest(tmp_path, capsys):
    (tmp_path / ref.PAGE).write_text(f"# Mine\n\n{ref.MARKER}\nstale\n", "utf-8")
    (tmp_path / ref.SCHEMA).write_text("{}", "utf-8")
    assert ref.main(tmp_path) == 0
    text = (tmp_path / ref.PAGE).read_text("utf-8")
    assert text == f"# Mine\n\n{ref.MARKER}\n\n{ref.config_reference()}"
    assert json.loads((tmp_path / ref.SCHEMA).read_text("utf-8")) == json_schema()
    assert capsys.readouterr().out.count("Wrote ") == 2


def test_the_command_says_what_is_in_its_way(tmp_path, capsys):
    assert ref.main(tmp_path) == 1
    assert "config.md: No such file or directory. Run this in a checkout" in capsys.readouterr().err
    (tmp_path / ref.PAGE).write_text("# no marker\n", "utf-8")
    assert ref.main(tmp_path) == 1
    assert ref.MARKER in capsys.readouterr().err
    assert not (tmp_path / ref.SCHEMA).exists()
    with pytest.raises(RuntrueError, match="no marker line"):
        ref.with_reference("# no marker\n")


# -------------------------------------------------------------------------------------- examples


def examples() -> dict[str, str]:
    return {tomllib.loads(b)["name"]: b for b in blocks(page("config"), "toml")}


def run_example(name: str, tmp_path: Path, **overrides: object) -> sim.RunResult:
    file = tmp_path / "example.toml"
    file.write_text(examples()[name], "utf-8")
    config = load_config(file, overrides)
    assert cautions(config) == []
    return sim.simulate(config)


def test_the_example_bait_swims(tmp_path):
    run = run_example("example-bait", tmp_path)
    assert (run.status, run.motion_class) == ("settled", "balanced"), run.class_reason


def test_the_example_plate_swings_as_it_falls(tmp_path):
    run = run_example("falling-plate", tmp_path)
    assert (run.status, run.motion_class) == ("free", None)
    assert run.measures["roll_amplitude_deg"] > 10.0
    assert run.position[-1, 2] > 0.1


def test_the_example_sphere_follows_the_line(tmp_path):
    run = run_example("towed-sphere", tmp_path)
    assert run.status == "settled"
    assert run.measures["speed_m_s"] == pytest.approx(0.5, rel=0.05)
    assert run.measures["line_tension_n"] > 0.05


def test_there_are_three_examples():
    assert sorted(examples()) == ["example-bait", "falling-plate", "towed-sphere"]


@pytest.mark.parametrize("path", LINKED, ids=lambda p: p.name)
def test_toml_on_any_page_has_known_keys(path):
    def check(data: dict, where: str) -> None:
        for key, value in data.items():
            assert key in tables()[where].model.model_fields, f"{path.name}: {where}.{key}"
            for entry in value if isinstance(value, list) else [value]:
                if isinstance(entry, dict):
                    check(entry, f"{where}.{key}" if where else key)

    for block in blocks(path.read_text("utf-8"), "toml"):
        check(tomllib.loads(block), "")


def test_overrides_on_the_page_name_keys():
    bait = tomllib.loads(examples()["example-bait"])
    pairs = re.findall(r"--set (\S+?)=(\S+)", page("config") + page("classes"))
    assert len(pairs) >= 3
    for key, value in pairs:
        config_from_dict(bait, overrides={key: float(value.strip("`."))})
    assert config_from_dict(bait, overrides={"line": None}).line is None


@pytest.fixture(scope="module")
def run() -> sim.RunResult:
    return sim.simulate(load_config(TOP / "configs" / "shallow-runner.toml"))


def test_the_readers_of_result_files_on_the_page_work(run, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    save_run(run, "results/shallow-runner.h5")
    plain, labelled = blocks(section(page("files"), "Reading it without this program"), "python")
    assert len(plain.strip().splitlines()) == len(labelled.strip().splitlines()) == 2
    exec(compile(plain, "files.md", "exec"), {})
    assert float(capsys.readouterr().out) == run.measures["yaw_amplitude_deg"]
    names: dict = {}
    exec(compile(labelled, "files.md", "exec"), names)
    with names["run"] as data:
        assert np.array_equal(data.position.sel(axis="z"), run.position[:, 2])
        assert float(data.line_tension.max()) == run.line_tension.max()
    with names["xarray"].open_dataset(
        "results/shallow-runner.h5", engine="h5netcdf", group="measures"
    ) as data:
        assert set(data) == set(run.measures)


# ----------------------------------------------------------------------------------------- links


@pytest.mark.parametrize("path", LINKED, ids=lambda p: p.name)
def test_links_lead_somewhere(path):
    for target in re.findall(r"\]\(([^)\s]+)\)", outside_code(path.read_text("utf-8"))):
        if re.match(r"[a-z]+:", target):
            continue
        name, _, anchor = target.partition("#")
        file = (path.parent / name).resolve() if name else path
        assert file.exists(), f"{path.name}: {target}"
        if anchor:
            titles = re.findall(r"^#+ (.+)$", outside_code(file.read_text("utf-8")), re.MULTILINE)
            assert anchor in map(slug, titles), f"{path.name}: {target}"


@pytest.mark.parametrize("path", LINKED, ids=lambda p: p.name)
def test_files_that_are_named_exist(path):
    named = [
        name
        for text in code(outside_code(path.read_text("utf-8")))
        for name in re.findall(r"^(?:sim|tests|docs|configs)/[\w./-]*$", text)
    ]
    assert [n for n in named if not (TOP / n).exists()] == []


# ----------------------------------------------------------------------------------- conventions


def test_the_state_is_in_the_order_of_the_page():
    found = rows(section(page("conventions"), "State"))
    assert [int(cells[0]) for cells in found] == list(range(layout.N_STATE))
    for index, name, unit, _ in found:
        assert getattr(layout, code(name)[0].upper()) == int(index)
        assert unit


def test_every_measure_is_defined_in_its_unit():
    found = {code(c[0])[0]: c[1] for c in rows(section(page("conventions"), "Measures"))}
    assert list(found) == list(MEASURES)
    for name, unit in found.items():
        stored = {"deg": "degrees", "1": "turns"}.get(MEASURES[name].units, MEASURES[name].units)
        assert unit == stored
    text = words("conventions")
    assert f"standard deviation below {measure.STILL_DEG:g} degrees" in text


def test_every_signed_key_has_its_sign_on_the_page():
    text = section(page("conventions"), "Signs")
    for key in (
        "yaw_error_deg", "roll_error_deg", "cant_deg", "angle_deg", "right_mm", "heading_deg",
        "current_toward_deg", "yaw_deg", "pitch_deg", "roll_deg", "depth_m", "rod_tip_height_m",
    ):  # fmt: skip
        assert key in text
        assert any(key in child.model.model_fields for child in tables().values())


def plate(**changes: float) -> Bill:
    values = {
        "from_nose_mm": 0.0,
        "above_centreline_mm": 0.0,
        "length_mm": 20.0,
        "width_mm": 10.0,
        "angle_deg": 0.0,
    }
    return Bill(**{**values, **changes})


def test_signs_of_positions_and_plates():
    assert np.allclose(from_nose(10.0, 2.0, 3.0), [-0.010, 0.003, -0.002])
    for angle, along in (
        (0.0, [1, 0, 0]),
        (90.0, [0, 0, 1]),
        (180.0, [-1, 0, 0]),
        (-90.0, [0, 0, -1]),
    ):
        e1, e2, _ = plate_axes(plate(angle_deg=angle), 0.0)
        assert np.allclose(e1, along) and np.allclose(e2, [0, 1, 0])
    # what points ahead goes to starboard
    assert plate_axes(plate(yaw_error_deg=10.0), 0.0)[0, 1] == pytest.approx(math.sin(0.1745), 1e-3)
    rolled = plate_axes(plate(angle_deg=90.0, roll_error_deg=10.0), 0.0)
    assert rolled[1, 2] > 0.1  # starboard edge down
    assert rolled[0, 1] < -0.1  # what points down goes to port
    both = plate_axes(plate(angle_deg=90.0, yaw_error_deg=20.0, roll_error_deg=10.0), 0.0)
    turn = Rotation.from_euler("Z", 20, degrees=True) * Rotation.from_euler("X", 10, degrees=True)
    assert np.allclose(both[0], turn.apply([0, 0, 1]))
    e1, e2, _ = plate_axes(plate(angle_deg=30.0), 25.0)
    right_handed = Rotation.from_rotvec(25.0 * e1, degrees=True)
    assert np.allclose(e2, right_handed.apply([0, 1, 0]))


def test_signs_of_angles():
    for letter, name in (("x", "roll"), ("y", "pitch"), ("z", "yaw")):
        # of the bait's own axes; the heading of 70 degrees is taken off
        moved = Rotation.from_euler(letter, 10, degrees=True)
        attitude = Rotation.from_euler("z", 70, degrees=True) * moved
        quat = attitude.as_quat(scalar_first=True)
        angles = measure.track_angles(np.tile(quat, (2, 1)), 70.0)
        assert getattr(angles, name)[0] == pytest.approx(10.0)
        starboard, ahead = moved.apply([0, 1, 0]), moved.apply([1, 0, 0])
        # starboard side down, nose up, nose to starboard
        assert {"roll": starboard[2], "pitch": -ahead[2], "yaw": ahead[1]}[name] > 0.1


def test_signs_of_heading_and_rod():
    config = load_config(TOP / "configs" / "shallow-runner.toml", {"retrieve.heading_deg": 90.0})
    assert np.allclose(heading(config), [0, 1, 0])
    bait = sim.assemble(config)
    on_line, rod = start_state(config, bait)
    free = with_overrides(config, {"line": None, "start.yaw_deg": 2.0})
    loose, nowhere = start_state(free, bait)
    yaw = [measure.track_angles(s[None, 3:7], 0.0).yaw[0] for s in (on_line, loose)]
    assert yaw == pytest.approx([92.0, 2.0])  # from the retrieve, and from earth x
    assert rod[1] > 2.0 and np.isnan(nowhere).all()
    raised = with_overrides(config, {"line.rod_tip_height_m": 0.5})
    assert start_state(raised, bait)[1][2] == -0.5


def test_signs_of_heel_and_turns():
    config = load_config(TOP / "configs" / "shallow-runner.toml")
    still = rest(config, sim.assemble(config))
    moved = {"bait.ballast.0.right_mm": 3.0, "bait.ballast.0.from_nose_mm": 15.0}
    lopsided = with_overrides(config, moved)
    heeled = rest(lopsided, sim.assemble(lopsided))
    assert heeled.heel_deg > still.heel_deg + 5.0  # a weight to starboard and forward
    assert heeled.pitch_deg < still.pitch_deg - 2.0
    turning = Rotation.from_euler("x", np.linspace(0.0, 720.0, 100)[:, None], degrees=True)
    angles = measure.track_angles(turning.as_quat(scalar_first=True), 0.0)
    assert angles.twist[-1] - angles.twist[0] == pytest.approx(2.0)


def test_the_side_drift_of_a_current_to_starboard():
    config = load_config(
        TOP / "configs" / "shallow-runner.toml",
        {"water.current_m_s": 0.2, "water.current_toward_deg": 90.0},
    )
    found = sim.simulate(config).measures["side_drift_m_per_m"]
    # the line streams aft in the frame of the water: 0.2 to the side on 1.0 ahead
    assert found == pytest.approx(0.2, rel=0.1)


def test_a_matrix_from_a_frame_with_z_up():
    t = np.diag([1.0, -1, -1, 1, -1, -1])
    half_turn = Rotation.from_euler("X", 180, degrees=True).as_matrix()
    assert np.allclose(t[:3, :3], half_turn) and np.allclose(t[3:, 3:], half_turn)
    up = Rotation.from_euler("ZYX", [10, 20, 30], degrees=True).as_matrix()
    down = Rotation.from_matrix(half_turn @ up @ half_turn.T).as_euler("ZYX", degrees=True)
    assert np.allclose(down, [-10, -20, 30])


# --------------------------------------------------------------------------------------- classes


def test_every_status_and_class_is_on_the_page_in_order():
    status = [code(c[0])[0] for c in rows(section(page("classes"), "Status"))]
    assert sorted(status) == sorted(STATUSES)
    classes = rows(section(page("classes"), "Class"))[: len(MOTION_CLASSES)]
    assert [code(c[1])[0] for c in classes] == ["spinning", "over-rolling", "tight", "balanced"]
    assert {code(c[1])[0]: c[2] for c in classes} == {
        name: style.letter for name, style in CLASS_STYLES.items()
    }
    assert NO_CLASS.letter == "x"
    advice = section(page("classes"), "What to try next")
    assert all(f"**`{name}`.**" in advice for name in MOTION_CLASSES)


def test_limits_on_the_page_are_the_defaults():
    found = {
        code(c[0])[0].removeprefix("limits."): (float(c[1]), c[2])
        for c in rows(section(page("classes"), "Class"))
        if "limits." in c[0]
    }
    assert {k: v for k, (v, _) in found.items()} == Limits().model_dump()
    assert all(unit == (unit_of(key) or "-") for key, (_, unit) in found.items())


def test_order_of_the_classes_and_what_holds_at_a_limit():
    limits = Limits()
    calm = {"turns": 0.0, "yaw_amplitude_deg": 10.0, "roll_amplitude_deg": 10.0, "lean_deg": 0.0}

    def kind(turning: bool = False, **changes: float) -> str:
        return classify({**calm, **changes}, turning, limits).motion_class

    assert kind() == "balanced"
    assert kind(turning=True, turns=-1.0) == "spinning"
    assert kind(turns=5.0) == "balanced"  # it does not keep turning
    assert kind(roll_amplitude_deg=35.0, yaw_amplitude_deg=20.0) == "balanced"
    assert kind(roll_amplitude_deg=35.1, yaw_amplitude_deg=20.0) == "over-rolling"
    assert kind(lean_deg=-35.0) == "balanced"
    assert kind(lean_deg=-35.1, yaw_amplitude_deg=1.0) == "over-rolling"  # before tight
    assert kind(roll_amplitude_deg=15.0, yaw_amplitude_deg=4.0) == "tight"  # ratio not counted
    assert kind(roll_amplitude_deg=15.1, yaw_amplitude_deg=5.0) == "over-rolling"
    assert kind(roll_amplitude_deg=30.0, yaw_amplitude_deg=10.0) == "balanced"  # ratio at limit
    assert kind(yaw_amplitude_deg=6.0) == "balanced"
    assert kind(yaw_amplitude_deg=5.9) == "tight"
    still = classify({**calm, "yaw_amplitude_deg": 0.9, "roll_amplitude_deg": 0.9}, False, limits)
    assert still.reason.endswith("no visible action")
    acts = classify({**calm, "yaw_amplitude_deg": 0.9, "roll_amplitude_deg": 1.0}, False, limits)
    assert not acts.reason.endswith("no visible action")


def test_margins_on_the_page_are_those_of_a_run(run):
    found = [code(c[0])[0] for c in rows(section(page("classes"), "Distance to the limits"))]
    assert found == list(run.margins)


def test_figures_of_the_stationary_part_are_those_of_the_code():
    text = words("classes")
    solver = tables()["solver"].model.model_fields
    for sentence in (
        f"`solver.duration_s` (default {solver['duration_s'].default:g} s)",
        f"`solver.max_duration_s` (default {solver['max_duration_s'].default:g} s)",
        f"`solver.settle_tolerance` (default {solver['settle_tolerance'].default:g})",
        f"at least {measure.SHORTEST_BLOCK_S:g} s, and at least {measure.CYCLES_A_BLOCK:g} wobbles",
        f"At least {measure.FEWEST_BLOCKS} are needed",
        f"no more than {measure.FLOOR_DEG:g} degrees",
        f"more than {FASTEST_TURN:g} rad/s",
        f"({measure.PITCH_FLOOR_DEG:g} degrees for the mean pitch",
        f"followed down to {LINE_LEFT_M:g} m or to {ROD_HEIGHTS_LEFT:g} rod tip heights",
    ):
        assert sentence in text


ALL = ("shallow-runner", "surface-runner", "deep-runner", "slab-sided", "slow-sinker")


@pytest.mark.parametrize("name", ALL)
def test_bending_the_eye_against_the_drift(name):
    # the trend is common practice, no source; the figures on the page come from these runs
    config = load_config(TOP / "configs" / f"{name}.toml", {"bait.bill.yaw_error_deg": 1.5})
    skewed, bent, far, too_far = (
        sim.simulate(with_overrides(config, {"bait.tie.right_mm": mm}))
        for mm in (0.0, 0.2, 0.6, 1.0)
    )
    drift, lean = "side_drift_m_per_m", "lean_deg"
    assert skewed.measures[drift] < 0.0
    assert abs(bent.measures[drift]) < abs(skewed.measures[drift])
    assert abs(bent.measures[lean]) < abs(skewed.measures[lean])
    assert far.measures[drift] > 0.0
    # the steep bill of the surface runner turns the bait least
    over = too_far.motion_class in ("over-rolling", "spinning")
    assert over == (name != "surface-runner")
    assert "0.2 mm made lean and drift smaller on all five baits" in words("classes")
    assert "0.6 mm turned the drift round on all, and 1 mm sent four" in words("classes")


def tied(config: sim.Config, distance_mm: float, **overrides: object) -> sim.RunResult:
    """Run with the line tied at a distance along the tie path."""
    aft, above = tie_path(config).at(distance_mm)
    tie = {"bait.tie.from_nose_mm": aft, "bait.tie.above_centreline_mm": above}
    return sim.simulate(with_overrides(config, {**tie, **overrides}))


def test_tying_higher_helps_and_lower_ballast_is_no_sure_help():
    # where a bait has just gone over on the way down: mm along the tie path
    less = []
    for name, at in zip(ALL, (3.0, 2.0, -3.0, -3.0, 4.0), strict=True):
        config = load_config(TOP / "configs" / f"{name}.toml")
        lead = {"bait.ballast.0.above_centreline_mm": (
            config.bait.ballast[0].above_centreline_mm - 1.5
        )}  # fmt: skip
        over = tied(config, at)
        assert over.motion_class == "over-rolling", name
        assert tied(config, at - 1.0).motion_class == "balanced", name
        lower = tied(config, at, **lead).measures["roll_amplitude_deg"]
        less.append(over.measures["roll_amplitude_deg"] - lower)
    assert [round(x) for x in less] == [2, 0, 11, 4, 0]
    assert "1 mm was enough on all five baits where they had just gone over" in words("classes")
    assert (
        "1.5 mm took 11 degrees of roll from the deep runner there, 2 and 4 from two others and"
        " hardly any from the last two"
    ) in words("classes")


def test_hooks_without_drag_let_a_bait_roll_farther():
    # the figures on the pages: on all farther, on three more than twice as far, and two go over
    more, over = [], []
    for name in ALL:
        config = load_config(TOP / "configs" / f"{name}.toml")
        runs = [sim.simulate(with_overrides(config, {"loads.hooks": on})) for on in (True, False)]
        with_drag, without = (r.measures["roll_amplitude_deg"] for r in runs)
        more.append(without / with_drag)
        over.append(runs[1].motion_class == "over-rolling")
    assert min(more) > 1.0
    assert sum(ratio > 2.0 for ratio in more) == 3
    assert sum(over) == 2
    assert "on three of five baits the roll more than doubled without them" in words("classes")
    assert "three more than twice as far, and two of these over-roll" in words("limits")
    assert "two of the demonstration baits over-roll without them" in words("equations")


def test_what_the_page_says_of_the_wake():
    # as shipped the wake alone drives the wobble, and its strength is a choice
    found: dict[float, list[sim.RunResult]] = {}
    for offset in (0.0, 0.06, 0.08, 0.1):
        found[offset] = [
            sim.simulate(
                load_config(
                    TOP / "configs" / f"{name}.toml",
                    {"coefficients.wake_offset": offset} if offset else {"loads.wake": False},
                )
            )
            for name in ALL
        ]
    assert all(run.measures["yaw_amplitude_deg"] < 0.1 for run in found[0.0])
    kinds = {offset: [run.motion_class for run in runs] for offset, runs in found.items()}
    assert kinds[0.08] == ["balanced"] * 5
    assert sorted(kinds[0.06]) == ["balanced"] * 4 + ["tight"]
    assert sorted(kinds[0.1]) == ["balanced"] * 4 + ["over-rolling"]
    assert "with 0.06 one of the five is tight where it is tied, with 0.1 one over-rolls" in (
        words("limits")
    )


def test_what_the_page_says_of_skewed_baits_tied_high():
    leans, turns = [], []
    for name in ALL:
        config = load_config(TOP / "configs" / f"{name}.toml", {"bait.bill.yaw_error_deg": 3.0})
        at = float(tie_path(config).distance_mm[0]) + 3.0
        shallow = tied(config, at)
        if name == "surface-runner":
            assert shallow.status == "not settled" and shallow.measures["depth_m"] < 0.02
        else:
            leans.append(abs(shallow.measures["lean_deg"]))
        fast = tied(config, at, **{"retrieve.speed_m_s": 2.0})
        assert fast.measures["depth_m"] < 0.02
        deep = {"water.surface": False, "start.depth_m": 1.0, "line.rod_tip_height_m": -1.0}
        run = tied(config, at, **deep, **{"retrieve.speed_m_s": 2.0})
        turns.append(abs(run.measures["turn_rate_hz"]))
    low, high = map(
        float,
        re.search(r"four of the five lean ([\d.]+) to ([\d.]+) degrees", words("limits")).groups(),
    )
    assert (min(leans), max(leans)) == pytest.approx((low, high), abs=0.5)
    low, high = map(
        float, re.search(r"\(([\d.]+) to ([\d.]+) turns a second", words("limits")).groups()
    )
    assert (min(turns), max(turns)) == pytest.approx((low, high), abs=0.05)


def test_what_the_page_says_of_single_baits():
    surface = load_config(TOP / "configs" / "surface-runner.toml")
    top = float(tie_path(surface).distance_mm[0])
    high, shipped = tied(surface, top + 3.0), sim.simulate(surface)
    frequency = "wobble_frequency_hz"
    assert f"({high.measures[frequency]:.1f} Hz high, {shipped.measures[frequency]:.1f} Hz at" in (
        words("limits")
    )
    assert [tied(surface, d).motion_class for d in (8.0, 12.0, 15.0)] == [
        "over-rolling", "tight", "tight"
    ]  # fmt: skip
    deep = load_config(TOP / "configs" / "deep-runner.toml")
    for length, angle in ((None, None), (28.0, 36.0), (40.0, 28.0), (52.0, 20.0)):
        bill = {"bait.bill.length_mm": length, "bait.bill.angle_deg": angle} if length else {}
        config = with_overrides(deep, bill)
        out = np.arange(4.0, tie_path(config).distance_mm[-1], 6.0)
        assert not {tied(config, d).motion_class for d in out} & {"balanced", "tight"}


# ----------------------------------------------------------------------------------------- files


def members(file: h5py.File) -> set[str]:
    found: list[str] = []
    file.visit(found.append)
    return set(found)


def test_every_dataset_of_a_file_is_on_the_page_and_no_other(run, tmp_path):
    save_run(run, tmp_path / "run.h5")
    text = section(page("files"), "Layout") + section(page("files"), "Provenance")
    named = {name for cells in rows(text) for name in code(cells[0])}
    with h5py.File(tmp_path / "run.h5") as file:
        found = members(file)
        by_group = {"measures", "margins"}  # their members are on the other pages
        single = {n for n in found if n.partition("/")[0] not in by_group}
        assert named - by_group == single - {"config", "outcome", "stats"}
        assert by_group <= found
        assert set(file.attrs) == set(
            code(re.search(r"has the attributes (.*?)\(the frames", words("files"))[1])
        ) - {"runtrue-run"}
        for cells in rows(section(page("files"), "Layout"))[:7]:
            dataset = file[code(cells[0])[0]]
            shape = tuple(
                len(run.time) if n == "n" else int(n) for n in re.findall(r"n|\d", cells[1])
            )
            assert dataset.shape == shape
            units = list(dataset.attrs.get("component_units", [dataset.attrs["units"]]))
            assert list(dict.fromkeys(units)) == cells[2].split(", ")


def test_the_last_line_is_the_checksum_the_page_describes(run, tmp_path):
    save_run(run, tmp_path / "run.h5")
    data = (tmp_path / "run.h5").read_bytes()
    tail = int(re.search(r"head -c -(\d+) ", page("files"))[1])
    digest = hashlib.sha256(data[:-tail]).hexdigest()
    assert data[-tail:] == f"\nruntrue-end sha256 {digest}\n".encode()
    with open(tmp_path / "run.h5", "ab") as stream:
        stream.write(b"more")
    with pytest.raises(sim.StoreError, match="changed by another program"):
        sim.load_run(tmp_path / "run.h5")


def test_two_runs_differ_in_provenance_alone(run, tmp_path):
    again = sim.simulate(load_config(TOP / "configs" / "shallow-runner.toml"))
    save_run(run, tmp_path / "a.h5")
    later = {**again.provenance, "date_utc": "2001-01-01T00:00:00+00:00"}
    save_run(dataclasses.replace(again, provenance=later), tmp_path / "b.h5")
    with h5py.File(tmp_path / "a.h5") as a, h5py.File(tmp_path / "b.h5") as b:
        different = {
            name
            for name in members(a)
            if isinstance(a[name], h5py.Dataset)
            and np.asarray(a[name][()]).tobytes() != np.asarray(b[name][()]).tobytes()
            and not h5py.check_string_dtype(a[name].dtype)
        }
        texts = {
            name
            for name in members(a)
            if isinstance(a[name], h5py.Dataset)
            and h5py.check_string_dtype(a[name].dtype)
            and not np.array_equal(a[name][()], b[name][()])
        }
    assert different == set()
    assert texts == {"provenance/date_utc"}


def spoken(source: Path) -> str:
    """Every text in a module, pieces of one f-string joined."""
    found = []
    for node in ast.walk(ast.parse(source.read_text("utf-8"))):
        if isinstance(node, ast.JoinedStr):
            parts = [v.value if isinstance(v, ast.Constant) else "..." for v in node.values]
            found.append("".join(map(str, parts)))
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            found.append(node.value)
    return "\n".join(found)


def test_messages_on_the_page_are_those_of_the_program():
    texts = spoken(TOP / "sim" / "store.py")
    quoted = [m for cells in rows(section(page("files"), "Errors")) for m in code(cells[0])]
    assert len(quoted) >= 15
    assert [m for m in quoted if m not in texts] == []


# ------------------------------------------------------------------------------------- equations


def test_couple_that_a_plate_would_have_twice():
    # the figures on the page: added mass times both velocities over the couple that is measured
    cfg = config_from_dict(
        {
            "bait": {
                "plate": [
                    {"name": "plate", "from_nose_mm": 0.0, "above_centreline_mm": 0.0,
                     "length_mm": 20.0, "width_mm": 20.0, "angle_deg": 180.0, "outline": "square"}
                ]
            },
            "water": {"surface": False},
            "loads": {"weight": False, "buoyancy": False},
        }
    )  # fmt: skip
    mass = sim.assemble(cfg).added_mass[2, 2]
    low, high = re.search(
        r"is ([\d.]+) times the measured couple at 20 degrees, ([\d.]+) times at 70",
        words("equations"),
    ).groups()
    for a_deg, said in ((20.0, low), (70.0, high)):
        along, normal = math.cos(math.radians(a_deg)), math.sin(math.radians(a_deg))
        moment = np.linalg.norm(sim.captive(cfg, [along, 0.0, normal]).total_moment)
        assert mass * along * normal / moment == pytest.approx(float(said), abs=0.06)
