"""Starting the program in another process, from a pipe or from a terminal of a given width."""

from __future__ import annotations

import os
import select
import signal
import struct
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

import pytest

# Not the file that `runtrue new` writes, whose bait may change.
PIKE = (Path(__file__).parent / "pike.toml").read_text(encoding="utf-8")

needs_terminal = pytest.mark.skipif(os.name != "posix", reason="needs a POSIX terminal")


class Answer:
    """Exit code and both streams of one command."""

    def __init__(self, code: int, stdout: str, stderr: str) -> None:
        self.code, self.stdout, self.stderr = code, stdout, stderr

    def __repr__(self) -> str:  # what pytest prints when an assertion fails
        return f"exit {self.code}\n{self.stdout}\n--- stderr\n{self.stderr}"


def command(*arguments: object) -> list[str]:
    """The words that start the program in another process."""
    return [sys.executable, "-m", "sim.cli", *(str(a) for a in arguments)]


def in_terminal(
    arguments: Sequence[object], columns: int = 80, interrupt_at: str = "", **environment: str
) -> tuple[int, str]:
    """Exit code and everything the terminal received.

    Parameters
    ----------
    arguments : sequence     of the command
    columns : int            width of the terminal
    interrupt_at : str       press Ctrl-C once this has appeared
    **environment : str      set on top of the present one
    """
    import fcntl
    import pty
    import termios

    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 40, columns, 0, 0))
    process = subprocess.Popen(
        command(*arguments),
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        env={**os.environ, "TERM": "xterm-256color", **environment},
        start_new_session=True,
    )
    os.close(theirs)
    seen = b""
    end = time.monotonic() + 240.0
    while time.monotonic() < end:
        if not select.select([ours], [], [], 0.2)[0]:
            continue
        try:
            got = os.read(ours, 65536)
        except OSError:  # the other side is closed
            break
        if not got:
            break
        seen += got
        if interrupt_at and interrupt_at.encode() in seen:
            process.send_signal(signal.SIGINT)
            interrupt_at = ""
    else:
        process.kill()
    os.close(ours)
    return process.wait(), seen.decode(errors="replace").replace("\r\n", "\n")


def without_line(text: str) -> str:
    """A configuration without its [line] and [retrieve] tables."""
    start, end = text.index("[line]"), text.index("[water]")
    return text[:start] + text[end:]
