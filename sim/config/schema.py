"""What the schema holds, read off the models: tables, their keys, bounds and defaults."""

import operator
from functools import cache
from typing import Any, NamedTuple, get_args, get_origin

from pydantic.fields import FieldInfo

from sim.config.fields import Table
from sim.config.models import Config
from sim.config.units import unit_of


class Child(NamedTuple):
    """A sub-table: its model, and whether the key holds a list of such tables."""

    model: type[Table]
    is_list: bool


def _table_in(annotation: Any, is_list: bool = False) -> Child | None:
    if isinstance(annotation, type) and issubclass(annotation, Table):
        return Child(annotation, is_list)
    inside_list = is_list or get_origin(annotation) is tuple
    for argument in get_args(annotation):
        found = _table_in(argument, inside_list)
        if found:
            return found
    return None


@cache
def children(model: type[Table]) -> dict[str, Child]:
    """Keys of a model that hold tables."""
    found = {key: _table_in(field.annotation) for key, field in model.model_fields.items()}
    return {key: child for key, child in found.items() if child is not None}


@cache
def tables(root: type[Table] = Config) -> dict[str, Child]:
    """Every table of the schema by its dotted path; "" is the top of the file, ``root``."""
    found = {"": Child(root, False)}

    def walk(model: type[Table], path: str) -> None:
        for key, child in children(model).items():
            dotted = f"{path}.{key}" if path else key
            found[dotted] = child
            walk(child.model, dotted)

    walk(root, "")
    return found


@cache
def owners(root: type[Table] = Config) -> dict[str, tuple[str, ...]]:
    """For every key of the schema, the tables that have it."""
    found: dict[str, tuple[str, ...]] = {}
    for path, child in tables(root).items():
        for key in child.model.model_fields:
            found[key] = (*found.get(key, ()), path)
    return found


def header(path: str, root: type[Table] = Config) -> str:
    """How a table is opened in TOML: ``[bait.body]`` or ``[[bait.hook]]``."""
    return f"[[{path}]]" if tables(root)[path].is_list else f"[{path}]"


def _limits(field: FieldInfo) -> dict[str, float]:
    """Bounds of a number by their names in pydantic: gt, ge, lt, le."""
    return {
        name: getattr(rule, name)
        for name in ("gt", "ge", "lt", "le")
        for rule in field.metadata
        if hasattr(rule, name)
    }


def bounds(key: str, field: FieldInfo) -> str:
    """The allowed range with its unit, "> 0 mm"; "" when every number will do."""
    unit = " " + unit_of(key) if unit_of(key) else ""
    limits = _limits(field)
    if set(limits) == {"ge", "le"}:
        return f"from {limits['ge']} to {limits['le']}{unit}"
    signs = {"gt": ">", "ge": ">=", "lt": "<", "le": "<="}
    words = [f"{signs[name]} {limit}" for name, limit in limits.items()]
    return f"{' and '.join(words)}{unit}" if words else ""


def within(field: FieldInfo, x: float) -> float:
    """The number nearest to ``x`` that lies within the closed bounds of a field."""
    limits = _limits(field)
    return min(max(x, limits.get("ge", x)), limits.get("le", x))


def allows(field: FieldInfo, x: float) -> bool:
    """Whether a number lies within the bounds of a field."""
    return all(getattr(operator, name)(x, limit) for name, limit in _limits(field).items())
