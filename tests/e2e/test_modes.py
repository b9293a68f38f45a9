"""runtrue modes: what is printed, what is drawn, what is refused."""

import json
import math
import re
import time
from pathlib import Path

import pytest
from e2e_helpers import in_terminal, needs_terminal, without_line

import sim
import sim.small_motion
from sim import terminal
from sim.report.modes import modes_document, modes_summary
from sim.report.text import as_text
from sim.small_motion import modes_along

CONFIGS = Path(__file__).parents[2] / "configs"


def flat(text: str) -> str:
    return " ".join(text.split())


def numbers(line: str) -> list[float]:
    return [float(w) for w in re.findall(r"-?\d+\.?\d*", line)]


def rows_of(text: str, units: str) -> list[str]:
    """Lines of a table, from below the line of its units up to a blank one."""
    lines = text.splitlines()
    (first,) = (i for i, line in enumerate(lines) if re.match(units, line))
    rest = lines[first + 1 :]
    return rest[: rest.index("")] if "" in rest else rest


MODES, TIE_PATH = r"  mode +1/s ", r" +mm +mm +mm +deg +Hz "


# ---- text ---------------------------------------------------------------------------------------


def test_text_says_what_the_library_says(call, pike):
    answer = call("modes", pike)
    assert (answer.code, answer.stderr) == (0, "")
    found = sim.modes(sim.load_config(pike))
    trim, text = found.trim, answer.stdout
    assert text.startswith("pike  steady tow at 1 m/s, wake at rest\n")
    assert f"  pitch      {abs(trim.pitch_deg):.1f} deg nose down\n" in text
    assert trim.pitch_deg < 0.0
    assert f"  depth      {trim.depth_m:.2f} m\n" in text
    assert (
        f"  line       {trim.line_angle_deg:.1f} deg below the horizontal at the rod tip,"
        f" {trim.line_tension_n:.2f} N\n"
    ) in text
    wobble = (
        "Left alone, a small wobble of"
        if found.wobble.growth_1_s < 0.0
        else "Once disturbed, a small wobble of"
    )
    assert wobble in flat(text)
    assert "tie path" not in text
    rows = rows_of(text, MODES)
    assert len(rows) == len(found.modes)
    for line, mode in zip(rows, found.modes, strict=True):
        assert numbers(line)[0] == pytest.approx(mode.growth_1_s, abs=0.0051)
        assert f"halves in {mode.doubling_s:.2g}"[:12] in line
        seen = re.match(r"^  ([a-z ]+?)  +(-?[\d.]+) +(-|[\d.]+)  ", line)
        assert (seen[3] == "-") == (not mode.oscillates)
        if mode.oscillates:
            assert float(seen[3]) == pytest.approx(mode.frequency_hz, abs=0.0051)
    for name in ("wobble", "lean", "back onto the track", "back to its depth"):
        assert sum(line.startswith(f"  {name} ") for line in rows) == 1


def test_tie_path_table(call, pike):
    answer = call("modes", pike, "--tie-path")
    assert (answer.code, answer.stderr) == (0, "")
    points = modes_along(sim.load_config(pike))
    rows = rows_of(answer.stdout, TIE_PATH)
    assert len(rows) == len(points) > 20
    for line, p in zip(rows, points, strict=True):
        values = numbers(line)
        assert values[:3] == pytest.approx(
            [p.distance_mm, p.from_nose_mm, p.above_centreline_mm], abs=0.051
        )
        if p.modes is None:
            assert line.rstrip().endswith("no steady tow")
            continue
        wobble, lean = p.modes.wobble, p.modes.lean
        assert values[3:] == pytest.approx(
            [p.modes.trim.pitch_deg, wobble.frequency_hz, wobble.growth_1_s, lean.growth_1_s],
            abs=0.051,
        )
        assert line.endswith("~") == lean.oscillates
    # every millimetre, the place where the bill leaves the nose among them
    assert [p.distance_mm for p in points] == list(
        range(int(points[0].distance_mm), int(points[-1].distance_mm) + 1)
    )
    assert points[0].distance_mm < 0.0 < points[-1].distance_mm


def test_a_place_without_a_steady_tow_says_so(call, folder):
    text = call("modes", CONFIGS / "surface-runner.toml", "--tie-path").stdout
    first = rows_of(text, TIE_PATH)[0]
    assert first.split()[0] == "-22" and first.endswith("no steady tow")


def test_set_changes_the_answer(call, pike):
    slow = call("modes", pike, "--set", "retrieve.speed_m_s=0.5")
    assert slow.stdout.startswith("pike  steady tow at 0.5 m/s")
    assert slow.stdout != call("modes", pike).stdout


def test_a_skewed_bait_leans_and_goes_off_track(call, pike):
    found = []
    for skew in (1.5, -1.5):
        text = call("modes", pike, "--set", f"bait.bill.yaw_error_deg={skew}").stdout
        lean = re.search(r"^  lean +([\d.]+) deg to (port|starboard)$", text, re.M)
        aside = re.search(r"^  off track +(\d+) mm to (port|starboard)$", text, re.M)
        found.append((lean[1], aside[1], lean[2], aside[2]))
    assert found[0][:2] == found[1][:2] and float(found[0][0]) > 0.5
    assert found[0][2] != found[1][2] and found[0][3] != found[1][3]


def test_a_current_counts_by_the_speed_through_the_water(call, pike):
    head = ("--set", "water.current_m_s=0.3", "--set", "water.current_toward_deg=180")
    text = call("modes", pike, *head).stdout
    assert text.startswith("pike  steady tow at 1.3 m/s through the water, wake at rest\n")
    fast = call("modes", pike, "--set", "retrieve.speed_m_s=1.3").stdout
    assert text.splitlines()[1:] == fast.splitlines()[1:]


# ---- json ---------------------------------------------------------------------------------------


def test_json_is_that_of_the_library(call, pike):
    answer = call("modes", pike, "--json")
    assert (answer.code, answer.stderr) == (0, "")
    got = json.loads(answer.stdout)
    config = sim.load_config(pike)
    found = sim.modes(config)
    assert list(got) == [
        "name", "config", "trim", "wobble", "lean", "modes", "in_words", "tie_path", "picture"
    ]  # fmt: skip
    assert got["name"] == "pike" and got["config"]["source"] == "pike.toml"
    for key in ("pitch_deg", "lean_deg", "yaw_deg", "depth_m", "side_m", "line_tension_n"):
        assert got["trim"][key] == getattr(found.trim, key)
    assert got["wobble"]["frequency_hz"] == found.wobble.frequency_hz
    assert got["lean"]["growth_1_s"] == found.lean.growth_1_s
    assert [m["growth_1_s"] for m in got["modes"]] == [m.growth_1_s for m in found.modes]
    assert {m["name"] for m in got["modes"]} == {"wobble", "lean", "line", None}
    halving = math.log(2.0) / abs(found.lean.growth_1_s)
    assert got["lean"]["doubling_or_halving_s"] == pytest.approx(halving)
    assert (got["tie_path"], got["picture"]) == ([], None)
    assert len(got["in_words"]) == 2
    assert flat(" ".join(got["in_words"])) in flat(call("modes", pike).stdout)


def test_json_has_the_tie_path(call, folder):
    path = CONFIGS / "surface-runner.toml"
    got = json.loads(call("modes", path, "--tie-path", "--json").stdout)
    points = modes_along(sim.load_config(path))
    assert len(got["tie_path"]) == len(points)
    for row, p in zip(got["tie_path"], points, strict=True):
        assert row["distance_mm"] == p.distance_mm
        if p.modes is None:
            assert (row["trim"], row["wobble"], row["lean"]) == (None, None, None)
        else:
            assert row["wobble"]["growth_1_s"] == p.modes.wobble.growth_1_s
    assert got["tie_path"][0]["trim"] is None


# ---- picture ------------------------------------------------------------------------------------


@pytest.fixture
def short_path(monkeypatch):
    """The command with a row of a few trial holes, for tests that look at files alone."""
    real = sim.small_motion.modes_along

    def along(config, pitch_mm=1.0, progress=None):
        return real(config, 12.0, progress)

    monkeypatch.setattr(sim.small_motion, "modes_along", along)


@pytest.mark.parametrize(
    ("name", "begins"),
    [("a.png", b"\x89PNG\r\n"), ("new/a.svg", b"<?xml"), ("a.PDF", b"%PDF-")],
)
def test_picture(call, pike, short_path, name, begins):
    answer = call("modes", pike, "--picture", name)
    assert (answer.code, answer.stderr) == (0, "")
    assert answer.stdout.endswith(f"Wrote {Path(name)}\n")
    assert Path(name).read_bytes().startswith(begins)
    # the picture alone: no table unless asked for, and no other file
    assert "tie path" not in answer.stdout
    assert sorted(p.name for p in Path.cwd().rglob("*") if p.is_file()) == sorted(
        ["pike.toml", Path(name).name]
    )


def test_picture_is_named_in_json(call, pike, short_path):
    got = json.loads(call("modes", pike, "--json", "--picture", "a.svg").stdout)
    assert (got["picture"], got["tie_path"]) == ("a.svg", [])


def test_picture_shows_what_runs_do(call, pike, short_path):
    call("modes", pike, "--picture", "a.svg", "--set", 'name="my-pike"')
    kinds = [sim.simulate(p.config).motion_class for p in modes_along(sim.load_config(pike), 12.0)]
    assert len(set(kinds)) >= 3
    text = Path("a.svg").read_text("utf-8")
    for kind in {k for k in kinds if k}:
        assert kind in text
    assert "my-pike: modes of the steady tow along the tie path" in text


@pytest.fixture
def no_work(monkeypatch):
    def fail(*_, **__):
        raise AssertionError("was computed")

    monkeypatch.setattr(sim.small_motion, "modes", fail)


def test_picture_is_not_overwritten(call, pike, no_work):
    Path("a.png").write_text("mine")
    answer = call("modes", pike, "--picture", "a.png")
    assert (answer.code, answer.stdout) == (1, "")
    assert answer.stderr == (
        "a.png: exists already. Use another --picture, or --force to replace it.\n"
    )
    assert Path("a.png").read_text() == "mine"


def test_picture_is_replaced_by_force(call, pike, short_path):
    Path("a.png").write_text("mine")
    assert call("modes", pike, "--picture", "a.png", "--force").code == 0
    assert Path("a.png").read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize("name", ["a.gif", "a", "pike.toml"])
def test_picture_of_no_known_kind(call, pike, no_work, name):
    before = pike.read_bytes()
    answer = call("modes", pike, "--picture", name, "--force")
    assert (answer.code, answer.stdout) == (2, "")
    assert f"--picture {name}: the name must end in .png, .svg or .pdf." in answer.stderr
    assert pike.read_bytes() == before


@pytest.mark.parametrize("words", [("modes",), ("run", "--output", "a.h5")])
def test_picture_that_is_a_folder(call, pike, no_work, words):
    Path("dir.png").mkdir()
    answer = call(words[0], pike, *words[1:], "--picture", "dir.png")
    assert (answer.code, answer.stdout) == (1, "")
    inside = Path("dir.png") / "run.png"
    assert answer.stderr == f"dir.png: is a directory. Name a file in it, such as {inside}.\n"
    assert not Path("a.h5").exists()


def test_picture_where_no_file_can_be(call, pike, no_work):
    answer = call("modes", pike, "--picture", "pike.toml/a.png")
    assert (answer.code, answer.stdout) == (1, "")
    assert "is a file and not a folder" in answer.stderr and "--picture" in answer.stderr


# ---- what has no modes --------------------------------------------------------------------------


def refused(answer, code: int = 2) -> str:
    """The one line of a refusal: 2 for what the configuration lacks, 1 for an answer not found."""
    assert (answer.code, answer.stdout) == (code, "")
    (line,) = answer.stderr.splitlines()
    assert "Traceback" not in line
    return line


def test_no_line(call, pike):
    pike.write_text(without_line(pike.read_text()))
    line = refused(call("modes", pike))
    assert line == (
        "pike.toml: missing table [line], needed because a steady tow is one on a line. Add [line]"
        " (every key has a default), and [bait.tie] where there is none."
    )


def test_line_switched_off(call, pike):
    line = refused(call("modes", pike, "--set", "loads.line=false"))
    assert line == "pike.toml: loads.line = false: must be true for a steady tow. Take it out."


def test_all_that_is_missing_is_told_at_once(call, pike):
    pike.write_text(without_line(pike.read_text()))
    answer = call("modes", pike, "--picture", "a.gif")
    assert (answer.code, answer.stdout) == (2, "")
    first, second = answer.stderr.splitlines()
    assert "missing table [line]" in first and "--picture a.gif" in second


def test_no_bill_has_modes_but_no_tie_path(call, pike):
    text = pike.read_text()
    start = text.index("[bait.bill]")
    pike.write_text(text[:start] + text[text.index("[[bait.ballast]]") :])
    text = flat(call("modes", pike).stdout)
    assert "wake at rest" in text
    assert "the bill's wake has" not in text and "help from the bill's wake" not in text
    for more in (("--tie-path",), ("--picture", "a.png")):
        line = refused(call("modes", pike, *more))
        assert line == (
            f"pike.toml: missing table [bait.bill], needed for {more[0]}: the tie path runs over"
            f" the nose of the body and out along the bill. Add [bait.bill], or leave {more[0]}"
            " out."
        )
    assert not Path("a.png").exists()


def test_speed_zero_hangs_on_its_line(call, pike):
    # the bait floats: without speed the line cannot be taut with the rod tip at the surface
    answer = call("modes", pike, "--set", "retrieve.speed_m_s=0")
    line = refused(answer, 1)
    assert line.startswith("pike.toml: no steady tow found at 0 m/s through the water: no pose in")
    heavy = ("--set", "retrieve.speed_m_s=0", "--set", "bait.ballast.0.mass_g=12")
    deep = (*heavy, "--set", "water.surface=false")
    text = call("modes", pike, *deep).stdout
    assert "swings on and hardly" in text and "swings:" not in text and "wake has" not in text
    answer = call("modes", pike, *deep, "--json")
    assert answer.code == 0
    got = json.loads(answer.stdout)
    assert got["trim"]["line_angle_deg"] == pytest.approx(90.0, abs=1e-3)
    bait = sim.assemble(sim.load_config(pike, {"bait.ballast.0.mass_g": 12.0}))
    weight = (bait.mass - bait.water.density * bait.volume) * 9.80665
    assert got["trim"]["line_tension_n"] == pytest.approx(weight, rel=1e-6)


def test_bad_configuration(call, pike):
    for more in (("--set", "bait.bill.angle_deg=355"), ("--set", "bait.total_mass_g=2")):
        answer = call("modes", pike, *more)
        assert (answer.code, answer.stdout) == (2, "")
        assert answer.stderr == call("weigh", pike, *more).stderr


# ---- streams ------------------------------------------------------------------------------------


def test_warnings_go_to_standard_error(call, pike):
    slip = ("--set", "bait.hook.0.drag_area_mm2=0")
    answer = call("modes", pike, *slip)
    assert answer.code == 0
    assert "warning: pike.toml: bait.hook.0" in answer.stderr
    assert "warning" not in answer.stdout
    assert call("modes", pike, *slip, "--quiet").stderr == ""


@pytest.mark.parametrize(("more", "shown"), [((), True), (("--quiet",), False)])
def test_progress_counts_tie_points(call, pike, monkeypatch, more, shown):
    real = sim.small_motion.modes_along

    def slow(config, pitch_mm=1.0, progress=None):
        progress(1.0, 3.0)
        time.sleep(0.3)
        progress(2.0, 3.0)
        return real(config, 12.0)

    monkeypatch.setattr(sim.small_motion, "modes_along", slow)
    monkeypatch.setattr(terminal, "SHOW_AFTER_S", 0.05)
    monkeypatch.setattr(terminal, "is_terminal", lambda _: True)
    monkeypatch.setenv("FORCE_COLOR", "1")  # so that rich takes the test's stream for a terminal
    answer = call("modes", pike, "--tie-path", "--json", *more)
    assert answer.code == 0
    json.loads(answer.stdout)
    assert ("2 of 3 tie points" in answer.stderr) == shown


def test_progress_goes_on_while_the_runs_are_made(call, pike, short_path, monkeypatch):
    seen = []

    class Watch(terminal.Watch):
        def __call__(self, now, aim):
            seen.append((now, aim))

    monkeypatch.setattr(terminal, "Watch", Watch)
    assert call("modes", pike, "--picture", "a.svg").code == 0
    places = len(modes_along(sim.load_config(pike), 12.0))
    # the modes of every tie point, then a run at each
    assert seen == [(i, 2 * places) for i in range(2 * places)]
    seen.clear()
    call("modes", pike, "--tie-path")
    assert seen == [(i, places) for i in range(places)]


def test_modes_writes_nothing(call, pike):
    call("modes", pike, "--tie-path")
    assert [p.name for p in Path.cwd().iterdir()] == ["pike.toml"]


def test_interrupt_tells_that_nothing_was_written(call, pike, monkeypatch):
    def interrupted(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr(sim.small_motion, "modes_along", interrupted)
    answer = call("modes", pike, "--picture", "a.png")
    assert answer.code == 130
    assert answer.stderr == "interrupted; nothing was written.\n"
    assert not Path("a.png").exists()


@needs_terminal
@pytest.mark.parametrize("columns", [60, 80, 120])
def test_lines_fit_the_terminal(pike, columns):
    code, seen = in_terminal(["modes", pike, "--tie-path", "--quiet"], columns=columns)
    assert code == 0
    plain = re.sub(r"\x1b\[[0-9;]*m", "", seen)
    assert max(map(len, plain.splitlines())) <= columns
    assert "\N{HORIZONTAL ELLIPSIS}" not in plain


def test_the_documents_are_functions_of_their_arguments(call, pike):
    config = sim.load_config(pike)
    found, points = sim.modes(config), modes_along(config, 12.0)
    text = as_text(modes_summary(config, found, 0.07, points), 100)
    assert text == as_text(modes_summary(config, found, 0.07, points), 100)
    document = modes_document(config, found, 0.07, points, "a.png")
    assert len(document["tie_path"]) == len(points) and document["picture"] == "a.png"
    # without a length travel is given as a time alone
    assert "body lengths" not in document["in_words"][0]
    assert "body lengths of travel" in document["in_words"][1]
    assert "body lengths" not in modes_document(config, found, None)["in_words"][1]
