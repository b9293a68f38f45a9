"""The schema of what varies from build to build, and of what nobody has measured.

Every key is named like the entry it moves, with what it may move by: a tolerance is the largest
error to either side that a shop lets pass.
"""

from typing import Literal

from sim.config.fields import Table, value

SHOP = "assumption, a careful shop at home"


class Build(Table):
    """How closely baits are built: the largest error to either side that the shop lets pass."""

    errors: Literal["bell", "even"] = value(
        "how errors lie within their tolerance",
        default="bell",
        more='"bell" is a normal distribution whose standard deviation is half the tolerance, cut'
        ' off at it; "even" makes all errors alike likely',
    )
    bill_yaw_deg: float = value("bill turned to the side", "degrees", 1.0, SHOP, ge=0, le=20)
    bill_roll_deg: float = value("bill tilted to the side", "degrees", 1.5, SHOP, ge=0, le=20)
    bill_angle_deg: float = value("angle of the bill", "degrees", 1.0, SHOP, ge=0, le=20)
    bill_right_mm: float = value("bill set off to the side", "mm", 0.3, SHOP, ge=0, le=20)
    bill_length_mm: float = value("length of the bill", "mm", 0.5, SHOP, ge=0, le=20)
    bill_width_mm: float = value("width of the bill", "mm", 0.5, SHOP, ge=0, le=20)
    tie_above_mm: float = value("tie point up or down", "mm", 0.5, SHOP, ge=0, le=20)
    tie_from_nose_mm: float = value("tie point fore or aft", "mm", 0.5, SHOP, ge=0, le=20)
    tie_right_mm: float = value("tie point to the side", "mm", 0.3, SHOP, ge=0, le=20)
    ballast_right_mm: float = value("weights to the side, all alike", "mm", 0.5, SHOP, ge=0, le=20)
    ballast_from_nose_mm: float = value(
        "weights fore or aft, all alike", "mm", 1.0, SHOP, ge=0, le=50
    )
    body_density_percent: float = value("density of the body", "%", 5.0, SHOP, ge=0, le=60)
    body_lopsided_mm: float = value(
        "centre of mass of the body's material to the side", "mm", 0.2, SHOP, ge=0, le=20
    )
    total_mass_percent: float = value(
        "mass by paint and varnish",
        "%",
        2.0,
        f"share of the mass of the rigged bait, {SHOP}",
        ge=0,
        le=60,
    )
    hook_mass_percent: float = value("mass of the hooks", "%", 5.0, SHOP, ge=0, le=90)


class Uncertainty(Table):
    """How far coefficients may lie off what the configuration says; every value alike likely."""

    strouhal_percent: float = value(
        "Strouhal number of the bill's wake",
        "%",
        10.0,
        "plates and cylinders of other kinds, assumption",
        ge=0,
        le=90,
    )
    wake_offset_percent: float = value(
        "strength of the bill's wake", "%", 25.0, "no published value, assumption", ge=0, le=90
    )
    wake_damping_percent: float = value(
        "damping of the bill's wake", "%", 50.0, "fitted to cylinders, assumption", ge=0, le=90
    )
    wake_coupling_more: float = value(
        "coupling of the bill's wake to the bait, upward",
        default=12.0,
        more="up to what fits a cylinder, assumption",
        ge=0,
        le=50,
    )
    side_force_percent: float = value(
        "size of the body's side force",
        "%",
        25.0,
        "hulls and bodies of revolution disagree by more, assumption",
        ge=0,
        le=90,
    )
    side_force_shift: float = value(
        "place of the body's side force",
        default=0.05,
        more="share of the body length, assumption",
        ge=0,
        le=0.4,
    )
    crossflow_percent: float = value(
        "drag of the body across the flow",
        "%",
        20.0,
        "sections and flow round the ends, assumption",
        ge=0,
        le=90,
    )
    bill_shadow_more: float = value(
        "shadow of the bill on the nose, upward",
        default=0.8,
        more="up to the most there can be, assumption",
        ge=0,
        le=0.8,
    )
    hook_drag_percent: float = value(
        "drag of the hooks",
        "%",
        50.0,
        "rigid hooks stand for swinging ones, assumption",
        ge=0,
        le=95,
    )
    line_drag_percent: float = value(
        "drag of the line across the flow", "%", 20.0, "smooth cylinders, assumption", ge=0, le=90
    )
