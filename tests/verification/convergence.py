"""How far the numerical settings move frequency, amplitudes and class."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from functools import cache
from typing import TYPE_CHECKING, NamedTuple

import sim

from .suite import BAITS, COMPUTED, CONFIGS, Row, case, picture

if TYPE_CHECKING:
    from matplotlib.figure import Figure

# Tie points along the tie path, by their distance from the shipped one [mm]: up the nose (negative)
# where the bait is tight, 3 mm to either side, and out along the bill where it over-rolls. The
# places are (from_nose_mm, above_centreline_mm).
TIES: dict[str, dict[float, tuple[float, float]]] = {
    "shallow-runner": {
        -9.0: (0.7, 2.1), -3.0: (1.5, -3.2), 3.0: (5.4, -7.1), 9.0: (1.3, -11.6),
    },
    "surface-runner": {
        -6.0: (0.2, -1.4), -3.0: (1.9, -3.9), 3.0: (5.5, -8.0), 6.0: (5.2, -11.0),
    },
    "deep-runner": {
        -10.0: (7.8, 6.8), -3.0: (2.0, 3.2), 3.0: (0.8, -1.8), 9.0: (5.4, -5.6),
    },
    "slab-sided": {
        -9.0: (4.7, 6.0), -3.0: (0.6, 1.8), 3.0: (1.8, -3.4), 6.0: (3.9, -5.5),
    },
    "slow-sinker": {
        -9.0: (1.2, 3.1), -3.0: (0.8, -2.4), 3.0: (3.2, -6.9), 9.0: (-0.8, -11.3),
    },
}  # fmt: skip
SHIPPED = 0.0  # the tie point of the file
POINTS = sum(1 + len(ties) for ties in TIES.values())

FREQUENCY, AMPLITUDE = 0.01, 0.03  # what the shipped settings have to keep, relative
LONG_S = 24.0  # runs of this length are compared where the run length is not the question
END_S = 48.0  # after so long nothing creeps on 3 m of line at 1 m/s
THREE = ("frequency", "yaw", "roll")
WORST = "Largest of five tie points along the tie path."


class Outcome(NamedTuple):
    """What a run is judged by: frequency [Hz], angles [deg], depth [m], class and status."""

    frequency: float
    yaw: float
    roll: float
    pitch: float
    depth: float
    motion_class: str | None
    status: str


Overrides = dict[str, float]


class Setting(NamedTuple):
    """A value of a numerical setting; without overrides it is what is shipped."""

    label: str
    overrides: Overrides


@cache
def loaded(bait: str) -> sim.Config:
    return sim.load_config(CONFIGS / f"{bait}.toml")


@cache
def _ran(bait: str, tie: float, overrides: tuple[tuple[str, float], ...]) -> Outcome:
    changes: Overrides = dict(overrides)
    if tie != SHIPPED:
        place = TIES[bait][tie]
        changes |= {"bait.tie.from_nose_mm": place[0], "bait.tie.above_centreline_mm": place[1]}
    run = sim.simulate(sim.with_overrides(loaded(bait), changes))
    return Outcome(
        run.measures["wobble_frequency_hz"],
        run.measures["yaw_amplitude_deg"],
        run.measures["roll_amplitude_deg"],
        run.measures["pitch_deg"],
        run.measures["depth_m"],
        run.motion_class,
        run.status,
    )


def ran(bait: str, tie: float, overrides: Overrides) -> Outcome:
    """One run, or the same one from before."""
    return _ran(bait, tie, tuple(sorted(overrides.items())))


def ties(bait: str) -> list[float]:
    """Distances of all tie points of a bait from the shipped one, that included [mm]."""
    return sorted([SHIPPED, *TIES[bait]])


def lasting(seconds: float) -> Overrides:
    """A run of this length, never extended."""
    return {"solver.duration_s": seconds, "solver.max_duration_s": seconds}


def largest(ratios: Iterable[float]) -> float:
    """The ratio furthest from 1; what a spinning bait lacks is passed over, its class shows it."""
    return max((r for r in ratios if math.isfinite(r)), key=lambda ratio: abs(ratio - 1.0))


def furthest(bait: str, name: str, tried: Overrides, finest: Overrides) -> float:
    """Measure over that of the finest setting, at the tie point where they are furthest apart."""
    return largest(
        getattr(ran(bait, tie, tried), name) / getattr(ran(bait, tie, finest), name)
        for tie in ties(bait)
    )


def judged(
    label: str, tried: Overrides, finest: Overrides, source: str, note: str = WORST
) -> Iterator[Row]:
    """Rows of what is shipped, a bait at a time."""
    for bait in BAITS:
        for name, text, tolerance in (
            ("frequency", "frequency", FREQUENCY),
            ("yaw", "yaw amplitude", AMPLITUDE),
            ("roll", "roll amplitude", AMPLITUDE),
        ):
            yield Row(
                f"{text} over that of the finest, {bait}, {label} (shipped)",
                furthest(bait, name, tried, finest), 1.0, tolerance, source, COMPUTED, note=note,
            )  # fmt: skip


def classes(
    label: str,
    tried: Overrides,
    finest: Overrides,
    source: str,
    tolerance: float,
    missing: bool = True,
) -> Row:
    """How many of all tie points change their class; ``missing`` counts those that have none."""
    changed = []
    for bait in BAITS:
        for tie in ties(bait):
            now, then = ran(bait, tie, tried), ran(bait, tie, finest)
            known = now.motion_class is not None and then.motion_class is not None
            if now.motion_class != then.motion_class and (known or missing):
                changed.append(
                    f"{bait} at {tie:+g} mm {now.motion_class or now.status}"
                    f" instead of {then.motion_class or then.status}"
                )
    return Row(
        f"tie points of {POINTS} that change class, {label}", float(len(changed)), 0.0, tolerance,
        source, COMPUTED, kind="absolute", note="; ".join(changed),
    )  # fmt: skip


def compared(
    shipped: str,
    others: Sequence[Setting],
    fixed: Overrides,
    against: str,
    missing: bool = True,
) -> Iterator[Row]:
    """Rows of one setting: what is shipped is judged, other values are reported.

    ``others`` starts with the finest; ``shipped`` is the label of the shipped value, and an entry
    of that label is passed over.
    """
    finest = {**fixed, **others[0].overrides}
    source = f"the same runs at {against}"
    yield from judged(shipped, fixed, finest, source)
    yield classes(f"{shipped} (shipped)", fixed, finest, source, 0.0, missing)
    for label, overrides in others[1:]:
        if label == shipped:
            continue
        tried = {**fixed, **overrides}
        for bait in BAITS:
            yield Row(
                f"largest change of the three, {bait}, {label}",
                largest(furthest(bait, name, tried, finest) for name in THREE), 1.0, math.inf,
                source, COMPUTED, note="Of frequency, yaw and roll amplitude at five tie points.",
            )  # fmt: skip
        yield classes(label, tried, finest, source, math.inf, missing)


SOLVER = loaded(BAITS[0]).solver
STEPS = [Setting(f"{ms:g} ms", {"solver.step_ms": ms}) for ms in (0.25, 0.5, 1.0, 2.0, 4.0)]
GRIDS = [
    Setting(
        f"{along} x {across}",
        {"solver.plate_elements_along": along, "solver.plate_elements_across": across},
    )
    for along, across in ((16, 16), (8, 12), (4, 6), (3, 4), (2, 3))
]
SECTIONS = [Setting(f"{n} sections", {"solver.body_strips": n}) for n in (48, 16, 8, 6, 4)]
SLICES = [Setting(f"{n} slices", {"solver.body_slices": n}) for n in (9, 5, 3, 2)]
RECORDS = [Setting(f"{ms:g} ms", {"solver.output_step_ms": ms}) for ms in (2.0, 4.0, 8.0)]
LENGTHS = [Setting(f"{END_S:g} s", {"solver.duration_s": END_S, "solver.max_duration_s": 96.0})] + [
    Setting(f"{s:g} s", {"solver.duration_s": s, "solver.max_duration_s": max(24.0, s)})
    for s in (24.0, 16.0, 12.0, 8.0, 4.0)
]
SETTLED = [Setting(f"{t:g}", {"solver.settle_tolerance": t}) for t in (0.02, 0.05, 0.1)]
FINEST: Overrides = {
    "solver.step_ms": 0.5,
    "solver.output_step_ms": 1.0,
    "solver.plate_elements_along": 16,
    "solver.plate_elements_across": 16,
    "solver.body_strips": 48,
    "solver.body_slices": 9,
    **LENGTHS[0].overrides,
}


@case("Shipped settings against the finest", slow=True)
def everything() -> Iterable[Row]:
    """The five demonstration baits as shipped, against the same with everything at its finest: step
    0.5 ms, 16 x 16 elements on the bill, 48 sections of 9 slices on the body, a state each
    millisecond, runs of 48 s. What differs is the error of the numbers themselves: it says nothing
    on whether the loads are right, only that the program solves the equations it documents. The
    shipped settings have to keep frequency within 1 %, yaw and roll amplitude within 3 % and every
    class, at the shipped tie point and at four more from tight to over-rolling (up the nose, 3 mm
    to either side, out along the bill). For a maker: differences between two designs larger than
    that come from the designs. What limits the accuracy is the run length and nothing else, see
    below: the bait still goes down while it is measured."""
    source = "the same run with every setting at its finest"
    units = {"frequency": "Hz", "yaw": "deg", "roll": "deg", "pitch": "deg", "depth": "m"}
    allowed = {"frequency": FREQUENCY, "yaw": AMPLITUDE, "roll": AMPLITUDE}
    texts = {"yaw": "yaw amplitude", "roll": "roll amplitude", "pitch": "mean pitch"}
    for bait in BAITS:
        ours, finest = ran(bait, SHIPPED, {}), ran(bait, SHIPPED, FINEST)
        for name, unit in units.items():
            yield Row(
                f"{texts.get(name, name)}, {bait}", getattr(ours, name), getattr(finest, name),
                allowed.get(name, math.inf), source, COMPUTED, unit,
            )  # fmt: skip
    yield from judged("five tie points", {}, FINEST, source, "")
    yield classes("shipped", {}, FINEST, source, 0.0)


@case("Time step", slow=True)
def step() -> Iterable[Row]:
    """The step of the integrator alone, in runs of 24 s. The error falls with the fourth power of
    the step, as it has to, and at the shipped step it is far below anything a maker can measure.
    Twice the step takes about 0.6 of the time and is as good for any map, at 2 m/s too, where the
    wobble is twice as quick. On a faster retrieve or a stiffer line the stretching of the line asks
    for less; the program sees to that and says so."""
    yield from compared(f"{SOLVER.step_ms:g} ms", STEPS, lasting(LONG_S), STEPS[0].label)
    there = {"retrieve.speed_m_s": 2.0, **lasting(12.0)}
    for label, overrides in STEPS[-2:]:
        ratio = largest(
            getattr(ran(bait, SHIPPED, {**there, **overrides}), name)
            / getattr(ran(bait, SHIPPED, {**there, **STEPS[0].overrides}), name)
            for bait in BAITS
            for name in THREE
        )
        yield Row(
            f"largest change of the three, five baits, {label} at 2 m/s", ratio, 1.0, math.inf,
            f"the same runs at {STEPS[0].label}", COMPUTED,
        )  # fmt: skip


@case("Elements on the bill", slow=True)
def elements() -> Iterable[Row]:
    """Load elements along and across the bill, in runs of 24 s. They carry the broadside load with
    its damping of rotation, so with too few of them the bait moves more. On the deep runner the
    error does not fall evenly, and 8 x 12 are by chance worse than 4 x 6: its coffin bill has a
    corner at two fifths of the length, which the elements straddle (with a square bill in its place
    there is no such thing). What limits the accuracy is the number along the bill; across it even
    four would do. A maker gains nothing from finer elements than the shipped ones."""
    shipped = f"{SOLVER.plate_elements_along} x {SOLVER.plate_elements_across}"
    yield from compared(shipped, GRIDS, lasting(LONG_S), GRIDS[0].label)


@case("Sections along the body", slow=True)
def sections() -> Iterable[Row]:
    """Load sections along the body, in runs of 24 s. They carry the crossflow drag, and with it the
    damping of yaw and pitch. The outline of a body of stations is smooth between them, so eight
    do; six still do for all but the bait that over-rolls widely, four do not."""
    yield from compared(
        f"{SOLVER.body_strips} sections", SECTIONS, lasting(LONG_S), SECTIONS[0].label
    )


@case("Slices through the height of a section", slow=True)
def slices() -> Iterable[Row]:
    """Slices that each section is cut into, in runs of 24 s: on a body that rolls the water comes
    from another side at the back than at the belly, and the slices carry the damping of roll. Two
    are a little few for a bait that rolls far, more than three change nothing."""
    yield from compared(f"{SOLVER.body_slices} slices", SLICES, lasting(LONG_S), SLICES[0].label)


@case("Time between stored states", slow=True)
def records() -> Iterable[Row]:
    """Measures are taken from stored states, in runs of 24 s. With fewer of them the peaks of the
    wobble are missed by a little, always to the small side; as the largest of many wobbles counts,
    one of them has a state near its peak. A wobble that is much quicker than those here needs
    states closer together: the program warns when it has less than twelve a wobble."""
    yield from compared(f"{SOLVER.output_step_ms:g} ms", RECORDS, lasting(LONG_S), RECORDS[0].label)


def towed(bait: str, tie: float, changes: Overrides) -> Overrides:
    """Depth and pitch of the steady tow as the start of the run."""
    places: Overrides = {}
    if tie != SHIPPED:
        along, above = TIES[bait][tie]
        places = {"bait.tie.from_nose_mm": along, "bait.tie.above_centreline_mm": above}
    steady = sim.steady_tow(sim.with_overrides(loaded(bait), {**changes, **places}))
    return {"start.depth_m": steady.depth_m, "start.pitch_deg": steady.pitch_deg}


@case("Run length", slow=True)
def run_length() -> Iterable[Row]:
    """The length of the run, all else as shipped. Of all settings this one decides the accuracy.
    The bait starts at the depth given in its file and swings down on its line to the depth where it
    stays. What is left of that way falls by a factor of e while the bait travels the length of its
    line (3 s for 3 m at 1 m/s), and frequency and amplitudes, measured over the last stretch that
    looks stationary, follow it a little. So depth and pitch of a short run are those of a bait
    still on its way, and so, by less, are frequency and amplitudes; the class stays. It takes four
    line lengths of travel to keep 1 % and 3 % here. The last rows show longer lines and slower
    retrieves, where a fixed run length is shorter in that measure: as shipped, with
    `solver.duration_s` at five line lengths of travel, and as shipped but started at the depth and
    pitch that `sim.steady_tow` finds. The last is the cheapest way; it fails a bait that swings so
    widely that it runs well above its steady tow (the deep runner tied to over-roll)."""
    yield from compared(f"{SOLVER.duration_s:g} s", LENGTHS, {}, LENGTHS[0].label)
    against = f"the same run over {END_S:g} s"
    for bait in BAITS:
        ours, end = ran(bait, SHIPPED, {}), ran(bait, SHIPPED, LENGTHS[0].overrides)
        yield Row(
            f"depth, {bait}", ours.depth, end.depth, math.inf, against, COMPUTED, "m",
        )  # fmt: skip
        yield Row(
            f"mean pitch, {bait}", ours.pitch, end.pitch, math.inf, against, COMPUTED, "deg",
        )  # fmt: skip
    for line, speed in ((3.0, 1.0), (6.0, 1.0), (3.0, 0.5)):
        there = {"line.length_m": line, "retrieve.speed_m_s": speed}
        travel = line / speed
        five = {"solver.duration_s": 5.0 * travel, "solver.max_duration_s": 15.0 * travel}
        ratios: dict[str, list[float]] = {"as shipped": [], "five line lengths": [], "towed": []}
        for bait in BAITS:
            for tie in ties(bait):
                end = ran(bait, tie, {**there, **lasting(10.0 * travel)})
                for way, changes in zip(ratios, ({}, five, towed(bait, tie, there)), strict=True):
                    ours = ran(bait, tie, {**there, **changes})
                    ratios[way] += [getattr(ours, n) / getattr(end, n) for n in THREE]
        for way, found in ratios.items():
            yield Row(
                f"largest change of the three, {line:g} m of line at {speed:g} m/s, {way}",
                largest(found), 1.0, math.inf, "the same runs over ten line lengths of travel",
                COMPUTED, note="Of frequency, yaw and roll amplitude at five tie points of all"
                " baits; towed: started at depth and pitch of the steady tow.",
            )  # fmt: skip


@case("Tolerance of settling", slow=True)
def settling() -> Iterable[Row]:
    """How alike two stretches have to be to count as stationary; it decides when a run ends and how
    much of it is measured. A narrow tolerance makes runs longer and leaves a motion whose amplitude
    itself comes and goes by a per cent without a class; the last rows count those, which are not
    counted as changed. It does not stand in for the run length: where a bait creeps slowly, two
    neighbouring stretches are alike long before the end."""
    shipped = f"{SOLVER.settle_tolerance:g}"
    yield from compared(shipped, SETTLED, {}, f"a tolerance of {SETTLED[0].label}", missing=False)
    for label, overrides in SETTLED:
        none = [ran(bait, tie, overrides).motion_class for bait in BAITS for tie in ties(bait)]
        yield Row(
            f"tie points of {POINTS} without a class, {label}", float(none.count(None)), 0.0,
            math.inf, "a count; none is wanted", COMPUTED, kind="absolute",
        )  # fmt: skip


@case("Length of the line", slow=True)
def line_length() -> Iterable[Row]:
    """Not a numerical setting but an effect of the model, shown beside them because maps and sweet
    spots depend on it: the same baits on half and on twice the line, in runs of sixteen line
    lengths of travel. Depth goes nearly with the length and frequency hardly changes, but
    amplitudes do, and a few classes with them. Most of that comes from the drag of the line: the
    model has half of it act at the tie point, so half of the line follows every wobble, and the
    last rows show that without that drag amplitudes hardly depend on the length. A real line
    follows a wobble over a fraction of a metre only, so the true change is expected to be smaller,
    and the damping of the wobble by a long line too large here. Compare designs on the same line,
    and read a map as made for its line length. Weight and sag of the line are left out."""
    base = lasting(16.0 * 3.0)
    for line in (1.5, 6.0):
        there = {"line.length_m": line, **lasting(16.0 * line)}
        source = "the same bait on 3 m of line"
        for bait in BAITS:
            ours, usual = ran(bait, SHIPPED, there), ran(bait, SHIPPED, base)
            for name, text, unit in (
                ("frequency", "frequency", "Hz"),
                ("yaw", "yaw amplitude", "deg"),
                ("roll", "roll amplitude", "deg"),
                ("depth", "depth", "m"),
            ):
                yield Row(
                    f"{text}, {bait}, {line:g} m of line", getattr(ours, name),
                    getattr(usual, name), math.inf, source, COMPUTED, unit,
                )  # fmt: skip
        yield classes(f"{line:g} m of line", there, base, source, math.inf)
    bare = {"line.normal_drag_coefficient": 0.0}
    for line in (1.5, 6.0):
        there = {"line.length_m": line, **lasting(16.0 * line), **bare}
        for bait in BAITS:
            yield Row(
                f"yaw amplitude, {bait}, {line:g} m of line without drag across it",
                ran(bait, SHIPPED, there).yaw, ran(bait, SHIPPED, {**base, **bare}).yaw, math.inf,
                "the same bait on 3 m of such line", COMPUTED, "deg",
            )  # fmt: skip


COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#000000")  # Okabe-Ito
MARKERS = ("o", "s", "^", "D", "v")
STYLES = ("-", "--", "-.", ":", (0, (5, 1)))
FLOOR = 1e-7  # differences below are drawn here


@picture(
    "convergence.png",
    "Change of yaw amplitude and frequency against the finest setting (step 0.25 ms, 16 x 16"
    " elements, 48 sections), largest of five tie points a bait; the horizontal line is what is"
    f" allowed, the vertical one what is shipped. Changes below {FLOOR:g} are drawn there.",
)
def errors() -> Figure:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(8.0, 5.4), layout="constrained")
    axes = figure.subplots(2, 3, sharex="col", sharey=True)
    fixed = lasting(LONG_S)
    grid = SOLVER.plate_elements_along * SOLVER.plate_elements_across
    columns = (
        ("step [ms]", STEPS, SOLVER.step_ms, lambda o: o["solver.step_ms"]),
        (
            "elements on the bill", GRIDS, grid,
            lambda o: o["solver.plate_elements_along"] * o["solver.plate_elements_across"],
        ),
        ("sections on the body", SECTIONS, SOLVER.body_strips, lambda o: o["solver.body_strips"]),
    )  # fmt: skip
    rows = (("yaw", "yaw amplitude", AMPLITUDE), ("frequency", "frequency", FREQUENCY))
    for column, (label, settings, shipped, size) in enumerate(columns):
        finest = {**fixed, **settings[0].overrides}
        sizes = [size(s.overrides) for s in settings[1:]]
        for row, (name, text, allowed) in enumerate(rows):
            ax = axes[row, column]
            for bait, colour, marker, style in zip(BAITS, COLOURS, MARKERS, STYLES, strict=True):
                change = [
                    max(
                        FLOOR,
                        abs(furthest(bait, name, {**fixed, **s.overrides}, finest) - 1.0),
                    )
                    for s in settings[1:]
                ]
                ax.loglog(
                    sizes, change, color=colour, marker=marker, linestyle=style, markersize=5,
                    label=bait,
                )  # fmt: skip
            ax.axhline(allowed, color="0.4", linewidth=1.2)
            ax.axvline(shipped, color="0.7", linewidth=1.0, linestyle=":")
            ax.text(
                0.98, allowed * 1.25, f"{100 * allowed:g} %", transform=ax.get_yaxis_transform(),
                ha="right", va="bottom", fontsize=8, color="0.3",
            )  # fmt: skip
            ax.set_xticks(sizes, [f"{s:g}" for s in sizes], fontsize=8)
            ax.set_xticks([], minor=True)
            ax.set_ylim(0.7 * FLOOR, 0.3)
            ax.grid(True, alpha=0.25)
            if column == 0:
                ax.set_ylabel(f"relative change of {text}", fontsize=9)
            if row == 1:
                ax.set_xlabel(label)
    handles, labels = axes[0, 0].get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside upper center", ncols=5, fontsize=8)
    return figure
