"""Results to HDF5 and back: one self-describing file a run.

Layout, format version 1. The root group holds the trajectory and the labels of its columns, named
and linked as netCDF does it, so that a reader of netCDF files opens it in one line. The rest is in
groups: ``/config``, ``/outcome``, ``/measures``, ``/margins``, ``/stats`` and ``/provenance``.
Whatever differs between two runs of the same configuration (date, host, wall time) is in
``/provenance`` alone.

Behind the HDF5 data, where readers of HDF5 do not look, stands one line with their SHA-256. It is
checked before HDF5 sees the file: HDF5's own checksums leave out texts and single numbers, and one
wrong byte there has been seen to send the library (version 2.0) into a loop without end.
"""

from __future__ import annotations

import errno
import hashlib
import io
import json
import os
import secrets
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from numbers import Integral, Real
from pathlib import Path
from typing import Any, NamedTuple

import h5py
import numpy as np

from sim.config import config_digest, config_from_dict, resolved_json
from sim.config.models import Config
from sim.errors import ConfigError, StoreError
from sim.result import MOTION_CLASSES, STATUSES, RunResult

__all__ = ["FORMAT", "FORMAT_VERSION", "MEASURES", "check_output", "load_run", "save_run"]

FORMAT = "runtrue-run"
FORMAT_VERSION = 1

SIGNATURE = b"\x89HDF\r\n\x1a\n"
_LEAST_SIZE = 48  # bytes of the header of a file
END = b"\nruntrue-end sha256 "  # then 64 hexadecimal digits and a line feed, to the end of the file
END_SIZE = len(END) + 65
_CHUNK_ROWS = 4096
_NO_CLASS = "none"
ANOTHER_COPY = "Take another copy of it, or run the configuration again."


class Label(NamedTuple):
    """What the attributes of a dataset say."""

    long_name: str
    units: str = "1"
    frame: str = "none"
    components: tuple[str, ...] = ()
    component_units: tuple[str, ...] = ()


class _Column(NamedTuple):
    """One array of the trajectory: its label, and the dimension of its columns ("" for none)."""

    label: Label
    dimension: str = ""


_FRAMES = {
    "frame_earth": "x along heading 0, y to starboard of it, z down, origin on the still surface",
    "frame_bait": "x forward, y to starboard, z down (to the belly), origin at the centre of"
    " gravity of the rigged bait",
}
_DIMENSIONS: dict[str, tuple[str, ...]] = {
    "axis": ("x", "y", "z"),
    "quaternion_part": ("w", "x", "y", "z"),
    "motion": ("u", "v", "w", "p", "q", "r"),
    "wake_state": ("s", "s_dot"),
}
_TRAJECTORY: dict[str, _Column] = {
    "time": _Column(Label("time", "s")),
    "position": _Column(Label("position of the centre of gravity", "m", "earth"), "axis"),
    "attitude": _Column(
        Label("attitude, unit quaternion, scalar first", "1", "bait to earth"), "quaternion_part"
    ),
    "velocity": _Column(
        Label(
            "velocity and turning rates over ground",
            "mixed",
            "bait",
            _DIMENSIONS["motion"],
            ("m/s", "m/s", "m/s", "rad/s", "rad/s", "rad/s"),
        ),
        "motion",
    ),
    "wake": _Column(
        Label(
            "wake oscillator of the bill", "mixed", "none", _DIMENSIONS["wake_state"], ("1", "1/s")
        ),
        "wake_state",
    ),
    "line_tension": _Column(Label("line tension", "N")),
    "rod_tip": _Column(Label("position of the rod tip", "m", "earth"), "axis"),
}
MEASURES: dict[str, Label] = {
    "wobble_frequency_hz": Label("wobble frequency", "Hz"),
    "yaw_amplitude_deg": Label("yaw amplitude", "deg"),
    "roll_amplitude_deg": Label("roll amplitude", "deg"),
    "pitch_amplitude_deg": Label("pitch amplitude", "deg"),
    "lean_deg": Label("lean (mean roll)", "deg"),
    "pitch_deg": Label("mean pitch", "deg"),
    "turns": Label("net turns about the long axis"),
    "turn_rate_hz": Label("turns about the long axis per second", "Hz"),
    "depth_m": Label("running depth", "m", "earth"),
    "depth_rate_mm_s": Label("change of depth, positive down", "mm/s", "earth"),
    "line_tension_n": Label("mean line tension", "N"),
    "side_drift_m_per_m": Label("side drift per metre of retrieve", "m/m"),
    "nose_sweep_mm": Label("sideways sweep of the nose", "mm"),
    "tail_sweep_mm": Label("sideways sweep of the tail", "mm"),
    "speed_m_s": Label("mean speed", "m/s"),
    "most_turns": Label("most net turns about the track between two moments of the run", "1"),
}
MARGINS: dict[str, Label] = {
    "spin": Label("margin to the spin limit", "turns"),
    "roll": Label("margin to the roll amplitude limit", "deg"),
    "lean": Label("margin to the lean limit", "deg"),
    "roll_to_yaw": Label("margin to the roll to yaw limit"),
    "tight_yaw": Label("margin to the tight yaw limit", "deg"),
}
# Key suffix -> unit, for names that no table has. Longer suffixes are tried first.
_SUFFIXES = {
    "m_per_m": "m/m", "mm_s": "mm/s", "deg_s": "deg/s", "rad_s": "rad/s", "m_s2": "m/s2",
    "m_s": "m/s", "hz": "Hz", "deg": "deg", "rad": "rad", "mm": "mm", "ms": "ms", "kg": "kg",
    "nm": "N m", "m": "m", "s": "s", "n": "N", "g": "g", "w": "W", "j": "J",
}  # fmt: skip
_SCALARS: dict[str, dict[str, Label]] = {"measures": MEASURES, "margins": MARGINS, "stats": {}}

_STATUS_CODES = {name: code for code, name in enumerate(STATUSES)}
_CLASS_CODES = {_NO_CLASS: -1, **{name: code for code, name in enumerate(MOTION_CLASSES)}}
_ENUMS = {"outcome/status": _STATUS_CODES, "outcome/motion_class": _CLASS_CODES}
# Rows beside no time; a reader of netCDF files wants their dimension named all the same.
_OWN_SCALES = {"outcome/window": "window", "outcome/warnings": "warnings"}
_OTHERS: dict[str, Label] = {
    "config/text": Label("text of the configuration file, verbatim"),
    "config/resolved": Label("every value of the configuration, as JSON, units in the keys"),
    "config/digest": Label("SHA-256 of the values that can change an answer"),
    "config/overrides": Label("overrides set on top of the file, as JSON"),
    "config/source_path": Label("path of the configuration file as it was given"),
    "outcome/status": Label("did the numerics and the motion settle"),
    "outcome/status_text": Label("did the numerics and the motion settle"),
    "outcome/message": Label("why the run ended"),
    "outcome/motion_class": Label("what the bait did"),
    "outcome/motion_class_text": Label("what the bait did"),
    "outcome/class_reason": Label("which limit decided the class"),
    "outcome/window": Label("start and end of the part measured", "s"),
    "outcome/warnings": Label("warnings"),
}

# What a dataset holds: an array, one text, one number, or several texts.
Value = np.ndarray | str | int | float | tuple[str, ...]
# Path of the dataset -> its value, for everything outside /provenance.
Contents = dict[str, Value]


# ---------------------------------------------------------------------------------------- saving


def check_output(path: str | os.PathLike[str], *, overwrite: bool = False) -> Path:
    """Find out, before a long run, what would keep :func:`save_run` from writing a file.

    Parameters
    ----------
    path : path
        File to be written.
    overwrite : bool
        Whether an existing file may be replaced.

    Returns
    -------
    Path
        The file behind ``path``, links followed.

    Raises
    ------
    StoreError
        When the file exists and must not be replaced, or a file cannot be written there.
    """
    where = os.fspath(path)
    with writing(where):
        # A link is followed, so that replacing the file leaves the link in place.
        real = Path(os.path.realpath(where))
        if real.is_dir():
            raise StoreError(
                f"{where or '.'}: is a directory. Name a file in it, such as"
                f" {Path(where) / 'run.h5'}."
            )
        if os.path.lexists(real):
            if not overwrite:
                raise exists_already(where)
            if not real.is_file():
                raise StoreError(f"{where}: is not an ordinary file. Use another --output.")
        folder = real.parent
        while not os.path.lexists(folder):
            folder = folder.parent
        if not folder.is_dir():
            raise StoreError(
                f"{where}: cannot be written, {folder} is a file and not a folder. Use another"
                " --output."
            )
        if not os.access(folder, os.W_OK | os.X_OK):
            raise PermissionError(errno.EACCES, "permission denied")
    return real


def save_run(run: RunResult, path: str | os.PathLike[str], *, overwrite: bool = False) -> Path:
    """Write one run to one HDF5 file, whole or not at all.

    Parameters
    ----------
    run : RunResult
    path : path
        File to write, by convention ending in ``.h5``; missing folders are created.
    overwrite : bool
        Replace an existing file.

    Returns
    -------
    Path
        ``path``.

    Raises
    ------
    StoreError
        When the file exists and ``overwrite`` is false, when it cannot be written (no permission,
        disk full, a directory), or when the run holds what no file can. An existing file is then
        as it was, and nothing of the new one is left.
    """
    where = os.fspath(path)
    real = check_output(where, overwrite=overwrite)
    try:
        image = _to_hdf5(run)
    except Exception as error:  # h5py reports what it cannot store in many ways
        raise StoreError(
            f"{where}: the run cannot be stored ({reason(error)}). Nothing was written."
        ) from error
    write_whole(image, real, where, overwrite=overwrite)
    return Path(path)


def write_whole(image: bytes, real: Path, where: str, *, overwrite: bool) -> None:
    """Put a file in its place, whole or not at all; ``where`` is its name in messages.

    Raises
    ------
    StoreError
    """
    with writing(where):
        real.parent.mkdir(parents=True, exist_ok=True)
        temporary = real.parent / f".runtrue-{secrets.token_hex(8)}.part"
        try:
            with open(temporary, "xb") as stream:
                stream.write(image)
                stream.flush()
                os.fsync(stream.fileno())
            if not overwrite and os.path.lexists(real):  # somebody else was faster
                raise exists_already(where)
            os.replace(temporary, real)
        except BaseException:
            with suppress(OSError):
                temporary.unlink()
            raise
        sync_folder(real.parent)


@contextmanager
def writing(where: str) -> Iterator[None]:
    """Turn what the operating system says while a file is written into a StoreError."""
    try:
        yield
    except (OSError, ValueError) as error:  # ValueError: a path with a zero character
        code = getattr(error, "errno", None)
        if code in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
            text = "cannot be written, the disk is full. Free some space, or use another --output."
        elif code in (errno.EACCES, errno.EPERM, errno.EROFS):
            text = (
                "may not be written. Use another --output, or give yourself permission to write in"
                " its folder."
            )
        else:
            text = f"cannot be written ({reason(error)}). Use another --output."
        raise StoreError(f"{where}: {text}") from error


def exists_already(where: str) -> StoreError:
    return StoreError(f"{where}: exists already. Use another --output, or --force to replace it.")


def sync_folder(folder: Path) -> None:
    """Make the new name last through a power cut, where the system can do that."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _to_hdf5(run: RunResult) -> bytes:
    """The bytes of the file. Built in memory: HDF5 recovers badly from a disk that fills up."""
    contents = _contents(run)
    provenance = _checked_texts(run.provenance)
    # From version 1.10 on, HDF5 keeps a checksum with every part of the structure of a file.
    buffer = io.BytesIO()
    with h5py.File(buffer, "w", libver=("v110", "v110")) as file:
        # Of fixed length, so that it lies among what HDF5 itself checks.
        file.attrs["format"] = np.array(FORMAT, h5py.string_dtype(length=len(FORMAT)))
        file.attrs["format_version"] = FORMAT_VERSION
        for key, text in _FRAMES.items():
            file.attrs[key] = text
        for group in ("config", "outcome", *_SCALARS):
            file.create_group(group, track_order=True)
        for path, codes in _ENUMS.items():
            # A named type, since readers of netCDF files know no other enumerations.
            file[f"{path}_type"] = h5py.enum_dtype(codes, basetype="i1")
        for name, parts in _DIMENSIONS.items():
            describe(write_texts(file, name, parts), Label(f"columns along {name}"))
            file[name].make_scale(name)
        for path, value in contents.items():
            dataset = _dataset(file, path, value)
            describe(dataset, label_of(path))
            if path in _OWN_SCALES:
                dataset.make_scale(_OWN_SCALES[path])
        _attach_scales(file)
        # Last, so that its length moves nothing else in the file.
        group = file.create_group("provenance", track_order=True)
        for key, text in provenance.items():
            describe(_dataset(group, key, text), Label(key.replace("_", " ")))
    image = buffer.getvalue()
    return image + last_line(hashlib.sha256(image).hexdigest())


def last_line(digest: str) -> bytes:
    """What stands behind HDF5 data of a SHA-256."""
    return END + digest.encode() + b"\n"


def _dataset(file: h5py.Group, path: str, value: Value) -> h5py.Dataset:
    if path in _ENUMS:
        return file.create_dataset(path, data=value, dtype=file[f"{path}_type"])
    if isinstance(value, str):
        return file.create_dataset(path, data=utf8(value), dtype=h5py.string_dtype())
    if isinstance(value, tuple):
        return write_texts(file, path, value)
    if not isinstance(value, np.ndarray) or path not in _TRAJECTORY or not value.size:
        return file.create_dataset(path, data=value)  # HDF5 has no chunks of size zero
    return file.create_dataset(
        path,
        data=value,
        chunks=(min(_CHUNK_ROWS, len(value)), *value.shape[1:]),
        compression="gzip",
        shuffle=True,
        fletcher32=True,
    )


def write_texts(file: h5py.Group, path: str, texts: tuple[str, ...]) -> h5py.Dataset:
    data = [utf8(text) for text in texts]
    return file.create_dataset(path, data=data, shape=(len(data),), dtype=h5py.string_dtype())


def utf8(text: str) -> bytes:
    # A path may hold bytes that are no text; Python carries them as surrogates.
    return text.encode(errors="surrogateescape")


def describe(dataset: h5py.Dataset, label: Label) -> None:
    dataset.attrs["units"] = label.units
    dataset.attrs["long_name"] = label.long_name
    dataset.attrs["frame"] = label.frame
    if label.components:
        dataset.attrs["components"] = list(label.components)
        dataset.attrs["component_units"] = list(label.component_units)


def _attach_scales(file: h5py.File) -> None:
    file["time"].make_scale("time")
    for name, column in _TRAJECTORY.items():
        if name != "time":
            file[name].dims[0].attach_scale(file["time"])
        if column.dimension:
            file[name].dims[1].attach_scale(file[column.dimension])


def label_of(path: str) -> Label:
    """Label of a dataset; for a scalar that no table knows, from its name."""
    if path in _TRAJECTORY:
        return _TRAJECTORY[path].label
    if path in _OTHERS:
        return _OTHERS[path]
    group, _, name = path.partition("/")
    known = _SCALARS[group].get(name)
    if known:
        return known
    for suffix in sorted(_SUFFIXES, key=len, reverse=True):
        if name.endswith("_" + suffix):
            base = name.removesuffix("_" + suffix)
            return Label(base.replace("_", " "), _SUFFIXES[suffix])
    return Label(name.replace("_", " "))


# ----------------------------------------------------------------------- what is in a file at all


def _contents(run: RunResult) -> Contents:
    """Everything outside ``/provenance``; ValueError for what cannot be stored."""
    rows = len(run.time)
    contents: Contents = {}
    for name, column in _TRAJECTORY.items():
        array = np.asarray(getattr(run, name))
        shape = (rows, len(_DIMENSIONS[column.dimension])) if column.dimension else (rows,)
        if array.dtype.kind not in "fiu" or array.shape != shape:
            raise ValueError(
                f"{name} has shape {array.shape} and type {array.dtype}, not numbers of shape"
                f" {shape}"
            )
        contents[name] = array
    motion_class = _NO_CLASS if run.motion_class is None else run.motion_class
    if run.status not in STATUSES or run.motion_class not in (None, *MOTION_CLASSES):
        raise ValueError(f"no such outcome: {run.status!r}, {run.motion_class!r}")
    contents |= config_contents(run.config)
    contents |= {
        "outcome/status": _STATUS_CODES[run.status],
        "outcome/status_text": run.status,
        "outcome/message": run.message,
        "outcome/motion_class": _CLASS_CODES[motion_class],
        "outcome/motion_class_text": motion_class,
        "outcome/class_reason": run.class_reason,
        "outcome/window": np.array([float(limit) for limit in run.window]),
        "outcome/warnings": tuple(run.warnings),
    }
    for group in _SCALARS:
        for name, number in getattr(run, group).items():
            contents[f"{group}/{_checked_name(name)}"] = _plain_number(name, number)
    return contents


def config_contents(config: Config) -> Contents:
    """The ``/config`` of a file."""
    return {
        "config/text": config.source_text,
        "config/resolved": resolved_json(config),
        "config/digest": config_digest(config),
        "config/overrides": json.dumps(config.overrides, ensure_ascii=False),
        "config/source_path": config.source_path,
    }


def _checked_name(name: object) -> str:
    """A name under which HDF5 keeps exactly one dataset."""
    if not isinstance(name, str) or name in ("", ".") or "/" in name or "\0" in name:
        raise ValueError(f"{name!r} cannot name a dataset")
    return name


def _checked_texts(texts: Mapping[str, str]) -> dict[str, str]:
    for name, text in texts.items():
        if not isinstance(text, str):
            raise ValueError(f"{name} = {text!r} is no text")
    return {_checked_name(name): text for name, text in texts.items()}


def _plain_number(name: str, number: object) -> int | float:
    """A whole number stays whole."""
    if isinstance(number, Integral):
        return int(number)
    if isinstance(number, Real):
        return float(number)
    raise ValueError(f"{name} = {number!r} is no number")


# --------------------------------------------------------------------------------------- loading


def load_run(path: str | os.PathLike[str]) -> RunResult:
    """Read a file that :func:`save_run` wrote.

    Parameters
    ----------
    path : path

    Returns
    -------
    RunResult
        Equal to the saved one, field by field.

    Raises
    ------
    StoreError
        When there is no such file, when it is no result of this program or one of a newer
        version, or when it is cut off, incomplete or damaged.
    """
    where = os.fspath(path)
    image, whole = _read(where)
    try:
        with h5py.File(io.BytesIO(image), "r") as file:
            _check_format(file, where)
            _check_members(file, where)
            if not whole:
                raise StoreError(
                    f"{where}: is cut off at its very end, or was changed by another program."
                    f" {ANOTHER_COPY}"
                )
            return _run(_read_contents(file), where)
    except StoreError:
        raise
    except MemoryError as error:
        raise StoreError(
            f"{where}: needs more memory than there is ({len(image) / 1e6:.0f} MB in the file)."
            " Close other programs, or read it on a larger machine."
        ) from error
    except Exception as error:  # HDF5 reports damage as whatever it stumbles over first
        raise _damaged(where, image, error) from error


def _read(where: str) -> tuple[bytes, bool]:
    """The HDF5 data of a file, and whether they carry their checksum; damage is an error."""
    file = Path(where)
    try:
        if file.is_dir():
            raise StoreError(f"{where or '.'}: is a directory. Name a result file (.h5) in it.")
        if file.exists() and not file.is_file():  # reading a pipe might wait for ever
            raise StoreError(f"{where}: is not an ordinary file. Name a result file (.h5).")
        image = file.read_bytes()
    except FileNotFoundError:
        raise StoreError(
            f"{where}: no such file. Check the path, or run the configuration first."
        ) from None
    except PermissionError:
        raise StoreError(
            f"{where}: may not be read. Give yourself permission to read the file."
        ) from None
    except (OSError, ValueError) as error:
        raise StoreError(f"{where}: cannot be read ({reason(error)}). Check the path.") from error
    except MemoryError as error:
        raise StoreError(
            f"{where}: does not fit into memory. Close other programs, or read it on a larger"
            " machine."
        ) from error
    if not image:
        raise StoreError(f"{where}: the file is empty. {ANOTHER_COPY}")
    if not image.startswith(SIGNATURE[: len(image)]):
        raise StoreError(
            f"{where}: is not an HDF5 file. Name a result file (.h5) that this program wrote."
        )
    if len(image) < _LEAST_SIZE:
        raise StoreError(f"{where}: is cut off after {len(image)} bytes. {ANOTHER_COPY}")
    end = image[-END_SIZE:]
    if not end.startswith(END):
        return image, False
    image = image[:-END_SIZE]
    if end != last_line(hashlib.sha256(image).hexdigest()):
        raise StoreError(f"{where}: is damaged (its checksum is wrong). {ANOTHER_COPY}")
    return image, True


def check_version(file: h5py.File, where: str, newest: int, advice: str) -> None:
    """Refuse a file without a sound format version, or of one newer than ``newest``."""
    version = file.attrs.get("format_version")
    if not isinstance(version, np.integer) or version < 1:
        raise StoreError(
            f"{where}: has no valid format_version (a whole number from 1), but {version!r}."
            f" {advice}"
        )
    if version > newest:
        raise StoreError(
            f"{where}: has format version {version}, written by a newer program; this one reads"
            f" up to {newest}. Update the program."
        )


def _check_format(file: h5py.File, where: str) -> None:
    kind = file.attrs.get("format")
    if isinstance(kind, bytes):
        kind = kind.decode(errors="replace")
    if not isinstance(kind, str) or kind != FORMAT:
        found = f"format {kind!r}" if isinstance(kind, str) else "without a format"
        raise StoreError(
            f"{where}: is an HDF5 file {found}, not a run (format {FORMAT!r}). Name a file that"
            " this program wrote for one run."
        )
    check_version(file, where, FORMAT_VERSION, ANOTHER_COPY)


def _check_members(file: h5py.File, where: str) -> None:
    for paths, kind in (
        ((*_TRAJECTORY, *_OTHERS), h5py.Dataset),
        ((*_SCALARS, "provenance"), h5py.Group),
    ):
        for path in paths:
            if path not in file or not isinstance(file[path], kind):
                raise StoreError(f'{where}: is incomplete, "{path}" is not in it. {ANOTHER_COPY}')


def _read_contents(file: h5py.File) -> Contents:
    paths = [*_TRAJECTORY, *_OTHERS]
    for group in (*_SCALARS, "provenance"):
        paths += [f"{group}/{name}" for name in file[group]]
    return {path: _value(file[path]) for path in paths}


def _value(dataset: h5py.Dataset) -> Value:
    if h5py.check_string_dtype(dataset.dtype):
        texts: str | np.ndarray = dataset.asstr(errors="surrogateescape")[()]
        return texts if isinstance(texts, str) else tuple(texts.tolist())
    value: np.ndarray | np.generic = dataset[()]
    if isinstance(value, np.ndarray):
        return value
    number: int | float = value.item()
    return number


def _run(contents: Contents, where: str) -> RunResult:
    """The run from contents known to be whole."""
    found: dict[str, Any] = dict(contents)
    motion_class = found["outcome/motion_class_text"]
    start, end = (float(limit) for limit in found["outcome/window"])
    mappings: dict[str, Any] = {
        group: {
            path.removeprefix(f"{group}/"): value
            for path, value in found.items()
            if path.startswith(f"{group}/")
        }
        for group in (*_SCALARS, "provenance")
    }
    return RunResult(
        config=_config(found, where),
        **{name: found[name] for name in _TRAJECTORY},
        status=found["outcome/status_text"],
        message=found["outcome/message"],
        motion_class=None if motion_class == _NO_CLASS else motion_class,
        class_reason=found["outcome/class_reason"],
        **mappings,
        window=(start, end),
        warnings=found["outcome/warnings"],
    )


def _config(found: Mapping[str, Any], where: str) -> Config:
    try:
        config = config_from_dict(
            json.loads(found["config/resolved"]),
            found["config/source_path"],
            text=found["config/text"],
        )
    except ConfigError as error:
        # The file is whole, so the rules have changed since.
        raise StoreError(
            f"{where}: its configuration is not one that this version of the program accepts"
            f" ({error.problems[0]}). Read it with the version that wrote it (see /provenance), or"
            " run again."
        ) from error
    # The resolved values hold the overrides already; only that there were some is to be kept.
    config._overrides = json.loads(found["config/overrides"])
    return config


def _damaged(where: str, image: bytes, error: Exception) -> StoreError:
    text = str(error)
    if "truncated file" in text:
        return StoreError(f"{where}: is cut off after {len(image)} bytes. {ANOTHER_COPY}")
    return StoreError(f"{where}: is damaged ({reason(error)}). {ANOTHER_COPY}")


def reason(error: BaseException) -> str:
    """One line on what went wrong, without the path."""
    # str() of a KeyError puts its text in quotes.
    plain = error.args[0] if isinstance(error, KeyError) and error.args else error
    text = getattr(error, "strerror", None) or str(plain) or type(error).__name__
    return " ".join(str(text).split()).rstrip(".")
