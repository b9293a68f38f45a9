"""Studies that take long: what a call leaves when it is stopped, and how another goes on with it.

The commands differ in what they run and tell; what they do about files in the way, Ctrl-C, pictures
that fail and failed runs is here.
"""

from __future__ import annotations

import shlex
from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, ClassVar

import typer

from sim import terminal
from sim.commands.pictures import Pictures
from sim.errors import StoreError
from sim.plots import SUFFIXES
from sim.terminal import Stamp, check_picture

if TYPE_CHECKING:
    from rich.console import RenderableType

    from sim.studies.kinds import AnyStudy
    from sim.studies.parts import PartFolder

ResumeOption = Annotated[
    bool,
    typer.Option(
        "--resume",
        help="Go on with what an interrupted call left, and replace its pictures; the result has"
        " the same bits as one that was not interrupted.",
    ),
]
SchedulerOption = Annotated[
    str | None,
    typer.Option(
        "--scheduler",
        metavar="ADDRESS",
        help="Send the runs to a Dask cluster, such as tcp://host:8786; needs the extra"
        " runtrue[cluster].",
    ),
]


@dataclass(frozen=True)
class LongCall(ABC):
    """What the user asked for, and how it is carried out.

    Attributes
    ----------
    file : Path             study or configuration
    output : Path or None   as it was given
    drawing : Pictures      as they were given
    set_ : sequence of str  as they were given
    """

    file: Path
    output: Path | None
    drawing: Pictures
    resume: bool
    force: bool
    scheduler: str | None
    workers: int | None
    set_: Sequence[str]
    quiet: bool
    as_json: bool

    name: ClassVar[str]  # of the command, and of what it makes

    # ---- in what the commands differ ------------------------------------------------------------

    @abstractmethod
    def load(self, path: Path) -> Any:
        """A stored result, for its ``study``; StoreError."""

    @abstractmethod
    def run(self, study: Any, target: Path, tally: terminal.Tally) -> Any:
        """Run a study and write its file; the result."""

    @abstractmethod
    def facts(self, result: Any, output: str, pictures: list[str]) -> dict[str, Any]:
        """The JSON document of a result."""

    @abstractmethod
    def summary(self, result: Any) -> RenderableType:
        """A result in words."""

    @abstractmethod
    def warn(self, study: Any) -> None:
        """Tell of slips in what was run, unless it is to be quiet."""

    def open_ended(self, study: Any) -> bool:
        """Whether more runs may yet be planned than are at first."""
        return False

    def own_options(self) -> list[str]:
        """The words of the options that the command alone has."""
        return []

    # ---- before the work ------------------------------------------------------------------------

    def problems(self) -> list[str]:
        """What is wrong with the options, whatever the study."""
        found = self.drawing.problems()
        if self.scheduler is not None and self.workers is not None:
            found.append(
                f"--workers {self.workers}: are processes here, and --scheduler {self.scheduler}"
                " has workers of its own. Leave one of them out."
            )
        return found

    def name_problems(self, target: Path, taken: Mapping[Path, str]) -> list[str]:
        """Names that would destroy one file by another.

        Parameters
        ----------
        target : Path       file of the result
        taken : mapping     file that is read, to what it is
        """
        problems = []
        if target.suffix.lower() in SUFFIXES:
            problems.append(
                f"--output {target}: is the name of a picture, the {self.name} is an .h5 file. Use"
                f" --picture {target.name} to draw it, and --output for the {self.name}."
            )
        given = self.drawing.pictures
        for path in given:
            if path.resolve() == target.resolve():
                problems.append(
                    f"--picture {path}: is the --output file as well. Use another name."
                )
        held = {path.resolve(): what for path, what in taken.items()}
        for option, path in [("--output", target), *[("--picture", p) for p in given]]:
            what = held.get(path.resolve())
            if what is not None:
                problems.append(f"{option} {path}: is {what}. Use another {option}.")
        return problems

    def check_files(self, study: AnyStudy, target: Path, drawing: Pictures) -> None:
        """Refuse to replace a result, finished or begun, or a picture; tell how to go on.

        Raises
        ------
        StoreError
        """
        from sim.studies.parts import PartFolder

        begun = PartFolder.of(target.resolve(), str(target))
        if begun.exists():
            with begun.locked():  # refused while another process works on it
                pass
        try:
            terminal.check_file(target, force=self.force or self.resume)
        except StoreError as error:
            if self.resume or self.force or not target.is_file():
                raise
            raise StoreError(
                f"{target}: exists already, {self._what_is_there(target, study)}. Nothing was run."
                " Use another --output, or --force to replace it."
            ) from error
        if self.resume and not self.quiet and not begun.exists() and not target.exists():
            terminal.complain(f"{target}: nothing is there to go on with; beginning.")
        if begun.exists() and not (self.resume or self.force):
            raise StoreError(f"{begun.where}: {self._what_was_begun(begun, study)}")
        for path in drawing.pictures:
            # a call that goes on replaces the pictures of the one before
            check_picture(path, force=self.force or self.resume)

    def _what_was_begun(self, begun: PartFolder, study: AnyStudy) -> str:
        """What was stopped before it was finished, and how to go on."""
        from sim.report.text import SHORT_DIGEST

        note, now = begun.note(), study.study_digest
        if note is not None and note["digest"] != now:
            # only the call that began it knows all of its options
            return (
                f"another study (sha256 {note['digest'][:SHORT_DIGEST]}, now {now[:SHORT_DIGEST]})"
                " was stopped before it was finished. Use another --output, --force to begin anew,"
                " or go on with it by the command that began it and --resume."
            )
        return (
            "a study was stopped before it was finished. Use another --output, --force to begin"
            f" anew, or go on with it:\n  {self.to_go_on()}"
        )

    def _what_is_there(self, path: Path, study: AnyStudy) -> str:
        from sim.report.text import SHORT_DIGEST

        try:
            stored = self.load(path).study.study_digest
        except StoreError:
            return f"and is not a {self.name} that this program can read"
        now = study.study_digest
        if stored == now:
            return f"a {self.name} of the same study (sha256 {now[:SHORT_DIGEST]})"
        digests = f"sha256 {stored[:SHORT_DIGEST]}, now {now[:SHORT_DIGEST]}"
        return f"a {self.name} of another study ({digests})"

    def to_go_on(self) -> str:
        """The command that goes on with this one where it was stopped."""
        words = ["runtrue", self.name, str(self.file), "--resume", *self.own_options()]
        if self.output is not None:
            words += ["--output", str(self.output)]
        words += self.drawing.options(self.drawing.pictures)
        for pair in self.set_:
            words += ["--set", pair]
        if self.scheduler is not None:
            words += ["--scheduler", self.scheduler]
        if self.workers is not None:
            words += ["--workers", str(self.workers)]
        words += ["--quiet"] * self.quiet + ["--json"] * self.as_json
        return shlex.join(words)

    # ---- the work -------------------------------------------------------------------------------

    def carry_out(self, study: AnyStudy, target: Path, drawing: Pictures) -> None:
        """Run, draw and print.

        Parameters
        ----------
        study : Study or BuildStudy
        target : Path          file of the result
        drawing : Pictures     all that are to be drawn

        Raises
        ------
        typer.Exit
            After Ctrl-C, with a picture that could not be drawn or with failed runs.
        """
        before = {path: terminal.stamp(path) for path in (target, *drawing.pictures)}
        left = _left_before(target) if self.resume else 0
        tally = terminal.Tally(
            study.name, quiet=self.quiet, open_ended=self.open_ended(study), left=left
        )
        result = None
        try:
            with tally:
                result = self.run(study, target, tally)
                tally.stage("drawing")
                drawn, complaint = drawing.draw(result, target)
            kept = terminal.stamp(target) == before[target]
            self._tell(result, target, drawn, kept=kept)
            self.warn(study)
        except KeyboardInterrupt:
            finished = result is not None
            terminal.complain(self._interrupted(target, drawing, before, tally, finished))
            raise typer.Exit(terminal.INTERRUPTED) from None
        if complaint:
            terminal.complain(complaint)
            raise typer.Exit(terminal.FAILED)
        failed = _failed(result)
        if failed:
            where = 'see "failures"' if self.as_json else "see above"
            terminal.complain(f"{self.file}: {failed} of its runs failed, {where}.")
            raise typer.Exit(terminal.SOME_FAILED)

    def _tell(self, result: Any, target: Path, pictures: Sequence[Path], *, kept: bool) -> None:
        """Print a result; ``kept`` when its file was there and finished before."""
        from sim.report.text import to_json

        if self.as_json:
            drawn = [str(path) for path in pictures]
            terminal.emit(to_json(self.facts(result, str(target), drawn)))
            return
        terminal.show(self.summary(result))
        terminal.emit(f"Read from {target}, finished before" if kept else f"Wrote {target}")
        for path in pictures:
            terminal.emit(f"Wrote {path}")

    def _interrupted(
        self,
        target: Path,
        drawing: Pictures,
        before: Mapping[Path, Stamp],
        tally: terminal.Tally,
        finished: bool,
    ) -> str:
        """What is left after Ctrl-C, and how to go on."""
        from sim.studies.parts import PartFolder

        begun = PartFolder.of(target.resolve(), str(target))
        if begun.exists() and not finished:
            if tally.counted:
                done = f" after {tally.counted}; what is done is kept in {begun.where}"
            else:
                done = " before any run was done"
            return f"interrupted{done}. To go on:\n  {self.to_go_on()}"
        written = [path for path, old in before.items() if terminal.stamp(path) != old]
        if not (finished or target in written):
            return "interrupted; nothing was written."
        left = [path for path in drawing.pictures if path not in written]
        text = f"interrupted; the {self.name} is in {target}."
        return f"{text} To draw it:\n  {drawing.again(left, target)}" if left else text


def _left_before(target: Path) -> int:
    """Runs that an earlier call left, at most."""
    from sim.studies.parts import PartFolder

    begun = PartFolder.of(target.resolve(), str(target))
    note = begun.note()
    return 0 if note is None else note["chunk"] * len(list(begun.folder.glob("chunk-*.h5")))


def _failed(result: Any) -> int:
    from sim.studies.engine import FAILED, STATUSES

    return sum(int((result.status == STATUSES.index(name)).sum()) for name in FAILED)
