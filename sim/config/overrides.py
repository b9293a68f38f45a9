"""Overrides: dotted keys set on top of what a file says."""

import re
import tomllib
from collections.abc import Mapping
from typing import Any

from sim.config.checks import Key
from sim.config.messages import kind, show
from sim.config.schema import header, tables
from sim.errors import ConfigError


def parse_override(text: str) -> tuple[str, Any]:
    """Split ``"bait.tie.above_centreline_mm=-4"`` into key and value.

    The value is read as a TOML value and, where it is none, taken as plain text, so that
    ``line.kind=chord`` needs no quotes.

    Raises
    ------
    ConfigError
        Without "=", without a key, or without a value.
    """
    key, sign, given = text.partition("=")
    key, given = key.strip(), given.strip()
    example = "Type KEY=VALUE, for example bait.tie.above_centreline_mm=-4."
    if not sign:
        raise ConfigError(f"override {show(text)}: no = in it. {example}")
    if not key or any(not part.strip() for part in key.split(".")):
        raise ConfigError(f"override {show(text)}: no complete key before the =. {example}")
    if not given:
        raise ConfigError(f"override {show(text)}: no value after the =. {example}")
    try:
        read = tomllib.loads(f"value = {given}")
    except (ValueError, RecursionError):
        return key, given
    # A line break in the value could smuggle in a second key.
    return key, read["value"] if list(read) == ["value"] else given


def plain(value: Any) -> Any:
    """A deep copy in dict, list and plain numbers, NumPy values included."""
    if isinstance(value, Mapping):
        return {str(key): plain(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [plain(inner) for inner in value]
    to_list = getattr(value, "tolist", None)
    return to_list() if callable(to_list) else value


def set_override(data: dict[str, Any], dotted: str, value: Any) -> tuple[str, Key]:
    """Set one dotted key in raw data, creating tables on the way.

    Parameters
    ----------
    data : dict
        Plain nested data, changed in place.
    dotted : str
        Key such as "bait.tie.right_mm" or "bait.ballast.0.mass_g". An unknown key is set all the
        same: the check that follows has the better message for it.
    value : object
        Plain value.

    Returns
    -------
    problem : str
        What is wrong with the key, or "".
    key : tuple
        The key as far as it leads.
    """
    parts = [part.strip() for part in dotted.split(".")]
    if "[" in dotted:
        better = re.sub(r"\[(\d+)\]", r".\1", dotted)
        return f"the key has brackets. Count list entries by dots from 0: {better}.", ()
    if not all(parts):
        return "the key has an empty part. Write it like bait.tie.above_centreline_mm.", ()
    place: Any = data
    key: Key = ()
    for position, part in enumerate(parts):
        if isinstance(place, list):
            if not part.isdecimal() or int(part) >= len(place):
                return _no_entry(key, part, len(place)), key
            step: str | int = int(part)
        elif isinstance(place, dict):
            step = part
        else:
            name = ".".join(map(str, key))
            return f"{name} is {kind(place)}, not a table: it has no key {show(part)}.", key
        key += (step,)
        if position == len(parts) - 1:
            place[step] = value
        elif isinstance(step, str) and place.get(step) is None:
            if _is_list(key):
                return _no_entry(key, parts[position + 1], 0), key
            place[step] = {}
        if isinstance(place[step], tuple):  # as the dump of a configuration has its lists
            place[step] = list(place[step])
        place = place[step]
    return "", key


def _names(key: Key) -> list[str]:
    return [part for part in key if isinstance(part, str)]


def _is_list(key: Key) -> bool:
    """Whether the schema has a list at a key."""
    *path, name = _names(key)
    dotted = ".".join([*path, name])
    if dotted in tables():
        return tables()[dotted].is_list
    home = tables().get(".".join(path))
    field = home.model.model_fields.get(name) if home else None
    return field is not None and "tuple[" in str(field.annotation)


def _no_entry(key: Key, part: str, count: int) -> str:
    """What to say about a part of an override that names no entry of the list at ``key``."""
    here, dotted = ".".join(map(str, key)), ".".join(_names(key))
    keys = list(tables()[dotted].model.model_fields) if dotted in tables() else []
    inside = f".{part if part in keys else keys[0]}" if keys else ""
    if not part.removeprefix("-").isdecimal():
        return f"{here} is a list. Name an entry, counted from 0, as in {here}.0{inside}."
    if count == 1:
        return f"{here} has no entry {part}. It has one, number 0."
    if count:
        return (
            f"{here} has no entry {part}. Its {count} are counted from 0, the last is {count - 1}."
        )
    if inside:
        return f"there is no {header(dotted)}. Add it to the file first."
    return f"{here} is not given in the file. Give the whole list: {here}=[...]."
