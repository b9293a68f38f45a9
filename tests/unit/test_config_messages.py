"""What a bait maker reads when a configuration is wrong: each message names the place, the value,
what is allowed with its unit, and what to do."""

import os
import re
from pathlib import Path

import pytest

from sim.config import config_from_dict, load_config
from sim.errors import ConfigError

BASE = """\
name = "pike"

[bait.body]
length_mm = 70.0
density_g_cm3 = 0.4

[[bait.body.station]]
from_nose_mm = 0.0
upper_mm = 1.0
lower_mm = 1.0
half_width_mm = 1.0

[[bait.body.station]]
from_nose_mm = 30.0
upper_mm = 10.0
lower_mm = 10.0
half_width_mm = 7.0

[[bait.body.station]]
from_nose_mm = 70.0
upper_mm = 0.0
lower_mm = 0.0
half_width_mm = 0.0

[bait.bill]
from_nose_mm = 7.0
above_centreline_mm = -6.0
length_mm = 20.0
width_mm = 18.0
angle_deg = 55.0
outline = "rounded"

[[bait.ballast]]
mass_g = 2.5
from_nose_mm = 27.0
above_centreline_mm = -6.0
inside = true

[[bait.hook]]
mass_g = 0.8
from_nose_mm = 28.0
above_centreline_mm = -10.0

[[bait.hook]]
name = "tail hook"
hang_mm = 9.0
mass_g = 0.7
from_nose_mm = 70.0
above_centreline_mm = 0.0

[bait.tie]
from_nose_mm = 3.0
above_centreline_mm = -4.0

[line]
length_m = 3.0

[retrieve]
speed_m_s = 1.0

[water]
temperature_c = 15.0

[start]
depth_m = 0.5

[solver]
duration_s = 8.0

[loads]
wake = true

[coefficients]
strouhal = 0.15
"""
TIE = BASE[BASE.index("[bait.tie]") : BASE.index("[line]")]


def write(folder, text, name="pike.toml"):
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def problems(path, overrides=None):
    """Problem lines of a file that must fail, without the path in front."""
    with pytest.raises(ConfigError) as caught:
        load_config(path, overrides)
    lines = caught.value.problems
    assert str(caught.value) == "\n".join(lines)
    for line in lines:
        assert line.startswith(f"{path}: "), line
        assert "\n" not in line
        assert line.endswith((".", "?")), line
        for jargon in ("Input", "pydantic", "Traceback", "Extra inputs", "Field required", "None"):
            assert jargon not in line
    return [line.removeprefix(f"{path}: ") for line in lines]


def changed(old, new):
    """The base file with the first run of whole lines ``old`` replaced by ``new`` ("" for none)."""
    text = f"\n{BASE}"
    assert f"\n{old}\n" in text
    return text.replace(f"\n{old}\n", f"\n{new}\n" if new else "\n", 1)[1:]


def one_slip_cases():
    """Cases of config_messages.txt as (lines out, lines in, message)."""
    text = (Path(__file__).parent / "config_messages.txt").read_text(encoding="utf-8")
    cases = []
    for block in re.split(r"\n\n+", text):
        lines = [line for line in block.split("\n") if line and line[0] in "-+="]
        if lines:
            out, put, message = ([ln[1:] for ln in lines if ln[0] == sign] for sign in "-+=")
            cases.append(("\n".join(out), "\n".join(put), *message))
    return cases


ONE_SLIP = one_slip_cases()


def test_the_base_file_is_sound(tmp_path):
    assert load_config(write(tmp_path, BASE)).bait.body.length_mm == 70.0
    assert len(ONE_SLIP) >= 45
    assert len({(old, new) for old, new, _ in ONE_SLIP}) == len(ONE_SLIP)


@pytest.mark.parametrize(("old", "new", "message"), ONE_SLIP, ids=[c[2][:60] for c in ONE_SLIP])
def test_one_slip_gives_one_clear_line(tmp_path, old, new, message):
    assert problems(write(tmp_path, changed(old, new))) == [message]


ELLIPSOID = """\
[bait.body]
form = "ellipsoid"
length_mm = 70.0
height_mm = 20.0
width_mm = 14.0
density_g_cm3 = 0.4
"""
WHOLE_FILES = [
    (
        "# only a remark\n",
        "missing table [bait] (the bait and its parts). Add [bait.body], [bait.bill] and so on.",
    ),
    (
        "bait = 3\n",
        "bait = 3: must be a table, not a whole number. Write [bait] and its keys below it.",
    ),
    (
        "[bait]\n",
        "bait: has no part with mass. Add at least one of [bait.body], [bait.bill], [[bait.plate]],"
        " [[bait.ballast]] or [[bait.hook]] with a mass > 0 g.",
    ),
    (
        "[[bait.hook]]\nmass_g = 0\nfrom_nose_mm = 0\nabove_centreline_mm = 0\n",
        "bait: has no part with mass. Add at least one of [bait.body], [bait.bill], [[bait.plate]],"
        " [[bait.ballast]] or [[bait.hook]] with a mass > 0 g.",
    ),
    (
        "[bait]\ntotal_mass_g = 9.5\n[[bait.hook]]\nmass_g = 1\nfrom_nose_mm = 0\n"
        "above_centreline_mm = 0\n",
        "bait.total_mass_g = 9.5: needs a body, whose density it scales. Add [bait.body], or remove"
        " this key and give the mass of each part.",
    ),
    (
        "[bait.body]\nlength_mm = 70\ndensity_g_cm3 = 0.4\n",
        "bait.body.station: at least 3 stations are needed, 0 given. Add [[bait.body.station]]"
        " tables with from_nose_mm, upper_mm, lower_mm and half_width_mm, or set form ="
        ' "ellipsoid".',
    ),
    (
        ELLIPSOID.replace("height_mm = 20.0\n", ""),
        'bait.body: missing key "height_mm" (greatest height of the ellipsoid [mm]), needed with'
        ' form = "ellipsoid". Add "height_mm = ..." under [bait.body].',
    ),
    (
        ELLIPSOID + "exponent = 4\n",
        'bait.body.exponent = 4: must be 2 with form = "ellipsoid". Remove the key, or describe'
        " slab sides with stations.",
    ),
    (
        ELLIPSOID + "wall_mm = 8\n",
        "bait.body.wall_mm = 8: must be < 7 mm, half of the smallest greatest dimension of the"
        " body. Give a thinner wall, or leave the key out for a solid body.",
    ),
    (
        ELLIPSOID + "[[bait.body.station]]\nfrom_nose_mm = 0\nupper_mm = 1\nlower_mm = 1\n"
        "half_width_mm = 1\n",
        'bait.body.station: stations cannot be given with form = "ellipsoid". Remove the'
        ' [[bait.body.station]] tables, or set form = "stations".',
    ),
    (
        'bait.hook = ["big"]\n',
        'bait.hook.0 = "big" (1st [[bait.hook]]): must be a table, not text. Write [[bait.hook]]'
        " and its keys below it.",
    ),
    (
        "[[bait.ballast]]\nmass_g = 5\nfrom_nose_mm = 0\nabove_centreline_mm = 0\n",
        "bait.ballast.0.inside = true (default, 1st [[bait.ballast]]): a weight cannot sit inside,"
        " there is no body. Add [bait.body], or set inside = false.",
    ),
]


@pytest.mark.parametrize(("text", "message"), WHOLE_FILES)
def test_whole_files(tmp_path, text, message):
    assert problems(write(tmp_path, text)) == [message]


SYNTAX = [
    ("length_mm = 69,5", 1, "Use a decimal point: length_mm = 69.5."),
    ("length_mm = 70 mm", 1, "Write the number alone, the key names the unit: length_mm = 70."),
    (
        "[bait.body]\nlength_mm = .5",
        2,
        "Write a digit on both sides of the point: length_mm = 0.5.",
    ),
    ("a = 1\nname = pike", 2, 'Put text in double quotes: name = "pike".'),
    ("inside = True  # yes", 1, "Write inside = true."),
    ("inside = no", 1, "Write inside = false."),
    ("length_mm = 070", 1, "Write the number without leading zeros: length_mm = 70."),
    ("length_mm =", 1, "Give a value after the =, or remove length_mm."),
    ("length_mm 70", 1, "Every line is key = value, a [table], or a # comment."),
    (
        "[bait.body",
        1,
        "A table is opened by [bait.body], a list entry by [[bait.hook]], alone on its line.",
    ),
    ("a = 1\n\na = 2", 3, "This key or table stands in the file twice: remove one."),
    ("[line]\n[water]\n[line]", 3, "This key or table stands in the file twice: remove one."),
    (
        "[bait.hook]\n[[bait.hook]]",
        2,
        "The table stands in the file with single brackets too: open each with [[bait.hook]].",
    ),
    ('name = "pike', 1, "Close the text with a double quote."),
    ('name = "pike\nnote = ""', 1, "Close the text with a double quote."),
    ("v = [1, 2", 1, "Close the list with ]."),
    ('v = "a" "b"', 1, "Text needs double quotes, numbers a decimal point, lists [ ] with commas."),
]


@pytest.mark.parametrize(("text", "line", "hint"), SYNTAX)
def test_toml_syntax_error_shows_line_and_hint(tmp_path, text, line, hint):
    (message,) = problems(write(tmp_path, text + "\n"))
    offending = text.split("\n")[line - 1]
    assert message.startswith(f"line {line}, column ")
    assert f'"{offending}" is not valid TOML (' in message
    assert message.endswith(f" {hint}")


def test_syntax_error_in_a_file_with_windows_line_ends(tmp_path):
    path = tmp_path / "dos.toml"
    path.write_bytes(b"a = 1\r\nb = 2,5\r\n")
    assert problems(path) == [
        'line 2, column 6: "b = 2,5" is not valid TOML (Expected newline or end of document after a'
        " statement). Use a decimal point: b = 2.5."
    ]


def test_absurd_text_is_no_crash(tmp_path):
    assert problems(write(tmp_path, "a = " + "[" * 20_000)) == [
        "brackets nested too deeply. Look for stray [ or { and remove them."
    ]
    assert problems(write(tmp_path, "a = " + "9" * 6000)) == [
        "a number has thousands of digits. Look for a key held down, and correct it."
    ]
    (message,) = problems(write(tmp_path, changed("length_mm = 70.0", f"length_mm = {'9' * 400}")))
    assert message == (
        "bait.body.length_mm = a number above 1e30: must be a number > 0 mm, not one of hundreds of"
        " digits. Correct it."
    )
    assert problems(write(tmp_path, changed("inside = true", f"inside = {'9' * 400}")))


# ------------------------------------------------------------------------------- files themselves


def test_missing_file_names_the_nearest(tmp_path):
    write(tmp_path, BASE, "perch.toml")
    wanted = tmp_path / "perhc.toml"
    assert problems(wanted) == [f'no such file. Did you mean "{tmp_path / "perch.toml"}"?']
    assert problems(tmp_path / "zzz.toml") == [
        "no such file. Start from the file that `runtrue new NAME` writes."
    ]
    (message,) = problems(tmp_path / "nowhere" / "x.toml")
    assert message == (
        f"no such file. The directory {tmp_path / 'nowhere'} cannot be read either: check the path."
    )


def test_directory(tmp_path):
    assert problems(tmp_path) == ["is a directory. Name a TOML file in it."]


def test_pipe_is_refused_rather_than_waited_for(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    assert problems(tmp_path / "pipe") == ["is not an ordinary file. Name a TOML file."]


def test_unreadable_file(tmp_path, monkeypatch):
    path = write(tmp_path, BASE)

    def refuse(self):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("pathlib.Path.read_bytes", refuse)  # root may read every file
    assert problems(path) == ["may not be read. Give yourself permission to read the file."]


def test_path_through_a_file(tmp_path):
    path = write(tmp_path, BASE)
    assert problems(path / "x.toml") == ["cannot be read (Not a directory). Check the path."]


@pytest.mark.parametrize("raw", [b"", b"  \n\t\n", b"\xef\xbb\xbf\r\n"])
def test_empty_file(tmp_path, raw):
    path = tmp_path / "empty.toml"
    path.write_bytes(raw)
    assert problems(path) == [
        "the file is empty. Start from the file that `runtrue new NAME` writes."
    ]


def test_binary_and_other_encodings(tmp_path):
    path = tmp_path / "x.toml"
    path.write_bytes(b"a = 1\nname = \xff\xfe\x00\n")
    assert problems(path) == ["line 2: is not UTF-8 text. Save the file as plain text in UTF-8."]
    path.write_bytes(BASE.encode("utf-16"))
    assert problems(path) == ["line 1: is not UTF-8 text. Save the file as plain text in UTF-8."]
    path.write_bytes(b"\x89HDF\r\n\x1a\n" + bytes(100))
    assert problems(path) == [
        "is a result file (HDF5), not a configuration. Name the TOML file of the bait."
    ]
    path.write_bytes(b"#" * 1_500_000)
    assert problems(path) == [
        "has 1.5 MB, too large for a configuration (at most 1 MB). Name the TOML file of the bait."
    ]


# ----------------------------------------------------------------------------------- all at once


def test_all_problems_of_all_tables_at_once(tmp_path):
    text = BASE
    for old, new in (
        ("length_mm = 20.0", "length_mm = -20.0"),
        ("mass_g = 0.8", 'mass_g = "light"'),
        ("duration_s = 8.0", "duration_s = 60\nrtol = 2.0"),
        ("temperature_c = 15.0", "viscosity_m2_s = 1e-6"),
        (TIE, ""),
        ("wake = true", "wakes = true"),
        ("from_nose_mm = 30.0", "from_nose_mm = 90.0"),
        ("density_g_cm3 = 0.4\n", ""),
    ):
        assert old in text
        text = text.replace(old, new, 1)
    found = problems(write(tmp_path, text))
    starts = [
        "bait.bill.length_mm = -20.0: must be > 0 mm",
        'bait.hook.0.mass_g = "light" (1st [[bait.hook]]): must be a number >= 0 g',
        "solver.rtol = 2.0: must be from 1e-13 to 0.1",
        'loads: unknown key "wakes". Did you mean "wake"?',
        "bait.body.station.2.from_nose_mm = 70.0 (3rd [[bait.body.station]]): must be > 90 mm",
        'bait.body: missing key "density_g_cm3"',
        'water.viscosity_m2_s = 1e-06: needs "density_kg_m3" [kg/m3] beside it',
        "solver.max_duration_s = 24.0 (default): must be >= duration_s = 60 s",
        "bait: missing table [bait.tie]",
    ]
    assert len(found) == len(starts)
    for start in starts:
        assert sum(line.startswith(start) for line in found) == 1, start


def test_a_rule_is_silent_where_its_value_has_failed(tmp_path):
    text = changed("from_nose_mm = 30.0", 'from_nose_mm = "middle"').replace(
        "duration_s = 8.0", "duration_s = -60"
    )
    assert [line.split(" ")[0] for line in problems(write(tmp_path, text))] == [
        "bait.body.station.1.from_nose_mm",
        "solver.duration_s",
    ]


def test_a_misspelt_key_is_not_reported_missing_too(tmp_path):
    text = changed("width_mm = 18.0", "widht_mm = 18.0").replace("density_g_cm3", "densty_g_cm3")
    assert problems(write(tmp_path, text)) == [
        'bait.body: unknown key "densty_g_cm3". Did you mean "density_g_cm3"?',
        'bait.bill: unknown key "widht_mm". Did you mean "width_mm"?',
    ]


# -------------------------------------------------------------------------------------- overrides

OVERRIDES = [
    (
        "bait.tie.above_centerline_mm",
        -3.0,
        'bait.tie: unknown key "above_centerline_mm" (override). Did you mean'
        ' "above_centreline_mm"?',
    ),
    ("bait.tye.right_mm", 1.0, 'bait: unknown key "tye" (override). Did you mean "tie"?'),
    (
        "bait.foo.0.x",
        1,
        'bait: unknown key "foo" (override). Known here: total_mass_g, body, bill,'
        " plate, ballast, hook, tie.",
    ),
    ("speed_m_s", 2.0, 'unknown key "speed_m_s" (override). "speed_m_s" belongs in retrieve.'),
    (
        "bait.ballast.0.mass_g",
        -1,
        "bait.ballast.0.mass_g = -1 (1st [[bait.ballast]], override): must be > 0 g (mass of the"
        " weight). Drop the minus sign.",
    ),
    (
        "bait.tie.right_mm",
        "1,5",
        'bait.tie.right_mm = "1,5" (override): must be a number in mm, not text. Write it with a'
        " decimal point and without quotes: right_mm = 1.5.",
    ),
    (
        "bait.hook.2.mass_g",
        1.0,
        "override bait.hook.2.mass_g = 1.0: bait.hook has no entry 2. Its 2 are counted from 0, the"
        " last is 1.",
    ),
    (
        "bait.ballast.1.mass_g",
        1.0,
        "override bait.ballast.1.mass_g = 1.0: bait.ballast has no entry 1. It has one, number 0.",
    ),
    (
        "bait.hook.-1.mass_g",
        1.0,
        "override bait.hook.-1.mass_g = 1.0: bait.hook has no entry -1. Its 2 are counted from 0,"
        " the last is 1.",
    ),
    (
        "bait.hook.mass_g",
        1.0,
        "override bait.hook.mass_g = 1.0: bait.hook is a list. Name an entry, counted from 0, as in"
        " bait.hook.0.mass_g.",
    ),
    (
        "bait.plate.0.width_mm",
        9.0,
        "override bait.plate.0.width_mm = 9.0: there is no [[bait.plate]]. Add it to the file"
        " first.",
    ),
    (
        "bait.hook[0].mass_g",
        1.0,
        "override bait.hook[0].mass_g = 1.0: the key has brackets. Count list entries by dots from"
        " 0: bait.hook.0.mass_g.",
    ),
    (
        "bait.body.length_mm.max",
        1.0,
        "override bait.body.length_mm.max = 1.0: bait.body.length_mm is a decimal number, not a"
        ' table: it has no key "max".',
    ),
    (
        "bait..tie",
        1.0,
        "override bait..tie = 1.0: the key has an empty part. Write it like"
        " bait.tie.above_centreline_mm.",
    ),
    (
        "start.velocity_m_s.0",
        1.0,
        "override start.velocity_m_s.0 = 1.0: start.velocity_m_s is not given in the file. Give the"
        " whole list: start.velocity_m_s=[...].",
    ),
]


@pytest.mark.parametrize(("key", "value", "message"), OVERRIDES, ids=[c[0] for c in OVERRIDES])
def test_bad_override(tmp_path, key, value, message):
    assert problems(write(tmp_path, BASE), {key: value}) == [message]


def test_bad_overrides_and_bad_values_come_together(tmp_path):
    text = changed("length_mm = 70.0", "length_mm = 0")
    found = problems(write(tmp_path, text), {"bait.hook.7.mass_g": 1.0, "water.kind": "beer"})
    assert [line.split(":")[0] for line in found] == [
        "override bait.hook.7.mass_g = 1.0",
        "bait.body.length_mm = 0",
        'water.kind = "beer" (override)',
    ]


def test_python_data_of_the_wrong_kind():
    with pytest.raises(ConfigError, match=r"^mine: must be a mapping of tables, not a list\.$"):
        config_from_dict([], "mine")
    with pytest.raises(ConfigError) as caught:
        config_from_dict({"bait": {"body": object()}, 3: 1}, "mine")
    assert caught.value.problems == [
        caught.value.problems[0],
        'mine: unknown key "3". Known here: name, note, bait, line, retrieve, water, start, solver,'
        " limits, loads, coefficients, build, uncertainty.",
    ]
    assert "must be a table, not a Python object. Write [bait.body]" in caught.value.problems[0]
    with pytest.raises(
        ConfigError, match=r"bait.body.length_mm = nothing: must be a number > 0 mm"
    ):
        config_from_dict({"bait": {"body": {"length_mm": None, "density_g_cm3": 1}}})
