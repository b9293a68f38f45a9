"""Maps to HDF5 and back: one self-describing file a study.

Layout, format version 1. The root group holds the axes, named by their keys, and everything that
has a value in every cell, shape (axes..., start), named and linked as netCDF does it. The rest is
in groups: ``/study``, ``/config`` (of the bait that is varied), ``/causes`` (failed runs, grouped),
``/modes`` (growth of small motions, on a grid of its own) and ``/provenance``. Date, host and wall
time are in ``/provenance`` alone, so that everything else compares bit for bit.

Behind the HDF5 data stands the same line with their SHA-256 as behind those of a run.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import h5py
import numpy as np

from sim.errors import ConfigError, StoreError
from sim.kernels.motion import MEASURES
from sim.store import (
    END,
    END_SIZE,
    SIGNATURE,
    Label,
    check_version,
    config_contents,
    describe,
    label_of,
    last_line,
    reason,
    sync_folder,
    utf8,
    write_texts,
    writing,
)
from sim.store import (
    FORMAT as RUN_FORMAT,
)
from sim.store import (
    MARGINS as MARGIN_LABELS,
)
from sim.store import (
    MEASURES as MEASURE_LABELS,
)
from sim.studies.causes import Cause, causes
from sim.studies.engine import CLASSES, MARGINS, NO_CLASS, STATUSES, CaseTable
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
_BIG = 65536  # bytes from which an array is compressed
_PIECE = 1 << 20  # bytes hashed at a time
_ANOTHER = "Take another copy of it, or run the study again."
_POSE = ("x", "y", "z", "qw", "qx", "qy", "qz")
_MARGIN = "margin_"
_GROWTH = "growth_"
_ENUMS = {
    "status": {name: code for code, name in enumerate(STATUSES)},
    "motion_class": {"none": NO_CLASS, **{name: code for code, name in enumerate(CLASSES)}},
}
_TIMES = {
    "first_s": Label("start of the part measured", "s"),
    "last_s": Label("end of the part measured", "s"),
    "end_s": Label("end of the run", "s"),
}
_CELLS: dict[str, Label] = {
    "status": Label("did the numerics and the motion settle"),
    "motion_class": Label("what the bait did"),
    "early": Label("1 where the run was stopped before its time was over"),
    "message": Label("why there is no class; empty for a run that settled"),
    **_TIMES,
}
_INFERRED = Label("1 where the class was taken from the cells around, 0 where it was run")
_STATES = Label(
    "position of the centre of gravity and attitude (unit quaternion, bait to earth)", "mixed",
    "earth", _POSE, ("m", "m", "m", "1", "1", "1", "1"),
)  # fmt: skip
_STUDY: dict[str, Label] = {
    "text": Label("text of the study file, verbatim"),
    "json": Label("the whole study, as JSON"),
    "digest": Label("SHA-256 of all that decides results"),
    "source_path": Label("path of the study file as it was given"),
    "seed": Label("seed of the starts drawn at random"),
}
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
    with writing(where):
        try:
            with h5py.File(temporary, "w", libver=("v110", "v110")) as file:
                _fill(file, study, tables, codes, inferred, records)
                _add_modes(file, study, modes)
                # Last, so that its length moves nothing else in the file.
                group = file.create_group("provenance", track_order=True)
                for key, text in provenance.items():
                    _text(group, key, text, Label(key.replace("_", " ")))
            digest = _sha256(temporary)
            with open(temporary, "ab") as stream:
                stream.write(last_line(digest))
                stream.flush()
                os.fsync(stream.fileno())
            os.replace(temporary, real)
        except BaseException:
            with suppress(OSError):
                temporary.unlink()
            raise
        sync_folder(real.parent)


def _fill(
    file: h5py.File,
    study: Study,
    tables: Iterable[CaseTable],
    codes: np.ndarray,
    inferred: np.ndarray,
    records: int,
) -> None:
    # Of fixed length, so that it lies among what HDF5 itself checks.
    file.attrs["format"] = np.array(FORMAT, h5py.string_dtype(length=len(FORMAT)))
    file.attrs["format_version"] = FORMAT_VERSION
    for name, values in _ENUMS.items():
        # A named type, since readers of netCDF files know no other enumerations.
        file[f"{name}_type"] = h5py.enum_dtype(values, basetype="i1")
    scales = [axis.key for axis in study.axes]
    for axis in study.axes:
        _add_scale(file, axis.key, axis.values, Label(axis.label, axis.unit or "1"))
        file[axis.key].attrs["shipped"] = own_place(study.base, axis.key)
    describe(write_texts(file, "start", study.starts), Label("how the bait starts"))
    file["start"].make_scale("start")

    cells = _gather(file, study, tables, records)
    none = np.broadcast_to(np.maximum(codes, NO_CLASS)[..., None], cells["status"].shape)
    cells["motion_class"] = np.where(inferred[..., None], none, cells["motion_class"]).astype(
        np.int8
    )
    for name, array in cells.items():
        _add(file, name, array, _cell_label(name), [*scales, "start"])
        if name in MEASURES or name.startswith(_MARGIN):
            file[name].attrs["kind"] = "measure" if name in MEASURES else "margin"
    _add(file, "inferred", inferred.astype(np.uint8), _INFERRED, scales)
    _add_texts(file, study, causes(cells["status"], cells["message"]))


def _gather(
    file: h5py.File, study: Study, tables: Iterable[CaseTable], records: int
) -> dict[str, np.ndarray]:
    """Arrays over cells and starts from chunks; states are written as they come."""
    shape = (*study.shape, len(study.starts))
    cells = {
        "status": np.full(shape, NOT_RUN, dtype=np.int8),
        "motion_class": np.full(shape, NO_CLASS, dtype=np.int8),
        **{name: np.full(shape, np.nan) for name in MEASURES},
        **{_MARGIN + name: np.full(shape, np.nan) for name in MARGINS},
        **{name: np.full(shape, np.nan) for name in _TIMES},
        "early": np.zeros(shape, dtype=np.uint8),
        "message": np.full(shape, "", dtype=object),
    }
    flat = {name: array.reshape(-1) for name, array in cells.items()}
    for table in tables:
        case = table.case
        for name in ("status", "motion_class", "early", *_TIMES):
            flat[name][case] = getattr(table, name)
        for column, name in enumerate(MEASURES):
            flat[name][case] = table.measures[:, column]
        for column, name in enumerate(MARGINS):
            flat[_MARGIN + name][case] = table.margins[:, column]
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
        _add_scale(file, "record_time", np.arange(records) * step, Label("time", "s"))
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
        _attach(file, dataset, [*(a.key for a in study.axes), "start", "record_time", "pose"])
    dataset = file["states"]
    for number, rows in zip(case.tolist(), states, strict=True):
        # a chunk has as many records as its longest run, and none when no run could be made
        padded = np.full((records, len(_POSE)), np.nan)
        padded[: len(rows)] = rows
        dataset[np.unravel_index(number, shape)] = padded


def _cell_label(name: str) -> Label:
    if name.startswith(_MARGIN):
        return MARGIN_LABELS[name.removeprefix(_MARGIN)]
    return _CELLS.get(name) or MEASURE_LABELS[name]


def _add(file: h5py.Group, name: str, array: np.ndarray, label: Label, scales: list[str]) -> None:
    """One array with its dimensions, compressed when it is big."""
    if name in file:
        raise ValueError(f'an axis cannot be called "{name}"')
    options: dict[str, Any] = {}
    if array.dtype == object:
        texts = [utf8(text) for text in array.ravel()]
        array, options = (
            np.array(texts, dtype=object).reshape(array.shape),
            {"dtype": h5py.string_dtype()},
        )
    elif name in _ENUMS:
        options = {"dtype": file[f"{name}_type"]}
    if array.nbytes >= _BIG and array.dtype != object:
        options |= {"compression": "gzip", "shuffle": True, "fletcher32": True}
    dataset = file.create_dataset(name, data=array, **options)
    describe(dataset, label)
    _attach(file, dataset, scales)


def _add_scale(file: h5py.Group, name: str, values: np.ndarray, label: Label) -> None:
    describe(file.create_dataset(name, data=np.asarray(values, dtype=float)), label)
    file[name].make_scale(name)


def _attach(file: h5py.Group, dataset: h5py.Dataset, scales: list[str]) -> None:
    for dimension, name in zip(dataset.dims, scales, strict=True):
        dimension.attach_scale(file[name])


def _text(file: h5py.Group, path: str, text: str, label: Label) -> None:
    describe(file.create_dataset(path, data=utf8(text), dtype=h5py.string_dtype()), label)


def _add_texts(file: h5py.File, study: Study, found: list[Cause]) -> None:
    group = file.create_group("study", track_order=True)
    for name, text in (
        ("text", study.text),
        ("json", study.to_json()),
        ("digest", study.study_digest),
        ("source_path", study.source_path),
    ):
        _text(group, name, text, _STUDY[name])
    describe(group.create_dataset("seed", data=study.seed), _STUDY["seed"])
    file.create_group("config", track_order=True)
    for path, value in config_contents(study.base).items():
        _text(file, path, str(value), label_of(path))
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
        _add_scale(group, axis.key, values, Label(axis.label, axis.unit or "1"))
    for name, array in growth.items():
        label = Label(f"growth of small motions: {name}", "1/s")
        _add(group, _GROWTH + name, np.asarray(array, dtype=float), label, scales)


def _sha256(path: Path) -> str:
    digest = hashlib.sha256()
    with open(path, "rb") as stream:
        while piece := stream.read(_PIECE):
            digest.update(piece)
    return digest.hexdigest()


# ---------------------------------------------------------------------------------------- reading


def is_map(path: str | os.PathLike[str]) -> bool:
    """Whether a file says that it holds a map; False for one that cannot be read."""
    try:
        with open(path, "rb") as stream:
            if stream.read(len(SIGNATURE)) != SIGNATURE:
                return False
        with h5py.File(path, "r") as file:
            return _format(file) == FORMAT
    except Exception:  # HDF5 reports damage as whatever it stumbles over first
        return False


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
    where = os.fspath(path)
    whole = _check_end(where)
    try:
        with h5py.File(where, "r") as file:
            _check_format(file, where)
            if not whole:
                raise StoreError(
                    f"{where}: is cut off at its very end, or was changed by another program."
                    f" {_ANOTHER}"
                )
            return _map(file, where, states)
    except StoreError:
        raise
    except MemoryError as error:
        raise StoreError(
            f"{where}: needs more memory than there is. Close other programs, or read it on a"
            " larger machine."
        ) from error
    except Exception as error:  # HDF5 reports damage as whatever it stumbles over first
        raise StoreError(f"{where}: is damaged ({reason(error)}). {_ANOTHER}") from error


def _check_end(where: str) -> bool:
    """Whether a file carries the checksum of its HDF5 data; damage is an error."""
    file = Path(where)
    try:
        if file.is_dir():
            raise StoreError(f"{where or '.'}: is a directory. Name a map (.h5) in it.")
        if file.exists() and not file.is_file():  # reading a pipe might wait for ever
            raise StoreError(f"{where}: is not an ordinary file. Name a map (.h5).")
        with open(file, "rb") as stream:
            start = stream.read(len(SIGNATURE))
            if not start:
                raise StoreError(f"{where}: the file is empty. {_ANOTHER}")
            if start != SIGNATURE:
                raise StoreError(
                    f"{where}: is not an HDF5 file. Name a map (.h5) that this program wrote."
                )
            left = max(os.fstat(stream.fileno()).st_size - END_SIZE, 0)
            stream.seek(left)
            end = stream.read()
            if not end.startswith(END):
                return False
            stream.seek(0)
            digest = hashlib.sha256()
            while left > 0:
                piece = stream.read(min(_PIECE, left))
                digest.update(piece)
                left -= len(piece)
    except FileNotFoundError:
        raise StoreError(
            f"{where}: no such file. Check the path, or run the study first."
        ) from None
    except PermissionError:
        raise StoreError(
            f"{where}: may not be read. Give yourself permission to read the file."
        ) from None
    except (OSError, ValueError) as error:
        raise StoreError(f"{where}: cannot be read ({reason(error)}). Check the path.") from error
    if end != last_line(digest.hexdigest()):
        raise StoreError(f"{where}: is damaged (its checksum is wrong). {_ANOTHER}")
    return True


def _format(file: h5py.File) -> str:
    kind = file.attrs.get("format")
    if isinstance(kind, bytes):
        kind = kind.decode(errors="replace")
    return kind if isinstance(kind, str) else ""


def _check_format(file: h5py.File, where: str) -> None:
    kind = _format(file)
    if kind == RUN_FORMAT:
        raise StoreError(f"{where}: holds one run, not a map. Name the map of a study.")
    if kind != FORMAT:
        found = f"format {kind!r}" if kind else "without a format"
        raise StoreError(
            f"{where}: is an HDF5 file {found}, not a map (format {FORMAT!r}). Name a file that"
            " this program wrote for a study."
        )
    check_version(file, where, FORMAT_VERSION, _ANOTHER)


def _map(file: h5py.File, where: str, with_states: bool) -> MapResult:
    """The map from a file known to be whole."""
    study = _study(file, where)
    keys = [axis.key for axis in study.axes]
    needed = ["start", *_CELLS, *MEASURES, *(_MARGIN + n for n in MARGINS), "inferred", "causes"]
    for name in (*keys, *needed, "provenance"):
        if name not in file:
            raise StoreError(f'{where}: is incomplete, "{name}" is not in it. {_ANOTHER}')
    inferred = file["inferred"][()].astype(bool)
    status = file["status"][()]
    states = step = None
    if "states" in file:
        step = study.keep_states_ms * 1e-3
        states = file["states"][()] if with_states else None
    modes = file.get("modes")
    return MapResult(
        study=study,
        starts=_texts(file["start"]),
        status=status,
        motion_class=file["motion_class"][()],
        inferred=inferred,
        measures={name: file[name][()] for name in MEASURES},
        margins={name: file[_MARGIN + name][()] for name in MARGINS},
        **{name: file[name][()] for name in _TIMES},
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
        provenance={name: _one(data) for name, data in file["provenance"].items()},
    )


def _study(file: h5py.File, where: str) -> Study:
    for name in _STUDY:
        if f"study/{name}" not in file:
            raise StoreError(f'{where}: is incomplete, "study/{name}" is not in it. {_ANOTHER}')
    try:
        return Study.from_json(_one(file["study/json"]))
    except ConfigError as error:
        # The file is whole, so the rules have changed since.
        raise StoreError(
            f"{where}: its study is not one that this version of the program accepts"
            f" ({error.problems[0]}). Read it with the version that wrote it (see /provenance), or"
            " run again."
        ) from error


def _one(dataset: h5py.Dataset) -> str:
    return str(dataset.asstr(errors="surrogateescape")[()])


def _texts(dataset: h5py.Dataset) -> tuple[str, ...]:
    return tuple(dataset.asstr(errors="surrogateescape")[()].tolist())
