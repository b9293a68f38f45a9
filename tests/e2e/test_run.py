"""runtrue run: what is printed, what is written, what is refused."""

import json
import math
import os
import re
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from e2e_helpers import in_terminal, needs_terminal, without_line

import sim
import sim.plots.run
import sim.run
from sim import terminal
from sim.config import config_digest
from sim.errors import RuntrueError

SPINS = (
    "--set", "bait.bill.yaw_error_deg=20", "--set", "retrieve.speed_m_s=2",
    "--set", "water.surface=false", "--set", "line.rod_tip_height_m=-1", "--set", "start.depth_m=1",
)  # fmt: skip
# A fifth of a metre a step is far beyond what an explicit integrator can follow.
DIVERGES = (
    "--set", "start.rates_deg_s=[500000, 0, 0]", "--set", "solver.step_ms=20",
    "--set", "solver.output_step_ms=20",
)  # fmt: skip
# Too short to hold two wobbles that could be alike.
TOO_SHORT = ("--set", "solver.duration_s=1", "--set", "solver.max_duration_s=1")
LONG = (
    "--set", "solver.duration_s=600", "--set", "solver.max_duration_s=3600",
    "--set", "solver.step_ms=0.01",
)  # fmt: skip


def row(text: str, label: str) -> str:
    """What stands beside a label of the summary."""
    found = re.search(rf"^  {re.escape(label)}  +(.*)$", text, re.MULTILINE)
    assert found, f"no row {label!r} in\n{text}"
    return found[1]


def test_summary_says_what_the_library_says(call, pike):
    answer = call("run", pike)
    assert answer.code == 0
    assert answer.stderr == ""
    run = sim.simulate(sim.load_config(pike))
    text, m = answer.stdout, run.measures
    assert text.startswith("pike\n")
    assert row(text, "Class") == f"{run.motion_class}: {run.class_reason}"
    assert "nearest limit: " in text
    assert row(text, "Status") == f"settled: {run.message}"
    assert f"Settled motion, {run.window[0]:.2f} s to {run.window[1]:.2f} s" in text
    assert row(text, "Wobble") == f"{m['wobble_frequency_hz']:.2f} Hz"
    assert row(text, "Yaw amplitude") == f"{m['yaw_amplitude_deg']:.1f} deg to each side"
    assert row(text, "Roll amplitude") == f"{m['roll_amplitude_deg']:.1f} deg to each side"
    assert row(text, "Pitch") == (
        f"{abs(m['pitch_deg']):.1f} deg nose {'up' if m['pitch_deg'] > 0 else 'down'}"
    )
    assert row(text, "Nose sweep") == f"{m['nose_sweep_mm']:.1f} mm from side to side"
    assert row(text, "Tail sweep") == f"{m['tail_sweep_mm']:.1f} mm from side to side"
    assert row(text, "Depth") == f"{m['depth_m']:.2f} m"
    grams = m["line_tension_n"] / 9.80665 * 1000
    assert row(text, "Line tension") == (f"{m['line_tension_n']:.2f} N (weight of {grams:.0f} g)")
    assert row(text, "Lean").startswith(f"{abs(m['lean_deg']):.1f} deg")
    assert row(text, "Side drift").startswith(f"{abs(m['side_drift_m_per_m'] * 1e3):.1f} mm per m")
    assert row(text, "Turns").startswith(f"{abs(m['turns']):.2f}")
    assert row(text, "Config") == f"pike.toml (sha256 {config_digest(run.config)[:12]})"
    assert text.endswith(f"Wrote {Path('results') / 'pike.h5'}\n")


def test_file_holds_the_run(call, pike):
    call("run", pike)
    stored = sim.load_run("results/pike.h5")
    run = sim.simulate(sim.load_config(pike))
    assert stored.measures == run.measures
    assert np.array_equal(stored.position, run.position)
    assert stored.config == run.config
    assert stored.config.source_text == pike.read_text()
    assert sorted(p.name for p in Path("results").iterdir()) == ["pike.h5"]


def test_usual_file_goes_by_the_name_in_the_file_else_by_the_file(call, pike):
    text = pike.read_text()
    Path("perch.toml").write_text(text.replace('name = "pike"', ""))
    Path("zander.toml").write_text(text.replace('name = "pike"', 'name = "big-one"'))
    assert call("run", "perch.toml").code == 0
    assert call("run", "zander.toml").code == 0
    assert sorted(p.name for p in Path("results").iterdir()) == ["big-one.h5", "perch.h5"]


def test_json_is_one_document_with_the_documented_keys(call, pike):
    answer = call("run", pike, "--json")
    assert (answer.code, answer.stderr) == (0, "")
    got = json.loads(answer.stdout)
    run = sim.load_run("results/pike.h5")
    assert list(got) == [
        "name", "config", "status", "message", "motion_class", "class_reason", "nearest_limit",
        "measures", "margins", "window_s", "duration_s", "stats", "warnings", "output", "picture",
        "provenance",
    ]  # fmt: skip
    assert got["measures"] == run.measures
    assert got["config"] == {
        "source": "pike.toml", "digest": config_digest(run.config), "overrides": {}
    }  # fmt: skip
    assert got["name"] == "pike"
    assert (got["status"], got["motion_class"]) == (run.status, run.motion_class)
    assert got["window_s"] == list(run.window)
    assert got["duration_s"] == run.time[-1]
    assert got["output"] == str(Path("results") / "pike.h5")
    assert got["picture"] is None
    assert got["provenance"]["config_digest"] == config_digest(run.config)
    limit = got["nearest_limit"]
    assert limit["distance"] == got["margins"][limit["name"]]


def test_no_value_is_null_in_json_and_a_dash_in_text(call, pike):
    got = json.loads(call("run", pike, *SPINS, "--json", "--output", "a.h5").stdout)
    assert got["motion_class"] == "spinning"
    assert got["measures"]["roll_amplitude_deg"] is None
    assert math.isnan(sim.load_run("a.h5").measures["roll_amplitude_deg"])
    text = call("run", pike, *SPINS).stdout
    assert row(text, "Roll amplitude") == "-"
    assert row(text, "Lean") == "-"
    assert re.search(r"nearest limit: spin, [\d.]+ turns above", text)
    assert row(text, "Turns").endswith("per second")


# ---- overrides ----------------------------------------------------------------------------------


def test_set_changes_the_run_and_is_told(call, pike):
    before = pike.read_bytes()
    answer = call("run", pike, "--set", "retrieve.speed_m_s=0.7", "--set", "line.kind=chord")
    assert answer.code == 0
    assert "          retrieve.speed_m_s = 0.7\n" in answer.stdout
    run = sim.load_run("results/pike.h5")
    assert run.measures["speed_m_s"] == pytest.approx(0.7, rel=0.02)
    assert run.config.overrides == {"retrieve.speed_m_s": 0.7, "line.kind": "chord"}
    assert pike.read_bytes() == before


def test_last_of_two_sets_of_a_key_counts(call, pike):
    call("run", pike, "--set", "retrieve.speed_m_s=0.7", "--set", "retrieve.speed_m_s=0.9")
    assert sim.load_run("results/pike.h5").config.retrieve.speed_m_s == 0.9


# ---- what is not overwritten --------------------------------------------------------------------


@pytest.fixture
def stored(pike):
    """A result where the command would write its own."""
    path = Path("results/pike.h5")
    sim.save_run(sim.simulate(sim.load_config(pike)), path)
    return path


@pytest.fixture
def no_simulation(stored, monkeypatch):
    def fail(*_):
        raise AssertionError("was simulated")

    monkeypatch.setattr(sim.run, "simulate", fail)


def test_same_config_again_is_refused_and_said_so(call, pike, stored, no_simulation):
    before = stored.read_bytes(), stored.stat().st_mtime_ns
    answer = call("run", pike)
    digest = config_digest(sim.load_config(pike))[:12]
    assert answer.code == 1
    assert answer.stdout == ""
    assert answer.stderr == (
        f"{stored}: exists already, a run of the same config (sha256 {digest}). Nothing was"
        " simulated. Use another --output, or --force to replace it.\n"
    )
    assert (stored.read_bytes(), stored.stat().st_mtime_ns) == before


def test_another_config_is_refused_and_said_so(call, pike, stored, no_simulation):
    before = stored.read_bytes()
    answer = call("run", pike, "--set", "retrieve.speed_m_s=0.8")
    old = config_digest(sim.load_config(pike))[:12]
    new = config_digest(sim.load_config(pike, {"retrieve.speed_m_s": 0.8}))[:12]
    assert answer.code == 1
    assert f"a run of another config (sha256 {old}, now {new})" in answer.stderr
    assert "--force" in answer.stderr
    assert stored.read_bytes() == before


def test_a_file_of_another_kind_is_refused(call, pike, stored, no_simulation):
    Path("notes.txt").write_text("my notes")
    answer = call("run", pike, "--output", "notes.txt")
    assert answer.code == 1
    assert "notes.txt: exists already, and is not a run that this program can read" in answer.stderr
    assert Path("notes.txt").read_text() == "my notes"


def test_force_replaces(call, pike, stored):
    before = stored.read_bytes()
    answer = call("run", pike, "--force", "--set", "retrieve.speed_m_s=0.8")
    assert answer.code == 0
    assert stored.read_bytes() != before
    assert sim.load_run(stored).config.retrieve.speed_m_s == 0.8


@pytest.mark.parametrize("more", [(), ("--force",)])
def test_the_configuration_itself_is_never_replaced(call, pike, no_simulation, more):
    before = pike.read_bytes()
    answer = call("run", pike, "--output", "../" + Path.cwd().name + "/pike.toml", *more)
    assert answer.code == 2
    assert "is the configuration itself. Use another --output." in answer.stderr
    assert pike.read_bytes() == before


@pytest.mark.parametrize(
    ("output", "words"),
    [
        ("results", "is a directory"),
        ("pike.toml/a.h5", "is a file and not a folder"),
        ("/dev/null", "exists already"),
    ],
)
def test_no_file_can_be_there(call, pike, no_simulation, output, words):
    answer = call("run", pike, "--output", output)
    assert answer.code == 1
    assert words in answer.stderr
    assert "--output" in answer.stderr or "Name a file in it" in answer.stderr
    assert "Traceback" not in answer.stderr


def test_folder_without_permission(call, pike, no_simulation):
    Path("locked").mkdir(mode=0o500)
    if os.access("locked", os.W_OK):
        pytest.skip("this user may write anywhere")
    answer = call("run", pike, "--output", "locked/a.h5")
    assert answer.code == 1
    assert "locked/a.h5: may not be written" in answer.stderr
    assert list(Path("locked").iterdir()) == []


@needs_terminal
def test_full_disk_keeps_the_old_file(pike, stored, shell):
    import resource

    def small_files():
        resource.setrlimit(resource.RLIMIT_FSIZE, (2000, 2000))

    before = stored.read_bytes()
    answer = shell("run", pike, "--force", preexec_fn=small_files)
    assert answer.code == 1
    assert "the disk is full" in answer.stderr
    assert "Traceback" not in answer.stderr
    assert stored.read_bytes() == before
    assert [p.name for p in stored.parent.iterdir()] == ["pike.h5"]


def test_output_makes_the_folders_it_needs(call, pike):
    answer = call("run", pike, "--output", "a/b/low.h5")
    assert answer.code == 0
    assert answer.stdout.endswith(f"Wrote {Path('a/b/low.h5')}\n")
    assert sim.load_run("a/b/low.h5").status == "settled"
    assert not Path("results").exists()


# ---- pictures -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "begins"),
    [("a.png", b"\x89PNG\r\n"), ("new/a.svg", b"<?xml"), ("a.PDF", b"%PDF-")],
)
def test_picture(call, pike, name, begins):
    answer = call("run", pike, "--picture", name)
    assert answer.code == 0
    assert answer.stdout.endswith(f"Wrote {Path('results/pike.h5')}\nWrote {Path(name)}\n")
    assert Path(name).read_bytes().startswith(begins)


def test_picture_is_named_in_json(call, pike):
    got = json.loads(call("run", pike, "--json", "--picture", "a.png").stdout)
    assert got["picture"] == "a.png"


def test_picture_is_not_overwritten(call, pike, no_simulation):
    Path("a.png").write_text("mine")
    answer = call("run", pike, "--output", "new.h5", "--picture", "a.png")
    assert answer.code == 1
    assert answer.stderr == (
        "a.png: exists already. Use another --picture, or --force to replace it.\n"
    )
    assert Path("a.png").read_text() == "mine"
    assert not Path("new.h5").exists()


def test_picture_is_replaced_by_force(call, pike, stored):
    Path("a.png").write_text("mine")
    assert call("run", pike, "--force", "--picture", "a.png").code == 0
    assert Path("a.png").read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize("name", ["a.gif", "a", "pike.toml"])
def test_picture_of_no_known_kind(call, pike, no_simulation, name):
    answer = call("run", pike, "--output", "new.h5", "--picture", name)
    assert answer.code == 2
    assert f"--picture {name}: the name must end in .png, .svg or .pdf." in answer.stderr
    assert not Path("new.h5").exists()


def test_picture_and_result_in_one_file(call, pike, no_simulation):
    answer = call("run", pike, "--output", "a.png", "--picture", "./a.png")
    assert answer.code == 2
    assert "is the --output file as well" in answer.stderr


def test_picture_that_fails_leaves_the_run(call, pike, monkeypatch):
    def fail(*_):
        raise RuntrueError("a.png: cannot write the picture.")

    monkeypatch.setattr(sim.plots.run, "save_run_figure", fail)
    answer = call("run", pike, "--picture", "a.png")
    assert answer.code == 1
    file = Path("results/pike.h5")
    assert answer.stderr == f"a.png: cannot write the picture. The run itself is in {file}.\n"
    assert sim.load_run(file).status == "settled"


def test_matplotlib_is_loaded_for_a_picture_alone(pike):
    code = (
        "import sys; from typer.testing import CliRunner; from sim.cli import app\n"
        "done = CliRunner().invoke(app, sys.argv[1:])\n"
        "print(done.exit_code, 'matplotlib' in sys.modules)"
    )
    for more, expected in (((), "0 False"), (("--force", "--picture", "a.png"), "0 True")):
        words = [sys.executable, "-c", code, "run", str(pike), *more]
        done = subprocess.run(words, capture_output=True, text=True, check=True, timeout=300)
        assert done.stdout.strip() == expected


# ---- other outcomes -----------------------------------------------------------------------------


def test_a_run_that_has_not_settled_is_no_failure(call, pike):
    answer = call("run", pike, *TOO_SHORT)
    assert answer.code == 0
    assert row(answer.stdout, "Class") == "none: the motion did not settle"
    assert row(answer.stdout, "Status").startswith("not settled: not stationary after 1 s.")
    assert "Second half of a motion that has not settled, 0.50 s to 1.00 s" in answer.stdout
    assert "nearest limit" not in answer.stdout
    assert sim.load_run("results/pike.h5").motion_class is None


def test_nearest_limit_is_null_without_a_class(call, pike):
    got = json.loads(call("run", pike, *TOO_SHORT, "--json").stdout)
    assert got["nearest_limit"] is None
    assert got["status"] == "not settled"


def test_line_that_ran_out(call, pike):
    answer = call("run", pike, "--set", "retrieve.mode=reel", "--set", "line.length_m=1.2")
    assert answer.code == 0
    run = sim.load_run("results/pike.h5")
    assert run.status == "line in"
    assert run.time[-1] < 1.2  # s: not even 1.2 m of line at 1 m/s
    status = " ".join(answer.stdout.split())
    assert f"Status line in: {run.message} " in status


def test_a_bait_without_a_line_has_no_class_and_no_tension(call, pike):
    Path("free.toml").write_text(without_line(pike.read_text()))
    answer = call("run", "free.toml")
    assert answer.code == 0
    assert row(answer.stdout, "Class") == "none: classes are for a bait on a line"
    assert "Line tension" not in answer.stdout


def test_a_run_that_blew_up_fails_but_is_kept(call, pike):
    answer = call("run", pike, *DIVERGES)
    assert answer.code == 1
    run = sim.load_run("results/pike.h5")
    assert run.status == "diverged"
    assert np.isnan(run.position[-1]).all()
    assert row(answer.stdout, "Class") == "none: the run diverged"
    assert row(answer.stdout, "Status").startswith("diverged: state not finite")
    assert "Yaw amplitude" not in answer.stdout
    assert answer.stderr == f"pike.toml: {run.message}\n"
    got = json.loads(call("run", pike, *DIVERGES, "--json", "--force").stdout)
    assert (got["status"], got["motion_class"], got["measures"]) == ("diverged", None, {})
    assert got["duration_s"] < 1.0


def test_warnings_are_printed(call, pike):
    answer = call("run", pike, "--set", "line.modulus_gpa=400")
    found = sim.load_run("results/pike.h5").warnings
    assert found[0].startswith("the line is too stiff")
    assert "Warnings\n" in answer.stdout
    assert f"  -  {found[0]}\n" in answer.stdout


# ---- the terminal -------------------------------------------------------------------------------


@needs_terminal
def test_ctrl_c_leaves_nothing(pike):
    code, seen = in_terminal(["run", pike, *LONG], interrupt_at=" s simulated")
    assert code == 130
    assert seen.endswith("interrupted; nothing was written.\n")
    assert "Traceback" not in seen
    assert [p.name for p in Path.cwd().iterdir()] == ["pike.toml"]


@needs_terminal
def test_ctrl_c_keeps_the_old_file(pike, stored):
    before = stored.read_bytes()
    code, seen = in_terminal(["run", pike, "--force", *LONG], interrupt_at=" s simulated")
    assert code == 130
    assert "nothing was written" in seen
    assert stored.read_bytes() == before
    assert [p.name for p in stored.parent.iterdir()] == ["pike.h5"]


def test_ctrl_c_after_the_file_is_there_says_so(call, pike, monkeypatch):
    def interrupted(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(sim.plots.run, "save_run_figure", interrupted)
    answer = call("run", pike, "--picture", "a.png")
    assert answer.code == 130
    assert answer.stderr == f"interrupted; {Path('results/pike.h5')} was written.\n"


@pytest.fixture
def slow_run(monkeypatch):
    """Runs that take longer than a progress bar waits."""
    real = sim.simulate

    def simulate(config, progress):
        progress(1.0, 8.0)
        time.sleep(0.3)
        progress(2.0, 8.0)
        return real(config)

    monkeypatch.setattr(sim.run, "simulate", simulate)
    monkeypatch.setattr(terminal, "SHOW_AFTER_S", 0.05)


@pytest.mark.parametrize(
    ("someone_looks", "more", "shown"), [(True, (), 1), (True, ("--quiet",), 0), (False, (), 0)]
)
def test_progress_only_where_somebody_looks(
    call, pike, slow_run, monkeypatch, someone_looks, more, shown
):
    monkeypatch.setattr(terminal, "is_terminal", lambda _: someone_looks)
    monkeypatch.setenv("FORCE_COLOR", "1")  # so that rich takes the test's stream for a terminal
    answer = call("run", pike, "--json", *more)
    assert answer.code == 0
    json.loads(answer.stdout)
    assert ("2.0 of 8 s simulated" in answer.stderr) == bool(shown)
    assert bool(answer.stderr) == bool(shown)


def test_quick_work_shows_no_progress(call, pike, slow_run, monkeypatch):
    monkeypatch.setattr(terminal, "is_terminal", lambda _: True)
    monkeypatch.setattr(terminal, "SHOW_AFTER_S", 60.0)
    assert call("run", pike).stderr == ""


@needs_terminal
def test_no_color(pike, stored):
    code, seen = in_terminal(
        ["run", pike, "--force", *LONG], interrupt_at=" s simulated", NO_COLOR="1"
    )
    assert code == 130
    assert not re.search(r"\x1b\[(3[0-9]|9[0-7]|4[0-8])[;m]", seen)


@needs_terminal
def test_bold_in_a_terminal_and_plain_in_a_pipe(pike, stored, shell):
    _, seen = in_terminal(["show", stored])
    assert "\x1b[1mpike\x1b[0m" in seen
    assert "\x1b" not in shell("show", stored, env={**os.environ, "FORCE_COLOR": "1"}).stdout


@needs_terminal
@pytest.mark.parametrize("columns", [60, 80, 120])
def test_lines_fit_the_terminal(pike, stored, columns):
    for words in (["show", stored], ["weigh", pike]):
        code, seen = in_terminal(words, columns=columns)
        assert code == 0
        plain = re.sub(r"\x1b\[[0-9;]*m", "", seen)
        assert max(map(len, plain.splitlines())) <= columns
        # rows are wrapped beside their label, never under it
        assert all(re.match(r"^( {2}|\S)", line) for line in plain.splitlines() if line)
