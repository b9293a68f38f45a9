"""What build errors do to a bait along its tie path: common practice, no source.

On the shallow runner of configs/, whose figures are invented: a trend is checked, not a number. All
tie points are built with the same errors, so that their shares differ by the tie point alone.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import sim
from sim.config import with_overrides
from sim.studies.axes import NAMED_AXES
from sim.studies.builds import MEANT, SHOP, BuildStudy
from sim.studies.engine import run_cases
from sim.studies.risk import OUTCOMES, RiskResult, gather, outcomes, shares

CONFIG = Path(__file__).parents[2] / "configs" / "shallow-runner.toml"
HIGH, SWEET, LOW = (
    -16.0,
    -8.0,
    -1.0,
)  # mm along the tie path: top of the nose, middle, near the bill
BUILDS = 128
FAST = 2.0  # m/s


@pytest.fixture(scope="module")
def risks() -> dict[float, RiskResult]:
    config = sim.load_config(CONFIG)
    found = {}
    for place in (HIGH, SWEET, LOW):
        tied = with_overrides(config, NAMED_AXES["tie_path_mm"].overrides(config, place))
        study = BuildStudy("trade", "", tied, {}, (FAST,), BUILDS, BUILDS, 8)
        cases = np.concatenate([study.cases(SHOP), study.cases(MEANT)])
        found[place] = gather(study, [run_cases(study, cases.tolist())])
    return found


def test_the_risk_is_least_inside_the_sweet_spot(risks: dict[float, RiskResult]) -> None:
    bad = {place: shares(result, SHOP)["bad"].hits for place, result in risks.items()}
    assert bad[SWEET] < bad[HIGH] < bad[LOW]


def test_near_the_low_end_errors_make_it_go_round(risks: dict[float, RiskResult]) -> None:
    round_ = {place: shares(result, SHOP)["goes round"].hits for place, result in risks.items()}
    assert round_[LOW] > 0.5 * BUILDS > round_[SWEET]


def test_tied_high_it_corkscrews_through_errors_alone(risks: dict[float, RiskResult]) -> None:
    result = risks[HIGH]
    assert OUTCOMES[outcomes(result, MEANT)[0, 0]] == "tight"
    assert result.measures["most_turns"][result.rows(MEANT)[0], 0, 0] < 0.2
    assert shares(result, SHOP)["goes round"].hits > 0
