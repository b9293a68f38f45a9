"""runtrue show: the same words as run, and files that are no results."""

import json
import os
import subprocess
from pathlib import Path

import h5py
import pytest
from e2e_helpers import command

import sim

FILE = Path("results/pike.h5")


@pytest.fixture
def ran(call, pike):
    """What run printed about the starting configuration."""
    return call("run", pike, "--set", "retrieve.speed_m_s=0.9").stdout


def test_same_text_as_run_and_where_it_comes_from(call, ran):
    answer = call("show", FILE)
    assert (answer.code, answer.stderr) == (0, "")
    same = ran.removesuffix(f"Wrote {FILE}\n")
    assert answer.stdout.startswith(same)
    rest = answer.stdout.removeprefix(same)
    made = sim.load_run(FILE).provenance
    date = made["date_utc"].replace("T", " ").replace("+00:00", " UTC")
    assert rest.startswith(f"  Made    {date} by runtrue {made['program']}")
    assert f"python {made['python']}, numpy {made['numpy']}, scipy {made['scipy']}" in rest
    assert rest.endswith(f"Read from {FILE}\n")
    assert "          retrieve.speed_m_s = 0.9\n" in same


def test_json_is_that_of_run(call, pike):
    first = json.loads(call("run", pike, "--json").stdout)
    again = json.loads(call("show", FILE, "--json").stdout)
    assert again == first


def test_a_file_elsewhere_shows_the_same(call, ran):
    FILE.rename("moved.h5")
    assert call("show", "moved.h5").stdout.startswith(ran.removesuffix(f"Wrote {FILE}\n"))


@pytest.mark.parametrize("share", [0.0, 0.001, 0.3, 0.9, 0.999])
def test_a_file_that_is_cut_off(call, ran, share):
    whole = FILE.read_bytes()
    Path("cut.h5").write_bytes(whole[: int(share * len(whole))])
    answer = call("show", "cut.h5")
    assert (answer.code, answer.stdout) == (1, "")
    assert answer.stderr.startswith("cut.h5: ")
    assert "Traceback" not in answer.stderr
    assert answer.stderr.count("\n") == 1


def test_a_damaged_file(call, ran):
    whole = bytearray(FILE.read_bytes())
    with h5py.File(FILE) as file:
        place = file["measures/depth_m"].id.get_offset()
    whole[place] ^= 1
    FILE.write_bytes(whole)
    answer = call("show", FILE)
    assert (answer.code, answer.stdout) == (1, "")
    assert "is damaged" in answer.stderr


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("none.h5", "no such file"),
        ("pike.toml", "is not an HDF5 file"),
        (".", "is a directory"),
        ("other.h5", "is an HDF5 file without a format"),
    ],
)
def test_files_that_are_no_results(call, pike, name, words):
    with h5py.File("other.h5", "w") as file:
        file["x"] = 1.0
    answer = call("show", name)
    assert (answer.code, answer.stdout) == (1, "")
    assert words in answer.stderr
    assert answer.stderr.count("\n") == 1


@pytest.mark.parametrize("words", [("show", FILE), ("schema",), ("weigh", "pike.toml")])
def test_a_reader_that_goes_away(ran, words):
    process = subprocess.Popen(command(*words), stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    process.stdout.close()
    complaint = process.stderr.read()
    process.stderr.close()
    assert process.wait() == 0
    assert complaint == b""


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="needs /dev/full")
@pytest.mark.parametrize("words", [("show", FILE), ("--help",)])
def test_a_full_disk_behind_standard_output(ran, words):
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            command(*words), stdout=full, stderr=subprocess.PIPE, text=True, check=False
        )
    assert done.returncode == 1
    assert "No space left on device" in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stderr.count("\n") == 1


def test_text_that_the_terminal_cannot_show(shell, pike):
    pike.write_text(pike.read_text().replace('"belly weight"', '"Köder"'), encoding="utf-8")
    answer = shell("weigh", pike, env={**os.environ, "PYTHONIOENCODING": "ascii"})
    assert answer.code == 0
    assert "K\\xf6der" in answer.stdout
    got = shell("weigh", pike, "--json", env={**os.environ, "PYTHONIOENCODING": "ascii"})
    assert "Köder" in [part["name"] for part in json.loads(got.stdout)["parts"]]
