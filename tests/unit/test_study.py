"""Study files: what a bait maker reads when one is wrong, and which run each cell is."""

from __future__ import annotations

import math
import pickle
import re
import tomllib
from pathlib import Path

import numpy as np
import pytest

from sim.bait.assembly import assemble
from sim.bait.tie_path import tie_path
from sim.config import config_digest, load_config, with_overrides
from sim.config.schema import tables
from sim.errors import ConfigError
from sim.studies.axes import NAMED_AXES, axis_label, axis_overrides, key_problem, touch
from sim.studies.starts import LIMITS, STARTS, random_start
from sim.studies.study import Study, load_study
from sim.studies.tables import RunTable, StudyFile

TOP = Path(__file__).parents[2]
SHIPPED = sorted((TOP / "configs" / "studies").glob("*.toml"))
BAIT = TOP / "configs" / "shallow-runner.toml"
CHUNK = RunTable.model_fields["chunk"].default

TIE = '[[axis]]\nkey = "tie_path_mm"\nfrom = -16.0\nto = 14.0\ncount = 4\n'
SPEED = '[[axis]]\nkey = "retrieve.speed_m_s"\nfrom = 0.5\nto = 2.0\ncount = 3\n'
ANGLE = '[[axis]]\nkey = "bait.bill.angle_deg"\nvalues = [40.0, 48.0, 60.0]\n'


def axis(key: str, low: float = 0.5, high: float = 2.0, count: int = 4) -> str:
    return f'[[axis]]\nkey = "{key}"\nfrom = {low}\nto = {high}\ncount = {count}\n'


@pytest.fixture
def write(tmp_path, monkeypatch):
    """Writes map.toml beside a copy of a bait's file, in the working directory."""
    (tmp_path / "pike.toml").write_text(BAIT.read_text("utf-8"), "utf-8")
    monkeypatch.chdir(tmp_path)

    def write(text: str, bait: str = 'bait = "pike.toml"\n', **overrides: object) -> Study:
        Path("map.toml").write_text(bait + text, "utf-8")
        return load_study("map.toml", overrides)

    return write


def problems(write, text: str, **more: object) -> list[str]:
    with pytest.raises(ConfigError) as caught:
        write(text, **more)
    return caught.value.problems


# ------------------------------------------------------------------------------- shapes and values


def test_one_axis_and_two(write):
    one, two = write(TIE), write(TIE + SPEED)
    assert (one.shape, one.cell_count, one.case_count, one.starts) == ((4,), 4, 4, ("steady",))
    assert (two.shape, two.cell_count) == ((4, 3), 12)
    assert two.name == "map" and two.note == "" and two.source_path == "map.toml"
    assert two.text == 'bait = "pike.toml"\n' + TIE + SPEED
    np.testing.assert_array_equal(two.axes[0].values, [-16.0, -6.0, 4.0, 14.0])
    assert two.axes[0].values.dtype == np.float64
    with pytest.raises(ValueError, match="read-only"):
        two.axes[0].values[0] = 0.0


def test_each_level_halves_the_spacing_and_keeps_the_values(write):
    coarse, fine = write(TIE + SPEED), write("[refine]\nlevels = 3\n" + TIE + SPEED)
    assert fine.levels == 3
    assert fine.shape == (3 * 8 + 1, 2 * 8 + 1)
    for rough, dense in zip(coarse.axes, fine.axes, strict=True):
        np.testing.assert_array_equal(rough.values, dense.values[::8])


def test_even_steps_have_no_binary_dust(write):
    found = write(axis("retrieve.speed_m_s", 0.1, 1.0, 10)).axes[0].values
    assert found.tolist() == [0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0]
    assert write(axis("tie_path_mm", -0.3, 0.3, 7)).axes[0].values[3] == 0.0


def test_plain_keys_by_hand(write):
    study = write('[fixed]\n"line.length_m" = 4.0\n' + ANGLE + SPEED)
    # the second axis varies fastest: cell 5 is the second angle at the third speed
    assert study.cell_index(5) == (1, 2) and study.cell_values(5) == (48.0, 2.0)
    config = study.cell_config(5)
    expected = load_config(
        "pike.toml",
        {"line.length_m": 4.0, "bait.bill.angle_deg": 48.0, "retrieve.speed_m_s": 2.0},
    )
    assert config == expected
    assert config.overrides == expected.overrides
    assert study.base.bait.bill.angle_deg == 48.0 and study.base.line.length_m == 4.0


def test_whole_numbers_stay_whole(write):
    study = write(axis("solver.body_strips", 4.0, 10.0, 4))
    assert [study.cell_config(i).solver.body_strips for i in range(4)] == [4, 6, 8, 10]


def test_rise_of_the_line_by_hand(write):
    study = write(axis("line_rise_deg", 0.0, 30.0, 2))
    assert study.cell_config(0).line.rod_tip_height_m == 0.0
    assert study.cell_config(1).line.rod_tip_height_m == pytest.approx(1.5)  # 3 m sin 30
    longer = write(axis("line_rise_deg", 0.0, 30.0, 2) + axis("line.length_m", 2.0, 8.0, 2))
    assert longer.cell_config(3).line.rod_tip_height_m == pytest.approx(4.0)  # 8 m sin 30


def test_reserve_buoyancy_is_what_the_bait_then_has(write):
    study = write(
        axis("reserve_buoyancy_g", -1.0, 2.0, 4) + axis("bait.bill.thickness_mm", 1.0, 3.0, 2)
    )
    for cell in range(study.cell_count):
        wanted, _ = study.cell_values(cell)
        bait = assemble(study.cell_config(cell))
        assert bait.reserve_buoyancy * 1e3 == pytest.approx(wanted, abs=1e-9)


@pytest.mark.parametrize("order", [ANGLE + TIE, TIE + ANGLE], ids=["bill first", "tie first"])
def test_tie_path_follows_the_bill_in_either_order(write, order):
    study = write(order)
    heights = set()
    for cell in range(study.cell_count):
        values = dict(zip((a.key for a in study.axes), study.cell_values(cell), strict=True))
        config = study.cell_config(cell)
        turned = with_overrides(study.base, {"bait.bill.angle_deg": values["bait.bill.angle_deg"]})
        from_nose, above = tie_path(turned).at(values["tie_path_mm"])
        assert config.bait.bill.angle_deg == values["bait.bill.angle_deg"]
        assert (config.bait.tie.from_nose_mm, config.bait.tie.above_centreline_mm) == (
            from_nose,
            above,
        )
        if values["tie_path_mm"] == 14.0:
            heights.add(above)
    assert len(heights) == 3


def test_cells_do_not_depend_on_the_order_of_asking(write):
    text = "[starts]\nrandom = 2\nseed = 7\n" + ANGLE + TIE
    first, second = write(text), write(text)
    cases = [(c, s) for c in range(first.cell_count) for s in range(len(first.starts))]
    forward = {case: config_digest(first.cell_config(*case)) for case in cases}
    assert {case: config_digest(second.cell_config(*case)) for case in cases[::-1]} == forward
    assert len(set(forward.values())) == len(cases)


def test_cells_outside_the_study(write):
    study = write(TIE + SPEED)
    for cell in (-1, 12):
        with pytest.raises(IndexError, match=f"cell {cell} is not one of 0 to 11"):
            study.cell_config(cell)
    with pytest.raises(IndexError, match="start 1 is not one of 0 to 0"):
        study.cell_config(0, 1)


def test_a_cell_beyond_the_end_of_its_path_is_invalid_alone(write):
    # the bill of 10 mm ends before 14 mm, so only one corner has no tie point
    study = write(axis("bait.bill.length_mm", 10.0, 20.0, 2) + TIE)
    with pytest.raises(ConfigError) as caught:
        study.cell_config(3)
    assert re.fullmatch(
        r"pike\.toml: tie_path_mm = 14: must be from -22\.\d to 9\.\d mm, where the tie path of"
        r" this bait ends \(the top of the nose and the tip of the bill\)\. Choose a distance"
        r" between them\.",
        str(caught.value),
    )
    assert study.cell_config(7).bait.bill.length_mm == 20.0
    assert study.cell_config(2).bait.bill.length_mm == 10.0


# ------------------------------------------------------------------------------------------ starts


def test_starts_in_their_order(write):
    study = write('[starts]\nkinds = ["kick", "steady", "rolled"]\nrandom = 1\n' + TIE)
    assert study.starts == ("kick", "steady", "rolled", "random 1")
    assert (study.cell_count, study.case_count) == (4, 16)
    kick, steady, rolled, drawn = (study.cell_config(2, n).start for n in range(4))
    assert steady == study.base.start
    assert (rolled.roll_deg, rolled.yaw_deg, kick.yaw_deg, kick.roll_deg) == (150.0, None, 50.0, 0)
    assert drawn.pitch_deg is not None and any(drawn.rates_deg_s) and drawn.depth_m is None


def test_random_starts_stay_within_their_limits_and_fill_them():
    drawn = [random_start(1, cell, 3) for cell in range(400)]
    flat = np.array([[v for x in d.values() for v in np.atleast_1d(x)] for d in drawn])
    assert flat.shape == (400, 6)
    largest = np.abs(flat).max(axis=0)
    assert (largest < LIMITS).all() and (largest > 0.95 * LIMITS).all()
    assert (np.abs(flat.mean(axis=0)) < 0.15 * LIMITS).all()  # 5 standard deviations


def test_random_starts_come_from_seed_cell_and_number_alone():
    # numpy's own streams: SeedSequence(seed, spawn_key=(cell, number))
    stream = np.random.default_rng(np.random.SeedSequence(5, spawn_key=(8, 3)))
    assert random_start(5, 8, 3)["start.roll_deg"] == stream.uniform(-180.0, 180.0)
    once = {random_start(*key)["start.roll_deg"] for key in [(5, 8, 3), (5, 8, 4), (5, 9, 3),
                                                              (6, 8, 3), (5, 3, 8)]}  # fmt: skip
    assert len(once) == 5


# -------------------------------------------------------------------------- digest and round trip


def test_digest_is_over_what_decides_results(write):
    text = '[fixed]\n"solver.step_ms" = 4.0\n' + TIE + SPEED
    first = write(text).study_digest
    assert re.fullmatch("[0-9a-f]{64}", first)
    same = [
        text + "[run]\nchunk = 3\n",
        'name = "other"\nnote = "a remark"\n' + text,
        text + 'label = "pace"\n',
        text + "[run]\nstop_early = true\nkeep_states_ms = 0\n[refine]\n",
        text + '[starts]\nkinds = ["steady"]\nseed = 9\n',
        text.replace("count = 3", "# a remark\ncount = 3").replace("-16.0", "-16"),
    ]
    assert [write(other).study_digest == first for other in same] == [True] * len(same)
    other = [
        text.replace("4.0", "2.0"),
        text.replace("count = 3", "count = 4"),
        text.replace("-16.0", "-15.9"),
        text.replace("retrieve.speed_m_s", "line.length_m"),
        text + "[run]\nstop_early = false\n",
        text + "[run]\nkeep_states_ms = 8\n",
        text + "[refine]\nlevels = 1\n",
        text + '[starts]\nkinds = ["rolled"]\n',
        text + "[starts]\nrandom = 1\nseed = 1\n",
        text + "[starts]\nrandom = 1\nseed = 2\n",
        '[fixed]\n"solver.step_ms" = 4.0\n' + SPEED + TIE,
    ]
    found = [write(text).study_digest for text in other]
    assert len({first, *found}) == len(other) + 1


def test_digest_does_not_know_where_the_files_lie(write, tmp_path):
    here = write(TIE).study_digest
    (tmp_path / "far").mkdir()
    (tmp_path / "far" / "away.toml").write_text('bait = "../pike.toml"\n' + TIE, "utf-8")
    away = load_study(tmp_path / "far" / "away.toml")
    assert (away.study_digest, away.name) == (here, "away")
    assert away.base.source_path == str(tmp_path / "pike.toml")
    # a line fixed to what the bait's file has anyway decides nothing
    assert write('[fixed]\n"line.length_m" = 3.0\n' + TIE).study_digest == here
    pike = tmp_path / "pike.toml"
    pike.write_text(pike.read_text("utf-8").replace("total_mass_g = 8.0", "total_mass_g = 8.1"))
    assert write(TIE).study_digest != here


def test_round_trip_without_files(write, tmp_path):
    study = write(
        'name = "n"\nnote = "Ümläut"\n[fixed]\n"solver.step_ms" = 1\n"start.rates_deg_s" ='
        ' [1.0, 2.0, 3.0]\n[starts]\nkinds = ["steady"]\nrandom = 1\nseed = 3\n[run]\nchunk = 5\n'
        "stop_early = false\nkeep_states_ms = 20\n" + ANGLE + axis("tie_path_mm", -7.3, 11.9, 7),
        **{"bait.total_mass_g": 8.2},
    )
    text = study.to_json()
    for file in tmp_path.glob("*.toml"):
        file.unlink()
    for again in (Study.from_json(text), pickle.loads(pickle.dumps(study))):
        assert again.to_json() == text
        assert again.study_digest == study.study_digest
        assert (again.base, again.base.overrides) == (study.base, study.base.overrides)
        assert again.base.source_text == study.base.source_text
        assert again.axes[1].values.tobytes() == study.axes[1].values.tobytes()
        for case in [(0, 0), (20, 1), (9, 1)]:
            assert again.cell_config(*case) == study.cell_config(*case)
            assert again.cell_config(*case).overrides == study.cell_config(*case).overrides


def test_overrides_of_the_study_and_of_the_configuration(write):
    study = write(
        '[fixed]\n"line.length_m" = 4.0\n' + TIE + SPEED,
        **{"axis.0.count": 7, "run.chunk": 2, "name": "quick", "line.length_m": np.float64(5.0)},
    )
    assert (study.shape, study.chunk, study.name) == ((7, 3), 2, "quick")
    assert study.cell_config(0).line.length_m == 5.0
    assert study.fixed == {"line.length_m": 5.0}
    assert problems(write, TIE, **{"axis.2.count": 7, "axis.0.count": 1}) == [
        "map.toml: override axis.2.count = 7: axis has no entry 2. It has one, number 0.",
        "map.toml: axis.0.count = 1 (1st [[axis]], override): must be from 2 to 1000000 (number of"
        " values). Correct it, or leave the key out.",
    ]


# ------------------------------------------------------------------------------------------ labels


def test_labels_and_units(write):
    study = write(axis("bait.ballast.0.above_centreline_mm", -6.0, -4.0) + SPEED)
    assert [(a.label, a.unit) for a in study.axes] == [
        ('weight "belly weight": height of its centre above the centreline', "mm"),
        ("speed of the retrieve", "m/s"),
    ]
    config = study.base
    unnamed = with_overrides(config, {"bait.hook.1.name": "hook"})
    for key, label in [
        ("bait.hook.1.mass_g", "2nd hook: mass of the hook with its ring"),
        ("bait.body.station.2.upper_mm", "3rd station: height of the back above the centreline"
         " there"),
        ("tie_path_mm", "tie point along the tie path"),
    ]:  # fmt: skip
        assert axis_label(unnamed, key) == label
    assert write(SPEED + 'label = "pace"\n').axes[0].label == "pace"


def test_every_number_of_the_configuration_can_be_swept():
    config = load_config(BAIT)
    for path, child in tables().items():
        entry = f"{path}.0" if child.is_list else path
        for key, field in child.model.model_fields.items():
            dotted = f"{entry}.{key}" if entry else key
            if path == "bait.plate":
                assert "there is no [[bait.plate]]" in key_problem(config, dotted)
            elif re.fullmatch(r"(float|int)( \| None)?|<class '(float|int)'>",
                              str(field.annotation)):  # fmt: skip
                assert key_problem(config, dotted) == "", dotted
            else:
                assert "only a number can be swept" in key_problem(config, dotted), dotted


def test_no_two_named_axes_wait_for_each_other():
    for a in NAMED_AXES.values():
        for b in NAMED_AXES.values():
            waits = [any(touch(r, s) for r in x.reads for s in y.sets) for x, y in ((a, b), (b, a))]
            assert not all(waits), (a.key, b.key)


# ---------------------------------------------------------------------------------------- messages

# what stands below the bait's line, and all lines without "map.toml: " in front
MESSAGES = {
    "no axis": (
        "",
        ['no axis. Add [[axis]] with key = "tie_path_mm", from, to and count.'],
    ),
    "three axes": (
        TIE + SPEED + ANGLE,
        ["axis: a study has one or two axes, 3 given. Remove some, or set them under [fixed]."],
    ),
    "one bracket": (
        TIE.replace("[[axis]]", "[axis]"),
        [
            'axis = {key = "tie_path_mm", from = -16.0, to = 14.0, count = 4}: must be a list of'
            " tables, not a table. Write [[axis]] with double brackets."
        ],
    ),
    "one bracket twice": (
        (TIE + SPEED).replace("[[axis]]", "[axis]"),
        [
            "line 7, column 6: \"[axis]\" is not valid TOML (Cannot declare ('axis',) twice). For"
            " several of them write [[axis]] each time."
        ],
    ),
    "slips in keys": (
        axis("tie_pth_mm") + axis("speed_m_s"),
        [
            'axis.0.key = "tie_pth_mm" (1st [[axis]]): no such key or named axis. Did you mean'
            ' "tie_path_mm"?',
            'axis.1.key = "speed_m_s" (2nd [[axis]]): no such key or named axis. Did you mean'
            ' "retrieve.speed_m_s"?',
        ],
    ),
    "a key from nowhere": (
        axis("foo"),
        [
            'axis.0.key = "foo" (1st [[axis]]): no such key or named axis. Name "tie_path_mm",'
            ' "line_rise_deg", "reserve_buoyancy_g", "eye_bend_deg", or a number by its dotted'
            ' key, such as "retrieve.speed_m_s".'
        ],
    ),
    "no number": (
        axis("line.kind") + axis("bait.bill"),
        [
            'axis.0.key = "line.kind" (1st [[axis]]): is not a single number (model of the line):'
            " only a number can be swept. Name the dotted key of one, such as"
            ' "retrieve.speed_m_s".',
            'axis.1.key = "bait.bill" (2nd [[axis]]): is a table (the bill (lip)): only a number'
            ' can be swept. Name the dotted key of one, such as "bait.bill.from_nose_mm".',
        ],
    ),
    "list entries": (
        axis("bait.ballast.mass_g") + axis("bait.hook.2.mass_g"),
        [
            'axis.0.key = "bait.ballast.mass_g" (1st [[axis]]): bait.ballast is a list. Name an'
            " entry, counted from 0, as in bait.ballast.0.mass_g.",
            'axis.1.key = "bait.hook.2.mass_g" (2nd [[axis]]): bait.hook has no entry 2. Its 2 are'
            " counted from 0, the last is 1.",
        ],
    ),
    "both axes set one key": (
        TIE + axis("bait.tie.from_nose_mm"),
        [
            'axis.1.key = "bait.tie.from_nose_mm" (2nd [[axis]]): sets bait.tie.from_nose_mm, which'
            " axis.0 (tie_path_mm) sets too. Remove one."
        ],
    ),
    "axis and fixed": (
        '[fixed]\n"bait.tie.above_centreline_mm" = 3.0\n' + TIE,
        [
            'axis.0.key = "tie_path_mm" (1st [[axis]]): sets bait.tie.above_centreline_mm, which'
            " [fixed] sets too. Remove one."
        ],
    ),
    "axis and start": (
        "[starts]\n" + axis("start.yaw_deg") + SPEED,
        [
            'axis.0.key = "start.yaw_deg" (1st [[axis]]): sets start.yaw_deg, which the start'
            ' "kick" sets too. Remove one.'
        ],
    ),
    "axis and drawn start": (
        "[starts]\nkinds = []\nrandom = 1\n" + axis("start.pitch_deg"),
        [
            'axis.0.key = "start.pitch_deg" (1st [[axis]]): sets start.pitch_deg, which a start'
            " drawn at random sets too. Remove one."
        ],
    ),
    "ends": (
        axis("tie_path_mm", -30.0, 10.0) + axis("retrieve.speed_m_s", -1.0, 12.0),
        [
            "axis.0.from = -30.0 (1st [[axis]]): gives no valid configuration: tie_path_mm = -30:"
            " must be from -22.5 to 14.9 mm, where the tie path of this bait ends (the top of the"
            " nose and the tip of the bill). Choose a distance between them.",
            "axis.1.from = -1.0 (2nd [[axis]]): gives no valid configuration: retrieve.speed_m_s ="
            " -1.0: must be from 0 to 10 m/s (speed of the retrieve). Drop the minus sign.",
            "axis.1.to = 12.0 (2nd [[axis]]): gives no valid configuration: retrieve.speed_m_s ="
            " 12.0: must be from 0 to 10 m/s (speed of the retrieve). Correct it.",
        ],
    ),
    "ends that do not go together": (
        '[[axis]]\nkey = "bait.ballast.0.mass_g"\nvalues = [1.0, 3.5, 20.0]\n',
        [
            "axis.0.values.2 = 20.0 (1st [[axis]]): gives no valid configuration:"
            " bait.total_mass_g = 8: must be > 21.598 g, the mass of bill, ballast and hooks alone."
            " Weigh the rigged bait again or correct the hardware."
        ],
    ),
    "no room for so much buoyancy": (
        axis("reserve_buoyancy_g", -3.0, 80.0),
        [
            "axis.0.to = 80.0 (1st [[axis]]): gives no valid configuration: reserve_buoyancy_g ="
            " 80: must be < 9.8 g, what the submerged bait displaces. Give less, negative for a"
            " bait that sinks."
        ],
    ),
    "steps that are not whole": (
        axis("solver.body_strips", 4.0, 9.0, 3),
        [
            'axis.0.key = "solver.body_strips" (1st [[axis]]): takes whole numbers only, but the'
            " axis has 6.5. Choose from, to and count so that the steps are whole, or list values."
        ],
    ),
    "steps that numbers cannot resolve": (
        axis("line.length_m", 1.0, 1.0000000000000002, 9),
        [
            "axis.0.to = 1.0000000000000002 (1st [[axis]]): lies too close to from for so many"
            " steps. Give a smaller count."
        ],
    ),
    "numbers without end": (
        axis("start.x_m", -1e308, 1e308) + axis("start.y_m", 0.0, float("inf")),
        [
            "axis.0.to = 1e+308 (1st [[axis]]): lies too far from from to count steps between."
            " Correct them.",
            "axis.1.to = inf (2nd [[axis]]): must be a finite number (last value). Correct it, or"
            " leave the key out.",
        ],
    ),
    "lists of values": (
        '[[axis]]\nkey = "retrieve.speed_m_s"\nvalues = [1.0, 0.5]\n'
        '[[axis]]\nkey = "tie_path_mm"\nvalues = [1]\n',
        [
            "axis.0.values.1 = 0.5 (1st [[axis]]): must be > 1, the value before it. List the"
            " values rising, each once.",
            "axis.1.values = [1] (2nd [[axis]]): at least 2 values are needed, 1 given. Add more,"
            " or set the key under [fixed].",
        ],
    ),
    "not a list": (
        '[[axis]]\nkey = "tie_path_mm"\nvalues = 3\n',
        [
            "axis.0.values = 3 (1st [[axis]]): must be a list of numbers. Write values = [0.5, 1.0,"
            " 1.5]."
        ],
    ),
    "two ways at once, or none": (
        TIE + 'values = [1.0, 2.0]\n[[axis]]\nkey = "retrieve.speed_m_s"\n',
        [
            "axis.0.from = -16.0 (1st [[axis]]): stands beside values. Give from, to and count, or"
            " values, not both.",
            "axis.1 (2nd [[axis]]): gives no values. Add from, to and count for evenly spaced ones,"
            " or a list values = [...].",
        ],
    ),
    "half an axis": (
        "[[axis]]\nfrom = 2\nto = 1\n",
        [
            'axis.0 (1st [[axis]]): missing key "key" (what is varied). Add "key = ..." under'
            " [[axis]].",
            'axis.0 (1st [[axis]]): missing key "count" (number of values). Add "count = ..." to'
            " this [[axis]].",
            "axis.0.to = 1 (1st [[axis]]): must be > from = 2. Let the axis rise: swap from and to,"
            " or correct them.",
        ],
    ),
    "wrong kinds of value": (
        SPEED.replace("0.5", '"0.5"').replace("3", "3.0") + "step = 0.1\nfom = 1\n",
        [
            'axis.0.from = "0.5" (1st [[axis]]): must be a number, not text. Write it without'
            " quotes: from = 0.5.",
            "axis.0.count = 3.0 (1st [[axis]]): must be a whole number from 2 to 1000000, not a"
            " decimal number. Write it without a decimal point: count = 3.",
            'axis.0: unknown key "step" (1st [[axis]]). Known here: key, from, to, count, values,'
            " label.",
            'axis.0: unknown key "fom" (1st [[axis]]). Did you mean "from"?',
        ],
    ),
    "too many cells": (
        "[refine]\nlevels = 8\n" + TIE + SPEED.replace("3", "700"),
        [
            "axis: 769 x 178945 = 137608705 cells at level 8: must be at most 1000000. Give a"
            " smaller count or fewer refine.levels."
        ],
    ),
    "refining one axis": (
        "[refine]\nlevels = 2\n" + TIE,
        [
            "refine.levels = 2: refining needs two axes, one given. Remove [refine] and give the"
            " axis a greater count."
        ],
    ),
    "refining lists and starts": (
        "[refine]\nlevels = 2\n[starts]\n" + TIE + ANGLE,
        [
            "refine.levels = 2: refining needs even steps, but axis.1 has a list of values. Give it"
            " from, to and count, or remove [refine].",
            "refine.levels = 2: refining needs one start a cell, but [starts] gives 3. Remove"
            " [refine] or [starts].",
        ],
    ),
    "starts": (
        '[starts]\nkinds = ["steady", "roled", "steady"]\nrandom = -1\n' + TIE,
        [
            "starts.random = -1: must be from 0 to 100 (number of further starts drawn at random)."
            " Drop the minus sign, or leave the key out for the default 0.",
            'starts.kinds.1 = "roled": must be one of "steady", "rolled", "kick" (kinds of start).'
            ' Did you mean "rolled"?',
            'starts.kinds.2 = "steady": stands in the list twice. Remove one.',
        ],
    ),
    "no start": (
        "[starts]\nkinds = []\n" + TIE,
        [
            "starts.kinds = []: leaves a cell without a start. Name at least one, kinds ="
            ' ["steady"], or set random.'
        ],
    ),
    "fixed": (
        '[fixed]\n"solver.step_ms" = 40\n"bait.hook.4.mass_g" = 2\n"watr.kind" = "sea"\n' + TIE,
        [
            "fixed: bait.hook.4.mass_g = 2: bait.hook has no entry 4. Its 2 are counted from 0, the"
            " last is 1.",
            "fixed: solver.step_ms = 40: must be from 0.01 to 20 ms (time step of rk4). Correct it,"
            " or leave the key out for the default 2.0.",
            'fixed: unknown key "watr". Did you mean "water"?',
        ],
    ),
    "fixed without quotes": (
        "[fixed]\nsolver.step_ms = 4.0\n" + TIE,
        [
            "fixed.solver = {step_ms = 4.0}: must be a value, not a table. Put the dotted key in"
            ' quotes: "solver.step_ms" = 4.0.'
        ],
    ),
    "keys of the configuration": (
        "[solver]\nstep_ms = 4.0\n[start]\nroll_deg = 3\n[run]\nduration_s = 9\n" + TIE,
        [
            'unknown key "solver". Keys of the configuration go under [fixed], dotted and in'
            ' quotes: "solver.step_ms" = 4.0.',
            'unknown key "start". Keys of the configuration go under [fixed], dotted and in quotes:'
            ' "start.roll_deg" = 3.',
            'run: unknown key "duration_s". Keys of the configuration go under [fixed], dotted and'
            ' in quotes: "solver.duration_s" = 9.',
        ],
    ),
    "slips in tables": (
        '[start]\nkinds = ["steady"]\n[run]\nstop_erly = true\nchunk = 0\n' + TIE,
        [
            "run.chunk = 0: must be from 1 to 100000 (number of runs calculated and written at a"
            " time). Correct it, or leave the key out for the default 128.",
            'unknown key "start". Did you mean "starts"?',
            'run: unknown key "stop_erly". Did you mean "stop_early"?',
        ],
    ),
    "states between the stored ones": (
        "[run]\nkeep_states_ms = 6\n" + TIE,
        [
            "run.keep_states_ms = 6: must be a whole multiple of solver.output_step_ms = 4 ms. Use"
            " 8 or 12 ms, or 0 to keep measures only."
        ],
    ),
    "states at a step that varies": (
        "[run]\nkeep_states_ms = 8\n" + axis("solver.output_step_ms", 4.0, 8.0, 2),
        [
            "run.keep_states_ms = 8: must be 0 where an axis sets solver.output_step_ms. Remove the"
            " key or the axis."
        ],
    ),
}


@pytest.mark.parametrize("name", MESSAGES)
def test_message(write, name):
    text, lines = MESSAGES[name]
    assert sorted(problems(write, text)) == sorted(f"map.toml: {line}" for line in lines)


def test_problems_of_the_baits_file(write, tmp_path):
    assert problems(write, TIE, bait='bait = "pik.toml"\n') == [
        'map.toml: bait = "pik.toml": pik.toml: no such file. Did you mean "pike.toml"?'
    ]
    assert problems(write, TIE, bait="") == [
        'map.toml: missing key "bait" (file of the bait). Add "bait = ..." at the top of the file.'
    ]
    pike = tmp_path / "pike.toml"
    pike.write_text(pike.read_text("utf-8").replace("angle_deg = 48.0", "angle_dg = 48.0"))
    # the slip in the bait's file and the one in the study are told together
    found = problems(write, '[run]\nchunk = "2"\n' + TIE)
    assert len(found) == 2
    assert found[0].startswith('map.toml: run.chunk = "2": must be a whole number')
    assert found[1] == (
        'map.toml: bait: pike.toml: bait.bill: unknown key "angle_dg". Did you mean "angle_deg"?'
    )


def test_a_configuration_is_not_a_study(write):
    with pytest.raises(ConfigError) as caught:
        load_study("pike.toml")
    assert caught.value.problems == [
        "pike.toml: is the configuration of a bait, not a study of one. Name a study file, whose"
        ' first line is bait = "pike.toml".'
    ]
    with pytest.raises(ConfigError) as caught:
        load_study("speeds-and-ties.toml")
    assert str(caught.value) == (
        "speeds-and-ties.toml: no such file. Start from one of the files in configs/studies."
    )


def test_a_bait_that_nothing_retrieves(write, tmp_path):
    pike = tmp_path / "pike.toml"
    text = pike.read_text("utf-8")
    start, end = text.index("[line]"), text.index("[water]")
    pike.write_text(text[:start] + text[end:], "utf-8")
    assert problems(write, TIE + SPEED + "[run]\nchunk = 0\n") == [
        "map.toml: run.chunk = 0: must be from 1 to 100000 (number of runs calculated and written"
        f" at a time). Correct it, or leave the key out for the default {CHUNK}.",
        'map.toml: bait = "pike.toml": has no table [line], which a study needs: its runs are'
        " retrieves. Add [line] to that file (every key has a default), and [bait.tie] where there"
        " is none.",
    ]
    with pytest.raises(ConfigError) as caught:
        axis_overrides(load_config(pike), "line_rise_deg", 10.0)
    assert "there is no line to rise. Add [line] and [bait.tie]." in str(caught.value)


def test_axes_that_need_parts_the_bait_lacks(write, tmp_path):
    (tmp_path / "pike.toml").write_text(
        "[bait.bill]\nfrom_nose_mm = 0\nabove_centreline_mm = 0\nlength_mm = 20\nwidth_mm = 20\n"
        "angle_deg = 10\n[bait.tie]\nfrom_nose_mm = 0\nabove_centreline_mm = 0\n[line]\n"
    )
    start = "gives no valid configuration: "
    assert problems(write, TIE) == [
        f'map.toml: axis.0.key = "tie_path_mm" (1st [[axis]]): {start}tie_path_mm: a tie path needs'
        " [bait.body] and [bait.bill]. Add them, or sweep bait.tie.from_nose_mm.",
    ]
    assert problems(write, axis("reserve_buoyancy_g")) == [
        f'map.toml: axis.0.key = "reserve_buoyancy_g" (1st [[axis]]): {start}reserve_buoyancy_g:'
        " needs [bait.body], whose density it changes. Add it, or sweep the mass of a part.",
    ]


# ---------------------------------------------------------------------------- shipped, and the page


@pytest.mark.parametrize("path", SHIPPED, ids=lambda p: p.stem)
def test_shipped_studies_have_no_impossible_cell(path):
    study = load_study(path)
    assert study.name == path.stem
    assert study.fixed == {}
    corners = np.ix_(*[(0, size // 2, size - 1) for size in study.shape])
    for cell in np.arange(study.cell_count).reshape(study.shape)[corners].ravel().tolist():
        for start in range(len(study.starts)):
            assert assemble(study.cell_config(cell, start)).mass > 0.0


def test_shipped_studies():
    assert sorted(path.stem for path in SHIPPED) == [
        "deep-runner-tie-speed",
        "shallow-runner-angle-tie",
        "shallow-runner-ballast-tie",
        "shallow-runner-starts",
        "shallow-runner-tie",
        "shallow-runner-tie-speed",
        "slab-sided-tie-speed",
    ]


@pytest.fixture(scope="module")
def page() -> str:
    return (TOP / "docs" / "studies.md").read_text("utf-8")


def test_the_page_has_every_key_with_its_default(page):
    found = {}
    for cells in re.findall(r"^\| (`[^|]*) \| ([^|]*) \| ([^|]*) \| ([^|]*) \|$", page, re.M):
        for key in re.findall(r"`([\w.]+)`", cells[0]):
            found[key] = cells[1:]
    known = {
        f"{path}.{key}" if path else key: field
        for path, child in tables(StudyFile).items()
        for key, field in child.model.model_fields.items()
        if (f"{path}.{key}" if path else key) not in tables(StudyFile)
    }
    assert set(found) - set(NAMED_AXES) == set(known)
    for key, field in known.items():
        default, allowed, _ = found[key]
        if field.is_required():
            assert default == "**needed**"
        elif field.get_default() is None:
            assert default == "none"
        elif field.get_default() != {}:
            read = tomllib.loads(f"x = {default.strip('`')}")["x"]
            given = field.get_default()
            assert read == (list(given) if isinstance(given, tuple) else given), key
        for rule in field.metadata:
            bound = getattr(rule, "ge", getattr(rule, "le", None))
            if bound is not None:
                assert str(bound) in allowed, key


def test_the_page_has_every_named_axis(page):
    rows = re.findall(r"^\| `(\w+)` \| ([\w/]+) \| (.*?) \| (.*?) \|$", page, re.M)
    named = {row[0]: row[1:] for row in rows if row[0] in NAMED_AXES}
    assert set(named) == set(NAMED_AXES)
    for key, (unit, text, sets) in named.items():
        assert (unit, text) == (NAMED_AXES[key].unit, NAMED_AXES[key].description)
        assert tuple(re.findall(r"`(.*?)`", sets)) == NAMED_AXES[key].sets


def test_the_page_has_the_numbers_of_the_starts(page):
    text = " ".join(page.split())
    assert f"turned by {STARTS['rolled']['start.roll_deg']:g} degrees" in text
    assert f"`kick` by {STARTS['kick']['start.yaw_deg']:g} degrees to starboard" in text
    roll, pitch, yaw, rate = LIMITS[:4]
    assert f"within {roll:g}, a pitch within {pitch:g} and a yaw within {yaw:g} degrees" in text
    assert f"turning rates within {rate:g} degrees/s" in text


def test_the_example_on_the_page(page, tmp_path):
    lines = re.search(r"^    bait = .*?(?=^\S)", page, re.M | re.S)[0]
    (tmp_path / "studies").mkdir()
    (tmp_path / "shallow-runner.toml").write_text(BAIT.read_text("utf-8"), "utf-8")
    file = tmp_path / "studies" / "example.toml"
    file.write_text(re.sub("^    ", "", lines, flags=re.M), "utf-8")
    study = load_study(file)
    assert (study.name, study.shape, study.levels) == ("angle-tie", (41, 61), 2)


def test_messages_on_the_page_are_those_of_the_program(page, write):
    shown = re.search(r"^```text\n(.*?)^```$", page, re.M | re.S)[1].splitlines()
    found = []
    for text in (
        axis("speed_m_s"),
        ANGLE + axis("tie_path_mm", -16.0, 40.0),
        MESSAGES["both axes set one key"][0],
        '[fixed]\n"solver.step_ms" = 40\n' + TIE,
        MESSAGES["refining one axis"][0],
    ):
        found += problems(write, text)
    assert found == shown


def test_limits_of_the_random_starts_are_angles():
    assert LIMITS[0] == 180.0 and (LIMITS[1:3] < 90.0).all() and math.isfinite(LIMITS.max())
