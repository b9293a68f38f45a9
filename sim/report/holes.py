"""A row of trial holes in words and in JSON: what each does, the sweet spot, what would help."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING, Any

import numpy as np
from rich.console import Console, ConsoleOptions, Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from sim.config import config_digest
from sim.report.again import again as run_again
from sim.report.changes import (
    changes_facts,
    changes_parts,
    digits_of,
    place_facts,
    spot_facts,
)
from sim.report.map import KINDS, LETTERS, ORDER, UNSETTLED, cell_kinds, map_facts
from sim.report.text import SHORT_DIGEST, fixed, labelled, made_by, significant, title
from sim.studies.holes import (
    FINER,
    SweetSpot,
    balanced_throughout,
    depth_angle_deg,
    goes_round,
    hole_places,
    nearest,
    own_tie,
    pitch_of,
    sweet_spot,
    sweet_spots,
    told_holes,
    widest_range,
)
from sim.studies.own_place import NEAR_MM
from sim.studies.speeds import own_speed_index

if TYPE_CHECKING:
    from sim.studies.changes import Changes
    from sim.studies.store import MapResult
    from sim.studies.study import Study

ROUND = "*"  # behind the letter of a hole that went round although it does not spin
MARKS = {"spot": "|", "own": ">"}
TOLD = ("wobble_frequency_hz", "yaw_amplitude_deg", "roll_amplitude_deg", "lean_deg")
SPINNING = KINDS.index("spinning")


# ------------------------------------------------------------------------------------------ facts


def kinds_of(result: MapResult) -> np.ndarray:
    """What each hole does at each speed, shape (holes, speeds), index into ``KINDS``."""
    return np.asarray(cell_kinds(result)[..., 0])


def round_on_the_way(result: MapResult) -> np.ndarray:
    """Holes that go round although their class is not spinning, shape (holes, speeds) of bool."""
    return np.asarray(goes_round(result)[..., 0] & (kinds_of(result) != SPINNING))


def worst_over_speeds(result: MapResult) -> np.ndarray:
    """The worst that each hole does at any of the speeds, shape (holes,), index into ``KINDS``."""
    ranks = np.array([ORDER.index(name) for name in KINDS])
    back = np.array([KINDS.index(name) for name in ORDER], dtype=np.int8)
    return np.asarray(back[ranks[kinds_of(result)].max(axis=1)])


def own_hole(result: MapResult) -> int | None:
    """Place in the row of the told hole nearest to the file's own tie point."""
    own = own_tie(result.study.base)
    if own is None:
        return None
    told = told_holes(result.study)
    return int(told[np.abs(result.study.axes[0].values[told] - own.distance_mm).argmin()])


def holes_facts(
    result: MapResult,
    output: str | None = None,
    pictures: Sequence[str] = (),
    changes: Changes | None = None,
) -> dict[str, Any]:
    """A row of holes as a dictionary.

    Parameters
    ----------
    result : MapResult             of a study from :func:`sim.studies.holes.holes_study`
    output : str, optional         file that holds it
    pictures : sequence of str     files that show it
    changes : Changes, optional    what was tried

    Returns
    -------
    dict
        ``name``, ``config``, ``pitch_mm``, ``step_mm`` (from hole to hole as they were run),
        ``speeds_m_s``, ``own_speed_m_s`` (of the file), ``told_speed_m_s`` (the one of the row
        nearest to it), ``runs``, ``seconds``, ``tie`` (the file's own: ``distance_mm`` along the
        path, ``beside_path_mm``, ``in_sweet_spot``, and ``room_mm``: ``up`` to the upper end and
        ``down`` to the lower one, negative outside; None without a sweet spot), ``sweet_spot``
        and ``all_sweet_spots`` (``first_mm``, ``last_mm``, ``length_mm``, ``middle_mm``,
        ``drift_mm``, ``step_mm``, places ``first``, ``last`` and ``middle`` with ``from_nose_mm``
        and ``above_centreline_mm``, ``to_top_of_path``, ``to_tip_of_path``, ``slowest_m_s``,
        ``fastest_m_s``), ``nearest`` (only without a sweet spot: the hole balanced at most speeds)
        and ``widest_range`` (only then: the sweet spot of the widest part of the range that has
        one), ``changes`` (None when none were tried; ``try_changes`` is the command that does),
        ``holes`` (those at the pitch:
        ``distance_mm``, ``from_nose_mm``, ``above_centreline_mm``, ``class`` and ``goes_round`` at
        each speed, ``in_sweet_spot``, ``own_tie``, and ``at_told_speed``: measures,
        ``depth_angle_deg``), ``failures``, ``output``, ``pictures``, ``provenance``.
    """
    study = result.study
    whole = map_facts(result, output=output, pictures=pictures)
    spot = sweet_spot(result)
    speeds = study.axes[1].values
    told_speed = own_speed_index(speeds, study.base.retrieve.speed_m_s)
    near = nearest(result) if spot is None else None
    widest = widest_range(result) if spot is None else None
    kinds = kinds_of(result)
    return {
        "name": whole["bait"],
        "config": whole["config"],
        "pitch_mm": pitch_of(study),
        "step_mm": round(pitch_of(study) / FINER, 9),
        "speeds_m_s": speeds.tolist(),
        "own_speed_m_s": study.base.retrieve.speed_m_s,
        "told_speed_m_s": float(speeds[told_speed]),
        "runs": whole["runs"],
        "seconds": whole["seconds"],
        "tie": _tie_facts(study, spot),
        "sweet_spot": None if spot is None else spot_facts(spot),
        "all_sweet_spots": [spot_facts(other) for other in sweet_spots(result)],
        "nearest": None
        if near is None
        else {
            "distance_mm": near.distance_mm,
            **place_facts(near.at),
            "balanced_speeds": near.balanced,
            "class": [KINDS[k] for k in kinds[near.hole]],
            "goes_round": goes_round(result)[near.hole, :, 0].tolist(),
        },
        "widest_range": None if widest is None else spot_facts(widest),
        "changes": None if changes is None else changes_facts(changes),
        "try_changes": again(study, output),
        "holes": _hole_facts(result, spot, told_speed),
        "failures": whole["failures"],
        "output": output,
        "pictures": list(pictures),
        "provenance": whole["provenance"],
    }


def _tie_facts(study: Study, spot: SweetSpot | None) -> dict[str, Any] | None:
    own = own_tie(study.base)
    if own is None:
        return None
    up, down = (math.nan, math.nan) if spot is None else spot.room_mm(own.distance_mm)
    return {
        "distance_mm": own.distance_mm,
        "beside_path_mm": own.gap_mm,
        "in_sweet_spot": None if spot is None else spot.holds(own.distance_mm),
        "room_mm": None if spot is None else {"up": up, "down": down},
    }


def _hole_facts(result: MapResult, spot: SweetSpot | None, told: int) -> list[dict[str, Any]]:
    study = result.study
    kinds, turned, places = kinds_of(result), goes_round(result)[..., 0], hole_places(study)
    angle = depth_angle_deg(study.base, result.measures["depth_m"][:, told, 0])
    mine = own_hole(result)
    found = []
    for i in told_holes(study).tolist():
        distance = float(study.axes[0].values[i])
        found.append(
            {
                "distance_mm": distance,
                **place_facts((float(places[i, 0]), float(places[i, 1]))),
                "class": [KINDS[k] for k in kinds[i]],
                "goes_round": turned[i].tolist(),
                "in_sweet_spot": spot is not None and _in(spot, distance),
                "own_tie": i == mine,
                "at_told_speed": {
                    **{name: float(result.measures[name][i, told, 0]) for name in TOLD},
                    "depth_m": float(result.measures["depth_m"][i, told, 0]),
                    "depth_angle_deg": float(angle[i]),
                },
            }
        )
    return found


def _in(spot: SweetSpot, distance: float) -> bool:
    return bool(spot.first_mm - 1e-6 <= distance <= spot.last_mm + 1e-6)


# ---------------------------------------------------------------------------------------- in words


def holes_summary(
    result: MapResult,
    changes: Changes | None = None,
    *,
    provenance: bool = False,
    output: str | None = None,
) -> RenderableType:
    """A row of holes in a page: a line for each, the sweet spot, what to change.

    Parameters
    ----------
    result : MapResult             of a study from :func:`sim.studies.holes.holes_study`
    changes : Changes, optional    what was tried; without, how to try it is told
    provenance : bool              tell when and by which versions it was made
    output : str, optional         file that holds it
    """
    study = result.study
    facts = map_facts(result)
    spot = sweet_spot(result)
    parts: list[RenderableType] = [
        title(facts["bait"], f"  trial holes every {pitch_of(study):g} mm along nose and bill"),
        labelled(_head(result, facts)),
        Text(),
        _HoleTable.of(result, spot),
        _legend(result, spot),
        Text(),
        labelled(found_rows(result)),
    ]
    if changes is not None:
        parts += [Text(), *changes_parts(changes, spot is not None)]
    elif provenance:
        what = "What to change is" if spot is None else "What would widen it is"
        parts += [
            Text(),
            labelled([("Changes", f"{what} not kept in the file. To try it again:")]),
            Padding(Text(again(study, output)), (0, 0, 0, 4)),
        ]
    if facts["failures"]:
        rows = []
        for failure in facts["failures"]:
            at = failure["example"]
            text = (
                f"{failure['status']}, as at {at['tie_path_mm']:g} mm, "
                f"{at['retrieve.speed_m_s']:g} m/s: {failure['message']}"
            )
            rows.append((str(failure["runs"]), text))
        parts += [Text(), Text("Failed runs, by cause", style="bold"), labelled(rows)]
    if provenance:
        parts += [Text(), labelled(_origin(result))]
    return Group(*parts)


def _origin(result: MapResult) -> list[tuple[str, RenderableType]]:
    base, made = result.study.base, result.provenance
    rows: list[tuple[str, RenderableType]] = [
        ("Bait", f"{base.source_path or '-'} (sha256 {config_digest(base)[:SHORT_DIGEST]})")
    ]
    return rows + list(made_by(made)) if made else rows


def again(study: Study, output: str | None = None) -> str:
    """The command that runs the same row again and tries changes.

    Parameters
    ----------
    study : Study
    output : str, optional    file that holds it, which is then replaced
    """
    own = ["--try-changes", "--pitch-mm", f"{pitch_of(study):g}"]
    return run_again("holes", study, own, output, ("retrieve.mode",))


def _speed_text(speed: float) -> str:
    return f"{speed:.3g}"


def _head(result: MapResult, facts: dict[str, Any]) -> list[tuple[str, RenderableType]]:
    study = result.study
    speeds, own = study.axes[1].values, study.base.retrieve.speed_m_s
    text = f"{' '.join(map(_speed_text, speeds))} m/s"
    if not speeds[0] <= own <= speeds[-1]:
        text += f"; that of the file, {_speed_text(own)} m/s, lies outside"
    rows: list[tuple[str, RenderableType]] = [("Speeds", text)]
    for i, (key, value) in enumerate(study.fixed.items()):
        rows.append(("Set" if i == 0 else "", f"{key} = {value}"))
    runs = f"{facts['runs']}"
    if facts["seconds"]:
        runs += f" in {significant(facts['seconds'], 3)} s"
    step = pitch_of(study) / FINER
    rows.append(("Runs", f"{runs}, of holes {step:g} mm apart; every fourth is told here"))
    return rows


@dataclass(frozen=True)
class _HoleTable:
    """The holes, a line each; a class at each speed, closer together where there is less room."""

    heads: tuple[tuple[str, str, str], ...]  # of the columns but the classes: two lines and a unit
    rows: list[tuple[list[str], list[str], list[str]]]  # mark and place, classes, measures
    speeds: tuple[str, ...]
    told: str

    @classmethod
    def of(cls, result: MapResult, spot: SweetSpot | None) -> _HoleTable:
        study = result.study
        kinds, turned, places = kinds_of(result), round_on_the_way(result), hole_places(study)
        speeds = study.axes[1].values
        told = own_speed_index(speeds, study.base.retrieve.speed_m_s)
        angle = depth_angle_deg(study.base, result.measures["depth_m"][:, told, 0])
        digits = digits_of(pitch_of(study))
        mine, rows = own_hole(result), []
        for i in told_holes(study).tolist():
            distance = float(study.axes[0].values[i])
            mark = MARKS["spot"] if spot is not None and _in(spot, distance) else " "
            mark += MARKS["own"] if i == mine else " "
            place = [mark, fixed(distance, digits), *(fixed(float(p), 1) for p in places[i])]
            letters = [
                LETTERS[k] + (ROUND if r else "") for k, r in zip(kinds[i], turned[i], strict=True)
            ]
            # a bait that turns over and over has neither wobble nor lean
            kind = int(kinds[i, told])
            turns = kind == SPINNING or (kind >= UNSETTLED and bool(turned[i, told]))
            measures = [
                "-" if turns else fixed(float(result.measures[name][i, told, 0]), d)
                for name, d in zip(TOLD, (2, 1, 1, 1), strict=True)
            ]
            rows.append((place, letters, [*measures, fixed(float(angle[i]), 1)]))
        heads = (
            ("", "", ""), ("", "hole", "mm"), ("from", "nose", "mm"), ("above", "centre", "mm"),
            ("wobble", "", "Hz"), ("yaw", "", "deg"), ("roll", "", "deg"), ("lean", "", "deg"),
            ("depth", "angle", "deg"),
        )  # fmt: skip
        return cls(heads, rows, tuple(map(_speed_text, speeds)), _speed_text(float(speeds[told])))

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> Iterator[Text]:
        # with too little room the speeds are those told above the table, in their order
        wide = max(map(len, self.speeds)) + 1
        for cell, gap in ((wide, 2), (2, 2), (2, 1)):
            lines = self._lines(cell, gap)
            if max(map(len, lines)) <= options.max_width:
                break
        for line in lines:
            yield Text(line, no_wrap=True, overflow="ignore")

    def _lines(self, cell: int, gap: int) -> list[str]:
        """The table with ``cell`` columns for a class, and ``gap`` between two others."""
        widths = [
            max(len(part) for part in (*head, *([*a, *c][n] for a, _, c in self.rows)))
            for n, head in enumerate(self.heads)
        ]
        across, first = cell * len(self.speeds), 4  # columns before the classes
        apart = " " * gap

        def line(before: Sequence[str], middle: str, after: Sequence[str]) -> str:
            left = apart.join(f"{t:>{w}}" for t, w in zip(before, widths[:first], strict=True))
            right = apart.join(f"{t:>{w}}" for t, w in zip(after, widths[first:], strict=True))
            return f"  {left}  {middle:<{across}} {right}".rstrip()

        columns = [[h[n] for h in self.heads] for n in range(3)]
        roomy = cell > 2
        middles = [
            "class at" if roomy else "class",
            "".join(f"{s:<{cell}}" for s in self.speeds) if roomy else "at each",
            "m/s" if roomy else "speed",
        ]
        across = max(across, *map(len, middles))
        before = 5 + sum(widths[:first]) + (first - 1) * gap + across
        lines = [" " * before + f"at {self.told} m/s"]  # above the measures
        lines += [line(columns[n][:first], middles[n], columns[n][first:]) for n in range(3)]
        for place, letters, measures in self.rows:
            lines.append(line(place, "".join(f"{t:<{cell}}" for t in letters), measures))
        return lines


def _legend(result: MapResult, spot: SweetSpot | None) -> RenderableType:
    study = result.study
    told = told_holes(study)
    seen = sorted({int(k) for k in kinds_of(result)[told].ravel()})
    words = ", ".join(f"{LETTERS[k]} {KINDS[k]}" for k in seen)
    lines = [words]
    if round_on_the_way(result)[told].any():
        turns = study.base.limits.spin_turns
        lines.append(
            f"{ROUND} went round on the way ({turns:g} turn{'' if turns == 1.0 else 's'} or more),"
            " whatever it does in the end"
        )
    marks = []
    if spot is not None:
        marks.append(f"{MARKS['spot']} sweet spot")
    if own_hole(result) is not None:
        marks.append(f"{MARKS['own']} nearest to the tie point in the file")
    lines.append(", ".join(marks))
    lines += [
        "hole along the nose and out on the bill, 0 where the bill leaves the body, negative up the"
        " nose; from the nose tip backward, negative ahead of it",
        "lean + to starboard; depth angle: of the line below the horizontal, its sine being depth"
        " of bait and height of rod tip over length of line",
    ]
    return Padding(Text("\n".join(line for line in lines if line), style="dim"), (0, 0, 0, 2))


def place_words(at: tuple[float, float]) -> str:
    """A place on the side of a bait, in words."""
    aft, up = round(at[0], 1), round(at[1], 1)
    along = f"{abs(aft):.1f} mm {'behind' if aft > 0.0 else 'ahead of'} the nose tip"
    height = f"{abs(up):.1f} mm {'above' if up > 0.0 else 'below'} the centreline"
    along = along if aft else "at the nose tip"
    height = height if up else "on the centreline"
    return f"{along}, {height}"


def _speed_range(slowest: float, fastest: float) -> str:
    if slowest == fastest:
        return f"at {_speed_text(slowest)} m/s alone"
    return f"from {_speed_text(slowest)} to {_speed_text(fastest)} m/s"


def _span(spot: SweetSpot, digits: int) -> str:
    """Ends of a sweet spot along the tie path."""
    if spot.length_mm == 0.0:
        return f"one hole, at {fixed(spot.first_mm, digits)} mm"
    return f"{fixed(spot.first_mm, digits)} to {fixed(spot.last_mm, digits)} mm"


def found_rows(result: MapResult) -> list[tuple[str, str]]:
    """Where the sweet spot is, or what comes nearest, as labels and texts."""
    study, spot = result.study, sweet_spot(result)
    digits = digits_of(pitch_of(study) / FINER)
    rough = max(1, digits - 1)
    if spot is None:
        return _none(result, digits) + _own_rows(result, None, digits)
    rows: list[tuple[str, str]] = [
        (
            "Sweet spot",
            f"{_span(spot, digits)} along the path, {fixed(spot.length_mm, digits)} mm long:"
            f" balanced at every speed {_speed_range(spot.slowest_m_s, spot.fastest_m_s)}",
        ),
        ("  upper end", place_words(spot.first_at) + (", the top of the row" if spot.top else "")),
        ("  lower end", place_words(spot.last_at) + (", the end of the row" if spot.tip else "")),
        (
            "  middle",
            f"{fixed(spot.middle_mm, rough)} mm, {place_words(spot.middle_at)}; a hole there may"
            f" drift {fixed(spot.drift_mm, rough)} mm up or down",
        ),
        ("", f"ends are of the outermost good holes, {spot.step_mm:g} mm apart"),
    ]
    others = [other for other in sweet_spots(result) if other != spot]
    if others:
        rows.append(("Others", ", ".join(_span(other, digits) for other in others)))
    return rows + _own_rows(result, spot, digits)


def _own_rows(result: MapResult, spot: SweetSpot | None, digits: int) -> list[tuple[str, str]]:
    study = result.study
    own = own_tie(study.base)
    if own is None:
        return []
    where = f"{fixed(own.distance_mm, 2)} mm"
    if own.gap_mm > NEAR_MM:
        where = f"{fixed(own.gap_mm, 1)} mm beside the path, nearest to {where}"
    if spot is None:
        hole = int(np.abs(study.axes[0].values - own.distance_mm).argmin())
        return [("As in the file", f"{where}: {_elsewhere(result, hole)}")]
    up, down = spot.room_mm(own.distance_mm)
    if spot.holds(own.distance_mm):
        text = (
            f"{where}: in the sweet spot, {fixed(up, digits)} mm to its upper end,"
            f" {fixed(down, digits)} mm to its lower end"
        )
    elif up < 0.0:
        text = f"{where}: {fixed(-up, digits)} mm above the sweet spot. Tie it lower"
    else:
        text = f"{where}: {fixed(-down, digits)} mm below the sweet spot. Tie it higher"
    return [("As in the file", text)]


def _none(result: MapResult, digits: int) -> list[tuple[str, str]]:
    study = result.study
    speeds = study.axes[1].values
    range_ = _speed_range(float(speeds[0]), float(speeds[-1]))
    rows: list[tuple[str, str]] = [
        ("Sweet spot", f"none: no hole is balanced at every speed {range_}")
    ]
    near = nearest(result)
    if near is None:
        rows.append(("Nearest", "none: no hole is balanced at any of these speeds"))
        return rows
    rows.append(
        (
            "Nearest",
            f"{fixed(near.distance_mm, digits)} mm, {place_words(near.at)}:"
            f" {_elsewhere(result, near.hole)}",
        )
    )
    widest = widest_range(result)
    if widest is not None:
        rows.append(
            (
                "Part of it",
                f"{_speed_range(widest.slowest_m_s, widest.fastest_m_s)} the sweet spot would be"
                f" {_span(widest, digits)}, {fixed(widest.length_mm, digits)} mm long",
            )
        )
    return rows


def _elsewhere(result: MapResult, hole: int) -> str:
    """At how many speeds a hole is balanced, and what it does at the others, at which end."""
    speeds = result.study.axes[1].values
    kinds, turned = kinds_of(result)[hole], goes_round(result)[hole, :, 0]
    good = balanced_throughout(result)[hole]
    bad = np.flatnonzero(~good).tolist()

    def what(i: int) -> str:
        name = KINDS[kinds[i]]
        return f"{name}, having gone round" if turned[i] and kinds[i] != SPINNING else name

    texts = [f"balanced at {int(good.sum()) or 'none'} of {speeds.size} speeds"]
    # unbroken parts of the row in which it does the same
    for _, part in groupby(enumerate(bad), key=lambda p: (p[1] - p[0], what(p[1]))):
        places = [i for _, i in part]
        first, last = float(speeds[places[0]]), float(speeds[places[-1]])
        where = f"at {_speed_text(first)} m/s"
        if first != last:
            where = f"from {_speed_text(first)} to {_speed_text(last)} m/s"
        if len(places) < speeds.size:
            where += " (the slow end)" if places[0] == 0 else ""
            where += " (the fast end)" if places[-1] == speeds.size - 1 else ""
        texts.append(f"{what(places[0])} {where}")
    return ", ".join(texts)


__all__ = [
    "again",
    "found_rows",
    "holes_facts",
    "holes_summary",
    "kinds_of",
    "own_hole",
    "place_words",
    "round_on_the_way",
    "worst_over_speeds",
]
