"""A risk in a few sentences: how many builds come out bad, by what, and how closely to build."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING

from sim.report.map import short_unit
from sim.report.risk_figures import (
    LEAST_CURE,
    at_speeds,
    builds_needed,
    difference,
    enough,
    mostly,
    percent_text,
    percents,
    told_designs,
    was_searched,
)
from sim.report.text import fixed
from sim.studies.builds import ALL, BOTH, DOUBT, ERRORS, SHOP
from sim.studies.risk import BAD, Search, Share, Trial, good_somewhere, indices, searches, shares

if TYPE_CHECKING:
    from sim.studies.builds import BuildStudy
    from sim.studies.risk import RiskResult

# What several builds do.
VERBS = {
    "goes round": "go round",
    "over-rolls": "over-roll",
    "runs off": "run off to one side",
    "failed": "fail",
    "does not settle": "do not settle",
    "tight": "are tight",
    "balanced": "are balanced",
}


def joined(texts: Iterable[str]) -> str:
    """Texts in a row: "a, b and c"."""
    *first, last = texts
    return f"{', '.join(first)} and {last}" if first else last


def speeds_text(speeds: Iterable[float]) -> str:
    return f"{joined(f'{v:.3g}' for v in speeds)} m/s"


def tolerance_text(error: int, value: float) -> str:
    """A tolerance with its unit, to two figures."""
    return f"{value:.2g} {short_unit(ERRORS[error].unit)}".rstrip()


def findings(result: RiskResult) -> tuple[str, ...]:
    """The answer in a few sentences, the most important one first."""
    if not good_somewhere(result):
        return tuple(_bad_as_meant(result))
    texts = []
    if not result.study.active:
        texts.append(
            "No build errors are drawn: every tolerance in [build] is 0, or belongs to a part that"
            " the bait has not."
        )
    else:
        texts.append(_shop_sentence(result))
        texts += search_sentences(result)
    return (*texts, *_cure_sentences(result))


def _bad_as_meant(result: RiskResult) -> list[str]:
    rows = at_speeds(result)
    kinds = {row.meant for row in rows}
    what = {"failed": "fails"}
    if len(kinds) == 1:
        did = what.get(rows[0].meant, rows[0].meant)
    else:
        did = joined(f"{what.get(row.meant, row.meant)} at {row.speed:.3g} m/s" for row in rows)
    every = "every speed" if len(rows) > 1 else f"{rows[0].speed:.3g} m/s"
    return [
        f"The bait is bad as it is meant, at {every}: it {did}. However closely it is built, it can"
        " be no better."
    ]


def _shop_sentence(result: RiskResult) -> str:
    found = shares(result, SHOP)
    bad = found["bad"]
    if bad.hits == 0:
        *_, high = percents(bad)
        return f"None of {bad.builds} builds is bad (95 %: at most {high} %)."
    kinds = [name for name in BAD if found[name].hits]
    kinds.sort(key=lambda name: -found[name].hits)
    what = VERBS[kinds[0]] if len(kinds) == 1 else "are bad"
    value, low, high = percents(bad)
    if bad.hits == bad.builds:
        text = f"All {bad.builds} builds {what} (95 %: at least {low} %)"
    else:
        text = f"{value} % of builds {what} (95 %: {low} to {high})"
    if len(kinds) > 1:
        text += ": " + joined(f"{percents(found[k])[0]} % {VERBS[k]}" for k in kinds)
    worst = mostly(indices(result, intervals=False))
    if worst:
        text += f"; mostly by {joined(ERRORS[n].label for n in worst)}"
    return text + "."


def search_sentences(result: RiskResult) -> list[str]:
    """How closely to build for the share of bad builds that is put up with."""
    found = searches(result)
    if not found:
        return ["No error makes a difference: all builds do the same."]
    study = result.study
    target = f"{100.0 * study.target:g} %"
    if not enough(study):
        more = builds_needed(study.target)
        return [
            f"How closely to build for {target} cannot be told from {study.builds} builds: draw"
            f" {more} or more (--builds {more})."
        ]
    if found[0].holds:
        return [
            f"The tolerances will do for {target}." + _unsure(found[0].trials[-1].bad, study.target)
        ]
    texts = []
    for search in found:
        if search.error == ALL:
            texts.append(_all_errors(study, search, target))
        elif search.scale is not None:
            texts.append(_one_error(study, search, target))
        elif was_searched(search):
            texts.append(
                f"For {target} it is not enough to mend the {ERRORS[search.error].label}: even with"
                f" none of it {percent_text(search.trials[0].bad)} are bad, by the other errors."
            )
    return texts


def _unsure(met: Share, target: float) -> str:
    """That an interval does not bear out what its share says; "" where it does."""
    if met.high <= target:
        return ""
    return f" More builds would make it certain: the interval reaches above {100.0 * target:g} %."


def _next(search: Search) -> Trial:
    """The trial next above the one that met the target."""
    assert search.scale is not None
    return next(t for t in search.trials if t.scale > search.scale)


def _met(search: Search) -> Trial:
    return next(t for t in search.trials if t.scale == search.scale)


def _one_error(study: BuildStudy, search: Search, target: str) -> str:
    assert search.scale is not None
    label, tolerance = ERRORS[search.error].label, float(study.tolerances[search.error])
    met, above = _met(search).bad, _next(search)
    limit = tolerance_text(search.error, above.scale * tolerance)
    after = f"{percent_text(above.bad)} within {limit}"
    if search.scale == 0.0:
        return (
            f"For {target} there may be hardly any error of the {label}: with none of it"
            f" {percent_text(met)} are bad, {after}."
        )
    needed = tolerance_text(search.error, search.scale * tolerance)
    now = tolerance_text(search.error, tolerance)
    return (
        f"For {target} hold the {label} within {needed} instead of {now}: then"
        f" {percent_text(met)} are bad, {after}.{_unsure(met, study.target)}"
    )


def _all_errors(study: BuildStudy, search: Search, target: str) -> str:
    met, above = _met(search).bad, _next(search)
    after = f"{percent_text(above.bad)} with {above.scale:.2g} of it"
    if search.scale == 0.0:
        return (
            f"For {target} hardly any error is allowed: {percent_text(above.bad)} are bad already"
            f" with {above.scale:.2g} of every tolerance."
        )
    return (
        f"For {target} hold every error to {search.scale:.2g} of its tolerance, see below: then"
        f" {percent_text(met)} are bad, {after}.{_unsure(met, study.target)}"
    )


def _cure_sentences(result: RiskResult) -> list[str]:
    """What better workmanship can cure, and what only a prototype can tell."""
    told = told_designs(result)
    if DOUBT not in told:
        return ["No coefficient is taken as uncertain: every range in [uncertainty] is 0."]
    alone = shares(result, DOUBT)["bad"]
    if alone.hits == 0:
        high = percents(alone)[2]
        spoil = (
            f"the uncertain coefficients spoil none of {alone.builds} perfect builds (95 %: at most"
            f" {high} %)"
        )
    else:
        spoil = (
            f"{percent_text(alone, confidence=True)} of perfect builds are bad should the"
            " coefficients lie otherwise, which only a prototype can tell"
        )
    if BOTH not in told:
        return [spoil[0].upper() + spoil[1:] + "."]
    both = shares(result, BOTH)["bad"]
    if both.hits == 0:
        high = percents(both)[2]
        return [
            "Errors and uncertain coefficients together spoil none of"
            f" {both.builds} builds (95 %: at most {high} %)."
        ]
    cure = difference(both, alone)
    head = f"With the coefficients as uncertain as they are {percent_text(both)} of builds are bad"
    digits = max(0, math.ceil(-math.log10(50.0 * (cure.high - cure.low))))
    value, low, high = (fixed(100.0 * part, digits) for part in cure)
    if cure.low > 0.0:
        middle = f"better workmanship can cure {value} in 100 ({low} to {high})"
    elif cure.high < LEAST_CURE:
        middle = "better workmanship cures little or nothing of it"
    else:
        middle = (
            f"what better workmanship cures cannot be told from {both.builds} builds ({low} to"
            f" {high} in 100)"
        )
    return [f"{head}: {middle}; {spoil}."]
