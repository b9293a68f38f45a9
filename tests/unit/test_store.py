"""Result files: whole, self-describing, and never trusted when they are not whole."""

from __future__ import annotations

import dataclasses
import errno
import hashlib
import math
import os
import shutil
import subprocess
import tomllib
import warnings
from collections.abc import Callable
from pathlib import Path

import h5py
import numba
import numpy as np
import pydantic
import pytest
import scipy

from sim import provenance, store
from sim.config import Config, config_digest, config_from_dict, resolved_json, starting_config
from sim.errors import StoreError
from sim.result import MOTION_CLASSES, STATUSES, RunResult
from sim.store import check_output, load_run, save_run

TEXT = starting_config("perch") + "# Köder für Barsch, 鱸魚用\n"
ARRAYS = ("time", "position", "attitude", "velocity", "wake", "line_tension", "rod_tip")
PROVENANCE = {"program": "0.1.0", "date_utc": "2026-01-02T03:04:05+00:00", "host": "Werkstatt-Süd"}


def a_config() -> Config:
    text = TEXT.replace("\n", "\r\n")  # as an editor on another system leaves it
    overrides = {"bait.tie.above_centreline_mm": -5, "bait.tie.right_mm": 0.25, "note": "für Jürg"}
    return config_from_dict(tomllib.loads(TEXT), "Köder/perch.toml", overrides, text)


def a_run(rows: int = 200, **changes: object) -> RunResult:
    """A plausible wobble: 6 Hz, a few degrees, one row every 4 ms."""
    time = np.arange(rows) * 0.004
    swing = 2 * np.pi * 6.0 * time
    nothing = np.zeros(rows)
    half = 0.05 * np.sin(swing)
    run = RunResult(
        config=a_config(),
        time=time,
        position=np.stack([time, 0.01 * np.sin(swing), 0.5 + 0.1 * time], 1),
        attitude=np.stack([np.cos(half), nothing, nothing, np.sin(half)], 1),
        velocity=np.stack([1 + nothing, half, nothing, half, nothing, np.cos(swing)], 1),
        wake=np.stack([2 * np.sin(swing), 75 * np.cos(swing)], 1),
        line_tension=0.4 + 0.1 * np.sin(2 * swing),
        rod_tip=np.stack([3 + time, nothing, nothing], 1),
        status="settled",
        message="settled after 0.4 s, größte Änderung 3 %",
        motion_class="balanced",
        class_reason="roll 12° < 35°",
        measures={"wobble_frequency_hz": 6.0, "yaw_amplitude_deg": 5.7, "depth_m": 1 / 3},
        margins={"spin": 1.0, "roll": -0.25},
        window=(0.1, 0.8),
        stats={"steps": 400.0, "extensions": 2},
        warnings=("the bill stands out of the water", "Öse schief"),
        provenance=PROVENANCE,
    )
    return dataclasses.replace(run, **changes)


def broken_off(run: RunResult) -> RunResult:
    """The same run, diverged half-way."""
    arrays = {name: getattr(run, name).copy() for name in ARRAYS[1:]}
    for array in arrays.values():
        array[len(array) // 2 :] = np.nan
    return dataclasses.replace(
        run,
        **arrays,
        status="diverged",
        motion_class=None,
        class_reason="",
        measures=dict.fromkeys(run.measures, math.nan),
        margins={},
        window=(math.nan, math.nan),
        warnings=(),
        stats={},
        provenance={},
    )


def assert_same(a: RunResult, b: RunResult) -> None:
    """Every field the same to the bit, and of the same type."""
    for field in dataclasses.fields(RunResult):
        one, two = getattr(a, field.name), getattr(b, field.name)
        if isinstance(one, np.ndarray):
            assert one.dtype == two.dtype, field.name
            assert one.shape == two.shape, field.name
            assert one.tobytes() == two.tobytes(), field.name
        elif field.name == "config":
            assert one == two
            assert one.source_text == two.source_text
            assert one.source_path == two.source_path
            assert one.overrides == two.overrides
            assert repr(one) == repr(two)
        else:  # repr tells 1 from 1.0 and keeps the order of a mapping
            assert repr(one) == repr(two), field.name
            assert type(one) is type(two), field.name


@pytest.fixture
def saved(tmp_path: Path) -> Path:
    return save_run(a_run(), tmp_path / "run.h5")


def refusal(path: Path) -> str:
    """What load_run says about a file it refuses: one line that begins with the path."""
    with pytest.raises(StoreError) as caught:
        load_run(path)
    text = str(caught.value)
    assert text.startswith(f"{path}: ")
    assert "\n" not in text
    assert text.endswith(".")
    return text.removeprefix(f"{path}: ")


# ------------------------------------------------------------------------------------ round trip


@pytest.mark.parametrize(
    "run",
    [
        a_run(),
        a_run(rows=0),
        a_run(rows=1),
        a_run(rows=5000),  # more than one chunk
        broken_off(a_run()),
        broken_off(a_run(rows=0)),
        a_run(rod_tip=np.full((200, 3), np.nan), status="free", motion_class=None),
        a_run(line_tension=np.zeros(200, ">f4"), time=np.arange(200, dtype=np.int32)),
        a_run(position=np.asfortranarray(a_run().position)),
        a_run(message="", class_reason="", warnings=("", "two\nlines\ttab")),
        a_run(measures={"x" * 300: -0.0, "Größe_mm": math.inf, "b": -math.inf}),
        a_run(stats={"z": 2**53 + 1, "a": 5e-324}),
    ],
    ids=lambda run: f"{run.status}-{len(run.time)}",
)
def test_round_trip_keeps_every_field_to_the_bit(run: RunResult, tmp_path: Path) -> None:
    path = save_run(run, tmp_path / "Köder 鱼.h5")
    assert path == tmp_path / "Köder 鱼.h5"
    assert_same(load_run(path), run)
    assert [entry.name for entry in tmp_path.iterdir()] == ["Köder 鱼.h5"]


@pytest.mark.parametrize("status", STATUSES)
@pytest.mark.parametrize("motion_class", [*MOTION_CLASSES, None])
def test_outcome_is_an_enumeration_and_a_text(
    status: str, motion_class: str | None, tmp_path: Path
) -> None:
    path = save_run(a_run(rows=2, status=status, motion_class=motion_class), tmp_path / "run.h5")
    run = load_run(path)
    assert (run.status, run.motion_class) == (status, motion_class)
    with h5py.File(path) as file:
        outcome = file["outcome"]
        for name, text in (("status", status), ("motion_class", motion_class or "none")):
            codes = h5py.check_enum_dtype(outcome[name].dtype)
            assert outcome[name][()] == codes[text]
            assert outcome[f"{name}_text"].asstr()[()] == text
        assert set(codes) == {*MOTION_CLASSES, "none"}


def test_config_without_a_file_comes_back(tmp_path: Path) -> None:
    config = Config.model_validate({"bait": {"hook": [_HOOK]}})
    run = load_run(save_run(a_run(config=config), tmp_path / "run.h5"))
    assert run.config == config
    assert (run.config.source_path, run.config.source_text, run.config.overrides) == ("", "", {})


_HOOK = {"mass_g": 1.0, "from_nose_mm": 10.0, "above_centreline_mm": -1 / 3}


def test_config_is_stored_verbatim_and_resolved(saved: Path) -> None:
    config = a_config()
    with h5py.File(saved) as file:
        stored = {name: file["config"][name].asstr()[()] for name in file["config"]}
    assert stored["text"] == TEXT.replace("\n", "\r\n")
    assert stored["resolved"] == resolved_json(config)
    assert stored["digest"] == config_digest(config)
    assert stored["source_path"] == "Köder/perch.toml"
    assert '"bait.tie.above_centreline_mm": -5' in stored["overrides"]


def test_a_text_beyond_64_kib_is_kept(tmp_path: Path) -> None:
    config = config_from_dict(tomllib.loads(TEXT), text=TEXT + "# Köder\n" * 20_000)
    run = load_run(save_run(a_run(config=config), tmp_path / "run.h5"))
    assert run.config.source_text == config.source_text


def test_path_that_is_no_text_is_kept(tmp_path: Path) -> None:
    name = os.fsdecode(b"k\xf6der.toml")  # Latin-1 file name
    config = config_from_dict(tomllib.loads(TEXT), name)
    run = load_run(save_run(a_run(config=config), tmp_path / "run.h5"))
    assert run.config.source_path == name


# ------------------------------------------------------------------------------- self-describing


def datasets(path: Path) -> dict[str, h5py.Dataset]:
    """Every dataset of a file by its path; the file stays open while they are in use."""
    found: dict[str, h5py.Dataset] = {}
    file = h5py.File(path)
    file.visititems(
        lambda name, item: found.update({name: item} if isinstance(item, h5py.Dataset) else {})
    )
    return found


def test_every_dataset_says_what_it_holds(saved: Path) -> None:
    found = datasets(saved)
    assert set(ARRAYS) <= set(found)
    assert {"measures/depth_m", "margins/roll", "stats/steps", "provenance/host"} <= set(found)
    for name, dataset in found.items():
        for attribute in ("units", "long_name", "frame"):
            value = dataset.attrs[attribute]
            assert isinstance(value, str), (name, attribute)
            assert value, (name, attribute)
    units = {name: dataset.attrs["units"] for name, dataset in found.items()}
    assert units["time"] == units["outcome/window"] == "s"
    assert units["position"] == units["rod_tip"] == units["measures/depth_m"] == "m"
    assert units["attitude"] == units["stats/steps"] == "1"
    assert units["margins/roll"] == "deg"
    assert units["line_tension"] == "N"
    assert units["measures/yaw_amplitude_deg"] == "deg"
    frames = {name: found[name].attrs["frame"] for name in ARRAYS}
    assert frames["position"] == frames["rod_tip"] == "earth"
    assert frames["velocity"] == "bait"
    assert frames["attitude"] == "bait to earth"


def test_mixed_columns_carry_their_units(saved: Path) -> None:
    found = datasets(saved)
    velocity, wake = found["velocity"].attrs, found["wake"].attrs
    assert list(velocity["components"]) == ["u", "v", "w", "p", "q", "r"]
    assert list(velocity["component_units"]) == ["m/s"] * 3 + ["rad/s"] * 3
    assert list(wake["components"]) == ["s", "s_dot"]
    assert list(wake["component_units"]) == ["1", "1/s"]


def test_arrays_are_packed_checked_and_scaled_by_time(saved: Path) -> None:
    found = datasets(saved)
    for name in ARRAYS:
        dataset = found[name]
        assert (dataset.compression, dataset.shuffle, dataset.fletcher32) == ("gzip", True, True)
        if name != "time":
            assert dataset.dims[0][0] == found["time"]
    assert found["time"].is_scale


def test_root_names_format_and_frames(saved: Path) -> None:
    with h5py.File(saved) as file:
        assert file.attrs["format"] == b"runtrue-run"
        assert file.attrs["format_version"] == 1
        assert "z down" in file.attrs["frame_earth"]


@pytest.mark.parametrize(
    ("name", "units", "long_name"),
    [
        ("tail_sweep_mm", "mm", "sideways sweep of the tail"),
        ("line_tension_n", "N", "mean line tension"),
        ("bill_load_n", "N", "bill load"),
        ("peak_speed_m_s", "m/s", "peak speed"),
        ("climb_m_per_m", "m/m", "climb"),
        ("yaw_rate_deg_s", "deg/s", "yaw rate"),
        ("odd", "1", "odd"),
        ("steps", "1", "steps"),
    ],
)
def test_label_from_table_or_suffix(name: str, units: str, long_name: str, tmp_path: Path) -> None:
    path = save_run(a_run(measures={name: 1.0}), tmp_path / "run.h5")
    attributes = datasets(path)[f"measures/{name}"].attrs
    assert (attributes["units"], attributes["long_name"]) == (units, long_name)


def test_units_of_the_table_agree_with_the_names(tmp_path: Path) -> None:
    by_name = {
        "_deg": "deg",
        "_hz": "Hz",
        "_mm": "mm",
        "_n": "N",
        "_mm_s": "mm/s",
        "_m_s": "m/s",
        "_per_m": "m/m",
    }
    for name, label in store.MEASURES.items():
        units = [unit for suffix, unit in by_name.items() if name.endswith(suffix)]
        if not units:
            units = ["m"] if name.endswith("_m") else ["1"]
        assert label.units == units[0], name


def test_tables_know_what_a_run_measures() -> None:
    from sim.run import simulate

    short = {"solver.duration_s": 0.5, "solver.max_duration_s": 0.5}
    run = simulate(config_from_dict(tomllib.loads(TEXT), overrides=short))
    assert set(run.measures) == set(store.MEASURES)
    assert set(run.margins) <= {"spin", "roll", "lean", "roll_to_yaw", "tight_yaw"}


def test_opens_in_xarray_by_one_line(saved: Path) -> None:
    xarray = pytest.importorskip("xarray")
    pytest.importorskip("h5netcdf")
    run = a_run()
    with warnings.catch_warnings():
        warnings.simplefilter("error")  # phony dimensions would be warned about
        with xarray.open_dataset(saved, engine="h5netcdf") as data:
            assert set(data.data_vars) == set(ARRAYS) - {"time"}
            assert data["velocity"].dims == ("time", "motion")
            assert data["rod_tip"].dims == ("time", "axis")
            assert np.array_equal(data["time"].values, run.time)
            assert "time" in data.coords
            yaw_rate = data["velocity"].sel(motion="r")
            assert np.array_equal(yaw_rate.values, run.velocity[:, 5])
            assert data["position"].attrs["units"] == "m"
            assert data.attrs["format_version"] == 1
        with xarray.open_datatree(saved, engine="h5netcdf") as tree:
            assert float(tree["measures/depth_m"]) == 1 / 3
            assert str(tree["outcome/status_text"].values) == "settled"
            assert int(tree["outcome/motion_class"]) == 1
            assert not [name for group in tree.subtree for name in group.dims if "phony" in name]


def test_an_empty_run_opens_in_xarray(tmp_path: Path) -> None:
    xarray = pytest.importorskip("xarray")
    pytest.importorskip("h5netcdf")
    path = save_run(a_run(rows=0), tmp_path / "run.h5")
    with xarray.open_dataset(path, engine="h5netcdf") as data:
        assert data["position"].shape == (0, 3)


def everything(path: Path) -> dict[str, object]:
    """Datasets, types and attributes of a file, as bytes."""
    found: dict[str, object] = {}

    def note(name: str, item: h5py.HLObject) -> None:
        for key, value in item.attrs.items():
            found[f"{name}@{key}"] = (str(np.asarray(value).dtype), np.asarray(value).tolist())
        if isinstance(item, h5py.Dataset):
            value = np.asarray(item[()])
            raw = value.tolist() if value.dtype.hasobject else value.tobytes()
            found[name] = (item.dtype.str, item.shape, item.chunks, raw)
        elif isinstance(item, h5py.Datatype):
            found[name] = str(h5py.check_enum_dtype(item.dtype))
        else:
            found[name] = list(item)

    with h5py.File(path) as file:
        note("/", file)
        file.visititems(note)
    # References are addresses in the file: they must not move either.
    return {key: repr(value) for key, value in found.items()}


def test_two_runs_of_one_config_differ_only_in_provenance(tmp_path: Path) -> None:
    later = PROVENANCE | {"host": "another, with a much longer name" * 200, "wall_time_s": "2.5"}
    one = everything(save_run(a_run(), tmp_path / "one.h5"))
    two = everything(save_run(a_run(provenance=later), tmp_path / "two.h5"))
    different = {key for key in one | two if one.get(key) != two.get(key)}
    assert "provenance/host" in different
    assert {key for key in different if not key.startswith("provenance")} == set()
    assert len(one) > 100


# ---------------------------------------------------------------------------------------- saving


def files(folder: Path) -> list[str]:
    return sorted(entry.name for entry in folder.iterdir())


def test_an_existing_file_is_refused_or_replaced(saved: Path) -> None:
    before = saved.read_bytes()
    other = a_run(message="another")
    for attempt in (lambda: save_run(other, saved), lambda: check_output(saved)):
        with pytest.raises(StoreError) as caught:
            attempt()
        assert str(caught.value) == (
            f"{saved}: exists already. Use another --output, or --force to replace it."
        )
        assert saved.read_bytes() == before
    check_output(saved, overwrite=True)
    assert saved.read_bytes() == before
    save_run(other, saved, overwrite=True)
    assert load_run(saved).message == "another"
    assert files(saved.parent) == ["run.h5"]


def test_a_file_that_appears_meanwhile_is_not_replaced(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "run.h5"
    monkeypatch.setattr(store.os, "fsync", lambda _: path.write_text("somebody else's"))
    with pytest.raises(StoreError, match="exists already"):
        save_run(a_run(), path)
    assert path.read_text() == "somebody else's"
    assert files(tmp_path) == ["run.h5"]


def test_missing_folders_are_made(tmp_path: Path) -> None:
    path = tmp_path / "results" / "für Jürg" / "run.h5"
    check_output(path)
    assert files(tmp_path) == []
    save_run(a_run(), path)
    assert_same(load_run(path), a_run())


def test_a_link_stays_a_link(saved: Path) -> None:
    link = saved.parent / "latest.h5"
    link.symlink_to("run.h5")
    with pytest.raises(StoreError, match="exists already"):
        save_run(a_run(), link)
    save_run(a_run(message="another"), link, overwrite=True)
    assert link.is_symlink()
    assert load_run(saved).message == "another"


def test_the_usual_permissions_apply(tmp_path: Path) -> None:
    plain = tmp_path / "plain"
    plain.touch()
    assert save_run(a_run(), tmp_path / "run.h5").stat().st_mode == plain.stat().st_mode


@pytest.mark.parametrize("overwrite", [False, True])
def test_a_directory_is_refused(tmp_path: Path, overwrite: bool) -> None:
    with pytest.raises(StoreError) as caught:
        save_run(a_run(), tmp_path, overwrite=overwrite)
    assert str(caught.value) == (
        f"{tmp_path}: is a directory. Name a file in it, such as {tmp_path / 'run.h5'}."
    )
    assert files(tmp_path) == []


def test_a_file_as_folder_is_refused(saved: Path) -> None:
    path = saved / "deeper" / "run.h5"
    with pytest.raises(StoreError) as caught:
        save_run(a_run(), path)
    assert str(caught.value) == (
        f"{path}: cannot be written, {saved} is a file and not a folder. Use another --output."
    )


def test_a_pipe_is_refused(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    with pytest.raises(StoreError, match="is not an ordinary file"):
        save_run(a_run(), pipe, overwrite=True)
    assert pipe.is_fifo()
    assert "is not an ordinary file" in refusal(pipe)


@pytest.mark.parametrize("name", ["x" * 300 + ".h5", "a\0b.h5"])
def test_an_impossible_name_is_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(StoreError, match=r"cannot be written \(.+\)\. Use another --output\."):
        save_run(a_run(), tmp_path / name)
    assert files(tmp_path) == []
    assert "cannot be read" in refusal(tmp_path / name)


@pytest.mark.parametrize(
    ("code", "text"),
    [
        (errno.ENOSPC, "the disk is full. Free some space, or use another --output."),
        (errno.EDQUOT, "the disk is full. Free some space, or use another --output."),
        (errno.EROFS, "may not be written. Use another --output, or give yourself permission"),
        (errno.EACCES, "may not be written. Use another --output, or give yourself permission"),
        (errno.EIO, f"cannot be written ({os.strerror(errno.EIO)}). Use another --output."),
    ],
)
@pytest.mark.parametrize("call", ["fsync", "replace"])
def test_a_failure_while_writing_leaves_the_old_file(
    saved: Path, monkeypatch: pytest.MonkeyPatch, code: int, text: str, call: str
) -> None:
    before = saved.read_bytes()
    seen: list[list[str]] = []

    def fail(*_: object) -> None:
        seen.append(files(saved.parent))
        raise OSError(code, os.strerror(code))

    monkeypatch.setattr(store.os, call, fail)
    with pytest.raises(StoreError) as caught:
        save_run(a_run(message="another"), saved, overwrite=True)
    assert text in str(caught.value)
    assert str(caught.value).startswith(f"{saved}: ")
    assert len(seen[0]) == 2  # the temporary file was in the same folder
    assert files(saved.parent) == ["run.h5"]
    assert saved.read_bytes() == before


def test_a_full_device_is_reported(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The system's own error of a full device, instead of a made-up one."""
    if not Path("/dev/full").is_char_device():
        pytest.skip("no device that is always full")
    real_open = open

    def open_full(path: Path, mode: str) -> object:
        path.touch()
        return real_open("/dev/full", mode.replace("x", "w"))

    monkeypatch.setattr(store, "open", open_full, raising=False)
    with pytest.raises(StoreError, match="the disk is full"):
        save_run(a_run(), tmp_path / "run.h5")
    assert files(tmp_path) == []


def test_an_interrupt_leaves_no_temporary_file(
    saved: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupt(_: int) -> None:
        raise KeyboardInterrupt

    before = saved.read_bytes()
    monkeypatch.setattr(store.os, "fsync", interrupt)
    with pytest.raises(KeyboardInterrupt):
        save_run(a_run(message="another"), saved, overwrite=True)
    assert files(saved.parent) == ["run.h5"]
    assert saved.read_bytes() == before


def test_a_folder_without_permission_is_refused_early(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # The superuser may write everywhere, so the answer of the system is set.
    monkeypatch.setattr(store.os, "access", lambda *_: False)
    with pytest.raises(StoreError) as caught:
        check_output(tmp_path / "deeper" / "run.h5")
    assert str(caught.value) == (
        f"{tmp_path / 'deeper' / 'run.h5'}: may not be written. Use another --output, or give"
        " yourself permission to write in its folder."
    )


@pytest.mark.parametrize(
    "changes",
    [
        {"status": "perfect"},
        {"motion_class": "none"},
        {"position": np.zeros((200, 2))},
        {"line_tension": np.zeros(199)},
        {"wake": np.zeros((200, 2), complex)},
        {"message": "a\0b"},
        {"message": "\ud800"},
        {"measures": {"a/b": 1.0}},
        {"measures": {"": 1.0}},
        {"margins": {"a": "1"}},
        {"stats": {"steps": 2**70}},
        {"provenance": {"host": None}},
        {"warnings": (1,)},
    ],
    ids=str,
)
def test_what_no_file_can_hold_is_refused(tmp_path: Path, changes: dict[str, object]) -> None:
    path = tmp_path / "run.h5"
    with pytest.raises(StoreError) as caught:
        save_run(a_run(**changes), path)
    text = str(caught.value)
    assert text.startswith(f"{path}: the run cannot be stored (")
    assert text.endswith("). Nothing was written.")
    assert files(tmp_path) == []


# --------------------------------------------------------------------------------------- loading


def sealed(path: Path, change: Callable[[h5py.File], None]) -> Path:
    """Change a result file through HDF5, and give it a valid checksum again."""
    with h5py.File(path, "r+") as file:
        change(file)
    image = path.read_bytes()
    assert b"runtrue-end" not in image  # HDF5 cuts off what is not its own
    seal = f"\nruntrue-end sha256 {hashlib.sha256(image).hexdigest()}\n"
    path.write_bytes(image + seal.encode())
    return path


def test_missing_file_directory_and_other_files(tmp_path: Path) -> None:
    assert refusal(tmp_path / "none.h5").startswith("no such file. Check the path")
    assert refusal(tmp_path).startswith("is a directory. Name a result file (.h5)")
    other = tmp_path / "perch.toml"
    other.write_text(TEXT, encoding="utf-8")
    assert refusal(other).startswith("is not an HDF5 file. Name a result file (.h5)")
    other.write_bytes(b"")
    assert refusal(other).startswith("the file is empty.")


def test_unreadable_file(saved: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(_: Path) -> bytes:
        raise PermissionError(errno.EACCES, "no")

    monkeypatch.setattr(Path, "read_bytes", refuse)
    assert refusal(saved).startswith("may not be read. Give yourself permission")


def test_hdf5_of_somebody_else(tmp_path: Path) -> None:
    path = tmp_path / "other.h5"
    with h5py.File(path, "w") as file:
        file["time"] = [1.0]
    assert refusal(path).startswith("is an HDF5 file without a format, not a run")
    for given, shown in (("something", "format 'something'"), ([1, 2], "without a format")):
        with h5py.File(path, "w") as file:
            file.attrs["format"] = given
        assert refusal(path).startswith(f"is an HDF5 file {shown}, not a run")


@pytest.mark.parametrize("seal", [True, False])
def test_newer_version(saved: Path, seal: bool) -> None:
    def newer(file: h5py.File) -> None:
        file.attrs["format_version"] = 2

    sealed(saved, newer)
    if not seal:
        saved.write_bytes(saved.read_bytes()[:-85])
    assert refusal(saved) == (
        "has format version 2, written by a newer program; this one reads up to 1. Update the"
        " program."
    )


@pytest.mark.parametrize("version", [0, -1, 1.5, "1"])
def test_senseless_version(saved: Path, version: object) -> None:
    sealed(saved, lambda file: file.attrs.__setitem__("format_version", version))
    assert refusal(saved).startswith("has no valid format_version (a whole number from 1), but")


_GROUPS = ("measures", "margins", "stats", "provenance")


@pytest.mark.parametrize(
    "name", [*ARRAYS, "config/text", "config/overrides", "outcome/status", "config", *_GROUPS]
)
@pytest.mark.parametrize("seal", [True, False])
def test_missing_parts_are_named(saved: Path, name: str, seal: bool) -> None:
    sealed(saved, lambda file: file.__delitem__(name))
    if not seal:
        saved.write_bytes(saved.read_bytes()[:-85])
    text = refusal(saved)
    assert text.startswith(f'is incomplete, "{name}')
    assert "Take another copy of it, or run the configuration again." in text


def test_a_dataset_of_another_kind(saved: Path) -> None:
    def change(file: h5py.File) -> None:
        del file["outcome/window"]
        file["outcome/window"] = [1.0, 2.0, 3.0]

    assert refusal(sealed(saved, change)).startswith("is damaged (")


def test_a_config_that_is_not_accepted_any_more(saved: Path) -> None:
    def change(file: h5py.File) -> None:
        text = file["config/resolved"].asstr()[()]
        del file["config/resolved"]
        file["config/resolved"] = text.replace('"length_m"', '"length_of_old"')

    text = refusal(sealed(saved, change))
    assert text.startswith("its configuration is not one that this version of the program accepts")
    assert "length_of_old" in text


def test_a_file_changed_by_another_program_is_not_trusted(saved: Path) -> None:
    with h5py.File(saved, "r+") as file:
        file["line_tension"][0] = 99.0
    assert refusal(saved).startswith("is cut off at its very end, or was changed by another")


def test_truncated_at_any_length(saved: Path, tmp_path: Path) -> None:
    image = saved.read_bytes()
    cut = tmp_path / "cut.h5"
    near_end = range(len(image) - 120, len(image))
    for length in (*range(120), *range(120, len(image) - 120, 997), *near_end):
        cut.write_bytes(image[:length])
        text = refusal(cut)
        assert ("is cut off" in text) == (length > 0), (length, text)
    # A download that set its space aside first.
    for length in range(100, len(image), 997):
        cut.write_bytes(image[:length] + bytes(len(image) - length))
        assert "is damaged" in refusal(cut) or "is cut off" in refusal(cut)


def test_any_flipped_byte_is_found(saved: Path, tmp_path: Path) -> None:
    image = saved.read_bytes()
    bad = tmp_path / "bad.h5"
    rng = np.random.default_rng(20260102)
    places = {0, 8, len(image) - 1, len(image) - 70, *rng.integers(0, len(image), 300).tolist()}
    for place in places:
        changed = bytearray(image)
        changed[place] ^= 1 << int(rng.integers(8))
        bad.write_bytes(changed)
        assert refusal(bad)
    assert len(places) > 250


@pytest.mark.parametrize("name", ARRAYS)
def test_flipped_bytes_in_the_data_are_found_by_any_reader(saved: Path, name: str) -> None:
    with h5py.File(saved) as file:
        chunk = file[name].id.get_chunk_info(0)
    image = bytearray(saved.read_bytes())
    image[chunk.byte_offset + chunk.size // 2] ^= 0x10
    saved.write_bytes(image)
    text = refusal(saved)
    assert text == (
        "is damaged (its checksum is wrong). Take another copy of it, or run the configuration"
        " again."
    )
    with h5py.File(saved) as file, pytest.raises(OSError, match="read data"):
        file[name][()]


def test_lack_of_memory_is_told_apart_from_damage(
    saved: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def exhausted(_: object) -> None:
        raise MemoryError

    monkeypatch.setattr(store, "_value", exhausted)
    assert refusal(saved).startswith("needs more memory than there is")


# ------------------------------------------------------------------------------------ provenance


def test_provenance_of_a_run() -> None:
    from sim.kernels import kernel_digest

    config = a_config()
    found = provenance.collect(config)
    assert all(isinstance(value, str) and value for value in found.values())
    assert {name: found[name] for name in ("numpy", "scipy", "numba", "h5py", "pydantic")} == {
        "numpy": np.__version__,
        "scipy": scipy.__version__,
        "numba": numba.__version__,
        "h5py": h5py.__version__,
        "pydantic": pydantic.__version__,
    }
    assert found["kernel_digest"] == kernel_digest()
    assert found["config_digest"] == config_digest(config)
    assert found["seed"] == "none (deterministic)"
    assert found["date_utc"].endswith("+00:00")
    assert found["git_dirty"] in ("yes", "no", "none", "unknown")
    assert set(found) >= {"program", "python", "git_commit", "host", "platform"}


def test_unknown_versions_are_said_to_be_unknown() -> None:
    assert provenance._version("no-such-distribution-anywhere") == "unknown"


def test_outside_a_checkout_there_is_no_commit(tmp_path: Path) -> None:
    assert provenance._git(tmp_path) == ("none", "none")


@pytest.mark.skipif(shutil.which("git") is None, reason="git is not installed")
def test_commit_and_dirty_flag(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def git(*arguments: str) -> str:
        who = ["-c", "user.name=a", "-c", "user.email=a@example.org"]
        command = ["git", *who, "-c", "commit.gpgsign=false", *arguments]
        return subprocess.check_output(command, cwd=tmp_path, text=True).strip()

    def ask() -> tuple[str, str]:
        return provenance._git.__wrapped__(tmp_path)

    code = tmp_path / "sim" / "a.py"
    code.parent.mkdir()
    code.write_text("a = 1\n")
    git("init", "-q")
    assert ask() == ("unknown", "yes")  # nothing committed yet
    git("add", ".")
    git("commit", "-qm", "first")
    monkeypatch.setenv("GIT_DIR", str(tmp_path / "elsewhere"))  # as inside a hook
    assert ask()[1] == "no"
    (tmp_path / "run.h5").touch()  # a result is no change of the program
    commit, dirty = ask()
    assert dirty == "no"
    code.write_text("a = 2\n")
    assert ask() == (commit, "yes")
    monkeypatch.delenv("GIT_DIR")
    assert commit == git("rev-parse", "HEAD")


@pytest.mark.parametrize(
    "failure", [FileNotFoundError("git"), subprocess.TimeoutExpired("git", 2.0)]
)
def test_git_that_fails_does_not_stop_a_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, failure: Exception
) -> None:
    def fail(*_: object, **settings: object) -> None:
        assert settings["timeout"] == 2.0
        raise failure

    (tmp_path / ".git").mkdir()
    monkeypatch.setattr(provenance.subprocess, "run", fail)
    assert provenance._git.__wrapped__(tmp_path) == ("unknown", "unknown")
