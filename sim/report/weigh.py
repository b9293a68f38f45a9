"""What bench and bath tub tell about a bait, in words and in JSON."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from sim.bait.assembly import Assembly, Part
from sim.bait.frame import MOTIONS, as_measured
from sim.config.models import Ballast, Config
from sim.hydrostatics import Rest, Terminal
from sim.report.text import (
    config_document,
    fixed,
    labelled,
    name_of,
    note,
    sided,
    significant,
    title,
)

LEAD_G_CM3 = (10.9, 11.5)  # pure lead is 11.34, alloys with antimony or tin are lighter
NOTHING = 1e-9  # matrix entries below this share of their diagonal are rounding errors


def _place(position: np.ndarray) -> dict[str, float]:
    """A position in the bait axes as a maker measures it."""
    aft, up, right = (v + 0.0 for v in as_measured(position))
    return {"from_nose_mm": aft, "above_centreline_mm": up, "right_mm": right}


def lead_cautions(config: Config) -> list[str]:
    """One line on every weight that is lead by its density."""
    low, high = LEAD_G_CM3
    found = [b for b in config.bait.ballast if low <= b.density_g_cm3 <= high]
    if not found:
        return []

    def named(b: Ballast) -> str:
        return f'"{b.name}" ({b.density_g_cm3:g} g/cm3)'

    return [
        f"{', '.join(map(named, found))}: lead by the density. Lead tackle is banned on some"
        " waters: local rules decide. Wash your hands after handling it."
    ]


def weigh_document(
    config: Config, bait: Assembly, rest: Rest, terminal: Terminal
) -> dict[str, Any]:
    """What bench and bath tub tell about a bait, as a dictionary.

    Returns
    -------
    dict
        ``name``, ``config``, ``parts`` (``name``, ``kind``, ``mass_g``, position in mm,
        ``displaced_cm3``), ``mass_g``, ``displaced_cm3``, ``kind`` ("floats", "suspends",
        "sinks"), ``reserve_buoyancy_g``, ``centre_of_gravity`` and ``centre_of_buoyancy`` (from
        the nose tip, mm), ``body_density_g_cm3``, ``body_density_from`` ("total_mass_g",
        "density_g_cm3" or None), ``rest`` (``pitch_deg``, ``heel_deg``, ``depth_mm``,
        ``waterline_nose_mm``, ``waterline_tail_mm``), ``terminal`` (``speed_m_s`` positive down,
        ``pitch_deg``, ``settled``, ``note``), ``added_mass`` (6 x 6 about the centre of gravity,
        bait axes), ``added_mass_units`` (of its four 3 x 3 blocks), ``inertia_g_mm2`` (3 x 3),
        ``water``, ``cautions``.
    """
    density = bait.body_density
    origin = None
    if density is not None:
        origin = "density_g_cm3" if config.bait.total_mass_g is None else "total_mass_g"
    return {
        "name": name_of(config),
        "config": config_document(config),
        "parts": [
            {
                "name": p.name,
                "kind": p.kind,
                "mass_g": p.mass * 1e3,
                **_place(p.position),
                "displaced_cm3": p.volume * 1e6,
            }
            for p in bait.parts
        ],
        "mass_g": bait.mass * 1e3,
        "displaced_cm3": bait.volume * 1e6,
        "kind": rest.kind,
        "reserve_buoyancy_g": rest.reserve_buoyancy * 1e3,
        "centre_of_gravity": _place(bait.centre_of_gravity),
        "centre_of_buoyancy": _place(bait.centre_of_buoyancy),
        "body_density_g_cm3": None if density is None else density * 1e-3,
        "body_density_from": origin,
        "rest": {
            "pitch_deg": rest.pitch_deg,
            "heel_deg": rest.heel_deg,
            "depth_mm": rest.depth_m * 1e3,
            "waterline_nose_mm": rest.waterline_nose_mm,
            "waterline_tail_mm": rest.waterline_tail_mm,
        },
        "terminal": {
            "speed_m_s": terminal.speed_m_s,
            "pitch_deg": terminal.pitch_deg,
            "settled": terminal.settled,
            "note": terminal.note,
        },
        "added_mass": _in_grams(bait.added_mass),
        "added_mass_units": [["g", "g mm"], ["g mm", "g mm2"]],
        "inertia_g_mm2": _tidy(bait.inertia) * 1e9,
        "water": {
            "density_kg_m3": bait.water.density,
            "viscosity_m2_s": bait.water.viscosity,
        },
        "cautions": lead_cautions(config),
    }


def _tidy(matrix: np.ndarray) -> np.ndarray:
    """A 3 x 3 or 6 x 6 matrix without the rounding errors that stand where symmetry has zeros."""
    sizes = np.sqrt(np.abs(np.diag(matrix)).reshape(-1, 3).max(axis=1))
    size = np.repeat(sizes, 3)
    return np.where(np.abs(matrix) <= NOTHING * np.outer(size, size), 0.0, matrix)


def _in_grams(matrix: np.ndarray) -> np.ndarray:
    """A 6 x 6 mass matrix from kg, kg m, kg m^2 to g, g mm, g mm^2."""
    scale = np.repeat([1.0, 1e3], 3)
    return np.asarray(1e3 * _tidy(matrix) * np.outer(scale, scale))


def weigh_summary(config: Config, bait: Assembly, rest: Rest, terminal: Terminal) -> RenderableType:
    """What bench and bath tub tell about a bait, in words and tables."""
    parts: list[RenderableType] = [
        title(name_of(config)),
        labelled(_bath_tub(bait, rest, terminal)),
        Text(""),
        Text("Parts", style="bold"),
        _parts_table(bait),
    ]
    if any(p.name.startswith("hole for ") for p in bait.parts):
        parts.append(note("A hole is the body material (or filling) that ballast replaces."))
    parts += [Text(""), Text("Centres", style="bold"), labelled(_centres(config, bait))]
    parts += [
        Text(""),
        Text("Added mass of the water about the centre of gravity", style="bold"),
        _matrix(_in_grams(bait.added_mass), MOTIONS),
        note(
            "First three rows and columns: g with each other, g mm with the last three. Last three"
            " with each other: g mm2. Axes: forward, starboard, toward the belly."
        ),
        Text(""),
        Text("Moments of inertia of the bait about its centre of gravity, g mm2", style="bold"),
        _matrix(_tidy(bait.inertia) * 1e9, MOTIONS[3:]),
    ]
    cautions = lead_cautions(config)
    if cautions:
        parts += [Text(""), *(labelled([("Caution", text)]) for text in cautions)]
    return Group(*parts)


def _bath_tub(bait: Assembly, rest: Rest, terminal: Terminal) -> list[tuple[str, RenderableType]]:
    reserve = rest.reserve_buoyancy * 1e3
    spare = (
        f"{fixed(reserve, 2)} g to spare" if reserve > 0.0 else f"{fixed(-reserve, 2)} g too heavy"
    )
    rows: list[tuple[str, RenderableType]] = [
        ("Mass", fixed(bait.mass * 1e3, 2, "g")),
        ("Displaces", fixed(bait.volume * 1e6, 2, "cm3")),
        ("In the water", Text.assemble((rest.kind, "bold"), f", {spare}")),
    ]
    attitude = _attitude(rest.pitch_deg, rest.heel_deg)
    rows.append(("At rest", attitude if rest.kind == "floats" else f"hangs {attitude}"))
    nose, tail = rest.waterline_nose_mm, rest.waterline_tail_mm
    if nose is not None and tail is not None:
        rows.append(("Waterline", f"{_height(nose)} at the nose tip"))
        rows.append(("", f"{_height(tail)} at the tail"))
    speed = terminal.speed_m_s
    if not math.isfinite(speed):
        rows.append(("Let go", f"no speed found: {terminal.note}"))
        return rows
    text = f"{'sinks' if speed > 0.0 else 'rises'} at {fixed(abs(speed), 3, 'm/s')}"
    if fixed(abs(speed), 3) == "0.000":
        text = "stays where it is"
    text += f", {_attitude(terminal.pitch_deg)}"
    rows.append(("Let go", text + (f" ({terminal.note})" if terminal.note else "")))
    return rows


def _attitude(pitch_deg: float, heel_deg: float = 0.0) -> str:
    pitch = sided(pitch_deg, 1, "deg", "nose up", "nose down")
    heel = sided(heel_deg, 1, "deg", "to starboard", "to port")
    words = "level" if _is_zero(pitch) else pitch
    return words if _is_zero(heel) else f"{words}, heeled {heel}"


def _height(value_mm: float) -> str:
    text = sided(value_mm, 1, "mm", "above the centreline", "below the centreline")
    return "on the centreline" if _is_zero(text) else text


def _is_zero(text: str) -> bool:
    return text.startswith("0.0") and len(text.split()) == 2


def _parts_table(bait: Assembly) -> RenderableType:
    table = Table(box=None, padding=(0, 1), pad_edge=False, header_style="")
    table.add_column("")
    heads = ("mass\ng", "from nose\nmm", "above centre\nmm", "right\nmm", "displaced\ncm3")
    for head in heads:
        table.add_column(head, justify="right", no_wrap=True)
    for p in bait.parts:
        table.add_row(Text(p.name), *_part_cells(p))
    whole = Part("", "", bait.mass, bait.centre_of_gravity, bait.volume, bait.inertia)
    table.add_row(Text("all", style="bold"), *_part_cells(whole))
    return Padding(table, (0, 0, 0, 2))


def _part_cells(part: Part) -> Sequence[str]:
    aft, up, right = as_measured(part.position)
    return (
        fixed(part.mass * 1e3, 3),
        fixed(aft, 1),
        fixed(up, 1),
        fixed(right, 1),
        fixed(part.volume * 1e6, 3),
    )


def _centres(config: Config, bait: Assembly) -> list[tuple[str, RenderableType]]:
    def words(position: np.ndarray) -> str:
        aft, up, right = as_measured(position)
        along = sided(aft, 1, "mm", "behind the nose tip", "ahead of the nose tip")
        side = sided(right, 1, "mm", "to starboard", "to port")
        places = ["at the nose tip" if _is_zero(along) else along, _height(up)]
        return ", ".join(places if _is_zero(side) else [*places, side])

    rows: list[tuple[str, RenderableType]] = [("Of gravity", words(bait.centre_of_gravity))]
    if bait.volume > 0.0:
        aft, up, _ = as_measured(bait.r_b_cb)
        apart = [
            sided(aft, 1, "mm", "behind", "ahead of"),
            sided(up, 1, "mm", "above", "below"),
        ]
        where = " and ".join(text for text in apart if not _is_zero(text)) or "at"
        rows.append(("Of buoyancy", words(bait.centre_of_buoyancy)))
        rows.append(("", f"{where} the centre of gravity"))
    if bait.body_density is not None:
        how = "as given" if config.bait.total_mass_g is None else "from the weighed total"
        rows.append(("Body material", f"{fixed(bait.body_density * 1e-3, 3, 'g/cm3')}, {how}"))
    return rows


def _matrix(values: np.ndarray, names: Sequence[str]) -> RenderableType:
    table = Table(box=None, padding=(0, 1), pad_edge=False, header_style="")
    table.add_column("")
    for name in names:
        table.add_column(name, justify="right", no_wrap=True)
    for name, row in zip(names, values, strict=True):
        table.add_row(name, *(significant(float(value)) for value in row))
    return Padding(table, (0, 0, 0, 2))
