"""runtrue holes: what is run, printed, written and drawn; what is refused; the file shown again."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest
from e2e_helpers import PIKE, Answer, without_line
from typer.testing import CliRunner

import sim.studies.changes
import sim.studies.parts
from sim import terminal
from sim.bait.tie_path import tie_path
from sim.cli import app
from sim.config import load_config
from sim.studies.holes import sweet_spot
from sim.studies.store import load_map

H5, PNG = Path("results/pike-holes.h5"), Path("results/pike-holes.png")
PART = Path("results/pike-holes.h5.part")
# Coarse, at speeds at which this bait has a sweet spot, and at one at which it has none.
GOOD = ("--pitch-mm", "4", "--slowest", "0.8", "--fastest", "1.6", "--speeds", "3")
NONE = ("--pitch-mm", "8", "--slowest", "0.4", "--fastest", "1", "--speeds", "2")
ONE = ("--workers", "1")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, Answer]]:
    """A folder in which a row with a sweet spot was run, and what was printed."""
    folder, here = tmp_path_factory.mktemp("made"), Path.cwd()
    os.chdir(folder)
    try:
        Path("pike.toml").write_text(PIKE, encoding="utf-8")
        arguments = ["holes", "pike.toml", *GOOD, *ONE]
        done = CliRunner().invoke(app, arguments, catch_exceptions=False)
        assert done.exit_code == 0, done.stderr
        yield folder, Answer(done.exit_code, done.stdout, done.stderr)
    finally:
        os.chdir(here)


@pytest.fixture
def finished(pike: Path, made: tuple[Path, Answer]) -> Path:
    """The current folder with that row in it."""
    shutil.copytree(made[0] / "results", "results")
    return H5


@pytest.fixture
def no_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object, **__: object) -> None:
        raise AssertionError("was run")

    monkeypatch.setattr(sim.studies.run, "run_study", fail)


def refused(answer: Answer, code: int = 2) -> list[str]:
    """Lines of a complaint, after what holds for all of them."""
    assert answer.code == code, answer
    assert answer.stdout == ""
    assert "Traceback" not in answer.stderr
    assert not Path("results").exists() or code == 1
    return answer.stderr.splitlines()


# ---- what is printed and written ----------------------------------------------------------------


def test_a_line_for_each_hole_and_the_sweet_spot(made):
    folder, answer = made
    lines = answer.stdout.splitlines()
    assert lines[0] == "pike  trial holes every 4 mm along nose and bill"
    assert "  Speeds  0.8 1 1.2 1.6 m/s" in lines
    assert max(map(len, lines)) <= 100
    start = next(i for i, line in enumerate(lines) if line.split()[:1] == ["mm"]) + 1
    places = []
    for line in lines[start:]:
        words = [w for w in line.split() if set(w) - set("|>")]
        if not words[0].lstrip("-").isdecimal():
            break
        places.append(int(words[0]))
    path = tie_path(load_config(folder / "pike.toml"))
    low, high = path.distance_mm[0], path.distance_mm[-1]
    assert places == [d for d in range(-100, 100, 4) if low <= d <= high]
    spot = sweet_spot(load_map(folder / H5))
    text = f"  Sweet spot      {spot.first_mm:.0f} to {spot.last_mm:.0f} mm along the path,"
    assert any(line.startswith(text) for line in lines)
    assert lines[-2:] == [f"Wrote {H5}", f"Wrote {PNG}"]
    assert sorted(os.listdir(folder / "results")) == [H5.name, PNG.name]
    assert (folder / PNG).read_bytes().startswith(b"\x89PNG")
    assert "changes tried" not in answer.stdout  # there is a sweet spot


def test_json_tells_the_same(pike, call):
    answer = call("holes", pike, *GOOD, *ONE, "--json", "--output", "a.h5", "--picture", "a.svg")
    assert answer.code == 0
    told = json.loads(answer.stdout)
    result = load_map("a.h5")
    spot = sweet_spot(result)
    assert told["sweet_spot"]["first_mm"] == spot.first_mm
    assert told["sweet_spot"]["length_mm"] == spot.length_mm > 0.0
    assert told["speeds_m_s"] == [0.8, 1.0, 1.2, 1.6]
    assert told["told_speed_m_s"] == told["own_speed_m_s"] == 1.0
    assert told["runs"] == result.status.size
    assert told["pitch_mm"] == 4.0 and told["step_mm"] == 1.0
    assert told["changes"] is None and told["failures"] == []
    assert (told["output"], told["pictures"]) == ("a.h5", ["a.svg"])
    inside = [h for h in told["holes"] if h["in_sweet_spot"]]
    assert inside and all(h["class"] == ["balanced"] * 4 for h in inside)
    assert not any(any(h["goes_round"]) for h in inside)
    assert all(15.0 < h["at_told_speed"]["depth_angle_deg"] < 25.0 for h in inside)
    assert Path("a.svg").read_text(encoding="utf-8").startswith("<?xml")
    assert not Path("results").exists()


def test_without_a_sweet_spot_it_tells_the_nearest_and_what_was_tried(pike, call):
    answer = call("holes", pike, *NONE, *ONE)
    assert answer.code == 0
    flat = " ".join(answer.stdout.split())
    assert "Sweet spot none: no hole is balanced at every speed from 0.4 to 1 m/s" in flat
    assert "balanced at 1 of 2 speeds, tight at 0.4 m/s (the slow end)" in flat
    assert "Part of it at 1 m/s alone the sweet spot would be" in flat
    assert "of 12 changes tried" in flat
    assert "as it is none" in flat
    told = json.loads(call("holes", pike, *NONE, *ONE, "--json", "--force").stdout)
    assert told["sweet_spot"] is None and told["nearest"]["balanced_speeds"] == 1
    tried = told["changes"]["tried"]
    assert len(tried) == 12 and told["changes"]["left_out"] == []
    assert tried == sorted(
        tried,
        key=lambda t: (
            -1.0 if t["sweet_spot"] is None else t["sweet_spot"]["length_mm"],
            t["balanced_runs"],
        ),
        reverse=True,
    )
    assert told["changes"]["as_is"]["sweet_spot"] is None


def test_changes_can_be_tried_where_there_is_a_sweet_spot(pike, call):
    answer = call("holes", pike, *GOOD, *ONE, "--try-changes", "--speeds", "2", "--pitch-mm", "8")
    assert answer.code == 0
    assert "of 12 changes tried give" in answer.stdout.replace("gives", "give")
    assert "a longer sweet spot" in answer.stdout


def test_a_reeled_line_is_towed_and_the_summary_says_so(pike, call):
    answer = call("holes", pike, *GOOD, *ONE, "--set", "retrieve.mode=reel")
    assert answer.code == 0
    assert "Set     retrieve.mode = tow" in answer.stdout
    assert load_map(H5).study.base.retrieve.mode == "tow"


def test_failed_runs_are_told_and_make_the_exit_code_3(pike, call):
    steps = ("--set", "solver.step_ms=20", "--set", "solver.output_step_ms=20", "--set",
             "solver.duration_s=2", "--set", "solver.max_duration_s=2")  # fmt: skip
    options = ("--pitch-mm", "8", "--slowest", "0.4", "--fastest", "10", "--speeds", "2")
    answer = call("holes", pike, *options, *ONE, *steps)
    assert answer.code == 3
    assert "Failed runs, by cause" in answer.stdout and "diverged, as at " in answer.stdout
    failed = int((load_map(H5).status == 3).sum())
    assert failed > 0
    assert f"pike.toml: {failed} of its runs failed, see above." in answer.stderr


def test_an_interrupt_after_the_runs_keeps_them(pike, call, monkeypatch):
    def stop(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(sim.studies.changes, "try_changes", stop)
    answer = call("holes", pike, *GOOD, *ONE, "--try-changes")
    assert answer.code == terminal.INTERRUPTED
    assert answer.stderr.strip() == f"interrupted; the holes are in {H5}."
    assert H5.exists() and not PNG.exists()


def test_an_interrupt_among_the_runs_leaves_nothing(pike, call, monkeypatch):
    def stop(*_: object, **__: object) -> None:
        assert PART.is_dir()  # something has been written
        raise KeyboardInterrupt

    monkeypatch.setattr(terminal.Tally, "__call__", stop)
    answer = call("holes", pike, *GOOD, *ONE)
    assert answer.code == terminal.INTERRUPTED
    assert answer.stderr.strip() == "interrupted; nothing was written."
    assert not H5.exists() and not PART.exists()


def test_a_full_disk_leaves_nothing_and_offers_no_option_that_is_not_there(pike, call, monkeypatch):
    def full(_: object) -> SimpleNamespace:
        assert PART.is_dir()
        return SimpleNamespace(free=1000)

    monkeypatch.setattr(sim.studies.parts.shutil, "disk_usage", full)
    answer = call("holes", pike, *GOOD, *ONE)
    assert answer.code == terminal.FAILED
    assert answer.stdout == ""
    line = answer.stderr.splitlines()[-1]
    assert "the disk is full, merging it needs about" in line
    assert line.endswith("Free some space, then run it again.")
    assert not H5.exists() and not PART.exists() and not PNG.exists()


# ---- what is refused ----------------------------------------------------------------------------


def test_all_that_is_wrong_is_told_at_once(pike, call, no_runs):
    lines = refused(
        call("holes", pike, "--pitch-mm", "0", "--slowest", "2", "--fastest", "1", "--speeds", "1",
             "--set", "bait.bill.width_mm=-1")
    )  # fmt: skip
    assert len(lines) == 4
    assert lines[0] == "--slowest 2: must be less than --fastest 1 m/s. Correct one."
    assert lines[1] == "--speeds 1: must be from 2 to 20. Correct it."
    assert lines[2] == "--pitch-mm 0: must be from 0.1 to 10 mm. Correct it."
    assert lines[3].startswith("pike.toml: bait.bill.width_mm = -1")


def test_a_bait_that_nothing_retrieves_is_refused(folder, call, no_runs):
    Path("free.toml").write_text(without_line(PIKE), encoding="utf-8")
    (line,) = refused(call("holes", "free.toml"))
    assert line.startswith("free.toml: has no table [line]")
    Path("pike.toml").write_text(PIKE, encoding="utf-8")
    found = refused(
        call("holes", "pike.toml", "--set", "loads.line=false", "--set", "solver.method=dop853")
    )
    assert len(found) == 2
    assert "loads.line = false: must be true" in found[0]
    assert 'solver.method = "dop853"' in found[1]


def test_a_bait_without_a_bill_is_refused(folder, call, no_runs):
    start, end = PIKE.index("[bait.bill]"), PIKE.index("[[bait.ballast]]")
    Path("blunt.toml").write_text(PIKE[:start] + PIKE[end:], encoding="utf-8")
    (line,) = refused(call("holes", "blunt.toml"))
    assert line == (
        "blunt.toml: missing table [bait.bill]: the holes run over the nose of the body and out"
        " along the bill. Add [bait.bill]."
    )


def test_names_that_would_destroy_one_file_by_another(pike, call, no_runs):
    before = pike.read_bytes()
    (line,) = refused(call("holes", pike, "--output", "pike.toml"))
    assert "is the configuration itself" in line
    (line,) = refused(call("holes", pike, "--picture", "a.gif"))
    assert "must end in .png, .svg or .pdf" in line
    assert pike.read_bytes() == before


def test_nothing_is_replaced_without_force(finished, call, no_runs):
    before = H5.read_bytes()
    (line,) = refused(call("holes", "pike.toml"), 1)
    assert line.startswith(f"{H5}: exists already")
    H5.unlink()
    (line,) = refused(call("holes", "pike.toml"), 1)
    assert line.startswith(f"{PNG}: exists already") and "--picture" in line
    assert before


def test_force_replaces_both(finished, call):
    before = PNG.stat().st_mtime_ns, H5.stat().st_mtime_ns
    answer = call("holes", "pike.toml", *GOOD, *ONE, "--force")
    assert answer.code == 0
    assert PNG.stat().st_mtime_ns > before[0] and H5.stat().st_mtime_ns > before[1]


# ---- the file shown again -----------------------------------------------------------------------


def test_show_gives_the_answer_again(finished, made, call):
    answer = call("show", H5)
    assert answer.code == 0
    lines, before = answer.stdout.splitlines(), made[1].stdout.splitlines()
    # everything but the names of the files written
    assert lines[: len(before) - 2] == before[:-2]
    flat = " ".join(answer.stdout.split())
    assert (
        "runtrue holes pike.toml --try-changes --pitch-mm 4 --slowest 0.8 --fastest 1.6"
        " --speeds 3 --force" in flat
    )
    assert lines[-1] == f"Read from {H5}"


def test_show_as_json_and_drawn_again(finished, call):
    answer = call("show", H5, "--json", "--picture", "again.png")
    told = json.loads(answer.stdout)
    spot = sweet_spot(load_map(H5))
    assert told["sweet_spot"]["middle_mm"] == spot.middle_mm
    assert told["pictures"] == ["again.png"]
    assert Path("again.png").read_bytes() == PNG.read_bytes()


def test_the_command_that_tries_changes_names_another_file(finished, call):
    H5.rename("mine.h5")
    assert "--speeds 3 --output mine.h5 --force" in " ".join(call("show", "mine.h5").stdout.split())


@pytest.mark.parametrize("more", [(), ("--picture", "roll.png")])
def test_what_is_for_maps_is_refused(finished, call, more):
    answer = call("show", H5, "--quantity", "roll_amplitude_deg", "--contours", "none", *more)
    assert (answer.code, answer.stdout) == (2, "")
    assert answer.stderr.splitlines() == [
        f"--contours none: is for maps, and {H5} is none. Leave it out.",
        f"--quantity roll_amplitude_deg: is for maps, and {H5} is none. Leave it out.",
    ]
    assert not Path("roll.png").exists()


def test_bad_names_are_told_with_the_rest(pike, call, no_runs):
    lines = refused(
        call("holes", pike, "--pitch-mm", "20", "--output", "pike.toml", "--picture", "a.gif",
             "--set", "bait.bill.lenght_mm=3")
    )  # fmt: skip
    assert len(lines) == 4
    assert lines[0].startswith("--pitch-mm 20: ") and "length_mm" in lines[1]
    assert "must end in .png, .svg or .pdf" in lines[2]
    assert lines[3].startswith("--output pike.toml: is the configuration itself")


def test_help_gives_units_and_an_example(call):
    answer = call("holes", "--help")
    assert answer.code == 0
    assert "--try-changes" in answer.stdout and "runtrue holes pike.toml" in answer.stdout
    assert "[default: 0.4]" in " ".join(answer.stdout.split())
