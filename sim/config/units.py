"""Units named by the keys of the configuration."""

# Key suffix -> unit as it is printed. Longer suffixes are tried first.
UNITS: dict[str, str] = {
    "kg_m3": "kg/m3",
    "g_cm3": "g/cm3",
    "deg_s": "degrees/s",
    "m2_s": "m2/s",
    "m_s2": "m/s2",
    "m_s": "m/s",
    "mm2": "mm2",
    "mm": "mm",
    "ms": "ms",
    "gpa": "GPa",
    "deg": "degrees",
    "turns": "turns",
    "percent": "%",
    "g": "g",
    "m": "m",
    "s": "s",
    "c": "degrees C",
}
# Suffixes nobody reads here, but which people type; used only to guess what was meant.
FOREIGN_UNITS = (
    "km_h", "kmh", "mph", "cm", "inch", "in", "ft", "kg", "oz", "lb", "rad", "degrees", "degree",
    "cm2", "m2", "kg_m3", "g_cm3", "gcm3", "kgm3", "ms2", "n", "mpa", "pa", "f", "k",
)  # fmt: skip


def unit_of(key: str) -> str:
    """Unit named by the suffix of a key, as printed in messages; "" for a key without one."""
    for suffix in sorted(UNITS, key=len, reverse=True):
        if key.endswith("_" + suffix):
            return UNITS[suffix]
    return ""


def base_of(key: str) -> str:
    """A key without its unit, whatever unit somebody typed: "length_cm" gives "length"."""
    for suffix in sorted({*UNITS, *FOREIGN_UNITS}, key=len, reverse=True):
        if key.endswith("_" + suffix):
            return key.removesuffix("_" + suffix)
    return key
