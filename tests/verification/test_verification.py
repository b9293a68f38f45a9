"""Every row of the verification table holds, and the page shows these rows."""

from __future__ import annotations

import ast
import math
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


ROW = {"quantity": "q", "ours": 1.0, "reference": 1.0, "tolerance": 0.1, "source": "s"}
FAULTS = {
    "unknown kind 'percent'": {"kind": "percent"},
    "unknown status 'believed'": {"status": "believed"},
    "reference nan": {"reference": math.nan},
    "relative to 0": {"reference": 0.0},
    "tolerance -0.1": {"tolerance": -0.1},
    "tolerance 0.0": {"tolerance": 0.0},
    "tolerance nan": {"tolerance": math.nan, "kind": "absolute"},
    "a bar in the source": {"source": "a | b"},
}


@pytest.mark.parametrize("text", FAULTS)
def test_a_row_that_cannot_be_judged_or_shown_is_refused(text):
    with pytest.raises(ValueError, match=re.escape(text)) as caught:
        suite.Row(**({"status": suite.READ} | ROW | FAULTS[text]))
    assert "'q'" in str(caught.value)


def test_rows_are_counted_by_what_they_are_against():
    row = suite.Row(**ROW, status=suite.READ)
    assert (row.group, row.holds, row.reported_only) == ("outside", True, False)
    used = suite.Row(**ROW, status=suite.READ, note=f"{suite.ARRIVES} And more.")
    assert used.group == "formula"
    assert suite.Row(**ROW, status=suite.OWN).group == "itself"
    assert suite.Row(**ROW, status=suite.OF_REFERENCE).group == "reference"
    exact = suite.Row(**(ROW | {"tolerance": 0.0}), status=suite.OWN, kind="absolute")
    assert exact.holds


def _section(title: str) -> str:
    page = document.PAGE.read_text("utf-8")
    found = re.search(rf"^## {re.escape(title)}$(.*?)(?=^## |\Z)", page, re.MULTILINE | re.DOTALL)
    assert found, f"{document.PAGE.name} lacks {title!r}: run `{document.COMMAND}`"
    return found[1]


def _cells(line: str) -> list[str]:
    return [c.strip() for c in re.split(r"(?<!\\)\|", line)[1:-1]]


def _page_rows(title: str) -> list[list[str]]:
    lines = [line for line in _section(title).splitlines() if line.startswith("| ")]
    return [_cells(line) for line in lines[1:]]


def _counted(title: str) -> list[document.Shown]:
    """What the head line counts, read off the table of a section and its notes."""
    notes = dict(re.findall(r"^\((\d+)\) (.*?) *$", _section(title), re.MULTILINE))
    found = []
    for cells in _page_rows(title):
        mark = re.search(r" \((\d+)\)$", cells[0])
        judged = cells[5] != document.REPORTED
        note = notes[mark[1]] if mark else ""
        found.append(document.Shown(cells[7], note, judged, "**" not in cells[4]))
    return found


def _figure(cell: str) -> float:
    """A difference as the page has it, in the unit of the tolerance."""
    return 0.01 * float(cell[:-2]) if cell.endswith(" %") else float(cell)


@pytest.mark.parametrize("case", CASES)
def test_page_shows_the_rows(case):
    shown = _page_rows(case.title)
    rows = case.rows()
    assert len(shown) == len(rows), f"run `{document.COMMAND}`"
    for cells, row in zip(shown, rows, strict=True):
        assert re.sub(r" \(\d+\)$", "", cells[0]) == row.quantity.replace("|", "\\|")
        _, tolerance = document.shown(row)
        assert cells[1] == row.unit
        assert cells[5:] == [tolerance, row.source, row.status], f"run `{document.COMMAND}`"
        assert "**" not in cells[4], "the page shows a row that fails"
        if row.reported_only:
            # among them motions that are no sharp numbers from machine to machine
            continue
        close = SAME * max(abs(row.ours), abs(row.reference))
        if row.kind == "absolute":
            close = max(close, 0.1 * row.tolerance)
        assert float(cells[2]) == pytest.approx(row.ours, abs=close), f"run `{document.COMMAND}`"
        assert float(cells[3]) == pytest.approx(row.reference, abs=close)
        # two figures are shown: within a tenth of the tolerance for a row that holds
        near = pytest.approx(row.difference, abs=0.1 * row.tolerance)
        assert _figure(cells[4]) == near, f"run `{document.COMMAND}`"


@pytest.mark.parametrize("case", CASES)
def test_contents_count_the_rows(case):
    """All but the last column, which moves with the differences."""
    now = _cells(document.section_line(case))
    shown = [_cells(x) for x in _section("Sections").splitlines() if x.startswith("| [")]
    assert now[:-1] in [cells[:-1] for cells in shown], f"run `{document.COMMAND}`"


def test_head_line_counts_the_rows_of_the_page():
    rows = [row for case in suite.cases() for row in _counted(case.title)]
    assert document.count_line(rows) in document.PAGE.read_text("utf-8").splitlines()


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
