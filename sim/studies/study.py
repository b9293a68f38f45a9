"""A study: every cell and start of it to a configuration; and the file that describes one."""

from __future__ import annotations

import hashlib
import json
import math
import os
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from sim.bait.assembly import assemble
from sim.config import Config, config_digest, config_from_dict, load_config, with_overrides
from sim.config.checks import RELATIVE, Key, number
from sim.config.load import Kind, checked, parse_toml, read_text
from sim.config.messages import clean_name, show
from sim.config.overrides import plain, set_override
from sim.errors import ConfigError
from sim.studies.axes import (
    NAMED_AXES,
    Overrides,
    axis_label,
    axis_overrides,
    axis_unit,
    key_problem,
    sets,
    touch,
    whole,
)
from sim.studies.starts import LIMITS, RANDOM_KEYS, STARTS, STEADY, random_start
from sim.studies.tables import MOST_CELLS, StudyExplainer, StudyFile

__all__ = ["Axis", "Study", "load_study"]

STUDY = Kind(
    "a study", "the TOML file of the study", "Start from one of the files in configs/studies."
)


@dataclass(frozen=True, eq=False)
class Axis:
    """One axis of a study.

    Attributes
    ----------
    key, label, unit : str             ``unit`` is "" for a number without one
    values : ndarray, shape (n,)       at the finest level, float64, strictly rising, read-only, in
                                       the unit of the axis
    """

    key: str
    label: str
    unit: str
    values: np.ndarray

    def __post_init__(self) -> None:
        values = np.array(self.values, dtype=np.float64)
        values.flags.writeable = False
        object.__setattr__(self, "values", values)


@dataclass(frozen=True, eq=False)
class Study:
    """A checked study: every cell and start to its configuration, by pure functions.

    Cells count in C order over :attr:`shape`: of two axes the second varies fastest.

    Attributes
    ----------
    name, note, text, source_path : str     ``text`` is the file verbatim, without overrides
    base : Config                           with what is fixed
    fixed : dict                            dotted key to value, overrides included
    axes : tuple of Axis                    one or two, at the finest level
    levels : int                            finer levels; level 0 has every 2^levels-th value
    starts : tuple of str                   names of the starts of a cell
    seed : int                              entropy of the starts drawn at random
    stop_early : bool
    keep_states_ms : float                  0 keeps measures only [ms]
    chunk : int
    kind : str                              "map" from a file; "holes" or "tune" when a command
                                            laid it out. Decides no result, only how it is told
    """

    name: str
    note: str
    text: str
    source_path: str
    base: Config
    fixed: Overrides
    axes: tuple[Axis, ...]
    levels: int = 0
    starts: tuple[str, ...] = (STEADY,)
    seed: int = 1
    stop_early: bool = True
    keep_states_ms: float = 0.0
    chunk: int = 128
    kind: str = "map"

    @property
    def shape(self) -> tuple[int, ...]:
        """Number of values of each axis at the finest level."""
        return tuple(axis.values.size for axis in self.axes)

    @property
    def cell_count(self) -> int:
        """Number of cells at the finest level."""
        return math.prod(self.shape)

    @property
    def case_count(self) -> int:
        """Number of runs when every cell of the finest level is run from every start."""
        return self.cell_count * len(self.starts)

    def cell_index(self, cell: int) -> tuple[int, ...]:
        """Index along each axis of a cell given by its flat index; IndexError outside."""
        if not 0 <= cell < self.cell_count:
            raise IndexError(f"cell {cell} is not one of 0 to {self.cell_count - 1}")
        return tuple(int(i) for i in np.unravel_index(cell, self.shape))

    def cell_values(self, cell: int) -> tuple[float, ...]:
        """Value along each axis of a cell."""
        index = self.cell_index(cell)
        return tuple(float(axis.values[i]) for axis, i in zip(self.axes, index, strict=True))

    def cell_overrides(self, cell: int, start: int = 0) -> Overrides:
        """What a cell and a start change of the base, dotted key to value.

        Raises
        ------
        ConfigError
            When a named axis cannot be put to its value here.
        IndexError
            For a cell or a start that the study does not have.
        """
        index = self.cell_index(cell)
        found: Overrides = {}
        for axis in range(len(self.axes)):
            found.update(self._axis_overrides(axis, index))
        found.update(self._start_overrides(cell, start))
        return found

    def cell_config(self, cell: int, start: int = 0) -> Config:
        """Configuration of a cell at a start; depends on these two alone.

        Raises
        ------
        ConfigError
            For a cell that has no valid configuration.
        IndexError
            For a cell or a start that the study does not have.
        """
        return with_overrides(self.base, self.cell_overrides(cell, start))

    def case_config(self, case: int) -> Config:
        """Configuration of a case by its number: cell times starts plus start."""
        return self.cell_config(*divmod(case, len(self.starts)))

    @cached_property
    def study_digest(self) -> str:
        """SHA-256 (hex) over all that decides results.

        Names, notes, labels, paths and ``chunk`` are left out, and so is whether a value comes from
        the bait's file or from what the study fixes.
        """
        content = {
            "base": config_digest(self.base),
            "axes": [[axis.key, (axis.values + 0.0).tolist()] for axis in self.axes],
            "levels": self.levels,
            "starts": [[name, STARTS.get(name)] for name in self.starts],
            "stop_early": self.stop_early,
            "keep_states_ms": self.keep_states_ms + 0.0,
        }
        if any(name not in STARTS for name in self.starts):
            content["random"] = [self.seed, LIMITS.tolist()]
        text = json.dumps(content, sort_keys=True, separators=(",", ":"), allow_nan=False)
        return hashlib.sha256(text.encode()).hexdigest()

    def to_json(self) -> str:
        """The whole study as JSON text, for :meth:`from_json` in a process without the files."""
        content = {
            name: getattr(self, name)
            for name in (
                "name", "note", "text", "source_path", "fixed", "levels", "starts", "seed",
                "stop_early", "keep_states_ms", "chunk", "kind",
            )
        }  # fmt: skip
        content["base"] = {
            "values": self.base.model_dump(mode="json"),
            "source_path": self.base.source_path,
            "source_text": self.base.source_text,
        }
        content["axes"] = [
            {"key": a.key, "label": a.label, "unit": a.unit, "values": a.values.tolist()}
            for a in self.axes
        ]
        return json.dumps(content, ensure_ascii=False, allow_nan=False)

    @classmethod
    def from_json(cls, text: str) -> Study:
        """The study that :meth:`to_json` wrote; the numbers keep every bit."""
        content = json.loads(text)
        base = content["base"]
        content["base"] = config_from_dict(
            base["values"], base["source_path"], content["fixed"], base["source_text"]
        )
        content["axes"] = tuple(Axis(**axis) for axis in content["axes"])
        content["starts"] = tuple(content["starts"])
        return cls(**content)

    def __getstate__(self) -> dict[str, Any]:
        # prepared axes hold functions, which do not pickle; they are laid anew
        return {name: held for name, held in self.__dict__.items() if name != "_prepared"}

    # ------------------------------------------------------------------------------ of one cell

    def _start_overrides(self, cell: int, start: int) -> Overrides:
        if not 0 <= start < len(self.starts):
            raise IndexError(f"start {start} is not one of 0 to {len(self.starts) - 1}")
        name = self.starts[start]
        return STARTS[name] if name in STARTS else random_start(self.seed, cell, start)

    def _axis_overrides(self, axis: int, index: tuple[int, ...]) -> Overrides:
        here = self.axes[axis]
        given = float(here.values[index[axis]])
        if here.key not in NAMED_AXES:
            return {here.key: round(given) if self._whole[axis] else given}
        other = self._seen_by[axis]
        return self._prepared(axis, -1 if other is None else index[other])(given)

    @cached_property
    def _whole(self) -> tuple[bool, ...]:
        return tuple(whole(axis.key) for axis in self.axes)

    @cached_property
    def _seen_by(self) -> tuple[int | None, ...]:
        """For each axis the other one, where that sets what it reads."""
        found: list[int | None] = []
        for number_, axis in enumerate(self.axes):
            reads = NAMED_AXES[axis.key].reads if axis.key in NAMED_AXES else ()
            others = [
                n
                for n, other in enumerate(self.axes)
                if n != number_ and any(touch(a, b) for a in reads for b in sets(other.key))
            ]
            found.append(others[0] if others else None)
        return tuple(found)

    @cached_property
    def _prepared(self) -> Callable[[int, int], Callable[[float], Overrides]]:
        return lru_cache(maxsize=1024)(self._prepare)  # a tie path takes 30 kB

    def _prepare(self, axis: int, other: int) -> Callable[[float], Overrides]:
        """A named axis prepared for the value of the other axis, -1 where that does not matter."""
        config = self.base
        if other >= 0:
            place = self._seen_by[axis]
            assert place is not None
            index = [0] * len(self.axes)
            index[place] = other
            config = with_overrides(config, self._axis_overrides(place, tuple(index)))
        return NAMED_AXES[self.axes[axis].key].prepare(config)


# ----------------------------------------------------------------------------------------- reading


def load_study(
    path: str | os.PathLike[str], overrides: Mapping[str, object] | None = None
) -> Study:
    """Read and check a study file, and the bait it names.

    Parameters
    ----------
    path : path
        TOML file in UTF-8.
    overrides : mapping, optional
        Dotted key to value. A key of the study ("axis.0.count", "run.chunk", "bait") changes the
        study; any other is a key of the configuration and is fixed in every cell.

    Raises
    ------
    ConfigError
        With one line for every problem found.
    """
    where = os.fspath(path)
    text = read_text(where, STUDY)
    data = parse_toml(text, where)
    if isinstance(data.get("bait"), Mapping):
        raise ConfigError(
            f"{where}: is the configuration of a bait, not a study of one. Name a study file, whose"
            f' first line is bait = "{Path(where).name}".'
        )
    problems: list[str] = []
    overridden: list[Key] = []
    for dotted, given in (overrides or {}).items():
        given = plain(given)
        if _of_study(dotted):
            problem, key = set_override(data, dotted, given)
            if problem:
                problems.append(f"{where}: override {dotted} = {show(given)}: {problem}")
            else:
                overridden.append(key)
        elif isinstance(data.setdefault("fixed", {}), dict):
            data["fixed"][dotted] = given
            overridden.append(("fixed", dotted))
    explainer = StudyExplainer(where, data, overridden)
    file, found = checked(explainer)
    problems += found
    base = _load_base(explainer, problems)
    if base is not None:
        problems += _line_problems(explainer, base) + _key_problems(explainer, base)
    if file is None or base is None or problems:
        raise ConfigError(dict.fromkeys(problems))
    problems += _size_problems(explainer, file) + _keeping_problems(explainer, file, base)
    if problems:
        raise ConfigError(problems)
    study = _study(file, base, text, where)
    problems = _step_problems(explainer, study) or _end_problems(explainer, study)
    if problems:
        raise ConfigError(dict.fromkeys(problems))
    return study


def _of_study(dotted: str) -> bool:
    first, *more = dotted.split(".")
    return first in (("axis", "refine", "starts", "run") if more else StudyFile.model_fields)


def _load_base(explainer: StudyExplainer, problems: list[str]) -> Config | None:
    """The bait's configuration with what is fixed; None, and lines added, when it has problems."""
    data, where = explainer.data, explainer.where
    bait, fixed = data.get("bait"), data.get("fixed", {})
    if not isinstance(bait, str) or not isinstance(fixed, Mapping):
        return None
    joined = os.path.join(os.path.dirname(where), bait)
    path = os.path.normpath(joined)
    try:
        if not os.path.samefile(path, joined):
            path = joined  # past a link ".." leads elsewhere
    except (OSError, ValueError):
        pass
    usable = {key: given for key, given in fixed.items() if not isinstance(given, Mapping)}
    try:
        return load_config(path, usable)
    except ConfigError as error:
        problems += [_of_base(line, path, where, bait) for line in error.problems]
        return None


def _of_base(line: str, path: str, where: str, bait: str) -> str:
    """A problem of the bait's configuration, as one of the study that names it."""
    text = line.removeprefix(f"{path}: ")
    if text.startswith("override ") or re.search(r"[(,] ?override\)", text):
        return f"{where}: fixed: {_without_note(text.removeprefix('override '))}"
    if text.startswith("no such file"):
        return f"{where}: bait = {show(bait)}: {line}"
    return f"{where}: bait: {line}"


def _without_note(line: str) -> str:
    """A line without the note that a value is an override, which the study's user never set."""
    return line.replace(" (override)", "", 1).replace(", override)", ")", 1)


def _line_problems(explainer: StudyExplainer, base: Config) -> list[str]:
    """A bait that nothing retrieves has neither class nor measures; maps have one integrator."""
    if base.solver.method != "rk4":
        text = 'has solver.method = "dop853", but maps are stepped by "rk4" alone. Take it out.'
        return [explainer.line(("bait",), text)]
    if base.line is not None:
        return []
    text = (
        "has no table [line], which a study needs: its runs are retrieves. Add [line] to that file"
        " (every key has a default), and [bait.tie] where there is none."
    )
    return [explainer.line(("bait",), text)]


def _key_problems(explainer: StudyExplainer, base: Config) -> list[str]:
    """Axes that vary what cannot be varied, or what something else sets."""
    given = explainer.data.get("axis", ())
    axes = enumerate(given if isinstance(given, list) else ())
    keys = {
        n: axis["key"]
        for n, axis in axes
        if isinstance(axis, Mapping) and isinstance(axis.get("key"), str)
    }
    found, taken = [], [("[fixed]", key) for key in explainer.data.get("fixed", {})]
    starts = explainer.data.get("starts", {})
    if isinstance(starts, Mapping):
        kinds = starts.get("kinds", list(STARTS)) if "starts" in explainer.data else ()
        for kind_ in kinds if isinstance(kinds, list) else ():
            setting = STARTS.get(kind_, {}) if isinstance(kind_, str) else {}
            taken += [(f'the start "{kind_}"', key) for key in setting]
        if starts.get("random", 0):
            taken += [("a start drawn at random", key) for key in RANDOM_KEYS]
    for n, key in keys.items():
        place: Key = ("axis", n, "key")
        text = key_problem(base, key)
        if text:
            found.append(explainer.line(place, text))
            continue
        for who, other in taken:
            mine = [own for own in sets(key) if touch(own, other)]
            if mine:
                found.append(
                    explainer.line(place, f"sets {mine[0]}, which {who} sets too. Remove one.")
                )
                break
        taken += [(f"axis.{n} ({key})" if key in NAMED_AXES else f"axis.{n}", own)
                  for own in sets(key)]  # fmt: skip
    return found


def _count(axis: Any, levels: int) -> int:
    """Number of values of an axis at the finest level."""
    if axis.values is not None:
        return len(axis.values)
    return int((axis.count - 1) * 2**levels + 1)


def _size_problems(explainer: StudyExplainer, file: StudyFile) -> list[str]:
    counts = [_count(axis, file.refine.levels) for axis in file.axis]
    cells = math.prod(counts)
    if cells <= MOST_CELLS:
        return []
    finest = f" at level {file.refine.levels}" if file.refine.levels else ""
    fix = "a smaller count" + (" or fewer refine.levels" if file.refine.levels else "")
    return [
        explainer.line(
            ("axis",),
            f"{' x '.join(map(str, counts))} = {cells} cells{finest}: must be at most {MOST_CELLS}."
            f" Give {fix}.",
            shown=False,
        )
    ]


def _keeping_problems(explainer: StudyExplainer, file: StudyFile, base: Config) -> list[str]:
    """States are kept at a whole multiple of the step at which they are calculated."""
    keep, step = file.run.keep_states_ms, base.solver.output_step_ms
    key = ("run", "keep_states_ms")
    if keep == 0.0:
        return []
    if any(touch(own, "solver.output_step_ms") for axis in file.axis for own in sets(axis.key)):
        text = "must be 0 where an axis sets solver.output_step_ms. Remove the key or the axis."
        return [explainer.line(key, text)]
    times = max(round(keep / step), 1)
    if abs(keep - times * step) <= RELATIVE * keep:
        return []
    return [
        explainer.line(
            key,
            f"must be a whole multiple of solver.output_step_ms = {number(step)} ms. Use"
            f" {number(times * step)} or {number((times + 1) * step)} ms, or 0 to keep measures"
            " only.",
        )
    ]


def _axis_values(axis: Any, levels: int) -> np.ndarray:
    """Values of an axis at the finest level; even steps without the dust of binary fractions."""
    if axis.values is not None:
        return np.array(axis.values, dtype=np.float64)
    low, high = getattr(axis, "from"), axis.to
    even = np.linspace(low, high, _count(axis, levels))
    # twelve digits of the larger end: 0.3 and not 0.30000000000000004, 0 and not 1e-17
    digits = 11 - math.floor(math.log10(max(abs(low), abs(high))))
    values = np.round(even, digits) + 0.0
    values[0], values[-1] = low, high
    return values if bool(np.all(np.diff(values) > 0.0)) else even


def _study(file: StudyFile, base: Config, text: str, where: str) -> Study:
    axes = tuple(
        Axis(
            axis.key,
            axis.label if axis.label is not None else axis_label(base, axis.key),
            axis_unit(axis.key),
            _axis_values(axis, file.refine.levels),
        )
        for axis in file.axis
    )
    names: tuple[str, ...] = (STEADY,)
    if file.starts is not None:
        drawn = tuple(f"random {n + 1}" for n in range(file.starts.random))
        names = (*file.starts.kinds, *drawn)
    return Study(
        name=file.name or clean_name(Path(where).stem),
        note=file.note,
        text=text,
        source_path=where,
        base=base,
        fixed=dict(base.overrides),
        axes=axes,
        levels=file.refine.levels,
        starts=names,
        seed=1 if file.starts is None else file.starts.seed,
        stop_early=file.run.stop_early,
        keep_states_ms=file.run.keep_states_ms,
        chunk=file.run.chunk,
    )


def _step_problems(explainer: StudyExplainer, study: Study) -> list[str]:
    """Steps that computer numbers cannot resolve, or that give broken numbers of pieces."""
    found = []
    for n, axis in enumerate(study.axes):
        if not bool(np.all(np.diff(axis.values) > 0.0)):
            text = "lies too close to from for so many steps. Give a smaller count."
            found.append(explainer.line(("axis", n, "to"), text))
            continue
        broken = axis.values[axis.values != np.round(axis.values)]
        if whole(axis.key) and broken.size:
            found.append(
                explainer.line(
                    ("axis", n, "key"),
                    f"takes whole numbers only, but the axis has {number(float(broken[0]))}. Choose"
                    " from, to and count so that the steps are whole, or list values.",
                )
            )
    return found


def _end_problems(explainer: StudyExplainer, study: Study) -> list[str]:
    """Ends of axes that have no valid configuration, whatever the other axis is at.

    A cell inside may still have none: that is recorded with the cell.
    """
    found = []
    for n, axis in enumerate(study.axes):
        listed = explainer.data["axis"][n].get("values") is not None
        last = axis.values.size - 1
        said = []
        for end, key in ((0, "from"), (last, "to")):
            texts = _refusal(study, n, end)
            if texts:
                said.append((("values", end) if listed else (key,), texts))
        if len(said) == 2 and said[0][1] == said[1][1]:
            said = [(("key",), said[0][1])]
        for place, texts in said:
            head = "gives no valid configuration: "
            found += [explainer.line(("axis", n, *place), head + text) for text in texts]
    return found


def _refusal(study: Study, axis: int, end: int) -> list[str]:
    """Why a value of an axis has no valid configuration; empty when it has one.

    It may have one beside the other axis as the file has it, or as its first, middle or last value.
    """
    here = study.axes[axis]
    try:
        alone = axis_overrides(study.base, here.key, float(here.values[end]))
        assemble(with_overrides(study.base, alone))
        return []
    except ConfigError as error:
        problems = error.problems
    if len(study.axes) == 2:
        size = study.shape[1 - axis]
        for other in (0, size // 2, size - 1):
            pair = (end, other) if axis == 0 else (other, end)
            try:
                assemble(study.cell_config(pair[0] * study.shape[1] + pair[1]))
                return []
            except ConfigError:
                pass
    path = f"{study.base.source_path}: "
    texts = [_without_note(problem.removeprefix(path)) for problem in problems]
    # the key cannot be left out of an axis
    return [re.sub(r", or leave the key out.*$", ".", text) for text in texts]
