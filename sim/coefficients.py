"""Every load and coefficient of a bait: its value, where it comes from, how far it is known.

The values are those that the kernels get: from the assembled bait, the kernels' arrays and
constants, and the configuration. Sources and their status are those of docs/equations.md.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from sim.bait.added_mass import plate_gyration, shift_matrix
from sim.bait.assembly import Assembly, assemble
from sim.bait.frame import GRAM, GRAM_PER_CM3, MM, MOTIONS
from sim.bait.plates import PlateProperties
from sim.bait.sections import crossflow_coefficients, crossflow_end_factor
from sim.config.models import Config, Limits
from sim.config.units import unit_of
from sim.kernels import layout as lo
from sim.kernels.layout import Model
from sim.kernels.plate import CP_FALL, CP_SHIFT, plate_load
from sim.model import body_side_force, build_model
from sim.start import FIRST_KICK_DEG

# How far a value is known. "from memory" goes on with the confidence: high, medium to high, medium.
READ, COPY, COMPUTED = "read", "read in a copy", "computed"
HIGH, MEDIUM_HIGH, MEDIUM = (
    "from memory, high", "from memory, medium to high", "from memory, medium"
)  # fmt: skip
FITTED, ASSUMED = "fitted", "assumed"
GIVEN = "given"  # by the configuration
CONVENTION = "convention"  # chosen, neither right nor wrong
OFF = "off"  # a load that does not act
STATUSES = (
    READ, COPY, COMPUTED, HIGH, MEDIUM_HIGH, MEDIUM, FITTED, ASSUMED, GIVEN, CONVENTION, OFF
)  # fmt: skip

THIS_CONFIGURATION = "this configuration"
SMALL_TURN = 1e-6  # rotation by which a kernel is asked for its slope [rad/s at 1 m/s]
DEEP = 1e9  # a depth where everything is submerged [m]
NOTHING = 1e-9  # entries of a matrix below this share of their diagonal are rounding errors
# What a load may need, and how its absence is told: reason and key.
BODY = ("no body ([bait.body])", "bait.body")
BILL = ("no bill ([bait.bill])", "bait.bill")


@dataclass(frozen=True)
class Coefficient:
    """One value that enters the motion of a bait.

    Attributes
    ----------
    load : str      the load it belongs to; rows of one load follow each other
    name : str      what it is, in words
    symbol : str    as in docs/equations.md; "" without one
    value : float   in ``unit``; None for a load that is off
    unit : str      as the configuration has it (g, mm, degrees, ...); "1" without one
    source : str    where the value comes from; for a load that is off, why it is off
    status : str    how far it is known, one of ``STATUSES``
    key : str       key of the configuration that changes it; "" where the shape of a part does
    given : bool    the configuration sets another value than the default
    switch : str    key of the configuration that takes the whole load away, "" without one
    """

    load: str
    name: str
    symbol: str
    value: float | None
    unit: str
    source: str
    status: str
    key: str = ""
    given: bool = False
    switch: str = ""


def sources(config: Config) -> tuple[Coefficient, ...]:
    """Every value that enters the motion of the configured bait, load by load.

    Returns
    -------
    tuple of Coefficient
        First the physics, then what is a convention: numerical settings and limits of the classes.

    Raises
    ------
    ConfigError
        When the parts of the bait contradict each other.
    """
    return tuple(row for row in _listed(config) if row.status != OFF)


def loads_off(config: Config) -> tuple[Coefficient, ...]:
    """Loads that do not act on the configured bait, one row each, with the reason as the source.

    Raises
    ------
    ConfigError
        When the parts of the bait contradict each other.
    """
    return tuple(row for row in _listed(config) if row.status == OFF)


def _listed(config: Config) -> Iterator[Coefficient]:
    bait = assemble(config)
    case = _Case(config, bait, build_model(config, bait, np.zeros(3)))
    for group in (
        _water, _current, _mass, _weight, _buoyancy, _surface, _added_mass, _bill, _plates, _wake,
        _crossflow, _shadow, _side_force, _axial, _hooks, _line, _numerics, _limits,
    ):  # fmt: skip
        yield from group(case)


# ---- making rows --------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Case:
    """A configured bait and the arrays that the kernels get for it."""

    config: Config
    bait: Assembly
    model: Model

    def scalar(self, index: int) -> float:
        return float(self.model.scalar[index, 0])


@dataclass(frozen=True)
class _Load:
    """Makes the rows of one load."""

    case: _Case
    title: str
    switch: str = ""

    def row(
        self, name: str, value: float, unit: str, source: str, status: str, symbol: str = "",
        key: str = "", given: bool = False,
    ) -> Coefficient:  # fmt: skip
        """A row; one that the configuration gives has no other source."""
        if given:
            source, status = THIS_CONFIGURATION, GIVEN
        return Coefficient(
            self.title, name, symbol, float(value), unit, source, status, key, given, self.switch
        )

    def set(
        self, key: str, source: str, status: str, symbol: str = "", name: str = "",
        value: float | None = None,
    ) -> Coefficient:  # fmt: skip
        """A row for a key of the configuration.

        ``value`` stands in where the key is left out and the program finds a value itself.
        """
        found, title, given = _look_up(self.case.config, key)
        unit = unit_of(key.rpartition(".")[2]) or "1"
        number = value if found is None else found
        assert number is not None
        return self.row(name or title, number, unit, source, status, symbol, key, given)

    def off(self, why: str, key: str) -> Coefficient:
        """The one row of a load that does not act."""
        return Coefficient(self.title, "", "", None, "1", why, OFF, key, switch=self.switch)

    def why_off(self, *needs: tuple[bool, tuple[str, str]]) -> list[Coefficient]:
        """The one row of a load that does not act, or none.

        Parameters
        ----------
        *needs : (bool, (str, str))    whether there is what the load needs; reason and key if not
        """
        table, _, name = self.switch.partition(".")
        if name and not getattr(getattr(self.case.config, table), name):
            return [self.off(f"switched off ({self.switch} = false)", self.switch)]
        return [self.off(*reason) for there, reason in needs if not there][:1]


def _look_up(config: Config, key: str) -> tuple[Any, str, bool]:
    """Value, title and whether it is another than the default, of a dotted key."""
    *path, last = key.split(".")
    place: Any = config
    for part in path:
        place = place[int(part)] if part.isdecimal() else getattr(place, part)
    field = type(place).model_fields[last]
    value = getattr(place, last)
    given = field.is_required() or value != field.get_default(call_default_factory=True)
    return value, field.title or last, given


# ---- water and mass -----------------------------------------------------------------------------


def _water(case: _Case) -> Iterator[Coefficient]:
    water, load = case.config.water, _Load(case, "Water")
    at = f"at {water.temperature_c:g} degrees C"
    if water.kind == "sea":
        density = f"EOS-80, 35 g/kg, {at}; checked against a table to 1e-4"
        viscosity = f"Sharqawy, Lienhard & Zubair 2010, {at}; checked against tables to 1 %"
    else:
        density = f"Kell 1975, {at}; checked against tables to 1e-5"
        viscosity = f"IAPWS SR6-08, {at}; checked against tables to 1e-3"
    found = case.bait.water
    yield load.set(
        "water.density_kg_m3", density, HIGH, "rho", f"density of {water.kind} water", found.density
    )
    yield load.set(
        "water.viscosity_m2_s", viscosity, HIGH, "nu", f"kinematic viscosity of {water.kind} water",
        found.viscosity,
    )  # fmt: skip
    yield load.set("water.gravity_m_s2", "standard gravity, by definition", HIGH, "g")


def _current(case: _Case) -> Iterator[Coefficient]:
    load = _Load(case, "Current")
    speed, toward = "water.current_m_s", "water.current_toward_deg"
    if off := load.why_off((case.config.water.current_m_s > 0.0, (f"{speed} is 0", speed))):
        yield from off
        return
    yield load.set(speed, "", GIVEN)
    yield load.set(toward, "counted like retrieve.heading_deg", CONVENTION)


def _mass(case: _Case) -> Iterator[Coefficient]:
    config, bait, load = case.config, case.bait, _Load(case, "Mass of the parts")
    yield load.set(
        "bait.total_mass_g", "sum of the parts", COMPUTED, "m", "mass of the rigged bait",
        bait.mass / GRAM,
    )  # fmt: skip
    if config.bait.body is not None and bait.body_density is not None:
        value, name = bait.body_density / GRAM_PER_CM3, "density of the body material"
        if config.bait.total_mass_g is None:
            yield load.set("bait.body.density_g_cm3", "", GIVEN, name=name)
        else:
            yield load.row(
                name, value, "g/cm3",
                "implied by the weighed total, less the other parts, over the body's volume",
                COMPUTED, key="bait.total_mass_g",
            )  # fmt: skip
        if config.bait.body.wall_mm is not None:
            yield load.set("bait.body.filling_density_g_cm3", "air, its weight left out", ASSUMED)
    if config.bait.bill is not None:
        yield load.set("bait.bill.density_g_cm3", "polycarbonate sheet", HIGH)
    for list_, kind, source in (
        ("plate", "plate", "polycarbonate sheet"),
        ("ballast", "weight", "lead"),
        ("hook", "hook", "carbon steel"),
    ):
        for i, part in enumerate(getattr(config.bait, list_)):
            key = f"bait.{list_}.{i}.density_g_cm3"
            yield load.set(key, source, HIGH, name=f'density of {kind} "{part.name}"')


def _weight(case: _Case) -> Iterator[Coefficient]:
    load = _Load(case, "Weight", "loads.weight")
    if off := load.why_off():
        yield from off
        return
    yield load.row(
        "weight of the rigged bait", case.scalar(lo.WEIGHT), "N", "mass times gravity", COMPUTED,
        "m g",
    )  # fmt: skip


def _buoyancy(case: _Case) -> Iterator[Coefficient]:
    load = _Load(case, "Buoyancy", "loads.buoyancy")
    if off := load.why_off((case.bait.volume > 0.0, ("nothing displaces water", "bait"))):
        yield from off
        return
    yield load.row(
        "displaced volume, submerged", case.bait.volume * 1e6, "cm3",
        "sum over body, plates, hooks and weights outside", COMPUTED, "V",
    )  # fmt: skip
    yield load.row(
        "buoyancy, submerged", case.scalar(lo.BUOY), "N", "density times gravity times volume",
        COMPUTED, "rho g V",
    )  # fmt: skip


def _surface(case: _Case) -> Iterator[Coefficient]:
    load = _Load(case, "Near the surface", "water.surface")
    if off := load.why_off():
        yield from off
        return
    yield load.row(
        "depth of the centre of gravity from which all counts as submerged",
        case.scalar(lo.RADIUS) / MM, "mm",
        "reach of the farthest part and a margin; above that depth buoyancy and loads of the body"
        " scale with the wet share, exact for elliptic sections at any heel and trim; plates go by"
        " element, a hook all or nothing; the added mass is not reduced, a stated limit",
        COMPUTED,
    )  # fmt: skip


# ---- added mass ---------------------------------------------------------------------------------


def _added_mass(case: _Case) -> Iterator[Coefficient]:
    bait, switch = case.bait, "loads.added_mass"
    if off := _Load(case, "Added mass", switch).why_off():
        yield from off
        return
    load = _Load(case, "Added mass of the body", switch)
    yield from load.why_off((bait.body is not None, BODY))
    if bait.body is not None:
        yield from _matrix_rows(load, shift_matrix(bait.body.added_mass, bait.centre_of_gravity))
    for plate, title, _ in _every_plate(case):
        load = _Load(case, f"Added mass of the {title[0].lower()}{title[1:]}", switch)
        yield load.row(
            "added mass along the normal", plate.fluid_mass / GRAM, "g",
            "between the elliptic disc (Lamb 1932, computed) and the rectangular plates of"
            " DNV-RP-C205 App. D (read in a copy), by the fullness of the outline",
            COPY,
        )  # fmt: skip
        along, across = plate_gyration(plate.length, plate.width, plate.area)
        for where, radius in (("along the length", along), ("across", across)):
            yield load.row(
                f"radius of gyration of it, {where}", radius / MM, "mm",
                "between the elliptic disc (exact) and a vortex lattice on rectangles, by the"
                " fullness of the outline",
                COMPUTED,
            )  # fmt: skip


def _matrix_rows(load: _Load, matrix: np.ndarray) -> Iterator[Coefficient]:
    """The terms of a symmetric 6 x 6 added mass about the centre of gravity that are not zero."""
    source = "potential flow round the shape of the body, about the centre of gravity"
    scale = np.repeat([1.0, MM], 3)
    in_grams = matrix / GRAM / np.outer(scale, scale)
    size = np.repeat(np.sqrt(np.abs(np.diag(in_grams)).reshape(2, 3).max(axis=1)), 3)
    units = ("g", "g mm", "g mm2")
    for i in range(6):
        for j in range(i, 6):
            value = float(in_grams[i, j])
            if abs(value) <= NOTHING * size[i] * size[j]:
                continue
            other = "" if i == j else f" with {MOTIONS[j]}"
            yield load.row(
                f"added mass of the body, {MOTIONS[i]}{other}", value,
                units[(i > 2) + (j > 2)],
                source, COMPUTED, f"M_A{i + 1}{j + 1}",
            )  # fmt: skip


# ---- plates -------------------------------------------------------------------------------------


def _every_plate(case: _Case) -> list[tuple[PlateProperties, str, int]]:
    """Each plate with its title and its row in the kernels' arrays."""
    found = []
    number = 0
    for row, plate in enumerate(case.bait.plates):
        if plate is case.bait.bill:
            found.append((plate, "Bill", row))
        else:
            found.append((plate, f'Plate "{plate.name}" (bait.plate.{number})', row))
            number += 1
    return found


def _bill(case: _Case) -> Iterator[Coefficient]:
    load, bill = _Load(case, "Bill", "loads.bill"), case.bait.bill
    yield from load.why_off((bill is not None, BILL)) or _plate_rows(load, case.bait.plates[0], 0)


def _plates(case: _Case) -> Iterator[Coefficient]:
    load = _Load(case, "Further plates", "loads.plates")
    plates = [entry for entry in _every_plate(case) if entry[0] is not case.bait.bill]
    if off := load.why_off((bool(plates), ("no fin or keel ([[bait.plate]])", "bait.plate"))):
        yield from off
        return
    for plate, title, row in plates:
        yield from _plate_rows(_Load(case, title, load.switch), plate, row)


def _plate_rows(load: _Load, plate: PlateProperties, i: int) -> Iterator[Coefficient]:
    case = load.case
    row = case.model.plates[i, :, 0]
    helmbold = "2 pi AR / (2 + sqrt(4 + AR^2)), Helmbold 1942"
    for where, index in (("along its length", lo.PL_K1), ("across it", lo.PL_K2)):
        yield load.row(
            f"slope of the normal force, stream {where}", row[index], "1/rad", helmbold, HIGH, "K_p"
        )
    yield load.row(
        "normal force coefficient broadside", row[lo.PL_CD], "1",
        "1.98 [1 - 0.41 (1 - exp(-17/AR))], Lindenburg 2001, ECN-RX--01-004; the 1.17 of a square"
        " plate read in Aeronautical Engineer's Data Book p. 95",
        COPY, "C_D",
    )  # fmt: skip
    yield load.row(
        "side-edge coefficient", row[lo.PL_CE], "1",
        "Holmes, Letchford & Lin 2006 (formulas from memory, high) and Joessel (about 1870, from"
        " memory, medium)",
        FITTED, "K_e",
    )  # fmt: skip
    yield load.row(
        "centre of pressure ahead of the centre in chords, shift", CP_SHIFT, "1",
        "e = cos a (shift - fall sin a); thin aerofoil, exact at small incidence", COMPUTED, "e",
    )  # fmt: skip
    yield load.row(
        "fall of it toward 90 degrees", CP_FALL, "1",
        "Holmes, Letchford & Lin 2006, within 0.05 of the chord", FITTED, "e",
    )  # fmt: skip
    yield load.row(
        "rotational lift about mid-chord (rho c^2/2 C_R omega v)", rotational_lift(case.model, i),
        "1",
        "quarter-chord rule of quasi-steady thin-aerofoil theory: a quarter of K_p, pi/2 for a"
        " plate of endless width",
        COMPUTED, "C_R",
    )  # fmt: skip
    rho, nu = case.bait.water
    friction = row[lo.PL_FRICTION] / (rho * plate.area * math.sqrt(nu / plate.length))
    yield load.row(
        "friction in the plane, a side, times sqrt(Re)", friction, "1",
        "Blasius, laminar boundary layer", HIGH, "C_f",
    )  # fmt: skip
    if row[lo.PL_MUNK] > 0.0:
        yield load.row(
            "added mass whose steady couple is taken off", row[lo.PL_MUNK] / GRAM, "g",
            "measured centres of pressure hold that couple already, the momentum equations would"
            " bring it in once more",
            COMPUTED, "m",
        )  # fmt: skip


def rotational_lift(model: Model, i: int) -> float:
    """Coefficient C_R of the normal force rho c^2/2 C_R omega v of a plate that turns [-].

    Parameters
    ----------
    model : Model
    i : int    plate

    Notes
    -----
    Asked of the kernel: the plate in a stream along its length turns slowly about its centre.
    """
    plates = model.plates
    row = plates[i, :, 0]
    along, across = row[lo.PL_1X : lo.PL_1Z + 1], row[lo.PL_2X : lo.PL_2Z + 1]
    turn = SMALL_TURN * across
    velocity = along - np.cross(turn, row[lo.PL_X : lo.PL_Z + 1])
    load = plate_load(*velocity, *turn, 0.0, 0.0, 1.0, DEEP, 0.0, plates, model.elements, i, 0)
    normal = abs(float(np.dot(load[:3], row[lo.PL_NX : lo.PL_NZ + 1])))
    return normal / float(row[lo.PL_ON] * row[lo.PL_L1] * SMALL_TURN)


def _wake(case: _Case) -> Iterator[Coefficient]:
    load, offset = _Load(case, "Wake of the bill", "loads.wake"), "coefficients.wake_offset"
    if off := load.why_off(
        (case.bait.bill is not None, BILL),
        (case.config.loads.bill, ("no load on the bill (loads.bill = false)", "loads.bill")),
        (case.config.coefficients.wake_offset > 0.0, (f"{offset} is 0", offset)),
    ):
        yield from off
        return
    yield load.set(
        "coefficients.strouhal", "plates: Roshko 1954, NACA TN 3169; Fage & Johansen 1927", HIGH,
        "St",
    )  # fmt: skip
    yield load.set(
        "coefficients.wake_damping",
        "Facchinetti, de Langre & Biolley 2004, from memory, for cylinders; use on a bill assumed",
        ASSUMED, "eps",
    )  # fmt: skip
    yield load.set(offset, "share of the bill's width, no published value", ASSUMED, "e0")
    yield load.set(
        "coefficients.wake_coupling",
        "cylinders have 12 in Facchinetti, de Langre & Biolley 2004; open for plates", ASSUMED,
        "coupling",
    )  # fmt: skip


# ---- body ---------------------------------------------------------------------------------------


def _crossflow(case: _Case) -> Iterator[Coefficient]:
    load = _Load(case, "Crossflow drag of the body", "loads.body_drag")
    body, settings = case.bait.body, case.config.bait.body
    if off := load.why_off((body is not None, BODY)):
        yield from off
        return
    assert body is not None and settings is not None
    source = (
        "table on the ratio of the section, White, Fluid Mechanics, table 7.2, and DNV-RP-C205"
        " App. E; sharp slab sides lean toward the rectangle (assumed in between)"
    )
    sway, heave = crossflow_coefficients(settings, body)
    yield load.set(
        "bait.body.crossflow_sway", source, MEDIUM_HIGH, "C_d", "section drag in sway", sway
    )
    yield load.set(
        "bait.body.crossflow_heave", source, MEDIUM_HIGH, "C_d", "section drag in heave", heave
    )
    diameter = math.sqrt(4.0 * body.frontal_area / math.pi)
    yield load.set(
        "coefficients.crossflow_end_factor",
        "by the slenderness: a sphere keeps its own drag, a long bait 0.9; in steady drift a"
        " cylinder like it keeps about 0.6, in short strokes 0.8 to 1 is likely",
        ASSUMED, value=crossflow_end_factor(body.length, diameter),
    )  # fmt: skip


def _shadow(case: _Case) -> Iterator[Coefficient]:
    load, key = _Load(case, "Bill shadow"), "coefficients.bill_shadow"
    if off := load.why_off(
        (case.config.coefficients.bill_shadow > 0.0, (f"{key} is 0", key)),
        (case.bait.bill is not None, BILL),
        (case.bait.body is not None, BODY),
        (
            case.config.loads.body_drag,
            ("no crossflow drag (loads.body_drag = false)", "loads.body_drag"),
        ),
    ):
        yield from off
        return
    yield load.set(key, "off by default", ASSUMED)
    yield load.set("coefficients.bill_shadow_reach_mm", "no published value", ASSUMED)


def _side_force(case: _Case) -> Iterator[Coefficient]:
    load = _Load(case, "Side force and lift of the body", "loads.tail")
    factor = "coefficients.side_force_factor"
    if off := load.why_off(
        (case.bait.body is not None, BODY),
        (case.config.coefficients.side_force_factor != 0.0, (f"{factor} is 0", factor)),
    ):
        yield from off
        return
    for name, symbol, heave in (("side force", "y", False), ("lift", "z", True)):
        drift = body_side_force(case.config, case.bait, heave)
        yield load.row(
            f"factor of the {name}", drift.factor, "1",
            "1 + 0.40 C_B B/T of the body: Jones 1946 for the 1, regression of Clarke, Gedling &"
            " Hine 1983 for ship hulls in drift, from memory; use on a bait assumed",
            ASSUMED, f"k_{symbol}",
        )  # fmt: skip
        yield load.row(
            f"where the {name} acts behind mid-length", drift.aft_of_mid, "1",
            "share of the length, from the outline: the flow leaves the body at its thickest"
            " section (assumed; laminar), what hulls have beyond that is spread along the body",
            ASSUMED, f"x_{symbol}",
        )  # fmt: skip
        yield load.row(
            f"how far the {name} is spread about that place", drift.spread, "1",
            "share of the length, root mean square, from the outline as its place", ASSUMED,
            f"s_{symbol}",
        )  # fmt: skip
    yield load.set(factor, "taken into the factors above", ASSUMED)
    yield load.set("coefficients.side_force_shift", "taken into the places above", ASSUMED)


def _axial(case: _Case) -> Iterator[Coefficient]:
    load, body = _Load(case, "Axial drag of the body", "loads.axial_drag"), case.bait.body
    if off := load.why_off((body is not None, BODY)):
        yield from off
        return
    assert body is not None
    whole = case.scalar(lo.AXIAL) / (0.5 * case.bait.water.density * body.frontal_area)
    share = case.config.coefficients.bluff_drag_share
    yield load.row(
        "axial drag coefficient on the greatest section", whole - share, "1",
        "0.44 d/l + 4 C_f l/d + 4 C_f sqrt(d/l) with C_f of Blasius at the speed of the retrieve,"
        " Hoerner 1965, ch. 6, laminar separation",
        MEDIUM, "C_d",
    )  # fmt: skip
    yield load.set("coefficients.bluff_drag_share", "none by default", ASSUMED)


def _hooks(case: _Case) -> Iterator[Coefficient]:
    load, hooks = _Load(case, "Hooks", "loads.hooks"), case.config.bait.hook
    if off := load.why_off((bool(hooks), ("no hook ([[bait.hook]])", "bait.hook"))):
        yield from off
        return
    for i, hook in enumerate(hooks):
        key = f"bait.hook.{i}.drag_area_mm2"
        if hook.drag_area_mm2 > 0.0:
            yield load.set(key, "", GIVEN, name=f'drag area of hook "{hook.name}"')
        else:
            single = _Load(case, f'Hook "{hook.name}" (bait.hook.{i})', load.switch)
            yield single.off("no drag_area_mm2 given", key)


# ---- line ---------------------------------------------------------------------------------------


def _line(case: _Case) -> Iterator[Coefficient]:
    load, line = _Load(case, "Line", "loads.line"), case.config.line
    if off := load.why_off((line is not None, ("no line ([line])", "line"))):
        yield from off
        return
    assert line is not None
    yield load.row(
        "stiffness of the cross-section", case.scalar(lo.EA), "N", "modulus times section",
        COMPUTED, "EA",
    )  # fmt: skip
    yield load.set("line.modulus_gpa", "nylon 1.5 to 3, data sheets", MEDIUM)
    yield load.set("line.diameter_mm", "a common 10 lb nylon, makers' labels", MEDIUM, "d")
    yield load.set("line.damping_ratio", "no published value", ASSUMED)
    yield load.set(
        "line.normal_drag_coefficient", "smooth cylinder, White, Fluid Mechanics", HIGH
    )  # fmt: skip
    yield load.set(
        "line.tangential_drag_coefficient", "cable handbooks 0.02 to 0.05, on pi d L", MEDIUM
    )  # fmt: skip
    rho, d = case.bait.water.density, line.diameter_mm * MM
    whole = (
        0.5 * rho * d * line.normal_drag_coefficient,
        0.5 * rho * math.pi * d * line.tangential_drag_coefficient,
    )
    carried = (case.scalar(lo.LINE_CN), case.scalar(lo.LINE_CT))
    shares = [part / of for part, of in zip(carried, whole, strict=True) if of > 0.0]
    if shares:
        yield load.row(
            "share of the line's drag that the tie point carries", shares[0], "1",
            "the rod carries the other half; weight, sag and inertia of the line are left out",
            ASSUMED,
        )  # fmt: skip
        yield load.row(
            "beat of the tie point, for the resistance of the line's end to it",
            case.scalar(lo.LINE_WAVE) / (2.0 * math.pi), "1/m",
            "swings in a metre of travel, 0.45 in a body length; enters by its root only", ASSUMED,
        )  # fmt: skip


# ---- conventions --------------------------------------------------------------------------------


def _numerics(case: _Case) -> Iterator[Coefficient]:
    load, solver = _Load(case, "Numerical settings"), case.config.solver
    if solver.method == "rk4":
        yield load.set(
            "solver.step_ms",
            "four figures agree between 0.5, 1 and 2 ms; divided where a stiff line asks for less",
            CONVENTION,
        )  # fmt: skip
    else:
        yield load.set("solver.rtol", "adaptive steps", CONVENTION)
        yield load.set("solver.atol", "adaptive steps", CONVENTION)
    if case.bait.plates:
        source = "see the verification page"
        yield load.set("solver.plate_elements_along", source, CONVENTION)
        yield load.set("solver.plate_elements_across", source, CONVENTION)
    if case.bait.body is not None:
        source = "see the verification page"
        yield load.set("solver.body_strips", source, CONVENTION)
        yield load.set("solver.body_slices", "Gauss points", CONVENTION)
    if case.config.line is not None:
        yield load.set(
            "start.yaw_deg", "a small kick, so that growing motion shows", CONVENTION,
            value=FIRST_KICK_DEG,
        )  # fmt: skip
    if all(row.status != OFF for row in _wake(case)):
        yield load.set("start.wake", "not 0, or the wake never starts", CONVENTION, "s")


def _limits(case: _Case) -> Iterator[Coefficient]:
    load = _Load(case, "Limits of the classes")
    if off := load.why_off((case.config.line is not None, ("no line, so no class", "line"))):
        yield from off
        return
    for key in Limits.model_fields:
        yield load.set(f"limits.{key}", "of this program, change it to taste", CONVENTION)
