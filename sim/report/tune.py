"""Tuning the eye, in words and in JSON."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from sim.config import config_digest
from sim.report.again import again as run_again
from sim.report.map import map_facts, run_count
from sim.report.text import (
    SHORT_DIGEST,
    config_document,
    fixed,
    labelled,
    made_by,
    name_of,
    note,
    significant,
    title,
)
from sim.studies.engine import CLASSES
from sim.studies.speeds import drift_time_s, not_full
from sim.studies.tune import Righted, Swims, Tuning, asymmetries, knot_shift, tuning

if TYPE_CHECKING:
    from sim.config.models import Config
    from sim.studies.store import MapResult
    from sim.studies.study import Study

SIDES = ("to starboard", "to port")
WENT_ROUND = "*"
ONLY_JUST = 0.9  # of a limit left, from which a bait keeps within it only just
LONGEST_S = 600.0  # as solver.max_duration_s


def side(value: float) -> str:
    """ "to starboard" or "to port"; "" for nothing to tell."""
    return SIDES[0] if value > 0.0 else SIDES[1] if value < 0.0 else ""


def degrees(value: float) -> str:
    """An angle without decimals that say nothing: 2.5 deg, 3 deg."""
    return f"{round(value, 2):g} deg"


def class_word(swims: Swims, m: int) -> str:
    """Class of one run, with a star where it went round on the way only."""
    code = int(swims.motion_class[m])
    if swims.failed[m]:
        return "failed"
    if code == CLASSES.index("spinning"):
        return "spinning"
    word = CLASSES[code] if code >= 0 else "not settled"
    return word + (WENT_ROUND if swims.round_[m] else "")


def runs_to(found: Tuning) -> float:
    """Drift of the bait as it is at the speed where it runs off most [deg]; NaN when unknown."""
    before = found.before
    if not before.measured.any():
        return math.nan
    drift = np.where(before.measured, before.drift, 0.0)
    return float(drift[np.abs(drift).argmax()])


def again(study: Study, output: str | None = None) -> str:
    """The command that tunes the same bait again, and puts right what is off to one side.

    Parameters
    ----------
    study : Study
    output : str, optional    file that holds it, which is then replaced
    """
    config, by_itself = study.base, ["retrieve.mode"]
    needed = min(drift_time_s(config, study.axes[1].values[0]), config.solver.max_duration_s)
    if config.solver.duration_s == needed:
        by_itself.append("solver.duration_s")
    return run_again("tune", study, (), output, by_itself)


def tune_facts(
    result: MapResult,
    output: str | None = None,
    pictures: Sequence[str] = (),
    righted: Sequence[Righted] | None = None,
) -> dict[str, Any]:
    """Tuning as a dictionary.

    Parameters
    ----------
    result : MapResult           of a study of kind "tune"
    output : str, optional       file that holds it
    pictures : sequence of str   files that show it
    righted : sequence of Righted, optional
                                 what :func:`sim.studies.tune.put_right` found; it is in no file

    Returns
    -------
    dict
        ``name`` of the study, ``bait``, ``config``, ``eye_mm``, ``speeds_m_s``, ``limits``
        (``run_off_deg``, ``lean_deg``), ``bends_deg`` (``first``, ``last``, ``count``),
        ``verdict`` ("runs true", "bend", "leave" or "not cured"), ``bend_deg`` (to starboard
        positive), ``knot_right_mm`` and ``knot_back_mm`` (how far the knot moves), ``tie``
        (``from_nose_mm`` and ``right_mm`` after), ``optimum_deg`` (interpolated), ``window`` (None,
        or ``low_deg``, ``high_deg``, ``low_mm``, ``high_mm``, ``low_open``, ``high_open``),
        ``before`` and ``after`` (at each speed: ``speed_m_s``, ``drift_deg``,
        ``drift_mm_per_m``, ``lean_deg``, ``motion_class``, ``went_round``, ``settled``,
        ``within_limits``; starboard positive), ``drift_not_full_m_s`` (speeds at which the runs are
        too short for it), ``worst_before`` and ``worst_after`` (share of the limits, None where
        beyond all), ``put_right`` (None when it was not tried, as ``try_put_right``, a
        command, does; a list of ``keys``, ``labels``, ``values``, ``worst``,
        ``cures``, ``at`` each speed as above), ``in_words``, ``runs``, ``failures``, ``output``,
        ``pictures``, ``provenance``.
    """
    study, found = result.study, tuning(result)
    config = study.base
    righted = _tried(config, found, righted)
    tie = config.bait.tie
    assert tie is not None
    aside, back = knot_shift(tie.eye_mm, found.bend)
    return {
        "name": study.name,
        "bait": name_of(config),
        "config": config_document(config),
        "eye_mm": tie.eye_mm,
        "speeds_m_s": found.speeds,
        "limits": {"run_off_deg": config.limits.run_off_deg, "lean_deg": config.limits.lean_deg},
        "bends_deg": {
            "first": float(found.bends[0]),
            "last": float(found.bends[-1]),
            "count": found.bends.size,
        },
        "verdict": found.verdict,
        "bend_deg": found.bend,
        "knot_right_mm": aside,
        "knot_back_mm": back,
        "tie": {"from_nose_mm": tie.from_nose_mm + back, "right_mm": tie.right_mm + aside},
        "optimum_deg": found.optimum,
        "window": _window(found, tie.eye_mm),
        "before": _rows(found.before, found.speeds),
        "after": _rows(found.after, found.speeds),
        "worst_before": found.before.worst,
        "worst_after": found.after.worst,
        "drift_not_full_m_s": list(not_full(config, found.speeds)),
        "put_right": None
        if righted is None
        else [
            {
                "keys": [a.key for a in one.asymmetries],
                "labels": [a.label for a in one.asymmetries],
                "values": [a.value for a in one.asymmetries],
                "worst": one.swims.worst,
                "cures": one.cures,
                "at": _rows(one.swims, found.speeds),
            }
            for one in righted
        ],
        "try_put_right": again(study, output),
        "in_words": list(_sentences(config, found, righted)),
        "runs": run_count(result),
        "failures": map_facts(result)["failures"],
        "output": output,
        "pictures": list(pictures),
        "provenance": dict(result.provenance),
    }


def _tried(
    config: Config, found: Tuning, righted: Sequence[Righted] | None
) -> Sequence[Righted] | None:
    """What was put right; nothing where there is nothing to, None where it was not tried."""
    if righted is None and (found.verdict == "runs true" or not asymmetries(config)):
        return ()
    return righted


def _window(found: Tuning, eye_mm: float) -> dict[str, Any] | None:
    if found.window is None:
        return None
    low, high = found.window
    return {
        "low_deg": low,
        "high_deg": high,
        "low_mm": knot_shift(eye_mm, low)[0],
        "high_mm": knot_shift(eye_mm, high)[0],
        "low_open": found.open_ends[0],
        "high_open": found.open_ends[1],
    }


def _rows(swims: Swims, speeds: np.ndarray) -> list[dict[str, Any]]:
    return [
        {
            "speed_m_s": float(speed),
            "drift_deg": float(swims.drift[m]),
            "drift_mm_per_m": 1e3 * math.tan(math.radians(float(swims.drift[m]))),
            "lean_deg": float(swims.lean[m]),
            "motion_class": CLASSES[code] if (code := int(swims.motion_class[m])) >= 0 else None,
            "went_round": bool(swims.round_[m]),
            "settled": bool(swims.sound[m]),
            "within_limits": bool(swims.share[m] <= 1.0),
        }
        for m, speed in enumerate(speeds)
    ]


# ------------------------------------------------------------------------------------------- words


def tune_summary(
    result: MapResult,
    righted: Sequence[Righted] | None = None,
    *,
    provenance: bool = False,
    output: str | None = None,
) -> RenderableType:
    """Tuning in a page: the bend, what it leaves over, and what else puts the bait right.

    Parameters
    ----------
    result : MapResult       of a study of kind "tune"
    righted : sequence of Righted, optional
                             what :func:`sim.studies.tune.put_right` found; without, how to find it
                             is told
    provenance : bool        tell when and by which versions it was made
    output : str, optional   file that holds it
    """
    study, found = result.study, tuning(result)
    config = study.base
    righted = _tried(config, found, righted)
    first, last = significant(found.speeds[0], 3), significant(found.speeds[-1], 3)
    parts: list[RenderableType] = [
        title(name_of(config), f"  tuning the eye, towed at {first.rstrip('0').rstrip('.')} to"
              f" {last.rstrip('0').rstrip('.')} m/s"),
        *(Padding(Text(text), (0, 0, 0, 2)) for text in _sentences(config, found, righted)),
        Text(),
        labelled(_figures(result, found)),
        Text(),
        _table(found),
        note(
            "drift: angle between line and retrieve, seen from above; limit"
            f" {config.limits.run_off_deg:g} deg, of the lean {config.limits.lean_deg:g} deg"
        ),
    ]  # fmt: skip
    words = [class_word(s, m) for s in (found.before, found.after) for m in range(len(s.share))]
    if any(word.endswith(WENT_ROUND) for word in words):
        parts.append(note(f"{WENT_ROUND} went round on the way"))
    if righted:
        parts += [Text(), Text("Put right instead, the eye as it is", style="bold")]
        parts.append(_righted_table(righted, found.speeds))
    elif righted is None:
        parts += [
            Text(),
            labelled([("Put right", "What is off to one side in the file, put right in turn, is not"
                       " kept in the result. To try it again:")]),
            Padding(Text(again(study, output)), (0, 0, 0, 4)),
        ]  # fmt: skip
    failed = map_facts(result)["failures"]
    if failed:
        parts += [Text(), Text("Failed runs, by cause", style="bold")]
        parts.append(labelled([(str(f["runs"]), f"{f['status']}: {f['message']}") for f in failed]))
    if provenance:
        digest = config_digest(config)[:SHORT_DIGEST]
        rows = [("Bait", f"{config.source_path or '-'} (sha256 {digest})")]
        parts += [Text(), labelled([*rows, *made_by(result.provenance)])]
    return Group(*parts)


def _sentences(config: Config, found: Tuning, righted: Sequence[Righted] | None) -> list[str]:
    """What to do, and what it leaves over."""
    tie = config.bait.tie
    assert tie is not None
    aside, _ = knot_shift(tie.eye_mm, found.bend)
    do = (
        f"end the eye {degrees(abs(found.bend))} {side(found.bend)}: {fixed(abs(aside), 2, 'mm')}"
        f" at the knot, for an eye of {tie.eye_mm:g} mm"
    )
    runs = runs_to(found)
    off = side(runs) if abs(runs) >= 0.05 else ""
    just = ONLY_JUST <= found.after.worst <= 1.0
    if found.verdict == "runs true":
        return [f"Runs true: leave the eye as it is{_either_way(found)}."]
    if found.verdict == "leave":
        within = "within its limits, only just," if just else "within its limits,"
        return [f"Leave the eye as it is: it keeps {within} and no bend is better."]
    if found.verdict == "bend":
        way = ""
        if off:
            same = math.copysign(1.0, runs) == math.copysign(1.0, found.bend)
            way = f" It runs {off}, and the eye goes the {'same' if same else 'other'} way."
        left = (
            f" It then keeps within its limits only just: {_percent(found.after.worst)} is left."
            if just
            else ""
        )
        return [f"B{do}.{way}{left}"]
    over = _beyond(found.after, found.speeds)
    if found.best == found.own:
        texts = [f"Bending the eye does not cure it, and no bend is better: {over}."]
    else:
        texts = [f"Bending the eye does not cure it. Best is to b{do}; what is left: {over}."]
    return texts if righted is None else [*texts, _cause(righted)]


def _either_way(found: Tuning) -> str:
    """How far the eye of a true bait may be bent, to the side that allows less."""
    if found.window is None:
        return ""
    low, high = found.window
    room = math.floor(10.0 * min(found.bend - low, high - found.bend) + 1e-6) / 10.0
    return f"; it stays within the limits up to {room:.1f} deg either way"


def trouble(swims: Swims, m: int) -> str:
    """In one of three words what is wrong with a run itself, "" for a sound one."""
    if swims.failed[m]:
        return "fails"
    if swims.round_[m]:
        return "goes round"
    return "" if swims.sound[m] else "does not settle"


def speeds_words(speeds: Sequence[float]) -> str:
    """For instance "0.4, 0.6 and 0.8 m/s"."""
    texts = [f"{v:.4g}" for v in speeds]
    return (" and ".join(filter(None, [", ".join(texts[:-1]), texts[-1]]))) + " m/s"


def _beyond(swims: Swims, speeds: np.ndarray) -> str:
    """At which speeds a bait is beyond its limits, and how."""
    found = []
    for m, speed in enumerate(speeds):
        if swims.share[m] <= 1.0:
            continue
        if not math.isfinite(swims.share[m]):
            what = f"{'the run' if swims.failed[m] else 'it'} {trouble(swims, m)}"
        else:
            drift, lean = float(swims.drift[m]), float(swims.lean[m])
            what = f"it runs {fixed(abs(drift), 1, 'deg')} {side(drift)} and leans"
            what += f" {fixed(abs(lean), 1, 'deg')} {side(lean)}".rstrip()
            what += "" if swims.sound[m] else " without settling"
        found.append(f"at {speed:.4g} m/s {what}")
    return ", ".join(found)


def _cause(righted: Sequence[Righted]) -> str:
    """Which asymmetry, put right, cures the bait."""
    if not righted:
        return (
            "Nothing in the file is off to one side: what it does is not for the eye to cure. Look"
            " at the place of the tie, with runtrue holes."
        )
    cures = [one for one in righted if one.cures]
    if not cures:
        return (
            "Nothing that is off to one side in the file cures it when put right, not even all"
            " together: look at the place of the tie, with runtrue holes."
            if len(righted) > 1
            else "What is off to one side in the file does not cure it when put right: look at the"
            " place of the tie, with runtrue holes."
        )
    if len(cures[0].asymmetries) > 1:
        return "All that is off to one side in the file, put right together, cures it; none alone."
    keys = [one.asymmetries[0].key for one in cures]
    names = " or ".join(keys)
    return f"Put right, {names} cures it{'' if len(keys) == 1 else ', either alone'}."


def _figures(result: MapResult, found: Tuning) -> list[tuple[str, RenderableType]]:
    config = result.study.base
    tie = config.bait.tie
    assert tie is not None
    rows: list[tuple[str, RenderableType]] = []
    if found.best != found.own:
        aside, back = knot_shift(tie.eye_mm, found.bend)
        rows.append(
            ("Knot", f"{fixed(abs(aside), 2, 'mm')} {side(aside)} and {fixed(back, 2, 'mm')} back:"
             f" bait.tie.right_mm = {tie.right_mm + aside:.3f}, bait.tie.from_nose_mm ="
             f" {tie.from_nose_mm + back:.3f}")
        )  # fmt: skip
    short = not_full(config, found.speeds)
    if short:
        need = max(drift_time_s(config, v) for v in short)
        raised = f"raise solver.max_duration_s to {need:g} s"
        if need > LONGEST_S:
            raised = f"it would take {need:g} s, take a shorter line or a higher --slowest"
        rows.append(("Drift", f"not yet full at {speeds_words(short)}: {raised}"))
    window = _window(found, tie.eye_mm)
    if window is not None:
        rows.append(("Within limits", _allowance(window, found.bend)))
    worst = _percent(found.after.worst)
    if found.best != found.own:
        worst += f"; with the eye as it is, {_percent(found.before.worst)}"
    rows.append(("Worst", worst))
    step = float(np.diff(found.bends).min())
    count = found.bends.size
    rows.append(
        ("Runs", f"{run_count(result)}: {count} bends from {found.bends[0]:g} to"
         f" {found.bends[-1]:g} deg in steps from {step:g} deg, at {found.speeds.size} speeds")
    )  # fmt: skip
    for i, (key, value) in enumerate(result.study.fixed.items()):
        rows.append(("Set" if i == 0 else "", f"{key} = {value}"))
    return rows


def _percent(share: float) -> str:
    """The worst share of the limits."""
    return f"{100.0 * share:.0f} % of a limit" if math.isfinite(share) else "beyond every limit"


def _allowance(window: dict[str, Any], bend: float) -> str:
    """For instance "1.1 to 3.6 deg to starboard (0.10 to 0.31 mm): 1.4 deg less, 1.1 deg more"."""
    low, high = (window["low_deg"], window["low_mm"]), (window["high_deg"], window["high_mm"])
    near, far = (low, high) if bend >= 0.0 else (high, low)
    if side(near[0]) == side(far[0]):
        text = f"{abs(near[0]):.1f} to {abs(far[0]):.1f} deg {side(far[0])}"
        text += f" ({abs(near[1]):.2f} to {abs(far[1]):.2f} mm)"
    else:
        ends = [f"{abs(a):.1f} deg {side(a)} ({abs(mm):.2f} mm)" for a, mm in (near, far)]
        text = " to ".join(ends)
    if bend != 0.0:
        text += f": {abs(bend - near[0]):.1f} deg less, {abs(far[0] - bend):.1f} deg more"
    if window["low_open"] or window["high_open"]:
        text += ", up to the last bend tried"
    return text


def _angle(value: float, ok: bool) -> str:
    """An angle with the first letter of its side, "-" where it means nothing."""
    if not (ok and math.isfinite(value)):
        return "-"
    text = fixed(abs(value), 1)
    return text + "  " if float(text) == 0.0 else f"{text} {'s' if value > 0.0 else 'p'}"


def _table(found: Tuning) -> RenderableType:
    bent = found.best != found.own
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False)
    table.add_column("speed\nm/s", justify="right")
    for head in ("as it is", "bent") if bent else ("as it is",):
        table.add_column(f"{head}:\ndrift deg", justify="right")
        table.add_column("\nmm per m", justify="right")
        table.add_column("\nlean deg", justify="right")
        table.add_column("\nclass")
    for m, speed in enumerate(found.speeds):
        cells = [f"{speed:.4g}"]
        for swims in (found.before, found.after) if bent else (found.before,):
            ok = not swims.round_[m] and not swims.failed[m]
            drift = float(swims.drift[m])
            mm = fixed(1e3 * math.tan(math.radians(abs(drift))), 0) if ok else "-"
            cells += [_angle(drift, ok), mm, _angle(float(swims.lean[m]), ok), class_word(swims, m)]
        table.add_row(*cells)
    return Group(
        Padding(table, (0, 0, 0, 2)), note("s to starboard, p to port (the bait's right and left)")
    )


def _righted_table(righted: Sequence[Righted], speeds: np.ndarray) -> RenderableType:
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False)
    table.add_column("put right")
    table.add_column("largest drift\ndeg", justify="right")
    table.add_column("largest lean\ndeg", justify="right")
    table.add_column("\n")
    for one in righted:
        swims = one.swims
        if len(one.asymmetries) == 1:
            (a,) = one.asymmetries
            what = f"{a.key} = {a.value:g}: {a.label}"
        else:
            what = f"all {len(one.asymmetries)} together"
        ok = swims.measured
        largest = [
            _angle(float(v[np.where(ok, np.abs(v), -1.0).argmax()]), bool(ok.any()))
            for v in (swims.drift, swims.lean)
        ]
        told = []
        if one.cures:
            told = ["cures it, only just" if swims.worst >= ONLY_JUST else "cures it"]
        elif np.isfinite(swims.share).all():
            told = ["beyond the limits"]
        for word in ("goes round", "fails", "does not settle"):
            at = [v for m, v in enumerate(speeds) if trouble(swims, m) == word]
            if at:
                told.append(f"{word} at {speeds_words(at)}")
        table.add_row(what, *largest, "; ".join(told))
    return Padding(table, (0, 0, 0, 2))
