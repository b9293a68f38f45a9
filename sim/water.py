"""Density and viscosity of fresh and sea water at atmospheric pressure."""

from __future__ import annotations

from typing import NamedTuple

from sim.config.models import Water

SEA_SALT = 35.0  # practical salinity of the standard sea


class WaterProperties(NamedTuple):
    """Density [kg/m^3] and kinematic viscosity [m^2/s]."""

    density: float
    viscosity: float


def fresh_density(t: float) -> float:
    """Density of pure water at ``t`` degrees C, 0 to 40 [kg/m^3].

    Kell (1975), J. Chem. Eng. Data 20, 97-105, eq. 16; from memory, checked to 1e-5 against
    IAPWS-95.
    """
    top = 999.83952 + t * (
        16.945176
        + t * (-7.9870401e-3 + t * (-46.170461e-6 + t * (105.56302e-9 - t * 280.54253e-12)))
    )
    return top / (1.0 + 16.879850e-3 * t)


def fresh_viscosity(t: float) -> float:
    """Dynamic viscosity of pure water at ``t`` degrees C [Pa s].

    IAPWS SR6-08 (2011), eq. 7 for 0.1 MPa; from memory, checked against IAPWS values.
    """
    x = (t + 273.15) / 300.0
    return 1e-6 * (280.68 * x**-1.9 + 511.45 * x**-7.7 + 61.131 * x**-19.6 + 0.45903 * x**-40.0)


def sea_density(t: float, salt: float = SEA_SALT) -> float:
    """Density of sea water at the surface [kg/m^3].

    International equation of state 1980 (UNESCO technical paper 36, 1981), one atmosphere; from
    memory, checked to 1e-4 against a table read in a secondary copy.
    """
    pure = 999.842594 + t * (
        6.793952e-2 + t * (-9.095290e-3 + t * (1.001685e-4 + t * (-1.120083e-6 + t * 6.536332e-9)))
    )
    a = 8.24493e-1 + t * (-4.0899e-3 + t * (7.6438e-5 + t * (-8.2467e-7 + t * 5.3875e-9)))
    b = -5.72466e-3 + t * (1.0227e-4 - t * 1.6546e-6)
    return pure + a * salt + b * salt**1.5 + 4.8314e-4 * salt**2


def sea_viscosity(t: float, salt: float = SEA_SALT) -> float:
    """Dynamic viscosity of sea water [Pa s].

    Sharqawy, Lienhard & Zubair (2010), Desalination and Water Treatment 16, 354-380, eqs. 22, 23;
    from memory, checked to 1 % against published values.
    """
    s = 1.00472 * salt / 1000.0
    pure = 4.2844e-5 + 1.0 / (0.157 * (t + 64.993) ** 2 - 91.296)
    a = 1.541 + 1.998e-2 * t - 9.52e-5 * t * t
    b = 7.974 - 7.561e-2 * t + 4.724e-4 * t * t
    return pure * (1.0 + a * s + b * s * s)


def water_properties(water: Water) -> WaterProperties:
    """Properties of the configured water; values given directly win over kind and temperature."""
    if water.density_kg_m3 is not None and water.viscosity_m2_s is not None:
        return WaterProperties(water.density_kg_m3, water.viscosity_m2_s)
    t = water.temperature_c
    if water.kind == "sea":
        density = sea_density(t)
        return WaterProperties(density, sea_viscosity(t) / density)
    density = fresh_density(t)
    return WaterProperties(density, fresh_viscosity(t) / density)
