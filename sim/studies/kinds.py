"""The kinds of studies there are, and one read back from its JSON text."""

from __future__ import annotations

import json

from sim.studies.builds import BuildStudy
from sim.studies.study import Study

__all__ = ["AnyStudy", "study_from_json"]

AnyStudy = Study | BuildStudy


def study_from_json(text: str) -> AnyStudy:
    """The study that its ``to_json`` wrote; the numbers keep every bit."""
    kind = json.loads(text).get("kind")
    if kind == "risk":
        return BuildStudy.from_json(text)
    if kind == "compare":
        from sim.studies.roster import Roster

        return Roster.from_json(text)
    return Study.from_json(text)
