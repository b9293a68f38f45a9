"""The written reference of the configuration: every table and key, read off the models.

Run as a module it rewrites what is generated in ``docs/``: ``python -m sim.config.reference``.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any, Literal, get_args, get_origin

from pydantic.fields import FieldInfo

from sim.config.load import json_schema
from sim.config.schema import bounds, children, header, tables
from sim.config.units import unit_of
from sim.errors import RuntrueError

__all__ = ["COMMAND", "MARKER", "config_reference", "schema_text", "with_reference"]

COMMAND = "python -m sim.config.reference"
MARKER = f"<!-- From here to the end this page is written by `{COMMAND}`. -->"
PAGE, SCHEMA = "config.md", "config.schema.json"
DOCS = Path(__file__).resolve().parents[2] / "docs"


def config_reference() -> str:
    """Markdown that documents every table and key: unit, default, allowed values, meaning.

    Returns
    -------
    str
        A list of the tables, then a section for each, in the order of the schema; headings from
        level 3 down.
    """
    paths = list(tables())
    lines = ["| Table | What it holds |", "|---|---|"]
    lines += [f"| {_link(path)} | {_cell(_what(path))} |" for path in paths]
    for path in paths:
        lines += ["", f"### {_title(path)}", "", *_section(path)]
    return "\n".join(lines) + "\n"


def schema_text() -> str:
    """The JSON schema as it stands in its file, the same as ``runtrue schema`` writes."""
    return json.dumps(json_schema(), indent=2, ensure_ascii=False) + "\n"


def with_reference(page: str) -> str:
    """A page of markdown with all that follows its marker written anew.

    Raises
    ------
    RuntrueError
        When the page has no line that is the marker.
    """
    head, marker, _ = page.partition(MARKER)
    if not marker:
        raise RuntrueError(
            f"{PAGE}: has no marker line. Add this line where the reference is to begin: {MARKER}"
        )
    return f"{head}{MARKER}\n\n{config_reference()}"


def _title(path: str) -> str:
    return f"`{header(path)}`" if path else "Top of the file"


def _link(path: str) -> str:
    return f"[{_title(path)}](#{_anchor(path)})"


def _anchor(path: str) -> str:
    """What a heading is called in a link: lower case, blanks to hyphens, brackets and dots gone."""
    return "".join(c for c in _title(path).lower().replace(" ", "-") if c.isalnum() or c in "-_")


def _what(path: str) -> str:
    return str(tables()[path].model.__doc__).strip().splitlines()[0]


def _section(path: str) -> list[str]:
    model = tables()[path].model
    lines = [" ".join([_what(path), *_presence(path)]), ""]
    shared = [p for p, other in tables().items() if other.model in model.__mro__[1:]]
    if shared:
        lines[0] += f" Keys that {_link(shared[0])} has as well are described in its words."
    lines += ["| Key | Unit | Default | Allowed | Meaning |", "|---|---|---|---|---|"]
    inner = children(model)
    for key, field in model.model_fields.items():
        if key not in inner:
            cells = (f"`{key}`", unit_of(key) or "-", _default(field), _allowed(key, field))
            lines.append(f"| {' | '.join(map(_cell, cells))} | {_cell(_meaning(key, field))} |")
    if inner:
        dotted = [f"{path}.{key}" if path else key for key in inner]
        lines += ["", f"Tables in it: {', '.join(map(_link, dotted))}."]
    return lines


def _presence(path: str) -> list[str]:
    """Whether a table may be left out, and what its parent says about it."""
    if not path:
        return []
    parent, _, key = path.rpartition(".")
    field = tables()[parent].model.model_fields[key]
    if field.is_required():
        found = ["Needed."]
    elif tables()[path].is_list:
        found = [f"May be repeated: one `{header(path)}` for each."]
    elif field.default_factory is not None:
        found = ["May be left out: then the defaults hold."]
    else:
        found = ["May be left out."]
    said = str(field.description)
    return [*found, said] if "; " in said else found


def _default(field: FieldInfo) -> str:
    if field.is_required():
        return "**needed**"
    default = field.get_default(call_default_factory=True)
    return "none" if default is None else f"`{_toml(default)}`"


def _toml(value: Any) -> str:
    """A default as it would stand in the file."""
    return json.dumps(value, ensure_ascii=False)


def _allowed(key: str, field: FieldInfo) -> str:
    """Allowed values in words, without the unit."""
    # None is how a key is left out; nobody writes it into a file.
    kinds = [k for k in get_args(field.annotation) if k is not type(None)]
    if get_origin(field.annotation) is Literal:
        return ", ".join(f"`{_toml(word)}`" for word in kinds)
    kind = kinds[0] if type(None) in get_args(field.annotation) else field.annotation
    if kind is bool:
        return "`true`, `false`"
    if kind is str:
        longest = [rule.max_length for rule in field.metadata if hasattr(rule, "max_length")]
        return f"text, at most {longest[0]} characters" if longest else "text"
    if kind in (int, float):
        limits = bounds(key, field).removesuffix(f" {unit_of(key)}" if unit_of(key) else "")
        words = [limits] if limits else []
        return ", ".join(["whole number", *words] if kind is int else words or ["any number"])
    parts = [p for p in get_args(_bare(kind)) if p is not Ellipsis]
    if all(p is float for p in parts):
        return f"list of {len(parts)} numbers"
    return "list of pairs of numbers"


def _bare(kind: Any) -> Any:
    """The type inside an ``Annotated`` one."""
    return kind.__origin__ if hasattr(kind, "__metadata__") else kind


def _meaning(key: str, field: FieldInfo) -> str:
    return str(field.description).replace(f" [{unit_of(key)}]", "", 1)


def _cell(text: str) -> str:
    return text.replace("|", "\\|")


def main(folder: Path = DOCS) -> int:
    """Rewrite the generated files in a folder; returns the exit code."""
    page = folder / PAGE
    try:
        texts = {page: with_reference(page.read_text("utf-8")), folder / SCHEMA: schema_text()}
        for path, text in texts.items():
            path.write_text(text, "utf-8", newline="\n")
            print(f"Wrote {path}")
    except OSError as error:
        print(
            f"{error.filename}: {error.strerror}. Run this in a checkout that has docs/{PAGE}.",
            file=sys.stderr,
        )
        return 1
    except RuntrueError as error:
        print(error, file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
