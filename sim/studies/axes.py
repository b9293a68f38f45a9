"""What a study can sweep: every number of the configuration, and axes that set several of them."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from difflib import get_close_matches
from types import UnionType
from typing import Any, Union, get_args, get_origin

from pydantic.fields import FieldInfo

from sim.bait.assembly import assemble
from sim.bait.tie_path import tie_path
from sim.config import Config, with_overrides
from sim.config.checks import number
from sim.config.fields import Table
from sim.config.messages import ordinal
from sim.config.overrides import plain, set_override
from sim.config.schema import children, tables
from sim.config.units import base_of, unit_of
from sim.errors import ConfigError, RunError

__all__ = [
    "NAMED_AXES",
    "NamedAxis",
    "axis_label",
    "axis_overrides",
    "axis_unit",
    "key_problem",
    "sets",
    "touch",
    "whole",
]

Overrides = dict[str, Any]

HEAVY_G = 1.0e6  # a total that no hardware exceeds, to ask for a volume whatever the mass
SLACK_MM = 1e-9  # of a distance that was calculated to be the end of the path
BEND_DEG = 75.0  # most that an eye is bent to either side
# What the tables with several entries hold, as a label calls it.
ENTRIES = {"ballast": "weight", "hook": "hook", "plate": "plate", "station": "station"}


@dataclass(frozen=True)
class NamedAxis:
    """An axis with a name of its own.

    Attributes
    ----------
    key, unit, label, description : str
    sets : tuple of str     dotted keys of the configuration that it sets
    reads : tuple of str    dotted keys and tables that decide what it sets them to
    prepare : callable      a configuration to the function from a value to overrides; what does not
                            depend on the value is calculated in this step; ConfigError from both
    """

    key: str
    unit: str
    label: str
    description: str
    sets: tuple[str, ...]
    reads: tuple[str, ...]
    prepare: Callable[[Config], Callable[[float], Overrides]]

    def overrides(self, config: Config, value: float) -> Overrides:
        """Dotted keys and values that put a configuration at a value of the axis.

        Raises
        ------
        ConfigError
            When the configuration lacks what the axis needs, or the value is out of its reach.
        """
        return self.prepare(config)(value)


def _refuse(config: Config, text: str) -> ConfigError:
    return ConfigError(f"{config.source_path or 'config'}: {text}")


def _inward(x: float) -> str:
    """An end of a range, rounded to a tenth toward zero, so that the number told is allowed."""
    return number(math.trunc(x * 10.0) / 10.0)


def _tie_path(config: Config) -> Callable[[float], Overrides]:
    if config.bait.body is None or config.bait.bill is None:
        raise _refuse(
            config,
            "tie_path_mm: a tie path needs [bait.body] and [bait.bill]. Add them, or sweep"
            " bait.tie.from_nose_mm.",
        )
    try:
        path = tie_path(config)
    except RunError as error:
        raise ConfigError(str(error)) from None
    low, high = float(path.distance_mm[0]), float(path.distance_mm[-1])

    def at(value: float) -> Overrides:
        if not low - SLACK_MM <= value <= high + SLACK_MM:
            raise _refuse(
                config,
                f"tie_path_mm = {number(value)}: must be from {_inward(low)} to"
                f" {_inward(high)} mm, where the tie path of this bait ends (the top of the nose"
                " and the tip of the bill). Choose a distance between them.",
            )
        from_nose, above = path.at(value)
        return {"bait.tie.from_nose_mm": from_nose, "bait.tie.above_centreline_mm": above}

    return at


def _line_rise(config: Config) -> Callable[[float], Overrides]:
    if config.line is None:
        raise _refuse(config, "line_rise_deg: there is no line to rise. Add [line] and [bait.tie].")
    length = config.line.length_m

    def at(value: float) -> Overrides:
        if not -90.0 < value < 90.0:
            raise _refuse(
                config,
                f"line_rise_deg = {number(value)}: must be > -90 and < 90 degrees (0 keeps the rod"
                " tip at the surface, negative below it). Correct it.",
            )
        return {"line.rod_tip_height_m": length * math.sin(math.radians(value))}

    return at


def _reserve_buoyancy(config: Config) -> Callable[[float], Overrides]:
    if config.bait.body is None:
        raise _refuse(
            config,
            "reserve_buoyancy_g: needs [bait.body], whose density it changes. Add it, or sweep the"
            " mass of a part.",
        )
    afloat = assemble(with_overrides(config, {"bait.total_mass_g": HEAVY_G}))
    displaced = afloat.water.density * afloat.volume * 1e3

    def at(value: float) -> Overrides:
        if value >= displaced:
            raise _refuse(
                config,
                f"reserve_buoyancy_g = {number(value)}: must be < {_inward(displaced)} g, what the"
                " submerged bait displaces. Give less, negative for a bait that sinks.",
            )
        return {"bait.total_mass_g": displaced - value}

    return at


def _eye_bend(config: Config) -> Callable[[float], Overrides]:
    tie = config.bait.tie
    if tie is None:
        raise _refuse(config, "eye_bend_deg: there is no eye to bend. Add [bait.tie].")

    def at(value: float) -> Overrides:
        if not -BEND_DEG <= value <= BEND_DEG:
            raise _refuse(
                config,
                f"eye_bend_deg = {number(value)}: must be from {number(-BEND_DEG)} to"
                f" {number(BEND_DEG)} degrees, positive to starboard. Bend it less.",
            )
        angle = math.radians(value)
        return {
            "bait.tie.right_mm": tie.right_mm + tie.eye_mm * math.sin(angle),
            "bait.tie.from_nose_mm": tie.from_nose_mm + tie.eye_mm * (1.0 - math.cos(angle)),
        }

    return at


NAMED_AXES: dict[str, NamedAxis] = {
    axis.key: axis
    for axis in (
        NamedAxis(
            key="tie_path_mm",
            unit="mm",
            label="tie point along the tie path",
            description="Distance of the tie point along the tie path; 0 where the bill leaves the"
            " body, negative up the nose, positive out along the bill.",
            sets=("bait.tie.from_nose_mm", "bait.tie.above_centreline_mm"),
            reads=("bait.body", "bait.bill"),
            prepare=_tie_path,
        ),
        NamedAxis(
            key="line_rise_deg",
            unit="degrees",
            label="rise of the line",
            description="Angle between the surface and a straight line from its far end, at the"
            " surface, to the rod tip.",
            sets=("line.rod_tip_height_m",),
            reads=("line.length_m",),
            prepare=_line_rise,
        ),
        NamedAxis(
            key="reserve_buoyancy_g",
            unit="g",
            label="reserve buoyancy",
            description="Mass that the submerged bait could still carry, reached by the density of"
            " the body; negative for a bait that sinks.",
            sets=("bait.total_mass_g",),
            reads=("bait.body", "bait.bill", "bait.plate", "bait.ballast", "bait.hook", "water",
                   "solver"),
            prepare=_reserve_buoyancy,
        ),
        NamedAxis(
            key="eye_bend_deg",
            unit="degrees",
            label="bend of the eye",
            description="Angle by which the wire of the eye is bent to the side from where the file"
            " has it, positive to starboard; moves the knot aside and a little back.",
            sets=("bait.tie.right_mm", "bait.tie.from_nose_mm"),
            reads=("bait.tie.eye_mm",),  # what else it reads it sets
            prepare=_eye_bend,
        ),
    )
}  # fmt: skip


# ------------------------------------------------------------------------------------ which keys


def sets(key: str) -> tuple[str, ...]:
    """Dotted keys of the configuration that an axis sets."""
    return NAMED_AXES[key].sets if key in NAMED_AXES else (key,)


def touch(a: str, b: str) -> bool:
    """Whether two dotted keys are the same, or one is a table or list that holds the other."""
    return a == b or a.startswith(b + ".") or b.startswith(a + ".")


def whole(key: str) -> bool:
    """Whether the values of an axis must be whole numbers."""
    field = _field(key)
    return field is not None and _holds(field, int)


def _field(key: str) -> FieldInfo | None:
    """Schema field behind a dotted key, list indices left out; None when there is none."""
    *path, name = [part for part in key.split(".") if not part.isdecimal()] or [""]
    home = tables().get(".".join(path))
    return home.model.model_fields.get(name) if home else None


def _holds(field: FieldInfo, *types: type) -> bool:
    """Whether a field is a number of one of the types, or may be left out and else is."""
    kinds = {field.annotation}
    if get_origin(field.annotation) in (Union, UnionType):
        kinds = {*get_args(field.annotation)}
    return bool(kinds & {*types}) and kinds <= {*types, type(None)}


def _numbers(model: type[Table], table: Any, path: str = "") -> Iterator[str]:
    """Dotted keys of all numbers, list entries as far as a configuration has them."""
    inner = children(model)
    for key, field in model.model_fields.items():
        dotted = f"{path}.{key}" if path else key
        held = getattr(table, key, None)
        if key not in inner:
            if _holds(field, int, float):
                yield dotted
        elif inner[key].is_list:
            for index, entry in enumerate(held or ()):
                yield from _numbers(inner[key].model, entry, f"{dotted}.{index}")
        else:
            yield from _numbers(inner[key].model, held, dotted)


def key_problem(config: Config, key: str) -> str:
    """What is wrong with the key of an axis, and what to do; "" when it can be swept."""
    if key in NAMED_AXES:
        return ""
    if key in _numbers(Config, config):
        return ""
    problem, _ = set_override(plain(config.model_dump()), key, 0.0)
    if problem:
        return problem
    field = _field(key)
    if field is not None and (key.split(".")[-1].isdecimal() or not _holds(field, int, float)):
        inside = [other for other in _numbers(Config, config) if other.startswith(f"{key}.")]
        example = inside[0] if inside else "retrieve.speed_m_s"
        what = "a table" if key in tables() else "not a single number"
        return (
            f"is {what} ({field.title}): only a number can be swept. Name the dotted key of one,"
            f' such as "{example}".'
        )
    return f"no such key or named axis. {_meant(config, key)}"


def _meant(config: Config, key: str) -> str:
    """A guess at what an unknown key was meant to be."""
    known = [*NAMED_AXES, *_numbers(Config, config)]
    typed = re.sub(r"[\s-]+", "_", key.strip().lower())
    last = base_of(typed.rsplit(".", 1)[-1])
    same = [other for other in known if base_of(other.rsplit(".", 1)[-1]) == last]
    close = get_close_matches(typed, same, n=3, cutoff=0.0) if same else []
    close = close or get_close_matches(typed, known, n=1, cutoff=0.7)
    if close:
        return "Did you mean " + " or ".join(f'"{other}"' for other in close) + "?"
    names = ", ".join(f'"{name}"' for name in NAMED_AXES)
    return f'Name {names}, or a number by its dotted key, such as "retrieve.speed_m_s".'


def axis_overrides(config: Config, key: str, value: float) -> Overrides:
    """Dotted keys and values that put a configuration at a value of any axis.

    Raises
    ------
    ConfigError
        As :meth:`NamedAxis.overrides`.
    """
    if key in NAMED_AXES:
        return NAMED_AXES[key].overrides(config, value)
    # that the value is whole was checked when the study was read
    return {key: round(value) if whole(key) else value}


def axis_label(config: Config, key: str) -> str:
    """What an axis varies, in words, without the unit.

    A list entry goes by its own name: ``weight "belly weight": height of its centre above the
    centreline``.
    """
    if key in NAMED_AXES:
        return NAMED_AXES[key].label
    field = _field(key)
    title = str(field.title) if field is not None else key
    held: Any = config
    words, what = [], ""
    for part in key.split(".")[:-1]:
        if not part.isdecimal():
            held, what = getattr(held, part, None), part
            continue
        held = held[int(part)]
        name, entry = getattr(held, "name", what), ENTRIES.get(what, what)
        # without a name of its own an entry carries that of its table
        words.append(f"{ordinal(int(part))} {entry}" if name == what else f'{entry} "{name}"')
    return ": ".join([*words, title])


def axis_unit(key: str) -> str:
    """Unit of an axis, "" for a number without one."""
    return NAMED_AXES[key].unit if key in NAMED_AXES else unit_of(key.rsplit(".", 1)[-1])
