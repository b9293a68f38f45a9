"""The side folder of a study that is being run: finished chunks, to go on from after a break.

Beside the result ``NAME.h5`` stands ``NAME.h5.part``. It holds ``study.json``, which says what is
being run and by which program, and one small HDF5 file a chunk. Every file is whole or not there;
one that is damaged, or holds other cases than the plan asks for, is not trusted. While a process
works on the folder it holds a lock, the file ``.NAME.h5.lock`` beside it.
"""

from __future__ import annotations

import errno
import hashlib
import io
import json
import os
import shutil
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from types import ModuleType
from typing import Any

import h5py
import numpy as np

from sim import provenance
from sim.errors import StoreError
from sim.kernels.motion import MEASURES
from sim.store import END_SIZE, last_line, utf8, write_whole, writing
from sim.studies.engine import MARGINS, CaseTable
from sim.studies.kinds import AnyStudy

_fcntl: ModuleType | None
_msvcrt: ModuleType | None
try:
    import fcntl as _fcntl
except ImportError:  # Windows
    _fcntl = None
try:
    import msvcrt as _msvcrt
except ImportError:  # everywhere else
    _msvcrt = None

__all__ = ["PartFolder", "bits_of"]

FORMAT = "runtrue map chunk"
FORMAT_VERSION = 1
NOTE = "study.json"
MERGED = "merged"  # the result while it is written
# What the bits of a result depend on beside the study, keys of the provenance.
DECIDING = ("kernel_digest", "program", "python", "numpy", "scipy", "numba")
# Sources, seen from the package, that decide nothing of what is in a result: they show it, store
# it, hand it on, or are not used by a study. All others do.
DECIDES_NOTHING = (
    "captive_loads.py",
    "cautions.py",
    "cli.py",
    "commands",
    "config/reference.py",
    "config/template.py",
    "plots",
    "provenance.py",
    "report",
    "store.py",
    "studies/compare.py",
    "studies/files.py",
    "studies/parts.py",
    "studies/risk_store.py",
    "studies/store.py",
    "studies/workers.py",
    "terminal.py",
)
_SPARE = 1 << 16  # bytes that HDF5 and the smaller groups of a result take beside its arrays
_COLUMNS = ("case", "status", "motion_class", "measures", "margins", "first_s", "last_s", "end_s")


def bits_of(study: AnyStudy) -> dict[str, str]:
    """Versions that decide the bits of a result, of the program in this process."""
    found = provenance.collect(study.base)
    return {
        "source_digest": source_digest(Path(__file__).resolve().parents[1]),
        **{key: found[key] for key in DECIDING},
    }


@lru_cache(maxsize=4)  # the code in memory is the code of the first call, whatever is edited since
def source_digest(package: Path) -> str:
    """Hex digest over every Python source of a package that decides results."""
    digest = hashlib.sha256()
    sources = {file.relative_to(package).as_posix(): file for file in package.rglob("*.py")}
    for name, file in sorted(sources.items()):
        if any(name == out or name.startswith(f"{out}/") for out in DECIDES_NOTHING):
            continue
        source = file.read_bytes()
        digest.update(f"{name} {len(source)}\n".encode())
        digest.update(source)
    return digest.hexdigest()[:16]


@dataclass(frozen=True)
class PartFolder:
    """The side folder of one result.

    Attributes
    ----------
    folder : Path
    where : str      its name in messages
    """

    folder: Path
    where: str

    @classmethod
    def of(cls, real: Path, where: str) -> PartFolder:
        """That of a result file; ``where`` is the file's name as it was given."""
        return cls(real.with_name(f"{real.name}.part"), f"{where}.part")

    @property
    def merged(self) -> Path:
        """Where the result is put together, in reach of one ``os.replace``."""
        return self.folder / MERGED

    def exists(self) -> bool:
        return os.path.lexists(self.folder)

    # -------------------------------------------------------------------------------------- lock

    @contextmanager
    def locked(self) -> Iterator[None]:
        """Keep other processes from the folder; the system lets go when this one dies.

        The lock is a file beside the folder, since the folder itself comes and goes. Where a lock
        cannot be had (a file system without them, a folder that may not be written to), the work
        goes on without.

        Raises
        ------
        StoreError
            When another process has it.
        """
        path = self.folder.with_name(f".{self.folder.name.removesuffix('.part')}.lock")
        made = [p for p in path.parents if not os.path.lexists(p)]
        handle = self._take(path)
        try:
            yield
        finally:
            if handle is not None:
                # removed while it is held, so that nobody's lock but ours goes
                with suppress(OSError):
                    path.unlink()
                os.close(handle)
                if _fcntl is None:  # Windows removes no file that is open
                    with suppress(OSError):
                        path.unlink()
            for parent in made:  # those still empty were there for the lock alone
                with suppress(OSError):
                    parent.rmdir()

    def _take(self, path: Path) -> int | None:
        while True:
            try:
                path.parent.mkdir(parents=True, exist_ok=True)
                handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o666)
            except OSError:
                return None  # who writes first says what is wrong
            try:
                _lock(handle)
                if _same_file(handle, path):
                    return handle
            except OSError as error:
                os.close(handle)
                if error.errno in (errno.EAGAIN, errno.EACCES, errno.EDEADLK):
                    raise StoreError(
                        f"{self.where}: is being worked on by another process. Wait for it, or use"
                        " another --output."
                    ) from None
                return None
            except BaseException:
                os.close(handle)
                raise
            os.close(handle)  # its last holder has removed it meanwhile

    # -------------------------------------------------------------------------------- study.json

    def begin(self, study: AnyStudy, *, replace: bool) -> None:
        """Make the folder and say in it what is being run.

        Parameters
        ----------
        study : a study of any kind
        replace : bool    an existing result may be replaced at the end

        Raises
        ------
        StoreError
        """
        with writing(self.where):
            self.folder.mkdir(parents=True, exist_ok=True)
        note = {
            "format": FORMAT,
            "format_version": FORMAT_VERSION,
            "digest": study.study_digest,
            "versions": bits_of(study),
            "chunk": study.chunk,
            "replace": replace,
            "study": json.loads(study.to_json()),
        }
        text = json.dumps(note, indent=1, ensure_ascii=False) + "\n"
        write_whole(utf8(text), self.folder / NOTE, self.where, overwrite=True)

    def note(self) -> dict[str, Any] | None:
        """What ``study.json`` says; None when there is none or it cannot be trusted."""
        try:
            found = json.loads((self.folder / NOTE).read_bytes())
            fits = (
                found["format"] == FORMAT
                and found["format_version"] == FORMAT_VERSION
                and isinstance(found["digest"], str)
                and isinstance(found["versions"], dict)
                and isinstance(found["chunk"], int)
                and found["chunk"] > 0
                and isinstance(found["replace"], bool)
            )
        except (OSError, ValueError, KeyError, TypeError):
            return None
        return dict(found) if fits else None

    # ------------------------------------------------------------------------------------ chunks

    def path(self, number: int) -> Path:
        return self.folder / f"chunk-{number:05d}.h5"

    def write(self, number: int, table: CaseTable, mark: str) -> None:
        """Write a finished chunk, whole or not at all.

        Parameters
        ----------
        number : int         of the chunk
        table : CaseTable
        mark : str           digest of what the chunk belongs to, see :func:`chunk_mark`

        Raises
        ------
        StoreError
        """
        write_whole(_image(table, mark), self.path(number), self.where, overwrite=True)

    def read(self, number: int, cases: np.ndarray, mark: str) -> CaseTable | None:
        """A finished chunk; None unless it is whole, of this study, and of just these cases."""
        try:
            image = self.path(number).read_bytes()
            end, image = image[-END_SIZE:], image[:-END_SIZE]
            if end != last_line(hashlib.sha256(image).hexdigest()):
                return None
            table = _table(image, mark)
        except Exception:  # whatever is wrong with it, it is calculated again
            return None
        return table if table is not None and _fits(table, cases) else None

    # ------------------------------------------------------------------------------------ ending

    def check_room(self, padding: int = 0) -> None:
        """See that the merged result will fit on the disk: HDF5 takes a full one badly.

        Parameters
        ----------
        padding : int     bytes by which the states grow when all are made as long as the longest

        Raises
        ------
        StoreError
        """
        with writing(self.where):
            need = sum(file.stat().st_size for file in self.folder.glob("chunk-*.h5"))
            # the result holds the texts of study and bait once as they are and once as JSON
            need += padding + 2 * (self.folder / NOTE).stat().st_size + _SPARE
            free = shutil.disk_usage(self.folder).free
        if free < need:
            raise StoreError(
                f"{self.where}: the disk is full, merging it needs about {_size(need)} and"
                f" {_size(free)} are free. Free some space, then go on with --resume."
            )

    def remove(self) -> None:
        """Remove the folder with all that this program puts into one.

        ``study.json`` goes first: without it the rest is trusted no more.

        Raises
        ------
        StoreError
            When something else lies in it, which is kept.
        """
        if not self.exists():
            return
        with writing(self.where):
            if not self.folder.is_dir() or self.folder.is_symlink():
                raise StoreError(
                    f"{self.where}: is not a folder of this program. Move it away, or use another"
                    " --output."
                )
            with suppress(FileNotFoundError):
                (self.folder / NOTE).unlink()
            for file in sorted(self.folder.iterdir()):
                if _ours(file.name):
                    file.unlink()
            if any(self.folder.iterdir()):
                raise StoreError(
                    f"{self.where}: holds files that this program did not put there. Move them"
                    " away, or use another --output."
                )
            self.folder.rmdir()

    def clean(self) -> None:
        """Remove what a killed process left half written."""
        for file in [*self.folder.glob(".runtrue-*.part"), self.merged]:
            with suppress(OSError):
                file.unlink()


def _lock(handle: int) -> None:
    """Lock an open file for this process alone; OSError when that cannot be, or not at once."""
    if _fcntl is not None:
        _fcntl.flock(handle, _fcntl.LOCK_EX | _fcntl.LOCK_NB)
    elif _msvcrt is not None:
        _msvcrt.locking(handle, _msvcrt.LK_NBLCK, 1)


def _same_file(handle: int, path: Path) -> bool:
    try:
        return os.path.samestat(os.fstat(handle), path.stat())
    except FileNotFoundError:
        return False


def _size(size: float) -> str:
    """Bytes in the unit that fits."""
    for unit in ("kB", "MB"):
        size /= 1000
        if size < 999.95:
            return f"{size:.1f} {unit}"
    return f"{size / 1000:.1f} GB"


def _ours(name: str) -> bool:
    return (
        name in (NOTE, MERGED)
        or (name.startswith("chunk-") and name.endswith(".h5"))
        or (name.startswith(".runtrue-") and name.endswith(".part"))
    )


def chunk_mark(digest: str, versions: Mapping[str, str]) -> str:
    """Digest (hex) of the study and the versions that a chunk belongs to."""
    text = json.dumps([digest, dict(versions), MEASURES, MARGINS], sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()


def _image(table: CaseTable, mark: str) -> bytes:
    buffer = io.BytesIO()
    with h5py.File(buffer, "w", libver=("v110", "v110")) as file:
        file.attrs["format"] = FORMAT
        file.attrs["format_version"] = FORMAT_VERSION
        file.attrs["mark"] = mark
        for name in _COLUMNS:
            file[name] = getattr(table, name)
        file["early"] = np.asarray(table.early, dtype=np.uint8)
        # one text for all: a chunk has hundreds of messages, most of them empty
        file["message"] = np.frombuffer(utf8(json.dumps(table.message)), dtype=np.uint8)
        if table.states is not None:
            file["states"] = table.states
    image = buffer.getvalue()
    return image + last_line(hashlib.sha256(image).hexdigest())


def _table(image: bytes, mark: str) -> CaseTable | None:
    with h5py.File(io.BytesIO(image), "r") as file:
        if file.attrs["format"] != FORMAT or file.attrs["mark"] != mark:
            return None
        return CaseTable(
            **{name: file[name][()] for name in _COLUMNS},
            early=file["early"][()].astype(bool),
            message=tuple(json.loads(file["message"][()].tobytes())),
            states=file["states"][()] if "states" in file else None,
        )


def _fits(table: CaseTable, cases: np.ndarray) -> bool:
    """Whether a table has a row for each of these cases, in this order."""
    n = len(cases)
    return (
        np.array_equal(table.case, cases)
        and all(len(getattr(table, name)) == n for name in (*_COLUMNS, "early", "message"))
        and table.measures.shape == (n, len(MEASURES))
        and table.margins.shape == (n, len(MARGINS))
        and (table.states is None or len(table.states) == n)
    )
