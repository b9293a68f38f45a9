"""A map in words and in JSON, and what its cells come to."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text
from scipy.ndimage import distance_transform_edt

from sim.config import config_digest
from sim.report.text import (
    SHORT_DIGEST,
    config_document,
    labelled,
    made_by,
    name_of,
    significant,
    title,
)
from sim.studies.causes import causes
from sim.studies.engine import CLASSES, STATUSES
from sim.studies.engine import FAILED as FAILED_STATUSES

if TYPE_CHECKING:
    from sim.studies.kinds import AnyStudy
    from sim.studies.risk import RiskResult
    from sim.studies.store import MapResult
    from sim.studies.study import Axis

# What a cell comes to: one of the classes by its code, or one of these.
UNSETTLED, FAILED, MISSING = 4, 5, 6
KINDS = (*CLASSES, "not settled", "failed", "missing")
LETTERS = ("t", "B", "O", "S", "?", "x", "-")  # of KINDS, those of the pictures
# From good to bad. What is not known is no worse than a class known to be bad, and no better than
# one known to be good.
_UNSETTLED = (STATUSES.index("not settled"), STATUSES.index("line in"))
ORDER = ("balanced", "tight", "missing", "not settled", "failed", "over-rolling", "spinning")
GOOD = ("balanced", "tight")
BALANCED = CLASSES.index("balanced")
ROWS = 5  # values of the second axis at which balanced stretches are told


def cell_kinds(result: MapResult) -> np.ndarray:
    """What each cell came to from each start.

    Returns
    -------
    ndarray of int8, shape (*shape, starts)    index into ``KINDS``
    """
    status, kind = result.status, result.motion_class
    found = np.where(kind >= 0, kind, UNSETTLED).astype(np.int8)
    for name in FAILED_STATUSES:
        found[status == STATUSES.index(name)] = FAILED
    found[(status == STATUSES.index("not run")) & (kind < 0)] = MISSING
    run = status != STATUSES.index("not run")
    for start in range(found.shape[-1]):
        # filled in among cells without a class: as the nearest of them that was run
        open_ = result.inferred & (found[..., start] == MISSING)
        if open_.any() and run[..., start].any():
            near = distance_transform_edt(
                ~run[..., start], return_distances=False, return_indices=True
            )
            found[..., start][open_] = found[..., start][tuple(near)][open_]
    return found


def worst_kinds(result: MapResult) -> np.ndarray:
    """The worst of what each cell came to from all starts, shape (*shape), index into ``KINDS``."""
    ranks = np.array([ORDER.index(name) for name in KINDS])
    back = np.array([KINDS.index(name) for name in ORDER], dtype=np.int8)
    return np.asarray(back[ranks[cell_kinds(result)].max(axis=-1)])


def dependent(result: MapResult) -> np.ndarray:
    """Cells whose class depends on the start, shape (*shape); a start without a class is none."""
    kind = result.motion_class
    known = kind >= 0
    high = np.where(known, kind, -1).max(axis=-1)
    low = np.where(known, kind, len(CLASSES)).min(axis=-1)
    return np.asarray(known.any(axis=-1) & (high != low))


def good_or_bad(result: MapResult) -> np.ndarray:
    """Cells tight or balanced from one start, over-rolling or spinning from another; (*shape)."""
    kind = result.motion_class
    good = np.isin(kind, [CLASSES.index(name) for name in GOOD])
    return np.asarray(good.any(axis=-1) & ((kind >= 0) & ~good).any(axis=-1))


def short_unit(unit: str) -> str:
    """Unit of an axis or a measure as it stands behind a number; "" for a number without one."""
    return {"degrees": "deg", "1": ""}.get(unit, unit)


def place_text(axis: Axis, value: float, unit: bool = True) -> str:
    """A value of an axis, such as "-9.5 mm": decimals to a hundredth of the axis's least step."""
    return _with_unit(f"{value:.{_digits(axis)}f}", axis, unit)


def own_text(axis: Axis, value: float) -> str:
    """A value of the axis's key that need be none of its own; "-" for NaN."""
    if not math.isfinite(value):
        return "-"
    text = f"{value:.{_digits(axis) + 1}f}"
    return _with_unit(text.rstrip("0").rstrip(".") if "." in text else text, axis, True)


def _digits(axis: Axis) -> int:
    values = np.asarray(axis.values, dtype=float)
    step = float(np.diff(values).min(initial=math.inf))
    most = max(np.abs(values).max(), 1e-300)
    allowed = 0.01 * step if math.isfinite(step) else 1e-3 * most
    digits = 0
    while digits < 9 and np.abs(np.round(values, digits) - values).max() > allowed:
        digits += 1
    return digits


def _with_unit(number: str, axis: Axis, unit: bool) -> str:
    if float(number) == 0.0:
        number = number.lstrip("-")
    return f"{number} {short_unit(axis.unit)}".rstrip() if unit else number


def stretches(axis: Axis, inside: np.ndarray) -> list[tuple[float, float]]:
    """First and last value of every unbroken row of cells.

    Parameters
    ----------
    axis : Axis
    inside : ndarray of bool, shape (n,)    cells meant, along the axis
    """
    padded = np.concatenate([[False], inside, [False]]).astype(np.int8)
    first, last = np.flatnonzero(np.diff(padded) == 1), np.flatnonzero(np.diff(padded) == -1) - 1
    values = axis.values
    return [(float(values[a]), float(values[b])) for a, b in zip(first, last, strict=True)]


def _balanced(result: MapResult) -> list[dict[str, Any]]:
    """Stretches along the first axis balanced from every start, at some values of the second."""
    axes = result.study.axes
    inside = worst_kinds(result) == BALANCED
    if len(axes) == 1:
        return [{"at": None, "stretches": [list(s) for s in stretches(axes[0], inside)]}]
    across = np.asarray(axes[1].values, dtype=float)
    rows = {int(i) for i in np.linspace(0, across.size - 1, min(ROWS, across.size)).round()}
    own = result.shipped[1]
    if math.isfinite(own) and across.min() <= own <= across.max():
        rows.add(int(np.abs(across - own).argmin()))
    return [
        {
            "at": float(across[j]),
            "stretches": [list(s) for s in stretches(axes[0], inside[:, j])],
        }
        for j in sorted(rows)
    ]


def _counts(kinds: np.ndarray) -> dict[str, dict[str, float]]:
    total = kinds.size
    return {
        name: {"cells": int((kinds == k).sum()), "share": float((kinds == k).sum() / total)}
        for k, name in enumerate(KINDS)
    }


def _example(result: MapResult, at: Sequence[int]) -> dict[str, Any]:
    axes = result.study.axes
    place: dict[str, Any] = {a.key: float(a.values[i]) for a, i in zip(axes, at[:-1], strict=True)}
    return place | {"start": result.starts[at[-1]]}


def _failures(result: MapResult) -> list[dict[str, Any]]:
    """Failed runs by cause, the most frequent first."""
    found = []
    for cause in causes(result.status, result.message):
        place = tuple(int(i) for i in np.unravel_index(cause.case, result.status.shape))
        found.append(
            {
                "status": cause.status,
                "runs": cause.runs,
                "message": cause.message,
                "example": _example(result, place),
            }
        )
    return found


def _nearest(axis: Axis, value: float) -> int | None:
    """Index of the cell that a value lies in, None off the axis."""
    values = np.asarray(axis.values, dtype=float)
    at = int(np.abs(values - value).argmin()) if math.isfinite(value) else -1
    if at < 0:
        return None
    half = 0.5 * np.abs(np.diff(values)).max(initial=0.0) + 1e-9 * abs(value)
    return at if abs(values[at] - value) <= half else None


def _shipped(result: MapResult) -> dict[str, Any] | None:
    """The base configuration's own cell and what it comes to; None where it is not on the map."""
    axes = result.study.axes
    at = [_nearest(a, v) for a, v in zip(axes, result.shipped, strict=True)]
    cell = tuple(i for i in at if i is not None)
    if len(cell) < len(axes):
        return None
    kinds = cell_kinds(result)[cell]
    return {
        "place": {a.key: float(v) for a, v in zip(axes, result.shipped, strict=True)},
        "cell": {a.key: float(a.values[i]) for a, i in zip(axes, cell, strict=True)},
        "from_start": {s: KINDS[k] for s, k in zip(result.starts, kinds, strict=True)},
    }


def seconds_of(result: MapResult | RiskResult) -> float | None:
    made = result.provenance
    try:
        return float(made["wall_time_s"]) if made.get("runs_taken_over", "0") == "0" else None
    except (KeyError, ValueError):
        return None


def run_count(result: MapResult) -> int:
    """Runs that were made, cells filled in without one left out."""
    return int((result.status != STATUSES.index("not run")).sum())


def map_facts(
    result: MapResult,
    seconds: float | None = None,
    output: str | None = None,
    pictures: Sequence[str] = (),
) -> dict[str, Any]:
    """A map as a dictionary, without its cells.

    Parameters
    ----------
    result : MapResult
    seconds : float, optional          wall time that its runs took; left out, as the provenance
                                       tells, unless runs of an earlier call were taken over
    output : str, optional             file that holds it
    pictures : sequence of str         files that show it

    Returns
    -------
    dict
        ``name`` of the study, ``bait``, ``config`` (``source``, ``digest``, ``overrides``),
        ``axes`` (``key``, ``label``, ``unit``, ``first``, ``last``, ``points``), ``complete``,
        ``cells``, ``inferred_cells``, ``runs``, ``seconds`` and ``runs_per_s`` (None where not
        known), ``stopped_early`` (``runs``, ``share`` of the runs), ``starts`` (a list of ``name``
        and, for each of ``KINDS``, ``cells`` and ``share`` of all cells), ``worst_of_starts``
        (the same), ``depends_on_start`` (``cells``, ``good_or_bad``: tight or balanced from one
        start, over-rolling or spinning from another), ``not_settled_runs``, ``line_in_runs`` (of
        these, those whose line was in before), ``failures`` (a list of ``status``, ``runs``,
        ``message`` and ``example`` of each cause), ``shipped`` (``place``, the ``cell`` it lies
        in and what that came to ``from_start``, or None), ``balanced`` (a list of ``at``, a value
        of the second axis, and the ``stretches`` of the first balanced from every start there:
        first and last cell), ``output``, ``pictures``, ``provenance``.
    """
    study = result.study
    kinds = cell_kinds(result)
    runs = run_count(result)
    early = int(np.asarray(result.early).sum())
    cells = int(np.prod(study.shape))
    seconds = seconds_of(result) if seconds is None else seconds
    rate = runs / seconds if seconds else None
    return {
        "name": study.name,
        "bait": name_of(study.base),
        "config": config_document(study.base),
        "axes": [
            {
                "key": a.key,
                "label": a.label,
                "unit": a.unit,
                "first": float(a.values[0]),
                "last": float(a.values[-1]),
                "points": len(a.values),
            }
            for a in study.axes
        ],
        "complete": bool(result.complete),
        "cells": cells,
        "inferred_cells": int(result.inferred.sum()),
        "runs": runs,
        "seconds": seconds,
        "runs_per_s": rate,
        "stopped_early": {"runs": early, "share": early / runs if runs else 0.0},
        "starts": [
            {"name": name, **_counts(kinds[..., s])} for s, name in enumerate(result.starts)
        ],
        "worst_of_starts": _counts(worst_kinds(result)),
        "depends_on_start": {
            "cells": int(dependent(result).sum()),
            "good_or_bad": int(good_or_bad(result).sum()),
        },
        "not_settled_runs": int(np.isin(result.status, _UNSETTLED).sum()),
        "line_in_runs": int((result.status == STATUSES.index("line in")).sum()),
        "failures": _failures(result),
        "shipped": _shipped(result),
        "balanced": _balanced(result),
        "output": output,
        "pictures": list(pictures),
        "provenance": dict(result.provenance),
    }


def percent(share: float) -> str:
    """A share in whole per cent; what is neither nothing nor all is not told as such."""
    if 0.0 < share < 0.01:
        return "<1 %"
    if 0.99 < share < 1.0:
        return ">99 %"
    return f"{100.0 * share:.0f} %"


def map_summary(
    result: MapResult, seconds: float | None = None, *, provenance: bool = False
) -> RenderableType:
    """A map in a page: what was swept, what the cells came to, where the bait is balanced.

    Parameters
    ----------
    result : MapResult
    seconds : float, optional    as for :func:`map_facts`
    provenance : bool            tell when and by which versions it was made
    """
    facts = map_facts(result, seconds)
    axes = result.study.axes
    over = " and ".join(a.label for a in axes)
    parts: list[RenderableType] = [
        title(facts["bait"], f"  map over {over}"),
        labelled(_swept(result, facts)),
        Text(),
        _table(result, facts),
        Text(),
        labelled(_findings(result, facts)),
    ]
    if facts["failures"]:
        parts += [Text(), Text("Failed runs, by cause", style="bold")]
        parts.append(labelled([_failure(result, f) for f in facts["failures"]]))
    if provenance:
        parts += [
            Text(),
            labelled(
                study_origin(result.study, result.study.source_path or "-", result.provenance)
            ),
        ]
    return Group(*parts)


def _swept(result: MapResult, facts: dict[str, Any]) -> list[tuple[str, RenderableType]]:
    rows: list[tuple[str, RenderableType]] = []
    for i, axis in enumerate(result.study.axes):
        first = place_text(axis, float(axis.values[0]), unit=False)
        last = place_text(axis, float(axis.values[-1]))
        text = f"{axis.label}, {first} to {last} in {len(axis.values)} values"
        rows.append(("Swept" if i == 0 else "", text))
    for i, (key, value) in enumerate(result.study.fixed.items()):
        rows.append(("Set" if i == 0 else "", f"{key} = {value}"))
    if len(result.starts) > 1:
        rows.append(("Starts", ", ".join(result.starts)))
    runs = f"{facts['runs']}"
    if facts["runs_per_s"]:
        took = significant(facts["seconds"], 3)
        runs += f" in {took} s, {significant(facts['runs_per_s'], 3)} a second"
    early = facts["stopped_early"]
    if early["runs"]:
        runs += f"; {percent(early['share'])} stopped early, once settled"
    rows.append(("Runs", runs))
    filled = facts["inferred_cells"]
    if filled:
        share = percent(filled / facts["cells"])
        text = f"{filled} of {facts['cells']} cells ({share}) without a run, its neighbours alike"
        rows.append(("Filled in", text))
    if not facts["complete"]:
        missing = sum(s["missing"]["cells"] for s in facts["starts"])
        rows.append(("Not complete", f"{missing} runs are missing"))
    return rows


def _table(result: MapResult, facts: dict[str, Any]) -> RenderableType:
    """Cells and shares of each class; with several starts one column each, and the worst."""
    columns = [(name, facts["starts"][s]) for s, name in enumerate(result.starts)]
    if len(columns) > 1:
        columns.append(("worst", facts["worst_of_starts"]))
    else:
        columns = [("", columns[0][1])]
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False)
    table.add_column("class")
    for name, _ in columns:
        table.add_column(f"{name}\ncells" if name else "cells", justify="right")
        table.add_column("\nshare" if name else "share", justify="right")
    for kind in KINDS:
        if kind not in CLASSES and not any(c[kind]["cells"] for _, c in columns):
            continue
        numbers = []
        for _, counts in columns:
            numbers += [str(counts[kind]["cells"]), percent(counts[kind]["share"])]
        table.add_row(kind, *numbers)
    return Padding(table, (0, 0, 0, 2))


def _stretch(axis: Axis, first: float, last: float) -> str:
    if first == last:
        return f"at {place_text(axis, first)} only"
    signed = float(np.min(axis.values)) < 0.0 < float(np.max(axis.values))
    a, b = place_text(axis, first, unit=False), place_text(axis, last)
    if signed:
        a, b = ("+" + a if first > 0.0 else a), ("+" + b if last > 0.0 else b)
    low, high = float(axis.values[0]), float(axis.values[-1])
    if (first, last) == (low, high):
        return f"from edge to edge, {a} to {b}"
    edge = "the edge at "
    return f"from {edge if first == low else ''}{a} to {edge if last == high else ''}{b}"


def _findings(result: MapResult, facts: dict[str, Any]) -> list[tuple[str, RenderableType]]:
    axes = result.study.axes
    rows: list[tuple[str, RenderableType]] = []
    label = "Balanced" + (" from every start" if len(result.starts) > 1 else "")
    for i, row in enumerate(facts["balanced"]):
        where = " and ".join(_stretch(axes[0], a, b) for a, b in row["stretches"]) or "nowhere"
        if row["at"] is not None:
            where = f"at {place_text(axes[1], row['at'])} {where}"
        rows.append((label if i == 0 else "", where))
    shipped = facts["shipped"]
    if shipped is not None:
        where = ", ".join(own_text(a, shipped["place"][a.key]) for a in axes)
        kinds = shipped["from_start"]
        same = set(kinds.values())
        what = (
            next(iter(same)) if len(same) == 1 else ", ".join(f"{k} {v}" for k, v in kinds.items())
        )
        rows.append(("As in the file", f"{where}: {what}"))
    if len(result.starts) > 1:
        cells = facts["depends_on_start"]["cells"]
        text = f"the class of {cells} of {facts['cells']} cells depends on the start"
        if cells:
            both = facts["depends_on_start"]["good_or_bad"]
            text += f"; {both or 'none'} of them tight or balanced from one start and over-rolling"
            text += " or spinning from another"
        rows.append(("Start", text))
    unsettled = facts["not_settled_runs"]
    if unsettled:
        text = f"{unsettled} of {facts['runs']} runs"
        if facts["line_in_runs"]:
            text += f", {facts['line_in_runs']} of them because the line was in"
        rows.append(("Not settled", text))
    return rows


def _failure(result: MapResult, failure: dict[str, Any]) -> tuple[str, RenderableType]:
    example = failure["example"]
    at = ", ".join(place_text(a, example[a.key]) for a in result.study.axes)
    if len(result.starts) > 1:
        at += f", start {example['start']}"
    return (str(failure["runs"]), f"{failure['status']}, as at {at}: {failure['message']}")


def study_origin(
    study: AnyStudy, name: str, made: Mapping[str, str]
) -> list[tuple[str, RenderableType]]:
    """Rows that tell a study, its bait and, where that is known, how it was made."""
    digest = config_digest(study.base)[:SHORT_DIGEST]
    rows: list[tuple[str, RenderableType]] = [
        ("Study", f"{name} (sha256 {study.study_digest[:SHORT_DIGEST]})"),
        ("Bait", f"{study.base.source_path or '-'} (sha256 {digest})"),
    ]
    if not made:
        return rows
    rows += made_by(made)
    if "calculated_by" in made:
        rows.append(("", f"calculated by {made['calculated_by']}"))
    return rows
