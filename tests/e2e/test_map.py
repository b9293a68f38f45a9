"""runtrue map: what is run, printed, written and drawn; what is refused; how one goes on."""

from __future__ import annotations

import json
import os
import re
import shlex
import shutil
import signal
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from e2e_helpers import PIKE, command, in_terminal, needs_terminal, without_line
from typer.testing import CliRunner

import sim.plots.map
import sim.studies.run
import sim.studies.workers
from sim import terminal
from sim.cli import app
from sim.errors import RuntrueError
from sim.kernels.motion import MEASURES
from sim.studies.compare import differences
from sim.studies.store import load_map
from sim.studies.study import load_study

# Two seconds of motion: what they come to is of no interest here.
SMALL = """
bait = "pike.toml"
fixed = { "solver.duration_s" = 2.0, "solver.max_duration_s" = 2.0, "solver.step_ms" = 4.0 }

[[axis]]
key = "tie_path_mm"
from = -14.0
to = 12.0
count = 6

[[axis]]
key = "retrieve.speed_m_s"
from = 0.5
to = 2.0
count = 5
"""
# Long bills with heavy weights leave nothing of the total mass for the wood.
HEAVY = """
bait = "pike.toml"
fixed = { "solver.duration_s" = 2.0, "solver.max_duration_s" = 2.0, "bait.total_mass_g" = 7.85 }

[[axis]]
key = "bait.ballast.0.mass_g"
values = [2.0, 6.0]

[[axis]]
key = "bait.bill.length_mm"
values = [10.0, 20.0, 30.0]
"""
H5, PNG = Path("results/small.h5"), Path("results/small.png")
ONE = ("--workers", "1")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, str, str]]:
    """A folder in which the small study was run, and what was printed."""
    folder, here = tmp_path_factory.mktemp("made"), Path.cwd()
    os.chdir(folder)
    try:
        Path("pike.toml").write_text(PIKE, encoding="utf-8")
        Path("small.toml").write_text(SMALL, encoding="utf-8")
        done = CliRunner().invoke(app, ["map", "small.toml"], catch_exceptions=False)
        assert done.exit_code == 0, done.stderr
        yield folder, done.stdout, done.stderr
    finally:
        os.chdir(here)


@pytest.fixture
def small(pike: Path) -> Path:
    """The small study in the current folder."""
    path = Path("small.toml")
    path.write_text(SMALL, encoding="utf-8")
    return path


@pytest.fixture
def finished(small: Path, made: tuple[Path, str, str]) -> Path:
    """The small study in the current folder, with its map and picture."""
    shutil.copytree(made[0] / "results", "results")
    return H5


@pytest.fixture
def no_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object, **__: object) -> None:
        raise AssertionError("was run")

    monkeypatch.setattr(sim.studies.run, "run_study", fail)


def files(folder: str = "results") -> list[str]:
    return sorted(os.listdir(folder))


def refused(answer, code: int) -> list[str]:
    """Lines of a complaint, after what holds for all of them."""
    assert answer.code == code, answer
    assert answer.stdout == ""
    assert "Traceback" not in answer.stderr
    return answer.stderr.splitlines()


# ---- what is printed and written ----------------------------------------------------------------


def test_summary_and_files(made):
    folder, stdout, stderr = made
    assert stdout.startswith("pike  map over tie point along the tie path and speed of the ")
    assert "  Swept  tie point along the tie path, -14.0 to 12.0 mm in 6 values\n" in stdout
    assert "  Set    solver.duration_s = 2.0\n" in stdout
    assert stdout.endswith(f"Wrote {H5}\nWrote {PNG}\n")
    assert stderr == "small: 30 of 30 runs\n"
    assert sorted(p.name for p in (folder / "results").iterdir()) == ["small.h5", "small.png"]
    result = load_map(folder / H5)
    assert result.complete
    assert result.status.shape == (6, 5, 1)
    assert result.study.source_path == "small.toml"
    assert result.growth["wobble"].shape == (6, 5)
    assert (folder / PNG).read_bytes().startswith(b"\x89PNG")


def test_names_pictures_and_sets(call, small):
    answer = call(
        "map", small, "--output", "a/b.h5", "--picture", "c/x.svg", "--picture", "y.pdf",
        "--contours", "none", "--set", "axis.0.count=3", "--set", "axis.1.count=2",
        "--set", "line.length_m=4", "--quiet",
    )  # fmt: skip
    assert (answer.code, answer.stderr) == (0, "")
    names = [str(Path(name)) for name in ("a/b.h5", "c/x.svg", "y.pdf")]
    assert answer.stdout.endswith("".join(f"Wrote {name}\n" for name in names))
    assert "         line.length_m = 4\n" in answer.stdout
    assert Path("c/x.svg").read_text().startswith("<?xml")
    assert Path("y.pdf").read_bytes().startswith(b"%PDF-")
    assert not Path("results").exists()
    found = load_map("a/b.h5").study
    assert found.shape == (3, 2)
    assert found.fixed["line.length_m"] == 4


def test_json_is_one_document(call, finished):
    answer = call("map", "small.toml", "--resume", "--json")
    assert (answer.code, answer.stderr) == (0, "")
    got = json.loads(answer.stdout)
    assert list(got) == [
        "name", "bait", "config", "axes", "complete", "cells", "inferred_cells", "runs", "seconds",
        "runs_per_s", "stopped_early", "starts", "worst_of_starts", "depends_on_start",
        "not_settled_runs", "line_in_runs", "failures", "shipped", "balanced", "output",
        "pictures", "provenance",
    ]  # fmt: skip
    assert (got["name"], got["runs"], got["complete"]) == ("small", 30, True)
    assert (got["output"], got["pictures"]) == (str(H5), [str(PNG)])
    assert got["provenance"]["study_digest"] == load_study("small.toml").study_digest
    shown = json.loads(call("show", H5, "--json").stdout)
    assert shown == {**got, "pictures": []}


def test_slips_in_the_bait_are_told_unless_swept(call, small, pike):
    text = PIKE.replace("drag_area_mm2 = 40.0", "drag_area_mm2 = 0.0", 1)
    head, tie = text.split("[bait.tie]")
    pike.write_text(
        head + "[bait.tie]" + re.sub(r"(above_centreline_mm) = \S+", r"\1 = 90", tie, count=1)
    )
    slips = call("check", pike).stderr.splitlines()
    assert ["bait.tie is " in line for line in slips] == [True, False]
    words = ("map", small, "--set", "axis.0.count=2", "--set", "axis.1.count=2")
    answer = call(*words)
    assert (answer.code, answer.stderr) == (0, f"small: 4 of 4 runs\n{slips[1]}\n")
    answer = call(*words, "--force", "--quiet")
    assert (answer.code, answer.stderr) == (0, "")


# ---- cells that fail ----------------------------------------------------------------------------


def test_cells_that_cannot_be_built(call, pike):
    Path("heavy.toml").write_text(HEAVY)
    pike.write_text(PIKE.replace("density_g_cm3 = 0.42\n", ""))
    answer = call("map", "heavy.toml")
    assert answer.code == 3
    told, failed = answer.stderr.splitlines()
    assert told == "heavy: 6 of 6 runs, 2 failed"
    assert failed == "heavy.toml: 2 of its runs failed, see above."
    assert "\nFailed runs, by cause\n  2  invalid, as at 6 g, 20 mm: pike.toml: " in answer.stdout
    assert answer.stdout.endswith(f"Wrote {Path('results/heavy.png')}\n")
    assert files() == ["heavy.h5", "heavy.png"]
    again = call("map", "heavy.toml", "--resume", "--json")
    assert again.code == 3
    (failure,) = json.loads(again.stdout)["failures"]
    assert (failure["status"], failure["runs"]) == ("invalid", 2)
    assert failure["example"]["bait.bill.length_mm"] == 20.0
    assert again.stderr == 'heavy.toml: 2 of its runs failed, see "failures".\n'
    assert call("show", "results/heavy.h5").code == 0  # it was shown


# ---- pictures -----------------------------------------------------------------------------------


def test_a_picture_that_fails_leaves_map_summary_and_the_others(call, finished, monkeypatch):
    real = sim.plots.map.save_quantity_figure

    def fail(result, quantity, path):
        if path.suffix == ".svg":
            raise RuntrueError(f"{path}: cannot write the picture: no room.")
        return real(result, quantity, path)

    monkeypatch.setattr(sim.plots.map, "save_quantity_figure", fail)
    words = ("map", "small.toml", "--resume", "--picture", "a b.svg", "--picture", "c.png",
             "--quantity", "yaw_amplitude_deg")  # fmt: skip
    answer = call(*words)
    assert answer.code == 1
    assert answer.stdout.endswith(f"Read from {H5}, finished before\nWrote c.png\n")
    shown = f"runtrue show {H5} --picture 'a b.svg' --quantity yaw_amplitude_deg"
    assert answer.stderr == (
        "a b.svg: cannot write the picture: no room.\n"
        f"The map itself is in {H5}. To draw it again:\n  {shown}\n"
    )
    got = call(*words, "--json")
    assert (got.code, json.loads(got.stdout)["pictures"]) == (1, ["c.png"])
    answer = call(*shlex.split(shown)[1:])
    assert (answer.code, answer.stderr.splitlines()[-1]) == (1, f"  {shown}")
    assert answer.stdout.endswith(f"Read from {H5}\n")
    monkeypatch.undo()
    answer = call(*shlex.split(shown)[1:])
    assert (answer.code, answer.stderr) == (0, "")
    assert answer.stdout.endswith(f"Read from {H5}\nWrote a b.svg\n")


def test_a_folder_that_cannot_be_made_for_a_picture(call, finished):
    answer = call("show", H5, "--picture", "small.toml/x.png")
    assert answer.code == 1
    assert "small.toml" in answer.stderr and "Traceback" not in answer.stderr


def test_ctrl_c_while_drawing(call, finished, monkeypatch):
    real = sim.plots.map.save_map_figure

    def interrupt(result, path, contours):
        if path.suffix == ".svg":
            raise KeyboardInterrupt
        return real(result, path, contours)

    monkeypatch.setattr(sim.plots.map, "save_map_figure", interrupt)
    Path("b.pdf").write_text("mine")
    answer = call(
        "map", "small.toml", "--resume", "--picture", "a.png", "--picture", "c.svg",
        "--picture", "b.pdf", "--contours", "none",
    )  # fmt: skip
    assert (answer.code, answer.stdout) == (130, "")
    shown = f"runtrue show {H5} --picture c.svg --picture b.pdf --contours none --force"
    assert answer.stderr == f"interrupted; the map is in {H5}. To draw it:\n  {shown}\n"
    assert Path("a.png").exists()
    monkeypatch.undo()
    answer = call(*shlex.split(shown)[1:])
    assert answer.code == 0
    assert answer.stdout.endswith("Wrote c.svg\nWrote b.pdf\n")
    assert Path("b.pdf").read_bytes().startswith(b"%PDF-")


def test_ctrl_c_while_show_draws(call, finished, monkeypatch):
    def interrupt(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(sim.plots.map, "save_map_figure", interrupt)
    answer = call("show", H5, "--picture", "a.png")
    assert (answer.code, answer.stdout) == (130, "")
    assert answer.stderr == "interrupted; nothing was written.\n"


# ---- what is refused ----------------------------------------------------------------------------

ALL = ", ".join(MEASURES)
OPTIONS = {
    "no measure": (
        ("--contours", "fishiness"),
        [f"--contours fishiness: is no measure. The measures are {ALL}."],
    ),
    "part of its name": (
        ("--quantity", "yaw"),
        ["--quantity yaw: is no measure. Did you mean yaw_amplitude_deg?"],
    ),
    "misspelt": (
        ("--quantity", "roll_amplitud_dg"),
        ["--quantity roll_amplitud_dg: is no measure. Did you mean roll_amplitude_deg?"],
    ),
    "both": (
        ("--quantity", "turns", "--contours", "depth_m"),
        ["--contours depth_m: lines lie over the classes, which --quantity turns does not draw."
         " Leave one of them out."],
    ),
    "no picture": (
        ("--picture", "a.gif"),
        ["--picture a.gif: the name must end in .png, .svg or .pdf. Try a.png."],
    ),
    "twice": (
        ("--picture", "a.png", "--picture", "./a.png"),
        ["--picture a.png: is given twice. Leave one out."],
    ),
    "a picture as the map": (
        ("--output", "a.png"),
        ["--output a.png: is the name of a picture, the map is an .h5 file. Use --picture a.png to"
         " draw it, and --output for the map."],
    ),
    "the study": (
        ("--output", "small.toml", "--force"),
        ["--output small.toml: is the study itself. Use another --output."],
    ),
    "its bait": (
        ("--output", "./pike.toml", "--force"),
        ["--output pike.toml: is the configuration of its bait. Use another --output."],
    ),
    "workers and scheduler": (
        ("--workers", "2", "--scheduler", "tcp://a:1"),
        ["--workers 2: are processes here, and --scheduler tcp://a:1 has workers of its own. Leave"
         " one of them out."],
    ),
    "all at once": (
        ("--quantity", "yaw", "--picture", "a", "--set", "axis.0.cont=3", "--set", "nonsense"),
        ['override "nonsense": no = in it',
         "--picture a: the name must end in .png, .svg or .pdf. Try a.png.",
         "--quantity yaw: is no measure. Did you mean yaw_amplitude_deg?",
         'small.toml: axis.0: unknown key "cont" (1st [[axis]], override). Did you mean "count"?'],
    ),
}  # fmt: skip


@pytest.mark.parametrize("what", OPTIONS)
def test_options_that_cannot_be_meant(call, small, no_runs, what):
    words, expected = OPTIONS[what]
    lines = refused(call("map", small, *words), 2)
    assert len(lines) == len(expected)
    for line, start in zip(lines, expected, strict=True):
        assert line.startswith(start)
    assert files(".") == ["pike.toml", "small.toml"]
    assert (small.read_text(), Path("pike.toml").read_text()) == (SMALL, PIKE)


def test_contour_lines_need_two_axes(call, pike, no_runs):
    Path("one.toml").write_text(SMALL[: SMALL.rindex("[[axis]]")])
    lines = refused(call("map", "one.toml", "--contours", "depth_m"), 2)
    assert lines == [
        "--contours depth_m: lines need two axes, and this study has one. Leave it out; --quantity"
        " draws one measure as a curve."
    ]


STUDIES = {
    "no file": (None, 'small.toml: no such file. Did you mean "smal.toml"?'),
    "empty": ("", "small.toml: the file is empty."),
    "a bait": (PIKE, "small.toml: is the configuration of a bait, not a study of one."),
    "no TOML": ("[[axis", 'small.toml: line 1, column 7: "[[axis" is not valid TOML'),
    "no axis": ('bait = "pike.toml"', "small.toml: no axis. Add [[axis]] with key"),
    "no bait": (
        SMALL.replace("pike.", "perch."), 'small.toml: bait = "perch.toml": perch.toml: no such'
    ),
    "no line": (
        SMALL.replace("pike.", "free."),
        'small.toml: bait = "free.toml": has no table [line], which a study needs: its runs are'
        " retrieves. Add [line] to that file",
    ),
}  # fmt: skip


@pytest.mark.parametrize("what", STUDIES)
def test_study_that_cannot_be_run(call, pike, no_runs, what):
    text, start = STUDIES[what]
    Path("free.toml").write_text(without_line(PIKE))
    if text is None:
        Path("smal.toml").write_text(SMALL)
        start = start.split(" Did")[0]
    else:
        Path("small.toml").write_text(text)
    (line,) = refused(call("map", "small.toml"), 2)
    assert line.startswith(start)
    assert not Path("results").exists()


# ---- what is there already ----------------------------------------------------------------------


def test_a_map_is_not_replaced(call, finished, no_runs):
    before = H5.read_bytes()
    digest = load_study("small.toml").study_digest[:12]
    end = "Nothing was run. Use another --output, or --force to replace it."
    assert refused(call("map", "small.toml"), 1) == [
        f"{H5}: exists already, a map of the same study (sha256 {digest}). {end}"
    ]
    (line,) = refused(call("map", "small.toml", "--set", "axis.0.count=3"), 1)
    assert line.startswith(f"{H5}: exists already, a map of another study (sha256 {digest}, now ")
    Path("notes.txt").write_text("mine")
    assert refused(call("map", "small.toml", "--output", "notes.txt"), 1) == [
        f"notes.txt: exists already, and is not a map that this program can read. {end}"
    ]
    assert refused(call("map", "small.toml", "--output", "results"), 1) == [
        f"results: is a directory. Name a file in it, such as {Path('results/run.h5')}."
    ]
    assert H5.read_bytes() == before
    assert Path("notes.txt").read_text() == "mine"


def test_a_picture_is_not_replaced(call, finished, no_runs):
    before = PNG.read_bytes()
    H5.unlink()
    for words in (("map", "small.toml"), ("map", "small.toml", "--picture", PNG)):
        assert refused(call(*words), 1) == [
            f"{PNG}: exists already. Use another --picture, or --force to replace it."
        ]
    assert PNG.read_bytes() == before


def test_force_begins_anew(call, finished):
    before = H5.read_bytes()
    answer = call("map", "small.toml", "--force", *ONE)
    assert answer.code == 0
    assert answer.stdout.endswith(f"Wrote {H5}\nWrote {PNG}\n")
    assert H5.read_bytes() != before  # its date
    assert files() == ["small.h5", "small.png"]


def test_resume_with_all_done_draws_again(call, finished, no_runs_made):
    before = H5.read_bytes(), H5.stat().st_mtime_ns
    PNG.write_text("old")
    answer = call("map", "small.toml", "--resume")
    assert (answer.code, answer.stderr) == (0, "")
    assert answer.stdout.endswith(f"Read from {H5}, finished before\nWrote {PNG}\n")
    assert (H5.read_bytes(), H5.stat().st_mtime_ns) == before
    assert PNG.read_bytes().startswith(b"\x89PNG")


@pytest.fixture
def no_runs_made(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object, **__: object) -> None:
        raise AssertionError("was run")

    monkeypatch.setattr(sim.studies.run, "workers_for", fail)


def test_resume_with_nothing_there_begins_and_says_so(call, small):
    words = ("map", small, "--set", "axis.0.count=2", "--set", "axis.1.count=2", "--resume")
    answer = call(*words)
    assert answer.code == 0
    assert answer.stderr.splitlines()[0] == f"{H5}: nothing is there to go on with; beginning."
    assert answer.stdout.endswith(f"Wrote {H5}\nWrote {PNG}\n")


def test_a_map_of_something_else_is_not_gone_on_with(call, finished, no_runs_made):
    (line,) = refused(call("map", "small.toml", "--resume", "--set", "axis.0.count=3"), 1)
    assert line.startswith(f"{H5}: came from another study (sha256 ")
    assert line.endswith("Use another --output, or --force to replace it.")


def test_no_cluster_there(call, small, monkeypatch):
    monkeypatch.setattr(sim.studies.workers, "CONTACT_S", 0.5)
    lines = refused(call("map", small, "--scheduler", "tcp://127.0.0.1:9"), 1)
    assert lines[-1].startswith("--scheduler tcp://127.0.0.1:9: no Dask scheduler answers there")
    assert not Path("results").exists()


# ---- Ctrl-C and going on ------------------------------------------------------------------------

# Two seconds of work or more, in many pieces.
MANY = (
    "--set", "axis.0.count=60", "--set", "solver.step_ms=1", "--set", "run.chunk=10",
    "--set", "name=two-words",
)  # fmt: skip


def interrupted(*words: object, after: int) -> tuple[int, str]:
    """Exit code and standard error of a map stopped by SIGINT after some chunks."""
    folder = Path("out put/a.h5.part")
    process = subprocess.Popen(
        command(*words), stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True
    )
    end = time.monotonic() + 100.0
    while len(list(folder.glob("chunk-*.h5"))) < after and process.poll() is None:
        assert time.monotonic() < end, "no chunks were written"
        time.sleep(0.002)
    process.send_signal(signal.SIGINT)
    _, stderr = process.communicate(timeout=100)
    return process.returncode, stderr


@pytest.mark.skipif(os.name != "posix", reason="needs POSIX signals")
def test_ctrl_c_then_the_command_that_was_told(call, small):
    asked = [
        "map", "small.toml", "--output", "out put/a.h5", "--picture", "one two.png",
        "--picture", "b.svg", "--contours", "depth_m", *MANY, "--workers", "2", "--json",
    ]  # fmt: skip
    code, stderr = interrupted(*asked, after=3)
    assert code == 130
    assert "Traceback" not in stderr
    first, told = stderr.splitlines()[-2:]
    assert first.startswith("interrupted after ")
    assert first.endswith(
        f" of 300 runs; what is done is kept in {Path('out put/a.h5.part')}. To go on:"
    )
    words = shlex.split(told)
    assert words[:4] == ["runtrue", "map", "small.toml", "--resume"]
    assert sorted(words[4:]) == sorted(asked[2:])
    assert files(".") == ["out put", "pike.toml", "small.toml"]
    assert files("out put") == ["a.h5.part"]
    assert not [name for name in files("out put/a.h5.part") if "part" in name]

    # without --resume the same command is told once more
    lines = refused(call(*asked), 1)
    assert lines == [
        f"{Path('out put/a.h5.part')}: a study was stopped before it was finished. Use another"
        " --output, --force to begin anew, or go on with it:",
        told,
    ]
    # that of another study is not known
    (line,) = refused(call(*asked, "--set", "axis.1.count=31"), 1)
    assert line.startswith(f"{Path('out put/a.h5.part')}: another study (sha256 ")
    assert line.endswith(" or go on with it by the command that began it and --resume.")
    answer = call(*words[1:])
    assert answer.code == 0
    got = json.loads(answer.stdout)
    assert int(got["provenance"]["runs_taken_over"]) >= 30
    assert got["pictures"] == ["one two.png", "b.svg"]
    assert files("out put") == ["a.h5"]
    assert call("map", "small.toml", *MANY, "--output", "whole.h5", *ONE).code == 0
    assert differences("out put/a.h5", "whole.h5") == []


@needs_terminal
def test_bar_in_a_terminal_and_ctrl_c(small):
    code, seen = in_terminal(
        ["map", small, *MANY, "--set", "axis.1.count=100", *ONE],
        columns=110, interrupt_at=" s left",
    )  # fmt: skip
    assert code == 130
    assert "Traceback" not in seen
    assert " of 6000 runs, " in seen
    assert " a second, " in seen
    end = seen[seen.index("interrupted after ") :]
    assert end.endswith("--set axis.1.count=100 --workers 1\n")
    assert Path("results/two-words.h5.part").is_dir()
    assert not Path("results/two-words.h5").exists()


def test_ctrl_c_before_anything_is_done(call, small, monkeypatch):
    def interrupt(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr(sim.studies.run, "run_study", interrupt)
    answer = call("map", small)
    assert (answer.code, answer.stdout) == (130, "")
    assert answer.stderr == "interrupted; nothing was written.\n"


# ---- progress -----------------------------------------------------------------------------------


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """The time that the program sees, to be set [s]."""
    now = [100.0]
    monkeypatch.setattr(terminal.time, "monotonic", lambda: now[0])
    monkeypatch.setattr(terminal, "is_terminal", lambda _: False)
    return now


def test_a_log_gets_a_line_now_and_then_and_at_the_end(clock, capsys):
    with terminal.Tally("pike", quiet=False) as tally:
        for second in range(1, 26):
            clock[0] = 105.0 + second
            tally(100.0 * second, 2500.0, second // 10)
        tally.stage("drawing")
    assert capsys.readouterr().err.splitlines() == [
        "pike: 500 of 2500 runs, 100 a second, 20 s left",
        "pike: 1500 of 2500 runs, 100 a second, 10 s left, 1 failed",
        "pike: 2500 of 2500 runs, 100 a second, 2 failed",
    ]


def test_runs_taken_over_are_no_part_of_the_rate(clock, capsys):
    with terminal.Tally("pike", quiet=False, left=1000) as tally:
        for runs in (500, 1000):
            tally(runs, 40_000)
        clock[0] += 20.0
        tally(1010, 40_000)
        clock[0] += 20.0
        tally(1100, 4_000_000)
    assert capsys.readouterr().err.splitlines() == [
        "pike: 1010 of 40000 runs, 0.5 a second, 21.7 h left",
        "pike: 1100 of 4000000 runs, 2.5 a second, 444.3 h left",
    ]


def test_nobody_knows_when_a_refined_map_is_done(clock, capsys):
    with terminal.Tally("pike", quiet=False, open_ended=True) as tally:
        tally(100, 1000)
        clock[0] += 20.0
        tally(500, 1000)
    assert capsys.readouterr().err == "pike: 500 of 1000 runs planned so far, 20 a second\n"


def test_quiet_tells_nothing(clock, capsys):
    with terminal.Tally("pike", quiet=True) as tally:
        tally(100, 1000)
        clock[0] += 20.0
        tally(1000, 1000)
        tally.stage("drawing")
    assert capsys.readouterr().err == ""


# ---- show ---------------------------------------------------------------------------------------


def test_show_says_what_map_said_and_where_it_comes_from(call, finished, made):
    answer = call("show", H5)
    assert (answer.code, answer.stderr) == (0, "")
    same = made[1].removesuffix(f"Wrote {H5}\nWrote {PNG}\n")
    assert answer.stdout.startswith(same)
    rest = answer.stdout.removeprefix(same)
    digest = load_study("small.toml").study_digest[:12]
    assert rest.startswith(f"\n  Study  small.toml (sha256 {digest})\n")
    assert rest.endswith(f"Read from {H5}\n")


def test_show_draws_the_same_picture(call, finished):
    answer = call("show", H5, "--picture", "again.png", "--picture", "yaw.svg")
    assert (answer.code, answer.stderr) == (0, "")
    assert Path("again.png").read_bytes() == PNG.read_bytes()
    words = ("show", H5, "--picture", "q.svg", "--quantity", "yaw_amplitude_deg")
    assert call(*words).code == 0
    assert Path("q.svg").read_bytes() != Path("yaw.svg").read_bytes()
    assert refused(call(*words), 1) == [
        "q.svg: exists already. Use another --picture, or --force to replace it."
    ]
    assert call(*words, "--force").code == 0


def test_show_with_options_that_cannot_be_meant(call, finished, pike):
    assert refused(call("show", H5, "--contours", "none", "--quantity", "turns"), 2) == [
        "--contours none: needs --picture. Add it, or leave this out.",
        "--quantity turns: needs --picture. Add it, or leave this out.",
    ]
    assert call("run", pike, "--output", "run.h5").code == 0
    assert refused(call("show", "run.h5", "--quantity", "turns", "--picture", "a.png"), 2) == [
        "--quantity turns: is for maps, and run.h5 is none. Leave it out."
    ]
    (line,) = refused(call("show", "no.h5", "--quantity", "turns", "--picture", "a.png"), 1)
    assert line.startswith("no.h5: no such file.")
    assert not Path("a.png").exists()


@pytest.mark.parametrize("share", [0.001, 0.5, 0.999])
def test_show_of_a_map_that_is_cut_off(call, finished, share):
    whole = H5.read_bytes()
    Path("cut.h5").write_bytes(whole[: int(share * len(whole))])
    (line,) = refused(call("show", "cut.h5", "--picture", "a.png"), 1)
    assert line.startswith("cut.h5: ")
    assert not Path("a.png").exists()
