"""Maps to HDF5 and back: one self-describing file a study.

Layout, format version 1. The root group holds the axes, named by their keys, and everything that
has a value in every cell, shape (axes..., start), named and linked as netCDF does it. The rest is
in groups: ``/study``, ``/config`` (of the bait that is varied), ``/causes`` (failed runs, grouped),
``/modes`` (growth of small motions, on a grid of its own) and ``/provenance``. Date, host and wall
time are in ``/provenance`` alone, so that everything else compares bit for bit.

Behind the HDF5 data stands the same line with their SHA-256 as behind those of a run.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

import h5py
import numpy as np

from sim.kernels.motion import MEASURES
from sim.store import Label, describe, write_texts
from sim.studies import files
from sim.studies.causes import Cause, causes
from sim.studies.engine import MARGINS, NO_CLASS, STATUSES, CaseTable
from sim.studies.files import MARGIN, TIMES
from sim.studies.own_place import own_place
from sim.studies.study import Study

__all__ = [
    "FORMAT",
    "FORMAT_VERSION",
    "MapResult",
    "is_map",
    "load_map",
    "write_map",
]

FORMAT = "runtrue map"
FORMAT_VERSION = 1

NOT_RUN = STATUSES.index("not run")
_POSE = ("x", "y", "z", "qw", "qx", "qy", "qz")
_GROWTH = "growth_"
_INFERRED = Label("1 where the class was taken from the cells around, 0 where it was run")
_STATES = Label(
    "position of the centre of gravity and attitude (unit quaternion, bait to earth)", "mixed",
    "earth", _POSE, ("m", "m", "m", "1", "1", "1", "1"),
)  # fmt: skip
_CAUSES: dict[str, Label] = {
    "message": Label("what was wrong, of the first such run"),
    "status": Label("what it led to"),
    "runs": Label("number of such runs"),
    "case": Label("number of the first such run: cell times starts plus start"),
}


@dataclass(frozen=True, eq=False)
class MapResult:
    """What a study came to. Shapes: cells are those of the finest level, starts come last.

    Attributes
    ----------
    study : Study
    starts : tuple of str
    status, motion_class : ndarray of int8, shape (cells..., starts)
        Places in STATUSES and CLASSES, -1 for no class. Where a refined map took the class from
        around, the status is "not run".
    inferred : ndarray of bool, shape (cells...)
    measures, margins : dict of str to ndarray, shape (cells..., starts)
        Names end in the unit; NaN where not run.
    first_s, last_s, end_s : ndarray, shape (cells..., starts)    [s]
    early : ndarray of bool, shape (cells..., starts)
    message : ndarray of str objects, shape (cells..., starts)
    states : ndarray or None, shape (cells..., starts, records, 7)
        Position [m] and quaternion, scalar first; NaN after the end of a run.
    states_step_s : float                        time between two of them, 0 without [s]
    mode_axes : tuple of ndarray, or None        places where modes were calculated, for each axis
    growth : dict of str to ndarray              growth rates there [1/s]
    shipped : tuple of float                     the base configuration's own place on each axis,
                                                 NaN where there is none
    complete : bool                              every cell was run or inferred
    provenance : dict of str to str
    """

    study: Study
    starts: tuple[str, ...]
    status: np.ndarray
    motion_class: np.ndarray
    inferred: np.ndarray
    measures: dict[str, np.ndarray]
    margins: dict[str, np.ndarray]
    first_s: np.ndarray
    last_s: np.ndarray
    end_s: np.ndarray
    early: np.ndarray
    message: np.ndarray
    states: np.ndarray | None
    states_step_s: float
    mode_axes: tuple[np.ndarray, ...] | None
    growth: dict[str, np.ndarray]
    shipped: tuple[float, ...]
    complete: bool
    provenance: dict[str, str]


# ---------------------------------------------------------------------------------------- writing


def write_map(
    study: Study,
    tables: Iterable[CaseTable],
    codes: np.ndarray,
    inferred: np.ndarray,
    modes: tuple[tuple[np.ndarray, ...], Mapping[str, np.ndarray]] | None,
    provenance: Mapping[str, str],
    temporary: Path,
    real: Path,
    where: str,
    *,
    records: int = 0,
) -> None:
    """Merge finished chunks into one file, whole or not at all.

    Parameters
    ----------
    study : Study
    tables : iterable of CaseTable         taken one at a time; states go straight to the disk
    codes : ndarray of int, shape (cells...)
        Class of the cells that were inferred, below 0 for none.
    inferred : ndarray of bool, same shape
    modes : (mode_axes, growth) or None
    provenance : mapping of str to str
    temporary, real : Path                 written there, then put in its place
    where : str                            name of the file in messages
    records : int
        Most records that the states of a chunk have; those of the others end in NaN. Without
        stored states it is not used.

    Raises
    ------
    StoreError
    """

    def fill(file: h5py.File) -> None:
        _fill(file, study, tables, codes, inferred, records)
        _add_modes(file, study, modes)

    files.write_file(fill, provenance, temporary, real, where)


def _fill(
    file: h5py.File,
    study: Study,
    tables: Iterable[CaseTable],
    codes: np.ndarray,
    inferred: np.ndarray,
    records: int,
) -> None:
    files.start_file(file, FORMAT, FORMAT_VERSION)
    scales = [axis.key for axis in study.axes]
    for axis in study.axes:
        files.add_scale(file, axis.key, axis.values, Label(axis.label, axis.unit or "1"))
        file[axis.key].attrs["shipped"] = own_place(study.base, axis.key)
    describe(write_texts(file, "start", study.starts), Label("how the bait starts"))
    file["start"].make_scale("start")

    cells = _gather(file, study, tables, records)
    none = np.broadcast_to(np.maximum(codes, NO_CLASS)[..., None], cells["status"].shape)
    cells["motion_class"] = np.where(inferred[..., None], none, cells["motion_class"]).astype(
        np.int8
    )
    for name, array in cells.items():
        files.add(file, name, array, [*scales, "start"])
    files.add(file, "inferred", inferred.astype(np.uint8), scales, _INFERRED)
    files.add_study(file, study, study.text)
    _add_causes(file, causes(cells["status"], cells["message"]))


def _gather(
    file: h5py.File, study: Study, tables: Iterable[CaseTable], records: int
) -> dict[str, np.ndarray]:
    """Arrays over cells and starts from chunks; states are written as they come."""
    shape = (*study.shape, len(study.starts))
    cells = {
        "status": np.full(shape, NOT_RUN, dtype=np.int8),
        "motion_class": np.full(shape, NO_CLASS, dtype=np.int8),
        **{name: np.full(shape, np.nan) for name in MEASURES},
        **{MARGIN + name: np.full(shape, np.nan) for name in MARGINS},
        **{name: np.full(shape, np.nan) for name in TIMES},
        "early": np.zeros(shape, dtype=np.uint8),
        "message": np.full(shape, "", dtype=object),
    }
    flat = {name: array.reshape(-1) for name, array in cells.items()}
    for table in tables:
        case = table.case
        for name in ("status", "motion_class", "early", *TIMES):
            flat[name][case] = getattr(table, name)
        for column, name in enumerate(MEASURES):
            flat[name][case] = table.measures[:, column]
        for column, name in enumerate(MARGINS):
            flat[MARGIN + name][case] = table.margins[:, column]
        for number, text in zip(case.tolist(), table.message, strict=True):
            if text:
                flat["message"][number] = text
        if table.states is not None:
            _add_states(file, study, shape, case, table.states, max(1, records))
    return cells


def _add_states(
    file: h5py.File,
    study: Study,
    shape: tuple[int, ...],
    case: np.ndarray,
    states: np.ndarray,
    records: int,
) -> None:
    if "states" not in file:
        step = study.keep_states_ms * 1e-3
        files.add_scale(file, "record_time", np.arange(records) * step, Label("time", "s"))
        describe(write_texts(file, "pose", _POSE), Label("columns of the states"))
        file["pose"].make_scale("pose")
        # One piece a run, so that runs that were not made take no room. Not compressed: the last
        # digits of a motion are as good as random.
        dataset = file.create_dataset(
            "states",
            shape=(*shape, records, len(_POSE)),
            dtype="f8",
            chunks=(*(1 for _ in shape), records, len(_POSE)),
            fillvalue=np.nan,
            fletcher32=True,
        )
        describe(dataset, _STATES)
        files.attach(file, dataset, [*(a.key for a in study.axes), "start", "record_time", "pose"])
    dataset = file["states"]
    for number, rows in zip(case.tolist(), states, strict=True):
        # a chunk has as many records as its longest run, and none when no run could be made
        padded = np.full((records, len(_POSE)), np.nan)
        padded[: len(rows)] = rows
        dataset[np.unravel_index(number, shape)] = padded


def _add_causes(file: h5py.File, found: list[Cause]) -> None:
    group = file.create_group("causes", track_order=True)
    write_texts(group, "message", tuple(cause.message for cause in found))
    write_texts(group, "status", tuple(cause.status for cause in found))
    for name in ("runs", "case"):
        group.create_dataset(name, data=np.array([getattr(c, name) for c in found], dtype=np.int64))
    group["message"].make_scale("cause")
    for name, label in _CAUSES.items():
        describe(group[name], label)
        if name != "message":
            group[name].dims[0].attach_scale(group["message"])


def _add_modes(
    file: h5py.File,
    study: Study,
    modes: tuple[tuple[np.ndarray, ...], Mapping[str, np.ndarray]] | None,
) -> None:
    if modes is None:
        return
    axes, growth = modes
    scales = [axis.key for axis in study.axes]
    group = file.create_group("modes", track_order=True)
    for axis, values in zip(study.axes, axes, strict=True):
        files.add_scale(group, axis.key, values, Label(axis.label, axis.unit or "1"))
    for name, array in growth.items():
        label = Label(f"growth of small motions: {name}", "1/s")
        files.add(group, _GROWTH + name, np.asarray(array, dtype=float), scales, label)


# ---------------------------------------------------------------------------------------- reading


def is_map(path: str | os.PathLike[str]) -> bool:
    """Whether a file says that it holds a map; False for one that cannot be read."""
    return files.format_of(path) == FORMAT


def load_map(path: str | os.PathLike[str], *, states: bool = True) -> MapResult:
    """Read a file that :func:`write_map` wrote.

    Parameters
    ----------
    path : path
    states : bool
        Read the stored states too, where there are some; they may be much larger than the rest.

    Raises
    ------
    StoreError
        When there is no such file, when it is no map or one of a newer version, or when it is cut
        off, incomplete or damaged.
    """
    return files.read_file(
        path, FORMAT, FORMAT_VERSION, lambda file, where: _map(file, where, states)
    )


def _map(file: h5py.File, where: str, with_states: bool) -> MapResult:
    """The map from a file known to be whole."""
    study = files.stored_study(file, where)
    assert isinstance(study, Study)  # so says the format of the file
    keys = [axis.key for axis in study.axes]
    needed = [*files.RUNS, *MEASURES, *(MARGIN + name for name in MARGINS), "start", "inferred"]
    files.need(file, where, [*keys, *needed, "causes", "provenance"])
    inferred = file["inferred"][()].astype(bool)
    status = file["status"][()]
    states = step = None
    if "states" in file:
        step = study.keep_states_ms * 1e-3
        states = file["states"][()] if with_states else None
    modes = file.get("modes")
    return MapResult(
        study=study,
        starts=files.texts_of(file["start"]),
        status=status,
        motion_class=file["motion_class"][()],
        inferred=inferred,
        measures={name: file[name][()] for name in MEASURES},
        margins={name: file[MARGIN + name][()] for name in MARGINS},
        **{name: file[name][()] for name in TIMES},
        early=file["early"][()].astype(bool),
        message=file["message"].asstr(errors="surrogateescape")[()],
        states=states,
        states_step_s=step or 0.0,
        mode_axes=None if modes is None else tuple(modes[key][()] for key in keys),
        growth={
            name.removeprefix(_GROWTH): modes[name][()]
            for name in (modes or ())
            if name.startswith(_GROWTH)
        },
        shipped=tuple(float(file[key].attrs["shipped"]) for key in keys),
        complete=bool((inferred[..., None] | (status != NOT_RUN)).all()),
        provenance=files.read_notes(file),
    )
