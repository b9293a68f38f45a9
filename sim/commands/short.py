"""Studies that take seconds: run in one go, kept in one file, drawn in one picture.

Shared by the commands that lay out a study themselves. There is nothing to go on with after an
interrupt.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sim import terminal
from sim.commands.inputs import RESULTS, name_problems
from sim.errors import RuntrueError

if TYPE_CHECKING:
    from rich.console import RenderableType

    from sim.studies.store import MapResult
    from sim.studies.study import Study

WorkersOption = Annotated[
    int | None,
    typer.Option(
        "--workers",
        metavar="N",
        min=1,
        help="Processes that calculate side by side. [default: as many as processors]",
    ),
]


@dataclass(frozen=True)
class Files:
    """The two files of a study that takes seconds, and whether they may be replaced."""

    result: Path
    picture: Path
    force: bool

    @classmethod
    def of(cls, name: str, output: Path | None, picture: Path | None, *, force: bool) -> Files:
        """Files as asked for; left out, ``results/NAME.h5`` and a picture beside the result."""
        result = output if output is not None else RESULTS / f"{name}.h5"
        return cls(result, picture if picture is not None else result.with_suffix(".png"), force)

    def problems(self, *configs: Path) -> list[str]:
        """What is wrong with the names, a line each, beside the configurations that are read."""
        found = [text for c in configs for text in name_problems(c, self.result, self.picture)]
        return list(dict.fromkeys(found))

    def check(self) -> None:
        """Find out before any work what is in the way; StoreError."""
        terminal.check_file(self.result, force=self.force)
        terminal.check_picture(self.picture, force=self.force)


def run_short(study: Study, files: Files, *, quiet: bool, workers: int | None) -> MapResult:
    """Run a study and write its file; broken off, it leaves nothing behind.

    Raises
    ------
    StoreError
    typer.Exit
        After Ctrl-C.
    """
    from sim.studies.run import processors, run_study

    try:
        with terminal.Tally(study.name, quiet=quiet) as tally:
            return run_study(
                study, files.result, force=True, workers=workers or processors(), progress=tally,
                keep=False,
            )  # fmt: skip
    except RuntrueError as error:
        # what takes seconds has no --resume
        raise type(error)(str(error).replace("go on with --resume", "run it again")) from error
    except KeyboardInterrupt:
        terminal.complain("interrupted; nothing was written.")
        raise typer.Exit(terminal.INTERRUPTED) from None


def tell(
    files: Files,
    *,
    as_json: bool,
    facts: Callable[[list[str]], dict[str, Any]],
    summary: Callable[[], RenderableType],
    draw: Callable[[Path], object],
) -> None:
    """Draw and print what a study came to.

    Parameters
    ----------
    files : Files           the result is written already
    as_json : bool
    facts : callable        from the names of the pictures drawn to the JSON document
    summary : callable      the same in words
    draw : callable         draws the picture

    Raises
    ------
    typer.Exit
        When the picture could not be drawn; the answer is printed all the same.
    """
    from sim.report.text import to_json

    complaint = ""
    drawn: list[str] = []
    try:
        files.picture.parent.mkdir(parents=True, exist_ok=True)
        draw(files.picture)
        drawn.append(str(files.picture))
    except RuntrueError as error:
        complaint = str(error)
    except OSError as error:
        complaint = f"{files.picture}: cannot be drawn ({error.strerror or error})."
    if as_json:
        terminal.emit(to_json(facts(drawn)))
    else:
        terminal.show(summary())
        terminal.emit(f"Wrote {files.result}")
        for name in drawn:
            terminal.emit(f"Wrote {name}")
    if complaint:
        terminal.complain(complaint)
        raise typer.Exit(terminal.FAILED)


def count_failed(result: MapResult) -> int:
    """Runs of a study that failed."""
    from sim.studies.engine import FAILED, STATUSES

    return sum(int((result.status == STATUSES.index(name)).sum()) for name in FAILED)


def close(result: MapResult, config: Path, *, as_json: bool) -> None:
    """Complain of failed runs, once the answer is printed.

    Raises
    ------
    typer.Exit
        With the code for failed runs, when there are any.
    """
    failed = count_failed(result)
    if failed:
        where = 'see "failures"' if as_json else "see above"
        terminal.complain(f"{config}: {failed} of its runs failed, {where}.")
        raise typer.Exit(terminal.SOME_FAILED)
