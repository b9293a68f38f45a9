"""Where a result comes from: versions, digests, date and machine."""

from __future__ import annotations

import os
import platform
import subprocess
from datetime import UTC, datetime
from functools import cache
from importlib import metadata
from pathlib import Path

from sim.config import config_digest
from sim.config.models import Config
from sim.kernels import kernel_digest

__all__ = ["collect"]

UNKNOWN = "unknown"
_LIBRARIES = ("numpy", "scipy", "numba", "h5py", "pydantic")
_GIT_TIMEOUT = 2.0  # [s]; a slow disk must not hold up a run
_CODE = ("sim", "pyproject.toml")  # a result file inside the checkout does not make it dirty


def collect(config: Config) -> dict[str, str]:
    """Everything needed to tell later which program made a result, and when.

    Parameters
    ----------
    config : Config
        Its digest is noted.

    Returns
    -------
    dict of str to str
        ``program``, ``python``, one key a library, ``git_commit`` and ``git_dirty`` (of the
        program's own checkout; "none" when it does not run from one), ``kernel_digest``,
        ``config_digest``, ``seed``, ``date_utc`` (ISO 8601), ``host``, ``platform``. What cannot
        be found out is "unknown"; never raises for that.
    """
    commit, dirty = _git(Path(__file__).resolve().parents[1])
    return {
        "program": _version("runtrue"),
        "python": platform.python_version(),
        **{name: _version(name) for name in _LIBRARIES},
        "git_commit": commit,
        "git_dirty": dirty,
        "kernel_digest": kernel_digest(),
        "config_digest": config_digest(config),
        "seed": "none (deterministic)",
        "date_utc": datetime.now(UTC).isoformat(timespec="seconds"),
        "host": platform.node() or UNKNOWN,
        "platform": platform.platform(),
    }


@cache
def _version(name: str) -> str:
    try:
        return metadata.version(name) or UNKNOWN
    except Exception:  # a broken installation may fail in any way, and must not stop a run
        return UNKNOWN


@cache  # the code in memory is the code of the first call, whatever is edited since
def _git(folder: Path) -> tuple[str, str]:
    """Commit and dirty flag ("yes", "no") of a checkout; ("none", "none") if it is none."""
    if not (folder / ".git").exists():
        return "none", "none"
    commit = _ask_git(folder, "rev-parse", "--verify", "HEAD")
    changes = _ask_git(folder, "status", "--porcelain", "--", *_CODE)
    dirty = UNKNOWN if changes is None else "yes" if changes else "no"
    return commit or UNKNOWN, dirty


def _ask_git(folder: Path, *arguments: str) -> str | None:
    """Output of a git command that changes nothing; None when it fails or takes too long."""
    # Inside a hook, GIT_DIR and the like point at some other repository.
    environment = {k: v for k, v in os.environ.items() if not k.startswith("GIT_")}
    command = ["git", "--no-optional-locks", "-c", "core.fsmonitor=false", *arguments]
    try:
        done = subprocess.run(
            command,
            cwd=folder,
            env=environment,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            errors="replace",
            timeout=_GIT_TIMEOUT,
            check=False,
        )
    except (OSError, ValueError, subprocess.SubprocessError):
        return None
    return done.stdout.strip() if done.returncode == 0 else None
