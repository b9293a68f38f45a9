"""Answers in words and in JSON: from a run, a bait or a check to text and to plain dictionaries.

Everything here is a function of its arguments: nothing is printed, no file is read. Text comes as
a rich renderable; :func:`as_text` turns it into lines.
"""

from __future__ import annotations

import io
import json
import math
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from sim.bait.assembly import Assembly, Part
from sim.bait.frame import as_measured
from sim.classify import nearest_limit
from sim.config import config_digest
from sim.config.models import Ballast, Config
from sim.result import RunResult

if TYPE_CHECKING:
    from sim.hydrostatics import Rest, Terminal

GRAVITY = 9.80665  # standard gravity [m/s^2], to give a force as the weight of so many grams
LEAD_G_CM3 = (10.9, 11.5)  # pure lead is 11.34, alloys with antimony or tin are lighter
SHORT_DIGEST = 12
NOTHING = 1e-9  # matrix entries below this share of their diagonal are rounding errors
MOTIONS = ("surge", "sway", "heave", "roll", "pitch", "yaw")
# Limit -> what is compared with it, its unit, and the side on which a positive margin lies.
LIMITS = {
    "spin": ("spin", "turns", "below"),
    "roll": ("roll", "deg", "below"),
    "lean": ("lean", "deg", "below"),
    "roll_to_yaw": ("roll to yaw", "", "below"),
    "tight_yaw": ("tight yaw", "deg", "above"),
}


# ---- from renderables and dictionaries to lines -------------------------------------------------


def as_text(text: RenderableType, width: int, *, styled: bool = False) -> str:
    """Lines of a renderable, no wider than ``width`` columns.

    Parameters
    ----------
    text : renderable
    width : int
    styled : bool    for a terminal: bold and colour, the latter unless NO_COLOR is set
    """
    stream = io.StringIO()
    console = Console(
        file=stream, width=width, force_terminal=styled, markup=False, highlight=False, emoji=False
    )
    console.print(text)
    return "\n".join(line.rstrip() for line in stream.getvalue().splitlines())


def to_json(document: Mapping[str, Any] | Sequence[Mapping[str, Any]]) -> str:
    """One JSON document; NaN and infinity become null."""
    return json.dumps(_plain(document), indent=2, allow_nan=False)


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {str(key): _plain(inner) for key, inner in value.items()}
    if isinstance(value, np.ndarray):
        return _plain(value.tolist())
    if isinstance(value, list | tuple):
        return [_plain(inner) for inner in value]
    if isinstance(value, np.generic):
        value = value.item()
    return None if isinstance(value, float) and not math.isfinite(value) else value


def fixed(value: float | None, digits: int, unit: str = "") -> str:
    """A number with so many decimals, no minus zero; "-" where there is none."""
    if value is None or not math.isfinite(value):
        return "-"
    text = f"{value:.{digits}f}"
    if float(text) == 0.0:
        text = text.lstrip("-")
    return f"{text} {unit}".rstrip()


def significant(value: float, digits: int = 4) -> str:
    """A number with so many figures, never in powers of ten unless it is far off."""
    if value == 0.0 or not math.isfinite(value):
        return "0" if value == 0.0 else "-"
    text = f"{value:.{digits - 1}e}"
    places = digits - 1 - int(text.partition("e")[2])
    return f"{value:.{max(0, places)}f}" if -9 < places < 9 else text


def _sided(value: float, digits: int, unit: str, plus: str, minus: str) -> str:
    """A magnitude with its direction in words, so that nobody has to know a sign."""
    text = fixed(abs(value), digits, unit)
    if text == "-" or float(text.split()[0]) == 0.0:
        return text
    return f"{text} {plus if value > 0.0 else minus}"


def _rows(rows: Iterable[tuple[str, RenderableType]]) -> RenderableType:
    """Labels on the left, what they label on the right, wrapped there."""
    grid = Table.grid(padding=(0, 2))
    grid.add_column(no_wrap=True)
    grid.add_column()
    for label, text in rows:
        grid.add_row(Text(label), Text(text) if isinstance(text, str) else text)
    return Padding(grid, (0, 0, 0, 2))


def _title(name: str, rest: str = "") -> Text:
    title = Text(name, style="bold")
    return title.append(rest)


def _name(config: Config) -> str:
    return config.name or "bait"


# ---- a run --------------------------------------------------------------------------------------


def nearest(run: RunResult) -> dict[str, Any] | None:
    """The limit that decides or comes nearest: name, distance (negative beyond it), unit."""
    known = {name: value for name, value in run.margins.items() if math.isfinite(value)}
    if run.motion_class is None or not known:
        return None
    name, distance = nearest_limit(known, run.config.limits)
    return {"name": name, "distance": float(distance), "unit": LIMITS[name][1] or "1"}


def nearest_in_words(run: RunResult) -> str:
    """For instance "tight yaw, 2.3 deg above"; "" for a run without a class."""
    found = nearest(run)
    if found is None:
        return ""
    words, unit, side = LIMITS[found["name"]]
    other = {"above": "below", "below": "above"}[side]
    digits = 1 if unit == "deg" else 2
    distance = found["distance"]
    if float(f"{distance:.{digits}f}") == 0.0:
        return f"{words}, at the limit"
    return f"{words}, {fixed(abs(distance), digits, unit)} {side if distance > 0.0 else other}"


def _config_document(config: Config) -> dict[str, Any]:
    """Where a configuration came from and which it is."""
    return {
        "source": config.source_path,
        "digest": config_digest(config),
        "overrides": config.overrides,
    }


def run_document(
    run: RunResult, output: str | None = None, picture: str | None = None
) -> dict[str, Any]:
    """A run as a dictionary, without its trajectory.

    Parameters
    ----------
    run : RunResult
    output, picture : str, optional    files that hold it

    Returns
    -------
    dict
        ``name``, ``config`` (``source``, ``digest``, ``overrides``), ``status``, ``message``,
        ``motion_class`` (None without one), ``class_reason``, ``nearest_limit`` (``name``,
        ``distance``, ``unit``, or None), ``measures`` and ``margins`` (units at the end of the
        keys; margins in the unit of their limit), ``window_s`` (start and end of the part
        measured), ``duration_s``, ``stats``, ``warnings``, ``output``, ``picture``,
        ``provenance``.
    """
    config = run.config
    return {
        "name": _name(config),
        "config": _config_document(config),
        "status": run.status,
        "message": run.message,
        "motion_class": run.motion_class,
        "class_reason": run.class_reason,
        "nearest_limit": nearest(run),
        "measures": dict(run.measures),
        "margins": dict(run.margins),
        "window_s": list(run.window),
        "duration_s": _duration(run),
        "stats": dict(run.stats),
        "warnings": list(run.warnings),
        "output": output,
        "picture": picture,
        "provenance": dict(run.provenance),
    }


def _duration(run: RunResult) -> float:
    """How long the simulated time is that came out sound [s]."""
    sound = run.time[np.isfinite(run.position).all(axis=1)]
    return float(sound[-1]) if sound.size else 0.0


def run_summary(run: RunResult, *, provenance: bool = False) -> RenderableType:
    """A run in a few lines: what it is, how it moves, what to know about it.

    Parameters
    ----------
    run : RunResult
    provenance : bool    tell when and by which versions it was made
    """
    parts: list[RenderableType] = [_title(_name(run.config)), _rows(_verdict(run))]
    if run.measures:
        parts += [Text(""), Text(_measured_over(run)), _rows(_measures(run))]
    if run.warnings:
        parts += [Text(""), Text("Warnings", style="bold")]
        parts += [_rows([("-", text)]) for text in run.warnings]
    parts += [Text(""), _rows(_origin(run, provenance))]
    return Group(*parts)


def _verdict(run: RunResult) -> list[tuple[str, RenderableType]]:
    reason = run.class_reason.removeprefix("no class: ")
    kind = Text.assemble((run.motion_class or "none", "bold" if run.motion_class else ""))
    rows: list[tuple[str, RenderableType]] = [
        ("Class", kind.append(f": {reason}" if reason else ""))
    ]
    words = nearest_in_words(run)
    if words:
        rows.append(("", f"nearest limit: {words}"))
    status = run.status
    # The message of a run that is not settled begins with the same words.
    text = run.message if run.message.startswith(status) else f"{status}: {run.message}"
    rows.append(("Status", text))
    return rows


def _measured_over(run: RunResult) -> str:
    start, end = run.window
    over = f"{fixed(start, 2)} s to {fixed(end, 2)} s"
    if run.status == "settled":
        extensions = int(run.stats.get("extensions", 0))
        times = "once" if extensions == 1 else f"{extensions} times"
        return f"Settled motion, {over}" + (f" (run extended {times})" if extensions else "")
    if run.status == "free":
        return f"Second half of the free motion, {over}"
    return f"Second half of a motion that has not settled, {over}"


def _measures(run: RunResult) -> list[tuple[str, RenderableType]]:
    m = {name: float(value) for name, value in run.measures.items()}

    def get(name: str) -> float:
        return m.get(name, math.nan)

    swing = "to each side"
    rows = [
        ("Wobble", fixed(get("wobble_frequency_hz"), 2, "Hz")),
        ("Yaw amplitude", _with(fixed(get("yaw_amplitude_deg"), 1, "deg"), swing)),
        ("Roll amplitude", _with(fixed(get("roll_amplitude_deg"), 1, "deg"), swing)),
        ("Lean", _sided(get("lean_deg"), 1, "deg", "to starboard", "to port")),
        ("Pitch", _sided(get("pitch_deg"), 1, "deg", "nose up", "nose down")),
        ("Nose sweep", _with(fixed(get("nose_sweep_mm"), 1, "mm"), "from side to side")),
        ("Tail sweep", _with(fixed(get("tail_sweep_mm"), 1, "mm"), "from side to side")),
        ("Depth", _depth(get("depth_m"))),
    ]
    if run.config.line is not None:
        pull = get("line_tension_n")
        grams = fixed(pull / GRAVITY * 1e3, 0, "g")
        rows.append(("Line tension", _with(fixed(pull, 2, "N"), f"(weight of {grams})")))
    drift = 1e3 * get("side_drift_m_per_m")
    turns = _sided(get("turns"), 2, "", "starboard side down", "port side down")
    rate = abs(get("turn_rate_hz"))
    if run.motion_class == "spinning" and math.isfinite(rate):
        turns += f", {fixed(rate, 2)} per second"
    rows += [
        ("Side drift", _sided(drift, 1, "mm per m", "to starboard", "to port")),
        ("Turns", turns),
    ]
    return list(rows)


def _with(number: str, more: str) -> str:
    return number if number == "-" else f"{number} {more}"


def _depth(value: float) -> str:
    if value < -0.005:
        return f"{fixed(-value, 2, 'm')} above the surface"
    return fixed(value, 2, "m")


def _origin(run: RunResult, provenance: bool) -> list[tuple[str, RenderableType]]:
    config = run.config
    source = config.source_path or "-"
    rows: list[tuple[str, RenderableType]] = [
        ("Config", f"{source} (sha256 {config_digest(config)[:SHORT_DIGEST]})")
    ]
    rows += [("", f"{key} = {value}") for key, value in config.overrides.items()]
    if not provenance:
        return rows
    made = run.provenance
    commit = made.get("git_commit", "none")
    code = f"runtrue {made.get('program', 'unknown')}"
    if commit not in ("none", "unknown"):
        code += f", commit {commit[:SHORT_DIGEST]}"
        code += " with changes" if made.get("git_dirty") == "yes" else ""
    date = made.get("date_utc", "at an unknown date").replace("T", " ").replace("+00:00", " UTC")
    libraries = ("python", "numpy", "scipy", "numba", "h5py")
    versions = ", ".join(f"{name} {made[name]}" for name in libraries if name in made)
    rows += [("Made", f"{date} by {code}"), ("", versions)]
    return rows


# ---- a bait -------------------------------------------------------------------------------------


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
        "name": _name(config),
        "config": _config_document(config),
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
        _title(_name(config)),
        _rows(_bath_tub(bait, rest, terminal)),
        Text(""),
        Text("Parts", style="bold"),
        _parts_table(bait),
    ]
    if any(p.name.startswith("hole for ") for p in bait.parts):
        parts.append(_note("A hole is the body material (or filling) that ballast replaces."))
    parts += [Text(""), Text("Centres", style="bold"), _rows(_centres(config, bait))]
    parts += [
        Text(""),
        Text("Added mass of the water about the centre of gravity", style="bold"),
        _matrix(_in_grams(bait.added_mass), MOTIONS),
        _note(
            "First three rows and columns: g with each other, g mm with the last three. Last three"
            " with each other: g mm2. Axes: forward, starboard, toward the belly."
        ),
        Text(""),
        Text("Moments of inertia of the bait about its centre of gravity, g mm2", style="bold"),
        _matrix(_tidy(bait.inertia) * 1e9, MOTIONS[3:]),
    ]
    cautions = lead_cautions(config)
    if cautions:
        parts += [Text(""), *(_rows([("Caution", text)]) for text in cautions)]
    return Group(*parts)


def _note(text: str) -> RenderableType:
    return Padding(Text(text), (0, 0, 0, 2))


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
    pitch = _sided(pitch_deg, 1, "deg", "nose up", "nose down")
    heel = _sided(heel_deg, 1, "deg", "to starboard", "to port")
    words = "level" if _is_zero(pitch) else pitch
    return words if _is_zero(heel) else f"{words}, heeled {heel}"


def _height(value_mm: float) -> str:
    text = _sided(value_mm, 1, "mm", "above the centreline", "below the centreline")
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
        along = _sided(aft, 1, "mm", "behind the nose tip", "ahead of the nose tip")
        side = _sided(right, 1, "mm", "to starboard", "to port")
        places = ["at the nose tip" if _is_zero(along) else along, _height(up)]
        return ", ".join(places if _is_zero(side) else [*places, side])

    rows: list[tuple[str, RenderableType]] = [("Of gravity", words(bait.centre_of_gravity))]
    if bait.volume > 0.0:
        aft, up, _ = as_measured(bait.r_b_cb)
        apart = [
            _sided(aft, 1, "mm", "behind", "ahead of"),
            _sided(up, 1, "mm", "above", "below"),
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
