"""Baits side by side, in words and in JSON."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from sim.bait.assembly import assemble
from sim.classify import goes_round
from sim.config import config_digest
from sim.errors import RuntrueError
from sim.report.map import KINDS, LETTERS, UNSETTLED, cell_kinds, map_facts, run_count
from sim.report.text import SHORT_DIGEST, config_document, fixed, labelled, made_by, note, title
from sim.studies.roster import Roster, differences

if TYPE_CHECKING:
    from sim.config.models import Config
    from sim.studies.store import MapResult

ROUND = "*"  # went round on the way
SHOWN = 5  # keys told that differ
LONGEST_NAME = 40  # characters of a name that a table and a picture have room for
PACKED = 9  # speeds beyond which letters stand without a column each


@dataclass(frozen=True)
class Column:
    """A measure told at the bait's own speed.

    Attributes
    ----------
    key, head : str
    digits : int     decimals
    scale : float    what is told for each unit of the measure
    steady : bool    means nothing of a bait that turns over and over
    """

    key: str
    head: str
    digits: int
    scale: float = 1.0
    steady: bool = True

    def of(self, one: Mapping[str, Any]) -> float:
        """Its value as told, of measures or of their differences; NaN where it means nothing."""
        return self.scale * float(one[self.key])


COLUMNS = (
    Column("wobble_frequency_hz", "wobble\nHz", 2),
    Column("yaw_amplitude_deg", "yaw\ndeg", 1),
    Column("roll_amplitude_deg", "roll\ndeg", 1),
    Column("lean_deg", "lean\ndeg", 1),
    Column("pitch_deg", "pitch\ndeg", 1),
    Column("depth_m", "depth\nm", 2, steady=False),
    Column("line_tension_n", "pull\nN", 2, steady=False),
    Column("tail_sweep_mm", "tail sweep\nmm", 1),
    Column("side_drift_m_per_m", "drift\nmm/m", 0, 1e3, steady=False),
)
# Measures of a wobble, or of a lean, which a bait that turns over and over has not.
STEADY = (
    *(column.key for column in COLUMNS if column.steady), "pitch_amplitude_deg", "nose_sweep_mm",
)  # fmt: skip


def told_name(name: str) -> str:
    """A name, cut where it is too long for a table or a picture."""
    return name if len(name) <= LONGEST_NAME else f"{name[: LONGEST_NAME - 4].rstrip()} ..."


def own_place(study: Roster, row: int) -> int:
    """Place of a bait's own speed among the speeds."""
    speeds = np.asarray(study.axes[1].values)
    return int(np.abs(speeds - study.baits[row].retrieve.speed_m_s).argmin())


def weights(config: Config) -> tuple[float, float]:
    """Mass and reserve buoyancy [g]; NaN for a bait that cannot be put together."""
    try:
        bait = assemble(config)
    except RuntrueError:
        return math.nan, math.nan
    mass = 1e3 * bait.mass
    return mass, 1e3 * bait.water.density * bait.volume - mass


def went_round(result: MapResult) -> np.ndarray:
    """Runs that went round although their class is not spinning, shape (baits, speeds)."""
    study = roster_of(result)
    limits = np.array([bait.limits.spin_turns for bait in study.baits])
    turns = result.measures["most_turns"][..., 0]
    round_ = goes_round(result.motion_class[..., 0], turns, limits[:, None])
    return np.asarray(round_ & (cell_kinds(result)[..., 0] != KINDS.index("spinning")))


def turns_over(result: MapResult) -> np.ndarray:
    """Baits that turn over and over at their own speed, shape (baits,): they wobble in no way.

    Those that went round on the way and swim again do not.
    """
    study, kinds = roster_of(result), cell_kinds(result)[..., 0]
    rows = range(len(study.baits))
    cells = (np.array(rows), np.array([own_place(study, row) for row in rows]))
    own, turned = kinds[cells], went_round(result)[cells]
    return np.asarray((own == KINDS.index("spinning")) | ((own >= UNSETTLED) & turned))


def roster_of(result: MapResult) -> Roster:
    """The study of a comparison; TypeError for another one."""
    if not isinstance(result.study, Roster):
        raise TypeError(f"a study of kind {result.study.kind!r} compares no baits")
    return result.study


def compare_facts(
    result: MapResult, output: str | None = None, pictures: Sequence[str] = ()
) -> dict[str, Any]:
    """A comparison as a dictionary.

    Parameters
    ----------
    result : MapResult           of a :class:`sim.studies.roster.Roster`
    output : str, optional       file that holds it
    pictures : sequence of str   files that show it

    Returns
    -------
    dict
        ``name``, ``speeds_m_s``, ``baits`` (a list of ``name``, ``config``, ``mass_g``,
        ``reserve_buoyancy_g``, ``classes`` and ``went_round`` at each speed, ``own_speed_m_s``,
        ``turns_over`` (whether it turns over and over there), ``measures`` there, units at the end
        of the keys, and ``less_the_first``: the same, and ``mass_g`` and ``reserve_buoyancy_g``,
        less those of the first bait, None for that itself; without the measures of a wobble where
        one of the two turns over and over),
        ``differ`` (key outside [bait] to its value for each bait), ``own_speeds_differ``, ``runs``,
        ``failures``, ``output``, ``pictures``, ``provenance``.
    """
    study = roster_of(result)
    kinds, round_ = cell_kinds(result)[..., 0], went_round(result)
    turning = turns_over(result)
    rows: list[dict[str, Any]] = []
    for row, (name, bait) in enumerate(zip(study.names, study.baits, strict=True)):
        mass, reserve = weights(bait)
        at = own_place(study, row)
        rows.append(
            {
                "name": name,
                "config": config_document(bait),
                "mass_g": mass,
                "reserve_buoyancy_g": reserve,
                "classes": [KINDS[kind] for kind in kinds[row]],
                "went_round": round_[row].tolist(),
                "own_speed_m_s": bait.retrieve.speed_m_s,
                "turns_over": bool(turning[row]),
                "measures": {
                    key: float(values[row, at, 0]) for key, values in result.measures.items()
                },
            }
        )
    for one in rows:
        one["less_the_first"] = None if one is rows[0] else _difference(one, rows[0])
    return {
        "name": study.name,
        "speeds_m_s": study.axes[1].values,
        "baits": rows,
        "differ": {key: list(values) for key, values in differences(study.baits).items()},
        "own_speeds_differ": len({bait.retrieve.speed_m_s for bait in study.baits}) > 1,
        "runs": run_count(result),
        "failures": map_facts(result)["failures"],
        "output": output,
        "pictures": list(pictures),
        "provenance": dict(result.provenance),
    }


def _difference(one: dict[str, Any], first: dict[str, Any]) -> dict[str, float]:
    found = {key: one[key] - first[key] for key in ("mass_g", "reserve_buoyancy_g")}
    turns = one["turns_over"] or first["turns_over"]
    return found | {
        key: math.nan if turns and key in STEADY else v - first["measures"][key]
        for key, v in one["measures"].items()
    }


# ------------------------------------------------------------------------------------------- words


def compare_summary(result: MapResult, *, provenance: bool = False) -> RenderableType:
    """A comparison in a page: what each bait weighs and does, and what sets it off from the first.

    Parameters
    ----------
    result : MapResult    of a :class:`sim.studies.roster.Roster`
    provenance : bool     tell when and by which versions it was made
    """
    study = roster_of(result)
    facts = compare_facts(result)
    parts: list[RenderableType] = [
        title(f"{len(study.baits)} baits", "  side by side"),
        _classes(study, facts),
    ]
    parts += [note(text) for text in _notes(facts)]
    parts += [Text(), Text("At the own speed of each", style="bold"), _measures(facts)]
    texts = ["second line: less the first bait"] if any(map(_sets_off, facts["baits"])) else []
    texts.append("lean and drift to starboard and nose up positive")
    parts.append(note("; ".join(texts)))
    warnings = _warnings(facts)
    if warnings:
        parts += [Text(), Text("Not alike in what is around them", style="bold")]
        parts.append(labelled(warnings))
    if facts["failures"]:
        parts += [Text(), Text("Failed runs, by cause", style="bold")]
        parts.append(labelled([_failure(study, f) for f in facts["failures"]]))
    parts += [Text(), labelled(_origin(study, result, provenance))]
    return Group(*parts)


def _classes(study: Roster, facts: dict[str, Any]) -> RenderableType:
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False)
    table.add_column("bait", overflow="fold")
    table.add_column("mass\ng", justify="right", no_wrap=True)
    table.add_column("reserve\ng", justify="right", no_wrap=True)
    speeds = [f"{v:.3g}" for v in facts["speeds_m_s"]]
    packed = len(speeds) > PACKED
    if packed:
        table.add_column(f"class at {speeds[0]} to\n{speeds[-1]} m/s")
    heads = ["class at", "m/s", *[""] * len(speeds)]
    for head, speed in zip(heads, () if packed else speeds, strict=False):
        table.add_column(f"{head}\n{speed}", no_wrap=True)
    for one in facts["baits"]:
        letters = [
            LETTERS[KINDS.index(word)] + (ROUND if round_ else "")
            for word, round_ in zip(one["classes"], one["went_round"], strict=True)
        ]
        cells = ["".join(letter.ljust(2) for letter in letters).rstrip()] if packed else letters
        reserve = _signed(one["reserve_buoyancy_g"], 2)
        table.add_row(told_name(one["name"]), fixed(one["mass_g"], 2), reserve, *cells)
    return Padding(table, (0, 0, 0, 2))


def _notes(facts: dict[str, Any]) -> list[str]:
    words = list(dict.fromkeys(word for one in facts["baits"] for word in one["classes"]))
    seen = sorted(map(KINDS.index, words))
    texts = [", ".join(f"{LETTERS[kind]} {KINDS[kind]}" for kind in seen)]
    if any(any(one["went_round"]) for one in facts["baits"]):
        texts[0] += f", {ROUND} went round on the way"
    if len(facts["speeds_m_s"]) > PACKED:
        texts.append("speeds " + ", ".join(f"{v:.3g}" for v in facts["speeds_m_s"]) + " m/s")
    return texts


def _measures(facts: dict[str, Any]) -> RenderableType:
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False)
    table.add_column("bait", overflow="fold")
    table.add_column("speed\nm/s", justify="right", no_wrap=True)
    for column in COLUMNS:
        table.add_column(column.head, justify="right", no_wrap=True)
    for one in facts["baits"]:
        table.add_row(
            told_name(one["name"]),
            f"{one['own_speed_m_s']:.3g}",
            *(
                "-" if c.steady and one["turns_over"] else fixed(c.of(one["measures"]), c.digits)
                for c in COLUMNS
            ),
        )
        if _sets_off(one):
            less = one["less_the_first"]
            table.add_row("", "", *(_signed(c.of(less), c.digits) for c in COLUMNS), style="dim")
    return Padding(table, (0, 0, 0, 2))


def _sets_off(one: Mapping[str, Any]) -> bool:
    """Whether there is anything to tell that sets a bait off from the first."""
    less = one["less_the_first"]
    return less is not None and any(math.isfinite(c.of(less)) for c in COLUMNS)


def _signed(value: float, digits: int) -> str:
    text = fixed(value, digits)
    return f"+{text}" if text != "-" and float(text) > 0.0 else text


def _warnings(facts: dict[str, Any]) -> list[tuple[str, RenderableType]]:
    """Keys outside the bait that differ: part of what is told comes from them."""
    rows: list[tuple[str, RenderableType]] = []
    differ = facts["differ"]
    for key, values in list(differ.items())[:SHOWN]:
        told = ["left out" if v is None else str(v) for v in values]
        rows.append((key, ", ".join(told)))
    if len(differ) > SHOWN:
        rows.append(("", f"and {len(differ) - SHOWN} keys more, see --json"))
    if facts["own_speeds_differ"]:
        told = [f"{one['own_speed_m_s']:g}" for one in facts["baits"]]
        rows.append(("retrieve.speed_m_s", ", ".join(told) + ": measures are not at one speed"))
    return rows


def _failure(study: Roster, failure: dict[str, Any]) -> tuple[str, RenderableType]:
    bait = study.names[int(failure["example"][study.axes[0].key]) - 1]
    at = f"{bait} at {failure['example'][study.axes[1].key]:.3g} m/s"
    return (str(failure["runs"]), f"{failure['status']}, as {at}: {failure['message']}")


def _origin(study: Roster, result: MapResult, provenance: bool) -> list[tuple[str, RenderableType]]:
    rows: list[tuple[str, RenderableType]] = []
    for name, bait in zip(study.names, study.baits, strict=True):
        text = f"{bait.source_path or '-'} (sha256 {config_digest(bait)[:SHORT_DIGEST]})"
        set_ = ", ".join(f"{key} = {value}" for key, value in bait.overrides.items())
        rows.append((told_name(name), text + (f", {set_}" if set_ else "")))
    return rows + list(made_by(result.provenance)) if provenance else rows
