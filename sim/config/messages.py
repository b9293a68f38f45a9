"""Turns failed checks into lines that a bait maker can act on."""

import datetime
import json
from collections.abc import Collection, Iterable, Mapping
from difflib import get_close_matches
from typing import Any, NamedTuple, get_args

from pydantic.fields import FieldInfo

from sim.config.checks import RULE_ERROR, Key, Problem
from sim.config.fields import Table
from sim.config.models import Config
from sim.config.schema import Child, allows, bounds, children, header, owners, tables
from sim.config.units import base_of, unit_of

# Words of the trade for tables and keys that carry another name here.
ALIASES: dict[str, tuple[str, ...]] = {
    "lip": ("bill",),
    "bib": ("bill",),
    "diving_lip": ("bill",),
    "lead": ("ballast",),
    "weight": ("ballast",),
    "weights": ("ballast",),
    "treble": ("hook",),
    "trebles": ("hook",),
    "eye": ("tie",),
    "tie_point": ("tie",),
    "line_tie": ("tie",),
    "tow_point": ("tie",),
    "fin": ("plate",),
    "fins": ("plate",),
    "keel": ("plate",),
    "rod": ("line",),
    "current": ("current_m_s",),
    "shape": ("outline", "form"),
    "type": ("kind", "mode", "method", "form"),
}
_LONGEST_VALUE = 60  # characters of a value repeated in a message


def show(value: object) -> str:
    """A value as it would stand in the file, shortened."""
    if value is None:
        text = "nothing"
    elif isinstance(value, bool):
        text = str(value).lower()
    elif isinstance(value, str):
        text = json.dumps(value, ensure_ascii=False)
    elif isinstance(value, Mapping):
        text = "{" + ", ".join(f"{k} = {show(v)}" for k, v in value.items()) + "}"
    elif isinstance(value, list | tuple):
        text = "[" + ", ".join(show(v) for v in value) + "]"
    elif isinstance(value, int) and abs(value) >= 10**30:
        # Python limits the length of an integer that it turns into text.
        text = "a number above 1e30" if value > 0 else "a number below -1e30"
    else:
        text = str(value)
    return text if len(text) <= _LONGEST_VALUE else text[: _LONGEST_VALUE - 3] + "..."


def kind(value: object) -> str:
    """What sort of value was given, in plain words."""
    if value is None or isinstance(value, bool):
        return show(value)
    for types, words in (
        (str, "text"),
        (int, "a whole number"),
        (float, "a decimal number"),
        (Mapping, "a table"),
        ((list, tuple), "a list"),
        ((datetime.date, datetime.time), "a date or time"),
    ):
        if isinstance(value, types):
            return words
    return f"a Python {type(value).__name__}"


def ordinal(index: int) -> str:
    """1st, 2nd, 3rd, ... for a list index counted from 0."""
    n = index + 1
    ending = "th" if 10 <= n % 100 <= 20 else {1: "st", 2: "nd", 3: "rd"}.get(n % 10, "th")
    return f"{n}{ending}"


def _any_of(words: Iterable[str]) -> str:
    *first, last = words
    return f"{', '.join(first)} or {last}" if first else last


def _names(paths: Collection[str]) -> str:
    shown = [path or "the top of the file (above the first [table])" for path in paths]
    return _any_of(shown if len(shown) <= 6 else [*shown[:5], "other tables"])


class Advice(NamedTuple):
    """What an unknown key was probably meant to be."""

    text: str  # a full sentence
    here: str | None = None  # key of the same table
    there: tuple[str, ...] = ()  # dotted keys of other tables


def suggest(key: str, path: str, value: object = None, root: type[Table] = Config) -> Advice:
    """Advice on an unknown key, with its value, of the table at the dotted ``path``."""
    model = tables(root)[path].model
    known = list(model.model_fields)
    plain = key.strip().lower().replace("-", "_").replace(" ", "_")
    if plain in known:
        return Advice(f'Did you mean "{plain}"?', plain)
    for other in known:
        if base_of(other) == base_of(plain):
            unit = unit_of(other)
            note = f" It is in {unit}: every key ends in its unit." if unit else ""
            return Advice(f'Did you mean "{other}"?{note}', other)
    names = ALIASES.get(plain, (plain,))
    for name in names:
        if name in known:
            return Advice(f'Did you mean "{name}"?', name)
    name = names[0]
    homes = owners(root).get(name, ())
    if homes:
        renamed = f'"{key}" is called "{name}" here, which' if name != plain else f'"{name}"'
        opened = [f"{home}.{name}" if home else name for home in homes]
        # "bill" is a table of the bait and a switch among the loads; true or false is the switch.
        opened = [dotted for dotted in opened if dotted in tables(root)]
        if opened and not isinstance(value, bool):
            write = _any_of(header(dotted, root) for dotted in opened)
            return Advice(
                f"{renamed} belongs in a table of its own: write {write}.", there=tuple(opened)
            )
        homes = tuple(home for home in homes if name not in children(tables(root)[home].model))
        if homes:
            there = tuple(f"{home}.{name}" for home in homes)
            return Advice(f"{renamed} belongs in {_names(homes)}.", there=there)
    close = get_close_matches(plain, known, n=1, cutoff=0.6)
    if close:
        return Advice(f'Did you mean "{close[0]}"?', close[0])
    for other in owners(root):
        if base_of(other) == base_of(plain):
            return Advice(f'Did you mean "{other}" in {_names(owners(root)[other])}?')
    close = get_close_matches(plain, list(owners(root)), n=1, cutoff=0.8)
    if close:
        return Advice(f'Did you mean "{close[0]}" in {_names(owners(root)[close[0]])}?')
    return Advice(f"Known here: {', '.join(known)}.")


class Explainer:
    """Writes the lines for one configuration, or another file whose top table is ``root``.

    Parameters
    ----------
    where : str
        File, or a label in its place; every line starts with it.
    data : mapping
        Raw values, overrides included.
    overridden : collection of tuple
        Keys that overrides have set.
    """

    root: type[Table] = Config

    def __init__(
        self, where: str, data: Mapping[str, Any], overridden: Collection[Key] = ()
    ) -> None:
        self.where = where
        self.data = data
        self.overridden = set(overridden)
        self.tables = tables(self.root)

    def lines(self, errors: Iterable[Any], problems: Iterable[Problem]) -> list[str]:
        """One line per problem, each once.

        Parameters
        ----------
        errors : iterable of dict
            What ``ValidationError.errors()`` gives.
        problems : iterable of Problem
            Failed cross checks, keys counted from the top of the file.
        """
        errors = [error for error in errors if error["type"] != RULE_ERROR]
        # A misspelt key is one slip: the key it stands for is not reported missing as well.
        meant: set[Key] = set()
        for error in errors:
            if error["type"] == "extra_forbidden":
                *path, _ = key = tuple(error["loc"])
                advice = self._advice(key)
                if advice.here:
                    meant.add((*path, advice.here))
                # A part in the wrong place is not missing either, if it has one place only.
                for dotted in advice.there if len(advice.there) == 1 else ():
                    names = tuple(dotted.split("."))
                    meant.update(names[: n + 1] for n in range(len(names)))
        found = [
            self._explain(error)
            for error in errors
            if not (error["type"] == "missing" and tuple(error["loc"]) in meant)
        ]
        found += [
            self.line(p.key, p.text, p.show) for p in problems if not meant.intersection(p.absent)
        ]
        return list(dict.fromkeys(found))

    def line(self, key: Key, text: str, shown: bool = True) -> str:
        """``FILE: table.key = VALUE (notes): text``."""
        head = self.where
        if key:
            head += ": " + ".".join(map(str, key))
            given, value = self._value(key)
            notes = self._notes(key, given or not shown)
            if shown:
                head += f" = {show(value)}"
            if notes:
                head += f" ({', '.join(notes)})"
        return f"{head}: {text}"

    # ------------------------------------------------------------------ where a key belongs

    def _table(self, path: Iterable[str | int]) -> tuple[str, Child]:
        """Schema table that holds what ``path`` points at, indices left out."""
        dotted = ""
        for key in path:
            if isinstance(key, int):
                continue
            inner = f"{dotted}.{key}" if dotted else key
            if inner not in self.tables:
                break
            dotted = inner
        return dotted, self.tables[dotted]

    def _field(self, key: Key) -> tuple[str, FieldInfo]:
        """Name and schema field behind a key; an index leads to the list it points into."""
        names = [part for part in key if isinstance(part, str)]
        return names[-1], self._table(names[:-1])[1].model.model_fields[names[-1]]

    def _value(self, key: Key) -> tuple[bool, Any]:
        """Whether the key was given, and its value or else its default."""
        value: Any = self.data
        for part in key:
            try:
                value = value[part]
            except (KeyError, IndexError, TypeError):
                _, field = self._field(key)
                return False, field.get_default(call_default_factory=True)
        return True, value

    def _notes(self, key: Key, given: bool) -> list[str]:
        notes = [] if given else ["default"]
        for position, part in enumerate(key):
            dotted = ".".join(str(k) for k in key[:position] if isinstance(k, str))
            if isinstance(part, int) and dotted in self.tables:
                notes.append(f"{ordinal(part)} {header(dotted, self.root)}")
        if any(key[: len(done)] == done for done in self.overridden):
            notes.append("override")
        return notes

    # ------------------------------------------------------------------------ what to say

    def _explain(self, error: Any) -> str:
        key: Key = tuple(error["loc"])
        type_ = error["type"]
        if type_ == "extra_forbidden":
            return self._unknown(key)
        if type_ == "missing" and isinstance(key[-1], str):
            return self._missing(key)
        if type_ == "missing" or (type_ == "too_long" and self._holds_numbers(key)):
            while isinstance(key[-1], int) and not self._value(key)[0]:
                key = key[:-1]
            return self.line(key, self._point_text(key))
        name, field = self._field(key)
        _, value = self._value(key)
        return self.line(key, self._text(type_, name, field, value, key, error))

    def _unknown(self, key: Key) -> str:
        *path, name = key
        where = ": ".join([self.where, ".".join(map(str, path))] if path else [self.where])
        notes = self._notes(key, True)
        if "override" not in notes and any(done[: len(key)] == key for done in self.overridden):
            notes.append("override")
        noted = f" ({', '.join(notes)})" if notes else ""
        advice = self._advice(key).text
        return f"{where}: unknown key {show(str(name))}{noted}. {advice}"

    def _advice(self, key: Key) -> Advice:
        return suggest(str(key[-1]), self._table(key[:-1])[0], self._value(key)[1], self.root)

    def _missing(self, key: Key) -> str:
        *path, name = key
        dotted, _ = self._table(path)
        _, field = self._field(key)
        if not path and self.root is Config:
            return (
                f"{self.where}: missing table [bait] (the bait and its parts). Add [bait.body],"
                " [bait.bill] and so on."
            )
        unit = f" [{unit_of(str(name))}]" if unit_of(str(name)) else ""
        notes = self._notes(tuple(path), True)
        noted = f" ({', '.join(notes)})" if notes else ""
        head = f"{self.where}: {'.'.join(map(str, path))}{noted}" if path else self.where
        place = f"under {header(dotted, self.root)}" if dotted else "at the top of the file"
        return (
            f'{head}: missing key {show(name)} ({field.title}{unit}). Add "{name} = ..." {place}.'
        )

    def _holds_numbers(self, key: Key) -> bool:
        return str(key[-1]) not in children(self._table(key[:-1])[1].model)

    def _point_text(self, key: Key) -> str:
        name, field = self._field(key)
        if name == "outline_mm":
            return "must be a pair [along, across] in mm. Give two numbers for each corner."
        unit = f" in {unit_of(name)}" if unit_of(name) else ""
        return f"must be a list of 3 numbers{unit}. Give the {field.title}."

    def _text(
        self, type_: str, name: str, field: FieldInfo, value: Any, key: Key, error: Any
    ) -> str:
        allowed = bounds(name, field)
        unit = unit_of(name)
        inside = isinstance(key[-1], int) and name not in ("station", "plate", "ballast", "hook")
        leave = "" if inside else self._leave_out(field)
        match type_:
            case "float_type" | "int_type":
                wanted = "whole number" if type_ == "int_type" else "number"
                span = allowed or (f"in {unit}" if unit else "")
                must = f"must be a {wanted}{' ' + span if span else ''}"
                if kind(value) == "a whole number" and type_ == "float_type":  # above 1e308
                    return f"{must}, not one of hundreds of digits. Correct it."
                must += f", not {kind(value)}."
                return f"{must} {self._number_hint(type_, '' if inside else name, value)}"
            case "finite_number":
                span = f" {allowed}" if allowed else f" in {unit}" if unit else ""
                return f"must be a finite number{span} ({field.title}). Correct it{leave}."
            case "greater_than" | "greater_than_equal" | "less_than" | "less_than_equal":
                minus = value < 0 and allows(field, -value)
                fix = "Drop the minus sign" if minus else "Correct it"
                return f"must be {allowed} ({field.title}). {fix}{leave}."
            case "bool_type":
                return (
                    f"must be true or false, not {kind(value)} ({field.title})."
                    " Write true or false in lower case, without quotes."
                )
            case "string_type":
                fix = (
                    f"Put it in quotes: {name} = {json.dumps(show(value), ensure_ascii=False)}."
                    if isinstance(value, int | float) and not isinstance(value, bool)
                    else f'Write {name} = "..." with the text in double quotes.'
                )
                return f"must be text, not {kind(value)} ({field.title}). {fix}"
            case "string_too_long":
                most = error["ctx"]["max_length"]
                return f"must have at most {most} characters, not {len(value)}. Shorten it."
            case "string_pattern_mismatch":
                safe = clean_name(str(value))
                return (
                    "must be letters a to z, digits, - _ and . only, starting with a letter,"
                    f" digit or _, for it names the result file. Write {name} = {show(safe)}."
                )
            case "literal_error":
                return self._choice(field, value, leave)
            case "model_type" | "dict_type" | "model_attributes_type" | "mapping_type":
                return self._table_text(key, value)
            case "tuple_type":
                return self._list_text(key, name, value)
        return f"{error['msg']} ({field.title}). Correct it{leave}."

    @staticmethod
    def _leave_out(field: FieldInfo) -> str:
        if field.is_required():
            return ""
        default = field.get_default(call_default_factory=True)
        return ", or leave the key out" + (
            "" if default is None else f" for the default {show(default)}"
        )

    @staticmethod
    def _number_hint(type_: str, name: str, value: Any) -> str:
        assign = f"{name} = " if name else ""
        if isinstance(value, str):
            text = value.strip()
            if text.replace(",", ".", 1) != text:
                text, comma = text.replace(",", ".", 1), "with a decimal point and "
            else:
                comma = ""
            try:
                return f"Write it {comma}without quotes: {assign}{float(text):g}."
            except ValueError:
                return "Write a plain number, without quotes and without a unit."
        if type_ == "int_type" and isinstance(value, float) and abs(value) < 1e15:
            return f"Write it without a decimal point: {assign}{round(value)}."
        if isinstance(value, list | tuple):
            return "Write a single number, without brackets."
        return "Write a plain number."

    @staticmethod
    def _choice(field: FieldInfo, value: Any, leave: str) -> str:
        choices = [str(choice) for choice in get_args(field.annotation)]
        text = f"must be {_any_of(show(choice) for choice in choices)} ({field.title})."
        close = get_close_matches(str(value).strip().lower(), choices, n=1, cutoff=0.6)
        if close and len(choices) > 1:
            return f"{text} Did you mean {show(close[0])}?"
        return f"{text} Choose one{leave}." if len(choices) > 1 else f"{text} Write that{leave}."

    def _table_text(self, key: Key, value: Any) -> str:
        names = [part for part in key if isinstance(part, str)]
        dotted = ".".join(names)
        opened = header(dotted, self.root) if dotted in self.tables else f"[{dotted}]"
        if isinstance(value, list | tuple) and not isinstance(key[-1], int):
            return f"must be one table, not a list. Write {opened} with single brackets."
        return f"must be a table, not {kind(value)}. Write {opened} and its keys below it."

    def _list_text(self, key: Key, name: str, value: Any) -> str:
        dotted = ".".join(part for part in key if isinstance(part, str))
        if dotted in self.tables:
            more = (
                " with double brackets" if isinstance(value, Mapping) else " and its keys below it"
            )
            opened = header(dotted, self.root)
            return f"must be a list of tables, not {kind(value)}. Write {opened}{more}."
        if isinstance(key[-1], int):
            return self._point_text(key)
        if name == "outline_mm":
            return (
                f"must be a list of points [[along, across], ...] in mm, not {kind(value)}. Give"
                " the corners in order around the outline."
            )
        return self._point_text(key)


def clean_name(text: str) -> str:
    """A name made safe for a file: other characters become "-"; "bait" when nothing is left."""
    kept = "".join(c if c.isascii() and (c.isalnum() or c in "-_.") else "-" for c in text)
    return kept.lstrip("-.").rstrip("-")[:100] or "bait"
