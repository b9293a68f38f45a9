"""The pages on maps and studies: what they name exists, examples work, what they state is so."""

from __future__ import annotations

import dataclasses
import os
import re
import shlex
import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import h5py
import numpy as np
import pytest
import typer
from scipy.interpolate import RegularGridInterpolator

import sim
from sim import outcome, result
from sim.bait.tie_path import tie_path
from sim.cli import app
from sim.config.schema import tables
from sim.kernels.motion import MEASURES
from sim.measure import track_angles
from sim.plots import map as map_picture
from sim.plots import style
from sim.report.map import KINDS, ORDER, dependent, stretches
from sim.store import END_SIZE
from sim.studies import engine, neutral
from sim.studies.axes import NAMED_AXES
from sim.studies.engine import CLASSES, FAILED, STATUSES, CaseTable, run_cases
from sim.studies.parts import NOTE, PartFolder
from sim.studies.run import run_study
from sim.studies.store import MapResult, load_map
from sim.studies.study import Study, load_study
from sim.studies.tables import StudyFile

TOP = Path(__file__).parents[2]
STUDIES = TOP / "configs" / "studies"
PAGES = {
    path.stem: path.read_text("utf-8")
    for path in (TOP / "README.md", *(TOP / "docs" / f"{n}.md" for n in (
        "maps", "studies", "files", "classes", "limits", "modes")))
}  # fmt: skip
TIGHT, BALANCED, OVER, SPINNING, UNSETTLED = range(5)
YAW, ROLL, FREQUENCY = "yaw_amplitude_deg", "roll_amplitude_deg", "wobble_frequency_hz"


def words(name: str) -> str:
    return " ".join(PAGES[name].split())


def section(name: str, title: str) -> str:
    """From a heading to the next one of its level or above."""
    level, after = re.search(
        rf"^(#+) {re.escape(title)}$(.*)", PAGES[name], re.MULTILINE | re.DOTALL
    ).groups()
    return re.split(rf"^#{{1,{len(level)}}} ", after, flags=re.MULTILINE)[0]


def said(name: str, pattern: str) -> list[float]:
    """The numbers that a sentence of a page states."""
    found = re.search(pattern, words(name))
    assert found, pattern
    return [float(number) for number in found.groups()]


def code(text: str) -> list[str]:
    return re.findall(r"`([^`]+)`", text)


def rows(text: str) -> list[list[str]]:
    """Cells of the rows of tables, heads left out."""
    lines = [line for line in text.splitlines() if line.startswith("|")]
    heads = {i - 1 for i, line in enumerate(lines) if line.startswith("|--")}
    return [
        [c.strip() for c in line[1:-1].split("|")]
        for i, line in enumerate(lines)
        if i not in heads and not line.startswith("|--")
    ]


# ------------------------------------------------------------------------------ what the pages name


@pytest.mark.parametrize("page", PAGES)
def test_commands_and_options_that_are_named_exist(page):
    commands = {
        name: {o for p in command.params for o in p.opts} | {"--help", "--version"}
        for name, command in typer.main.get_command(app).commands.items()
    }
    every = set.union(*commands.values())
    text = PAGES[page].replace("\\\n", " ")
    lines = re.findall(r"^ {4}(?:\.venv/bin/)?runtrue (.*)$", text, re.MULTILINE)
    lines += [c.removeprefix("runtrue ") for c in code(text) if c.startswith("runtrue ")]
    assert lines or page == "limits"
    for line in lines:
        name, *given = shlex.split(line, comments=True)
        assert name in commands, line
        for option in (word for word in given if word.startswith("--")):
            assert option in commands[name], line
    for written in code(re.sub(r"^ {4}.*$", "", text, flags=re.MULTILINE)):
        if written.startswith("--"):
            assert written.split()[0].split("=")[0] in every, written


@pytest.mark.parametrize("page", ["maps", "studies"])
def test_keys_in_sentences_exist(page):
    study = {
        f"{path}.{key}" for path, t in tables(StudyFile).items() for key in t.model.model_fields
    }
    config = {f"{path}.{key}" for path, t in tables().items() for key in t.model.model_fields}
    known = study | config | {key for axis in NAMED_AXES.values() for key in axis.sets}
    sentences = re.sub(r"^(```.*?^```|    .*?)$", "", PAGES[page], flags=re.MULTILINE | re.DOTALL)
    named = set(re.findall(r"[a-z]\w*(?:\.\w+)+", " ".join(code(sentences))))
    named = {key for key in named if key.split(".")[0] in
             {"axis", "refine", "starts", "run", *(k.split(".")[0] for k in config)}}  # fmt: skip
    plain = {re.sub(r"\.\d+\.", ".", key) for key in named if not key.endswith(".toml")}
    assert len(plain) >= 2
    assert plain - known == set()


def examples() -> list[str]:
    """Studies on the page, each from its first key to the next sentence."""
    found = re.findall(r"^(?: {4}bait = .*\n)(?:(?: {4}.*)?\n)*", PAGES["studies"], re.MULTILINE)
    return [re.sub("^    ", "", text, flags=re.MULTILINE) for text in found]


def test_examples_of_studies_load(tmp_path):
    (tmp_path / "studies").mkdir()
    (tmp_path / "shallow-runner.toml").symlink_to(TOP / "configs" / "shallow-runner.toml")
    tables_used, made = set(), {}
    for text in examples():
        file = tmp_path / "studies" / "example.toml"
        file.write_text(text, "utf-8")
        study = load_study(file)
        made[study.name] = study
        tables_used |= set(tomllib.loads(text))
    assert tables_used >= {"fixed", "axis", "refine", "starts", "run"}
    cells, starts = re.search(
        r"here (\d+ x \d+) cells. Each level halves the spacing, here to (\d+ x \d+) cells",
        words("studies"),
    ).groups()
    fine = made["tie-speed-fine"]
    coarse = [(n - 1) // 2**fine.levels + 1 for n in fine.shape]
    assert (cells, starts) == tuple(" x ".join(map(str, n)) for n in (coarse, fine.shape))
    assert len(made["tie-starts"].starts) == 5
    assert not made["speed-full"].stop_early


def test_the_table_of_letters_is_that_of_the_pictures():
    styles = [*style.CLASS_STYLES.values(), style.NO_CLASS, style.NOT_SETTLED]
    hatches = {"..": "dots", "": "plain", "//": "slanting lines", "--": "level lines",
               "xx": "crosses"}  # fmt: skip
    found = rows(section("studies", "Reading the map"))
    assert [cells[0] for cells in found] == [s.letter for s in styles]
    for (_, look, what), expected in zip(found, styles, strict=True):
        colour, hatch = look.split(", ")
        assert hatch == hatches[expected.hatch]
        shown = [name for name, value in style.OKABE_ITO.items() if value == expected.colour]
        assert all(colour.split()[-1] in name for name in shown)
        if expected.words in CLASSES:
            assert what == expected.words
    assert map_picture.FREQUENCY == FREQUENCY
    points = neutral.POINTS
    assert set(points) == {"tie_path_mm", "retrieve.speed_m_s"}
    assert (
        f"at {points['tie_path_mm']} tie points, {points['retrieve.speed_m_s']} speeds or"
        f" {neutral.OTHER} values of another key"
    ) in words("studies")
    worst = [name for name in ORDER if name not in ("missing", "failed")]
    assert worst == ["balanced", "tight", "not settled", "over-rolling", "spinning"]
    assert "from balanced over tight and not settled to over-rolling and spinning" in (
        words("studies")
    )


def test_rules_of_early_ends_are_those_of_the_engine():
    text = words("studies")
    first, last = engine.EARLY_LOOKS
    duration = sim.config.models.Solver().duration_s
    assert f"when {first:g} and {last:g} of `solver.duration_s` are over" in text
    assert f"after {first * duration:g} and {last * duration:g} s as it comes" in text
    assert engine.CLOSER == 0.2 and "with a fifth of what may otherwise change" in text
    share, slowest = 100.0 * outcome.CREEP_SHARE, outcome.CREEP_MM_S
    assert f"does not change by more than {share:g} % (and {slowest:g} mm) a second" in text
    assert f"within {100.0 * engine.CLEAR:g} % of the limit" in text
    assert f"at least {engine.EARLY_TURNS:g} times `limits.spin_turns`" in text


def test_statuses_that_only_maps_have():
    only = [s for s in STATUSES if s not in result.STATUSES]
    found = [cells[0] for cells in rows(section("classes", "Status in a map"))]
    assert [f"`{s}`" for s in only] == found
    assert set(result.STATUSES) - set(STATUSES) == {"free"}
    assert set(FAILED) == {"diverged", "invalid"}


def test_the_extra_for_a_cluster_exists():
    extras = tomllib.loads((TOP / "pyproject.toml").read_text("utf-8"))["project"][
        "optional-dependencies"
    ]
    for page in ("README", "studies"):
        (extra,) = set(re.findall(r"pip install '\.\[(cluster)\]'", PAGES[page]))
        assert any(need.startswith("distributed") for need in extras[extra])


# ----------------------------------------------------------------------------------- the map's file


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A folder with a map like the one on the page, of few cells, and one of several starts."""
    folder, before = tmp_path_factory.mktemp("small"), Path.cwd()
    (folder / "results").mkdir()
    os.chdir(folder)
    try:
        study = load_study(
            STUDIES / "shallow-runner-tie-speed.toml",
            {"axis.0.count": 5, "axis.1.count": 2, "axis.1.to": 1.0, "run.keep_states_ms": 100.0},
        )
        run_study(study, "results/shallow-runner-tie-speed.h5", overlay=neutral.neutral_grid)
        yield folder
    finally:
        os.chdir(before)


def test_the_lines_for_xarray_work(small, capsys):
    (lines,) = re.findall(r"^```python\n(.*?)^```$", section("files", "Maps"), re.M | re.S)
    names: dict = {}
    exec(compile(lines, "files.md", "exec"), names)
    with names["swept"]:
        found = load_map("results/shallow-runner-tie-speed.h5")
        at, fast = np.flatnonzero(found.motion_class[:, 1, 0] == BALANCED), 1
        assert len(at) >= 1
        expected = (found.study.axes[0].values[at], found.measures[YAW][at, fast, 0])
        assert capsys.readouterr().out == f"{expected[0]} {expected[1]}\n"


def test_every_dataset_of_a_map_is_on_the_page_and_no_other(small):
    text = section("files", "Layout of a map")
    named = {name for cells in rows(text) for name in code(cells[0])}
    with h5py.File("results/shallow-runner-tie-speed.h5") as file:
        keys = dict(zip(load_map(file.filename).study.axes, "xy", strict=True))
        short = {axis.key: letter for axis, letter in keys.items()}
        found: list[str] = []
        file.visit(found.append)
        plain = {"/".join(short.get(part, part) for part in name.split("/")) for name in found}
        margins = {f"margin_{name}" for name in engine.MARGINS}
        assert plain >= set(MEASURES) | margins
        groups = {"study", "config", "causes", "modes"}
        rest = {n for n in plain - set(MEASURES) - margins if not n.startswith("provenance/")}
        assert named == rest - groups
        sizes = {"nx": 5, "ny": 2, "ns": 1, "n": file["states"].shape[-2], "7": 7}
        for cells in rows(text):
            shapes = re.findall(r"\((.*?)\)", cells[1]) if len(cells) == 4 else []
            for i, name in enumerate(code(cells[0]) if shapes else []):
                words_ = shapes[min(i, len(shapes) - 1)].replace(" ", "").strip(",").split(",")
                key = {letter: axis for axis, letter in short.items()}.get(name, name)
                assert file[key].shape == tuple(sizes[w] for w in words_), name
        told = {name: ", ".join(f"{code_} {kind}" for code_, kind in enumerate(kinds))
                for name, kinds in (("status", STATUSES), ("motion_class", CLASSES))}  # fmt: skip
        for name, listed in told.items():
            (cells,) = [c for c in rows(text) if code(c[0]) == [name]]
            assert listed in cells[3]
        of_a_map = code(next(c for c in rows(text) if code(c[0]) == ["provenance"])[1])
        of_a_run = [n for cells in rows(section("files", "Provenance")) for n in code(cells[0])]
        assert set(file["provenance"]) == {*of_a_map} | {
            n.removeprefix("provenance/") for n in of_a_run
        }
        assert {file.attrs["format"].decode(), file.attrs["format_version"]} == {"runtrue map", 1}
        assert set(code(re.search(r"Every dataset has(.*?)\. The axes", " ".join(text.split()))[1])
                   ) <= set(file["status"].attrs)  # fmt: skip


def test_the_side_folder_is_called_as_on_the_page(tmp_path):
    text = section("files", "While a study is run")
    folder = PartFolder.of(tmp_path / "NAME.h5", "NAME.h5")
    assert code(text)[:4] == ["NAME.h5", "NAME.h5.part", NOTE, "chunk-00000.h5"]
    assert (folder.folder.name, folder.path(0).name) == ("NAME.h5.part", "chunk-00000.h5")
    assert END_SIZE == 85  # the last line is that of a run


# ----------------------------------------------------------------------------- figures on the pages


@dataclasses.dataclass(frozen=True)
class Swept:
    """A study that was run, its cells as a map of two axes."""

    study: Study
    table: CaseTable

    def cells(self, values: np.ndarray) -> np.ndarray:
        return values.reshape(self.study.shape)

    @property
    def kinds(self) -> np.ndarray:
        kind = self.table.motion_class
        failed = np.isin(self.table.status, [STATUSES.index(name) for name in FAILED])
        return self.cells(np.where(failed, KINDS.index("failed"), np.where(kind < 0, 4, kind)))

    def measure(self, name: str) -> np.ndarray:
        return self.cells(self.table.measures[:, MEASURES.index(name)])

    def places(self) -> tuple[np.ndarray, ...]:
        return tuple(np.meshgrid(*(axis.values for axis in self.study.axes), indexing="ij"))

    def growing(self, mode: str) -> np.ndarray:
        """Where a small motion grows."""
        axes, growth = neutral.neutral_grid(self.study)
        places = np.stack(self.places(), axis=-1)
        return RegularGridInterpolator(axes, growth[mode])(places) > 0.0


@cache
def swept(name: str, **changes: object) -> Swept:
    keys = {key.replace("__", "."): value for key, value in changes.items()}
    study = load_study(STUDIES / f"{name}.toml", keys)
    return Swept(study, run_cases(study, range(study.case_count)))


def speed() -> Swept:
    return swept("shallow-runner-tie-speed")


def angle() -> Swept:
    return swept("shallow-runner-angle-tie")


def share(of: Swept, kind: int) -> float:
    return 100.0 * float((of.kinds == kind).mean())


def near(values: np.ndarray, value: float) -> int:
    return int(np.abs(values - value).argmin())


def hanging(of: Swept) -> tuple[np.ndarray, np.ndarray]:
    """The tongue and the field far out on the first map, with their rims."""
    tie, fast = of.places()
    tongue = (tie >= -0.75) & (tie <= 5.0) & (fast >= 1.05)
    return tongue, (tie >= 6.0) & (tie <= 13.0) & (fast >= 1.6)


@pytest.mark.slow
def test_shares_on_the_pages():
    for of, numbers in (
        (speed(), said("maps", r"Of (\d+) runs (\d+) % are tight, (\d+) % balanced, (\d+) % over-"
                               r"rolling and (\d+) % spinning; (\d+) % did not settle")),
        (angle(), said("maps", r"Of (\d+) runs (\d+) % are tight, (\d+) % balanced and (\d+) %"
                               r" over-rolling\.")),
    ):  # fmt: skip
        assert numbers[0] == of.study.case_count
        assert numbers[1:] == pytest.approx(
            [share(of, kind) for kind in range(len(numbers) - 1)], abs=0.75
        )


@pytest.mark.slow
def test_the_band_up_the_nose():
    of = speed()
    tie, fast = (axis.values for axis in of.study.axes)
    balanced = of.kinds == BALANCED
    high, low, upward = said(
        "maps", r"tie points of (-\d+) to (-\d+) mm\) the bait is balanced at every speed from"
        r" ([\d.]+) m/s up"
    )  # fmt: skip
    band = (tie >= high) & (tie <= low)
    assert balanced[np.ix_(band, fast >= upward - 1e-9)].all()
    assert not balanced[band][:, near(fast, upward - 0.05)].all()
    everywhere = said("maps", r"from (-\d+) to (-\d+) mm it is balanced at all speeds of the map")
    assert stretches(of.study.axes[0], balanced.all(axis=1)) == [tuple(everywhere)]
    assert "From -7 to -2 mm along the tie path" in words("README") and everywhere == [-7, -2]
    config = of.study.base
    own, _ = tie_path(config).nearest(config.bait.tie.from_nose_mm,
                                   config.bait.tie.above_centreline_mm)  # fmt: skip
    row = near(tie, own)
    slow, _, quick, _, least, most = said(
        "maps", r"wobbles at ([\d.]+) Hz at ([\d.]+) m/s and at ([\d.]+) Hz at ([\d.]+) m/s, and"
        r" the yaw stays at (\d+) to (\d+) degrees"
    )  # fmt: skip
    assert of.measure(FREQUENCY)[row, [0, -1]] == pytest.approx([slow, quick], abs=0.05)
    yaw = of.measure(YAW)[row]
    assert (round(yaw.min()), round(yaw.max())) == (least, most)
    assert (of.kinds[tie < -9.75] == TIGHT).all()


@pytest.mark.slow
def test_the_tongue():
    of = speed()
    tie, fast = of.places()
    first, left, right = said(
        "maps", r"begins at ([\d.]+) m/s and is widest at the fastest retrieves, from (-[\d.]+) to"
        r" ([\d.]+) mm"
    )  # fmt: skip
    tongue, far = hanging(of)
    unsure = np.isin(of.kinds, (SPINNING, UNSETTLED))
    assert fast[unsure & tongue].min() == pytest.approx(first)
    assert (tie[unsure & tongue].min(), tie[unsure & tongue].max()) == (left, right)
    wobble, lean = of.growing("wobble"), of.growing("lean")
    # the notch at the top: half a cell of the coarser grid of the modes beside where the lean grows
    notch = (np.abs(tie) <= 0.5) & (fast >= 2.05)
    assert lean[notch].any() and (wobble | notch)[unsure & tongue].all()
    inside, all_ = said("maps", r"so do (\d+) of the (\d+) balanced cells")
    balanced = of.kinds == BALANCED
    assert (balanced & wobble).sum() == pytest.approx(inside, abs=8)
    assert balanced.sum() == pytest.approx(all_, abs=8)
    left, right, most = said(
        "maps", r"Beside the tongue, ([\d.]+) to ([\d.]+) mm out, is a strip that is balanced"
        r" again, up to ([\d.]+) m/s"
    )  # fmt: skip
    strip = balanced & tongue & (fast >= 1.15)
    strip &= tie > 0.0
    assert (tie[strip].min(), tie[strip].max()) == (left, right)
    assert fast[strip].max() == pytest.approx(most)
    a, b = said("README", r"tied ([\d.]+) to ([\d.]+) mm out it swims at 1 m/s and goes round at 2")
    rows_ = (of.study.axes[0].values >= a) & (of.study.axes[0].values <= b)
    speeds = of.study.axes[1].values
    assert (of.kinds[rows_, near(speeds, 1.0)] == BALANCED).all()
    assert (of.kinds[rows_, near(speeds, 2.0)] == SPINNING).all()
    left, right, first = said(
        "maps", r"Far out and fast, from (\d+) to ([\d.]+) mm and from ([\d.]+) m/s up"
    )
    field = unsure & (tie > 5.0) & (fast > 1.0)
    assert (tie[field].min(), tie[field].max()) == (left, right)
    assert fast[field].min() == pytest.approx(first)
    for at, begins in zip(
        (0.5, 1.0), said("maps", r"at 0.5 m/s from (-[\d.]+) mm on, at 1 m/s from (\d+) mm on"),
        strict=True,
    ):  # fmt: skip
        column = of.kinds[:, near(speeds, at)]
        assert (column[of.study.axes[0].values >= begins] == OVER).all()
        assert column[near(of.study.axes[0].values, begins) - 1] == BALANCED
    assert unsure[~tongue & ~far].sum() <= 1


@pytest.mark.slow
def test_bill_angles():
    of = angle()
    angles, (_, path) = of.study.axes[0].values, of.study.axes
    balanced = of.kinds == BALANCED
    first = [stretches(path, row)[0] if row.any() else None for row in balanced]
    text = words("maps")
    numbers = re.search(
        r"At (30) degrees it is from (-[\d.]+) to (-[\d.]+) mm, at (40) from (-[\d.]+) to (-\d+),"
        r" at (48), as in the file, from (-\d+) to ([\d.]+), at (51) from (-[\d.]+) to ([\d.]+)\.",
        text,
    ).groups()
    for i in range(0, 12, 3):
        at, high, low = map(float, numbers[i : i + 3])
        assert first[near(angles, at)] == (high, low)
    ends = [s[1] for s in first[: near(angles, 51) + 1]]
    assert (np.diff(ends) >= 0.0).all()
    row = near(path.values, -2.5)
    assert of.kinds[near(angles, 40), row] == OVER and of.kinds[near(angles, 48), row] == BALANCED
    at_30, at_56, at_70, slow, fast, from_on = said(
        "maps", r"falls from ([\d.]+) degrees at 30 degrees of bill to ([\d.]+) at 56 and ([\d.]+)"
        r" at 70, while the wobble gets faster, from ([\d.]+) to ([\d.]+) Hz. From (\d+) degrees"
    )  # fmt: skip
    places = [near(angles, a) for a in (30, 56, 70)]
    high = near(path.values, -8.0)
    assert of.measure(YAW)[places, high] == pytest.approx([at_30, at_56, at_70], abs=0.05)
    assert of.measure(FREQUENCY)[[0, -1], high] == pytest.approx([slow, fast], abs=0.05)
    up = balanced[:, path.values <= 0.0]
    assert angles[~up.any(axis=1)].min() == from_on and not up[angles >= from_on].any()
    wide = [
        sim.load_config(TOP / "configs" / f"{name}.toml").bait.bill
        for name in ("surface-runner", "shallow-runner")
    ]
    steep, wider, other = said("maps", r"one of (\d+) degrees, but that is (\d+) mm wide and not"
                                       r" (\d+)")  # fmt: skip
    assert (wide[0].angle_deg, wide[0].width_mm, wide[1].width_mm) == (steep, wider, other)
    begins, ends_, above, below, left, right, last = said(
        "maps", r"From (\d+) to (\d+) degrees the tongue.*?at (\d) to ([\d.]+) mm\. Beside it,"
        r" (\d+) to ([\d.]+) mm out, a finger of the balanced field reaches to (\d+) degrees"
    )  # fmt: skip
    turned, tie = of.places()
    unsure = np.isin(of.kinds, (SPINNING, UNSETTLED))
    assert (turned[unsure].min(), turned[unsure].max()) == (begins, ends_)
    assert (tie[unsure].min(), tie[unsure].max()) == (above, below)
    assert of.growing("wobble")[unsure].all()
    finger = balanced & (turned >= begins) & (tie > 0.0)
    assert (tie[finger].min(), tie[finger].max()) == (left, right)
    assert turned[finger].max() == last


@pytest.mark.slow
def test_what_a_longer_step_changes():
    few, all_ = said("maps", r"changes about (\d+) of the (\d+) cells of the first map")
    of, coarse = speed(), swept("shallow-runner-tie-speed", solver__step_ms=4.0)
    changed = of.kinds != coarse.kinds
    assert changed.size == all_
    assert changed.sum() == pytest.approx(few, abs=25)
    tongue, far = hanging(of)
    assert not (changed & ~tongue & ~far).any()
    many, all_, blown = said("maps", r"it changes about (\d+) of (\d+), and some (\d+) runs blow")
    of, coarse = (swept("deep-runner-tie-speed", **step) for step in ({}, {"solver__step_ms": 4.0}))
    changed = of.kinds != coarse.kinds
    assert changed.size == all_
    assert changed.sum() == pytest.approx(many, abs=60)
    assert (coarse.kinds == KINDS.index("failed")).sum() == pytest.approx(blown, abs=10)


@pytest.mark.slow
def test_baits_that_come_up():
    of = speed()
    depth = of.measure("depth_m")
    middle, least, most = said(
        "maps", r"run at ([\d.]+) m \(the middle one of them\), the balanced ones at ([\d.]+) to"
        r" ([\d.]+) m"
    )  # fmt: skip
    assert np.median(depth[of.kinds == SPINNING]) == pytest.approx(middle, abs=0.02)
    swim = depth[of.kinds == BALANCED]
    assert (swim.min(), swim.max()) == pytest.approx((least, most), abs=0.05)
    on_side = (of.kinds == OVER) & (np.abs(of.measure("lean_deg")) > 35.0)
    cells, first = said("maps", r"On the first map (\d+) cells are of this kind, all from ([\d.]+)")
    assert on_side.sum() == pytest.approx(cells, abs=10)
    assert of.places()[1][on_side].min() >= first
    assert (depth[on_side] < 0.0).all() and (of.measure(ROLL)[on_side] < 2.0).all()


def test_the_slab_sided_bait_that_comes_up():
    tied, fast, begins, ends, rate, up, still, lean = said(
        "maps", r"slab-sided bait, tied ([\d.]+) mm out and pulled at ([\d.]+) m/s\. From (\d+) to"
        r" (\d+) s it spins (\d+) times a second, at (\d+) s it is at the surface, and from (\d+) s"
        r" on it lies there on its side, (\d+) degrees over"
    )  # fmt: skip
    config = sim.load_config(TOP / "configs" / "slab-sided.toml")
    from_nose, above = tie_path(config).at(tied)
    at = {"bait.tie.from_nose_mm": from_nose, "bait.tie.above_centreline_mm": above,
          "retrieve.speed_m_s": fast}  # fmt: skip
    run = sim.simulate(sim.with_overrides(config, at))
    twist = track_angles(run.attitude, 0.0).twist
    going = (run.time >= begins) & (run.time <= ends)
    turns = abs(twist[going][-1] - twist[going][0]) / (ends - begins)
    assert turns == pytest.approx(rate, abs=1.0)
    assert np.abs(run.position[run.time >= up, 2]).max() < 0.08
    after = twist[run.time >= still]
    assert after.max() - after.min() < 0.02
    assert abs(run.measures["lean_deg"]) == pytest.approx(lean, abs=1.0)
    assert run.motion_class == "over-rolling"
    deep = sim.simulate(sim.with_overrides(config, {**at, "water.surface": False}))
    assert deep.motion_class == "spinning"


@pytest.mark.slow
def test_early_ends_change_no_class_of_the_first_map():
    of, full = speed(), swept("shallow-runner-tie-speed", run__stop_early=False)
    assert np.array_equal(of.kinds, full.kinds)
    early = of.cells(of.table.early)
    assert not full.table.early.any()
    apart = np.fmax(*(np.abs(of.measure(m) - full.measure(m))[early] for m in (YAW, ROLL)))
    one, four_from, four_to = said(
        "studies", r"less than ([\d.]+) degrees in 99 of 100 of these runs, by (\d+) to (\d+) in"
    )
    assert np.nanpercentile(apart, 98.0) < one
    assert (apart > four_from).sum() <= 5 and (apart > four_to).sum() <= 1
    least, most = said("studies", r"which saves (\d+) to (\d+) % of the stepping")
    saved = 1.0 - np.nansum(of.table.end_s) / np.nansum(full.table.end_s)
    assert least - 1.0 < 100.0 * saved < most + 1.0


@pytest.mark.slow
def test_a_refined_map_and_several_starts(tmp_path):
    text = next(e for e in examples() if "refine" in e and "tie-speed-fine" in e)
    (tmp_path / "studies").mkdir()
    (tmp_path / "shallow-runner.toml").symlink_to(TOP / "configs" / "shallow-runner.toml")
    (tmp_path / "studies" / "fine.toml").write_text(text, "utf-8")
    fine = run_study(load_study(tmp_path / "studies" / "fine.toml"), tmp_path / "fine.h5")
    part, other, cells = said(
        "studies", r"takes (\d+) % of the runs of the full grid, and (\d+) of its (\d+) cells"
    )
    assert fine.inferred.size == cells
    assert 100.0 * (~fine.inferred).mean() == pytest.approx(part, abs=1.5)
    # every fourth node is a cell of the shipped study's own grid, or half-way between two
    shipped = speed()
    nodes = fine.motion_class[::2, ::2, 0]
    same = shipped.cells(shipped.table.motion_class)
    assert nodes.shape == same.shape
    assert (nodes != same).sum() <= other

    starts = load_study(STUDIES / "shallow-runner-starts.toml")
    found: MapResult = run_study(starts, tmp_path / "starts.h5")
    ringed, all_, line = said(
        "studies", r"the class of (\d+) of (\d+) cells depends on the start: (\d+) at the line"
    )
    marked = dependent(found)
    assert marked.size == all_
    assert marked.sum() == pytest.approx(ringed, abs=6)
    tie, fast = np.meshgrid(*(axis.values for axis in starts.axes), indexing="ij")
    up = marked & (tie < -5.0)
    assert up.sum() == pytest.approx(line, abs=2)
    assert np.isin(found.motion_class[up], (TIGHT, BALANCED)).all()
    assert (fast[marked & ~up] > 1.0).all() and (tie[marked & ~up] >= -1.0).all()
