"""What the caches of the parts share: a key of a configuration table, and arrays nobody can change.

A map builds the same body and the same bill over and over. What follows from such a part alone is
kept, for as many parts as an axis of a map has values.
"""

from __future__ import annotations

from typing import Generic, TypeVar

import numpy as np
from pydantic import BaseModel

KEPT = 256  # parts of a kind that are remembered

T = TypeVar("T", bound=BaseModel)


class Keyed(Generic[T]):
    """A configuration table as the key of a cache: equal where every figure has the same bits.

    Tables themselves would do but for -0.0, which equals 0.0: which of the two was met first would
    then show in the signs of later zeros.

    Parameters
    ----------
    table : model
    keys : set of str, optional    keys that count; a function cached on this reads no others
    """

    __slots__ = ("table", "text")

    def __init__(self, table: T, keys: set[str] | None = None) -> None:
        self.table = table
        self.text = table.model_dump_json(include=keys)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Keyed) and self.text == other.text

    def __hash__(self) -> int:
        return hash(self.text)


def read_only(values: np.ndarray) -> np.ndarray:
    """The same array, closed for writing."""
    values.setflags(write=False)
    return values
