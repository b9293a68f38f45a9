"""The page on what is decided before tooling: its output is the program's, its figures hold."""

from __future__ import annotations

import inspect
import math
import os
import re
import shlex
from collections.abc import Iterator
from pathlib import Path

import h5py
import numpy as np
import pytest
import typer
from typer.testing import CliRunner

import sim
from sim.cli import app
from sim.commands import compare, holes, risk, tune
from sim.commands.speeds import FASTEST_M_S, SLOWEST_M_S
from sim.kernels.motion import MEASURES
from sim.plots.tune import LEGEND_MOST
from sim.report.risk_figures import AS_MANY, FEWEST_TOLD
from sim.report.tune import ONLY_JUST
from sim.studies import builds, changes, roster
from sim.studies.builds import BELL_SIGMAS, ERRORS, SCALES, SHOP, BuildStudy
from sim.studies.engine import CLASSES, MARGINS, run_cases
from sim.studies.risk import BAD, OUTCOMES, RiskResult, worst_outcomes
from sim.studies.risk_store import load_risk
from sim.studies.store import load_map
from sim.studies.tune import Swims, tune_study

TOP = Path(__file__).parents[2]
PAGE = (TOP / "docs" / "design.md").read_text("utf-8")
FILES = (TOP / "docs" / "files.md").read_text("utf-8")
README = (TOP / "README.md").read_text("utf-8")
WORDS = " ".join(PAGE.split())
LEFT_OUT = "[...]\n"
TOOK = re.compile(r"in [\d.]+ s, (?:[\d.]+ a second|(?=of holes))")
# A command, indented, and the output under it.
SHOWN = re.compile(
    r"^ {4}(?:\.venv/bin/)?runtrue ((?:.*\\\n)*.*)\n\n```text\n([\s\S]*?)```$", re.MULTILINE
)


def shown(text: str) -> dict[str, tuple[list[str], str]]:
    """Commands on a page that have output, by the file that they write: arguments, output."""
    found = {}
    for command, output in SHOWN.findall(text):
        words = shlex.split(command.replace("\\\n", " "))
        if words[0] in ("holes", "risk", "tune", "compare"):
            found["none" if "--output" in words else words[0]] = (words, output)
    return found


ON_PAGE = shown(PAGE)


def pieces(output: str) -> list[str]:
    """Output as it is shown, in the unbroken pieces that it is shown in."""
    return output.split(LEFT_OUT)


def in_order(output: str, whole: str) -> bool:
    """Whether the pieces of an output stand in the whole one in their order, as whole lines.

    It begins and ends with the whole one where nothing is marked as left out there.
    """
    at, whole = 0, "\n" + TOOK.sub("-", whole)
    for number, piece in enumerate(pieces(TOOK.sub("-", output))):
        place = whole.find("\n" + piece, at)
        if place < 0 or (number == 0 and place > 0):
            return False
        at = place + len(piece)  # on the last line feed
    last = pieces(output)[-1]
    return not last or at == len(whole) - 1


def said(pattern: str, text: str = WORDS) -> list[float]:
    """The numbers that a sentence states."""
    found = re.search(pattern, text)
    assert found, pattern
    return [float(number) for number in found.groups()]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A folder with the configs, in which the commands are given."""
    made, before = tmp_path_factory.mktemp("design"), Path.cwd()
    (made / "configs").symlink_to(TOP / "configs")
    os.chdir(made)
    try:
        yield made
    finally:
        os.chdir(before)


def told(words: list[str]) -> str:
    result = CliRunner().invoke(app, [*words, "--quiet"], env={"COLUMNS": "100"})
    assert result.exit_code == 0, result.output
    return result.stdout


def test_a_piece_that_is_not_there_is_noticed():
    whole = "a\nb\nc\nRuns 5 in 1.0 s, 3 a second\n"
    assert in_order(whole, whole)
    assert in_order("a\n[...]\nc\n[...]\n", whole)
    assert in_order("[...]\nc\nRuns 5 in 9.0 s, 1 a second\n", whole)
    assert not in_order("a\nc\n[...]\n", whole)
    assert not in_order("b\n[...]\n", whole)
    assert not in_order("a\n[...]\nb\n", whole)
    assert not in_order("[...]\nc\n[...]\nb\n[...]\n", whole)


# ----------------------------------------------------------------------------------- the commands


def test_commands_and_options_that_are_named_exist():
    commands = {
        name: {o for p in command.params for o in p.opts} | {"--help"}
        for name, command in typer.main.get_command(app).commands.items()
    }
    lines = re.findall(r"^ {4}runtrue ((?:.*\\\n)*.*)$", PAGE, re.MULTILINE)
    assert len(lines) == 5
    for line in lines:
        name, *words = shlex.split(line.replace("\\\n", " "))
        assert {w for w in words if w.startswith("--")} <= commands[name], line
    every = set.union(*commands.values())
    spoken = re.sub(r"^(```.*?^```|    .*?)$", "", PAGE, flags=re.MULTILINE | re.DOTALL)
    options = {code.split()[0] for code in re.findall(r"`(--[^`]+)`", spoken)}
    assert len(options) >= 8
    assert options <= every


def test_every_picture_is_made_by_a_command_of_the_page():
    drawn = re.findall(r"--picture docs/(\S+)", PAGE)
    assert drawn == re.findall(r"^!\[.*\]\((\S+\.png)\)$", PAGE, re.MULTILINE)
    assert len(drawn) == 4
    assert all((TOP / "docs" / name).read_bytes().startswith(b"\x89PNG") for name in drawn)


@pytest.mark.parametrize("name", ["holes", "tune", "compare"])
def test_output_shown_is_the_output(folder, name):
    words, output = ON_PAGE[name]
    assert in_order(output, told(words))
    assert Path(f"docs/shallow-runner-{name}.png").stat().st_size > 10_000


@pytest.mark.slow
def test_output_of_a_range_without_a_sweet_spot(folder):
    words, output = ON_PAGE["none"]
    assert in_order(output, told(words))
    (left,) = re.findall(r"^  bill 5 deg flatter +(\d+) ", output, re.MULTILINE)
    assert f"a flatter bill leaves {left} mm" in WORDS


@pytest.fixture(scope="module")
def page_risk(folder: Path) -> tuple[str, RiskResult]:
    words, _ = ON_PAGE["risk"]
    output = told(words)
    return output, load_risk("results/shallow-runner-risk.h5")


@pytest.mark.slow
def test_risk_shown_is_the_risk(page_risk):
    output, found = page_risk
    assert in_order(ON_PAGE["risk"][1], output)
    # bad builds lie where eye and bill are off to opposite sides
    keys = [quantity.key for quantity in ERRORS]
    eye, bill = (found.study.errors[:, keys.index(k)] for k in ("tie_right_mm", "bill_right_mm"))
    bad = worst_outcomes(found, SHOP) < len(BAD)
    opposite = eye * bill < 0.0
    assert opposite[bad].mean() > 0.7 > 0.55 > opposite.mean()


def bad_in_all(output: str) -> list[str]:
    (row,) = re.findall(r"^  bad in all +(.*)$", output, re.MULTILINE)
    return re.split(r"\s{2,}", row)


@pytest.mark.slow
def test_table_of_bad_builds(page_risk):
    rows = re.findall(r"^\| ([^|]*\S) \| (.*%.*) \|$", PAGE, re.MULTILINE)
    assert len(rows) == 3
    words, _ = ON_PAGE["risk"]
    plain = words[: words.index("--picture")]
    tied = shlex.split(re.search(r"`(--set bait\.tie\.[^`]+)`", WORDS)[1])
    closer = [
        w for k, v in re.findall(r"^((?:tie|bill)_right_mm) = ([\d.]+)", PAGE, re.MULTILINE)
        for w in ("--set", f"build.{k}={v}")
    ]  # fmt: skip
    assert len(closer) == 4 and "within 0.15 mm" in rows[2][0]
    outputs = [
        page_risk[0],
        told([*plain, *tied, "--output", "results/middle.h5"]),
        told([*plain, *tied, *closer, "--output", "results/closer.h5"]),
    ]
    for (_, cells), output in zip(rows, outputs, strict=True):
        assert cells.split(" | ") == bad_in_all(output)


@pytest.mark.slow
def test_bad_builds_that_the_pliers_mend(page_risk):
    builds, drawn, mended, over = said(
        r"Of the (\d+) bad builds of the (\d+) above, (\d+) have a bend of the eye, by 10 degrees"
        r" at most, with which they are good at all three speeds; the other (\d+) over-roll"
    )
    found = page_risk[1]
    study, worst = found.study, worst_outcomes(found, SHOP)
    bad = np.flatnonzero(worst < len(BAD))
    assert (bad.size, worst.size, len(study.speeds)) == (builds, drawn, 3)
    left = []

    def mends(config: sim.Config, bends: np.ndarray) -> bool:
        row = tune_study(config, study.speeds, bends=bends)
        table = run_cases(row, range(row.case_count))
        swims = Swims.of(
            table.status.reshape(row.shape), table.motion_class.reshape(row.shape),
            {name: table.measures[:, n].reshape(row.shape) for n, name in enumerate(MEASURES)},
            config.limits,
        )  # fmt: skip
        good = (swims.share <= 1.0) & (swims.motion_class >= 0)
        good &= swims.motion_class <= CLASSES.index("balanced")
        return bool(good.all(axis=1).any())

    coarse = np.arange(-10.0, 11.0, 2.0)
    fine = np.setdiff1d(np.arange(-10.0, 11.0), coarse[coarse != 0.0])
    for build in bad:
        config = study.case_config(int(study.cases(SHOP)[0] + build * len(study.speeds)))
        if not (mends(config, coarse) or mends(config, fine)):
            left.append(OUTCOMES[worst[build]])
    assert len(left) == bad.size - mended == over
    assert set(left) == {"over-rolls"}


# ---------------------------------------------------------------------------- figures and defaults


def test_figures_in_sentences_are_those_of_the_output():
    spot, tune_, beside = (ON_PAGE[name][1] for name in ("holes", "tune", "compare"))
    long, low = said(r"Here it is ([\d.]+) mm long, and the hole of the file sits ([\d.]+) mm from")
    assert f"{long:.2f} mm long" in spot and f"{low:.2f} mm to its lower end" in spot
    (room,) = said(r"The middle has ([\d.]+) mm to either side")
    assert re.search(rf"may\s+drift {room:g} mm up or down", spot)
    less, more, knot = said(r"here ([\d.]+) degrees less and ([\d.]+) more, ([\d.]+) mm at the")
    assert f"{less:g} deg less, {more:g} deg more" in tune_
    assert knot == round(5.0 * math.sin(math.radians(less)), 1)
    middle, flatter, low_hole = (
        re.search(rf"^  {name} .*\n *(.*)$", beside.split("At the own speed")[1], re.M)[1].split()
        for name in ("middle", "flatter bill", "low hole")
    )
    (tamer,) = said(r"costs ([\d.]+) degrees of yaw")
    assert float(middle[1]) == -tamer
    assert float(flatter[5]) > 0.0  # it dives deeper
    assert all(abs(float(x)) < 3.0 for x in low_hole[1:4])
    classes = {line[2:17].strip(): line[17:].split()[2:] for line in beside.splitlines()[3:7]}
    assert classes["flatter bill"][0] == "B" != classes["shallow-runner"][0]
    first = next(i for i, kind in enumerate(classes["low hole"]) if "*" in kind)
    assert classes["low hole"][first - 1] == "B"
    speeds = [float(x) for x in beside.splitlines()[2].split()[3:]]
    assert said(r"goes round from ([\d.]+) m/s up") == [speeds[first]]


def test_defaults_on_the_page_are_those_of_the_commands():
    limits = sim.load_config(TOP / "configs" / "shallow-runner.toml").limits
    assert said(r"and ([\d.]+) and ([\d.]+) m/s where you say nothing") == [
        SLOWEST_M_S,
        FASTEST_M_S,
    ]
    assert said(r"of the (\d+) that are drawn without `--builds`") == [risk.BUILDS]
    assert said(r"\(`--target-percent`, (\d+)\)") == [risk.TARGET_PERCENT]
    assert said(r"`limits\.run_off_deg`, (\d+) degrees") == [limits.run_off_deg]
    assert said(r"`limits\.spin_turns` net turns \((\d+)\)") == [limits.spin_turns]
    assert said(r"up to (\d+) rows in all") == [roster.MOST]
    assert said(
        r"a quarter of the builds, at least (\d+) \(all of them when fewer are drawn\)"
        r" and at most (\d+)"
    ) == [builds.LEAST_FEW, builds.MOST_FEW]
    study = " ".join(ON_PAGE["risk"][1].split())
    assert "More builds would make it certain" in study
    assert f"found with {builds.LEAST_FEW} builds a trial" in study
    assert said(r"with fewer than (\d+) builds it is not told at all") == [FEWEST_TOLD]
    aside = [50.0 - 100.0 * AS_MANY, 50.0 + 100.0 * AS_MANY]
    assert said(r"where they keep within (\d+) to (\d+) %") == aside
    assert "less than a tenth to spare does so *only just*" in WORDS
    assert pytest.approx(0.1) == 1.0 - ONLY_JUST
    assert LEGEND_MOST == 5 and "named at its end where there are more than five" in WORDS
    assert len(SCALES) == 17 and "in sixteenths" in WORDS
    assert BELL_SIGMAS == 2.0 and "the standard deviation is half of the tolerance" in WORDS
    assert set(BAD) == {"goes round", "over-rolls", "runs off", "failed", "does not settle"}
    tried = changes
    share, angle, up, aft, mass = said(
        r"bill length and width by (\d+) %, its angle by (\d+) degrees, weights by (\d+) mm up or"
        r" down and (\d+) mm fore or aft, mass by (\d+) %"
    )
    assert (share, mass) == (100.0 * tried.BILL_SHARE, 100.0 * tried.MASS_SHARE)
    assert (angle, up, aft) == (tried.BILL_ANGLE_DEG, tried.BALLAST_UP_MM, tried.BALLAST_AFT_MM)
    for command in (holes.holes, tune.tune, compare.compare, risk.risk):
        assert {"slowest", "fastest"} <= set(inspect.signature(command).parameters)
    tie = sim.load_config(TOP / "configs" / "shallow-runner.toml").bait.tie
    assert said(r"`bait\.tie\.eye_mm` \((\d+) mm\)") == [tie.eye_mm]


def test_a_build_keeps_its_errors_however_many_there_are():
    base = sim.load_config(TOP / "configs" / "shallow-runner.toml")
    few, many = (BuildStudy("", "", base, {}, (1.0,), builds=n, few=8, pairs=8) for n in (16, 300))
    (number,) = said(r"Build number (\d+) has the same errors however many there are")
    assert np.array_equal(few.errors[int(number)], many.errors[int(number)])
    assert np.abs(few.errors).max() > 0.0


def test_a_bait_that_runs_true_is_left_alone(folder):
    words, _ = ON_PAGE["tune"]
    plain = words[: words.index("--set")]
    (output,) = re.findall(r"`--set` the answer is:\n\n```text\n(.*?)```", PAGE, re.DOTALL)
    assert in_order(output, told([*plain, "--output", "results/true.h5"]))


def test_what_is_in_no_file_can_be_tried_again(in_python):
    for name, command in (("row", "holes"), ("bends", "tune")):
        shown_again = CliRunner().invoke(app, ["show", f"results/{name}.h5"])
        assert shown_again.exit_code == 0, shown_again.output
        (again,) = re.findall(rf"runtrue {command} .*?--force", shown_again.stdout, re.DOTALL)
        assert f"--output results/{name}.h5" in " ".join(again.split())
    refused = CliRunner().invoke(
        app, ["show", "results/both.h5", "--quantity", "yaw_amplitude_deg"]
    )
    assert refused.exit_code == 2 and "is for maps" in refused.output
    assert "`--contours` and `--quantity` are for maps, and refused here" in WORDS


def test_slow_drift_is_read_too_small():
    short, speed, long, time = said(
        r"read to drift ([\d.]+) degrees at ([\d.]+) m/s, ([\d.]+) when towed for (\d+) s"
    )
    found = []
    for duration in (8.0, time):
        config = sim.load_config(
            TOP / "configs" / "shallow-runner.toml",
            {"bait.bill.yaw_error_deg": 2.0, "retrieve.speed_m_s": speed,
             "solver.duration_s": duration, "solver.max_duration_s": 24.0},
        )  # fmt: skip
        drift = sim.simulate(config).measures["side_drift_m_per_m"]
        found.append(abs(math.degrees(math.atan(drift))))
    assert found == pytest.approx([short, long], abs=0.05)


# --------------------------------------------------------------------------- Python, and its files


@pytest.fixture(scope="module")
def in_python(folder: Path) -> dict:
    (lines,) = re.findall(r"^```python\n(.*?)^```", PAGE, re.MULTILINE | re.DOTALL)
    names: dict = {}
    exec(compile(lines, "design.md", "exec"), names)
    return names


def test_the_lines_of_python_work(in_python):
    spot = in_python["spot"]
    assert spot.first_mm < spot.middle_mm < spot.last_mm
    assert 0 < in_python["shares"](in_python["risk"], SHOP)["bad"].builds == 32
    drift = in_python["both"].measures["side_drift_m_per_m"][..., 0]
    assert (drift[1] < drift[0]).all()  # askew to starboard, it runs to port
    assert load_map("results/bends.h5").study.kind == "tune"
    assert [load_map(f"results/{n}.h5").study.kind for n in ("row", "both")] == ["holes", "compare"]


def test_maps_of_the_commands_are_as_on_the_page(in_python):
    text = " ".join(FILES.split())
    named = re.search(r"Their axes are (.*?) and `\"kind\"|Their axes are (.*?); ", text)
    axes = set(re.findall(r"`([^`]+)`", named[0]))
    for name, key in (("row", "tie_path_mm"), ("bends", "eye_bend_deg"), ("both", "bait_number")):
        with h5py.File(f"results/{name}.h5") as file:
            assert {key, "retrieve.speed_m_s"} <= axes & set(file)
            assert file["study/text"].asstr()[()] == "" and "modes" not in file


def test_every_dataset_of_a_risk_is_on_the_page_and_no_other(in_python):
    part = FILES.split("\n## Risks\n")[1].split("\n## ")[0]
    table, designs = re.findall(r"(?:^\|.*\n)+", part, re.MULTILINE)
    rows = [
        [cell.strip() for cell in line.strip("|").split("|")] for line in table.splitlines()[2:]
    ]
    with h5py.File("results/shop.h5") as file:
        found: list[str] = []
        file.visit(found.append)
        groups = {"study", "config", "provenance"}
        plain = {name for name in found if name.partition("/")[0] not in groups}
        margins = {f"margin_{name}" for name in MARGINS}
        assert groups <= set(found) and plain >= set(MEASURES) | margins
        named = {name for cells in rows for name in re.findall(r"`([^`]+)`", cells[0])}
        assert named == plain - set(MEASURES) - margins
        sizes = dict(zip(("nd", "nb", "nv"), file["status"].shape, strict=True))
        sizes |= {"ne": file["error"].size, "nc": file["coefficient"].size}
        for cells in rows:
            shapes = re.findall(r"\((.*?)\)", cells[1])
            for i, name in enumerate(re.findall(r"`([^`]+)`", cells[0]) if shapes else []):
                shape = re.findall(r"\w+", shapes[min(i, len(shapes) - 1)])
                assert file[name].shape == tuple(sizes[n] for n in shape), name
        kinds = {text.split()[0] for text in file["design"].asstr()[()]}
        listed = re.findall(r"^\| `(\w+)", designs, re.MULTILINE)
        assert kinds - {"search"} == set(listed) - {"search"}
        assert (
            file.attrs["format"].decode() == "runtrue risk" and "`runtrue risk`, version 1" in part
        )
        assert file.attrs["format_version"] == 1
    (lines,) = re.findall(r"^```python\n(.*?)^```", part, re.MULTILINE | re.DOTALL)
    exec(compile(lines.replace("shallow-runner-risk", "shop"), "files.md", "exec"), {})


def test_the_readme_quotes_the_page():
    quoted = shown(README)
    assert list(quoted) == ["holes", "risk", "tune"]
    for name, (words, output) in quoted.items():
        whole, out = ON_PAGE[name]
        assert words == whole[: whole.index("--picture")]
        assert in_order(output, out.replace(LEFT_OUT, "")), name
    words = " ".join(README.split())
    near = re.search(r"The file's hole is near the lower end; ([\d.]+) mm up there is room", words)
    holes_ = ON_PAGE["holes"][1]
    middle = 0.5 * sum(said(r"Sweet spot +(-[\d.]+) to (-[\d.]+) mm", holes_))
    (file,) = said(r"As in the file +(-[\d.]+) mm", holes_)
    assert float(near[1]) == pytest.approx(file - middle, abs=0.05)
