"""The command that makes a stored answer again, for what is not kept in its file."""

from __future__ import annotations

import json
import shlex
from collections.abc import Collection, Sequence
from typing import TYPE_CHECKING

from sim.studies.speeds import speed_row

if TYPE_CHECKING:
    from sim.studies.study import Study

USUAL = "results/{}.h5"  # where commands put a study for which they are given no name


def again(
    command: str, study: Study, own: Sequence[str], output: str | None, by_itself: Collection[str]
) -> str:
    """The command that runs a study over a row of speeds, its second axis, again.

    Parameters
    ----------
    command : str                      "holes" or "tune"
    study : Study
    own : sequence of str              words of the options that the command alone has
    output : str, optional             file that holds the result, which is then replaced
    by_itself : collection of str      keys that the command sets without being told to
    """
    speeds = tuple(study.axes[1].values.tolist())
    count = len(speeds)
    for fewer in (count, count - 1):
        if fewer >= 2 and speed_row(study.base, speeds[0], speeds[-1], fewer) == speeds:
            count = fewer
            break
    words = ["runtrue", command, study.source_path or "CONFIG.toml", *own]
    words += ["--slowest", f"{speeds[0]:g}", "--fastest", f"{speeds[-1]:g}", "--speeds", f"{count}"]
    for key, value in study.fixed.items():
        if key not in by_itself:
            words += ["--set", f"{key}={json.dumps(value, ensure_ascii=False)}"]
    if output is not None:
        if output.replace("\\", "/") != USUAL.format(study.name):
            words += ["--output", output]
        words.append("--force")
    return shlex.join(words)
