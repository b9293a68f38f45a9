"""Every row of the verification table holds, and the page shows these rows."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from . import assumptions, document, suite

CASES = [
    pytest.param(c, id=c.title, marks=[pytest.mark.slow] if c.slow else []) for c in suite.cases()
]
SAME = 2e-3  # the page was written on one machine and is read on another


@pytest.mark.parametrize("case", CASES)
def test_rows_hold(case):
    rows = case.rows()
    assert rows, "a case without rows checks nothing"
    bad = [document.complaint(row) for row in rows if not row.holds]
    assert not bad, "\n".join(bad)


def _page_rows(title: str) -> list[list[str]]:
    page = document.PAGE.read_text("utf-8")
    found = re.search(rf"^## {re.escape(title)}$(.*?)(?=^## |\Z)", page, re.MULTILINE | re.DOTALL)
    assert found, f"{document.PAGE.name} lacks {title!r}: run `{document.COMMAND}`"
    lines = [line for line in found[1].splitlines() if line.startswith("| ")]
    return [[c.strip() for c in re.split(r"(?<!\\)\|", line)[1:-1]] for line in lines[1:]]


@pytest.mark.parametrize("case", CASES)
def test_page_shows_the_rows(case):
    shown = _page_rows(case.title)
    rows = case.rows()
    assert len(shown) == len(rows), f"run `{document.COMMAND}`"
    for cells, row in zip(shown, rows, strict=True):
        assert re.sub(r" \(\d+\)$", "", cells[0]) == row.quantity.replace("|", "\\|")
        assert cells[6:] == [row.source, row.status]
        if (
            row.reported_only
        ):  # among them motions that are no sharp numbers from machine to machine
            continue
        close = SAME * max(abs(row.ours), abs(row.reference))
        if row.kind == "absolute":
            close = max(close, 0.1 * row.tolerance)
        assert float(cells[2]) == pytest.approx(row.ours, abs=close), f"run `{document.COMMAND}`"
        assert float(cells[3]) == pytest.approx(row.reference, abs=close)


@pytest.mark.slow
def test_page_on_assumptions_is_that_of_the_study():
    def blank(text: str) -> str:
        """The page without its figures, which may differ in the last one between machines."""
        return re.sub(r"[-+]?[0-9]+\.[0-9]", "0.0", text)

    shown, now = assumptions.PAGE.read_text("utf-8"), assumptions.text()
    assert blank(shown) == blank(now), f"run `{document.COMMAND}`"
    figures = [[float(f) for f in re.findall(r"[-+]?[0-9]+\.[0-9]", t)] for t in (shown, now)]
    assert figures[0] == pytest.approx(figures[1], abs=0.3), f"run `{document.COMMAND}`"


def _imports(source: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(source.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.level == 0:
            found.add(node.module or "")
    return found


@pytest.mark.parametrize("module", suite.MODULES)
def test_cases_use_the_public_interface_only(module):
    inside = {n for n in _imports(Path(__file__).parent / f"{module}.py") if n.startswith("sim.")}
    assert not inside, "cases look at the program as an outsider would: `import sim` alone"


@pytest.mark.parametrize("figure", suite.pictures(), ids=lambda p: p.file)
def test_figures_of_the_page_are_there(figure):
    assert (document.FOLDER / figure.file).stat().st_size > 5000, f"run `{document.COMMAND}`"
    assert f"](verification/{figure.file})" in document.PAGE.read_text("utf-8")
