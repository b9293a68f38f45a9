"""Body drag and side force: where they act, and how they follow the shape.

Published sections, spheres, cylinders and hulls are compared in tests/verification/bodies.py.
"""

from __future__ import annotations

import numpy as np
import pytest

import sim
from sim.bait.sections import crossflow_coefficients, crossflow_end_factor

from .cases import config, ellipsoid

MM = 1e-3


def long_body(width: float, height: float) -> sim.Config:
    """A long cylinder of elliptic section without end effect, 2 m long."""
    body = {
        "length_mm": 2000.0,
        "density_g_cm3": 1.0,
        "station": [
            {
                "from_nose_mm": x,
                "upper_mm": 0.5 * height,
                "lower_mm": 0.5 * height,
                "half_width_mm": 0.5 * width,
            }
            for x in (0.0, 1000.0, 2000.0)
        ],
    }
    return config({"body": body}, ("body_drag",), coefficients={"crossflow_end_factor": 1.0})


def test_end_factor_rises_with_slenderness():
    # from the sphere, 0.47 on its frontal area (White, Fluid Mechanics, table 7.3; from memory,
    # high confidence) over the circle's 1.1
    factors = [crossflow_end_factor(s, 1.0) for s in (1.0, 1.5, 2.0, 2.5, 3.0, 6.0)]
    assert (np.diff(factors) >= 0.0).all()
    assert factors[0] == pytest.approx(0.47 / 1.1, rel=0.15)


def test_axial_drag_has_no_front():
    # exact, by symmetry
    cfg = config({"body": ellipsoid(60.0, 20.0, 20.0)}, ("axial_drag",))
    ahead, astern = (sim.captive(cfg, (u, 0.0, 0.0)).force for u in (1.0, -1.0))
    assert ahead[0] < 0.0
    assert astern == pytest.approx(-ahead, rel=1e-12)


def test_sections_follow_the_greatest_section_of_the_body():
    # One coefficient a body, taken at its greatest section: sway and heave of a body change places
    # when it is laid on its side.
    upright, laid = (sim.assemble(long_body(*size)).body for size in ((14.0, 20.0), (20.0, 14.0)))
    a = crossflow_coefficients(long_body(14.0, 20.0).bait.body, upright)
    b = crossflow_coefficients(long_body(20.0, 14.0).bait.body, laid)
    assert a == pytest.approx(b[::-1], rel=1e-12)
    assert a[0] > a[1]
