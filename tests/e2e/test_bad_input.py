"""Files and arguments that are wrong in the ways people get them wrong.

Whatever it is: exit code 2, the key named, no traceback, nothing written.
"""

import os
from pathlib import Path

import pytest
from e2e_helpers import PIKE

# What is changed in a sound file, to what, and what the message must name.
SLIPS = {
    # numbers
    "zero length": ("length_mm = 70.0", "length_mm = 0", "bait.body.length_mm"),
    "negative length": ("length_mm = 70.0", "length_mm = -70", "bait.body.length_mm"),
    "nan": ("length_mm = 70.0", "length_mm = nan", "bait.body.length_mm"),
    "infinite": ("width_mm = 18.0", "width_mm = inf", "bait.bill.width_mm"),
    "kg for g": ("density_g_cm3 = 0.42", "density_g_cm3 = 420", "bait.body.density_g_cm3"),
    "no mass": ("mass_g = 2.6", "mass_g = 0", "bait.ballast.0.mass_g"),
    "angle": ("angle_deg = 55.0", "angle_deg = 355", "bait.bill.angle_deg"),
    "exponent": ("exponent = 2.0", "exponent = 1", "bait.body.exponent"),
    "hang up": ("hang_mm = 9.0", "hang_mm = -9.0", "bait.hook.0.hang_mm"),
    "km/h": ("speed_m_s = 1.0", "speed_m_s = 36", "retrieve.speed_m_s"),
    "backward": ("speed_m_s = 1.0", "speed_m_s = -1", "retrieve.speed_m_s"),
    "hot": ("temperature_c = 15.0", "temperature_c = 59", "water.temperature_c"),
    "current": ("current_m_s = 0.0", "current_m_s = 6", "water.current_m_s"),
    "no line": ("length_m = 3.0", "length_m = 0", "line.length_m"),
    "stiffness": ("modulus_gpa = 2.0", "modulus_gpa = 0", "line.modulus_gpa"),
    "table not switched on": ("#step_ms = 2.0", "step_ms = 50", "solver"),
    "huge number": ("length_mm = 70.0", f"length_mm = {'9' * 5000}", "number"),
    # kinds of values
    "text": ("length_mm = 70.0", 'length_mm = "70"', "bait.body.length_mm"),
    "unit in the value": ("length_mm = 70.0", "length_mm = 70 mm", "length_mm = 70"),
    "decimal comma": ("length_mm = 70.0", "length_mm = 70,0", "length_mm = 70.0"),
    "list": ("length_mm = 70.0", "length_mm = [70]", "bait.body.length_mm"),
    "truth for number": ("width_mm = 18.0", "width_mm = true", "bait.bill.width_mm"),
    "number for truth": ("inside = true", "inside = 1", "bait.ballast.0.inside"),
    "number for text": ('outline = "rounded"', "outline = 3", "bait.bill.outline"),
    "capital True": ("inside = true", "inside = True", "inside = true"),
    "no quotes": ('outline = "rounded"', "outline = rounded", 'outline = "rounded"'),
    "no value": ("length_mm = 70.0", "length_mm =", "length_mm"),
    "date": ("length_mm = 70.0", "length_mm = 2024-01-01", "bait.body.length_mm"),
    "leading zero": ("length_mm = 70.0", "length_mm = 070", "length_mm = 70"),
    # choices
    "outline": ('outline = "rounded"', 'outline = "round"', "bait.bill.outline"),
    "mode": ('mode = "tow"', 'mode = "trolling"', "retrieve.mode"),
    "water": ('kind = "fresh"', 'kind = "salt"', "water.kind"),
    # keys and tables
    "spelling": ("speed_m_s = 1.0", "sped_m_s = 1.0", '"sped_m_s". Did you mean "speed_m_s"?'),
    "unit of the key": ("length_mm = 70.0", "length_cm = 7.0", "length_mm"),
    "key left out": ("angle_deg = 55.0 ", "#", 'bait.bill: missing key "angle_deg"'),
    "unknown table": ("[water]", "[wather]", "wather"),
    "wrong place": ("[water]", "[bait.water]", "water"),
    "table twice": ("[water]", "[line]", "line"),
    "key twice": ("angle_deg = 55.0", "angle_deg = 55.0\nangle_deg = 50.0", "angle_deg"),
    "single brackets": ("[[bait.ballast]]", "[bait.ballast]", "bait.ballast"),
    "double brackets": ("[bait.bill]", "[[bait.bill]]", "bait.bill"),
    "open bracket": ("[bait.bill]", "[bait.bill", "[bait.bill"),
    "open quote": ('note = ""', 'note = "', "note"),
    "colon": ("length_mm = 70.0", "length_mm: 70.0", "length_mm: 70.0"),
    "name with blanks": ('name = "pike"', 'name = "my pike"', "name"),
    "name that leaves the folder": ('name = "pike"', 'name = "../pike"', "name"),
    # one thing against another
    "line without tie": ("[bait.tie]", "[bait.tie2]", "tie"),
    "order of stations": ("from_nose_mm = 5.0", "from_nose_mm = 50.0", "bait.body.station"),
    "last station": ("length_mm = 70.0", "length_mm = 75.0", "bait.body"),
    "thick wall": ("exponent = 2.0", "exponent = 2.0\nwall_mm = 20", "wall_mm"),
    "filling without wall": (
        "exponent = 2.0", "exponent = 2.0\nfilling_density_g_cm3 = 1", "filling_density_g_cm3"
    ),
    "polygon without points": ('outline = "rounded"', 'outline = "polygon"', "outline_mm"),
    "half a water": ('kind = "fresh"', "density_kg_m3 = 1000.0", "water"),
    # parts that contradict each other, found when they are put together
    "ballast larger than the body": ("mass_g = 2.6", "mass_g = 260", "bait.ballast"),
    "total below the hardware": ("#total_mass_g = 8.3", "total_mass_g = 2", "bait.total_mass_g"),
}  # fmt: skip


def refused(answer, name: str) -> list[str]:
    """Lines of a complaint, after what holds for all of them."""
    assert answer.code == 2, answer
    assert answer.stdout == ""
    assert "Traceback" not in answer.stderr
    assert name in answer.stderr
    lines = answer.stderr.splitlines()
    assert all(line.strip() for line in lines)
    return lines


@pytest.mark.parametrize("what", SLIPS)
@pytest.mark.parametrize("command", ["check", "run", "weigh"])
def test_slip(call, folder, what, command):
    old, new, named = SLIPS[what]
    assert old in PIKE
    Path("pike.toml").write_text(PIKE.replace(old, new, 1))
    answer = call(command, "pike.toml")
    lines = refused(answer, named)
    assert all(line.removeprefix("warning: ").startswith("pike.toml: ") for line in lines)
    assert not lines[0].startswith("warning: ")
    assert [p.name for p in Path.cwd().iterdir()] == ["pike.toml"]


def test_there_are_enough_of_them():
    assert len(SLIPS) >= 40


FILES = {
    "empty": (b"", "is empty"),
    "blanks": (b" \n\n", "is empty"),
    "comment": (b"# a bait\n", "bait"),
    "no body": (b"[bait]\n", "bait"),
    "prose": (b"a bait of wood\n", "not valid TOML"),
    "json": (b'{"bait": {}}', "not valid TOML"),
    "utf-16": (PIKE.encode("utf-16"), "is not UTF-8"),
    "latin-1": (PIKE.replace('note = ""', 'note = "Köder"').encode("latin-1"), "is not UTF-8"),
    "zeros": (b"\0" * 100, "not valid TOML"),
    "picture": (b"\x89PNG\r\n\x1a\n\0\0", "is not UTF-8"),
    "result": (b"\x89HDF\r\n\x1a\n", "is a result file"),
    "huge": (b"#" * 2_000_000, "too large"),
    "brackets": (b"x = " + b"[" * 5000, "nested too deeply"),
    "cut off": (PIKE[: PIKE.index("density_g_cm3 = 0.42") + 5].encode(), "TOML"),
}


@pytest.mark.parametrize("kind", FILES)
@pytest.mark.parametrize("command", ["check", "run"])
def test_file_that_is_no_configuration(call, folder, kind, command):
    content, words = FILES[kind]
    Path("a.toml").write_bytes(content)
    lines = refused(call(command, "a.toml"), words)
    assert lines[0].startswith("a.toml: ")
    assert len(max(lines, key=len)) < 400
    assert not Path("results").exists()


@pytest.mark.parametrize("command", ["check", "run", "weigh", "sources", "modes"])
def test_no_file(call, pike, command):
    (line,) = refused(call(command, "pik.toml"), "pik.toml")
    assert line == 'pik.toml: no such file. Did you mean "pike.toml"?'
    refused(call(command, "."), "is a directory")


def test_file_without_permission(call, pike):
    pike.chmod(0)
    if os.access(pike, os.R_OK):
        pytest.skip("this user may read anything")
    for command in ("check", "run", "weigh"):
        refused(call(command, pike), "pike.toml: may not be read")
    answer = call("show", pike)
    assert (answer.code, answer.stdout) == (1, "")
    assert "pike.toml: may not be read" in answer.stderr


@pytest.mark.parametrize(
    ("pair", "words"),
    [
        ("nonsense", 'override "nonsense": no = in it'),
        ("=4", "no complete key before the ="),
        ("bait.bill.angle_deg=", "no value after the ="),
        ("bait..angle_deg=4", "no complete key before the ="),
        ("bait.bill.angle=4", '"angle"'),
        ("bait.bill.angle_deg=steep", "bait.bill.angle_deg"),
        ("bait.bill.angle_deg=55 deg", "bait.bill.angle_deg"),
        ("bait.ballast[0].mass_g=3", "Count list entries by dots from 0: bait.ballast.0.mass_g"),
        ("bait.ballast.1.mass_g=3", "bait.ballast has no entry 1"),
        ("bait.ballast.mass_g=3", "Name an entry, counted from 0, as in bait.ballast.0.mass_g"),
        ("bait.bill=3", "bait.bill"),
        ("bait.bill.angle_deg.x=3", "is a decimal number, not a table"),
        ("Water.kind=sea", '"Water"'),
    ],
)
@pytest.mark.parametrize("command", ["check", "run", "weigh", "modes"])
def test_set_that_cannot_be_meant(call, pike, command, pair, words):
    refused(call(command, pike, "--set", pair), words)
    assert not Path("results").exists()


@pytest.mark.parametrize(
    ("words", "named"),
    [
        (("swim",), "No such command 'swim'"),
        (("run",), "Missing argument 'CONFIG'"),
        (("run", "a.toml", "b.toml"), "b.toml"),
        (("run", "a.toml", "--fast"), "No such option: --fast"),
        (("run", "a.toml", "--set"), "--set"),
        (("show",), "Missing argument 'FILE'"),
        (("new",), "Missing argument 'NAME'"),
        (("check", "a.toml", "--output", "x"), "No such option: --output"),
        (("modes",), "Missing argument 'CONFIG'"),
        (("modes", "a.toml", "--output", "x"), "No such option: --output"),
    ],
)
def test_wrong_usage(call, folder, words, named):
    answer = call(*words)
    assert answer.code == 2
    assert answer.stdout == ""
    assert named in answer.stderr
    assert "Error: " in answer.stderr
    assert "Traceback" not in answer.stderr


def test_bad_file_in_another_process(shell, folder):
    Path("a.toml").write_text("[bait]\n")
    for command in ("check", "run", "weigh"):
        refused(shell(command, "a.toml"), "a.toml: bait")
