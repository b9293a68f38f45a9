"""The configuration schema: its tables, keys, defaults, bounds and descriptions."""

import json
import re
import tomllib

import pytest
from pydantic import BaseModel

from sim.config import config_from_dict, json_schema, starting_config
from sim.config import models as models_module
from sim.config.messages import ordinal, show
from sim.config.models import Bill, Body
from sim.config.schema import bounds, children, header, owners, tables
from sim.config.units import base_of, unit_of
from sim.errors import ConfigError

PLATE = {
    "from_nose_mm": 0.0,
    "above_centreline_mm": 0.0,
    "length_mm": 20.0,
    "width_mm": 18.0,
    "angle_deg": 90.0,
}
ELLIPSOID = {
    "form": "ellipsoid",
    "length_mm": 70.0,
    "height_mm": 20.0,
    "width_mm": 14.0,
    "density_g_cm3": 0.4,
}


def full():
    """Plain data with every table of the schema, list tables once."""
    data = tomllib.loads(starting_config("full"))
    data["bait"]["plate"] = [dict(PLATE)]
    for key in (
        "start", "solver", "limits", "loads", "coefficients", "build", "uncertainty",
    ):  # fmt: skip
        data[key] = {}
    return data


def every_table(data, path=""):
    """Pairs of dotted schema path and the raw table there, the top included."""
    yield path, data
    for key, value in data.items():
        for entry in value if isinstance(value, list) else [value]:
            if isinstance(entry, dict):
                yield from every_table(entry, f"{path}.{key}" if path else key)


def all_fields():
    return [
        (path, key, field)
        for path, child in tables().items()
        for key, field in child.model.model_fields.items()
    ]


def test_the_schema_has_the_agreed_tables_and_keys():
    contract = {
        "": "name note bait line retrieve water start solver limits loads coefficients"
        " build uncertainty",
        "bait": "total_mass_g body bill plate ballast hook tie",
        "bait.body": "form length_mm height_mm width_mm station exponent density_g_cm3 wall_mm"
        " filling_density_g_cm3 lopsided_mm crossflow_sway crossflow_heave",
        "bait.body.station": "from_nose_mm upper_mm lower_mm half_width_mm",
        "bait.bill": "from_nose_mm above_centreline_mm length_mm width_mm angle_deg outline"
        " outline_mm taper thickness_mm density_g_cm3 right_mm yaw_error_deg roll_error_deg",
        "bait.plate": "from_nose_mm above_centreline_mm length_mm width_mm angle_deg outline"
        " outline_mm taper thickness_mm density_g_cm3 right_mm yaw_error_deg roll_error_deg name"
        " cant_deg",
        "bait.ballast": "name mass_g from_nose_mm above_centreline_mm right_mm density_g_cm3"
        " inside",
        "bait.hook": "name mass_g from_nose_mm above_centreline_mm right_mm hang_mm drag_area_mm2"
        " density_g_cm3",
        "bait.tie": "from_nose_mm above_centreline_mm right_mm eye_mm",
        "line": "kind length_m diameter_mm modulus_gpa damping_ratio rod_tip_height_m"
        " normal_drag_coefficient tangential_drag_coefficient",
        "retrieve": "mode speed_m_s ramp_s heading_deg",
        "water": "kind temperature_c density_kg_m3 viscosity_m2_s current_m_s current_toward_deg"
        " surface gravity_m_s2",
        "start": "x_m y_m depth_m roll_deg pitch_deg yaw_deg velocity_m_s rates_deg_s wake"
        " wake_rate",
        "solver": "method step_ms duration_s max_duration_s output_step_ms settle_tolerance rtol"
        " atol plate_elements_along plate_elements_across body_strips body_slices",
        "limits": "roll_deg lean_deg tight_yaw_deg roll_to_yaw roll_to_yaw_from_deg no_action_deg"
        " spin_turns run_off_deg",
        "loads": "weight buoyancy added_mass bill plates wake body_drag tail axial_drag hooks line",
        "coefficients": "strouhal wake_offset wake_damping wake_coupling side_force_factor"
        " side_force_shift crossflow_end_factor bill_shadow bill_shadow_reach_mm"
        " bluff_drag_share",
        "build": "errors bill_yaw_deg bill_roll_deg bill_angle_deg bill_right_mm bill_length_mm"
        " bill_width_mm tie_above_mm tie_from_nose_mm tie_right_mm ballast_right_mm"
        " ballast_from_nose_mm body_density_percent body_lopsided_mm total_mass_percent"
        " hook_mass_percent",
        "uncertainty": "strouhal_percent wake_offset_percent wake_damping_percent"
        " wake_coupling_more side_force_percent side_force_shift crossflow_percent"
        " bill_shadow_more hook_drag_percent line_drag_percent",
    }
    assert {path: set(child.model.model_fields) for path, child in tables().items()} == {
        path: set(keys.split()) for path, keys in contract.items()
    }
    assert {p for p, child in tables().items() if child.is_list} == {
        "bait.body.station",
        "bait.plate",
        "bait.ballast",
        "bait.hook",
    }
    names = "Config Bait Body Station Bill Plate Ballast Hook Tie Line Retrieve Water Start Solver"
    for name in f"{names} Limits Loads Coefficients Build Uncertainty".split():
        assert name in models_module.__all__
        assert issubclass(getattr(models_module, name), BaseModel)


@pytest.mark.parametrize(("path", "key", "field"), all_fields(), ids=lambda x: str(x)[:40])
def test_every_field_describes_itself_with_its_unit(path, key, field):
    text = field.description
    assert text and text[0].isupper() and text.endswith(".")
    assert text.count(". ") == 0, "one sentence"
    assert field.title
    assert field.title[0].islower() or key.startswith("strouhal"), "fits into a sentence"
    unit = unit_of(key)
    points = key == "outline_mm"  # its unit stands in the sentence
    assert ((f"[{unit}]" in text) or (points and " mm " in text)) if unit else "[" not in text


@pytest.mark.parametrize("key", sorted(tables()["coefficients"].model.model_fields))
def test_every_coefficient_says_where_it_comes_from(key):
    text = tables()["coefficients"].model.model_fields[key].description
    assert re.search(r"assumption|from memory|published|data for", text)


def test_defaults_are_the_agreed_ones():
    config = config_from_dict({"bait": {"body": ELLIPSOID}})
    assert (config.name, config.note, config.line, config.bait.tie) == (None, "", None, None)
    bill = Bill(**PLATE)
    assert (bill.outline, bill.taper, bill.thickness_mm, bill.density_g_cm3) == (
        "rounded",
        0.6,
        1.0,
        1.2,
    )
    retrieve, water, start, solver = config.retrieve, config.water, config.start, config.solver
    assert (retrieve.mode, retrieve.speed_m_s, retrieve.ramp_s, retrieve.heading_deg) == (
        "tow",
        1.0,
        0.0,
        0.0,
    )
    assert (water.kind, water.temperature_c, water.gravity_m_s2, water.surface) == (
        "fresh",
        15.0,
        9.80665,
        True,
    )
    assert (start.x_m, start.depth_m, start.pitch_deg) == (0.0, None, None)
    assert (start.yaw_deg, start.wake) == (None, 0.1)
    assert start.rates_deg_s == (0.0, 0.0, 0.0)
    assert (solver.method, solver.step_ms, solver.duration_s, solver.max_duration_s) == (
        "rk4",
        2.0,
        8.0,
        24.0,
    )
    assert (solver.output_step_ms, solver.rtol, solver.atol) == (4.0, 1e-9, 1e-11)
    assert list(config.limits.model_dump().values()) == [35, 35, 6, 3, 15, 1, 1, 10]
    assert all(config.loads.model_dump().values())
    assert list(config.coefficients.model_dump().values()) == [
        0.15,
        0.08,
        0.3,
        0.0,
        1.0,
        0.0,
        None,
        0.0,
        25.0,
        0.0,
    ]


def test_unknown_keys_are_rejected_in_every_table():
    data = full()
    assert {path for path, _ in every_table(data)} == set(tables())
    config_from_dict(data)
    for path in tables():
        broken = full()
        next(table for where, table in every_table(broken) if where == path)["qqq_mm"] = 1
        with pytest.raises(ConfigError) as caught:
            config_from_dict(broken)
        (line,) = caught.value.problems
        place = path and re.sub(r"(station|plate|ballast|hook)", r"\1.0", path) + ": "
        assert line.startswith(f'<dict>: {place}unknown key "qqq_mm"'), line


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), float("-inf"), "1", True, None])
def test_no_number_takes_a_bad_value(bad):
    tried = 0
    for path, key, field in all_fields():
        if field.annotation not in (float, int, float | None):
            continue
        if bad is None and field.annotation == float | None:
            continue
        data = full()
        next(table for where, table in every_table(data) if where == path)[key] = bad
        with pytest.raises(ConfigError) as caught:
            config_from_dict(data)
        assert any(f".{key} = " in line and "number" in line for line in caught.value.problems)
        tried += 1
    assert tried > 70


@pytest.mark.parametrize("bad", [0, 1, "true", None])
def test_no_switch_takes_a_number_or_text(bad):
    tried = 0
    for path, key, field in all_fields():
        if field.annotation is bool:
            data = full()
            next(table for where, table in every_table(data) if where == path)[key] = bad
            with pytest.raises(ConfigError, match="must be true or false"):
                config_from_dict(data)
            tried += 1
    assert tried == 13


def test_bounds_are_closed_or_open_as_stated():
    base = {"bait": {"body": ELLIPSOID}}
    for key, good, bad in (
        ("water.temperature_c", (0, 40), (-0.001, 40.001)),
        ("retrieve.speed_m_s", (0, 10), (-1e-9, 10.01)),
        ("solver.step_ms", (0.01, 20), (0.0099, 20.1)),
        ("solver.plate_elements_along", (1, 16), (0, 17)),
        ("coefficients.side_force_shift", (-0.5, 0.5), (-0.51, 0.51)),
        ("limits.roll_deg", (1e-9,), (0,)),
        ("bait.body.density_g_cm3", (0.05, 25), (0.049, 25.1)),
    ):
        for value in good:
            with_output = {key: value}
            if key == "solver.step_ms":
                with_output["solver.output_step_ms"] = 2 * value
            config_from_dict(base, overrides=with_output)
        for value in bad:
            with pytest.raises(ConfigError, match=re.escape(key)):
                config_from_dict(base, overrides={key: value})


# ------------------------------------------------------------------------------------ JSON schema


def test_json_schema_documents_every_key_and_forbids_others():
    schema = json_schema()
    json.dumps(schema, allow_nan=False)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert schema["title"] == "runtrue configuration" and schema["description"]
    objects = [schema, *schema["$defs"].values()]
    assert len(objects) == 19
    for definition in objects:
        assert definition["additionalProperties"] is False
        assert definition["description"]
        assert all(p["title"] and p["description"] for p in definition["properties"].values())
    assert schema["required"] == ["bait"]
    tie = schema["$defs"]["Tie"]
    assert tie["required"] == ["from_nose_mm", "above_centreline_mm"]
    speed = schema["$defs"]["Retrieve"]["properties"]["speed_m_s"]
    assert (speed["minimum"], speed["maximum"], speed["default"]) == (0, 10, 1.0)
    assert schema["$defs"]["Line"]["properties"]["length_m"]["exclusiveMinimum"] == 0


# ---------------------------------------------------------------------------------- small helpers


def test_units_and_bases_of_keys():
    pairs = {
        "length_mm": "mm",
        "length_m": "m",
        "mass_g": "g",
        "density_g_cm3": "g/cm3",
        "density_kg_m3": "kg/m3",
        "viscosity_m2_s": "m2/s",
        "gravity_m_s2": "m/s2",
        "speed_m_s": "m/s",
        "rates_deg_s": "degrees/s",
        "step_ms": "ms",
        "temperature_c": "degrees C",
        "spin_turns": "turns",
        "drag_area_mm2": "mm2",
        "strouhal": "",
        "form": "",
    }
    assert {key: unit_of(key) for key in pairs} == pairs
    assert base_of("length_cm") == base_of("length_mm") == base_of("length") == "length"
    assert base_of("speed_km_h") == base_of("speed_m_s") == "speed"


def test_words_of_messages():
    assert [ordinal(n) for n in (0, 1, 2, 3, 10, 11, 12, 20, 21, 110)] == [
        *("1st", "2nd", "3rd", "4th", "11th", "12th", "13th", "21st", "22nd", "111th")
    ]
    assert show({"a": [1, "x", True]}) == '{a = [1, "x", true]}'
    assert len(show("x" * 500)) == 60
    assert header("bait.hook") == "[[bait.hook]]" and header("line") == "[line]"
    fields = tables()["solver"].model.model_fields
    assert bounds("atol", fields["atol"]) == "> 0 and <= 0.1"
    assert bounds("method", fields["method"]) == ""
    assert owners()["angle_deg"] == ("bait.bill", "bait.plate")
    assert children(Body)["station"].is_list
