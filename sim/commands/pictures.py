"""Pictures of a result that took long to make: a picture that fails must not cost the result."""

from __future__ import annotations

import shlex
from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar

from sim.errors import RuntrueError
from sim.terminal import picture_problems


@dataclass(frozen=True)
class Pictures(ABC):
    """Files into which a result is drawn.

    Attributes
    ----------
    pictures : tuple of Path
    """

    pictures: tuple[Path, ...]

    noun: ClassVar[str]  # what is drawn

    @abstractmethod
    def save(self, result: Any, path: Path) -> None:
        """Draw a result into one file."""

    def problems(self) -> list[str]:
        """What is wrong with what was asked for, whatever the result."""
        found = [text for path in self.pictures for text in picture_problems(path)]
        seen: set[Path] = set()
        for path in self.pictures:
            if path.resolve() in seen:
                found.append(f"--picture {path}: is given twice. Leave one out.")
            seen.add(path.resolve())
        return found

    def options(self, pictures: Sequence[Path]) -> list[str]:
        """The words that ask for some of the pictures again."""
        return [word for path in pictures for word in ("--picture", str(path))]

    def again(self, pictures: Sequence[Path], kept: Path) -> str:
        """The command that draws some of the pictures from the file of the result."""
        words = ["runtrue", "show", str(kept), *self.options(pictures)]
        if any(path.exists() for path in pictures):
            words.append("--force")
        return shlex.join(words)

    def draw(self, result: Any, kept: Path) -> tuple[list[Path], str]:
        """Draw all pictures.

        Parameters
        ----------
        result : object
        kept : Path        file of the result

        Returns
        -------
        drawn : list of Path
        complaint : str       on the others and how to have them; "" when all were drawn
        """
        failed: dict[Path, str] = {}
        for path in self.pictures:
            try:
                path.parent.mkdir(parents=True, exist_ok=True)
                self.save(result, path)
            except RuntrueError as error:
                failed[path] = str(error)
            except OSError as error:
                failed[path] = f"{path}: cannot be drawn ({error.strerror or error})."
            except MemoryError:
                failed[path] = f"{path}: cannot be drawn, out of memory. Close other programs."
        drawn = [path for path in self.pictures if path not in failed]
        if not failed:
            return drawn, ""
        command = self.again(list(failed), kept)
        texts = "\n".join(failed.values())
        return (
            drawn,
            f"{texts}\nThe {self.noun} itself is in {kept}. To draw it again:\n  {command}",
        )
