"""Failed runs of a map, grouped by what their messages say."""

from __future__ import annotations

import re
from typing import NamedTuple

import numpy as np

from sim.studies.engine import FAILED, STATUSES


class Cause(NamedTuple):
    """Failed runs whose messages differ in figures only."""

    message: str  # of the first
    status: str
    runs: int
    case: int  # number of the first


def causes(status: np.ndarray, message: np.ndarray) -> list[Cause]:
    """Failed runs of a map grouped by cause, the most frequent first.

    Parameters
    ----------
    status : ndarray of int8     any shape
    message : ndarray of str     same shape
    """
    codes, texts = status.ravel(), message.ravel()
    found: dict[tuple[int, str], Cause] = {}
    failed = [STATUSES.index(name) for name in FAILED]
    for case in np.flatnonzero(np.isin(codes, failed)).tolist():
        code, text = int(codes[case]), str(texts[case])
        key = (code, re.sub(r"[-+]?\d+(\.\d*)?(e[-+]?\d+)?", "#", text))
        first = found.get(key, Cause(text, STATUSES[code], 0, case))
        found[key] = first._replace(runs=first.runs + 1)
    return sorted(found.values(), key=lambda cause: (-cause.runs, cause.case))
