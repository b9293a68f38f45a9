"""Baits side by side: several configurations, each at the same speeds."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from sim.config import Config, config_digest, config_from_dict, with_overrides
from sim.studies.axes import Overrides
from sim.studies.starts import STEADY
from sim.studies.study import Axis, Study

__all__ = ["BAIT", "MOST", "SPEED", "Roster", "differences", "roster", "unique_names"]

BAIT, SPEED = "bait_number", "retrieve.speed_m_s"
MOST = 20  # baits of which a picture can still be read
# Tables that say how the bait is used and judged, not what it is.
SURROUNDINGS = ("line", "retrieve", "water", "start", "solver", "limits", "loads", "coefficients")


@dataclass(frozen=True, eq=False)
class Roster(Study):
    """A study whose first axis counts baits and whose second is the speed of the retrieve.

    Build one with :func:`roster`. ``base`` is the first bait, and what holds for a study holds here
    too, but that a cell's configuration comes from its own bait.

    Attributes
    ----------
    baits : tuple of Config        one a row, with all their overrides
    names : tuple of str           what they are called, no two alike
    """

    baits: tuple[Config, ...] = ()
    names: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not (len(self.baits) == len(self.names) == len(set(self.names)) == self.shape[0]):
            raise ValueError(f"{len(self.baits)} baits, names {self.names}, shape {self.shape}")

    def cell_overrides(self, cell: int, start: int = 0) -> Overrides:
        """What a cell changes of its own bait: the speed.

        Raises
        ------
        IndexError
            For a cell or a start that there is not.
        """
        return {SPEED: self.cell_values(cell)[1], **self._start_overrides(cell, start)}

    def cell_config(self, cell: int, start: int = 0) -> Config:
        """Configuration of a cell; depends on the two numbers alone.

        Raises
        ------
        IndexError
            For a cell or a start that there is not.
        """
        bait = self.baits[self.cell_index(cell)[0]]
        return with_overrides(bait, self.cell_overrides(cell, start))

    @property
    def study_digest(self) -> str:  # type: ignore[override]
        """SHA-256 (hex) over all that decides results; names, paths and ``chunk`` are left out."""
        content = {
            "kind": self.kind,
            "baits": [config_digest(bait) for bait in self.baits],
            "speeds": (self.axes[1].values + 0.0).tolist(),
            "stop_early": self.stop_early,
            "keep_states_ms": self.keep_states_ms + 0.0,
        }
        text = json.dumps(content, sort_keys=True, separators=(",", ":"), allow_nan=False)
        return hashlib.sha256(text.encode()).hexdigest()

    def to_json(self) -> str:
        """The whole study as JSON text, for :meth:`from_json` in a process without the files."""
        content = json.loads(super().to_json())
        content["names"] = list(self.names)
        content["baits"] = [
            {
                "values": bait.model_dump(mode="json"),
                "source_path": bait.source_path,
                "source_text": bait.source_text,
                "overrides": bait.overrides,
            }
            for bait in self.baits
        ]
        return json.dumps(content, ensure_ascii=False, allow_nan=False)

    @classmethod
    def from_json(cls, text: str) -> Roster:
        """The study that :meth:`to_json` wrote; the numbers keep every bit."""
        content = json.loads(text)
        baits = tuple(
            config_from_dict(b["values"], b["source_path"], b["overrides"], b["source_text"])
            for b in content.pop("baits")
        )
        content["axes"] = tuple(Axis(**axis) for axis in content["axes"])
        content["starts"] = tuple(content["starts"])
        content["names"] = tuple(content["names"])
        return cls(**(content | {"base": baits[0], "baits": baits}))


def unique_names(names: Sequence[str]) -> tuple[str, ...]:
    """The same names with a number behind those that occur before: "pike", "pike (2)"."""
    found: list[str] = []
    for name in names:
        count, own = 1, name
        while own in found:
            count += 1
            own = f"{name} ({count})"
        found.append(own)
    return tuple(found)


def roster(
    baits: Sequence[Config], speeds: Sequence[float], names: Sequence[str] | None = None
) -> Roster:
    """Lay out baits side by side.

    Parameters
    ----------
    baits : sequence of Config      2 to ``MOST``, all with a line
    speeds : sequence of float      at which each is retrieved [m/s]; each bait's own speed is added
    names : sequence of str         what to call them; left out, by their names. Names that occur
                                    twice are numbered

    Raises
    ------
    ValueError
        For another number of baits.
    """
    if not 2 <= len(baits) <= MOST:
        raise ValueError(f"{len(baits)} baits: must be 2 to {MOST}")
    own = [bait.retrieve.speed_m_s for bait in baits]
    row = np.unique([*speeds, *own])
    names = unique_names(names or [bait.name or "bait" for bait in baits])
    return Roster(
        name=f"{baits[0].name or 'bait'}-compare",
        note="",
        text="",
        source_path=baits[0].source_path,
        base=baits[0],
        fixed=dict(baits[0].overrides),
        axes=(
            Axis(BAIT, "number of the bait", "", np.arange(1.0, len(baits) + 1.0)),
            Axis(SPEED, "retrieve speed", "m/s", row),
        ),
        starts=(STEADY,),
        stop_early=False,  # so that figures are those of single runs
        kind="compare",
        baits=tuple(baits),
        names=names,
    )


def differences(baits: Sequence[Config]) -> dict[str, tuple[Any, ...]]:
    """Keys outside ``[bait]`` in which baits differ: such differences change the answer too.

    Returns
    -------
    dict
        Dotted key to its value for each bait, in the order of the schema. The speed is left out:
        baits are compared at the same ones.
    """
    flat = [
        {
            key: value
            for table in SURROUNDINGS
            for key, value in _flat(table, getattr(bait, table))
            if key != SPEED
        }
        for bait in baits
    ]
    keys = dict.fromkeys(key for one in flat for key in one)
    rows = {key: tuple(one.get(key) for one in flat) for key in keys}
    return {key: row for key, row in rows.items() if any(value != row[0] for value in row)}


def _flat(name: str, table: Any) -> list[tuple[str, Any]]:
    held: Mapping[str, Any] = {} if table is None else table.model_dump()
    return [(f"{name}.{key}", value) for key, value in held.items()]
