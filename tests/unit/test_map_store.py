"""Maps: planned, run in chunks, resumed, merged, read back, and refused when not whole."""

from __future__ import annotations

import dataclasses
import errno
import hashlib
import json
import math
import os
import re
import shutil
from collections.abc import Callable, Sequence
from pathlib import Path

import h5py
import numpy as np
import pytest
import xarray

from sim.config import config_digest, resolved_json, starting_config
from sim.errors import RunError, StoreError
from sim.kernels.motion import MEASURES
from sim.result import RunResult
from sim.store import END_SIZE, last_line, load_run, save_run
from sim.studies import parts, run
from sim.studies.axes import NAMED_AXES
from sim.studies.causes import Cause, causes
from sim.studies.compare import differences, same_content
from sim.studies.engine import CLASSES, MARGINS, STATUSES, CaseTable
from sim.studies.own_place import own_place
from sim.studies.run import run_study
from sim.studies.store import MapResult, is_map, load_map
from sim.studies.study import Study, load_study

SPEED, ANGLE = "retrieve.speed_m_s", "bait.bill.angle_deg"
TEXT = f"""# Köder auf zwei Achsen, 鱸魚
bait = "perch.toml"

[[axis]]
key = "{SPEED}"
from = 0.5
to = 1.5
count = 5

[[axis]]
key = "{ANGLE}"
from = 30
to = 60
count = 4

[run]
chunk = 7
"""
STARTS = '\n[starts]\nkinds = ["steady", "kick"]\nrandom = 1\nseed = 7\n'
STATES = "keep_states_ms = 20.0\n"
REFINE = "\n[refine]\nlevels = 3\n"

# ---------------------------------------------------------------------------------- a stand-in run


def pretend(study: Study, cases: Sequence[int]) -> CaseTable:
    """Results that depend on the case alone, some of them failed; no simulation."""
    case = np.array(cases, dtype=np.int64)
    n = len(case)
    drawn = [np.random.default_rng(number) for number in cases]
    place = np.array([study.cell_values(number // len(study.starts)) for number in cases])
    values = np.array([rng.normal(size=len(MEASURES) + len(MARGINS) + 3) for rng in drawn])
    status, motion = np.zeros(n, dtype=np.int8), np.zeros(n, dtype=np.int8)
    motion[place[:, 0] > 0.7] = 1
    motion[place[:, 0] + place[:, -1] / 60 > 2.1] = 3
    message = []
    for row, number in enumerate(cases):
        code = {5: 1, 11: 3, 12: 3, 19: 4}.get(number, 0)
        status[row] = code
        motion[row] = -1 if code else motion[row]
        message.append(
            "" if not code else f"größer als {number}.5e-3 mm/s" if code > 2 else "läuft weiter"
        )
        if code > 2:
            values[row] = math.nan
    states = None
    if study.keep_states_ms:
        states = np.array([rng.normal(size=(9, 7)) for rng in drawn])
        states[np.arange(n), -1] = math.nan
    return CaseTable(
        case, status, motion, values[:, : len(MEASURES)],
        values[:, len(MEASURES) : len(MEASURES) + len(MARGINS)],
        values[:, -3], values[:, -2], values[:, -1], case % 3 == 0, tuple(message), states,
    )  # fmt: skip


class Counting:
    """The stand-in, which notes what it was asked for and may stop in the middle."""

    def __init__(self, stop_after: int | None = None, error: type[BaseException] = RuntimeError):
        self.asked: list[list[int]] = []
        self.stop_after, self.error = stop_after, error

    def __call__(self, study: Study, cases: Sequence[int]) -> CaseTable:
        if self.stop_after is not None and len(self.asked) == self.stop_after:
            raise self.error("in the middle")
        self.asked.append(list(cases))
        return pretend(study, cases)

    def flat(self) -> list[int]:
        return [case for cases in self.asked for case in cases]


@pytest.fixture
def make(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Study]:
    """A study from its text; the current folder is an empty one."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "perch.toml").write_text(starting_config("perch"), encoding="utf-8")

    def study(text: str = TEXT, **overrides: object) -> Study:
        path = tmp_path / "study.toml"
        path.write_text(text, encoding="utf-8")
        names = {key.replace("__", "."): value for key, value in overrides.items()}
        return load_study("study.toml", names)

    return study


def refusal(call: Callable[[], object]) -> str:
    with pytest.raises(StoreError) as caught:
        call()
    text = str(caught.value)
    assert "\n" not in text
    return text


def assert_same(a: MapResult, b: MapResult) -> None:
    """Every field but the provenance the same to the bit."""
    for field in dataclasses.fields(MapResult):
        one, two = getattr(a, field.name), getattr(b, field.name)
        if field.name == "study":
            assert one.to_json() == two.to_json()
        elif isinstance(one, np.ndarray) and one.dtype != object:
            assert one.dtype == two.dtype
            assert one.tobytes() == two.tobytes(), field.name
        elif field.name != "provenance":
            assert repr(one) == repr(two), field.name


# ------------------------------------------------------------------------------------ what is kept


@pytest.mark.parametrize("text", [TEXT, TEXT + STATES, TEXT + STARTS, TEXT + STATES + STARTS])
def test_every_field_comes_back(make: Callable[..., Study], text: str) -> None:
    study = make(text)
    result = run_study(study, "map.h5", calculate=pretend)
    whole = load_map("map.h5")
    starts = len(study.starts)
    expected = pretend(study, range(study.case_count))
    assert whole.complete
    assert whole.starts == study.starts
    assert whole.study.to_json() == study.to_json()
    assert whole.study.study_digest == study.study_digest
    shape = (5, 4, starts)
    for name in ("status", "motion_class", "first_s", "last_s", "end_s", "early"):
        found = getattr(whole, name)
        assert found.shape == shape
        assert found.dtype == getattr(expected, name).dtype
        np.testing.assert_array_equal(found.ravel(), getattr(expected, name))
    assert whole.message.ravel().tolist() == list(expected.message)
    assert tuple(whole.measures) == MEASURES
    assert tuple(whole.margins) == MARGINS
    for column, name in enumerate(MEASURES):
        assert whole.measures[name].tobytes() == expected.measures[:, column].tobytes()
    for column, name in enumerate(MARGINS):
        assert whole.margins[name].tobytes() == expected.margins[:, column].tobytes()
    assert not whole.inferred.any()
    assert whole.inferred.shape == (5, 4)
    if expected.states is None:
        assert whole.states is None
        assert whole.states_step_s == 0.0
    else:
        assert whole.states is not None
        assert whole.states.shape == (*shape, 9, 7)
        assert whole.states.tobytes() == expected.states.tobytes()
        assert whole.states_step_s == 0.02
    assert whole.mode_axes is None
    assert whole.growth == {}
    assert_same(result, load_map("map.h5", states=False))
    assert not Path("map.h5.part").exists()


def uneven(study: Study, cases: Sequence[int]) -> CaseTable:
    """States as long as the longest run of a chunk; no run of the first cases could be made."""
    table = pretend(study, cases)
    lengths = [0 if case < 7 else 1 + case // 3 for case in cases]
    states = np.full((len(cases), max(lengths), 7), np.nan)
    for row, (case, length) in enumerate(zip(cases, lengths, strict=True)):
        states[row, :length] = case
    return dataclasses.replace(table, states=states)


def test_states_of_runs_that_differ_in_length(make: Callable[..., Study]) -> None:
    # (in the chunk of cases 7 to 13 the longest has 5 records, in the last one 7, in the first 0)
    run_study(make(TEXT + STATES), "map.h5", calculate=uneven)
    states = load_map("map.h5").states
    assert states is not None
    assert states.shape == (5, 4, 1, 7, 7)
    for case, rows in enumerate(states.reshape(20, 7, 7)):
        length = 0 if case < 7 else 1 + case // 3
        np.testing.assert_array_equal(rows[:length], case)
        assert np.isnan(rows[length:]).all()
    # neither the cut into chunks nor a break shows
    run_study(make(TEXT + STATES, run__chunk=20), "one.h5", calculate=uneven)
    assert differences("map.h5", "one.h5") == ["study/json"]  # which says the chunk
    with pytest.raises(KeyboardInterrupt):
        run_study(make(TEXT + STATES), "two.h5", calculate=uneven, progress=interrupt)
    run_study(make(TEXT + STATES), "two.h5", calculate=uneven, resume=True)
    assert same_content("map.h5", "two.h5")


def interrupt(done: int, planned: int, failed: int) -> None:
    if done >= 14:
        raise KeyboardInterrupt


def test_states_when_no_run_could_be_made(make: Callable[..., Study]) -> None:
    def none(study: Study, cases: Sequence[int]) -> CaseTable:
        return dataclasses.replace(pretend(study, cases), states=np.empty((len(cases), 0, 7)))

    run_study(make(TEXT + STATES), "map.h5", calculate=none)
    states = load_map("map.h5").states
    assert states is not None
    assert states.shape == (5, 4, 1, 1, 7)
    assert np.isnan(states).all()


def test_one_axis(make: Callable[..., Study]) -> None:
    text = TEXT[: TEXT.index("[[axis]]")] + TEXT[TEXT.rindex("[[axis]]") :]
    result = run_study(make(text), "map.h5", calculate=pretend)
    assert result.status.shape == (4, 1)
    assert result.shipped == (make(text).base.bait.bill.angle_deg,)


def test_cases_are_cells_times_starts(make: Callable[..., Study]) -> None:
    study, counting = make(TEXT + STARTS), Counting()
    run_study(study, "map.h5", calculate=counting)
    assert counting.flat() == list(range(5 * 4 * 3))
    assert [len(cases) for cases in counting.asked] == [7] * 8 + [4]


def test_modes_are_stored_on_a_grid_of_their_own(make: Callable[..., Study]) -> None:
    axes = (np.array([0.5, 1.5]), np.array([30.0, 40.0, 60.0]))
    growth = {"wobble": np.arange(6.0).reshape(2, 3), "lean": np.full((2, 3), np.nan)}
    result = run_study(make(), "map.h5", calculate=pretend, overlay=lambda study: (axes, growth))
    assert result.mode_axes is not None
    for stored, given in zip(result.mode_axes, axes, strict=True):
        np.testing.assert_array_equal(stored, given)
    assert list(result.growth) == ["wobble", "lean"]
    for name, array in growth.items():
        assert result.growth[name].tobytes() == array.tobytes()


def test_refined_map(make: Callable[..., Study]) -> None:
    study, counting = make(TEXT + REFINE), Counting()
    told: list[tuple[int, int, int]] = []
    result = run_study(
        study, "map.h5", calculate=counting, progress=lambda *counts: told.append(counts)
    )
    full = make(TEXT, axis__0__count=33, axis__1__count=25)
    whole = run_study(full, "full.h5", calculate=pretend)
    assert result.complete
    ran = result.status[..., 0] != STATUSES.index("not run")
    np.testing.assert_array_equal(ran, ~result.inferred)
    assert 20 < ran.sum() < 0.7 * 33 * 25
    np.testing.assert_array_equal(result.motion_class[ran], whole.motion_class[ran])
    # the stand-in fails in single cells, which only level 0 can meet
    apart = result.motion_class != whole.motion_class
    np.testing.assert_array_equal(whole.motion_class[apart], -1)
    assert apart.sum() <= 4
    assert np.isnan(result.measures["depth_m"][result.inferred]).all()
    asked = counting.flat()
    assert len(asked) == len(set(asked)) == ran.sum()
    assert told[-1][:2] == (ran.sum(), ran.sum())
    assert [done for done, _, _ in told] == np.cumsum([len(c) for c in counting.asked]).tolist()
    assert len(counting.asked) > 4


def test_failed_runs_are_grouped_by_cause(make: Callable[..., Study]) -> None:
    result = run_study(make(), "map.h5", calculate=pretend)
    found = causes(result.status, result.message)
    assert found == [
        Cause("größer als 11.5e-3 mm/s", "diverged", 2, 11),
        Cause("größer als 19.5e-3 mm/s", "invalid", 1, 19),
    ]
    with h5py.File("map.h5") as file:
        assert file["causes/runs"][()].tolist() == [2, 1]
        assert file["causes/case"][()].tolist() == [11, 19]
        assert file["causes/message"].asstr()[0] == found[0].message


def test_progress_counts_failures(make: Callable[..., Study]) -> None:
    told: list[tuple[int, int, int]] = []
    run_study(make(), "map.h5", calculate=pretend, progress=lambda *counts: told.append(counts))
    assert told == [(7, 20, 0), (14, 20, 2), (20, 20, 3)]


# ---------------------------------------------------------------------------------- self-describing


def test_labels_and_groups(make: Callable[..., Study]) -> None:
    study = make(TEXT + STATES)
    run_study(study, "map.h5", calculate=pretend)
    with h5py.File("map.h5") as file:
        assert file.attrs["format"] == b"runtrue map"
        assert file.attrs["format_version"] == 1

        def check(name: str, item: h5py.Dataset | h5py.Group) -> None:
            if isinstance(item, h5py.Dataset):
                assert item.attrs["long_name"], name
                assert item.attrs["units"], name
                assert item.attrs["frame"], name

        file.visititems(check)
        assert file[SPEED].is_scale
        assert file[SPEED].attrs["units"] == "m/s"
        assert file[SPEED].attrs["shipped"] == study.base.retrieve.speed_m_s
        assert file["depth_m"].attrs["units"] == "m"
        assert file["margin_roll"].attrs["units"] == "deg"
        assert list(file["states"].attrs["component_units"]) == ["m"] * 3 + ["1"] * 4
        names = h5py.check_enum_dtype(file["motion_class"].dtype)
        assert names == {"none": -1, **{name: code for code, name in enumerate(CLASSES)}}
        assert h5py.check_enum_dtype(file["status"].dtype) == {
            name: code for code, name in enumerate(STATUSES)
        }
        texts = {name: data.asstr()[()] for name, data in file["config"].items()}
        assert texts["text"] == study.base.source_text
        assert texts["resolved"] == resolved_json(study.base)
        assert texts["digest"] == config_digest(study.base)
        assert file["study/text"].asstr()[()] == TEXT + STATES
        assert json.loads(file["study/json"].asstr()[()])["chunk"] == 7
        assert file["study/digest"].asstr()[()] == study.study_digest
        assert file["provenance/kernel_digest"].asstr()[()]
        assert file["provenance/study_digest"].asstr()[()] == study.study_digest


def test_opens_in_xarray(make: Callable[..., Study]) -> None:
    study = make(TEXT + STATES + STARTS)
    result = run_study(study, "map.h5", calculate=pretend)
    with xarray.open_dataset("map.h5", engine="h5netcdf") as data:
        assert data["depth_m"].dims == (SPEED, ANGLE, "start")
        assert data["inferred"].dims == (SPEED, ANGLE)
        assert data["states"].dims == (SPEED, ANGLE, "start", "record_time", "pose")
        for axis in study.axes:
            np.testing.assert_array_equal(data.coords[axis.key], axis.values)
        assert data.coords["start"].values.tolist() == list(study.starts)
        assert data["pose"].values.tolist() == ["x", "y", "z", "qw", "qx", "qy", "qz"]
        np.testing.assert_array_equal(data["record_time"], np.arange(9) * 0.02)
        one = data["depth_m"].sel({SPEED: 0.75, ANGLE: 40.0, "start": "kick"}).item()
        assert one == result.measures["depth_m"][1, 1, 1]
        np.testing.assert_array_equal(data["motion_class"], result.motion_class)
        assert data["message"].values.tolist() == result.message.tolist()
        assert data["depth_m"].attrs["units"] == "m"
    with xarray.open_dataset("map.h5", engine="h5netcdf", group="causes") as data:
        assert data["runs"].values.sum() == 3


def test_big_maps_are_compressed_and_come_back(make: Callable[..., Study]) -> None:
    study = make(TEXT, axis__0__count=120, axis__1__count=100, run__chunk=5000)
    run_study(study, "map.h5", calculate=pretend)
    with h5py.File("map.h5") as file:
        assert file["end_s"].compression == "gzip"
        assert file["end_s"].shuffle
        assert file["end_s"].fletcher32
    expected = pretend(study, range(study.case_count))
    np.testing.assert_array_equal(load_map("map.h5").end_s.ravel(), expected.end_s)


def test_only_the_provenance_tells_two_maps_apart(make: Callable[..., Study]) -> None:
    study = make(TEXT + STATES)
    run_study(study, "a.h5", calculate=pretend)
    run_study(dataclasses.replace(study), "b.h5", calculate=pretend)
    assert same_content("a.h5", "b.h5")
    with h5py.File("a.h5") as a, h5py.File("b.h5") as b:
        assert set(a["provenance"]) == set(b["provenance"])

    def other(study: Study, cases: Sequence[int]) -> CaseTable:
        table = pretend(study, cases)
        table.measures[table.case == 3, 0] += 1e-15
        return table

    run_study(study, "c.h5", calculate=other)
    assert differences("a.h5", "c.h5") == ["wobble_frequency_hz"]
    run_study(make(TEXT + STATES + "# remark\n"), "d.h5", calculate=pretend)
    assert differences("a.h5", "d.h5") == ["study/json", "study/text"]


def test_own_place_on_the_axes(make: Callable[..., Study]) -> None:
    base = make().base
    assert own_place(base, SPEED) == base.retrieve.speed_m_s
    assert own_place(base, "bait.hook.0.mass_g") == base.bait.hook[0].mass_g
    assert math.isnan(own_place(base, "bait.hook.99.mass_g"))
    assert math.isnan(own_place(base, "bait.total_mass_g"))
    # an axis put to the place found leaves the bait as it is, to the width of the tie path's steps
    tie = base.bait.tie
    assert tie is not None
    at = NAMED_AXES["tie_path_mm"].overrides(base, own_place(base, "tie_path_mm"))
    assert at["bait.tie.from_nose_mm"] == pytest.approx(tie.from_nose_mm, abs=0.5)
    assert at["bait.tie.above_centreline_mm"] == pytest.approx(tie.above_centreline_mm, abs=0.5)
    assert base.line is not None
    rise = own_place(base, "line_rise_deg")
    assert NAMED_AXES["line_rise_deg"].overrides(base, rise) == {
        "line.rod_tip_height_m": pytest.approx(base.line.rod_tip_height_m)
    }


# ------------------------------------------------------------------------------ what is in the way


def test_an_existing_file_is_kept_unless_forced(make: Callable[..., Study]) -> None:
    study = make()
    Path("map.h5").write_text("mine")
    text = refusal(lambda: run_study(study, "map.h5", calculate=pretend))
    assert text == "map.h5: exists already. Use another --output, or --force to replace it."
    with pytest.raises(RuntimeError):  # a forced run that fails leaves what was there
        run_study(study, "map.h5", force=True, calculate=Counting(1))
    assert Path("map.h5").read_text() == "mine"
    # and goes on without asking for --force once more
    run_study(study, "map.h5", resume=True, calculate=pretend)
    assert load_map("map.h5").complete


def test_a_stopped_study_is_kept_unless_told(make: Callable[..., Study]) -> None:
    study = make()
    with pytest.raises(RuntimeError):
        run_study(study, "map.h5", calculate=Counting(2))
    before = sorted(os.listdir("map.h5.part"))
    assert before == ["chunk-00000.h5", "chunk-00001.h5", "study.json"]
    text = refusal(lambda: run_study(study, "map.h5", calculate=pretend))
    assert text == (
        "map.h5.part: an earlier study was stopped before it was finished. To begin anew: runtrue"
        " map study.toml --output map.h5 --force -- to go on with it: runtrue map study.toml"
        " --output map.h5 --resume"
    )
    assert sorted(os.listdir("map.h5.part")) == before
    counting = Counting()
    run_study(study, "map.h5", force=True, calculate=counting)
    assert len(counting.asked) == 3


def test_files_of_somebody_else_are_not_removed(make: Callable[..., Study]) -> None:
    Path("map.h5.part").mkdir()
    Path("map.h5.part/letter.txt").write_text("dear")
    for how in ({"force": True}, {"resume": True}):
        text = refusal(lambda how=how: run_study(make(), "map.h5", calculate=pretend, **how))
        assert text.startswith("map.h5.part: holds files that this program did not put there.")
    assert Path("map.h5.part/letter.txt").read_text() == "dear"
    shutil.rmtree("map.h5.part")
    Path("map.h5.part").write_text("a file")
    text = refusal(lambda: run_study(make(), "map.h5", calculate=pretend, force=True))
    assert text.startswith("map.h5.part: is not a folder of this program.")


def test_a_folder_that_is_worked_on_is_left_alone(make: Callable[..., Study]) -> None:
    study = make()
    tried: list[str] = []

    def meanwhile(study: Study, cases: Sequence[int]) -> CaseTable:
        before = sorted(os.listdir("map.h5.part"))
        for how in ({}, {"force": True}, {"resume": True}):
            tried.append(
                refusal(lambda how=how: run_study(study, "map.h5", calculate=pretend, **how))
            )
        assert sorted(os.listdir("map.h5.part")) == before
        return pretend(study, cases)

    assert run_study(study, "map.h5", calculate=meanwhile).complete
    assert len(tried) == 9
    assert set(tried) == {
        "map.h5.part: is being worked on by another process. Wait for it, or use another --output."
    }
    assert sorted(os.listdir()) == ["map.h5", "perch.toml", "study.toml"]
    # what a killed process has left holds nobody up
    Path(".map.h5.lock").touch()
    assert run_study(study, "map.h5", force=True, calculate=pretend).complete
    assert not Path(".map.h5.lock").exists()


def test_a_map_that_another_process_has_just_finished_is_kept(
    make: Callable[..., Study], monkeypatch: pytest.MonkeyPatch
) -> None:
    taken = parts._lock

    def late(handle: int) -> None:
        Path("map.h5").write_text("theirs")
        taken(handle)

    monkeypatch.setattr(parts, "_lock", late)
    text = refusal(lambda: run_study(make(), "map.h5", calculate=pretend))
    assert text == "map.h5: exists already. Use another --output, or --force to replace it."
    assert Path("map.h5").read_text() == "theirs"


def test_where_there_are_no_locks_it_goes_on(
    make: Callable[..., Study], monkeypatch: pytest.MonkeyPatch
) -> None:
    def unknown(handle: int) -> None:
        raise OSError(errno.ENOTSUP, "not supported")

    monkeypatch.setattr(parts, "_lock", unknown)
    assert run_study(make(), "map.h5", calculate=pretend).complete


def test_a_call_that_does_not_begin_leaves_no_folders(make: Callable[..., Study]) -> None:
    study = make()
    with pytest.raises(RunError):
        run_study(study, "new/deep/map.h5", scheduler="nonsense://", calculate=pretend)
    assert not Path("new").exists()
    run_study(study, "new/deep/map.h5", calculate=pretend)
    assert os.listdir("new/deep") == ["map.h5"]


@pytest.mark.parametrize("error", [KeyboardInterrupt, RuntimeError, MemoryError])
def test_a_stopped_study_goes_on(make: Callable[..., Study], error: type[BaseException]) -> None:
    study = make(TEXT + STATES + STARTS)
    run_study(study, "whole.h5", calculate=pretend)
    with pytest.raises(error):
        run_study(study, "map.h5", calculate=Counting(4, error))
    assert not Path("map.h5").exists()
    counting = Counting()
    told: list[tuple[int, int, int]] = []
    result = run_study(
        study, "map.h5", resume=True, calculate=counting,
        progress=lambda *counts: told.append(counts),
    )  # fmt: skip
    assert counting.flat() == list(range(28, 60))
    assert told[0][:2] == (7, 60)
    assert told[-1][:2] == (60, 60)
    assert result.provenance["runs_taken_over"] == "28"
    assert same_content("map.h5", "whole.h5")


def test_resume_of_a_refined_map(make: Callable[..., Study]) -> None:
    study = make(TEXT + REFINE)
    run_study(study, "whole.h5", calculate=pretend)
    chunks = 0
    for stop in range(0, 12, 4):
        counting = Counting(4)
        with pytest.raises(RuntimeError):
            run_study(study, "map.h5", resume=stop > 0, calculate=counting)
        chunks += 4
        assert len(list(Path("map.h5.part").glob("chunk-*.h5"))) == chunks
    run_study(study, "map.h5", resume=True, calculate=pretend)
    assert same_content("map.h5", "whole.h5")


def test_resume_with_nothing_there_begins(make: Callable[..., Study]) -> None:
    counting = Counting()
    run_study(make(), "map.h5", resume=True, calculate=counting)
    assert len(counting.asked) == 3


def test_resume_of_a_finished_map_loads_it(make: Callable[..., Study]) -> None:
    first = run_study(make(), "map.h5", calculate=pretend)
    nothing = Counting(0)
    # killed after the result was put in its place, before its chunks were removed
    Path("map.h5.part").mkdir()
    Path("map.h5.part/chunk-00002.h5").write_bytes(b"left over")
    again = run_study(make(), "map.h5", resume=True, calculate=nothing)
    assert_same(first, again)
    assert again.provenance == first.provenance
    assert not Path("map.h5.part").exists()
    # names and remarks may change
    renamed = make(TEXT.replace("# Köder", "# another remark"))
    assert run_study(renamed, "map.h5", resume=True, calculate=nothing).complete


def test_another_chunk_size_goes_on_in_the_old_one(make: Callable[..., Study]) -> None:
    with pytest.raises(RuntimeError):
        run_study(make(), "map.h5", calculate=Counting(2))
    counting = Counting()
    run_study(make(run__chunk=3), "map.h5", resume=True, calculate=counting)
    assert counting.asked == [list(range(14, 20))]


def test_another_study_is_refused(make: Callable[..., Study]) -> None:
    study = make()
    with pytest.raises(RuntimeError):
        run_study(study, "map.h5", calculate=Counting(2))
    other = make(axis__0__to=1.6)
    digests = study.study_digest[:12], other.study_digest[:12]
    text = refusal(lambda: run_study(other, "map.h5", resume=True, calculate=pretend))
    assert text == (
        f"map.h5.part: came from another study (sha256 {digests[0]}, now {digests[1]}). Resume with"
        " the study and the program that it came from, use another --output, or --force to begin"
        " anew."
    )
    run_study(study, "map.h5", resume=True, calculate=pretend)
    text = refusal(lambda: run_study(other, "map.h5", resume=True, calculate=pretend))
    assert text == (
        f"map.h5: came from another study (sha256 {digests[0]}, now {digests[1]}). Use another"
        " --output, or --force to replace it."
    )
    run_study(other, "map.h5", resume=True, force=True, calculate=pretend)
    assert load_map("map.h5").study.study_digest == other.study_digest


def test_another_program_is_refused(
    make: Callable[..., Study], monkeypatch: pytest.MonkeyPatch
) -> None:
    study = make()
    with pytest.raises(RuntimeError):
        run_study(study, "map.h5", calculate=Counting(2))
    ours = parts.bits_of(study)
    newer = {**ours, "kernel_digest": "9f3c9f3c9f3c9f3c"}
    with monkeypatch.context() as patch:
        patch.setattr(run, "bits_of", lambda study: newer)
        text = refusal(lambda: run_study(study, "map.h5", resume=True, calculate=pretend))
        assert text.startswith(
            "map.h5.part: came from another version of the program (kernel digest"
            f" {ours['kernel_digest']}, now 9f3c9f3c9f3c9f3c)."
        )
    run_study(study, "map.h5", resume=True, calculate=pretend)
    monkeypatch.setattr(run, "bits_of", lambda study: newer)
    text = refusal(lambda: run_study(study, "map.h5", resume=True, calculate=pretend))
    assert "now 9f3c9f3c9f3c9f3c). Use another --output" in text


def test_a_bait_that_has_changed_is_named(make: Callable[..., Study]) -> None:
    study = make()
    with pytest.raises(RuntimeError):
        run_study(study, "map.h5", calculate=Counting(2))
    perch = Path("perch.toml")
    text = perch.read_text(encoding="utf-8")
    edited = re.sub(r"^speed_m_s = \S+", "speed_m_s = 1.234", text, count=1, flags=re.MULTILINE)
    perch.write_text(edited, encoding="utf-8")
    other = load_study("study.toml")
    digests = config_digest(study.base)[:12], config_digest(other.base)[:12]
    assert digests[0] != digests[1]
    said = (
        "the configuration of the bait, perch.toml, has changed since (sha256"
        f" {digests[0]}, now {digests[1]})."
    )
    text = refusal(lambda: run_study(other, "map.h5", resume=True, calculate=pretend))
    assert text.startswith(f"map.h5.part: {said} Resume with")
    run_study(study, "map.h5", resume=True, calculate=pretend)
    text = refusal(lambda: run_study(other, "map.h5", resume=True, calculate=pretend))
    assert text.startswith(f"map.h5: {said} Use another --output")
    # what the study fixes is the study's
    perch.write_bytes(study.base.source_text.encode())
    fixed = make(solver__step_ms=0.5)
    text = refusal(lambda: run_study(fixed, "map.h5", resume=True, calculate=pretend))
    assert text.startswith("map.h5: came from another study (sha256 ")


@pytest.mark.parametrize(
    ("source", "decides"),
    [
        *((name, True) for name in (
            "model.py", "bait/panels.py", "plan.py", "start.py", "trim.py", "outcome.py",
            "classify.py", "measure.py", "config/models.py", "studies/engine.py",
            "studies/grid.py", "kernels/rhs.py", "errors.py",
        )),
        *((name, False) for name in parts.DECIDES_NOTHING),
    ],
)  # fmt: skip
def test_sources_that_decide_results(tmp_path: Path, source: str, decides: bool) -> None:
    package = Path(parts.__file__).parents[1]
    copies = [tmp_path / name for name in ("one", "two")]
    for copy in copies:
        shutil.copytree(package, copy, ignore=shutil.ignore_patterns("__pycache__"))
    changed = copies[1] / source
    changed = sorted(changed.glob("*.py"))[-1] if changed.is_dir() else changed
    assert changed.is_file()
    changed.write_text(changed.read_text(encoding="utf-8") + "# edited\n", encoding="utf-8")
    one, two = (parts.source_digest(copy) for copy in copies)
    assert (one != two) is decides


def test_an_edit_of_the_physics_between_two_calls_is_refused(
    make: Callable[..., Study], monkeypatch: pytest.MonkeyPatch
) -> None:
    study = make()
    with pytest.raises(RuntimeError):
        run_study(study, "map.h5", calculate=Counting(2))
    monkeypatch.setattr(parts, "source_digest", lambda package: "edited")
    text = refusal(lambda: run_study(study, "map.h5", resume=True, calculate=pretend))
    assert text.startswith("map.h5.part: came from another version of the program (source digest ")
    assert ", now edited). Resume with" in text
    assert set(parts.bits_of(study)) >= {"source_digest", "kernel_digest", "python"}


# --------------------------------------------------------------------------------- what is damaged


def cut(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:-100])


def flip(path: Path) -> None:
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(bytes(data))


def empty(path: Path) -> None:
    path.write_bytes(b"")


def swap(path: Path) -> None:
    shutil.copyfile(path.with_name("chunk-00001.h5"), path)


def forge(path: Path) -> None:
    """A whole file with a right checksum that lacks a column."""
    data = path.read_bytes()[:-END_SIZE]
    path.write_bytes(data)
    with h5py.File(path, "a") as file:
        del file["measures"]
    data = path.read_bytes()
    path.write_bytes(data + last_line(hashlib.sha256(data).hexdigest()))


@pytest.mark.parametrize("damage", [cut, flip, empty, swap, forge, Path.unlink])
def test_a_damaged_chunk_is_calculated_again(
    make: Callable[..., Study], damage: Callable[[Path], None]
) -> None:
    study = make(TEXT + STATES)
    run_study(study, "whole.h5", calculate=pretend)
    with pytest.raises(RuntimeError):
        run_study(study, "map.h5", calculate=Counting(2))
    damage(Path("map.h5.part/chunk-00000.h5"))
    Path("map.h5.part/.runtrue-0123.part").write_bytes(b"half written")
    counting = Counting()
    run_study(study, "map.h5", resume=True, calculate=counting)
    assert counting.asked == [list(range(7)), list(range(14, 20))]
    assert same_content("map.h5", "whole.h5")
    assert sorted(p.name for p in Path().iterdir() if "map" in p.name) == ["map.h5"]


@pytest.mark.parametrize("note", ["", "{", "[]", '{"format": "runtrue map chunk"}', None])
def test_without_its_note_nothing_is_trusted(make: Callable[..., Study], note: str | None) -> None:
    with pytest.raises(RuntimeError):
        run_study(make(), "map.h5", calculate=Counting(2))
    path = Path("map.h5.part/study.json")
    path.unlink() if note is None else path.write_text(note)
    counting = Counting()
    run_study(make(), "map.h5", resume=True, calculate=counting)
    assert len(counting.asked) == 3


def test_a_chunk_that_is_lost_before_merging_is_told(make: Callable[..., Study]) -> None:
    def overlay(study: Study) -> run.Modes:
        flip(Path("map.h5.part/chunk-00001.h5"))
        return (study.axes[0].values, study.axes[1].values), {}

    text = refusal(lambda: run_study(make(), "map.h5", calculate=pretend, overlay=overlay))
    assert text == (
        "map.h5.part: chunk-00001.h5 was damaged or removed since it was written. Run the study"
        " again with --resume."
    )
    assert not Path("map.h5").exists()
    assert not Path("map.h5.part/merged").exists()
    assert run_study(make(), "map.h5", resume=True, calculate=pretend).complete


def test_other_cases_than_asked_for_are_an_error(make: Callable[..., Study]) -> None:
    with pytest.raises(ValueError, match="chunk 0: other cases came back"):
        run_study(make(), "map.h5", calculate=lambda s, cases: pretend(s, cases[::-1]))


def test_a_full_disk_is_told_before_merging(
    make: Callable[..., Study], monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        usage = shutil.disk_usage(".")._replace(free=1000)
        patch.setattr(parts.shutil, "disk_usage", lambda _: usage)
        text = refusal(lambda: run_study(make(), "map.h5", calculate=pretend))
    found = re.fullmatch(
        r"map.h5.part: the disk is full, merging it needs about ([\d.]+) kB and 1.0 kB are free."
        r" Free some space, then go on with --resume.",
        text,
    )
    assert found
    counting = Counting(0)
    assert run_study(make(), "map.h5", resume=True, calculate=counting).complete
    size = Path("map.h5").stat().st_size
    assert size <= 1000 * float(found[1]) <= 3 * size


@pytest.mark.parametrize("calculate", [pretend, uneven])
def test_the_room_asked_for_is_enough(
    make: Callable[..., Study], monkeypatch: pytest.MonkeyPatch, calculate: run.Calculate
) -> None:
    # a long text, and runs of which one in 20 is a hundred times longer than the others
    def longer(study: Study, cases: Sequence[int]) -> CaseTable:
        table = calculate(study, cases)
        assert table.states is not None
        more = np.full((len(cases), 500 if 19 in cases else 0, 7), 1.0)
        return dataclasses.replace(table, states=np.concatenate([table.states, more], axis=1))

    asked: list[int] = []
    size = parts._size
    usage = shutil.disk_usage(".")._replace(free=1000)
    study = make(TEXT + STATES + "# ä long remark\n" * 5000, run__chunk=2)
    with monkeypatch.context() as patch:
        patch.setattr(parts.shutil, "disk_usage", lambda _: usage)
        patch.setattr(parts, "_size", lambda n: asked.append(n) or size(n))
        refusal(lambda: run_study(study, "map.h5", calculate=longer))
    run_study(study, "map.h5", resume=True, calculate=longer)
    real = Path("map.h5").stat().st_size
    assert real > 500_000
    assert real <= asked[0] <= 1.6 * real


def test_sizes_are_told_in_the_unit_that_fits() -> None:
    sizes = (0, 1234, 999_949, 999_999, 2.5e6, 3.21e11)
    assert [parts._size(n) for n in sizes] == [
        "0.0 kB", "1.2 kB", "999.9 kB", "1.0 MB", "2.5 MB", "321.0 GB",
    ]  # fmt: skip


# ------------------------------------------------------------------------------------ what is read


@pytest.fixture
def stored(make: Callable[..., Study]) -> Path:
    run_study(make(), "map.h5", calculate=pretend)
    return Path("map.h5")


def reseal(path: Path, change: Callable[[h5py.File], None]) -> None:
    """Change a file and give it the checksum that belongs to it."""
    path.write_bytes(path.read_bytes()[:-END_SIZE])
    with h5py.File(path, "a") as file:
        change(file)
    data = path.read_bytes()
    path.write_bytes(data + last_line(hashlib.sha256(data).hexdigest()))


def test_what_cannot_be_read(stored: Path) -> None:
    assert refusal(lambda: load_map("none.h5")) == (
        "none.h5: no such file. Check the path, or run the study first."
    )
    assert refusal(lambda: load_map(".")) == ".: is a directory. Name a map (.h5) in it."
    Path("note.h5").write_text("not a map at all")
    assert "note.h5: is not an HDF5 file." in refusal(lambda: load_map("note.h5"))
    Path("empty.h5").touch()
    assert "empty.h5: the file is empty." in refusal(lambda: load_map("empty.h5"))
    flip(stored)
    assert "map.h5: is damaged (its checksum is wrong)." in refusal(lambda: load_map(stored))
    assert not is_map("none.h5")
    assert not is_map(".")
    assert not is_map("note.h5")
    assert not is_map("empty.h5")


def test_a_file_cut_off(stored: Path) -> None:
    data = stored.read_bytes()
    for size in (9, 500, len(data) // 2, len(data) - END_SIZE, len(data) - 1):
        stored.write_bytes(data[:size])
        text = refusal(lambda: load_map(stored))
        assert text.startswith(("map.h5: is damaged", "map.h5: is cut off"))
        assert is_map(stored) in (True, False)


def test_every_byte_is_covered(stored: Path) -> None:
    data = stored.read_bytes()
    for place in np.random.default_rng(1).integers(8, len(data), 60).tolist():
        changed = bytearray(data)
        changed[place] ^= 0x10
        stored.write_bytes(bytes(changed))
        with pytest.raises(StoreError):
            load_map(stored)


def test_another_format_and_a_newer_version(stored: Path) -> None:
    whole = stored.read_bytes()
    reseal(stored, lambda file: file.attrs.modify("format_version", 2))
    assert refusal(lambda: load_map(stored)) == (
        "map.h5: has format version 2, written by a newer program; this one reads up to 1. Update"
        " the program."
    )
    assert is_map(stored)
    stored.write_bytes(whole)
    reseal(stored, lambda file: file.attrs.modify("format", "something"))
    assert "is an HDF5 file format 'something', not a map" in refusal(lambda: load_map(stored))
    assert not is_map(stored)
    stored.write_bytes(whole)
    reseal(stored, lambda file: file.pop("depth_m"))
    assert 'is incomplete, "depth_m" is not in it.' in refusal(lambda: load_map(stored))


def test_runs_and_maps_are_told_apart(make: Callable[..., Study], stored: Path) -> None:
    rows = 3
    one = RunResult(
        make().base, np.arange(rows) / 8, np.zeros((rows, 3)), np.zeros((rows, 4)),
        np.zeros((rows, 6)), np.zeros((rows, 2)), np.zeros(rows), np.zeros((rows, 3)),
        "settled", "", "tight", "", {}, {}, (0.0, 1.0), {},
    )  # fmt: skip
    save_run(one, "run.h5")
    assert is_map("map.h5")
    assert not is_map("run.h5")
    assert refusal(lambda: load_map("run.h5")) == (
        "run.h5: holds one run, not a map. Name another."
    )
    assert "format 'runtrue map', not a run" in refusal(lambda: load_run("map.h5"))


def test_a_map_with_cells_missing_is_not_complete(stored: Path) -> None:
    def remove(file: h5py.File) -> None:
        file["status"][2, 2, 0] = STATUSES.index("not run")

    assert load_map(stored).complete
    reseal(stored, remove)
    assert not load_map(stored).complete
