"""What holds for all commands: options of one meaning, help, versions, a quick start."""

import inspect
import re
import subprocess
import sys
from importlib import metadata
from pathlib import Path

import numpy as np
import pytest

import sim
from sim.cli import app
from sim.report.modes import modes_document
from sim.report.run import nearest, nearest_in_words, run_document
from sim.report.text import fixed, significant
from sim.report.weigh import weigh_document
from sim.terminal import EXIT_CODES

HELP_WIDTH = 80
ROWS = {"holes", "risk", "tune", "compare"}  # commands that lay out a study themselves
COMMANDS = (
    "run", "map", "holes", "tune", "compare", "risk", "show", "weigh", "sources", "modes", "check",
    "new", "schema",
)  # fmt: skip
SHARED = {
    "--json": {"run", "map", "show", "weigh", "sources", "modes", "check"} | ROWS,
    "--output": {"run", "map", "new", "schema"} | ROWS,
    "--force": {"run", "map", "show", "modes", "new", "schema"} | ROWS,
    "--quiet": {"run", "map", "weigh", "sources", "modes"} | ROWS,
    "--set": {"run", "map", "weigh", "sources", "modes", "check"} | ROWS,
    "--workers": {"map"} | ROWS,
    "--slowest": ROWS,
    "--fastest": ROWS,
    "--resume": {"map", "risk"},
    "--scheduler": {"map", "risk"},
}


def option_help(text: str) -> dict[str, str]:
    """Option -> what its help says, refilled."""
    part = text[text.index("Options:") : text.index("Exit codes:")]
    found: dict[str, str] = {}
    for line in part.splitlines()[1:]:
        start = re.match(
            r"""^  (?:-h, )?(--[a-z-]+)(?: (?:[A-Z_=]+|"[^"]*"))?(?: {2,}(\S.*))?$""", line
        )
        if start:
            name = start[1]
            found[name] = start[2] or ""  # a long option has its text on the next line
        elif line.strip():
            found[name] += " " + line
    return {name: " ".join(text.split()) for name, text in found.items()}


def test_every_command_is_tested_here():
    assert {c.name or c.callback.__name__ for c in app.registered_commands} == set(COMMANDS)


@pytest.mark.parametrize("command", COMMANDS)
def test_help(call, command):
    answer = call(command, "--help")
    assert (answer.code, answer.stderr) == (0, "")
    text = answer.stdout
    assert f"Exit codes: {EXIT_CODES}." in " ".join(text.split())
    assert re.search(rf"^  Examples?:\n    runtrue {command}( |$)", text, re.MULTILINE)
    if command != "schema":
        assert re.search(r"\b(mm|g|degrees|m/s)\b", text)
    assert max(map(len, text.splitlines())) <= HELP_WIDTH
    assert call(command, "-h").stdout == text


def test_shared_options_mean_the_same_everywhere(call):
    said: dict[str, dict[str, str]] = {option: {} for option in SHARED}
    for command in COMMANDS:
        for option, text in option_help(call(command, "--help").stdout).items():
            if option in said:
                said[option][command] = text
    for option, commands in SHARED.items():
        assert set(said[option]) == commands
        assert len(set(said[option].values())) == 1, said[option]


def test_help_of_the_program_names_every_command(call):
    text = call("--help").stdout
    for command in COMMANDS:
        (line,) = re.findall(rf"^  {command} +(.*)$", text, re.MULTILINE)
        assert line.endswith(".") and not line.endswith("...")


def test_no_command_prints_the_help(call):
    answer = call()
    assert "Usage: " in answer.stdout + answer.stderr
    assert answer.code in (0, 2)  # depends on the version of typer


def test_versions(call):
    answer = call("--version")
    assert (answer.code, answer.stderr) == (0, "")
    lines = answer.stdout.splitlines()
    assert lines[0] == f"runtrue {metadata.version('runtrue')}"
    for name in ("numpy", "scipy", "numba", "h5py"):
        assert f"{name} {metadata.version(name)}" in lines


def test_entry_point():
    (entry,) = metadata.entry_points(group="console_scripts", name="runtrue")
    assert entry.value == "sim.cli:main"


@pytest.mark.parametrize(
    ("words", "code"), [(["--help"], 0), (["check", "no.toml"], 2), (["new", "pike"], 0)]
)
def test_quick_commands_load_neither_kernels_nor_scipy(folder, words, code):
    # Stands in for the package, so that only what the command itself imports is seen.
    program = (
        "import sys, types\n"
        "package = types.ModuleType('sim'); package.__path__ = [sys.argv.pop(1)]\n"
        "sys.modules['sim'] = package\n"
        "from sim.cli import main\n"
        "try: main()\n"
        "finally: print([m for m in ('numba', 'scipy', 'matplotlib') if m in sys.modules],"
        " file=sys.stderr)"
    )
    home = str(Path(sim.__file__).parent)
    done = subprocess.run(
        [sys.executable, "-c", program, home, *words], capture_output=True, text=True, check=False
    )
    assert done.returncode == code
    assert done.stderr.splitlines()[-1] == "[]"


# ---- words --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("margins", "words"),
    [
        ({"spin": 0.9, "roll": 20.0, "lean": 30.0, "tight_yaw": 2.3}, "tight yaw, 2.3 deg above"),
        ({"spin": 0.9, "roll": 20.0, "lean": 30.0, "tight_yaw": -2.3}, "tight yaw, 2.3 deg below"),
        ({"spin": 0.9, "roll": 3.4, "lean": 30.0, "tight_yaw": 20.0}, "roll, 3.4 deg below"),
        ({"spin": 0.9, "roll": -3.4, "lean": 30.0, "tight_yaw": 20.0}, "roll, 3.4 deg above"),
        ({"spin": 0.9, "roll": 20.0, "lean": 1.0, "tight_yaw": 20.0}, "lean, 1.0 deg below"),
        ({"spin": 0.02, "roll": 20.0, "lean": 30.0, "tight_yaw": 20.0}, "spin, 0.02 turns below"),
        ({"roll": 20.0, "roll_to_yaw": 0.25, "tight_yaw": 20.0}, "roll to yaw, 0.25 below"),
        ({"roll": 20.0, "roll_to_yaw": -0.25, "tight_yaw": 20.0}, "roll to yaw, 0.25 above"),
        ({"roll": 20.0, "lean": 30.0, "tight_yaw": -0.01}, "tight yaw, at the limit"),
        (
            {"roll": float("nan"), "lean": float("nan"), "tight_yaw": 3.0},
            "tight yaw, 3.0 deg above",
        ),
        ({}, ""),
    ],
)
def test_nearest_limit_in_words(margins, words):
    assert nearest_in_words(_run(margins)) == words
    found = nearest(_run(margins))
    assert (found is None) == (words == "")


def test_only_the_spin_limit_counts_for_a_spinning_bait():
    run = _run({"spin": -5.0, "roll": 20.0, "lean": 30.0, "tight_yaw": 2.3}, "spinning")
    assert nearest_in_words(run) == "spin, 5.00 turns above"


def _run(margins: dict[str, float], motion_class: str = "balanced") -> sim.RunResult:
    config = sim.config_from_dict(
        {"bait": {"body": {"form": "ellipsoid", "length_mm": 70.0, "height_mm": 20.0,
                           "width_mm": 14.0, "density_g_cm3": 0.4}}}
    )  # fmt: skip
    none = np.zeros((0, 3))
    return sim.RunResult(
        config, np.zeros(0), none, np.zeros((0, 4)), np.zeros((0, 6)), np.zeros((0, 2)),
        np.zeros(0), none, "settled", "", motion_class, "", {}, margins, (0.0, 1.0), {},
    )  # fmt: skip


@pytest.mark.parametrize(
    ("value", "digits", "unit", "text"),
    [
        (1.26, 1, "mm", "1.3 mm"),
        (-0.04, 1, "deg", "0.0 deg"),
        (float("nan"), 2, "N", "-"),
        (float("inf"), 2, "N", "-"),
        (None, 1, "mm", "-"),
        (-12.0, 0, "", "-12"),
    ],
)
def test_fixed(value, digits, unit, text):
    assert fixed(value, digits, unit) == text


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.0, "0"), (2.45678, "2.457"), (-46.362, "-46.36"), (374.61, "374.6"), (25503.2, "25503"),
     (0.00012346, "0.0001235"), (1.2346e-12, "1.235e-12"), (9.99996, "10.00")],
)  # fmt: skip
def test_significant(value, text):
    assert significant(value) == text


def test_documented_keys_are_those_of_the_documents(call, pike):
    config = sim.load_config(pike)
    bait = sim.assemble(config)
    from sim.hydrostatics import rest, terminal_speed

    documents = {
        run_document: run_document(sim.simulate(config)),
        weigh_document: weigh_document(config, bait, rest(config, bait), terminal_speed(config)),
        modes_document: modes_document(config, sim.modes(config), None),
    }
    for function, document in documents.items():
        named = re.findall(r"``(\w+)``", inspect.getdoc(function) or "")
        assert set(document) <= set(named), function
