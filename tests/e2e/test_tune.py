"""runtrue tune: exit codes, both forms of the answer, files, and what is refused."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from e2e_helpers import PIKE, without_line

from sim.commands.speeds import MOST_SPEEDS
from sim.studies.engine import FAILED, STATUSES
from sim.studies.store import load_map

RESULT, PICTURE = Path("results/pike-tune.h5"), Path("results/pike-tune.png")
# 131 bends at two speeds
FEW = ("--slowest", 1, "--fastest", 1.5, "--speeds", 2, "--workers", 1)
OFF = ("--set", "bait.bill.yaw_error_deg=2")


@pytest.fixture
def tuned(call, pike):
    """What tune said about a bait whose bill is turned to starboard."""
    return call("tune", pike, *FEW, *OFF)


def test_the_answer_in_words_and_what_show_says(call, tuned):
    assert (tuned.code, tuned.stderr) == (0, "")
    lines = tuned.stdout.splitlines()
    assert lines[0] == "pike  tuning the eye, towed at 1 to 1.5 m/s"
    assert lines[1].startswith("  Bend the eye ")
    assert " to starboard: " in lines[1]
    assert "for an eye of 5 mm." in lines[1]
    assert "bait.bill.yaw_error_deg = 2: bill turned to the side" in " ".join(tuned.stdout.split())
    assert "cures it" in tuned.stdout
    assert lines[-2:] == [f"Wrote {RESULT}", f"Wrote {PICTURE}"]
    assert max(map(len, lines)) <= 100
    assert PICTURE.read_bytes().startswith(b"\x89PNG")

    again = call("show", RESULT)
    assert again.code == 0
    same = tuned.stdout.split("\nPut right instead")[0]
    assert again.stdout.startswith(same)
    # what was put right is not kept: how to do so again is told
    flat = " ".join(again.stdout.split())
    assert "put right in turn, is not kept in the result. To try it again:" in flat
    assert (
        "runtrue tune pike.toml --slowest 1 --fastest 1.5 --speeds 2 --set"
        " bait.bill.yaw_error_deg=2 --force" in flat
    )
    assert "  Made  " in again.stdout
    assert again.stdout.endswith(f"Read from {RESULT}\n")
    first = PICTURE.read_bytes()
    drawn = call("show", RESULT, "--picture", "again.png")
    assert drawn.stdout.endswith("Wrote again.png\n")
    assert Path("again.png").read_bytes() == first
    refused = call("show", RESULT, "--picture", "lean.png", "--quantity", "lean_deg")
    assert refused.code == 2
    assert refused.stderr == (
        f"--quantity lean_deg: is for maps, and {RESULT} is none. Leave it out.\n"
    )


def test_json_and_that_show_gives_the_same(call, pike):
    answer = call("tune", pike, *FEW, *OFF, "--json", "--quiet", "--eye-mm", 4)
    assert (answer.code, answer.stderr) == (0, "")
    got = json.loads(answer.stdout)
    assert got["eye_mm"] == 4.0
    assert got["verdict"] == "bend"
    assert got["bend_deg"] > 0.0
    assert got["speeds_m_s"] == [1.0, 1.5]
    assert got["bends_deg"] == {"first": -45.0, "last": 45.0, "count": 131}
    assert got["worst_after"] < 1.0
    assert got["worst_before"] is None or got["worst_before"] > 1.0
    low, high = got["window"]["low_deg"], got["window"]["high_deg"]
    assert low < got["bend_deg"] < high
    for one in got["after"]:
        assert one["within_limits"]
        assert set(one) == {
            "speed_m_s", "drift_deg", "drift_mm_per_m", "lean_deg", "motion_class", "went_round",
            "settled", "within_limits",
        }  # fmt: skip
    assert got["put_right"][0]["keys"] == ["bait.bill.yaw_error_deg"]
    assert got["put_right"][0]["cures"]
    assert got["failures"] == []
    assert (got["output"], got["pictures"]) == (str(RESULT), [str(PICTURE)])
    again = json.loads(call("show", RESULT, "--json").stdout)
    assert again == got | {"pictures": [], "put_right": None}
    # the place told is where the file's next version ties it
    stored = load_map(RESULT).study.base.bait.tie
    assert got["tie"]["right_mm"] == pytest.approx(stored.right_mm + got["knot_right_mm"])
    keys = [f"bait.tie.{key}={value!r}" for key, value in got["tie"].items()]
    sets = [word for key in keys for word in ("--set", key)]
    bent = json.loads(
        call("run", pike, *OFF, *sets, "--set", "retrieve.speed_m_s=1.5", "--json").stdout
    )
    assert bent["measures"]["lean_deg"] == pytest.approx(got["after"][1]["lean_deg"], abs=1e-6)


def test_a_bait_alike_on_both_sides(call, pike):
    answer = call("tune", pike, *FEW)
    assert answer.code == 0
    first = answer.stdout.splitlines()[1]
    assert first.startswith(
        "  Runs true: leave the eye as it is; it stays within the limits up to "
    )
    assert first.endswith(" deg either way.")


def test_nothing_is_replaced_unless_asked_to(call, pike):
    Path("results").mkdir()
    RESULT.write_text("mine")
    answer = call("tune", pike, *FEW)
    assert answer.code == 1
    assert f"{RESULT}: " in answer.stderr
    assert "--force" in answer.stderr
    assert RESULT.read_text() == "mine"
    assert call("tune", pike, *FEW, "--force", "--output", RESULT, "--picture", "p.svg").code == 0
    assert load_map(RESULT).study.kind == "tune"
    assert Path("p.svg").read_text().startswith("<?xml")
    assert not PICTURE.exists()


def test_all_that_is_wrong_is_told_at_once(call, pike):
    answer = call(
        "tune", pike, "--slowest", 2, "--fastest", 1, "--speeds", 1, "--eye-mm", 60,
        "--set", "solver.method=dop853", "--set", "loads.line=false", "--picture", "a.gif",
    )  # fmt: skip
    assert (answer.code, answer.stdout) == (2, "")
    assert answer.stderr.splitlines() == [
        "--slowest 2: must be less than --fastest 1 m/s. Correct one.",
        f"--speeds 1: must be from 2 to {MOST_SPEEDS}. Correct it.",
        "--eye-mm 60: must be > 0 and at most 50 mm. Correct it.",
        "pike.toml: loads.line = false: must be true, its runs are retrieves. Take it out.",
        'pike.toml: has solver.method = "dop853", but rows of runs are stepped by "rk4" alone.'
        " Take it out.",
        "--picture a.gif: the name must end in .png, .svg or .pdf. Try a.png.",
    ]
    assert not Path("results").exists()


def test_a_bait_without_what_it_takes(call, pike):
    Path("free.toml").write_text(without_line(PIKE), encoding="utf-8")
    answer = call("tune", "free.toml")
    assert answer.code == 2
    assert answer.stderr.startswith("free.toml: has no table [line], but its runs are to be retr")
    answer = call("tune", pike, "--output", "out.png")
    assert answer.code == 2
    assert answer.stderr.startswith("--output out.png: is the name of a picture")


def test_a_reeled_line_is_towed_and_that_is_told(call, pike):
    answer = call("tune", pike, *FEW, "--set", "retrieve.mode=reel")
    assert answer.code == 0
    assert "retrieve.mode = tow" in answer.stdout


def test_failed_runs_make_the_exit_code_3(call, pike):
    answer = call(
        "tune", pike, *FEW, "--set", "solver.step_ms=20", "--set", "solver.output_step_ms=20",
        "--json",
    )  # fmt: skip
    got = json.loads(answer.stdout)
    assert answer.code == 3
    failed = sum(cause["runs"] for cause in got["failures"])
    assert failed > 0
    assert answer.stderr == f'pike.toml: {failed} of its runs failed, see "failures".\n'
    codes = [STATUSES.index(name) for name in FAILED]
    assert int(np.isin(load_map(RESULT).status, codes).sum()) == failed
