"""Errors the program raises on purpose; their text is written for the user, not for a debugger."""

from collections.abc import Iterable


class RuntrueError(Exception):
    """Base of every error that is shown to the user as plain text, without a traceback."""


class ConfigError(RuntrueError):
    """A configuration that cannot be used.

    Parameters
    ----------
    problems : iterable of str, or one str
        One line per problem, each saying where, what was given, what is allowed and what to do.

    Attributes
    ----------
    problems : list of str
        The same lines; ``str(error)`` joins them by newline.
    """

    def __init__(self, problems: Iterable[str] | str) -> None:
        self.problems: list[str] = [problems] if isinstance(problems, str) else list(problems)
        # The list goes to the base class so that the error survives pickling between processes.
        super().__init__(self.problems)

    def __str__(self) -> str:
        return "\n".join(self.problems)


class StoreError(RuntrueError):
    """A result file that cannot be written, read or trusted."""


class RunError(RuntrueError):
    """A run that cannot start, although its configuration is well formed."""
