"""The configuration schema: one frozen model per TOML table, values in the units of the file.

Nothing is converted here: lengths stay in mm, masses in g, angles in degrees, so that the resolved
configuration prints as the user wrote it. The tables of the bait itself are in
:mod:`sim.config.parts`.
"""

from typing import Any, Literal

from pydantic import PrivateAttr

from sim.config import checks
from sim.config.builds import Build, Uncertainty
from sim.config.fields import Table, Vector3, table, value
from sim.config.parts import Bait, Ballast, Bill, Body, Hook, Plate, Station, Tie

__all__ = [
    "Bait",
    "Ballast",
    "Bill",
    "Body",
    "Build",
    "Coefficients",
    "Config",
    "Hook",
    "Limits",
    "Line",
    "Loads",
    "Plate",
    "Retrieve",
    "Solver",
    "Start",
    "Station",
    "Tie",
    "Uncertainty",
    "Water",
]


class Line(Table):
    """The fishing line between rod tip and tie point."""

    kind: Literal["chord"] = value(
        "model of the line", default="chord", more='"chord" is a straight spring with damping'
    )
    length_m: float = value("length of the line from rod tip to bait", "m", 3.0, gt=0)
    diameter_mm: float = value(
        "diameter of the line", "mm", 0.28, "0.28 is a common 10 lb nylon, makers' labels", gt=0
    )
    modulus_gpa: float = value(
        "stiffness (Young's modulus) of the line",
        "GPa",
        2.0,
        "assumption, nylon is 1.5 to 3 by data sheets, braid 30 to 80",
        gt=0,
    )
    damping_ratio: float = value(
        "damping of the line as a share of critical damping",
        default=0.1,
        more="assumption, no published value used",
        ge=0,
        le=2,
    )
    rod_tip_height_m: float = value(
        "height of the rod tip above the surface", "m", 0.0, "negative is below the surface"
    )
    normal_drag_coefficient: float = value(
        "drag coefficient of the line across the flow",
        default=1.2,
        more="a smooth cylinder at the Reynolds number of a thin line (White, Fluid Mechanics)",
        ge=0,
    )
    tangential_drag_coefficient: float = value(
        "friction coefficient of the line along the flow",
        default=0.03,
        more="assumption within 0.02 to 0.05 of cable handbooks, on the surface pi d L",
        ge=0,
    )


class Retrieve(Table):
    """How the line is retrieved; used only when there is a line."""

    mode: Literal["tow", "reel"] = value(
        "kind of retrieve",
        default="tow",
        more='"tow" moves the rod tip at the speed, "reel" holds it still and shortens the line',
    )
    speed_m_s: float = value("speed of the retrieve", "m/s", 1.0, ge=0, le=10)
    ramp_s: float = value("time from rest to full speed", "s", 0.0, "0 starts at full speed", ge=0)
    heading_deg: float = value(
        "direction of the retrieve",
        "degrees",
        0.0,
        "0 is along the x axis, positive to starboard of it seen from above",
        ge=-360,
        le=360,
    )


class Water(Table):
    """The water, its current and its surface."""

    rules = checks.WATER_RULES

    kind: Literal["fresh", "sea"] = value(
        "kind of water",
        default="fresh",
        more='"fresh" or "sea", gives density and viscosity with the temperature',
    )
    temperature_c: float = value("temperature of the water", "degrees C", 15.0, ge=0, le=40)
    density_kg_m3: float | None = value(
        "density of the water",
        "kg/m3",
        None,
        "replaces kind and temperature_c, together with viscosity_m2_s",
        gt=0,
    )
    viscosity_m2_s: float | None = value(
        "kinematic viscosity of the water",
        "m2/s",
        None,
        "replaces kind and temperature_c, together with density_kg_m3",
        gt=0,
    )
    current_m_s: float = value("speed of the current", "m/s", 0.0, ge=0, le=5)
    current_toward_deg: float = value(
        "direction the current flows toward",
        "degrees",
        0.0,
        "counted like retrieve.heading_deg",
        ge=-360,
        le=360,
    )
    surface: bool = value(
        "whether the water has a surface",
        default=True,
        more="false is water without end, for comparison cases",
    )
    gravity_m_s2: float = value(
        "acceleration of gravity", "m/s2", 9.80665, "standard gravity", ge=0
    )


class Start(Table):
    """State of the bait at the start of the run."""

    x_m: float = value(
        "start position along x",
        "m",
        0.0,
        "the rod tip is put ahead of it, on the track through the origin, so that the line is just"
        " taut",
    )
    y_m: float = value("start position to starboard", "m", 0.0)
    depth_m: float | None = value(
        "start depth below the surface",
        "m",
        None,
        "left out, that of the steady tow where the bait starts at the speed of the retrieve, else"
        " 0.5",
    )
    roll_deg: float = value(
        "start roll angle", "degrees", 0.0, "positive is starboard side down", ge=-360, le=360
    )
    pitch_deg: float | None = value(
        "start pitch angle",
        "degrees",
        None,
        "positive is nose up, left out, that of the steady tow where depth_m is left out as well,"
        " else 0",
        ge=-360,
        le=360,
    )
    yaw_deg: float | None = value(
        "start yaw angle",
        "degrees",
        None,
        "left out, 2 with a line (a small kick so that growing motion shows) and 0 without,"
        " positive is nose to starboard",
        ge=-360,
        le=360,
    )
    velocity_m_s: Vector3 | None = value(
        "start velocity [u, v, w] in the bait frame",
        "m/s",
        None,
        "forward, starboard, toward the belly, left out it is the retrieve speed with a line (rest"
        " with a ramp) and rest without",
    )
    rates_deg_s: Vector3 = value(
        "start turning rates [p, q, r] in the bait frame",
        "degrees/s",
        (0.0, 0.0, 0.0),
        "roll, pitch, yaw",
    )
    wake: float = value(
        "start value of the wake oscillator",
        default=0.1,
        more="dimensionless, it swings between about -2 and 2, not 0 or it never starts",
    )
    wake_rate: float = value("start rate of the wake oscillator", default=0.0, more="per second")


class Solver(Table):
    """Time stepping, length of the run and resolution of the load elements."""

    rules = checks.SOLVER_RULES

    method: Literal["rk4", "dop853"] = value(
        "integrator",
        default="rk4",
        more='"rk4" has a fixed step, "dop853" is the adaptive reference of SciPy',
    )
    step_ms: float = value("time step of rk4", "ms", 2.0, ge=0.01, le=20)
    duration_s: float = value("length of the run", "s", 8.0, ge=0.1, le=600)
    max_duration_s: float = value(
        "longest run",
        "s",
        24.0,
        "the run is extended up to this while it has not settled",
        ge=0.1,
        le=3600,
    )
    output_step_ms: float = value(
        "time between stored states", "ms", 4.0, "a whole multiple of step_ms", gt=0, le=50
    )
    settle_tolerance: float = value(
        "largest change from block to block that counts as settled",
        default=0.05,
        more="relative, an assumption",
        ge=0.001,
        le=0.5,
    )
    rtol: float = value("relative tolerance of dop853", default=1e-9, ge=1e-13, le=0.1)
    atol: float = value(
        "absolute tolerance of dop853", default=1e-11, more="SI units", gt=0, le=0.1
    )
    plate_elements_along: int = value(
        "load elements along the length of a plate", default=4, ge=1, le=16
    )
    plate_elements_across: int = value(
        "load elements across the width of a plate", default=6, ge=1, le=16
    )
    body_strips: int = value(
        "load sections along the body", default=8, more="at Gauss points", ge=4, le=64
    )
    body_slices: int = value("load slices over the section of a strip", default=3, ge=1, le=16)


class Limits(Table):
    """Limits between the classes of motion; conventions of this program, change them to taste."""

    roll_deg: float = value(
        "roll amplitude above which a bait over-rolls", "degrees", 35.0, "a convention", gt=0
    )
    lean_deg: float = value(
        "mean roll (lean) above which a bait over-rolls", "degrees", 35.0, "a convention", gt=0
    )
    tight_yaw_deg: float = value(
        "yaw amplitude below which the action is tight", "degrees", 6.0, "a convention", gt=0
    )
    roll_to_yaw: float = value(
        "roll amplitude over yaw amplitude above which a bait over-rolls",
        default=3.0,
        more="a convention",
        gt=0,
    )
    roll_to_yaw_from_deg: float = value(
        "roll amplitude above which roll_to_yaw counts", "degrees", 15.0, "a convention", gt=0
    )
    no_action_deg: float = value(
        "amplitude below which there is no visible action", "degrees", 1.0, "a convention", gt=0
    )
    spin_turns: float = value(
        "net turns about the long axis from which a bait spins", "turns", 1.0, "a convention", gt=0
    )
    run_off_deg: float = value(
        "angle between line and retrieve from above beyond which a bait runs off to one side",
        "degrees",
        10.0,
        "a convention, decides no class",
        gt=0,
        lt=90,
    )


class Loads(Table):
    """Which loads act; switch one off to see what it does."""

    weight: bool = value("weight", default=True, more="false switches it off")
    buoyancy: bool = value("buoyancy", default=True, more="false switches it off")
    added_mass: bool = value("added mass of the water", default=True, more="false switches it off")
    bill: bool = value("loads on the bill", default=True, more="false switches them off")
    plates: bool = value(
        "loads on the further plates", default=True, more="false switches them off"
    )
    wake: bool = value(
        "shedding of the bill's wake", default=True, more="false is the pure quasi-steady bill"
    )
    body_drag: bool = value(
        "crossflow drag of the body", default=True, more="false switches it off"
    )
    tail: bool = value(
        "linear side force and lift of the body",
        default=True,
        more="because the flow leaves the body ahead of the tail, false switches them off",
    )
    axial_drag: bool = value("drag along the body", default=True, more="false switches it off")
    hooks: bool = value("drag of the hooks", default=True, more="false switches it off")
    line: bool = value("pull and drag of the line", default=True, more="false switches them off")


class Coefficients(Table):
    """Coefficients of the load models; each is an assumption to some degree and may be changed."""

    strouhal: float = value(
        "Strouhal number of the bill's wake on its width",
        default=0.15,
        more="plates 0.14 to 0.15 (Roshko 1954, NACA TN 3169; Fage & Johansen 1927), from memory",
        ge=0,
        le=1,
    )
    wake_offset: float = value(
        "sideways swing of the bill's centre of pressure by its wake",
        default=0.08,
        more="share of the bill's width, assumption without a published value, chosen so that the"
        " demonstration baits do what practice reports",
        ge=0,
        le=0.5,
    )
    wake_damping: float = value(
        "damping of the wake oscillator",
        default=0.3,
        more="fitted to cylinder wakes by Facchinetti, de Langre & Biolley 2004, for a plate an"
        " assumption",
        ge=0,
        le=5,
    )
    wake_coupling: float = value(
        "coupling of the wake oscillator to the bill's side acceleration",
        default=0.0,
        more="assumption, 12 fits cylinders (Facchinetti, de Langre & Biolley 2004), plates open",
        ge=0,
        le=50,
    )
    side_force_factor: float = value(
        "factor on the body's linear side force and lift",
        default=1.0,
        more="on what follows from the body's outline by the ship regressions of Clarke, Gedling &"
        " Hine 1983, from memory, for a bait an assumption",
        ge=0,
        le=3,
    )
    side_force_shift: float = value(
        "how far aft the body's linear side force and lift are moved",
        default=0.0,
        more="share of the body length, from where the outline puts them by the assumption that the"
        " flow leaves the body at its thickest section, negative is forward",
        ge=-0.5,
        le=0.5,
    )
    crossflow_end_factor: float | None = value(
        "factor on the crossflow drag for flow round the ends",
        default=None,
        more="left out, it follows from the slenderness: a sphere has its own drag, a long bait"
        " 0.9, an assumption for the short strokes of a wobble (0.6 measured in steady drift)",
        ge=0,
        le=2,
    )
    bill_shadow: float = value(
        "share of their crossflow drag that nose sections lose behind the bill",
        default=0.0,
        more="assumption, off by default",
        ge=0,
        le=0.8,
    )
    bill_shadow_reach_mm: float = value(
        "distance over which the bill's shadow fades", "mm", 25.0, "assumption", gt=0
    )
    bluff_drag_share: float = value(
        "extra drag coefficient along the body on its frontal area",
        default=0.0,
        more="assumption, for blunt or rough bodies",
        ge=0,
        le=2,
    )


class Config(Table):
    """Configuration of one bait on one retrieve."""

    rules = checks.CONFIG_RULES

    name: str | None = value(
        "name of the configuration",
        default=None,
        more="letters, digits, - _ and ., names the result file; left out, the name of the file",
        pattern=r"\A[A-Za-z0-9_][A-Za-z0-9._-]*\z",
        max_length=100,
    )
    note: str = value("remark", default="", more="free text, changes nothing")
    bait: Bait = value("the bait and its parts")
    line: Line | None = table("the line", more="left out, the bait moves freely")
    retrieve: Retrieve = table("the retrieve", Retrieve, "used only with a line")
    water: Water = table("the water", Water)
    start: Start = table("the start of the run", Start)
    solver: Solver = table("the solver", Solver)
    limits: Limits = table("limits between the classes of motion", Limits)
    loads: Loads = table("loads that act", Loads)
    coefficients: Coefficients = table("coefficients of the load models", Coefficients)
    build: Build = table(
        "how closely baits are built", Build, "read by risk alone, changes no single run"
    )
    uncertainty: Uncertainty = table(
        "how far coefficients may lie off", Uncertainty, "read by risk alone, changes no single run"
    )

    _source_text: str = PrivateAttr(default="")
    _source_path: str = PrivateAttr(default="")
    _overrides: dict[str, Any] = PrivateAttr(default_factory=dict)

    @property
    def source_text(self) -> str:
        """Text of the file, verbatim; "" when the configuration did not come from a file."""
        return self._source_text

    @property
    def source_path(self) -> str:
        """Path of the file as it was given; "" or a label when there is none."""
        return self._source_path

    @property
    def overrides(self) -> dict[str, Any]:
        """Overrides that were applied after reading, dotted key to value (a copy)."""
        return dict(self._overrides)

    def __eq__(self, other: object) -> bool:
        # Pydantic also compares private attributes; where the values came from must not matter.
        if not isinstance(other, Config):
            return NotImplemented
        return self.__dict__ == other.__dict__

    __hash__ = None  # type: ignore[assignment]
