"""runtrue weigh: the answers of bench and bath tub, against sums done by hand."""

import json
import math
import re
from pathlib import Path

import numpy as np
import pytest

import sim
from sim.hydrostatics import rest, terminal_speed
from sim.water import water_properties

# A 5:1 ellipsoid: everything about it is known in closed form.
ELLIPSOID = """\
[bait.body]
form = "ellipsoid"
length_mm = 100.0
height_mm = 20.0
width_mm = 20.0
density_g_cm3 = 0.5
"""
VOLUME_CM3 = math.pi / 6.0 * 10.0 * 2.0 * 2.0


@pytest.fixture
def ellipsoid(folder):
    path = Path("egg.toml")
    path.write_text(ELLIPSOID)
    return path


def table_row(text: str, name: str) -> list[float]:
    """The numbers of one row of a table."""
    found = re.search(rf"^  {re.escape(name)}((?: +-?[\d.]+)+)$", text, re.MULTILINE)
    assert found, f"no row {name!r} in\n{text}"
    return [float(word) for word in found[1].split()]


def test_json_against_hand_values(call, ellipsoid):
    answer = call("weigh", ellipsoid, "--json")
    assert (answer.code, answer.stderr) == (0, "")
    got = json.loads(answer.stdout)
    assert got["mass_g"] == pytest.approx(0.5 * VOLUME_CM3, rel=1e-9)
    assert got["displaced_cm3"] == pytest.approx(VOLUME_CM3, rel=1e-9)
    assert got["centre_of_gravity"] == pytest.approx(
        {"from_nose_mm": 50.0, "above_centreline_mm": 0.0, "right_mm": 0.0}, abs=1e-6
    )
    rho = got["water"]["density_kg_m3"] * 1e-3  # g/cm3
    assert got["kind"] == "floats"
    assert got["reserve_buoyancy_g"] == pytest.approx((rho - 0.5) * VOLUME_CM3, rel=1e-9)
    # Lamb, Hydrodynamics, art. 114-115, evaluated: 0.0591 along and 0.8943 across at 5:1.
    added = np.array(got["added_mass"])
    assert added[0, 0] == pytest.approx(0.0591 * rho * VOLUME_CM3, rel=2e-3)
    assert added[1, 1] == pytest.approx(0.8943 * rho * VOLUME_CM3, rel=2e-3)
    assert added[2, 2] == pytest.approx(added[1, 1], rel=1e-9)
    # Solid ellipsoid: m (b^2 + c^2) / 5 about the long axis, m (a^2 + b^2) / 5 across, in mm.
    mass = got["mass_g"]
    inertia = np.array(got["inertia_g_mm2"])
    assert np.diag(inertia) == pytest.approx(
        [mass * 200.0 / 5.0, mass * 2600.0 / 5.0, mass * 2600.0 / 5.0], rel=1e-6
    )
    assert np.count_nonzero(inertia - np.diag(np.diag(inertia))) == 0
    assert (got["body_density_g_cm3"], got["body_density_from"]) == (0.5, "density_g_cm3")


def test_json_keys_are_the_documented_ones(call, ellipsoid):
    got = json.loads(call("weigh", ellipsoid, "--json").stdout)
    assert list(got) == [
        "name", "config", "parts", "mass_g", "displaced_cm3", "kind", "reserve_buoyancy_g",
        "centre_of_gravity", "centre_of_buoyancy", "body_density_g_cm3", "body_density_from",
        "rest", "terminal", "added_mass", "added_mass_units", "inertia_g_mm2", "water",
        "cautions",
    ]  # fmt: skip
    assert list(got["parts"][0]) == [
        "name", "kind", "mass_g", "from_nose_mm", "above_centreline_mm", "right_mm",
        "displaced_cm3",
    ]  # fmt: skip
    assert list(got["rest"]) == [
        "pitch_deg", "heel_deg", "depth_mm", "waterline_nose_mm", "waterline_tail_mm"
    ]  # fmt: skip
    assert list(got["terminal"]) == ["speed_m_s", "pitch_deg", "settled", "note"]
    assert np.shape(got["added_mass"]) == (6, 6)
    assert got["added_mass_units"] == [["g", "g mm"], ["g mm", "g mm2"]]


def test_text_against_hand_values(call, ellipsoid):
    text = call("weigh", ellipsoid).stdout
    assert text.startswith(f"egg\n  Mass          {0.5 * VOLUME_CM3:.2f} g\n")
    assert f"  Displaces     {VOLUME_CM3:.2f} cm3\n" in text
    rho = water_properties(sim.load_config(ellipsoid).water).density * 1e-3
    assert f"  In the water  floats, {(rho - 0.5) * VOLUME_CM3:.2f} g to spare\n" in text
    assert "  Of gravity     50.0 mm behind the nose tip, on the centreline\n" in text
    assert "  Body material  0.500 g/cm3, as given\n" in text
    assert table_row(text, "body") == [10.472, 50.0, 0.0, 0.0, 20.944]
    assert table_row(text, "all") == [10.472, 50.0, 0.0, 0.0, 20.944]


def test_a_wide_bait_lies_level_with_half_its_height_in_the_water(call, ellipsoid):
    # Half as heavy as water: to the middle, but for water being 0.999 g/cm3.
    text = call("weigh", ellipsoid, "--set", "bait.body.width_mm=40").stdout
    assert "  At rest       level\n  Waterline     on the centreline at the nose tip\n" in text


def test_parts_table(call, pike):
    text = call("weigh", pike).stdout
    assert table_row(text, "belly weight") == [2.6, 27.0, -6.0, 0.0, 0.0]
    # the hanger is at -10.5, the hook hangs 9 mm below it; 0.8 g of steel at 7.85 g/cm3
    assert table_row(text, "belly hook") == [0.8, 28.0, -19.5, 0.0, 0.102]
    # what the lead replaces: 2.6 g / 11.34 g/cm3 of wood of 0.42 g/cm3
    assert table_row(text, "hole for belly weight") == [-0.096, 27.0, -6.0, 0.0, 0.0]
    parts = [p["mass_g"] for p in json.loads(call("weigh", pike, "--json").stdout)["parts"]]
    assert table_row(text, "all")[0] == pytest.approx(sum(parts), abs=5e-4)


def test_added_mass_table_is_the_matrix_in_grams(call, pike):
    text = call("weigh", pike).stdout
    matrix = sim.assemble(sim.load_config(pike)).added_mass
    rows = [table_row(text, name) for name in ("surge", "sway", "heave")]
    rows += [[float(w) for w in re.findall(rf"^  {n} (.*)$", text, re.MULTILINE)[0].split()]
             for n in ("roll", "pitch", "yaw")]  # fmt: skip
    scale = np.repeat([1.0, 1e3], 3)
    expected = 1e3 * matrix * np.outer(scale, scale)
    assert np.array(rows) == pytest.approx(expected, rel=1e-3, abs=1e-9)
    assert "g with each other, g mm with the last three" in text


def test_rest_and_terminal_speed_are_those_of_the_library(call, pike):
    got = json.loads(call("weigh", pike, "--json").stdout)
    config = sim.load_config(pike)
    at_rest, let_go = rest(config, sim.assemble(config)), terminal_speed(config)
    assert got["rest"]["pitch_deg"] == at_rest.pitch_deg
    assert got["rest"]["depth_mm"] == at_rest.depth_m * 1e3
    assert got["rest"]["waterline_nose_mm"] == at_rest.waterline_nose_mm
    assert got["terminal"]["speed_m_s"] == let_go.speed_m_s
    text = call("weigh", pike).stdout
    assert f"rises at {-let_go.speed_m_s:.3f} m/s, {let_go.pitch_deg:.1f} deg nose up" in text
    assert f"{at_rest.waterline_tail_mm:.1f} mm above the centreline at the tail" in text


def test_a_bait_that_sinks(call, ellipsoid):
    more = ("--set", "bait.body.density_g_cm3=1.5")
    text = call("weigh", ellipsoid, *more).stdout
    assert "sinks, " in text and " g too heavy" in text
    assert "At rest       hangs " in text
    assert "Waterline" not in text
    assert re.search(r"Let go        sinks at \d", text)
    got = json.loads(call("weigh", ellipsoid, *more, "--json").stdout)
    assert got["kind"] == "sinks"
    assert got["rest"]["depth_mm"] is None
    assert got["rest"]["waterline_nose_mm"] is None
    assert got["terminal"]["speed_m_s"] > 0.0


def test_a_bait_that_suspends(call, ellipsoid):
    text = call("weigh", ellipsoid, "--set", "bait.body.density_g_cm3=0.9991").stdout
    assert "  In the water  suspends, 0.00 g" in text


def test_heel_is_told_in_words(call, pike):
    text = call("weigh", pike, "--set", "bait.ballast.0.right_mm=2").stdout
    assert re.search(r"At rest .* heeled [\d.]+ deg to starboard", text)
    assert re.search(r"Of gravity .* mm to starboard", text)
    text = call("weigh", pike, "--set", "bait.ballast.0.right_mm=-2").stdout
    assert re.search(r"At rest .* heeled [\d.]+ deg to port", text)


def test_density_follows_from_the_weighed_total(call, pike):
    got = json.loads(call("weigh", pike, "--set", "bait.total_mass_g=9", "--json").stdout)
    assert got["mass_g"] == pytest.approx(9.0, rel=1e-9)
    assert got["body_density_from"] == "total_mass_g"
    text = call("weigh", pike, "--set", "bait.total_mass_g=9").stdout
    assert f"Body material  {got['body_density_g_cm3']:.3f} g/cm3, from the weighed total" in text


@pytest.mark.parametrize(
    ("density", "lead"),
    [(10.89, False), (10.9, True), (11.34, True), (11.5, True), (11.51, False), (18.0, False)],
)
def test_caution_on_lead(call, pike, density, lead):
    more = ("--set", f"bait.ballast.0.density_g_cm3={density}")
    text = " ".join(call("weigh", pike, *more).stdout.split())
    caution = (
        f'Caution "belly weight" ({density:g} g/cm3): lead by the density. Lead tackle is banned'
        " on some waters: local rules decide. Wash your hands after handling it."
    )
    assert (caution in text) == lead
    assert bool(json.loads(call("weigh", pike, *more, "--json").stdout)["cautions"]) == lead


def test_a_bait_without_a_body(call, folder):
    Path("fin.toml").write_text(
        '[[bait.plate]]\nname = "kéel"\nfrom_nose_mm = 0\nabove_centreline_mm = 0\n'
        "length_mm = 40\nwidth_mm = 20\nangle_deg = 180\noutline = 'square'\n"
    )
    answer = call("weigh", "fin.toml")
    assert answer.code == 0
    # 40 x 20 x 1 mm of 1.2 g/cm3
    assert table_row(answer.stdout, "kéel") == [0.96, 20.0, 0.0, 0.0, 0.8]
    assert "Body material" not in answer.stdout
    assert table_row(answer.stdout, "surge") == [0.0] * 6  # no rounding errors shown


def test_weigh_writes_nothing(call, pike):
    call("weigh", pike)
    assert [p.name for p in Path.cwd().iterdir()] == ["pike.toml"]


def test_parts_that_contradict_each_other(call, pike):
    answer = call("weigh", pike, "--set", "bait.total_mass_g=2")
    assert (answer.code, answer.stdout) == (2, "")
    assert "bait.total_mass_g = 2: must be > 4.586 g" in answer.stderr
