"""runtrue sources: the list of loads and coefficients as a user reads it."""

import dataclasses
import json
import re
from pathlib import Path

import pytest
from e2e_helpers import in_terminal, needs_terminal

import sim
from sim.coefficients import STATUSES, loads_off, sources
from sim.config import load_config
from sim.report.sources import sources_summary
from sim.report.text import as_text

CONFIGS = sorted((Path(__file__).parents[2] / "configs").glob("*.toml"))


def columns(text: str) -> tuple[int, int]:
    """Where the columns of values and of sources begin, by the first row."""
    line = next(line for line in text.splitlines() if line.startswith("  density of "))
    return line.index("999"), line.index("from memory")


def column(text: str, start: int, end: int | None = None) -> str:
    """Words of one column of the tables, refilled."""
    return " ".join(" ".join(line[start:end] for line in text.splitlines()).split())


def row_of(text: str, name: str) -> str:
    """The lines of the row whose name begins so, refilled: value, then source."""
    lines, (second, third) = text.splitlines(), columns(text)
    first = next(i for i, line in enumerate(lines) if line.startswith(f"  {name}"))
    last = first + 1
    # a row goes on while its value column is empty
    while last < len(lines) and lines[last].startswith("  ") and not (
        lines[last][second:third].strip()
    ):  # fmt: skip
        last += 1
    part = "\n".join(lines[first:last])
    return f"{column(part, second, third)} | {column(part, third)}"


def test_json_is_the_list_of_the_library(call, pike):
    answer = call("sources", pike, "--json")
    assert (answer.code, answer.stderr) == (0, "")
    got = json.loads(answer.stdout)
    config = sim.load_config(pike)
    assert got == [dataclasses.asdict(row) for row in (*sim.sources(config), *loads_off(config))]
    assert list(got[0]) == [
        "load", "name", "symbol", "value", "unit", "source", "status", "key", "given", "switch"
    ]  # fmt: skip
    assert {row["status"] for row in got} <= set(STATUSES)
    assert [row["load"] for row in got if row["status"] == "off"] == [
        "Current", "Further plates", "Bill shadow"
    ]  # fmt: skip


def test_a_coefficient_that_is_set(call, pike):
    key = "coefficients.side_force_shift"
    name = "how far aft the body's"
    before = row_of(call("sources", pike).stdout, name)
    assert before == f"0 | assumed: taken into the places above ({key})"
    after = row_of(call("sources", pike, "--set", f"{key}=0.123456").stdout, name)
    assert after == f"0.123456 | given: this configuration ({key})"


def test_a_load_that_is_switched_off(call, pike):
    on = call("sources", pike).stdout
    assert "\nWake of the bill (loads.wake)\n" in on
    off = call("sources", pike, "--set", "loads.wake=false").stdout
    assert "Wake of the bill (loads.wake)" not in off
    assert re.search(r"^  Wake of the bill  switched off \(loads.wake = false\)$", off, re.M)
    assert off.index("\nOff\n") < off.index("  Wake of the bill  ")
    assert "Strouhal" in on and "Strouhal" not in off


def test_text_has_hand_values(call, pike):
    text = call("sources", pike, "--set", "bait.total_mass_g=9").stdout
    assert text.startswith("pike\n  ")
    assert row_of(text, "mass of the rigged bait") == (
        "9 g | given: this configuration (bait.total_mass_g)"
    )
    # 9 g under 9.80665 m/s2
    assert row_of(text, "weight of the rigged") == "0.08826 N | computed: mass times gravity"
    assert row_of(text, "side-edge coefficient").startswith("2.4 | fitted: Holmes, Letchford & Lin")


@pytest.mark.parametrize("path", CONFIGS, ids=lambda p: p.stem)
@pytest.mark.parametrize("width", [80, 100])
def test_nothing_is_cut_off(path, width):
    config = load_config(path)
    active, off = sources(config), loads_off(config)
    text = as_text(sources_summary(config, active, off), width)
    assert max(map(len, text.splitlines())) <= width
    assert "\N{HORIZONTAL ELLIPSIS}" not in text
    second, third = columns(text)
    tables = text.partition("\n\n")[2]
    names, values = column(tables, 2, second), column(tables, second, third)
    origins = column(tables, third)
    before = ("", "")
    for row in active:
        assert (f"{row.name}, {row.symbol}" if row.symbol else row.name) in names
        assert row.unit == "1" or row.unit in values
        told = (row.status, row.source)
        source = "as above" if told == before else row.source
        key = f" ({row.key})" if row.key else ""
        assert f"{row.status}: {source}{key}" in origins
        before = told
    for row in off:
        (line,) = re.findall(rf"^  {re.escape(row.load)}  +(\S.*)$", text, re.MULTILINE)
        assert line == row.source


def test_the_count_adds_up(call, pike):
    text = " ".join(call("sources", pike).stdout.partition("\n\n")[0].split())
    whole, parts = re.search(r"(\d+) values: (.*)\.", text).groups()
    assert sum(int(n) for n in re.findall(r"(\d+) [a-z]", parts)) == int(whole)
    assert int(whole) == len(sim.sources(sim.load_config(pike)))
    assert re.search(r"\d+ from memory \(high\), ", parts)


@needs_terminal
def test_in_a_terminal_of_80_columns(pike):
    code, text = in_terminal(["sources", pike], columns=80)
    assert code == 0
    plain = re.sub(r"\x1b\[[0-9;]*m", "", text)
    assert "\x1b[1mLine\x1b[0m (loads.line)" in text  # bold heading, plain switch
    assert max(map(len, plain.splitlines())) <= 80
    assert "(coefficients.side_force_shift)\n" in plain


def test_in_a_narrow_terminal_lines_are_folded(pike):
    config = sim.load_config(pike)
    text = as_text(sources_summary(config, sources(config), loads_off(config)), 40)
    assert max(map(len, text.splitlines())) <= 40
    # name, value and source still stand side by side
    assert re.search(r"^  side-edge +2\.4 +fitted: Holmes,$", text, re.MULTILINE)


def test_a_bait_without_a_body(call, folder):
    Path("fin.toml").write_text(
        '[[bait.plate]]\nname = "kéel"\nfrom_nose_mm = 0\nabove_centreline_mm = 0\n'
        "length_mm = 40\nwidth_mm = 20\nangle_deg = 180\noutline = 'square'\n"
    )
    answer = call("sources", "fin.toml")
    assert answer.code == 0
    assert '\nPlate "kéel" (bait.plate.0) (loads.plates)\n' in answer.stdout
    assert "  Axial drag of the body           no body ([bait.body])\n" in answer.stdout
    # 1.98 [1 - 0.41 (1 - exp(-17 / 2))] for 40 x 20 mm
    assert row_of(answer.stdout, "normal force coefficient").startswith("1.168 | read in a copy")


def test_warnings_go_to_standard_error(call, pike):
    slip = ("--set", "bait.tie.above_centreline_mm=-90")
    answer = call("sources", pike, *slip)
    assert answer.code == 0
    assert "warning: pike.toml: bait.tie is" in answer.stderr
    assert "warning" not in answer.stdout
    assert call("sources", pike, *slip, "--quiet").stderr == ""


def test_problems_are_those_of_the_other_commands(call, pike):
    for more in (("--set", "coefficients.strouhl=0.2"), ("--set", "bait.total_mass_g=2")):
        answer = call("sources", pike, *more)
        assert (answer.code, answer.stdout) == (2, "")
        assert answer.stderr == call("weigh", pike, *more).stderr


def test_sources_writes_nothing(call, pike):
    call("sources", pike)
    assert [p.name for p in Path.cwd().iterdir()] == ["pike.toml"]
