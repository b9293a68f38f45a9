"""From a TOML file, or plain data, to a checked :class:`Config`, with every problem reported."""

import hashlib
import json
import os
import re
import tomllib
from collections.abc import Mapping
from difflib import get_close_matches
from pathlib import Path
from typing import Any, NamedTuple

from pydantic import ValidationError

from sim.config import checks
from sim.config.fields import Table
from sim.config.messages import Explainer, clean_name, kind, show
from sim.config.models import Config
from sim.config.overrides import parse_override, plain, set_override
from sim.config.schema import children
from sim.errors import ConfigError

__all__ = [
    "config_digest",
    "config_from_dict",
    "json_schema",
    "load_config",
    "parse_override",
    "resolved_json",
    "with_overrides",
]

_LARGEST_FILE = 1_000_000  # bytes; a configuration has a few thousand


class Kind(NamedTuple):
    """How messages speak of a kind of file."""

    name: str  # "a configuration"
    file: str  # the file that somebody should name instead of this one
    start: str  # what to start from


CONFIGURATION = Kind(
    "a configuration",
    "the TOML file of the bait",
    "Start from the file that `runtrue new NAME` writes.",
)


def load_config(
    path: str | os.PathLike[str], overrides: Mapping[str, object] | None = None
) -> Config:
    """Read and check a configuration file.

    Parameters
    ----------
    path : path
        TOML file in UTF-8.
    overrides : mapping, optional
        Dotted key to value, applied after reading: ``{"bait.tie.above_centreline_mm": -4.0,
        "bait.ballast.0.mass_g": 3.2}``. Tables of the schema that the file lacks are created;
        ``None`` as value removes an optional table or key.

    Returns
    -------
    Config
        Values in the units of the file. ``source_text``, ``source_path`` and ``overrides`` tell
        where they came from; ``name`` is the file's name without its ending if not given.

    Raises
    ------
    ConfigError
        With one line for every problem found.
    """
    where = os.fspath(path)
    text = read_text(where)
    data = parse_toml(text, where)
    data.setdefault("name", clean_name(Path(where).stem))
    return _build(data, where, overrides, text)


def config_from_dict(
    data: Mapping[str, Any],
    where: str = "<dict>",
    overrides: Mapping[str, object] | None = None,
    text: str = "",
) -> Config:
    """Check a configuration given as nested mappings and lists, keyed like the TOML file.

    Parameters
    ----------
    data : mapping
        Left unchanged; NumPy numbers and arrays are taken as plain ones.
    where : str
        Label that stands in messages where a file would.
    overrides : mapping, optional
        As in :func:`load_config`.
    text : str
        Kept as ``source_text``.

    Raises
    ------
    ConfigError
        With one line for every problem found.
    """
    if not isinstance(data, Mapping):
        raise ConfigError(f"{where}: must be a mapping of tables, not {kind(data)}.")
    return _build(plain(data), where, overrides, text)


def with_overrides(config: Config, overrides: Mapping[str, object]) -> Config:
    """A checked copy of a configuration with further overrides; its source stays known.

    Raises
    ------
    ConfigError
        As :func:`load_config`.
    """
    where = config.source_path or "<config>"
    try:
        # the dump is fresh and plain but for its tuples: no deep copy
        changed = _build(config.model_dump(), where, overrides, config.source_text)
    except ConfigError:  # told in the words for a file, whose lists are lists
        changed = config_from_dict(config.model_dump(), where, overrides, config.source_text)
    changed._source_path = config.source_path
    changed._overrides = {**config.overrides, **changed.overrides}
    return changed


def resolved_json(config: Config) -> str:
    """Every value of a configuration, defaults included, as JSON text in the units of the file."""
    return json.dumps(config.model_dump(mode="json"), indent=2, ensure_ascii=False, allow_nan=False)


def config_digest(config: Config) -> str:
    """SHA-256 (hex) of the resolved values that can change an answer.

    The top-level ``name`` and ``note`` are left out, so a renamed file keeps its digest, and so are
    ``build`` and ``uncertainty``, which no single run reads. Key order, comments, and 5 against 5.0
    make no difference.
    """
    values = config.model_dump(mode="json", exclude={"name", "note", "build", "uncertainty"})
    text = json.dumps(
        _no_negative_zero(values), sort_keys=True, separators=(",", ":"), allow_nan=False
    )
    return hashlib.sha256(text.encode()).hexdigest()


def json_schema() -> dict[str, Any]:
    """JSON schema (draft 2020-12) of the configuration file, for completion in an editor."""
    schema = Config.model_json_schema()
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **schema,
        "title": "runtrue configuration",
        "description": "One bait on one retrieve: lengths in mm, masses in g, angles in degrees,"
        " the unit in every key.",
    }


# --------------------------------------------------------------------------------------- reading


def read_text(where: str, what: Kind = CONFIGURATION) -> str:
    """Text of a file, or a ConfigError that says what is in the way."""
    path = Path(where)
    try:
        if path.is_dir():
            raise ConfigError(f"{where}: is a directory. Name a TOML file in it.")
        if path.exists() and not path.is_file():  # reading a pipe might wait for ever
            raise ConfigError(f"{where}: is not an ordinary file. Name a TOML file.")
        size = path.stat().st_size
        if size > _LARGEST_FILE:
            raise ConfigError(
                f"{where}: has {size / 1e6:.1f} MB, too large for {what.name} (at most"
                f" {_LARGEST_FILE / 1e6:.0f} MB). Name {what.file}."
            )
        raw = path.read_bytes()
    except FileNotFoundError:
        raise ConfigError(f"{where}: no such file. {_nearest(path, what)}") from None
    except PermissionError:
        raise ConfigError(
            f"{where}: may not be read. Give yourself permission to read the file."
        ) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise ConfigError(f"{where}: cannot be read ({reason}). Check the path.") from None
    if raw.startswith(b"\x89HDF"):
        raise ConfigError(f"{where}: is a result file (HDF5), not {what.name}. Name {what.file}.")
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise ConfigError(
            f"{where}: line {line}: is not UTF-8 text. Save the file as plain text in UTF-8."
        ) from None
    if not text.strip("\ufeff \t\r\n"):
        raise ConfigError(f"{where}: the file is empty. {what.start}")
    return text


def _nearest(path: Path, what: Kind) -> str:
    try:
        names = [entry.name for entry in path.parent.iterdir() if entry.suffix == ".toml"]
    except OSError:
        return f"The directory {path.parent} cannot be read either: check the path."
    close = get_close_matches(path.name, names, n=1, cutoff=0.6)
    return f'Did you mean "{path.parent / close[0]}"?' if close else what.start


def parse_toml(text: str, where: str) -> dict[str, Any]:
    """TOML text to plain data; a syntax error names line, column and text of the line."""
    try:
        # Some editors put a byte order mark in front, which TOML does not know.
        return tomllib.loads(text.removeprefix("\ufeff"))
    except tomllib.TOMLDecodeError as error:
        reason, line, column = _position(str(error), text)
    except RecursionError:
        raise ConfigError(
            f"{where}: brackets nested too deeply. Look for stray [ or {{ and remove them."
        ) from None
    except ValueError:  # Python's limit on the digits of an integer
        raise ConfigError(
            f"{where}: a number has thousands of digits. Look for a key held down, and correct it."
        ) from None
    lines = text.replace("\r\n", "\n").split("\n")
    offending = lines[line - 1].strip() if line <= len(lines) else ""
    hint = _syntax_hint(offending, reason)
    shown = "".join(c if c.isprintable() else "?" for c in offending[:80])
    raise ConfigError(
        f'{where}: line {line}, column {column}: "{shown}" is not valid TOML ({reason}). {hint}'
    )


def _position(message: str, text: str) -> tuple[str, int, int]:
    """Reason, line and column from the message of the TOML reader."""
    found = re.search(r"\(at line (\d+), column (\d+)\)$", message)
    if found:
        return message[: found.start()].strip(), int(found[1]), int(found[2])
    # "at end of document": the last line that holds anything is the one to look at.
    lines = text.rstrip().replace("\r\n", "\n").split("\n")
    reason = message.removesuffix("(at end of document)").strip()
    return reason, len(lines), len(lines[-1]) + 1


def _syntax_hint(line: str, reason: str) -> str:
    """What a maker most likely did wrong on a line that is not TOML."""
    key, sign, value = line.partition("=")
    value = value.split("#")[0].strip()
    if "Cannot declare" in reason or "Cannot overwrite" in reason:
        if line.startswith("[["):
            return f"The table stands in the file with single brackets too: open each with {line}."
        if re.match(r"\[bait\.(hook|ballast|plate)\]|\[bait\.body\.station\]|\[axis\]", line):
            return f"For several of them write [[{line.strip('[] ')}]] each time."
        return "This key or table stands in the file twice: remove one."
    if "Unclosed array" in reason:
        return "Close the list with ]."
    if "Illegal character '\\n'" in reason or "Unterminated string" in reason:
        return "Close the text with a double quote."
    if line.startswith("["):
        return "A table is opened by [bait.body], a list entry by [[bait.hook]], alone on its line."
    if not sign:
        return "Every line is key = value, a [table], or a # comment."
    if re.fullmatch(r"[-+]?\d+,\d+", value):
        return f"Use a decimal point: {key.strip()} = {value.replace(',', '.')}."
    if value in ("True", "False", "TRUE", "FALSE", "yes", "no", "on", "off"):
        wanted = "true" if value.lower() in ("true", "yes", "on") else "false"
        return f"Write {key.strip()} = {wanted}."
    number = re.fullmatch(r"([-+]?\d+(?:\.\d+)?)\s*[A-Za-z°%\"']+[A-Za-z0-9/^³²]*", value)
    if number:
        return f"Write the number alone, the key names the unit: {key.strip()} = {number[1]}."
    if re.fullmatch(r"[-+]?(\.\d+|\d+\.)", value):
        return f"Write a digit on both sides of the point: {key.strip()} = {float(value)}."
    if re.fullmatch(r"[-+]?0\d+(\.\d+)?", value):
        return f"Write the number without leading zeros: {key.strip()} = {float(value):g}."
    if re.fullmatch(r"[A-Za-z][\w .-]*", value):
        return f'Put text in double quotes: {key.strip()} = "{value}".'
    if not value:
        return f"Give a value after the =, or remove {key.strip()}."
    if any(mark in line for mark in "\u201c\u201d\u2018\u2019"):
        return 'Write straight quotes, "like this".'
    return "Text needs double quotes, numbers a decimal point, lists [ ] with commas."


# -------------------------------------------------------------------------------------- checking


def _no_negative_zero(value: Any) -> Any:
    """-0.0 equals 0.0, so both must give one digest."""
    if isinstance(value, dict):
        return {key: _no_negative_zero(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [_no_negative_zero(inner) for inner in value]
    return 0.0 if isinstance(value, float) and value == 0 else value


def _build(
    data: dict[str, Any], where: str, overrides: Mapping[str, object] | None, text: str
) -> Config:
    applied = {str(key): plain(value) for key, value in (overrides or {}).items()}
    found: list[str] = []
    overridden: list[checks.Key] = []
    for dotted, value in applied.items():
        problem, key = set_override(data, dotted, value)
        if problem:
            found.append(f"{where}: override {dotted} = {show(value)}: {problem}")
        else:
            overridden.append(key)
    config, problems = checked(Explainer(where, data, overridden))
    found += problems
    if config is None or found:
        raise ConfigError(found)
    config._source_text = text
    config._source_path = where
    config._overrides = applied
    return config


def checked(explainer: Explainer) -> tuple[Any, list[str]]:
    """The model of an explainer's data, None where it has problems, and a line for each."""
    root, data = explainer.root, explainer.data
    try:
        return root.model_validate(data), []
    except ValidationError as error:
        errors = error.errors(include_url=False)
        broken = {tuple(e["loc"]) for e in errors if e["type"] != checks.RULE_ERROR}
        problems = _all_rules(root, _partial(root, data, (), broken), ())
        return None, explainer.lines(errors, problems)


def _partial(
    model: type[Table], data: Mapping[str, Any], path: checks.Key, broken: set[checks.Key]
) -> checks.Partial:
    """What could be read of a table, defaults included, for the cross checks."""
    values: dict[str, Any] = {}
    inner = children(model)
    for key, field in model.model_fields.items():
        here = (*path, key)
        if here in broken:
            continue
        given = data.get(key)
        if key not in data or given is None:
            if not field.is_required():
                values[key] = field.get_default(call_default_factory=True)
        elif key not in inner:
            if not any(loc[: len(here)] == here for loc in broken):
                values[key] = given
        elif inner[key].is_list:
            values[key] = [
                checks.Missing()
                if (*here, index) in broken
                else _partial(inner[key].model, entry, (*here, index), broken)
                for index, entry in enumerate(given)
            ]
        else:
            values[key] = _partial(inner[key].model, given, here, broken)
    return checks.Partial(values)


def _all_rules(model: type[Table], table: Any, path: checks.Key) -> list[checks.Problem]:
    """Failed cross checks of a table and all below it, keys counted from the top of the file."""
    found: list[checks.Problem] = []
    for key, child in children(model).items():
        try:
            inner = getattr(table, key)
        except checks.Unknown:
            continue
        if child.is_list:
            for index, entry in enumerate(inner):
                found += _all_rules(child.model, entry, (*path, key, index))
        elif inner is not None:
            found += _all_rules(child.model, inner, (*path, key))
    found += [p.under(path) for p in checks.apply(model.rules, table)]
    return found
