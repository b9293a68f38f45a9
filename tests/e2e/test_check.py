"""runtrue check: everything wrong at once, and what may be a slip."""

import json
from pathlib import Path

import pytest
from e2e_helpers import without_line


def warnings(answer) -> list[str]:
    """The warnings of a check that found no problem."""
    assert answer.code == 0, answer
    assert answer.stdout == "pike.toml: ok\n"
    start = "warning: pike.toml: "
    lines = answer.stderr.splitlines()
    assert all(line.startswith(start) for line in lines), answer
    return [line.removeprefix(start) for line in lines]


def test_a_sound_file(call, pike):
    assert warnings(call("check", pike)) == []
    got = json.loads(call("check", pike, "--json").stdout)
    assert got == {"ok": True, "problems": [], "warnings": []}


def test_all_problems_at_once(call, pike):
    text = pike.read_text()
    text = text.replace("length_mm = 70.0", "length_mm = -70.0", 1)
    text = text.replace("width_mm = 18.0", 'width_mm = "18"')
    text = text.replace("speed_m_s = 1.0", "sped_m_s = 1.0")
    pike.write_text(text)
    answer = call("check", pike, "--set", "water.temperature_c=99", "--set", "nonsense")
    assert (answer.code, answer.stdout) == (2, "")
    lines = answer.stderr.splitlines()
    assert len(lines) == 5
    for words in (
        'override "nonsense": no = in it.',
        "pike.toml: bait.body.length_mm = -70.0: must be > 0 mm",
        'pike.toml: bait.bill.width_mm = "18": must be a number',
        'pike.toml: retrieve: unknown key "sped_m_s". Did you mean "speed_m_s"?',
        "pike.toml: water.temperature_c = 99",
    ):
        assert sum(line.startswith(words) for line in lines) == 1, (words, answer)
    got = call("check", pike, "--set", "water.temperature_c=99", "--set", "nonsense", "--json")
    assert (got.code, got.stderr) == (2, "")
    document = json.loads(got.stdout)
    assert document == {"ok": False, "problems": lines, "warnings": []}


def test_parts_that_contradict_each_other(call, pike):
    answer = call("check", pike, "--set", "bait.ballast.0.mass_g=200")
    assert (answer.code, answer.stdout) == (2, "")
    assert answer.stderr.startswith(
        "pike.toml: bait.ballast: the pieces inside the body take 17637 mm3, the body has room for"
    )


def test_set_is_read_as_by_run(call, pike):
    assert call("check", pike, "--set", "bait.bill.angle_deg=200").code == 2
    assert call("check", pike, "--set", "bait.bill.outline=square").code == 0


def test_retrieve_without_a_line(call, pike):
    text = pike.read_text()
    pike.write_text(without_line(text) + "\n[retrieve]\nspeed_m_s = 1.0\n")
    (warning,) = warnings(call("check", pike))
    assert warning.startswith("[retrieve] is given without [line]: the bait moves freely")
    pike.write_text(without_line(text))
    assert warnings(call("check", pike)) == []


def test_density_beside_a_weighed_total(call, pike):
    (warning,) = warnings(call("check", pike, "--set", "bait.total_mass_g=8.4"))
    assert warning == (
        "bait.body.density_g_cm3 = 0.42 is not used: bait.total_mass_g = 8.4 decides. Remove one"
        " of them."
    )
    pike.write_text(pike.read_text().replace("density_g_cm3 = 0.42", "", 1))
    assert warnings(call("check", pike, "--set", "bait.total_mass_g=8.4")) == []


def test_kind_and_temperature_beside_a_water_density(call, pike):
    given = ("--set", "water.density_kg_m3=1010", "--set", "water.viscosity_m2_s=1.1e-6")
    (warning,) = warnings(call("check", pike, *given))
    assert warning.startswith("water.kind and water.temperature_c are not used: ")
    text = pike.read_text().replace('kind = "fresh" ', "#")
    pike.write_text(text)
    (warning,) = warnings(call("check", pike, *given))
    assert warning.startswith("water.temperature_c is not used: water.density_kg_m3 = 1010")
    pike.write_text(text.replace("temperature_c = 15.0", ""))
    assert warnings(call("check", pike, *given)) == []


@pytest.mark.parametrize(
    ("key", "value", "gap"),
    [
        # By hand, nearest of: nose section 2 mm below the centreline; bill tip at 7 - 20 cos 55 deg
        # = -4.5 and -6 - 20 sin 55 deg = -22.4 mm; tail section 2.2 mm; back about 8.8 mm high
        # at 14 mm; edge of the bill, 9 mm to the side, 3 to 4 mm away otherwise.
        ("from_nose_mm", -25.0, None),
        ("from_nose_mm", -40.0, 40.0),
        ("from_nose_mm", 99.0, None),
        ("from_nose_mm", 102.0, 32.1),
        ("above_centreline_mm", -45.0, None),
        ("above_centreline_mm", 60.0, 52.3),
        ("right_mm", 37.0, None),
        ("right_mm", 40.0, 31.2),
    ],
)
def test_tie_point_far_from_the_bait(call, pike, key, value, gap):
    found = warnings(call("check", pike, "--set", f"bait.tie.{key}={value}"))
    if gap is None:
        assert found == []
        return
    (warning,) = found
    assert warning.startswith("bait.tie is ")
    assert float(warning.split()[2]) == pytest.approx(gap, abs=0.6)
    assert "mm away from body and bill. Check its position" in warning


A_GRAIN = "bait.ballast.0.mass_g=0.0001"  # too small to come out of the belly anywhere


@pytest.mark.parametrize(
    ("where", "outside"),
    [
        # the section at 26 mm from the nose is 20 mm high and 14 mm wide
        ({"from_nose_mm": 26.0, "above_centreline_mm": -9.9}, False),
        ({"from_nose_mm": 26.0, "above_centreline_mm": -10.1}, True),
        ({"from_nose_mm": 26.0, "above_centreline_mm": 0.0, "right_mm": 6.9}, False),
        ({"from_nose_mm": 26.0, "above_centreline_mm": 0.0, "right_mm": -7.1}, True),
        ({"from_nose_mm": 26.0, "above_centreline_mm": -8.0, "right_mm": 6.0}, True),
        ({"from_nose_mm": -1.0, "above_centreline_mm": 0.0}, True),
        ({"from_nose_mm": 71.0, "above_centreline_mm": 0.0}, True),
    ],
)
@pytest.mark.parametrize("inside", [True, False])
def test_ballast_on_the_wrong_side_of_the_skin(call, pike, where, outside, inside):
    more = [f"bait.ballast.0.{key}={value}" for key, value in where.items()]
    more.append(f"bait.ballast.0.inside={str(inside).lower()}")
    more.append(A_GRAIN)
    found = warnings(call("check", pike, *(word for m in more for word in ("--set", m))))
    if inside == (not outside):
        assert found == []
        return
    (warning,) = found
    side = "outside" if inside else "inside"
    assert warning.startswith(f'bait.ballast.0 ("belly weight") has its centre {side} the body')


def test_upper_and_lower_half_of_a_section_are_told_apart(call, pike):
    text = pike.read_text()
    text = text.replace("upper_mm = 10.0\nlower_mm = 10.0", "upper_mm = 2.0\nlower_mm = 18.0")
    pike.write_text(text)
    at = ("--set", A_GRAIN, "--set", "bait.ballast.0.from_nose_mm=26", "--set")
    assert warnings(call("check", pike, *at, "bait.ballast.0.above_centreline_mm=-17")) == []
    outside, high = warnings(call("check", pike, *at, "bait.ballast.0.above_centreline_mm=3"))
    assert "outside the body" in outside and "top heavy" in high
    at = ("--set", "bait.hook.0.from_nose_mm=26", "--set")
    assert warnings(call("check", pike, *at, "bait.hook.0.above_centreline_mm=-30")) == []
    (warning,) = warnings(call("check", pike, *at, "bait.hook.0.above_centreline_mm=26"))
    assert "its hanger 2" in warning  # 24 mm above the back there, less above its slope


def test_hanger_far_from_the_bait(call, pike):
    assert warnings(call("check", pike, "--set", "bait.hook.1.from_nose_mm=84")) == []
    (warning,) = warnings(call("check", pike, "--set", "bait.hook.1.from_nose_mm=90"))
    assert warning.startswith('bait.hook.1 ("tail hook") has its hanger 20 mm away from body')


def test_slab_sides_reach_into_the_corners(call, pike):
    at = ("--set", A_GRAIN, "--set", "bait.ballast.0.from_nose_mm=26")
    at += ("--set", "bait.ballast.0.right_mm=6")
    at += ("--set", "bait.ballast.0.above_centreline_mm=-8")
    assert len(warnings(call("check", pike, *at))) == 1
    assert warnings(call("check", pike, *at, "--set", "bait.body.exponent=8")) == []


def test_weight_that_comes_out_of_the_belly(call, pike):
    # 2.6 g of lead is a ball of 7.6 mm, 10 mm of belly below the centreline there
    assert warnings(call("check", pike, "--set", "bait.ballast.0.above_centreline_mm=-6.2")) == []
    (warning,) = warnings(call("check", pike, "--set", "bait.ballast.0.above_centreline_mm=-6.7"))
    assert "come out of the belly as a ball of 7.6 mm" in warning


def test_hook_without_drag(call, pike):
    (warning,) = warnings(call("check", pike, "--set", "bait.hook.0.drag_area_mm2=0"))
    assert warning.startswith('bait.hook.0 ("belly hook") has no drag_area_mm2')


def test_warnings_in_json(call, pike):
    answer = call("check", pike, "--set", "bait.total_mass_g=8.4", "--json")
    assert (answer.code, answer.stderr) == (0, "")
    got = json.loads(answer.stdout)
    assert got["ok"] is True
    assert len(got["warnings"]) == 1


def test_check_writes_nothing(call, pike):
    call("check", pike)
    assert [p.name for p in Path.cwd().iterdir()] == ["pike.toml"]
