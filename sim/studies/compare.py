"""Whether two result files are the same to the bit, in all that a repeated run must repeat."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from typing import Any

import h5py
import numpy as np

__all__ = ["differences", "same_content"]


def same_content(a: str | os.PathLike[str], b: str | os.PathLike[str]) -> bool:
    """Whether two files are the same to the bit in everything outside ``/provenance``."""
    return not differences(a, b)


def differences(a: str | os.PathLike[str], b: str | os.PathLike[str]) -> list[str]:
    """Paths in two HDF5 files, outside ``/provenance``, at which they are not the same to the bit.

    Compared are names, types, shapes, values (NaN by its bits), attributes and dimensions.
    """
    with h5py.File(a, "r") as one, h5py.File(b, "r") as two:
        first, second = dict(_contents(one)), dict(_contents(two))
    paths = sorted(first.keys() | second.keys())
    return [path for path in paths if first.get(path) != second.get(path)]


def _contents(file: h5py.File) -> Iterator[tuple[str, tuple[object, ...]]]:
    """Everything in a file, in a form that compares; arrays as the SHA-256 of their bytes."""
    names: list[str] = [""]
    file.visit(names.append)
    for name in names:
        if name.split("/")[0] == "provenance":
            continue
        item = file[name or "/"]
        # links between datasets are places in the file; names of dimensions say the same
        links = ("DIMENSION_LIST", "REFERENCE_LIST")
        attrs = {key: _bits(item.attrs[key]) for key in item.attrs if key not in links}
        if isinstance(item, h5py.Dataset):
            scales = [[scale.name for scale in dim.values()] for dim in item.dims]
            kind = (str(item.dtype), h5py.check_enum_dtype(item.dtype), item.shape, scales)
            yield name, (attrs, kind, _bits(item[()]))
        else:
            yield name, (attrs, str(getattr(item, "dtype", "group")))


def _bits(value: Any) -> str:
    array = np.asarray(value)
    raw = repr(array.tolist()).encode() if array.dtype == object else array.tobytes()
    return f"{array.dtype} {array.shape} {hashlib.sha256(raw).hexdigest()}"
