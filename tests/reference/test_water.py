"""Density and viscosity of the water against published tables."""

from __future__ import annotations

import pytest

from sim.config.models import Water
from sim.water import water_properties

from .cases import COMPUTED, SECONDARY

# Temperature [C], density [kg/m3], kinematic viscosity [1e-6 m2/s], at 101.325 kPa: IAPWS-95 and
# the IAPWS viscosity (2008), computed from the formula; the densities are also those of ITTC
# 7.5-02-01-03, read in a secondary copy.
FRESH = [
    (5.0, 999.9666, 1.51822),
    (10.0, 999.7025, 1.30629),
    (15.0, 999.1026, 1.13859),
    (20.0, 998.2072, 1.00340),
    (25.0, 997.0476, 0.89266),
    (30.0, 995.6495, 0.80071),
]

# Standard sea water, 35.165 g/kg. Densities: ITTC 7.5-02-01-03 (10 to 30 C), read in a secondary
# copy; they are those of 10 dbar, 0.045 kg/m3 above the surface. 5 C: TEOS-10 at the surface,
# computed from the formula. Viscosity: fit of Sharqawy, Lienhard & Zubair 2010, computed from the
# formula.
SEA = [
    (5.0, 1027.676, 1.576),
    (10.0, 1027.0000, 1.361),
    (15.0, 1026.0210, 1.18885),
    (20.0, 1024.8103, 1.051),
    (25.0, 1023.3873, 0.937),
    (30.0, 1021.7694, 0.843),
]


@pytest.mark.parametrize("row", FRESH, ids=lambda r: f"{r[0]:g} C {COMPUTED}")
def test_fresh_water(row):
    temperature, density, viscosity = row
    found = water_properties(Water(kind="fresh", temperature_c=temperature))
    assert found.density == pytest.approx(density, rel=2e-5)
    assert found.viscosity == pytest.approx(viscosity * 1e-6, rel=1e-3)


@pytest.mark.parametrize("row", SEA, ids=lambda r: f"{r[0]:g} C {SECONDARY}")
def test_sea_water(row):
    temperature, density, viscosity = row
    found = water_properties(Water(kind="sea", temperature_c=temperature))
    assert found.density == pytest.approx(density, rel=1e-4)
    assert found.viscosity == pytest.approx(viscosity * 1e-6, rel=0.01)


@pytest.mark.parametrize("viscosity", [1.18831, 1.1892], ids=lambda v: f"{v} {SECONDARY}")
def test_sea_water_viscosity_ittc(viscosity):
    # ITTC 7.5-02-01-03 at 15 C, as two copies quote it.
    found = water_properties(Water(kind="sea", temperature_c=15.0))
    assert found.viscosity == pytest.approx(viscosity * 1e-6, rel=0.01)
