"""Run the suite; rewrite docs/verification.md with its figures and docs/assumptions.md.

Exit 1 when a row fails.
"""

from __future__ import annotations

import sys
import time

from tests.verification import assumptions, document, suite


def main() -> int:
    failed = []
    for case in suite.cases():
        since = time.perf_counter()
        rows = case.rows()
        bad = [row for row in rows if not row.holds]
        failed += [(case, row) for row in bad]
        print(
            f"{case.title}: {len(rows)} rows, {len(bad)} failing,"
            f" {time.perf_counter() - since:.1f} s",
            file=sys.stderr,
        )
    document.write_figures()
    for page in (document, assumptions):
        page.PAGE.write_text(page.text(), encoding="utf-8")
        print(f"Wrote {page.PAGE.relative_to(suite.TOP)}")
    for case, row in failed:
        print(f"{case.title}: {document.complaint(row)}", file=sys.stderr)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
