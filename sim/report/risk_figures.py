"""Figures of a risk that its words, its JSON document and its picture share."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import count
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from sim.studies.builds import (
    ALL,
    BOTH,
    DOUBT,
    ERRORS,
    MEANT,
    MOST_FEW,
    SHOP,
    Design,
    few_of,
)  # fmt: skip
from sim.studies.causes import causes
from sim.studies.engine import STATUSES
from sim.studies.risk import (
    BAD,
    OUTCOMES,
    Index,
    Search,
    Share,
    good_somewhere,
    judged,
    outcomes,
    shares,
)

if TYPE_CHECKING:
    from sim.studies.builds import BuildStudy
    from sim.studies.risk import RiskResult

MATTERS = 0.02  # an error is told when the interval of its total index reaches above this
MOSTLY, MOST_NAMED = 0.5, 3  # errors named first: share of the largest index, and how many
UNCOUNTED = "*"  # at a speed that does not count
STRAIGHT_MM_PER_M = 1e-6  # less drift than this is the rounding of a symmetrical bait
FEWEST_TOLD = 100  # builds below which nothing is said of the tolerance needed
LEAST_CURE = 0.03  # share of builds below which a cure is little or nothing
AS_MANY = 0.05  # how near to a half the ends of an interval are where it is as many to either side
MOST_DIGITS = 6
RARE = 10.0  # [%]


# ------------------------------------------------------------------------------------- shares in %


def percents(share: Share) -> tuple[str, str, str]:
    """A share and the ends of its interval in per cent, with as many decimals as they bear.

    Rare ones, and those that rarely are not, have one at least. What is neither nothing nor all is
    never told as such.
    """
    values = tuple(100.0 * value for value in (share.share, share.low, share.high))
    half = 0.5 * (values[2] - values[1])
    digits = max(0, math.ceil(-math.log10(half))) if half > 0.0 else MOST_DIGITS
    if not RARE <= values[0] <= 100.0 - RARE:
        digits = max(1, digits)
    inner = [value for value in values if 0.0 < value < 100.0]
    while digits < MOST_DIGITS and any(float(f"{v:.{digits}f}") in (0.0, 100.0) for v in inner):
        digits += 1
    return tuple(_trimmed(value, digits) for value in values)  # type: ignore[return-value]


def _trimmed(value: float, digits: int) -> str:
    """Nothing and all need no decimals."""
    return f"{value:.0f}" if value in (0.0, 100.0) else f"{value:.{digits}f}"


def short_text(share: Share) -> str:
    """As :func:`percent_text` where there is little room."""
    _, low, high = percents(share)
    if share.hits == 0:
        return f"none (to {high} %)"
    if share.hits == share.builds:
        return f"all (from {low} %)"
    return percent_text(share)


def percent_text(share: Share, *, confidence: bool = False) -> str:
    """A share with its interval, such as "3.1 % (2.4 to 4.0)"; nothing and all in words."""
    value, low, high = percents(share)
    sure = "95 %: " if confidence else ""
    if share.hits == 0:
        return f"none of {share.builds} ({sure}at most {high} %)"
    if share.hits == share.builds:
        return f"all {share.builds} ({sure}at least {low} %)"
    return f"{value} % ({sure}{low} to {high})"


class Difference(NamedTuple):
    """Difference of two shares with an interval of 95 % confidence."""

    value: float
    low: float
    high: float


def difference(a: Share, b: Share) -> Difference:
    """Share ``a`` less share ``b``; the interval is Newcombe's, from the two of Wilson.

    It takes the two samples for independent, so it is on the wide side where they are the same
    builds. R. G. Newcombe (1998), Statistics in Medicine 17, 873-890, method 10; from memory.
    """
    value = a.share - b.share
    down = math.hypot(a.share - a.low, b.high - b.share)
    up = math.hypot(a.high - a.share, b.share - b.low)
    return Difference(value, value - down, value + up)


# ----------------------------------------------------------------------------------- what is told


def told_designs(result: RiskResult) -> tuple[int, ...]:
    """Designs whose shares are told: those in which anything is drawn."""
    errors, doubts = bool(result.study.active), bool(result.study.doubts.any())
    told = {SHOP: errors, BOTH: errors and doubts, DOUBT: doubts}
    return tuple(design for design, wanted in told.items() if wanted)


class AtSpeed(NamedTuple):
    """Builds at one speed.

    Attributes
    ----------
    speed : float                      [m/s]
    meant : str                        what the bait as meant does, one of OUTCOMES
    counts : bool                      the bait as meant is not bad itself
    builds : dict of str to Share      what builds within the tolerances do, and "bad"
    meant_drift : float                of the bait as meant, starboard positive [mm per m]
    drift : tuple of float             mean drift of the builds and half the width of its interval
                                       of 95 % confidence [mm per m]; NaN without
    port : Share or None               builds that drift to port among those that drift at all
    """

    speed: float
    meant: str
    counts: bool
    builds: dict[str, Share]
    meant_drift: float
    drift: tuple[float, float]
    port: Share | None


def at_speeds(result: RiskResult) -> tuple[AtSpeed, ...]:
    """What the bait as meant and its builds do at each speed."""
    meant, built = outcomes(result, MEANT)[0], outcomes(result, SHOP)
    counts = good_somewhere(result) & judged(result)
    side = 1e3 * result.measures["side_drift_m_per_m"]
    row, count = result.rows(SHOP)
    own, _ = result.rows(MEANT)
    found = []
    for n, speed in enumerate(result.study.speeds):
        all_ = {name: Share.of(built[:, n] == k) for k, name in enumerate(OUTCOMES)}
        all_["bad"] = Share.of(built[:, n] < len(BAD))
        drift = side[row, :count, n]
        drift = drift[np.isfinite(drift)]
        mean = (math.nan, math.nan)
        if drift.size > 1:
            mean = (float(drift.mean()), 1.96 * float(drift.std(ddof=1)) / math.sqrt(drift.size))
        aside = drift[np.abs(drift) > STRAIGHT_MM_PER_M]
        found.append(
            AtSpeed(
                speed, OUTCOMES[meant[n]], bool(counts[n]), all_, float(side[own, 0, n]), mean,
                Share.of(aside < 0.0) if aside.size else None,
            )
        )  # fmt: skip
    return tuple(found)


def curable(result: RiskResult) -> tuple[Difference, Share] | None:
    """What better workmanship can cure of the bad builds, and what only a prototype can tell.

    The first is the share of bad builds with errors and uncertain coefficients less the share of
    bad ones among perfect builds, the second the latter. None unless both are drawn.
    """
    if BOTH not in told_designs(result):
        return None
    alone = shares(result, DOUBT)["bad"]
    return difference(shares(result, BOTH)["bad"], alone), alone


def what_matters(ranked: Sequence[Index]) -> tuple[Index, ...]:
    """The errors worth telling of those ranked, the worst first."""
    # without an interval, of builds that are too few to vary, the value itself decides
    return tuple(i for i in ranked if np.nanmax([i.total[2], i.total[0]]) > MATTERS)


def mostly(ranked: Sequence[Index]) -> tuple[int, ...]:
    """Numbers of the errors that stand out, the worst first."""
    if not ranked or not ranked[0].total[0] > 0.0:
        return ()
    least = MOSTLY * ranked[0].total[0]
    return tuple(i.error for i in ranked if i.total[0] >= least)[:MOST_NAMED]


def held_to(found: Sequence[Search]) -> dict[int, float]:
    """Share of its tolerance to which each error is to be held; empty without need or way."""
    for search in found:
        if search.scale is not None and not search.holds:
            errors = range(len(ERRORS)) if search.error == ALL else (search.error,)
            return dict.fromkeys(errors, search.scale)
    return {}


def enough(study: BuildStudy) -> bool:
    """Whether the builds are enough to tell how closely to build."""
    return study.builds >= FEWEST_TOLD


def builds_needed(target: float) -> int:
    """Builds from which on a trial without a bad one shows that the target is met, in hundreds.

    The interval of none of n reaches up to ``z^2 / (n + z^2)`` (Wilson, z = 1.96). Where no trial
    is large enough for that, as many as make it the largest.
    """
    each = min(1.96**2 * (1.0 - target) / target, MOST_FEW)
    return next(n for n in count(FEWEST_TOLD, 100) if few_of(n) >= each)


def was_searched(search: Search) -> bool:
    return len(search.trials) > 1


def run_count(result: RiskResult) -> int:
    """Runs that were made, of all designs."""
    return int((result.status != STATUSES.index("not run")).sum())


def failures(result: RiskResult) -> list[dict[str, Any]]:
    """Failed runs by cause, the most frequent first."""
    found = []
    for cause in causes(result.status, result.message):
        row, build, speed = (int(i) for i in np.unravel_index(cause.case, result.status.shape))
        found.append(
            {
                "status": cause.status,
                "runs": cause.runs,
                "message": cause.message,
                "example": {
                    "design": Design.of(result.designs[row]).kind,
                    "build": build,
                    "speed_m_s": result.study.speeds[speed],
                },
            }
        )
    return found
