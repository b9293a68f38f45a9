"""The configuration: what is accepted, what comes out, overrides, digest, schema, starting file."""

import copy
import hashlib
import itertools
import json
import pickle
import re
import tomllib

import numpy as np
import pytest
from pydantic import ValidationError

from sim.config import (
    Config,
    config_digest,
    config_from_dict,
    load_config,
    parse_override,
    resolved_json,
    starting_config,
    with_overrides,
)
from sim.config import models as models_module
from sim.config.messages import clean_name
from sim.config.models import Bait, Bill, Body, Hook, Solver, Water
from sim.config.schema import tables
from sim.errors import ConfigError, RunError, RuntrueError, StoreError

HOOK = {"mass_g": 1.0, "from_nose_mm": 28.0, "above_centreline_mm": -10.0}
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


# ------------------------------------------------------------------------------ what is accepted


def test_minimal_baits_without_a_body():
    plate = config_from_dict({"bait": {"bill": PLATE}})
    assert plate.bait.body is None and plate.bait.bill.width_mm == 18.0
    hook = config_from_dict({"bait": {"hook": [HOOK]}})
    assert hook.bait.hook == (Hook(**HOOK),)
    outside = {**HOOK, "inside": False}
    assert not config_from_dict({"bait": {"ballast": [outside]}}).bait.ballast[0].inside
    keel = {**PLATE, "cant_deg": 90.0, "name": "Kiel ü"}
    assert config_from_dict({"bait": {"plate": [keel]}}).bait.plate[0].name == "Kiel ü"


def test_body_forms():
    def stations(*rows):
        keys = ("from_nose_mm", "upper_mm", "lower_mm", "half_width_mm")
        return [dict(zip(keys, row, strict=True)) for row in rows]

    body = {"length_mm": 70, "density_g_cm3": 0.4}
    body["station"] = stations((0, 0, 0, 0), (30, 10, 0, 7), (70 + 1e-6, 3, 3, 2))
    config = config_from_dict({"bait": {"body": body}})
    assert config.bait.body.station[1].half_width_mm == 7.0
    shell = {**ELLIPSOID, "wall_mm": 1.0, "filling_density_g_cm3": 0.1, "crossflow_sway": 0.0}
    assert config_from_dict({"bait": {"body": shell}}).bait.body.wall_mm == 1.0
    weighed = {key: value for key, value in ELLIPSOID.items() if key != "density_g_cm3"}
    config = config_from_dict({"bait": {"total_mass_g": 9.5, "body": weighed}})
    assert config.bait.body.density_g_cm3 is None
    both = config_from_dict({"bait": {"total_mass_g": 9.5, "body": ELLIPSOID}})
    assert both.bait.body.density_g_cm3 == 0.4


def test_polygon_outline_and_given_water():
    bill = {**PLATE, "outline": "polygon", "outline_mm": [[0, -9], [0, 9], [20, 5.5], [20, -5]]}
    water = {"density_kg_m3": 998.2, "viscosity_m2_s": 1e-6, "gravity_m_s2": 0}
    config = config_from_dict({"bait": {"bill": bill}, "water": water})
    assert config.bait.bill.outline_mm[2] == (20.0, 5.5)
    assert config.water.gravity_m_s2 == 0.0


@pytest.mark.parametrize(("step", "output"), [(2, 4), (0.1, 0.7), (0.3, 0.9), (20, 20), (3, 21)])
def test_output_step_multiples_survive_rounding(step, output):
    assert Solver(step_ms=step, output_step_ms=output).output_step_ms == output


def test_values_stay_in_the_units_of_the_file_and_ints_become_floats(tmp_path):
    path = tmp_path / "pike.v2.toml"
    path.write_text(starting_config("x").replace('name = "x"', "#"), encoding="utf-8")
    config = load_config(path)
    assert config.name == "pike.v2"
    assert config.bait.body.length_mm == 70.0 and config.bait.bill.angle_deg == 55.0
    twice = config_from_dict({"bait": {"hook": [{**HOOK, "mass_g": 2}]}})
    assert type(twice.bait.hook[0].mass_g) is float


def test_the_file_name_is_made_safe_for_the_default_name(tmp_path):
    path = tmp_path / "großer Köder.toml"
    path.write_text("[[bait.hook]]\nmass_g = 1\nfrom_nose_mm = 0\nabove_centreline_mm = 0\n")
    assert load_config(path).name == "gro-er-K-der"
    assert clean_name("...") == "bait" and clean_name("ü") == "bait"


def test_source_text_is_kept_verbatim_and_a_byte_order_mark_is_allowed(tmp_path):
    text = "\ufeff" + starting_config("x").replace("\n", "\r\n") + "# Größe\r\n"
    path = tmp_path / "x.toml"
    path.write_bytes(text.encode())
    config = load_config(path, {"retrieve.speed_m_s": 0.5})
    assert config.source_text == text
    assert config.source_path == str(path)
    assert config.overrides == {"retrieve.speed_m_s": 0.5}
    assert "source_text" not in config.model_dump() and "_source_text" not in resolved_json(config)


# ------------------------------------------------------------------------- a frozen plain object


def test_a_config_cannot_be_changed():
    config = config_from_dict(full())
    for target, key in ((config, "name"), (config.bait.body, "length_mm"), (config.loads, "wake")):
        with pytest.raises(ValidationError):
            setattr(target, key, getattr(target, key))
    assert isinstance(config.bait.hook, tuple) and isinstance(config.start.rates_deg_s, tuple)
    given = config.overrides
    given["x"] = 1
    assert config.overrides == {}
    with pytest.raises(TypeError):
        hash(config)


def test_equality_ignores_where_the_values_came_from(tmp_path):
    path = tmp_path / "full.toml"
    path.write_text(starting_config("full"), encoding="utf-8")
    from_file = load_config(path)
    from_dict = config_from_dict(tomllib.loads(starting_config("full")))
    assert from_file == from_dict and from_file.source_path != from_dict.source_path
    assert from_file != with_overrides(from_file, {"retrieve.speed_m_s": 1.1})
    assert from_file != "text"


def test_copies_and_pickles_keep_values_and_source():
    config = config_from_dict(full(), "here", {"note": "n"}, "some text")
    for twin in (pickle.loads(pickle.dumps(config)), copy.deepcopy(config)):
        assert twin == config
        assert (twin.source_path, twin.source_text) == ("here", "some text")
        assert twin.overrides == {"note": "n"}


def test_resolved_values_read_back_equal():
    config = config_from_dict(full())
    assert config_from_dict(config.model_dump()) == config
    again = json.loads(resolved_json(config))
    assert config_from_dict(again) == config
    assert set(again) == set(Config.model_fields)
    named = config_from_dict({"bait": {"hook": [{**HOOK, "name": "Größe"}]}})
    assert "Größe" in resolved_json(named)


def test_models_built_by_hand_are_checked_too():
    with pytest.raises(ValidationError, match="at least 3 stations are needed, 0 given"):
        Body(length_mm=70.0, density_g_cm3=0.4)
    with pytest.raises(ValidationError, match="viscosity_m2_s"):
        Water(density_kg_m3=1000.0)
    with pytest.raises(ValidationError, match="has no part with mass"):
        Bait()
    with pytest.raises(ValidationError, match=r"missing table \[bait.tie\]"):
        Config(bait=Bait(bill=Bill(**PLATE)), line=models_module.Line())
    with pytest.raises(ValidationError, match="Extra inputs"):
        Bill(**PLATE, camber_mm=1.0)


def test_input_data_is_left_unchanged():
    data = full()
    before = copy.deepcopy(data)
    config_from_dict(data, overrides={"bait.hook.0.mass_g": 9.0, "limits.roll_deg": 30})
    assert data == before


# -------------------------------------------------------------------------------------- overrides


def test_overrides_reach_every_kind_of_place():
    config = config_from_dict(
        full(),
        overrides={
            "bait.tie.above_centreline_mm": -7,
            "bait.ballast.0.mass_g": 3.25,
            "bait.body.station.1.upper_mm": 6.5,
            "start.velocity_m_s": [1.0, 0, 0],
            "start.velocity_m_s.2": 0.125,
            "name": "other",
            "loads.wake": False,
            "bait.hook": [],
            "bait.bill": None,
        },
    )
    assert config.bait.tie.above_centreline_mm == -7.0
    assert config.bait.ballast[0].mass_g == 3.25
    assert config.bait.body.station[1].upper_mm == 6.5
    assert config.start.velocity_m_s == (1.0, 0.0, 0.125)
    assert (config.name, config.loads.wake) == ("other", False)
    assert config.bait.hook == () and config.bait.bill is None


def test_overrides_create_missing_tables():
    base = {"bait": {"hook": [HOOK]}}
    config = config_from_dict(
        base,
        overrides={
            "line.length_m": 5.0,
            "bait.tie.from_nose_mm": 0.0,
            "bait.tie.above_centreline_mm": 1.0,
            "solver.step_ms": 1.0,
        },
    )
    assert (config.line.length_m, config.bait.tie.above_centreline_mm) == (5.0, 1.0)
    assert config.solver.step_ms == 1.0 and config.solver.duration_s == 8.0


def test_numpy_values_count_as_plain_numbers():
    overrides = {
        "bait.hook.0.mass_g": np.float64(0.5),
        "solver.body_strips": np.int64(12),
        "loads.wake": np.bool_(False),
        "start.rates_deg_s": np.array([1.0, 2.0, 3.0]),
    }
    config = config_from_dict({"bait": {"hook": [HOOK]}}, overrides=overrides)
    assert config.bait.hook[0].mass_g == 0.5 and config.solver.body_strips == 12
    assert config.loads.wake is False and config.start.rates_deg_s == (1.0, 2.0, 3.0)
    assert type(config.overrides["bait.hook.0.mass_g"]) is float


def test_with_overrides_keeps_source_and_adds_up():
    config = config_from_dict(full(), "here", {"note": "a"}, "text")
    changed = with_overrides(config, {"line.length_m": 4.0})
    assert changed.line.length_m == 4.0 and config.line.length_m == 3.0
    assert (changed.source_path, changed.source_text) == ("here", "text")
    assert changed.overrides == {"note": "a", "line.length_m": 4.0}
    lone = with_overrides(config_from_dict({"bait": {"hook": [HOOK]}}), {"limits.roll_deg": 20})
    assert lone.limits.roll_deg == 20.0
    with pytest.raises(ConfigError, match=r"^here: bait: missing table \[bait.tie\]"):
        with_overrides(config, {"bait.tie": None})


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("a.b=60", ("a.b", 60)),
        (" a.b = -4.5 ", ("a.b", -4.5)),
        ("line.kind=chord", ("line.kind", "chord")),
        ('name="a b"', ("name", "a b")),
        ("note=x=y", ("note", "x=y")),
        ("loads.wake=false", ("loads.wake", False)),
        ("loads.wake=False", ("loads.wake", "False")),
        ("start.rates_deg_s=[1, 2.5, 3]", ("start.rates_deg_s", [1, 2.5, 3])),
        ("a=1e3", ("a", 1000.0)),
        ("a=60,5", ("a", "60,5")),
        ("a=1\nb=2", ("a", "1\nb=2")),
        ("a=" + "9" * 6000, ("a", "9" * 6000)),
    ],
)
def test_parse_override(text, expected):
    key, value = parse_override(text)
    assert (key, value) == expected and type(value) is type(expected[1])


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("bait.tie.right_mm", 'override "bait.tie.right_mm": no = in it.'),
        ("=4", 'override "=4": no complete key before the =.'),
        ("a..b=4", 'override "a..b=4": no complete key before the =.'),
        ("a.b=", 'override "a.b=": no value after the =.'),
    ],
)
def test_parse_override_says_what_to_type(text, problem):
    with pytest.raises(ConfigError) as caught:
        parse_override(text)
    assert caught.value.problems == [
        f"{problem} Type KEY=VALUE, for example bait.tie.above_centreline_mm=-4."
    ]


def test_no_data_however_odd_gives_anything_but_a_config_error():
    odd = [
        None,
        True,
        0,
        1,
        2.5,
        10**400,
        -(10**400),
        1e308,
        float("nan"),
        "",
        "7,5",
        "ü\n{x}",
        [],
        {},
    ]
    odd += [[[]], [{}], {"x": 1}, [1, 2, 3], [1, "a", None], object(), b"raw", {1: 2}, -0.0, "inf"]
    rng = np.random.default_rng(20)
    accepted = 0
    for _ in range(600):
        data = full()
        for _ in range(rng.integers(1, 3)):
            place, keys = data, None
            while isinstance(place, dict | list) and place and (keys is None or rng.random() < 0.8):
                parent = place
                keys = list(parent) if isinstance(parent, dict) else range(len(parent))
                key = keys[rng.integers(len(keys))]
                place = parent[key]
            parent[key] = odd[rng.integers(len(odd))]
            if isinstance(parent, dict) and rng.random() < 0.2:
                parent[str(key)[1:]] = parent.pop(key)
        overrides = {"start.x_m": odd[rng.integers(len(odd))]} if rng.random() < 0.3 else {}
        try:
            config_from_dict(data, "odd", overrides)
            accepted += 1
        except ConfigError as error:
            assert error.problems
            assert all(line.startswith("odd: ") for line in error.problems)
            assert not any("\n" in line or "should be" in line for line in error.problems)
    assert 5 < accepted < 300  # both outcomes were met


# ----------------------------------------------------------------------------------------- digest


def test_digest_is_the_sha256_of_the_canonical_json():
    config = config_from_dict(full())
    values = json.loads(resolved_json(config))
    for key in ("name", "note", "build", "uncertainty"):
        del values[key]
    text = json.dumps(values, sort_keys=True, separators=(",", ":"))
    assert config_digest(config) == hashlib.sha256(text.encode()).hexdigest()


def test_digest_ignores_what_cannot_change_an_answer():
    text = starting_config("x")
    digest = config_digest(config_from_dict(tomllib.loads(text)))
    for old, new in (
        ('name = "x"', 'name = "y"\n# remark'),
        ('note = ""', 'note = "windy"'),
        ("length_mm = 70.0", "length_mm = 70"),
        ("right_mm = 0.0", "right_mm = -0.0"),
        ("#[limits]\n", "[limits]\nroll_deg = 35\n"),
    ):
        assert old in text
        assert config_digest(config_from_dict(tomllib.loads(text.replace(old, new, 1)))) == digest
    data = tomllib.loads(text)
    backwards = dict(reversed(data.items()))
    backwards["bait"] = dict(reversed(data["bait"].items()))
    assert config_digest(config_from_dict(backwards)) == digest


def test_digest_sees_every_value_that_matters():
    config = config_from_dict(full())
    digests = [config_digest(config)]
    for overrides in (
        {"bait.tie.above_centreline_mm": -4.000001},
        {"bait.hook.1.drag_area_mm2": 41.0},
        {"loads.wake": False},
        {"solver.method": "dop853"},
        {"coefficients.strouhal": 0.16},
        {"start.x_m": 0.5},
        {"line": None},
    ):
        digests.append(config_digest(with_overrides(config, overrides)))
    assert len(set(digests)) == len(digests)
    assert all(re.fullmatch("[0-9a-f]{64}", digest) for digest in digests)


# --------------------------------------------------------------------------------- starting file


def test_starting_config_loads_and_holds_the_promised_bait(tmp_path):
    path = tmp_path / "other-name.toml"
    path.write_text(starting_config("my_bait-1.2"), encoding="utf-8")
    config = load_config(path)
    assert config.name == "my_bait-1.2"
    body, bill = config.bait.body, config.bait.bill
    assert body.length_mm == 70.0
    assert max(s.upper_mm + s.lower_mm for s in body.station) == 20.0
    assert max(2 * s.half_width_mm for s in body.station) == 14.0
    assert (bill.length_mm, bill.width_mm, bill.angle_deg) == (16.0, 20.0, 55.0)
    assert (bill.from_nose_mm, bill.above_centreline_mm) == (7.0, -6.0)
    assert (len(config.bait.ballast), len(config.bait.hook)) == (1, 2)
    assert None not in (config.bait.tie, config.line)


def test_starting_config_floats_with_its_weight_low():
    # Plain arithmetic on the stations (elliptic sections, straight between stations).
    bait = config_from_dict(tomllib.loads(starting_config("x"))).bait
    slices = []
    for fore, aft in itertools.pairwise(bait.body.station):
        for share in (np.arange(100) + 0.5) / 100:
            height = np.interp(share, [0, 1], [s.upper_mm + s.lower_mm for s in (fore, aft)])
            half = np.interp(share, [0, 1], [s.half_width_mm for s in (fore, aft)])
            slices.append(np.pi * height / 2 * half * (aft.from_nose_mm - fore.from_nose_mm) / 100)
    volume = sum(slices) / 1000  # cm3
    loose = [(hook.mass_g, hook.above_centreline_mm - hook.hang_mm) for hook in bait.hook]
    lead = [(b.mass_g, b.above_centreline_mm) for b in bait.ballast]
    wood = (volume - sum(b.mass_g / b.density_g_cm3 for b in bait.ballast)) * (
        bait.body.density_g_cm3
    )
    mass = wood + sum(m for m, _ in loose + lead)
    assert 0.8 < mass / volume < 0.98
    assert -8 < sum(m * z for m, z in loose + lead) / mass < -3


def test_starting_config_shows_every_setting_with_its_default():
    text = starting_config("x")
    switched_on = re.sub(r"(?m)^#(?=[\[a-z])", "", text)
    data = tomllib.loads(switched_on)
    config = config_from_dict(data)
    assert config.bait.total_mass_g is not None
    for key in (
        "start", "solver", "limits", "loads", "coefficients", "build", "uncertainty",
    ):  # fmt: skip
        model = tables()[key].model
        assert getattr(config, key) == model()
        unset = {k for k, f in model.model_fields.items() if f.get_default() is None}
        assert set(data[key]) == set(model.model_fields) - unset
        assert all(f"# {k}: " in text for k in unset)
    plain = config_from_dict(tomllib.loads(text))
    assert plain.solver == config.solver and plain.bait.total_mass_g is None


def test_starting_config_warns_and_is_tidy():
    text = starting_config("x")
    assert "INVENTED NUMBERS: replace them by your own." in text
    assert "lead is poisonous and many waters restrict it; check the local rules" in text
    assert "hooks" in text and "they are sharp" in text
    assert max(map(len, text.splitlines())) <= 100
    assert text.endswith("\n") and not re.search(r"[ \t]\n", text)


@pytest.mark.parametrize("name", ["", "my bait", "a/b", "..", "-x", "ü", "x\n", "x" * 101])
def test_starting_config_refuses_names_that_make_no_file(name):
    with pytest.raises(ConfigError, match="must be letters a to z, digits"):
        starting_config(name)


def test_errors_carry_their_problems():
    error = ConfigError(["one", "two"])
    assert (error.problems, str(error)) == (["one", "two"], "one\ntwo")
    again = pickle.loads(pickle.dumps(error))
    assert (again.problems, str(again)) == (error.problems, str(error))
    assert ConfigError("lone").problems == ["lone"]
    for kind in (ConfigError, StoreError, RunError):
        assert issubclass(kind, RuntrueError)
