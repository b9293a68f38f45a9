"""The list of loads and coefficients: complete, what the kernels get, and as the page has it."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import sim
from sim.coefficients import GIVEN, OFF, STATUSES, THIS_CONFIGURATION, Coefficient
from sim.config import config_from_dict, load_config
from sim.config.models import Coefficients, Limits, Loads
from sim.config.units import unit_of
from sim.kernels import layout as lo
from sim.model import build_model
from sim.start import start_state

TOP = Path(__file__).parents[2]
PAGE = (TOP / "docs" / "equations.md").read_text("utf-8")
CONFIGS = sorted((TOP / "configs").glob("*.toml"))
SHALLOW = TOP / "configs" / "shallow-runner.toml"
KEEL = {
    "name": "keel", "from_nose_mm": 40.0, "above_centreline_mm": -8.0, "length_mm": 15.0,
    "width_mm": 12.0, "angle_deg": 90.0, "cant_deg": 90.0,
}  # fmt: skip
# All that a bait can have: a second plate, a shadow behind the bill, a current.
EVERYTHING = {
    "bait.plate": [KEEL], "coefficients.bill_shadow": 0.2, "water.current_m_s": 0.1
}  # fmt: skip
EGG = {
    "bait": {"body": {"form": "ellipsoid", "length_mm": 70.0, "height_mm": 20.0, "width_mm": 14.0,
                      "density_g_cm3": 0.4}}
}  # fmt: skip
# Loads that stand on another one: with it off they have nothing to act on.
STAND_ON = {"bill": {"Wake of the bill"}, "body_drag": {"Bill shadow"}}


def full(**more: Any) -> sim.Config:
    return load_config(SHALLOW, {**EVERYTHING, **more})


def one(rows: tuple[Coefficient, ...], **wanted: str) -> Coefficient:
    """The one row whose fields are as wanted; a name may be its beginning."""
    found = [
        row
        for row in rows
        if all(
            row.name.startswith(text) if field == "name" else getattr(row, field) == text
            for field, text in wanted.items()
        )
    ]
    assert len(found) == 1, (wanted, found)
    return found[0]


def number(rows: tuple[Coefficient, ...], **wanted: str) -> float:
    value = one(rows, **wanted).value
    assert value is not None
    return value


# -------------------------------------------------------------------------------------- complete


@pytest.mark.parametrize("key", sorted(Coefficients.model_fields))
def test_every_coefficient_is_listed_and_shows_what_is_set(key):
    dotted = f"coefficients.{key}"
    rows = [row for row in sim.sources(full()) if row.key == dotted]
    assert len(rows) == 1
    value = round((rows[0].value or 0.0) + 0.05, 6)
    for row in sim.sources(full(**{dotted: value})):
        if row.key == dotted:
            assert (row.value, row.given) == (value, True)
            assert (row.source, row.status) == (THIS_CONFIGURATION, GIVEN)
    if dotted not in EVERYTHING:
        assert not any(row.given or row.source == THIS_CONFIGURATION for row in rows)


@pytest.mark.parametrize("key", sorted(Limits.model_fields))
def test_every_limit_is_a_convention(key):
    row = one(sim.sources(full()), key=f"limits.{key}")
    assert (row.value, row.status) == (getattr(Limits(), key), "convention")


@pytest.mark.parametrize("key", sorted(Loads.model_fields))
def test_a_load_that_is_off_is_not_among_the_active_ones(key):
    switch = f"loads.{key}"
    before, after = sim.sources(full()), sim.sources(full(**{switch: False}))
    assert switch in {row.switch for row in before}
    assert switch not in {row.switch for row in after}
    assert any(row.key == switch and row.switch == switch for row in sim.loads_off(
        full(**{switch: False})))  # fmt: skip
    gone = {row.load for row in before} - {row.load for row in after}
    kept = {row.load for row in before if row.switch != switch}
    assert gone & kept == STAND_ON.get(key, set())
    # no other value changes with the switch
    assert set(after) <= set(before)
    lost = {row.name for row in set(before) - set(after) if row.load not in gone}
    assert lost == {
        "added_mass": {"added mass whose steady couple is taken off"},
        "wake": {"start value of the wake oscillator"},
        "bill": {"start value of the wake oscillator"},
    }.get(key, set())


@pytest.mark.parametrize("path", CONFIGS, ids=lambda p: p.stem)
def test_a_load_is_on_or_off(path):
    config = load_config(path)
    on, off = sim.sources(config), sim.loads_off(config)
    assert {row.load for row in off} == {"Current", "Further plates", "Bill shadow"}
    assert not {row.load for row in on} & {row.load for row in off}
    assert all(row.status != OFF and row.value is not None for row in on)
    assert all(row.status == OFF and row.value is None and row.source and row.key for row in off)
    loads = [row.load for row in on]
    in_runs = [load for i, load in enumerate(loads) if i == 0 or loads[i - 1] != load]
    assert len(in_runs) == len(set(in_runs))  # rows of one load follow each other


@pytest.mark.parametrize("path", CONFIGS, ids=lambda p: p.stem)
def test_every_row_is_whole(path):
    rows = sim.sources(load_config(path, EVERYTHING))
    for row in rows:
        assert row.load and row.name and row.unit and row.source
        assert row.status in STATUSES
        assert math.isfinite(row.value)
        assert row.given == (row.source == THIS_CONFIGURATION) == (row.status == GIVEN)
        if row.key and not row.name.startswith("density of the body"):
            assert row.unit == (unit_of(row.key) or "1")
    assert len({(row.load, row.name) for row in rows}) == len(rows)


def test_what_a_bare_body_lacks():
    config = config_from_dict(EGG)
    off = {row.load: row.source for row in sim.loads_off(config)}
    assert off == {
        "Current": "water.current_m_s is 0",
        "Bill": "no bill ([bait.bill])",
        "Further plates": "no fin or keel ([[bait.plate]])",
        "Wake of the bill": "no bill ([bait.bill])",
        "Bill shadow": "coefficients.bill_shadow is 0",
        "Hooks": "no hook ([[bait.hook]])",
        "Line": "no line ([line])",
        "Limits of the classes": "no line, so no class",
    }
    density = one(sim.sources(config), key="bait.body.density_g_cm3")
    assert (density.value, density.given) == (0.4, True)


def test_what_a_bare_plate_lacks():
    config = config_from_dict({"bait": {"plate": [KEEL]}, "water": {"surface": False}})
    off = {row.load for row in sim.loads_off(config)}
    assert {
        "Near the surface", "Added mass of the body", "Crossflow drag of the body",
        "Side force and lift of the body", "Axial drag of the body", "Bill",
    } <= off  # fmt: skip
    on = {row.load for row in sim.sources(config)}
    assert {'Plate "keel" (bait.plate.0)', 'Added mass of the plate "keel" (bait.plate.0)'} <= on


def test_a_hook_without_a_drag_area_is_named():
    off = sim.loads_off(full(**{"bait.hook.1.drag_area_mm2": 0.0}))
    row = one(off, key="bait.hook.1.drag_area_mm2")
    assert (row.load, row.source) == ('Hook "tail hook" (bait.hook.1)', "no drag_area_mm2 given")
    assert row.switch == "loads.hooks"


@pytest.mark.parametrize(
    ("load", "more"),
    [
        ("Wake of the bill", {"coefficients.wake_offset": 0.0}),
        ("Bill shadow", {"coefficients.bill_shadow": 0.0}),
        ("Side force and lift of the body", {"coefficients.side_force_factor": 0.0}),
        ("Near the surface", {"water.surface": False}),
        ("Current", {"water.current_m_s": 0.0}),
    ],
)
def test_a_load_without_strength_is_off(load, more):
    config = full(**more)
    assert one(sim.loads_off(config), load=load).key == next(iter(more))
    assert load not in {row.load for row in sim.sources(config)}


# -------------------------------------------------------------------- values are the kernels' own


def test_values_are_those_that_the_kernels_get():
    # against the arrays of the right-hand side, put together again from the list
    config = full()
    bait = sim.assemble(config)
    model = build_model(config, bait, start_state(config, bait)[1])
    rows, s = sim.sources(config), model.scalar[:, 0]
    rho, body, bill = number(rows, symbol="rho"), bait.body, bait.bill
    mm, gram = 1e-3, 1e-3

    def value(key: str) -> float:
        return number(rows, key=key)

    assert s[lo.WEIGHT] == number(rows, load="Weight")
    assert s[lo.BUOY] == pytest.approx(
        rho * number(rows, symbol="g") * number(rows, symbol="V") * 1e-6
    )
    assert s[lo.BUOY] == number(rows, symbol="rho g V")
    assert s[lo.RADIUS] == pytest.approx(number(rows, load="Near the surface") * mm)
    for axis, extent, slope, aft, spread in (
        ("y", body.half_height, lo.TAIL_Y, lo.TAIL_AFT_Y, lo.TAIL_SPREAD_Y),
        ("z", body.half_width, lo.TAIL_Z, lo.TAIL_AFT_Z, lo.TAIL_SPREAD_Z),
    ):
        k = number(rows, symbol=f"k_{axis}")
        assert s[slope] == pytest.approx(k * rho * math.pi * extent**2)
        assert s[aft] == pytest.approx(number(rows, symbol=f"x_{axis}") * body.length)
        assert s[spread] == pytest.approx((number(rows, symbol=f"s_{axis}") * body.length) ** 2)
    axial = number(rows, name="axial drag coefficient") + value("coefficients.bluff_drag_share")
    assert s[lo.AXIAL] == pytest.approx(0.5 * rho * body.frontal_area * axial)
    assert s[lo.EPS] == number(rows, symbol="eps")
    assert s[lo.STROUHAL] == pytest.approx(2.0 * math.pi * number(rows, symbol="St") / bill.width)
    assert s[lo.COUPLING] == pytest.approx(number(rows, symbol="coupling") / bill.width)
    d = value("line.diameter_mm") * mm
    half = number(rows, name="share of the line's drag")
    assert s[lo.EA] == number(rows, symbol="EA")
    assert s[lo.EA] == pytest.approx(value("line.modulus_gpa") * 1e9 * math.pi * d**2 / 4.0)
    across, along = value("line.normal_drag_coefficient"), value("line.tangential_drag_coefficient")
    assert s[lo.LINE_CN] == pytest.approx(half * 0.5 * rho * d * across)
    assert s[lo.LINE_CT] == pytest.approx(half * 0.5 * rho * math.pi * d * along)
    mass = number(rows, load="Mass of the parts", symbol="m") * gram
    assert s[lo.LINE_DAMP] == pytest.approx(2.0 * value("line.damping_ratio") * math.sqrt(mass))

    end = value("coefficients.crossflow_end_factor")
    behind = -body.strips.x - config.bait.bill.from_nose_mm * mm
    fade = np.exp(-behind / (value("coefficients.bill_shadow_reach_mm") * mm))
    kept = np.where(behind >= 0.0, 1.0 - value("coefficients.bill_shadow") * fade, 1.0)
    for column, name, area in (
        (lo.ST_SWAY, "section drag in sway", body.strips.side_area),
        (lo.ST_HEAVE, "section drag in heave", body.strips.plan_area),
    ):
        expected = 0.5 * rho * number(rows, name=name) * end * area * kept
        np.testing.assert_allclose(model.strips[:, column, 0], expected, rtol=1e-12)
    areas = [value(f"bait.hook.{i}.drag_area_mm2") * mm**2 for i in range(2)]
    np.testing.assert_allclose(model.hooks[:, lo.HK_DRAG, 0], 0.5 * rho * np.array(areas))

    for i, load in enumerate(("Bill", 'Plate "keel" (bait.plate.0)')):
        row = model.plates[i, :, 0]
        plate = bait.plates[i]
        assert row[lo.PL_K1] == number(rows, load=load, name="slope of the normal force, stream al")
        assert row[lo.PL_K2] == number(rows, load=load, name="slope of the normal force, stream ac")
        assert row[lo.PL_CD] == number(rows, load=load, symbol="C_D")
        assert row[lo.PL_CE] == number(rows, load=load, symbol="K_e")
        assert row[lo.PL_MUNK] == pytest.approx(number(rows, load=load, symbol="m") * gram)
        friction = number(rows, load=load, symbol="C_f") * rho * plate.area
        friction *= math.sqrt(number(rows, symbol="nu") / plate.length)
        assert row[lo.PL_FRICTION] == pytest.approx(friction)
    swing = 0.5 * number(rows, symbol="e0") * bill.width
    assert model.plates[0, lo.PL_WAKE, 0] == pytest.approx(swing)
    assert model.plates[1, lo.PL_WAKE, 0] == 0.0


def test_added_masses_add_up_to_the_mass_matrix():
    config = full()
    bait = sim.assemble(config)
    model = build_model(config, bait, start_state(config, bait)[1])
    rows = sim.sources(config)
    total = np.zeros((6, 6))
    scale = 1e-3 * np.outer(*2 * [np.repeat([1.0, 1e-3], 3)])
    for row in rows:
        if row.load == "Added mass of the body":
            i, j = (int(digit) - 1 for digit in row.symbol[-2:])
            total[i, j] = total[j, i] = row.value * scale[i, j]
    for plate, load in zip(
        bait.plates, ("bill", 'plate "keel" (bait.plate.0)'), strict=True
    ):  # fmt: skip
        # four points of a quarter of the mass each, that move with the plate's normal
        load = f"Added mass of the {load}"
        mass = number(rows, load=load, name="added mass along") * 1e-3
        k1 = number(rows, load=load, name="radius of gyration of it, al") * 1e-3
        k2 = number(rows, load=load, name="radius of gyration of it, ac") * 1e-3
        e1, e2, n = plate.axes
        for a in (-k1, k1):
            for b in (-k2, k2):
                at = plate.centroid - bait.centre_of_gravity + a * e1 + b * e2
                whole = np.concatenate([n, np.cross(at, n)])
                total += 0.25 * mass * np.outer(whole, whole)
    expected = model.mass[0, :, :, 0] - bait.rigid_mass
    size = np.sqrt(np.outer(np.diag(expected), np.diag(expected)))
    assert np.max(np.abs(total - expected) / size) < 1e-8
    assert one(rows, name="added mass of the body, sway", symbol="M_A22").unit == "g"
    assert one(rows, name="added mass of the body, sway with yaw").unit == "g mm"


# ---------------------------------------------------------------------------------- hand values


def test_hand_values():
    rows = sim.sources(load_config(SHALLOW))
    # 8 g under standard gravity; 0.28 mm of 2 GPa: 2e9 pi 0.00028^2 / 4
    assert number(rows, load="Weight") == pytest.approx(8e-3 * 9.80665)
    assert number(rows, symbol="EA") == pytest.approx(123.150, rel=1e-5)
    # water at 15 degrees C: 999.10 kg/m3 and 1.1386 mm2/s, handbook tables (from memory, high)
    assert number(rows, symbol="rho") == pytest.approx(999.10, abs=0.01)
    assert number(rows, symbol="nu") == pytest.approx(1.1386e-6, rel=1e-3)
    # Blasius: 1.328 / sqrt(Re) a side
    assert number(rows, symbol="C_f") == pytest.approx(1.328)


def test_rotational_lift_of_a_wide_plate_is_that_of_two_dimensions():
    # thin aerofoil turning about mid-chord: 2 pi times the velocity a quarter chord behind it,
    # so rho c^2/2 (pi/2) omega v (exact, quasi-steady); 1000 wide and 1 long is AR 1000, whose
    # slope is 2 pi / 1.002
    wide = {"bait.bill.outline": "square", "bait.bill.length_mm": 1.0,
            "bait.bill.width_mm": 1000.0}  # fmt: skip
    rows = sim.sources(load_config(SHALLOW, wide))
    assert number(rows, symbol="C_R") == pytest.approx(math.pi / 2.0 / 1.002, rel=1e-5)


def test_body_density_by_hand():
    config = load_config(SHALLOW)
    rows = sim.sources(config)
    bait = sim.assemble(config)
    # weighed total less bill, lead and hooks, over the wood that is left beside the lead
    bill = next(p.mass for p in bait.parts if p.name == "bill")
    hole = 3.5e-3 / 11.34e3
    density = (8.0e-3 - bill - 3.5e-3 - 2 * 0.55e-3) / (bait.body.volume - hole)
    row = one(rows, name="density of the body material")
    assert row.value == pytest.approx(density * 1e-3)
    assert (row.status, row.key, row.given) == ("computed", "bait.total_mass_g", False)


def test_given_values_are_told_from_defaults():
    rows = sim.sources(load_config(SHALLOW, {"line.modulus_gpa": 40.0, "water.kind": "sea"}))
    assert one(rows, key="line.modulus_gpa").given
    # the file says 0.28 as the default does: then the source is that of the default
    assert not one(rows, key="line.diameter_mm").given
    assert one(rows, symbol="rho").source.startswith("EOS-80, 35 g/kg, at 15 degrees C")
    plain = {"water.density_kg_m3": 1000.0, "water.viscosity_m2_s": 1e-6}
    for key, value in plain.items():
        row = one(sim.sources(load_config(SHALLOW, plain)), key=key)
        assert (row.value, row.source, row.status) == (value, THIS_CONFIGURATION, GIVEN)
    section = load_config(SHALLOW, {"bait.body.crossflow_sway": 1.2})
    assert number(sim.sources(section), name="section drag in sway") == 1.2
    assert not one(sim.sources(section), name="section drag in heave").given


def test_parts_that_contradict_each_other():
    with pytest.raises(sim.ConfigError, match="total_mass_g = 2: must be >"):
        sim.sources(load_config(SHALLOW, {"bait.total_mass_g": 2.0}))


# -------------------------------------------------------------------------- as docs/equations.md


def part(number: int) -> str:
    return re.search(rf"^## {number} .*?(?=^## |\Z)", PAGE, re.MULTILINE | re.DOTALL)[0]


def in_words(text: str) -> str:
    return " ".join(text.split())


def tabled() -> list[list[str]]:
    """Rows of the tables of the page that have symbol, value, source and status."""
    found = []
    for table in re.findall(
        r"^\| symbol \| value \| source \| status \|\n\|[-|]+\n((?:\|.*\n)+)", PAGE, re.MULTILINE
    ):
        found += [[cell.strip() for cell in line.split("|")[1:-1]] for line in table.splitlines()]
    return found


def on_the_list(symbol: str) -> list[Coefficient]:
    """Rows for a cell of the page: a symbol in backticks, or words of the key."""
    rows = sim.sources(full())
    if symbol.startswith("`"):
        return [row for row in rows if row.symbol == symbol.strip("`")]
    return [
        row for row in rows if row.load == "Line" and all(w in row.key for w in symbol.split())
    ]  # fmt: skip


def test_the_page_has_tables():
    assert [cells[0] for cells in tabled()] == [
        "`K_p`", "`C_D`", "`K_e`", "`St`", "`eps`", "`e0`", "`coupling`",
        "normal drag", "tangential drag", "modulus",
    ]  # fmt: skip


@pytest.mark.parametrize("cells", tabled(), ids=lambda c: c[0].strip("`"))
def test_tables_of_the_page_say_the_same(cells):
    symbol, value, source, status = cells
    found = on_the_list(symbol)
    assert found
    for row in found:
        if re.match(r"[\d.]+( |$)", value) and "AR" not in value:
            assert row.value == float(value.split()[0])
        elif "AR" in value:  # a formula
            assert value.split(", ")[0] in row.source
        for name in re.findall(r"[A-Z]\w+ \d{4}|[A-Z]+-RX--[\d-]+|NACA TN \d+", source):
            assert name in row.source
        first = status.split(";")[0]
        assert row.status == ("read in a copy" if first == "secondary" else first)
        if "assumed" in status.split(";")[-1]:
            assert "assumed" in row.status + row.source


TERMS = {  # bold on the page -> load and beginning of the name of its row
    3: {
        "Centre of pressure": ("Bill", "centre of pressure"),
        "Rotation": ("Bill", "rotational lift"),
        "The plate's own Munk couple": ("Bill", "added mass whose steady couple"),
        "Friction": ("Bill", "friction"),
    },
    5: {
        "Weight and buoyancy": ("Weight", "weight"),
        "Crossflow drag": ("Crossflow drag of the body", "section drag in sway"),
        "Linear side force and lift": (
            "Side force and lift of the body", "factor of the side force",
        ),
        "Where it acts": (
            "Side force and lift of the body", "where the side force acts",
        ),
        "Axial drag": ("Axial drag of the body", "axial drag coefficient"),
        "Hooks": ("Hooks", 'drag area of hook "belly hook"'),
        "Bill shadow": ("Bill shadow", "share of their crossflow drag"),
    },
}  # fmt: skip


@pytest.mark.parametrize("number", TERMS)
def test_every_load_term_of_the_page_is_listed(number):
    bold = {t.strip(":.,") for t in re.findall(r"\*\*(.*?)\*\*", part(number), re.DOTALL)}
    assert {in_words(t) for t in bold} == set(TERMS[number])
    for load, name in TERMS[number].values():
        one(sim.sources(full()), load=load, name=name)


def test_every_key_on_the_page_is_listed():
    # the page names a key of [coefficients] without its table
    keys = set(re.findall(r"`([a-z_]+)`", part(4) + part(5)))
    listed = {row.key.rpartition(".")[2] for row in sim.sources(full())}
    named = keys & set(Coefficients.model_fields)
    assert named == set(Coefficients.model_fields)
    assert named <= listed
    switches = set(re.findall(r"`(loads\.\w+)", PAGE))
    assert switches <= {row.switch for row in sim.sources(full())}


def test_figures_of_the_page_that_are_not_in_a_table():
    rows, text = sim.sources(full()), in_words(part(3) + part(5))
    shift = number(rows, load="Bill", name="centre of pressure")
    fall = number(rows, load="Bill", name="fall of it")
    assert f"e = cos a ({shift:g} - {fall:g} sin a)" in text
    assert f"Blasius, {number(rows, load='Bill', symbol='C_f'):.4g} / sqrt(Re) a side" in text
    for axis in "yz":
        assert f"`k_{axis} = 1 + 0.40 C_B B/T`" in text


def test_statuses_are_those_the_page_explains():
    top = in_words(PAGE.partition("## 1")[0])
    explained = set(re.findall(r"\*([a-z ]+)\*", top))
    ours = {status.partition(",")[0] for status in STATUSES} - {"given", "convention", "off"}
    assert {"read in a copy" if s == "secondary" else s for s in explained} == ours
