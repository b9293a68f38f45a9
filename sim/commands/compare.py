"""``runtrue compare``: baits or variants of one side by side."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NamedTuple

import typer

from sim import terminal
from sim.commands.inputs import warn
from sim.commands.short import Files, WorkersOption, close, run_short, tell
from sim.commands.speeds import (
    FASTEST_M_S,
    SLOWEST_M_S,
    FastestOption,
    SlowestOption,
    SpeedsOption,
    retrieve_problems,
    speed_problems,
    towed,
)
from sim.errors import ConfigError
from sim.terminal import (
    ForceOption,
    JsonOption,
    OutputOption,
    QuietOption,
    SetOption,
    epilog,
    picture_option,
)

if TYPE_CHECKING:
    from sim.config.models import Config

EXAMPLES = epilog(
    "runtrue compare pike.toml perch.toml",
    'runtrue compare pike.toml --variant "long bill: bait.bill.length_mm=20" \\',
    '    --variant "wide bill: bait.bill.width_mm=24, bait.bill.angle_deg=50"',
)
MOST = 20  # as sim.studies.roster.MOST, which is not loaded for the help
LONGEST_LABEL = 40  # as sim.report.compare.LONGEST_NAME


def compare(
    configs: Annotated[
        list[Path],
        typer.Argument(
            metavar="CONFIG...", readable=False, help="Configurations of the baits, TOML files."
        ),
    ],
    variant: Annotated[
        list[str] | None,
        typer.Option(
            "--variant",
            metavar='"LABEL: KEY=VALUE, ..."',
            help="The first bait with keys of it changed, in their units; may be repeated.",
        ),
    ] = None,
    slowest: SlowestOption = SLOWEST_M_S,
    fastest: FastestOption = FASTEST_M_S,
    speeds: SpeedsOption = 5,
    output: OutputOption = None,
    picture: Annotated[Path | None, picture_option("Draw it there, not beside the result")] = None,
    workers: WorkersOption = None,
    set_: SetOption = None,
    force: ForceOption = False,
    quiet: QuietOption = False,
    json_: JsonOption = False,
) -> None:
    """Put baits, or variants of one, side by side.

    Each is towed at the same speeds, those of the files added, and has a row: what it weighs, its
    class at each speed, and how it wobbles and runs at its own speed, with what sets it off from
    the first. Two to 20 in all. What is set by --set is set in all of them.

    Masses are in g, angles in degrees, depth in m, the pull of the line in N. The runs are kept in
    results/NAME-compare.h5 and drawn in results/NAME-compare.png, NAME being the name of the first.
    """
    from sim.studies.roster import roster
    from sim.studies.speeds import speed_row

    problems = speed_problems(slowest, fastest, speeds)
    baits, names = _baits(configs, variant or (), set_, problems)
    count = len(configs) + len(variant or ())
    if not 2 <= count <= MOST:
        problems.append(
            f"{count} bait{'' if count == 1 else 's'}: must be 2 to {MOST}. Name another"
            ' configuration, or add --variant "LABEL: KEY=VALUE".'
            if count < 2
            else f"{count} baits: must be 2 to {MOST}. Leave some out."
        )
    name = baits[0].name if baits else None
    files = Files.of(f"{name or 'bait'}-compare", output, picture, force=force)
    problems += files.problems(*configs)
    if problems:
        raise ConfigError(dict.fromkeys(problems))
    files.check()
    study = roster(
        [towed(bait) for bait in baits], speed_row(baits[0], slowest, fastest, speeds), names
    )
    result = run_short(study, files, quiet=quiet, workers=workers)

    from sim.plots.compare import save_compare_figure
    from sim.report.compare import compare_facts, compare_summary

    tell(
        files,
        as_json=json_,
        facts=lambda drawn: compare_facts(result, str(files.result), drawn),
        summary=lambda: compare_summary(result),
        draw=lambda path: save_compare_figure(result, path),
    )
    for bait in baits[: len(configs)]:
        warn(bait, quiet=quiet)
    close(result, configs[0], as_json=json_)


# ---- what is compared ---------------------------------------------------------------------------


class Variant(NamedTuple):
    """A label and what it changes, dotted key to value."""

    label: str
    overrides: dict[str, Any]


def read_variant(text: str) -> tuple[Variant | None, list[str]]:
    """A variant as typed, "LABEL: KEY=VALUE, KEY=VALUE", and what is wrong with it."""
    from sim.config import parse_override

    label, colon, rest = text.partition(":")
    label = " ".join(label.split())
    example = 'Type it like --variant "long bill: bait.bill.length_mm=20".'
    where = f'--variant "{text}"'
    if not colon or "=" in label:
        return None, [f"{where}: no label with a : behind it. {example}"]
    if not label or not rest.strip():
        return None, [f"{where}: no {'label' if not label else 'KEY=VALUE'}. {example}"]
    if len(label) > LONGEST_LABEL:
        return None, [
            f"{where}: a label of {len(label)} characters, must be at most {LONGEST_LABEL}. Give a"
            " shorter one."
        ]
    found: dict[str, Any] = {}
    problems = []
    for pair in split_pairs(rest):
        try:
            key, value = parse_override(pair)
            found[key] = value
        except ConfigError as error:
            problems += [f"{where}: {line.removeprefix('override ')}" for line in error.problems]
    return (None if problems else Variant(label, found)), problems


def split_pairs(text: str) -> list[str]:
    """Pieces between commas, except commas within brackets or quotes."""
    pieces, piece, depth, quote = [], "", 0, ""
    for letter in text:
        if quote:
            quote = "" if letter == quote else quote
        elif letter in "\"'":
            quote = letter
        elif letter in "[{":
            depth += 1
        elif letter in "]}":
            depth -= 1
        elif letter == "," and depth == 0:
            pieces.append(piece)
            piece = ""
            continue
        piece += letter
    return [p.strip() for p in (*pieces, piece)]


def _baits(
    configs: Sequence[Path],
    variants: Sequence[str],
    set_: Sequence[str] | None,
    problems: list[str],
) -> tuple[list[Config], list[str]]:
    """All baits and their names; problems of all of them are added."""
    overrides, wrong = terminal.read_overrides(set_)
    baits: list[Config] = []
    names: list[str] = []
    first_is_sound = False
    for path in configs:
        bait = _load(path, overrides, "", wrong)
        if bait is not None:
            baits.append(bait)
            names.append(bait.name or path.stem)
            wrong += retrieve_problems(bait, str(path))
        if path is configs[0]:
            first_is_sound = not wrong
    problems += wrong
    for text in variants:
        read, wrong = read_variant(text)
        problems += wrong
        if read is None or not first_is_sound:
            continue  # what is wrong with the first would be told again
        bait = _load(configs[0], {**overrides, **read.overrides}, read.label, problems)
        if bait is not None:
            baits.append(bait)
            names.append(read.label)
            problems += [f'--variant "{read.label}": {t}' for t in retrieve_problems(bait)]
    return baits, names


def _load(
    path: Path, overrides: Mapping[str, Any], label: str, problems: list[str]
) -> Config | None:
    from sim.config import load_config

    try:
        return load_config(path, overrides)
    except ConfigError as error:
        problems += [f'--variant "{label}": {line}' if label else line for line in error.problems]
        return None
