"""Compiled physics: pure functions over arrays, stepped side by side in lanes.

Every array that belongs to one bait carries a last axis of *lanes*, one lane a bait, so that the
same code steps one bait or many. Nothing here reads a file, a clock or a setting.
"""

from __future__ import annotations

import atexit
import hashlib
import os
import shutil
import tempfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numba

__all__ = ["kernel", "kernel_digest"]


@cache
def kernel_digest() -> str:
    """Hex digest over the source of every kernel module, and of numba's version."""
    digest = hashlib.sha256(numba.__version__.encode())
    for source in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(source.name.encode())
        digest.update(source.read_bytes())
    return digest.hexdigest()[:16]


def _cache_folder() -> Path:
    """Folder of compiled kernels, keyed by the digest.

    numba's own cache looks at the one file that holds a function and would run stale code after
    an edit in a file it calls; a folder a digest cannot.
    """
    base = os.environ.get("RUNTRUE_CACHE_DIR") or os.environ.get("XDG_CACHE_HOME")
    try:
        root = Path(base).resolve() if base else Path.home() / ".cache"
        folder = root / "runtrue" / kernel_digest()
        folder.mkdir(parents=True, exist_ok=True)
        if os.access(folder, os.W_OK):
            return folder
    except (OSError, RuntimeError):  # no home, or none that may be written to
        pass
    folder = Path(tempfile.mkdtemp(prefix="runtrue-kernels-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder


if not os.environ.get("NUMBA_CACHE_DIR"):
    numba.config.CACHE_DIR = str(_cache_folder())  # type: ignore[attr-defined]


def kernel(function: Callable[..., Any]) -> Any:
    """Compile ``function`` with the project's one set of options.

    ``fastmath`` stays off because it makes ``isfinite(nan)`` true and would hide a run that blew
    up; the numpy error model keeps 1/0 as an infinity, which the stepper then finds.
    """
    return numba.njit(cache=True, fastmath=False, error_model="numpy", nogil=True)(function)
