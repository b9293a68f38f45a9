"""What files of studies of all kinds share: how they begin and end, their arrays, damage.

One self-describing HDF5 file a study. Its arrays have named dimensions as netCDF has them;
``/study``, ``/config`` (of the bait that is varied) and ``/provenance`` hold texts. Date, host and
wall time are in ``/provenance`` alone, so that everything else compares bit for bit. Behind the
HDF5 data stands the same line with their SHA-256 as behind those of a run.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any, TypeVar

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
from sim.studies.engine import CLASSES, NO_CLASS, STATUSES
from sim.studies.kinds import AnyStudy, study_from_json

__all__ = [
    "MARGIN",
    "RUNS",
    "TIMES",
    "add",
    "add_scale",
    "add_study",
    "attach",
    "format_of",
    "need",
    "read_file",
    "read_notes",
    "start_file",
    "stored_study",
    "text_of",
    "texts_of",
    "write_file",
]

MARGIN = "margin_"  # before the names of margins
_BIG = 65536  # bytes from which an array is compressed
_PIECE = 1 << 20  # bytes hashed at a time
_ANOTHER = "Take another copy of it, or run the study again."
_ENUMS = {
    "status": {name: code for code, name in enumerate(STATUSES)},
    "motion_class": {"none": NO_CLASS, **{name: code for code, name in enumerate(CLASSES)}},
}
TIMES = {
    "first_s": Label("start of the part measured", "s"),
    "last_s": Label("end of the part measured", "s"),
    "end_s": Label("end of the run", "s"),
}
RUNS: dict[str, Label] = {
    "status": Label("did the numerics and the motion settle"),
    "motion_class": Label("what the bait did"),
    "early": Label("1 where the run was stopped before its time was over"),
    "message": Label("why there is no class; empty for a run that settled"),
    **TIMES,
}
_STUDY: dict[str, Label] = {
    "text": Label("text of the study file, verbatim"),
    "json": Label("the whole study, as JSON"),
    "digest": Label("SHA-256 of all that decides results"),
    "source_path": Label("path of the study file as it was given"),
    "seed": Label("seed of all that is drawn at random"),
}
# What a file holds, by its format.
_KINDS = {RUN_FORMAT: "one run", "runtrue map": "a map", "runtrue risk": "a risk"}

Result = TypeVar("Result")


# ---------------------------------------------------------------------------------------- writing


def write_file(
    fill: Callable[[h5py.File], None],
    notes: Mapping[str, str],
    temporary: Path,
    real: Path,
    where: str,
) -> None:
    """Write a file, whole or not at all.

    Parameters
    ----------
    fill : callable                  puts everything but the provenance into the file
    notes : mapping of str to str    provenance
    temporary, real : Path           written there, then put in its place
    where : str                      name of the file in messages

    Raises
    ------
    StoreError
    """
    with writing(where):
        try:
            with h5py.File(temporary, "w", libver=("v110", "v110")) as file:
                fill(file)
                # Last, so that its length moves nothing else in the file.
                group = file.create_group("provenance", track_order=True)
                for key, text in notes.items():
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


def start_file(file: h5py.File, kind: str, version: int) -> None:
    """Say what a file is, and lay the types of its enumerations."""
    # Of fixed length, so that it lies among what HDF5 itself checks.
    file.attrs["format"] = np.array(kind, h5py.string_dtype(length=len(kind)))
    file.attrs["format_version"] = version
    for name, values in _ENUMS.items():
        # A named type, since readers of netCDF files know no other enumerations.
        file[f"{name}_type"] = h5py.enum_dtype(values, basetype="i1")


def add(
    file: h5py.Group,
    name: str,
    array: np.ndarray,
    scales: list[str],
    label: Label | None = None,
) -> None:
    """One array with its dimensions, compressed when it is big.

    Without a label it is one of those that every study has for its runs.
    """
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
    describe(dataset, label or _label(name))
    attach(file, dataset, scales)
    if name in MEASURES or name.startswith(MARGIN):
        dataset.attrs["kind"] = "measure" if name in MEASURES else "margin"


def _label(name: str) -> Label:
    if name.startswith(MARGIN):
        return MARGIN_LABELS[name.removeprefix(MARGIN)]
    return RUNS.get(name) or MEASURE_LABELS[name]


def add_scale(file: h5py.Group, name: str, values: np.ndarray, label: Label) -> None:
    """Values along a dimension."""
    describe(file.create_dataset(name, data=np.asarray(values, dtype=float)), label)
    file[name].make_scale(name)


def attach(file: h5py.Group, dataset: h5py.Dataset, scales: list[str]) -> None:
    """Name the dimensions of a dataset."""
    for dimension, name in zip(dataset.dims, scales, strict=True):
        dimension.attach_scale(file[name])


def _text(file: h5py.Group, path: str, text: str, label: Label) -> None:
    describe(file.create_dataset(path, data=utf8(text), dtype=h5py.string_dtype()), label)


def add_study(file: h5py.File, study: AnyStudy, source: str = "") -> None:
    """The study and the configuration that it varies; ``source`` is the text of its file."""
    group = file.create_group("study", track_order=True)
    for name, text in (
        ("text", source),
        ("json", study.to_json()),
        ("digest", study.study_digest),
        ("source_path", study.source_path),
    ):
        _text(group, name, text, _STUDY[name])
    describe(group.create_dataset("seed", data=study.seed), _STUDY["seed"])
    file.create_group("config", track_order=True)
    for path, value in config_contents(study.base).items():
        _text(file, path, str(value), label_of(path))


def _sha256(path: Path) -> str:
    digest = hashlib.sha256()
    with open(path, "rb") as stream:
        while piece := stream.read(_PIECE):
            digest.update(piece)
    return digest.hexdigest()


# ---------------------------------------------------------------------------------------- reading


def format_of(path: str | os.PathLike[str]) -> str:
    """Format that a file says it has; "" for one that cannot be read."""
    try:
        with open(path, "rb") as stream:
            if stream.read(len(SIGNATURE)) != SIGNATURE:
                return ""
        with h5py.File(path, "r") as file:
            return _format(file)
    except Exception:  # HDF5 reports damage as whatever it stumbles over first
        return ""


def read_file(
    path: str | os.PathLike[str],
    kind: str,
    version: int,
    read: Callable[[h5py.File, str], Result],
) -> Result:
    """Read a file that :func:`write_file` wrote.

    Parameters
    ----------
    path : path
    kind : str         format that it must have
    version : int      newest version of it that is known
    read : callable    from the file, known to be whole, and its name in messages

    Raises
    ------
    StoreError
        When there is no such file, when it is another one or of a newer version, or when it is cut
        off, incomplete or damaged.
    """
    where = os.fspath(path)
    whole = _check_end(where, _KINDS[kind])
    try:
        with h5py.File(where, "r") as file:
            _check_format(file, where, kind, version)
            if not whole:
                raise StoreError(
                    f"{where}: is cut off at its very end, or was changed by another program."
                    f" {_ANOTHER}"
                )
            return read(file, where)
    except StoreError:
        raise
    except MemoryError as error:
        raise StoreError(
            f"{where}: needs more memory than there is. Close other programs, or read it on a"
            " larger machine."
        ) from error
    except Exception as error:  # HDF5 reports damage as whatever it stumbles over first
        raise StoreError(f"{where}: is damaged ({reason(error)}). {_ANOTHER}") from error


def need(file: h5py.File, where: str, names: Iterable[str]) -> None:
    """See that a file has what it needs; StoreError."""
    for name in names:
        if name not in file:
            raise StoreError(f'{where}: is incomplete, "{name}" is not in it. {_ANOTHER}')


def read_notes(file: h5py.File) -> dict[str, str]:
    """The provenance."""
    return {name: text_of(data) for name, data in file["provenance"].items()}


def _check_end(where: str, what: str) -> bool:
    """Whether a file carries the checksum of its HDF5 data; damage is an error."""
    file = Path(where)
    try:
        if file.is_dir():
            raise StoreError(f"{where or '.'}: is a directory. Name {what} (.h5) in it.")
        if file.exists() and not file.is_file():  # reading a pipe might wait for ever
            raise StoreError(f"{where}: is not an ordinary file. Name {what} (.h5).")
        with open(file, "rb") as stream:
            start = stream.read(len(SIGNATURE))
            if not start:
                raise StoreError(f"{where}: the file is empty. {_ANOTHER}")
            if start != SIGNATURE:
                raise StoreError(
                    f"{where}: is not an HDF5 file. Name {what} (.h5) that this program wrote."
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


def _check_format(file: h5py.File, where: str, wanted: str, version: int) -> None:
    kind, what = _format(file), _KINDS[wanted]
    if kind in _KINDS and kind != wanted:
        raise StoreError(f"{where}: holds {_KINDS[kind]}, not {what}. Name another.")
    if kind != wanted:
        found = f"format {kind!r}" if kind else "without a format"
        raise StoreError(
            f"{where}: is an HDF5 file {found}, not {what} (format {wanted!r}). Name a file that"
            " this program wrote for a study."
        )
    check_version(file, where, version, _ANOTHER)


def stored_study(file: h5py.File, where: str) -> AnyStudy:
    """The study of a file known to be whole."""
    need(file, where, [f"study/{name}" for name in _STUDY])
    try:
        return study_from_json(text_of(file["study/json"]))
    except ConfigError as error:
        # The file is whole, so the rules have changed since.
        raise StoreError(
            f"{where}: its study is not one that this version of the program accepts"
            f" ({error.problems[0]}). Read it with the version that wrote it (see /provenance), or"
            " run again."
        ) from error


def text_of(dataset: h5py.Dataset) -> str:
    """The text that a dataset holds."""
    return str(dataset.asstr(errors="surrogateescape")[()])


def texts_of(dataset: h5py.Dataset) -> tuple[str, ...]:
    """The texts that a dataset holds."""
    return tuple(dataset.asstr(errors="surrogateescape")[()].tolist())
