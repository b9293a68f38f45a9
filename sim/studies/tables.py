"""The study file: one frozen model per table, and the lines that tell what is wrong with it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from difflib import get_close_matches
from typing import Annotated, Any

from pydantic import create_model

from sim.config import schema
from sim.config.checks import Key, Problem, number
from sim.config.fields import AsTuple, Table, table, value
from sim.config.messages import Advice, Explainer, show, suggest
from sim.studies.starts import PITCH_DEG, RATE_DEG_S, ROLL_DEG, STARTS, YAW_DEG

__all__ = ["MOST_CELLS", "StudyExplainer", "StudyFile"]

MOST_CELLS = 1_000_000  # of the finest level: hours of runs


def _range(axis: Any) -> Iterator[Problem]:
    given = [key for key in ("from", "to", "count") if getattr(axis, key) is not None]
    if axis.values is not None:
        if given:
            yield Problem(
                (given[0],),
                "stands beside values. Give from, to and count, or values, not both.",
            )
        return
    missing = [key for key in ("from", "to", "count") if key not in given]
    if len(missing) == 3:
        yield Problem(
            (),
            "gives no values. Add from, to and count for evenly spaced ones, or a list values ="
            " [...].",
            show=False,
            absent=tuple((key,) for key in (*missing, "values")),
        )
        return
    for key in missing:
        yield Problem(
            (),
            f'missing key "{key}" ({AxisTable.model_fields[key].title}). Add "{key} = ..." to this'
            " [[axis]].",
            show=False,
            absent=((key,),),
        )


def _rising(axis: Any) -> Iterator[Problem]:
    low, high = getattr(axis, "from"), axis.to
    if low is not None and high is not None and math.isinf(float(high) - float(low)):
        yield Problem(("to",), "lies too far from from to count steps between. Correct them.")
    if low is not None and high is not None and not low < high:
        yield Problem(
            ("to",),
            f"must be > from = {number(low)}. Let the axis rise: swap from and to, or correct"
            " them.",
        )


def _values(axis: Any) -> Iterator[Problem]:
    if axis.values is None:
        return
    if len(axis.values) < 2:
        yield Problem(
            ("values",),
            f"at least 2 values are needed, {len(axis.values)} given. Add more, or set the key"
            " under [fixed].",
        )
    for index, (before, here) in enumerate(zip(axis.values, axis.values[1:], strict=False)):
        if not before < here:
            yield Problem(
                ("values", index + 1),
                f"must be > {number(before)}, the value before it. List the values rising, each"
                " once.",
            )


class _Varied(Table):
    """What an axis varies."""

    key: str = value("what is varied", more="a dotted key of the configuration or a named axis")


# "from" is a word of Python, so it cannot be written as the others are.
_From = create_model(  # type: ignore[call-overload]
    "_From",
    __base__=_Varied,
    **{"from": (float | None, value("first value", default=None, more="in the unit of the key"))},
)


class AxisTable(_From):  # type: ignore[valid-type, misc]
    """One axis of the study: what is varied, from where to where."""

    rules = (_range, _rising, _values)

    to: float | None = value("last value", default=None, more="in the unit of the key")
    count: int | None = value(
        "number of values",
        default=None,
        more="evenly spaced, both ends included",
        ge=2,
        le=MOST_CELLS,
    )
    values: Annotated[tuple[float, ...] | None, AsTuple] = value(
        "values in place of from, to and count", default=None, more="a rising list of at least 2"
    )
    label: str | None = value(
        "label in pictures", default=None, more="left out, what the key means", max_length=100
    )


class RefineTable(Table):
    """Finer levels, run only where the class changes."""

    levels: int = value(
        "number of finer levels",
        default=0,
        more="each halves the spacing of both axes, which must have from, to and count",
        ge=0,
        le=8,
    )


def _kinds(starts: Any) -> Iterator[Problem]:
    for index, word in enumerate(starts.kinds):
        if word not in STARTS:
            close = get_close_matches(word.strip().lower(), STARTS, n=1, cutoff=0.6)
            advice = f"Did you mean {show(close[0])}?" if close else "Choose one."
            words = ", ".join(map(show, STARTS))
            yield Problem(("kinds", index), f"must be one of {words} (kinds of start). {advice}")
        elif word in starts.kinds[:index]:
            yield Problem(("kinds", index), "stands in the list twice. Remove one.")


def _some_start(starts: Any) -> Iterator[Problem]:
    if not starts.kinds and starts.random == 0:
        yield Problem(
            ("kinds",),
            'leaves a cell without a start. Name at least one, kinds = ["steady"], or set random.',
        )


class StartsTable(Table):
    """Several starts in every cell, to see whether they end in the same motion."""

    rules = (_kinds, _some_start)

    kinds: Annotated[tuple[str, ...], AsTuple] = value(
        "kinds of start",
        default=tuple(STARTS),
        more='"steady" is that of the configuration, "rolled" has a roll of 150 degrees, "kick" a'
        " yaw of 50 degrees",
    )
    random: int = value(
        "number of further starts drawn at random",
        default=0,
        more=f"roll within {ROLL_DEG:g}, pitch within {PITCH_DEG:g}, yaw within {YAW_DEG:g} degrees"
        f" and turning rates within {RATE_DEG_S:g} degrees/s, either side",
        ge=0,
        le=100,
    )
    seed: int = value("seed of the random starts", default=1, ge=0, le=2**32)


class RunTable(Table):
    """How the cells are run and stored."""

    stop_early: bool = value(
        "whether a run stops once its class can no longer change", default=True
    )
    keep_states_ms: float = value(
        "time between stored states",
        "ms",
        0.0,
        "a whole multiple of solver.output_step_ms, 0 stores measures only",
        ge=0,
        le=1000,
    )
    chunk: int = value(
        "number of runs calculated and written at a time",
        default=128,
        more="changes no result",
        ge=1,
        le=100_000,
    )


def _one_or_two(study: Any) -> Iterator[Problem]:
    if not 1 <= len(study.axis) <= 2:
        many = len(study.axis) > 2
        yield Problem(
            ("axis",) if many else (),
            f"a study has one or two axes, {len(study.axis)} given. Remove some, or set them under"
            " [fixed]."
            if many
            else 'no axis. Add [[axis]] with key = "tie_path_mm", from, to and count.',
            show=False,
            absent=(("axis",),),
        )


def _fixed(study: Any) -> Iterator[Problem]:
    for key, given in study.fixed.items():
        if isinstance(given, Mapping) and given:
            path, inside = [key], given
            while isinstance(inside, Mapping) and inside:
                path.append(str(next(iter(inside))))
                inside = inside[path[-1]]
            yield Problem(
                ("fixed", key),
                f'must be a value, not a table. Put the dotted key in quotes: "{".".join(path)}"'
                f" = {show(inside)}.",
            )


def _refine(study: Any) -> Iterator[Problem]:
    if study.refine.levels == 0:
        return
    if len(study.axis) == 1:
        yield Problem(
            ("refine", "levels"),
            "refining needs two axes, one given. Remove [refine] and give the axis a greater"
            " count.",
        )
    listed = [n for n, axis in enumerate(study.axis) if axis.values is not None]
    for index in listed:
        yield Problem(
            ("refine", "levels"),
            f"refining needs even steps, but axis.{index} has a list of values. Give it from, to"
            " and count, or remove [refine].",
        )


def _refine_starts(study: Any) -> Iterator[Problem]:
    if study.refine.levels > 0 and study.starts is not None:
        count = len(study.starts.kinds) + study.starts.random
        if count > 1:
            yield Problem(
                ("refine", "levels"),
                f"refining needs one start a cell, but [starts] gives {count}. Remove [refine] or"
                " [starts].",
            )


class StudyFile(Table):
    """A study: one bait, varied along one or two axes."""

    rules = (_one_or_two, _fixed, _refine, _refine_starts)

    bait: str = value(
        "file of the bait", more="a configuration, its path counted from the study file"
    )
    name: str | None = value(
        "name of the study",
        default=None,
        more="letters, digits, - _ and ., names the result file; left out, the name of the file",
        pattern=r"\A[A-Za-z0-9_][A-Za-z0-9._-]*\z",
        max_length=100,
    )
    note: str = value("remark", default="", more="free text, changes nothing")
    fixed: dict[str, Any] = value(
        "keys set in every cell",
        default={},
        more='dotted keys of the configuration, in quotes: "solver.step_ms" = 4.0',
    )
    axis: Annotated[tuple[AxisTable, ...], AsTuple] = value(
        "axes", default=(), more="one or two; of two the second varies fastest"
    )
    refine: RefineTable = table("refinement of the map", RefineTable)
    starts: StartsTable | None = table("starts of a cell", more='left out, one: "steady"')
    run: RunTable = table("running and storing", RunTable)


class StudyExplainer(Explainer):
    """Writes the lines for a study file."""

    root = StudyFile

    def _advice(self, key: Key) -> Advice:
        name, given = str(key[-1]), self._value(key)[1]
        ours, theirs = schema.owners(self.root), schema.owners()
        inside = given if isinstance(given, Mapping) else {}
        # [start] with keys of [starts] is a slip of the pen, [start] with a roll is not
        if name in theirs and name not in ours and not any(inner in ours for inner in inside):
            path, *_ = theirs[name]
            dotted = f"{path}.{name}" if path else name
            for inner, value_ in inside.items():
                dotted, given = f"{dotted}.{inner}", value_
                break
            return Advice(
                "Keys of the configuration go under [fixed], dotted and in quotes:"
                f' "{dotted}" = {show(given)}.'
            )
        return suggest(name, self._table(key[:-1])[0], given, self.root)

    def _point_text(self, key: Key) -> str:
        if "kinds" in key:
            return 'must be a list of words. Write kinds = ["steady", "rolled"].'
        return "must be a list of numbers. Write values = [0.5, 1.0, 1.5]."
