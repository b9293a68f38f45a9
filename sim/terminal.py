"""What every command shares: options, exit codes, the two output streams, errors as plain lines."""

from __future__ import annotations

import os
import sys
import threading
import time
from collections import deque
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Annotated, Any, Self, TextIO

import typer
from typer.core import TyperGroup

from sim.errors import ConfigError, RuntrueError, StoreError

if TYPE_CHECKING:
    from rich.console import RenderableType
    from rich.progress import Progress

# Nothing heavy is imported up here: `runtrue --help` or a complaint about a file shall come at
# once.

DONE, FAILED, BAD_INPUT, SOME_FAILED, INTERRUPTED = 0, 1, 2, 3, 130
EXIT_CODES = "0 done, 1 failed, 2 bad usage or configuration, 3 some runs failed, 130 interrupted"

SHOW_AFTER_S = 1.0  # shorter work gets no progress bar
PIPE_WIDTH = 100  # columns of text that goes to a file or a pipe
WIDEST = 110  # columns; longer lines of prose read badly

# ---- options: one meaning wherever they occur ---------------------------------------------------

# readable=False leaves it to the commands to complain about a file, who say more.

ConfigFile = Annotated[
    Path,
    typer.Argument(
        metavar="CONFIG", readable=False, help="Configuration of the bait, a TOML file."
    ),
]
JsonOption = Annotated[
    bool,
    typer.Option(
        "--json", help="Print one JSON document instead of text; a missing value is null."
    ),
]
OutputOption = Annotated[
    Path | None,
    typer.Option(
        "--output",
        metavar="FILE",
        readable=False,
        help="File to write instead of the usual one; makes folders.",
    ),
]


def picture_option(text: str, *, repeated: bool = False) -> Any:
    """The option that asks for a picture; ``text`` says of what."""
    return typer.Option(
        "--picture",
        metavar="FILE",
        readable=False,
        help=f"{text}, into a .png, .svg or .pdf" + ("; may be repeated." if repeated else "."),
    )


ForceOption = Annotated[
    bool, typer.Option("--force", help="Replace files that exist; otherwise they are kept.")
]
QuietOption = Annotated[
    bool, typer.Option("--quiet", help="No progress bar; results and errors are still printed.")
]
SetOption = Annotated[
    list[str] | None,
    typer.Option(
        "--set",
        metavar="KEY=VALUE",
        help="Set one key on top of the file, in its unit; may be repeated. List entries count"
        " from 0: bait.ballast.0.mass_g=3.2",
    ),
]


def epilog(*examples: str) -> str:
    """End of a command's help: exit codes and examples, in lines that are not refilled."""
    lines = [f"Exit codes: {EXIT_CODES}.", "", "\b", "Examples:" if examples[1:] else "Example:"]
    return "\n".join(lines + [f"  {example}" for example in examples])


def read_overrides(pairs: Iterable[str] | None) -> tuple[dict[str, Any], list[str]]:
    """The values of ``--set``: dotted key to value, and what is wrong with the rest.

    Of one key given twice the last counts.
    """
    from sim.config import parse_override

    found: dict[str, Any] = {}
    problems: list[str] = []
    for pair in pairs or ():
        try:
            key, value = parse_override(pair)
            found[key] = value
        except ConfigError as error:
            problems += error.problems
    return found, problems


# ---- errors -------------------------------------------------------------------------------------


class Commands(TyperGroup):
    """The group of all commands, whose errors come out as plain lines and exit codes."""

    def invoke(self, ctx: Any) -> Any:
        with plain_errors():
            return super().invoke(ctx)


@contextmanager
def plain_errors() -> Iterator[None]:
    """Print the errors a user can do something about, and exit; let those of the program through.

    Raises
    ------
    SystemExit
        With the exit code that belongs to the error.
    """
    try:
        yield
        return
    except ConfigError as error:
        complain(str(error))
        code = BAD_INPUT
    except RuntrueError as error:
        complain(str(error))
        code = FAILED
    except KeyboardInterrupt:
        complain("interrupted; nothing was written.")
        code = INTERRUPTED
    except MemoryError:
        complain("out of memory. Lower solver.max_duration_s, or close other programs.")
        code = FAILED
    except OSError as error:
        where = f"{error.filename}: " if error.filename else ""
        complain(f"{where}{error.strerror or error}")
        _discard(sys.stdout)
        code = FAILED
    raise SystemExit(code)


# ---- pictures -----------------------------------------------------------------------------------


def picture_problems(picture: Path) -> list[str]:
    """What is wrong with the name of a picture."""
    from sim.plots import SUFFIXES

    if picture.suffix.lower() in SUFFIXES:
        return []
    return [
        f"--picture {picture}: the name must end in .png, .svg or .pdf. Try"
        f" {picture.with_suffix('.png') if picture.name else 'run.png'}."
    ]


def check_picture(picture: Path, *, force: bool) -> None:
    """Refuse to replace a picture, or one that cannot be written there."""
    if picture.is_dir():
        raise StoreError(
            f"{picture}: is a directory. Name a file in it, such as {picture / 'run.png'}."
        )
    check_file(picture, force=force, option="--picture")


# ---- the two streams ----------------------------------------------------------------------------


def complain(text: str) -> None:
    """Write lines to standard error; where nobody listens any more they are lost."""
    with suppress(OSError, ValueError, AttributeError):
        sys.stderr.write(text.rstrip("\n") + "\n")
        sys.stderr.flush()


def emit(text: str) -> None:
    """Write a result to standard output.

    A reader that has seen enough (``| head -1``) is no error: the rest is dropped.

    Raises
    ------
    RuntrueError
        When it cannot be written for another reason, such as a full disk.
    """
    stream = sys.stdout
    if stream is None:  # closed by the caller
        return
    try:
        stream.write(text.rstrip("\n") + "\n")
        stream.flush()
    except BrokenPipeError:
        _discard(stream)
    except OSError as error:
        _discard(stream)
        raise RuntrueError(
            f"standard output: cannot be written ({error.strerror or error}). Free some space, or"
            " send it elsewhere."
        ) from error


def _discard(stream: TextIO | None) -> None:
    """Send what is still in a stream nowhere, or Python would complain about it at exit."""
    if stream is None:
        return
    with suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)


def show(text: RenderableType) -> None:
    """Write rich text to standard output, in colour only where that is a terminal."""
    from sim.report.text import as_text

    terminal = is_terminal(sys.stdout)
    emit(as_text(text, _width() if terminal else PIPE_WIDTH, styled=terminal))


def is_terminal(stream: TextIO | None) -> bool:
    """Whether a person may be looking at a stream."""
    try:
        return stream is not None and stream.isatty()
    except ValueError:  # closed
        return False


def _width() -> int:
    from shutil import get_terminal_size

    return max(40, min(get_terminal_size().columns, WIDEST))


def prepare_streams() -> None:
    """Let text that the terminal cannot show come out escaped rather than as an error."""
    for stream in (sys.stdout, sys.stderr):
        with suppress(AttributeError, ValueError):
            stream.reconfigure(errors="backslashreplace")  # type: ignore[union-attr]


# ---- files --------------------------------------------------------------------------------------


def check_file(path: Path, *, force: bool, option: str = "--output") -> None:
    """Find out before any work whether a file may be written.

    Parameters
    ----------
    path : Path
    force : bool       an existing file may be replaced
    option : str       the option that names another file

    Raises
    ------
    StoreError
        When the file exists and is to be kept, or cannot be written there.
    """
    from sim.store import check_output

    try:
        check_output(path, overwrite=force)
    except StoreError as error:
        where = os.fspath(path)
        advice = str(error).removeprefix(where).replace("--output", option)
        raise StoreError(where + advice) from error


def write_text(path: Path, text: str, *, force: bool) -> None:
    """Write a text file in UTF-8, whole or not at all, making the folders it needs.

    Raises
    ------
    StoreError
        As :func:`check_file`; an existing file is then as it was.
    """
    check_file(path, force=force)
    real = Path(os.path.realpath(path))
    part = real.with_name(f".runtrue-{os.getpid()}.part")
    try:
        real.parent.mkdir(parents=True, exist_ok=True)
        try:
            part.write_text(text, encoding="utf-8", newline="\n")
            os.replace(part, real)
        finally:
            part.unlink(missing_ok=True)
    except OSError as error:
        raise StoreError(
            f"{path}: cannot be written ({error.strerror or error}). Use another --output."
        ) from error


Stamp = tuple[int, int, int] | None


def stamp(path: Path | None) -> Stamp:
    """What changes when a file is written or replaced; None without one."""
    if path is None:
        return None
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_ino, found.st_mtime_ns, found.st_size


def say_interrupted(before: Mapping[Path, Stamp]) -> None:
    """After Ctrl-C, tell what was written so far, going by the files themselves.

    Parameters
    ----------
    before : mapping    file that was to be written -> its stamp before the work
    """
    written = [str(path) for path, old in before.items() if stamp(path) != old]
    complain(f"interrupted; {', '.join(written) if written else 'nothing'} was written.")


# ---- progress -----------------------------------------------------------------------------------


class Watch:
    """A progress bar on standard error, for work that takes more than a second.

    Parameters
    ----------
    text : str      what is being done
    quiet : bool    show none
    unit : str      what the work is counted in
    digits : int    decimals of the count
    """

    def __init__(
        self, text: str, *, quiet: bool, unit: str = "s simulated", digits: int = 1
    ) -> None:
        self._text, self._unit, self._digits = text, unit, digits
        self._on = not quiet and is_terminal(sys.stderr)
        self._lock = threading.Lock()
        self._timer = threading.Timer(SHOW_AFTER_S, self._start)
        self._timer.daemon = True
        self._bar: Progress | None = None
        self._over = False
        self._now: tuple[float, float] | None = None
        self._first = "preparing"  # said before anything is counted

    def __call__(self, now: float, aim: float) -> None:
        """Tell how far the work is, and how far it is to go, in its unit."""
        self._now = (now, aim)
        with self._lock:
            if self._bar is not None:
                self._draw(self._bar)

    def __enter__(self) -> Self:
        if self._on:
            self._timer.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._timer.cancel()
        with self._lock:
            self._over = True
            if self._bar is not None:
                self._bar.stop()

    def _start(self) -> None:
        # In a thread of its own, because compiling the kernels reports nothing for a while.
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

        with self._lock:
            if self._over:
                return
            self._bar = Progress(
                TextColumn("{task.description}", markup=False),
                BarColumn(),
                TextColumn("{task.fields[place]}", markup=False),
                TimeElapsedColumn(),
                console=Console(file=sys.stderr, markup=False, highlight=False),
                transient=True,
            )
            self._bar.add_task(self._text, total=None, place=self._first)
            self._draw(self._bar)
            self._bar.start()

    def _draw(self, bar: Progress) -> None:
        if self._now is None:
            bar.update(bar.task_ids[0], place=self._first)
            return
        now, aim = self._now
        bar.update(bar.task_ids[0], completed=now, total=aim, place=self._place(now, aim))

    def _place(self, now: float, aim: float) -> str:
        """How far the work is, in words."""
        return f"{now:.{self._digits}f} of {aim:g} {self._unit}"


class Tally(Watch):
    """Progress of many runs: rate and time left on a terminal, a line now and then in a log.

    Called with the runs done, the runs planned so far and the failed ones among those done.

    Parameters
    ----------
    text : str           what is being done
    quiet : bool         show none
    open_ended : bool    more runs may yet be planned, so that nobody knows the time left
    left : int           runs that an earlier call left; they are no part of the rate
    """

    LINE_EVERY_S = 10.0
    RATE_OVER_S = 30.0  # the rate is that of late
    RATE_AFTER_S = 1.0  # counted from the first runs, before which nobody calculated

    def __init__(self, text: str, *, quiet: bool, open_ended: bool = False, left: int = 0) -> None:
        super().__init__(text, quiet=quiet)
        self._lines = not quiet and not self._on
        self._open, self._left = open_ended, left
        self._told = time.monotonic()  # when the last line was written
        self._line = ""
        self._counts: deque[tuple[float, float]] = deque()  # moment and runs done
        self._failed = 0
        self._stage = ""

    @property
    def counted(self) -> str:
        """How many runs are done, "" before the first."""
        if self._now is None:
            return ""
        done, planned = self._now
        more = " planned so far" if self._open and done < planned else ""
        return f"{done:.0f} of {planned:.0f} runs{more}"

    def stage(self, text: str) -> None:
        """Tell what is done after the runs."""
        self._stage = self._first = text
        self._write_line()
        with self._lock:
            if self._bar is not None:
                self._draw(self._bar)

    def __call__(self, now: float, aim: float, failed: int = 0) -> None:
        """Tell how many runs are done, planned and failed."""
        moment = time.monotonic()
        self._failed = failed
        if now <= self._left:
            self._counts.clear()
        self._counts.append((moment, now))
        while len(self._counts) > 2 and moment - self._counts[1][0] > self.RATE_OVER_S:
            self._counts.popleft()
        super().__call__(now, aim)
        if moment - self._told >= self.LINE_EVERY_S:
            self._write_line()

    def _write_line(self) -> None:
        if not self._lines or self._now is None:
            return
        self._told = time.monotonic()
        line = f"{self._text}: {self._progress(*self._now)}"
        if line != self._line:
            complain(line)
            self._line = line

    def _place(self, now: float, aim: float) -> str:
        return self._progress(now, aim) + (f", {self._stage}" if self._stage else "")

    def _progress(self, now: float, aim: float) -> str:
        text = self.counted
        (first, before), (last, _) = self._counts[0], self._counts[-1]
        if last - first >= self.RATE_AFTER_S and now > before:
            rate = (now - before) / (last - first)
            text += f", {rate:.{0 if rate >= 10.0 else 1}f} a second"
            if now < aim and not self._open:
                text += f", {_duration((aim - now) / rate)} left"
        return text + (f", {self._failed} failed" if self._failed else "")


def _duration(seconds: float) -> str:
    if seconds < 120.0:
        return f"{seconds:.0f} s"
    if seconds < 7200.0:
        return f"{seconds / 60.0:.0f} min"
    return f"{seconds / 3600.0:.1f} h"
