"""The schema of the bait: one frozen model per table under ``[bait]``, values as in the file.

Positions are measured from the nose tip (``from_nose_mm``, aft positive), from the body centreline
(``above_centreline_mm``, up positive) and from the plane of symmetry (``right_mm``, starboard
positive).
"""

from typing import Annotated, Literal

from sim.config import checks
from sim.config.fields import AsTuple, Points2, Table, table, value


class Station(Table):
    """One cross-section of the body."""

    from_nose_mm: float = value("distance of the station behind the nose tip", "mm", ge=0)
    upper_mm: float = value("height of the back above the centreline there", "mm", ge=0)
    lower_mm: float = value("depth of the belly below the centreline there", "mm", ge=0)
    half_width_mm: float = value("half of the body's width there", "mm", ge=0)


class Body(Table):
    """The body of the bait: stations along its length, or an ellipsoid."""

    rules = checks.BODY_RULES

    form: Literal["stations", "ellipsoid"] = value(
        "how the body is described", default="stations", more='"stations" or "ellipsoid"'
    )
    length_mm: float = value("length of the body", "mm", more="nose tip to tail", gt=0)
    height_mm: float | None = value(
        "greatest height of the ellipsoid", "mm", None, 'only with form = "ellipsoid"', gt=0
    )
    width_mm: float | None = value(
        "greatest width of the ellipsoid", "mm", None, 'only with form = "ellipsoid"', gt=0
    )
    station: Annotated[tuple[Station, ...], AsTuple] = value(
        "stations of the body",
        default=(),
        more='cross-sections from the nose tip to the tail, only with form = "stations"',
    )
    exponent: float = value(
        "exponent of the superelliptic cross-section",
        default=2.0,
        more="2 is an ellipse, larger values give slab sides",
        ge=2,
        le=20,
    )
    density_g_cm3: float | None = value(
        "density of the body material",
        "g/cm3",
        None,
        "needed unless bait.total_mass_g is given, which then decides",
        ge=0.05,
        le=25,
    )
    wall_mm: float | None = value(
        "wall thickness of a hollow body",
        "mm",
        None,
        "only the wall then has the body density; left out, the body is solid",
        gt=0,
    )
    filling_density_g_cm3: float = value(
        "density of what fills a hollow body",
        "g/cm3",
        0.0,
        "0 is air, only with wall_mm",
        ge=0,
        le=25,
    )
    lopsided_mm: float = value(
        "sideways offset of the centre of mass of the body's material",
        "mm",
        0.0,
        "uneven wood or casting, positive to starboard",
        ge=-20,
        le=20,
    )
    crossflow_sway: float | None = value(
        "drag coefficient of the sections in sideways flow",
        default=None,
        more="left out, it follows from the axis ratio of the greatest section (published section"
        " data)",
        ge=0,
    )
    crossflow_heave: float | None = value(
        "drag coefficient of the sections in vertical flow",
        default=None,
        more="left out, it follows from the axis ratio of the greatest section (published section"
        " data)",
        ge=0,
    )


class Bill(Table):
    """The bill (lip): a thin flat plate."""

    rules = checks.PLATE_RULES

    from_nose_mm: float = value(
        "distance of the bill's root behind the nose tip",
        "mm",
        more="negative is ahead of the nose",
    )
    above_centreline_mm: float = value(
        "height of the bill's root above the centreline", "mm", more="negative is below"
    )
    length_mm: float = value("length of the bill", "mm", more="root to tip, outside the body", gt=0)
    width_mm: float = value("greatest width of the bill", "mm", gt=0)
    angle_deg: float = value(
        "angle of the bill to the body centreline",
        "degrees",
        more="0 points straight ahead, 90 straight down",
        ge=-180,
        le=180,
    )
    outline: Literal["square", "rounded", "tapered", "coffin", "polygon"] = value(
        "outline of the bill",
        default="rounded",
        more='"square", "rounded", "tapered", "coffin" or "polygon"',
    )
    outline_mm: Points2 = value(
        "corner points of the outline",
        default=(),
        more="a list of [along, across] in mm in order around the outline, along counted from the"
        ' root (0) to the tip (length_mm), only with outline = "polygon"',
    )
    taper: float = value(
        "tip width over root width",
        default=0.6,
        more='used by outline = "tapered", and by "coffin" for its narrow ends',
        ge=0.1,
        le=2,
    )
    thickness_mm: float = value("thickness of the bill", "mm", 1.0, gt=0)
    density_g_cm3: float = value(
        "density of the bill material", "g/cm3", 1.20, "1.20 is polycarbonate sheet", ge=0, le=25
    )
    right_mm: float = value(
        "sideways offset of the bill's root", "mm", 0.0, "a mounting error, positive to starboard"
    )
    yaw_error_deg: float = value(
        "bill turned to the side",
        "degrees",
        0.0,
        "a mounting error about the vertical axis of the bait, positive is nose to starboard",
        ge=-45,
        le=45,
    )
    roll_error_deg: float = value(
        "bill tilted to the side",
        "degrees",
        0.0,
        "a mounting error about the long axis of the bait, positive is starboard side down",
        ge=-45,
        le=45,
    )


class Plate(Bill):
    """A further plate: a fin or a keel, described like a bill."""

    name: str = value("name of the plate", default="plate", more="free text", max_length=80)
    cant_deg: float = value(
        "turn of the plate about its own length",
        "degrees",
        0.0,
        "0 lies flat like a bill, 90 stands on edge like a keel",
        ge=-180,
        le=180,
    )


class Ballast(Table):
    """A weight in or on the body."""

    name: str = value("name of the weight", default="ballast", more="free text", max_length=80)
    mass_g: float = value("mass of the weight", "g", gt=0)
    from_nose_mm: float = value("distance of its centre behind the nose tip", "mm")
    above_centreline_mm: float = value(
        "height of its centre above the centreline", "mm", more="negative is below"
    )
    right_mm: float = value("sideways offset of its centre", "mm", 0.0, "positive to starboard")
    density_g_cm3: float = value(
        "density of the weight",
        "g/cm3",
        11.34,
        "11.34 is lead, 18 sintered tungsten",
        ge=0.05,
        le=25,
    )
    inside: bool = value(
        "whether the weight sits inside the body",
        default=True,
        more="true replaces body material, false hangs outside and displaces water",
    )


class Hook(Table):
    """A hook with its ring, taken as a point mass below its hanger."""

    name: str = value("name of the hook", default="hook", more="free text", max_length=80)
    mass_g: float = value("mass of the hook with its ring", "g", ge=0)
    from_nose_mm: float = value("distance of its hanger behind the nose tip", "mm")
    above_centreline_mm: float = value(
        "height of its hanger above the centreline", "mm", more="negative is below"
    )
    right_mm: float = value("sideways offset of its hanger", "mm", 0.0, "positive to starboard")
    hang_mm: float = value("how far its centre of mass hangs below the hanger", "mm", 0.0, ge=0)
    drag_area_mm2: float = value(
        "drag area of the hook", "mm2", 0.0, "drag coefficient times frontal area", ge=0
    )
    density_g_cm3: float = value(
        "density of the hook", "g/cm3", 7.85, "7.85 is carbon steel", ge=0.05, le=25
    )


class Tie(Table):
    """The point where the line is tied."""

    from_nose_mm: float = value(
        "distance of the tie point behind the nose tip", "mm", more="negative is ahead of the nose"
    )
    above_centreline_mm: float = value(
        "height of the tie point above the centreline", "mm", more="negative is below"
    )
    right_mm: float = value(
        "sideways offset of the tie point", "mm", 0.0, "a bent eye, positive to starboard"
    )
    eye_mm: float = value(
        "length of the wire between the place where it may bend and the knot",
        "mm",
        5.0,
        "used where an eye is bent, by tune alone",
        gt=0,
        le=50,
    )


class Bait(Table):
    """The bait: an assembly of optional parts."""

    rules = checks.BAIT_RULES

    total_mass_g: float | None = value(
        "weighed mass of the whole rigged bait",
        "g",
        None,
        "scales the density of the body, so it needs a body",
        gt=0,
    )
    body: Body | None = table("the body")
    bill: Bill | None = table("the bill (lip)")
    plate: Annotated[tuple[Plate, ...], AsTuple] = value(
        "further plates", default=(), more="fins and keels"
    )
    ballast: Annotated[tuple[Ballast, ...], AsTuple] = value(
        "weights", default=(), more="lead, tungsten or any other point mass"
    )
    hook: Annotated[tuple[Hook, ...], AsTuple] = value("hooks", default=(), more="with their rings")
    tie: Tie | None = table("the tie point", more="needed when there is a line")
