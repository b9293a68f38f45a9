"""runtrue compare: exit codes, both forms of the answer, files, and what is refused."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from e2e_helpers import PIKE, without_line

from sim.studies.roster import Roster
from sim.studies.store import load_map

RESULT, PICTURE = Path("results/pike-compare.h5"), Path("results/pike-compare.png")
LONG = ("--variant", "long bill: bait.bill.length_mm=18")
FAST = ("--speeds", 3, "--workers", 1)


def test_the_answer_in_words_and_what_show_says(call, pike):
    answer = call(
        "compare", pike, *LONG, "--variant", "thin line: line.diameter_mm=0.2", *FAST, "--set",
        "retrieve.speed_m_s=0.9",
    )  # fmt: skip
    assert (answer.code, answer.stderr) == (0, "")
    lines = answer.stdout.splitlines()
    assert lines[0] == "3 baits  side by side"
    assert lines[2].split() == ["bait", "g", "g", "0.4", "0.9", "1.2", "2"]
    assert [line.split("  ")[1] for line in lines[3:6]] == ["pike", "long bill", "thin line"]
    rows = [line.split() for line in lines]
    assert ["line.diameter_mm", "0.28,", "0.28,", "0.2"] in rows
    assert lines[-2:] == [f"Wrote {RESULT}", f"Wrote {PICTURE}"]
    assert max(map(len, lines)) <= 100
    assert PICTURE.read_bytes().startswith(b"\x89PNG")
    assert isinstance(load_map(RESULT).study, Roster)

    again = call("show", RESULT, "--picture", "again.png")
    assert again.code == 0
    assert again.stdout.startswith(answer.stdout.split("\nWrote ")[0])
    assert "  Made " in again.stdout
    assert again.stdout.endswith(f"Read from {RESULT}\nWrote again.png\n")
    assert Path("again.png").read_bytes() == PICTURE.read_bytes()


def test_json_has_the_figures_of_run(call, pike):
    answer = call("compare", pike, *LONG, *FAST, "--json", "--quiet")
    assert (answer.code, answer.stderr) == (0, "")
    got = json.loads(answer.stdout)
    assert got["speeds_m_s"] == [0.4, 1.0, 1.2, 2.0]
    assert [one["name"] for one in got["baits"]] == ["pike", "long bill"]
    assert got["differ"] == {}
    assert got["baits"][1]["config"]["overrides"] == {"bait.bill.length_mm": 18}
    run = json.loads(call("run", pike, "--set", "bait.bill.length_mm=18", "--json").stdout)
    assert got["baits"][1]["measures"] == run["measures"]
    assert got["baits"][1]["classes"][1] == run["motion_class"]
    assert json.loads(call("show", RESULT, "--json").stdout) == got | {"pictures": []}


def test_two_files_of_one_name(call, pike):
    Path("other").mkdir()
    other = Path("other/pike.toml")
    other.write_text(PIKE.replace('mode = "tow"', 'mode = "reel"'), encoding="utf-8")
    answer = call("compare", pike, other, *FAST, "--json", "--output", "out.h5")
    got = json.loads(answer.stdout)
    assert answer.code == 0
    assert [one["name"] for one in got["baits"]] == ["pike", "pike (2)"]
    assert got["baits"][1]["config"]["overrides"] == {"retrieve.mode": "tow"}
    assert got["pictures"] == ["out.png"]


@pytest.mark.parametrize(("more", "words"), [(0, "1 bait: must be 2"), (20, "21 baits: must be 2")])
def test_how_many(call, pike, more, words):
    variants = [w for n in range(more) for w in ("--variant", f"v{n}: bait.bill.length_mm=15.{n}")]
    answer = call("compare", pike, *variants)
    assert (answer.code, answer.stdout) == (2, "")
    assert answer.stderr.startswith(words)
    assert answer.stderr.count("\n") == 1


def test_all_that_is_wrong_is_told_at_once(call, pike):
    Path("free.toml").write_text(without_line(PIKE), encoding="utf-8")
    answer = call(
        "compare", "free.toml", "gone.toml", "--variant", "nothing", "--slowest", 0, "--set", "x",
    )  # fmt: skip
    assert (answer.code, answer.stdout) == (2, "")
    lines = answer.stderr.splitlines()
    assert lines[0].startswith("--slowest 0: must be > 0")
    assert lines[1].startswith('override "x": no = in it')
    assert lines[2].startswith("free.toml: has no table [line]")
    assert lines[3].startswith("gone.toml: no such file")
    assert lines[4].startswith('--variant "nothing": no label')
    assert len(lines) == 5
    assert not Path("results").exists()


def test_a_variant_that_is_no_bait(call, pike):
    answer = call("compare", pike, "--variant", "odd: bait.bill.lenght_mm=18, bait.bill.width_mm=0")
    assert answer.code == 2
    assert all(line.startswith('--variant "odd": pike.toml: ')
               for line in answer.stderr.splitlines())  # fmt: skip
    assert "length_mm" in answer.stderr
    assert "bait.bill.width_mm" in answer.stderr
    # neither an option nor a bad name hides it
    answer = call("compare", pike, "--variant", "odd: bait.bill.lenght_mm=18", "--slowest", 3,
                  "--output", "a.png")  # fmt: skip
    lines = answer.stderr.splitlines()
    assert answer.code == 2
    assert lines[0].startswith("--slowest 3: must be less than --fastest 2 m/s")
    assert lines[1].startswith('--variant "odd": pike.toml: ')
    assert lines[-1].startswith("--picture a.png: ") or lines[-1].startswith("--output a.png: ")


def test_what_is_for_maps_is_refused(call, pike):
    assert call("compare", pike, *LONG, *FAST).code == 0
    answer = call("show", RESULT, "--contours", "lean_deg")
    assert answer.code == 2
    assert answer.stderr == (
        f"--contours lean_deg: is for maps, and {RESULT} is none. Leave it out.\n"
    )


def test_nothing_is_replaced_unless_asked_to(call, pike):
    Path("results").mkdir()
    PICTURE.write_text("mine")
    answer = call("compare", pike, *LONG, *FAST)
    assert answer.code == 1
    assert str(PICTURE) in answer.stderr
    assert PICTURE.read_text() == "mine"
    assert not RESULT.exists()
    assert call("compare", pike, *LONG, *FAST, "--force").code == 0
    answer = call("compare", pike, pike, "--output", pike, "--force")
    assert answer.code == 2
    assert "is the configuration itself" in answer.stderr
    assert pike.read_text() == PIKE


def test_failed_runs_make_the_exit_code_3(call, pike):
    answer = call("compare", pike, "--variant", "light: bait.total_mass_g=1", *FAST, "--json")
    got = json.loads(answer.stdout)
    assert answer.code == 3
    assert got["baits"][1]["classes"] == ["failed"] * 4
    assert got["baits"][1]["mass_g"] is None
    assert answer.stderr == 'pike.toml: 4 of its runs failed, see "failures".\n'
