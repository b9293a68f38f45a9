"""Risk of a bait in words and in JSON: how many builds come out bad, why, how closely to build."""

from __future__ import annotations

import math
import shlex
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from rich.console import Console, ConsoleOptions, Group, RenderableType, RenderResult
from rich.measure import Measurement
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from sim.report.map import seconds_of, study_origin
from sim.report.risk_figures import (
    AS_MANY,
    MATTERS,
    STRAIGHT_MM_PER_M,
    UNCOUNTED,
    AtSpeed,
    at_speeds,
    curable,
    enough,
    failures,
    held_to,
    percent_text,
    run_count,
    short_text,
    told_designs,
    was_searched,
    what_matters,
)
from sim.report.risk_words import findings, joined, speeds_text, tolerance_text
from sim.report.text import (
    config_document,
    fixed,
    labelled,
    name_of,
    note,
    significant,
    title,
)
from sim.studies.builds import ALL, BOTH, DOUBT, DOUBTS, ERRORS, SCALES, SHOP
from sim.studies.risk import (
    BAD,
    OUTCOMES,
    Index,
    Search,
    Share,
    good_somewhere,
    indices,
    searches,
    shares,
)
from sim.studies.speeds import drift_time_s, not_full

if TYPE_CHECKING:
    from sim.studies.builds import BuildStudy
    from sim.studies.risk import RiskResult

# Designs that are told, with the heads of their columns.
TOLD = {
    SHOP: "workmanship",
    BOTH: "workmanship,\nuncertain coefficients",
    DOUBT: "perfect builds,\nuncertain coefficients",
}
KEYS = {SHOP: "workmanship", BOTH: "both", DOUBT: "coefficients"}
LIMITS_PAGE = "docs/limits.md"
MORE_THAN_ALL = 1.3  # sum of the indices from which errors clearly act together


# ------------------------------------------------------------------------------------------- facts


def _share_facts(share: Share) -> dict[str, Any]:
    return {
        "hits": share.hits,
        "builds": share.builds,
        "share": share.share,
        "low": share.low,
        "high": share.high,
    }


def _all_shares(found: dict[str, Share]) -> dict[str, Any]:
    return {name: _share_facts(share) for name, share in found.items()}


def risk_facts(
    result: RiskResult, output: str | None = None, pictures: Sequence[str] = ()
) -> dict[str, Any]:
    """A risk as a dictionary.

    Parameters
    ----------
    result : RiskResult
    output : str, optional         file that holds it
    pictures : sequence of str     files that show it

    Returns
    -------
    dict
        ``name``, ``bait``, ``config`` (``source``, ``digest``, ``overrides``), ``speeds_m_s``,
        ``builds``, ``builds_of_a_search`` (of coefficients alone as well), ``pairs`` (for the
        indices), ``target`` (share of bad builds put up with), ``seed``, ``errors_lie`` (how they
        are drawn), ``tolerances`` and ``coefficients`` (lists of ``key``, ``label``, ``unit`` and
        ``tolerance`` or ``range``; 0 where nothing is drawn), ``good_as_meant`` (at one speed at
        least), ``judged_speeds_m_s`` (at which the bait as meant is not bad),
        ``drift_not_full_speeds_m_s`` (at which a run ends before the side drift is full),
        ``shares`` (of
        ``workmanship``, ``both`` and ``coefficients`` alone, None where nothing is drawn: for each
        outcome and ``bad`` for all that is bad, ``hits``, ``builds``, ``share``, ``low`` and
        ``high``), ``curable`` (by better workmanship: ``share``, ``low``, ``high``),
        ``prototype_only`` (a share), ``speeds`` (a list of ``speed_m_s``, ``counts``,
        ``as_meant``, ``shares`` of workmanship, ``drift_mm_per_m`` to starboard: ``as_meant``,
        ``mean``, ``mean_low``, ``mean_high``, and the share ``to_port``), ``indices`` (the
        largest total first: ``key``, ``label``, ``first`` and ``total`` with ``value``, ``low``,
        ``high``), ``searches`` (of one error or ``all``: ``scale`` of the tolerance that meets
        the target or None, ``holds`` as it is, ``tolerance``, ``needed``, ``unit``, and the
        ``trials``, each a ``scale`` and the share ``bad``), ``in_words``, ``runs``, ``seconds``
        and ``runs_per_s`` (None where not known), ``failures`` (``status``, ``runs``,
        ``message``, ``example``), ``output``, ``pictures``, ``provenance``.
    """
    study = result.study
    good = good_somewhere(result)
    told = told_designs(result)
    found = searches(result)
    cure = curable(result)
    seconds, runs = seconds_of(result), run_count(result)
    return {
        "name": study.name,
        "bait": name_of(study.base),
        "config": config_document(study.base),
        "speeds_m_s": list(study.speeds),
        "builds": study.builds,
        "builds_of_a_search": study.few,
        "pairs": study.pairs,
        "target": study.target,
        "seed": study.seed,
        "errors_lie": study.base.build.errors,
        "tolerances": [
            {"key": q.key, "label": q.label, "unit": q.unit, "tolerance": float(t)}
            for q, t in zip(ERRORS, study.tolerances, strict=True)
        ],
        "coefficients": [
            {
                "key": q.key,
                "label": q.label,
                "unit": q.unit,
                "range": float(getattr(study.base.uncertainty, q.key)),
            }
            for q in DOUBTS
        ],
        "good_as_meant": good,
        "judged_speeds_m_s": [s.speed for s in at_speeds(result) if s.counts],
        "drift_not_full_speeds_m_s": list(not_full(study.base, study.speeds)),
        "shares": {
            KEYS[design]: _all_shares(shares(result, design)) if design in told else None
            for design in TOLD
        },
        "curable": None
        if cure is None
        else {"share": cure[0].value, "low": cure[0].low, "high": cure[0].high},
        "prototype_only": _share_facts(shares(result, DOUBT)["bad"]) if DOUBT in told else None,
        "speeds": [_speed_facts(at) for at in at_speeds(result)],
        "indices": [_index_facts(index) for index in indices(result)],
        "searches": [_search_facts(study, search) for search in found],
        "in_words": list(findings(result)),
        "runs": runs,
        "seconds": seconds,
        "runs_per_s": runs / seconds if seconds else None,
        "failures": failures(result),
        "output": output,
        "pictures": list(pictures),
        "provenance": dict(result.provenance),
    }


def _speed_facts(at: AtSpeed) -> dict[str, Any]:
    mean, half = at.drift
    return {
        "speed_m_s": at.speed,
        "counts": at.counts,
        "as_meant": at.meant,
        "shares": _all_shares(at.builds),
        "drift_mm_per_m": {
            "as_meant": at.meant_drift,
            "mean": mean,
            "mean_low": mean - half,
            "mean_high": mean + half,
        },
        "to_port": None if at.port is None else _share_facts(at.port),
    }


def _index_facts(index: Index) -> dict[str, Any]:
    def one(value: tuple[float, float, float]) -> dict[str, float]:
        return dict(zip(("value", "low", "high"), value, strict=True))

    quantity = ERRORS[index.error]
    return {
        "key": quantity.key,
        "label": quantity.label,
        "first": one(index.first),
        "total": one(index.total),
    }


def _search_facts(study: BuildStudy, search: Search) -> dict[str, Any]:
    one = search.error != ALL
    tolerance = float(study.tolerances[search.error]) if one else None
    needed = None
    if tolerance is not None and search.scale is not None:
        needed = search.scale * tolerance
    return {
        "error": ERRORS[search.error].key if one else "all",
        "scale": search.scale,
        "holds": search.holds,
        "tolerance": tolerance,
        "needed": needed,
        "unit": ERRORS[search.error].unit if one else None,
        "trials": [{"scale": t.scale, "bad": _share_facts(t.bad)} for t in search.trials],
    }


# ---------------------------------------------------------------------------------------- in words


def risk_summary(result: RiskResult, *, provenance: bool = False) -> RenderableType:
    """A risk in a page.

    Parameters
    ----------
    result : RiskResult
    provenance : bool     tell when and by which versions it was made
    """
    study = result.study
    good = good_somewhere(result)
    parts: list[RenderableType] = [
        title(name_of(study.base), f"  risk of {study.builds} builds"),
        labelled(_head(result)),
        Text(),
        *_sentences(findings(result)),
    ]
    if good:
        parts += [Text(), *_shares(result)]
    parts += [Text(), *_at_each_speed(result)]
    if good and study.active:
        parts += _what_matters(result)
    failed = failures(result)
    if failed:
        parts += [Text(), Text("Failed runs, by cause", style="bold")]
        parts.append(labelled([(str(f["runs"]), _failure_text(f)) for f in failed]))
    if good:
        parts += [Text(), note(_caution(study))]
    if provenance:
        parts += [
            Text(),
            labelled(study_origin(result.study, result.study.name, result.provenance)),
        ]
    return Group(*parts)


def _sentences(texts: Iterable[str]) -> list[RenderableType]:
    return [Padding(Text(text), (0, 0, 0, 2)) for text in texts]


def _head(result: RiskResult) -> list[tuple[str, RenderableType]]:
    study = result.study
    rows: list[tuple[str, RenderableType]] = [("Speeds", speeds_text(study.speeds))]
    for i, (key, value) in enumerate(study.fixed.items()):
        rows.append(("Set" if i == 0 else "", f"{key} = {value}"))
    runs, seconds = run_count(result), seconds_of(result)
    text = f"{runs}"
    if seconds:
        text += f" in {significant(seconds, 3)} s, {significant(runs / seconds, 3)} a second"
    rows.append(("Runs", f"{text}; seed {study.seed}"))
    return rows


def _table() -> Table:
    return Table(box=None, padding=(0, 2, 0, 0), pad_edge=False)


def _indented(table: RenderableType) -> RenderableType:
    return Padding(table, (0, 0, 0, 2))


@dataclass(frozen=True)
class _Fitting:
    """The first of some tables that is not too wide; the last where all are."""

    tables: tuple[Table, ...]

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        *others, chosen = self.tables
        for table in others:
            if Measurement.get(console, options.update(width=999), table).maximum <= (
                options.max_width
            ):
                chosen = table
                break
        yield chosen


def _shares(result: RiskResult) -> list[RenderableType]:
    """Shares of builds, a column for each design."""
    told = told_designs(result)
    if not told:
        return [note("Neither errors nor coefficients are drawn: there is only the bait as meant.")]
    tables = tuple(_shares_table(result, told, text) for text in (percent_text, short_text))
    counted = [at.speed for at in at_speeds(result) if at.counts]
    head = f"By the worst that a build does at {speeds_text(counted)}"
    below = note("In brackets: 95 % confidence.")
    return [Text(head, style="bold"), _indented(_Fitting(tables)), below]


def _shares_table(
    result: RiskResult, told: Sequence[int], share_text: Callable[[Share], str]
) -> Table:
    columns = [shares(result, design) for design in told]
    table = _table()
    heads = [TOLD[design] for design in told]
    above = "\n" * any("\n" in head for head in heads)
    table.add_column(f"{above}builds")
    for head in heads:
        table.add_column(head if "\n" in head else above + head, justify="right")
    for name in (*BAD, "bad", *OUTCOMES[len(BAD) :]):
        if not any(column[name].hits for column in columns) and name != "bad":
            continue
        label = "bad in all" if name == "bad" else name
        style = "bold" if name == "bad" else ""
        table.add_row(label, *(share_text(c[name]) for c in columns), style=style)
    return table


def _at_each_speed(result: RiskResult) -> list[RenderableType]:
    """What the bait as meant does at each speed, and its builds, workmanship alone."""
    study, rows = result.study, at_speeds(result)
    good = good_somewhere(result)
    built = good and bool(study.active)
    tables = tuple(_speeds_table(rows, good, built, text) for text in (percent_text, short_text))
    head = "At each speed, as meant and as built" if built else "At each speed, as meant"
    parts: list[RenderableType] = [Text(head, style="bold"), _indented(_Fitting(tables))]
    again = shlex.join(["runtrue", "holes", study.base.source_path or "CONFIG.toml"])
    command = Padding(Text(again, no_wrap=True, overflow="ignore"), (0, 0, 0, 4))
    uncounted = [at.speed for at in rows if not at.counts]
    if not good:
        parts += [note("First find a place to tie it where it is balanced:"), command]
    elif uncounted:
        text = (
            f"{UNCOUNTED} Bad as meant at {speeds_text(uncounted)}, so that no build can be better:"
            " this does not count in the rest. Another tie point may cure it:"
        )
        parts += [note(text), command]
    parts += _early(study)
    if built:
        parts += _sided(rows, study.builds)
    return parts


def _speeds_table(
    rows: Sequence[AtSpeed], good: bool, built: bool, share_text: Callable[[Share], str]
) -> Table:
    table = _table()
    above = "\n" * built
    table.add_column(f"{above}m/s", justify="right", no_wrap=True)
    table.add_column(f"{above}as meant")
    if built:
        table.add_column("\nbad builds", justify="right", no_wrap=True)
        table.add_column("\nmostly")
        table.add_column("mean drift\nmm per m", no_wrap=True)
        table.add_column("\nto port", justify="right", no_wrap=True)
    for at in rows:
        mark = "" if at.counts or not good else UNCOUNTED
        cells = [f"{at.speed:.3g}", at.meant + mark]
        if built:
            kinds = sorted(BAD, key=lambda name: -at.builds[name].hits)
            worst = kinds[0] if at.builds[kinds[0]].hits else "-"
            cells += [share_text(at.builds["bad"]), worst, _drift_text(*at.drift)]
            cells.append("-" if at.port is None else share_text(at.port))
        table.add_row(*cells)
    return table


def _early(study: BuildStudy) -> list[RenderableType]:
    """At which speeds the line has not swung out yet when the drift is read."""
    early = not_full(study.base, study.speeds)
    if not early:
        return []
    need, lasts = drift_time_s(study.base, min(early)), study.base.solver.duration_s
    upto = "up to " if len(early) > 1 else ""
    return [
        note(
            f"Side drift at {speeds_text(early)} is read before it is full, and builds that run off"
            f" may be missed there: it takes {upto}{need:g} s, solver.duration_s is {lasts:g} s."
        )
    ]


def _drift_text(mean: float, half: float) -> str:
    if not math.isfinite(mean):
        return "-"
    digits = 0 if half >= 1.0 or half == 0.0 else min(3, math.ceil(-math.log10(half)))
    text = fixed(abs(mean), digits)
    side = "" if float(text) == 0.0 else " starboard" if mean > 0.0 else " port"
    return f"{text} ± {fixed(half, digits)}{side}"


def _sided(rows: Sequence[AtSpeed], builds: int) -> list[RenderableType]:
    """Whether builds run to one side more than to the other."""
    ports = [(at, at.port) for at in rows if at.port]
    lean = [(at, port) for at, port in ports if not port.low <= 0.5 <= port.high]
    if not ports:
        return []
    if not lean:
        low, high = min(port.low for _, port in ports), max(port.high for _, port in ports)
        if not 0.5 - AS_MANY <= low <= high <= 0.5 + AS_MANY:
            return [note(f"No side is preferred, as far as {builds} builds tell.")]
        where = " at every speed" if len(ports) > 1 else ""
        return [
            note(
                f"As many drift to port as to starboard: {100.0 * low:.0f} to"
                f" {100.0 * high:.0f} % to port{where} (95 %)."
            )
        ]
    meant: dict[bool, list[str]] = {True: [], False: []}
    for at, port in lean:
        to_port = port.share > 0.5
        own = -at.meant_drift if to_port else at.meant_drift
        side = f"to {'port' if to_port else 'starboard'} at {at.speed:.3g} m/s"
        meant[own > STRAIGHT_MM_PER_M].append(side)
    why = {
        True: "the bait as meant leans that way",
        False: "the bait as meant does not, so that it may be chance",
    }
    texts = (f"More builds drift {joined(t)}: {why[own]}." for own, t in meant.items() if t)
    return [note(" ".join(texts))]


def _what_matters(result: RiskResult) -> list[RenderableType]:
    """The errors that matter, and how closely each is to be held."""
    study = result.study
    ranked = indices(result)
    found = searches(result)
    held = held_to(found) if enough(study) else {}
    shown: dict[int, str] = {i.error: _index_text(i.total) for i in what_matters(ranked)}
    if not shown and held:  # all builds are bad, so that none stands out
        shown = dict.fromkeys(study.active, "-")
    if not shown:
        return []
    target = f"{100.0 * study.target:g} %"
    table = _table()
    table.add_column("\nerror")
    table.add_column("\ntolerance", justify="right")
    table.add_column("share of the variation\n(95 %)", justify="right")
    if held:
        table.add_column(f"to be held\nfor {target}", justify="right")
    for error, share in shown.items():
        tolerance = float(study.tolerances[error])
        cells = [ERRORS[error].label, tolerance_text(error, tolerance), share]
        if held:
            cells.append(_held_text(error, tolerance, held.get(error)))
        table.add_row(*cells)
    lines = [
        "Share of the variation, from harmless to bad, that goes back to an error by itself and"
        " together with others."
    ]
    if sum(i.total[0] for i in ranked) > MORE_THAN_ALL:
        lines.append(
            "The shares add up to more than 1, since errors act together: one makes up for another"
            " or adds to it."
        )
    rest = len(ranked) - len(shown)
    if rest > 0:
        others = f"The other {rest} errors matter" if rest > 1 else "The other error matters"
        alike = " They are held to the same share." if len(held) > 1 else ""
        each = " each" if rest > 1 else ""
        lines.append(f"{others} less than {MATTERS:g}{each}.{alike}")
    if enough(study) and any(was_searched(search) for search in found):
        lines.append(
            f"What is to be held was found with {study.few} builds a trial, in steps of"
            f" 1/{len(SCALES) - 1} of the tolerance."
        )
    return [Text(), Text("What matters", style="bold"), _indented(table), note(" ".join(lines))]


def _held_text(error: int, tolerance: float, scale: float | None) -> str:
    """How closely an error is to be held; nothing for one that may stay as it is."""
    if scale is None:
        return ""
    if scale == 0.0:
        return f"below {tolerance_text(error, SCALES[1] * tolerance)}"
    return tolerance_text(error, scale * tolerance)


def _index_text(total: tuple[float, float, float]) -> str:
    """A total index; it lies from 0 to 1, whatever an estimate of it does."""
    value, low, high = (min(1.0, max(0.0, v)) for v in total)
    if not (math.isfinite(low) and math.isfinite(high)):
        return f"{value:.2f}"
    return f"{value:.2f} ({low:.2f} to {high:.2f})"


def _caution(study: BuildStudy) -> str:
    return (
        "A guide to prototypes, no substitute for them. Tolerances and ranges are those of [build]"
        " and [uncertainty]; left out are rattles, joints, soft tails, swinging hooks, waves and"
        f" what else stands in {LIMITS_PAGE}."
    )


def _failure_text(failure: dict[str, Any]) -> str:
    example = failure["example"]
    return (
        f"{failure['status']}, as build {example['build']} ({example['design']}) at"
        f" {example['speed_m_s']:.3g} m/s: {failure['message']}"
    )
