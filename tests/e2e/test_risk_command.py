"""runtrue risk: what is run, printed, written and drawn; what is refused; how one goes on."""

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
from e2e_helpers import PIKE, command, without_line
from typer.testing import CliRunner

import sim.plots.risk
import sim.studies.run
import sim.studies.workers
from sim.cli import app
from sim.errors import RuntrueError
from sim.studies.builds import DOUBTS, ERRORS
from sim.studies.compare import differences, same_content
from sim.studies.parts import PartFolder
from sim.studies.risk_store import load_risk

H5, PNG = Path("results/pike-risk.h5"), Path("results/pike-risk.png")
SMALL = ("--builds", "16", "--speeds", "1", "--workers", "1")
# A second of motion, and a line so short that this is long enough: what it comes to is of no
# interest.
SHORT = (
    "--set", "solver.duration_s=1", "--set", "solver.max_duration_s=1", "--set",
    "solver.step_ms=4", "--set", "line.length_m=0.2",
)  # fmt: skip


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, str, str]]:
    """A folder in which a small risk was run, and what was printed."""
    folder, here = tmp_path_factory.mktemp("made"), Path.cwd()
    os.chdir(folder)
    try:
        Path("pike.toml").write_text(PIKE, encoding="utf-8")
        done = CliRunner().invoke(app, ["risk", "pike.toml", *SMALL], catch_exceptions=False)
        assert done.exit_code == 0, done.stderr
        yield folder, done.stdout, done.stderr
    finally:
        os.chdir(here)


@pytest.fixture
def finished(pike: Path, made: tuple[Path, str, str]) -> Path:
    """The bait in the current folder, with its risk and picture."""
    shutil.copytree(made[0] / "results", "results")
    return H5


@pytest.fixture
def no_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object, **__: object) -> None:
        raise AssertionError("was run")

    monkeypatch.setattr(sim.studies.run, "workers_for", fail)


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
    result = load_risk(folder / H5)
    runs = result.provenance["runs"]
    assert stdout.startswith("pike  risk of 16 builds\n  Speeds  1 m/s\n")
    assert "By the worst that a build does at 1 m/s\n" in stdout
    assert "At each speed, as meant and as built\n" in stdout
    assert "  A guide to prototypes, no substitute for them." in stdout
    assert stdout.endswith(f"Wrote {H5}\nWrote {PNG}\n")
    assert max(map(len, stdout.splitlines())) <= 100
    assert re.fullmatch(rf"pike-risk: {runs} of {runs} runs(, \d+ a second)?\n", stderr)
    assert sorted(p.name for p in (folder / "results").iterdir()) == [H5.name, PNG.name]
    study = result.study
    assert (study.builds, study.few, study.pairs, study.speeds) == (16, 16, 16, (1.0,))
    assert (study.source_path, study.target, study.seed) == ("pike.toml", 0.05, 1)
    assert (folder / PNG).read_bytes().startswith(b"\x89PNG")


def test_json_is_one_document_and_that_of_show(call, finished, no_runs):
    answer = call("risk", "pike.toml", *SMALL, "--resume", "--json")
    assert (answer.code, answer.stderr) == (0, "")
    got = json.loads(answer.stdout)
    assert (got["name"], got["bait"], got["builds"], got["seed"]) == ("pike-risk", "pike", 16, 1)
    assert (got["speeds_m_s"], got["judged_speeds_m_s"]) == ([1.0], [1.0])
    assert [t["key"] for t in got["tolerances"]] == [q.key for q in ERRORS]
    assert [c["key"] for c in got["coefficients"]] == [q.key for q in DOUBTS]
    for design, builds in (("workmanship", 16), ("both", 16), ("coefficients", 16)):
        found = got["shares"][design]
        kinds = [share for name, share in found.items() if name != "bad"]
        assert sum(share["hits"] for share in kinds) == builds
        for share in found.values():
            assert share["builds"] == builds
            assert 0.0 <= share["low"] <= share["share"] <= share["high"] <= 1.0
    assert len(got["indices"]) <= len(ERRORS)
    assert (got["output"], got["pictures"]) == (str(H5), [str(PNG)])
    assert got["provenance"]["runs"] == str(got["runs"])
    shown = json.loads(call("show", H5, "--json").stdout)
    assert shown == {**got, "pictures": []}


def test_options_reach_the_study(call, pike):
    answer = call(
        "risk", pike, "--builds", "20", "--slowest", "0.5", "--fastest", "1.5", "--speeds", "2",
        "--target-percent", "7", "--seed", "3", "--output", "a/b.h5", "--picture", "c.svg",
        "--picture", "d.pdf", "--set", "build.errors=even", "--set", "retrieve.mode=reel",
        "--quiet", *SHORT,
    )  # fmt: skip
    assert (answer.code, answer.stderr) == (0, "")
    assert answer.stdout.endswith(
        "".join(f"Wrote {Path(name)}\n" for name in ("a/b.h5", "c.svg", "d.pdf"))
    )
    # a line that is reeled in comes to an end, so the rod tip moves; this is told
    assert "          retrieve.mode = tow\n" in answer.stdout
    assert not Path("results").exists()
    study = load_risk("a/b.h5").study
    assert (study.builds, study.few, study.pairs, study.seed) == (20, 20, 16, 3)
    assert study.speeds == (0.5, 1.5)  # that of the file, 1 m/s, is none of them
    assert study.target == 0.07
    assert study.base.build.errors == "even"
    assert study.base.retrieve.mode == "tow"


def test_runs_too_short_for_the_side_drift_are_made_longer(call, pike):
    words = ("risk", pike, *SMALL, "--set", "line.length_m=0.6", "--set", "solver.step_ms=4",
             "--set", "solver.duration_s=1", "--set", "solver.max_duration_s=1.5")  # fmt: skip
    answer = call(*words)
    assert answer.code == 0
    # 2.5 lengths of the line at 1 m/s
    assert "          solver.duration_s = 2.0\n" in answer.stdout
    assert "          solver.max_duration_s = 2.0\n" in answer.stdout
    solver = load_risk(H5).study.base.solver
    assert (solver.duration_s, solver.max_duration_s) == (2.0, 2.0)


@pytest.mark.parametrize(
    ("builds", "few", "pairs"),
    [(16, 16, 16), (600, 500, 64), (3000, 750, 512), (100_000, 1000, 16384)],
)
def test_sizes_of_the_samples(pike, builds, few, pairs):
    import sim
    from sim.commands.risk import _study

    study = _study(sim.load_config(pike), (1.0,), builds, 0.05, 1)
    assert (study.builds, study.few) == (builds, few)
    assert study.pairs == pairs  # the power of two nearest to an eighth of the builds


def test_slips_in_the_bait_are_told(call, pike):
    slip = ("--set", "water.density_kg_m3=1000", "--set", "water.viscosity_m2_s=1e-6")
    (told,) = call("check", pike, *slip).stderr.splitlines()
    assert "water.kind" in told
    words = ("risk", pike, *SMALL, *SHORT, *slip)
    answer = call(*words)
    assert answer.code == 0
    assert answer.stderr.splitlines()[-1] == told
    assert call(*words, "--force", "--quiet").stderr == ""


def test_builds_that_cannot_be_made(call, pike):
    words = ("risk", pike, *SMALL, *SHORT, "--set", "build.body_density_percent=60", "--set",
             "build.errors=even", "--set", "build.total_mass_percent=40")  # fmt: skip
    answer = call(*words)
    assert answer.code == 3
    result = load_risk(H5)
    failed = int((result.status == 4).sum())  # invalid
    assert failed > 0
    assert answer.stderr.splitlines()[-1] == f"pike.toml: {failed} of its runs failed, see above."
    assert "\nFailed runs, by cause\n" in answer.stdout
    assert "invalid, as build " in answer.stdout
    assert "body.density_g_cm3" in answer.stdout
    answer = call(*words, "--resume", "--json")
    assert answer.code == 3
    found = json.loads(answer.stdout)["failures"]
    assert sum(f["runs"] for f in found) == failed
    assert answer.stderr == f'pike.toml: {failed} of its runs failed, see "failures".\n'
    assert call("show", H5).code == 0  # it was shown


# ---- what is refused ----------------------------------------------------------------------------


def test_tolerances_that_give_no_bait_are_refused(call, pike):
    lines = refused(
        call("risk", pike, "--set", "build.bill_length_mm=20", "--set", "bait.bill.length_mm=10"), 2
    )
    assert lines == [
        "pike.toml: build.bill_length_mm = 20: an error of -20 mm gives no bait"
        " (bait.bill.length_mm = -10.0: must be > 0 mm (length of the bill)). Give a closer"
        " tolerance."
    ]
    assert not Path("results").exists()


OPTIONS = {
    "few builds": (("--builds", "15"), ["--builds 15: must be from 16 to 100000. Correct it."]),
    "many builds": (
        ("--builds", "100001"), ["--builds 100001: must be from 16 to 100000. Correct it."]
    ),
    "target": (
        ("--target-percent", "0"),
        ["--target-percent 0: must be > 0 and < 100 per cent. Correct it."],
    ),
    "no number as target": (
        ("--target-percent", "nan"),
        ["--target-percent nan: must be > 0 and < 100 per cent. Correct it."],
    ),
    "seed": (("--seed", "-1"), ["--seed -1: must be from 0 to 9223372036854775807. Correct it."]),
    "speeds": (("--speeds", "0"), ["--speeds 0: must be from 1 to 20. Correct it."]),
    "turned round": (
        ("--slowest", "2", "--fastest", "1"),
        ["--slowest 2: must be less than --fastest 1 m/s. Correct one."],
    ),
    "no picture": (
        ("--picture", "a.gif"),
        ["--picture a.gif: the name must end in .png, .svg or .pdf. Try a.png."],
    ),
    "a picture as the risk": (
        ("--output", "a.png"),
        ["--output a.png: is the name of a picture, the risk is an .h5 file. Use --picture a.png to"
         " draw it, and --output for the risk."],
    ),
    "the bait": (
        ("--output", "./pike.toml", "--force"),
        ["--output pike.toml: is the configuration itself. Use another --output."],
    ),
    "both files alike": (
        ("--output", "a.svg.png", "--picture", "a.svg.png"),
        ["--output a.svg.png: is the name of a picture,",
         "--picture a.svg.png: is the --output file as well. Use another name."],
    ),
    "workers and scheduler": (
        ("--workers", "2", "--scheduler", "tcp://a:1"),
        ["--workers 2: are processes here, and --scheduler tcp://a:1 has workers of its own."],
    ),
    "all at once": (
        ("--builds", "1", "--seed", "-1", "--picture", "a", "--set", "build.bill=1", "--set", "x"),
        ["--builds 1: must be", "--seed -1: must be", "--picture a: the name must end in",
         'override "x": no = in it', 'pike.toml: build: unknown key "bill"'],
    ),
    "a tolerance": (
        ("--set", "build.bill_yaw_deg=-1"), ["pike.toml: build.bill_yaw_deg = -1"]
    ),
    "integration": (
        ("--set", "solver.method=dop853"),
        ['pike.toml: has solver.method = "dop853", but rows of runs are stepped by "rk4" alone.'],
    ),
    "line without load": (
        ("--set", "loads.line=false"), ["pike.toml: loads.line = false: must be true"]
    ),
    "parts that contradict each other": (
        ("--set", "bait.total_mass_g=2"), ["pike.toml: "]
    ),
}  # fmt: skip


@pytest.mark.parametrize("what", OPTIONS)
def test_options_that_cannot_be_meant(call, pike, no_runs, what):
    words, expected = OPTIONS[what]
    lines = refused(call("risk", pike, *words), 2)
    assert len(lines) == len(expected), lines
    for line, start in zip(lines, expected, strict=True):
        assert line.startswith(start)
    assert files(".") == ["pike.toml"]
    assert pike.read_text() == PIKE


def test_a_bait_without_a_line(call, folder, no_runs):
    Path("free.toml").write_text(without_line(PIKE))
    (line,) = refused(call("risk", "free.toml"), 2)
    assert line.startswith("free.toml: has no table [line], but its runs are to be retrieves.")
    (line,) = refused(call("risk", "no.toml"), 2)
    assert line.startswith("no.toml: no such file")


def test_a_risk_is_not_replaced(call, finished, no_runs):
    before = H5.read_bytes()
    digest = load_risk(H5).study.study_digest[:12]
    end = "Nothing was run. Use another --output, or --force to replace it."
    assert refused(call("risk", "pike.toml", *SMALL), 1) == [
        f"{H5}: exists already, a risk of the same study (sha256 {digest}). {end}"
    ]
    (line,) = refused(call("risk", "pike.toml", *SMALL, "--seed", "2"), 1)
    assert line.startswith(f"{H5}: exists already, a risk of another study (sha256 {digest}, now ")
    (line,) = refused(call("risk", "pike.toml", *SMALL, "--seed", "2", "--resume"), 1)
    assert line.startswith(f"{H5}: came from another study (sha256 {digest}, now ")
    Path("notes.txt").write_text("mine")
    assert refused(call("risk", "pike.toml", *SMALL, "--output", "notes.txt"), 1) == [
        f"notes.txt: exists already, and is not a risk that this program can read. {end}"
    ]
    assert refused(call("risk", "pike.toml", *SMALL, "--output", "a.h5", "--picture", PNG), 1) == [
        f"{PNG}: exists already. Use another --picture, or --force to replace it."
    ]
    assert H5.read_bytes() == before
    assert Path("notes.txt").read_text() == "mine"


def test_force_begins_anew_and_comes_to_the_same(call, finished, made):
    answer = call("risk", "pike.toml", *SMALL, "--force")
    assert answer.code == 0
    assert answer.stdout.endswith(f"Wrote {H5}\nWrote {PNG}\n")
    assert H5.read_bytes() != (made[0] / H5).read_bytes()  # its date
    assert same_content(H5, made[0] / H5)
    assert PNG.read_bytes() == (made[0] / PNG).read_bytes()


def test_another_seed_draws_other_builds(call, finished):
    assert call("risk", "pike.toml", *SMALL, *SHORT, "--seed", "2", "--output", "b.h5").code == 0
    one, two = load_risk(H5).study, load_risk("b.h5").study
    assert not (one.errors == two.errors).any(axis=None) or one.errors.shape != two.errors.shape


# ---- pictures -----------------------------------------------------------------------------------


def test_a_picture_that_fails_leaves_the_risk(call, finished, no_runs, monkeypatch):
    real = sim.plots.risk.save_risk_figure

    def fail(result, path):
        if path.suffix == ".svg":
            raise RuntrueError(f"{path}: cannot write the picture: no room.")
        return real(result, path)

    monkeypatch.setattr(sim.plots.risk, "save_risk_figure", fail)
    answer = call(
        "risk", "pike.toml", *SMALL, "--resume", "--picture", "a.svg", "--picture", "b.png"
    )
    assert answer.code == 1
    assert answer.stdout.endswith(f"Read from {H5}, finished before\nWrote b.png\n")
    shown = f"runtrue show {H5} --picture a.svg"
    assert answer.stderr == (
        "a.svg: cannot write the picture: no room.\n"
        f"The risk itself is in {H5}. To draw it again:\n  {shown}\n"
    )
    monkeypatch.undo()
    answer = call(*shlex.split(shown)[1:])
    assert (answer.code, answer.stderr) == (0, "")
    assert Path("a.svg").read_text().startswith("<?xml")


def test_ctrl_c_while_drawing(call, finished, no_runs, monkeypatch):
    def interrupt(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(sim.plots.risk, "save_risk_figure", interrupt)
    answer = call("risk", "pike.toml", *SMALL, "--resume", "--picture", "a.svg")
    assert (answer.code, answer.stdout) == (130, "")
    assert answer.stderr == (
        f"interrupted; the risk is in {H5}. To draw it:\n  runtrue show {H5} --picture a.svg\n"
    )
    answer = call("show", H5, "--picture", "a.svg")
    assert (answer.code, answer.stderr) == (130, "interrupted; nothing was written.\n")


# ---- stopped and gone on with -------------------------------------------------------------------

# Work for some seconds, in chunks of 120 runs.
MANY = ("--builds", "64", "--seed", "5", "--target-percent", "2.5", "--slowest", "0.5")


def stopped(*words: object, after: int, by: signal.Signals) -> tuple[int, str]:
    """Exit code and standard error of a risk that gets a signal after some chunks."""
    folder = Path("out put/a.h5.part")
    process = subprocess.Popen(
        command(*words), stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True
    )
    end = time.monotonic() + 100.0
    while len(list(folder.glob("chunk-*.h5"))) < after and process.poll() is None:
        assert time.monotonic() < end, "no chunks were written"
        time.sleep(0.002)
    process.send_signal(by)
    _, stderr = process.communicate(timeout=100)
    return process.returncode, stderr


@pytest.mark.skipif(os.name != "posix", reason="needs POSIX signals")
def test_killed_then_interrupted_then_gone_on_with(call, pike):
    asked = ["risk", "pike.toml", *MANY, "--output", "out put/a.h5", "--picture", "one two.png",
             *SHORT, "--workers", "1"]  # fmt: skip
    code, _ = stopped(*asked, after=2, by=signal.SIGKILL)
    assert code == -signal.SIGKILL
    assert files("out put") == [".a.h5.lock", "a.h5.part"] or files("out put") == ["a.h5.part"]

    # without --resume the command that goes on is told
    first, told = refused(call(*asked), 1)
    assert first == (
        f"{Path('out put/a.h5.part')}: a study was stopped before it was finished. Use another"
        " --output, --force to begin anew, or go on with it:"
    )
    words = shlex.split(told)
    assert words[:4] == ["runtrue", "risk", "pike.toml", "--resume"]
    assert sorted(words[4:]) == sorted(asked[2:])
    # of another study the command is not known
    (line,) = refused(call(*asked, "--seed", "6"), 1)
    assert re.fullmatch(
        re.escape(f"{Path('out put/a.h5.part')}: another study (sha256 ")
        + r"[0-9a-f]{12}, now [0-9a-f]{12}\) was stopped before it was finished\. Use another"
        r" --output, --force to begin anew, or go on with it by the command that began it and"
        r" --resume\.",
        line,
    )
    # what is worked on was not stopped
    with PartFolder.of(Path("out put/a.h5").resolve(), "").locked():
        for more in ((), ("--resume",), ("--force",)):
            assert refused(call(*asked, *more), 1) == [
                f"{Path('out put/a.h5.part')}: is being worked on by another process. Wait for it,"
                " or use another --output."
            ]

    code, stderr = stopped(*words[1:], after=4, by=signal.SIGINT)
    assert code == 130
    assert "Traceback" not in stderr
    line, again = stderr.splitlines()[-2:]
    assert line.startswith("interrupted after ")
    assert " runs planned so far; what is done is kept in " in line
    assert again == told

    answer = call(*words[1:], "--json")
    assert answer.code == 0
    got = json.loads(answer.stdout)
    assert int(got["provenance"]["runs_taken_over"]) >= 240
    assert (got["seconds"], got["pictures"]) == (None, ["one two.png"])
    assert files("out put") == ["a.h5"]
    assert call("risk", "pike.toml", *MANY, *SHORT, "--output", "whole.h5").code == 0
    assert differences("out put/a.h5", "whole.h5") == []
    # the picture and the words come from the same content
    assert Path("one two.png").read_bytes() == Path("whole.png").read_bytes()


def test_ctrl_c_before_anything_is_done(call, pike, monkeypatch):
    def interrupt(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr(sim.studies.run, "carry_out", interrupt)
    answer = call("risk", pike, *SMALL)
    assert (answer.code, answer.stdout) == (130, "")
    assert answer.stderr == "interrupted; nothing was written.\n"


def test_no_cluster_there(call, pike, monkeypatch):
    monkeypatch.setattr(sim.studies.workers, "CONTACT_S", 0.5)
    lines = refused(call("risk", pike, "--scheduler", "tcp://127.0.0.1:9"), 1)
    assert lines[-1].startswith("--scheduler tcp://127.0.0.1:9: no Dask scheduler answers there")
    assert not Path("results").exists()


# ---- show ---------------------------------------------------------------------------------------


def test_show_says_what_risk_said_and_where_it_comes_from(call, finished, made):
    answer = call("show", H5)
    assert (answer.code, answer.stderr) == (0, "")
    same = made[1].removesuffix(f"Wrote {H5}\nWrote {PNG}\n")
    assert answer.stdout.startswith(same)
    rest = answer.stdout.removeprefix(same)
    digest = load_risk(H5).study.study_digest[:12]
    assert rest.startswith(f"\n  Study  pike-risk (sha256 {digest})\n")
    assert rest.endswith(f"Read from {H5}\n")


def test_show_draws_the_same_picture(call, finished):
    answer = call("show", H5, "--picture", "again.png")
    assert (answer.code, answer.stderr) == (0, "")
    assert Path("again.png").read_bytes() == PNG.read_bytes()
    assert refused(call("show", H5, "--picture", "again.png"), 1) == [
        "again.png: exists already. Use another --picture, or --force to replace it."
    ]


def test_show_refuses_what_is_for_maps(call, finished):
    for more in ((), ("--picture", "a.png")):
        words = ("show", H5, "--contours", "none", *more)
        assert refused(call(*words), 2) == [
            f"--contours none: is for maps, and {H5} is none. Leave it out."
        ]
    assert refused(call("show", H5, "--quantity", "turns", "--picture", "a.png"), 2) == [
        f"--quantity turns: is for maps, and {H5} is none. Leave it out."
    ]
    assert not Path("a.png").exists()


@pytest.mark.parametrize("share", [0.5, 0.999])
def test_show_of_a_risk_that_is_cut_off(call, finished, share):
    whole = H5.read_bytes()
    Path("cut.h5").write_bytes(whole[: int(share * len(whole))])
    (line,) = refused(call("show", "cut.h5"), 1)
    assert line.startswith("cut.h5: ")
