"""Where the numbers come from, in words and in JSON: the list of loads and coefficients."""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Sequence
from itertools import groupby
from typing import Any

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from sim.coefficients import STATUSES, Coefficient
from sim.config.models import Config
from sim.report.text import name_of, significant, title

# Widths of name, value and source in a terminal of 80 columns, where the longest key of a
# coefficient stands whole; in another one in proportion.
WIDTHS = (24, 14, 36)


def sources_document(
    active: Sequence[Coefficient], off: Sequence[Coefficient]
) -> list[dict[str, Any]]:
    """The list as plain objects, loads that are off at the end with the status "off".

    Returns
    -------
    list of dict
        ``load``, ``name``, ``symbol``, ``value`` (None for a load that is off), ``unit``
        ("1" without one), ``source`` (the reason for a load that is off), ``status``, ``key``,
        ``given``, ``switch``.
    """
    return [dataclasses.asdict(row) for row in (*active, *off)]


def sources_summary(
    config: Config, active: Sequence[Coefficient], off: Sequence[Coefficient]
) -> RenderableType:
    """The list as a table for every load, and the loads that are off in a line each."""
    parts: list[RenderableType] = [title(name_of(config)), _counts(active)]
    for load, rows in groupby(active, key=lambda row: row.load):
        parts += [Text(""), *_table(load, list(rows))]
    if off:
        parts += [Text(""), Text("Off", style="bold"), _reasons(off)]
    return Group(*parts)


def _counts(rows: Sequence[Coefficient]) -> RenderableType:
    count = Counter(row.status for row in rows)
    words = [f"{count[status]} {status.replace(', ', ' (')}" for status in STATUSES]
    words = [w + ")" if "(" in w else w for w in words if not w.startswith("0 ")]
    return Padding(Text(f"{len(rows)} values: {', '.join(words)}."), (0, 0, 0, 2))


def _table(load: str, rows: Sequence[Coefficient]) -> list[RenderableType]:
    heading = title(load)
    if rows[0].switch:
        heading.append(f" ({rows[0].switch})", style="not bold")
    grid = Table.grid(padding=(0, 2), expand=True)
    for width in WIDTHS:
        grid.add_column(ratio=width, overflow="fold")
    before = None
    for row in rows:
        name = f"{row.name}, {row.symbol}" if row.symbol else row.name
        grid.add_row(Text(name), Text(_value(row)), _origin(row, before))
        before = row
    return [heading, Padding(grid, (0, 0, 0, 2))]


def _value(row: Coefficient) -> str:
    """The value as the configuration has it, or to four figures, with its unit."""
    if row.value is None:
        return "-"
    if row.given:
        number = f"{row.value:.10g}"
    else:
        number = significant(row.value)
        if "." in number and "e" not in number:
            number = number.rstrip("0").rstrip(".")
    return number if row.unit == "1" else f"{number} {row.unit}"


def _origin(row: Coefficient, before: Coefficient | None) -> Text:
    source = row.source
    if before is not None and (before.source, before.status) == (source, row.status):
        source = "as above"
    text = Text.assemble((row.status, "bold"), f": {source}")
    return text.append(f" ({row.key})") if row.key else text


def _reasons(rows: Sequence[Coefficient]) -> RenderableType:
    grid = Table.grid(padding=(0, 2))
    grid.add_column(overflow="fold")
    grid.add_column(overflow="fold")
    for row in rows:
        grid.add_row(Text(row.load), Text(row.source))
    return Padding(grid, (0, 0, 0, 2))
