"""How far the numerical settings move frequency, amplitudes and class."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from functools import cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

import sim

from .suite import BAITS, CONFIGS, OWN, Row, case, picture

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
        -10.0: (7.9, 6.7), -3.0: (2.0, 3.2), 3.0: (0.8, -1.8), 6.0: (2.8, -4.0),
    },
    "slab-sided": {
        -9.0: (4.7, 6.0), -3.0: (0.6, 1.8), 3.0: (1.8, -3.4), 6.0: (3.9, -5.5),
    },
    "slow-sinker": {
        -9.0: (1.2, 3.1), -3.0: (0.8, -2.4), 3.0: (3.2, -6.9), 11.0: (-2.2, -12.8),
    },
}  # fmt: skip
SHIPPED = 0.0  # the tie point of the file
POINTS = sum(1 + len(ties) for ties in TIES.values())
BEATS = ("shallow-runner", 3.0)  # bait and tie point with two frequencies that do not lock
PATH_MM = 13  # how far the tie path is gone along to either side, a point each mm

FREQUENCY, AMPLITUDE = 0.01, 0.03  # what the shipped settings have to keep, relative
END_S = 48.0  # the longest run
# how long runs are where their length is not the question: they are extended until they settle
LONG: dict[str, float] = {"solver.duration_s": 16.0, "solver.max_duration_s": 24.0}
MEASURES = {
    "frequency": ("frequency", FREQUENCY),
    "yaw": ("yaw amplitude", AMPLITUDE),
    "roll": ("roll amplitude", AMPLITUDE),
}
USED = ("tight", "balanced")  # what a maker looks for; wider motions are rows of their own


class Outcome(NamedTuple):
    """What a run is judged by: frequency [Hz], angles [deg], depth [m] and class."""

    frequency: float
    yaw: float
    roll: float
    pitch: float
    depth: float
    motion_class: str | None


Overrides = dict[str, float]


class Setting(NamedTuple):
    """A value of a numerical setting; without overrides it is what is shipped."""

    label: str
    overrides: Overrides


@cache
def loaded(bait: str) -> sim.Config:
    return sim.load_config(CONFIGS / f"{bait}.toml")


def tied(place: tuple[float, float]) -> Overrides:
    return {"bait.tie.from_nose_mm": place[0], "bait.tie.above_centreline_mm": place[1]}


@cache
def _ran(bait: str, overrides: tuple[tuple[str, float], ...]) -> Outcome:
    run = sim.simulate(sim.with_overrides(loaded(bait), dict(overrides)))
    return Outcome(
        run.measures["wobble_frequency_hz"],
        run.measures["yaw_amplitude_deg"],
        run.measures["roll_amplitude_deg"],
        run.measures["pitch_deg"],
        run.measures["depth_m"],
        run.motion_class,
    )


def ran(bait: str, tie: float, overrides: Overrides) -> Outcome:
    """One run, or the same one from before."""
    changes = overrides if tie == SHIPPED else overrides | tied(TIES[bait][tie])
    return _ran(bait, tuple(sorted(changes.items())))


def ties(bait: str) -> list[float]:
    """Distances of all tie points of a bait from the shipped one, that included [mm]."""
    return sorted([SHIPPED, *TIES[bait]])


def lasting(seconds: float) -> Overrides:
    """A run of this length, never extended."""
    return {"solver.duration_s": seconds, "solver.max_duration_s": seconds}


def largest(ratios: Iterable[float]) -> float:
    """The ratio furthest from 1."""
    return max(ratios, key=lambda ratio: abs(ratio - 1.0))


def ratios(
    name: str, tried: Overrides, finest: Overrides, baits: Iterable[str] = BAITS, used: bool = True
) -> Iterator[float]:
    """Measure over that of the finer setting, at the tie points that are tight or balanced with
    everything at its finest (``used``) or at the others."""
    for bait in baits:
        for tie in ties(bait):
            if (ran(bait, tie, FINEST).motion_class in USED) == used:
                yield getattr(ran(bait, tie, tried), name) / getattr(ran(bait, tie, finest), name)


def judged(label: str, tried: Overrides, finest: Overrides, source: str) -> Iterator[Row]:
    """Rows of what is shipped: a bait at a time, over-rolling ones together, and the classes."""
    for bait in BAITS:
        for name, (text, tolerance) in MEASURES.items():
            yield Row(
                f"{text} over that of the finest, {bait}, {label} (shipped)",
                largest(ratios(name, tried, finest, [bait])), 1.0, tolerance, source, OWN,
                note="Largest of the tie points that are tight or balanced.",
            )  # fmt: skip
    for name, (text, tolerance) in MEASURES.items():
        beating = name == "frequency"
        yield Row(
            f"{text} over that of the finest, over-rolling, {label} (shipped)",
            largest(ratios(name, tried, finest, used=False)), 1.0,
            math.inf if beating else tolerance, source, OWN,
            note="Largest of the over-rolling tie points of all baits."
            + (" Two of them beat and have no sharp frequency." if beating else ""),
        )  # fmt: skip
    yield changed(f"{label} (shipped)", tried, finest, source, 0.0)
    yield unsettled(f"{label} (shipped)", tried, finest, source)


def changed(
    label: str, tried: Overrides, finest: Overrides, source: str, tolerance: float = math.inf
) -> Row:
    """How many of all tie points change their class; one that did not settle has none to change."""
    found = []
    for bait in BAITS:
        for tie in ties(bait):
            now, end = ran(bait, tie, tried).motion_class, ran(bait, tie, finest).motion_class
            if now is not None and end is not None and now != end:
                found.append(f"{bait} at {tie:+g} mm {now} instead of {end}")
    return Row(
        f"tie points of {POINTS} that change class, {label}", float(len(found)), 0.0, tolerance,
        source, OWN, kind="absolute", note="; ".join(found),
    )  # fmt: skip


def unsettled(label: str, tried: Overrides, finest: Overrides, source: str) -> Row:
    """How many of all tie points have no class, here and in the finest runs."""
    lists = [
        [f"{b} at {t:+g} mm" for b in BAITS for t in ties(b) if ran(b, t, o).motion_class is None]
        for o in (tried, finest)
    ]
    texts = [
        f"{where} did not settle: {', '.join(points)}."
        for where, points in zip(("Here", "In the finest runs"), lists, strict=True)
        if points
    ]
    return Row(
        f"tie points of {POINTS} that did not settle, {label}", float(len(lists[0])),
        float(len(lists[1])), math.inf, source, OWN, kind="absolute", note=" ".join(texts),
    )  # fmt: skip


def reported(label: str, tried: Overrides, finest: Overrides, source: str) -> Iterator[Row]:
    """Rows of a setting that is not shipped."""
    apart = {
        bait: largest(r for name in MEASURES for r in ratios(name, tried, finest, [bait]))
        for bait in BAITS
    }
    worst = max(apart, key=lambda bait: abs(apart[bait] - 1.0))
    yield Row(
        f"largest change of the three, {label}", apart[worst], 1.0, math.inf, source, OWN,
        note="Of frequency, yaw and roll amplitude at the tie points that are tight or balanced;"
        f" found on the {worst}.",
    )  # fmt: skip
    yield changed(label, tried, finest, source)


def compared(
    shipped: str, others: Sequence[Setting], fixed: Overrides, against: str
) -> Iterator[Row]:
    """Rows of one setting: what is shipped is judged, other values are reported.

    ``others`` starts with the finest; ``shipped`` is the label of the shipped value, and an entry
    of that label is passed over.
    """
    finest = {**fixed, **others[0].overrides}
    source = f"the same runs at {against}"
    yield from judged(shipped, fixed, finest, source)
    for label, overrides in others[1:]:
        if label != shipped:
            yield from reported(label, {**fixed, **overrides}, finest, source)


SOLVER = loaded(BAITS[0]).solver
STEPS = [Setting(f"{ms:g} ms", {"solver.step_ms": ms}) for ms in (0.5, 1.0, 2.0, 4.0)]
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
LENGTHS = [Setting(f"{END_S:g} s", lasting(END_S))] + [
    Setting(f"{s:g} s", {"solver.duration_s": s, "solver.max_duration_s": 24.0})
    for s in (24.0, 16.0, 8.0, 4.0)
]
SETTLED = [Setting(f"{t:g}", {"solver.settle_tolerance": t}) for t in (0.02, 0.05, 0.1)]
FINEST: Overrides = {
    "solver.step_ms": 1.0,
    "solver.output_step_ms": 1.0,
    "solver.plate_elements_along": 16,
    "solver.plate_elements_across": 16,
    "solver.body_strips": 48,
    "solver.body_slices": 9,
    **lasting(24.0),
}


def two_frequencies(overrides: Overrides) -> tuple[float, float]:
    """Strongest lines in the spectra of yaw and of the bill's wake [Hz], of the bait that beats."""
    bait, tie = BEATS
    run = sim.simulate(
        sim.with_overrides(loaded(bait), {**overrides, **tied(TIES[bait][tie]), **lasting(END_S)})
    )
    later = run.time >= 0.5 * END_S
    w, x, y, z = run.attitude[later].T
    yaw = np.arctan2(2.0 * (w * z + x * y), 1.0 - 2.0 * (y * y + z * z))
    step = float(run.time[1])
    found = []
    for series in (yaw, run.wake[later, 0]):
        lines = np.abs(np.fft.rfft((series - series.mean()) * np.hanning(series.size)))
        top = int(np.argmax(lines))
        low, peak, high = np.log(lines[top - 1 : top + 2])
        shift = 0.5 * (low - high) / (low - 2.0 * peak + high)
        found.append((top + shift) / (series.size * step))
    return found[0], found[1]


@case("Shipped settings against the finest", slow=True)
def everything() -> Iterable[Row]:
    """The five demonstration baits as shipped, against the same with everything at its finest: step
    1 ms, 16 x 16 elements on the bill, 48 sections of 9 slices on the body, a state each
    millisecond, runs of 24 s. What differs is the error of the numbers themselves: it says nothing
    on whether the loads are right, only that the program solves the equations it documents. The
    shipped settings have to keep frequency within 1 %, yaw and roll amplitude within 3 % and every
    class, at the shipped tie point and at four more from tight to over-rolling (up the nose, 3 mm
    to either side, out along the bill). For a maker: differences between two designs larger than
    that come from the designs. Tie points that are tight or balanced, the ones a maker looks for,
    are judged a bait at a time, over-rolling ones together by their amplitudes. A bait that
    over-rolls may beat irregularly: its own swing and that of the wake go on side by side, at two
    frequencies that do not lock. What is then counted as its frequency depends on which of the two
    happens to cross the middle: it is not a sharp number, and it is reported only. The last two
    rows show that it is the count that moves by a few per cent there, and not the motion: the two
    frequencies themselves are kept. Where the figures here do not hold is shown under "Run
    length"."""
    source = "the same run with every setting at its finest"
    units = {"frequency": "Hz", "yaw": "deg", "roll": "deg", "pitch": "deg", "depth": "m"}
    texts = {"pitch": ("mean pitch", FREQUENCY), "depth": ("depth", FREQUENCY), **MEASURES}
    for bait in BAITS:
        ours, finest = ran(bait, SHIPPED, {}), ran(bait, SHIPPED, FINEST)
        for name, unit in units.items():
            text, tolerance = texts[name]
            yield Row(
                f"{text}, {bait}", getattr(ours, name), getattr(finest, name), tolerance, source,
                OWN, unit,
            )  # fmt: skip
    yield from judged("five tie points", {}, FINEST, source)
    lines = ("of its own swing", "of the wake")
    for line, ours_hz, finest_hz in zip(
        lines, two_frequencies({}), two_frequencies(FINEST), strict=True
    ):
        yield Row(
            f"frequency {line}, {BEATS[0]} at {BEATS[1]:+g} mm", ours_hz, finest_hz, FREQUENCY,
            source, OWN, "Hz", note="The strongest line in the spectrum of yaw, and in that of"
            f" the bill's wake, in {END_S:g} s.",
        )  # fmt: skip


@case("Time step", slow=True)
def step() -> Iterable[Row]:
    """The step of the integrator alone, in runs of 16 s, or of up to 24 s until they settle. The
    error falls with the fourth power of the step, as it has to, and at the shipped step it is far
    below anything a maker can measure. Twice the step takes about 0.6 of the time and is as good
    for any map; at 2 m/s, where the wobble is twice as quick, it still keeps 1 %. On a faster
    retrieve or a stiffer line the stretching of the line asks for less; the program sees to that
    and says so."""
    yield from compared(f"{SOLVER.step_ms:g} ms", STEPS, LONG, STEPS[0].label)
    there = {"retrieve.speed_m_s": 2.0, **LONG}
    for label, overrides in STEPS[-2:]:
        ratio = largest(
            getattr(ran(bait, SHIPPED, {**there, **overrides}), name)
            / getattr(ran(bait, SHIPPED, {**there, **STEPS[0].overrides}), name)
            for bait in BAITS
            for name in MEASURES
        )
        yield Row(
            f"largest change of the three, five baits, {label} at 2 m/s", ratio, 1.0, math.inf,
            f"the same runs at {STEPS[0].label}", OWN,
        )  # fmt: skip


@case("Elements on the bill", slow=True)
def elements() -> Iterable[Row]:
    """Load elements along and across the bill, in runs of 16 s, or of up to 24 s until they settle.
    They carry the broadside load with its damping of rotation, so with too few of them the bait
    moves more. On the deep runner the error does not fall evenly, and 8 x 12 are by chance worse
    than 4 x 6: its coffin bill has a corner at two fifths of the length, which the elements
    straddle (with a square bill in its place there is no such thing). What limits the accuracy is
    the number along the bill; across it even four would do. A maker gains nothing from finer
    elements than the shipped ones."""
    shipped = f"{SOLVER.plate_elements_along} x {SOLVER.plate_elements_across}"
    yield from compared(shipped, GRIDS, LONG, GRIDS[0].label)


@case("Sections along the body", slow=True)
def sections() -> Iterable[Row]:
    """Load sections along the body, in runs of 16 s, or of up to 24 s until they settle. They carry
    the crossflow drag, and with it the damping of yaw and pitch. The outline of a body of stations
    is smooth between them, so eight do, with room to spare: four are still within what is
    allowed."""
    yield from compared(f"{SOLVER.body_strips} sections", SECTIONS, LONG, SECTIONS[0].label)


@case("Slices through the height of a section", slow=True)
def slices() -> Iterable[Row]:
    """Slices that each section is cut into, in runs of 16 s, or of up to 24 s until they settle: on
    a body that rolls the water comes from another side at the back than at the belly, and the
    slices carry the damping of roll. Two are a little few, more than three change nothing."""
    yield from compared(f"{SOLVER.body_slices} slices", SLICES, LONG, SLICES[0].label)


@case("Time between stored states", slow=True)
def records() -> Iterable[Row]:
    """Measures are taken from stored states, in runs of 16 s, or of up to 24 s until they settle.
    With fewer of them the peaks of the wobble are missed by a little, always to the small side; as
    the largest of many wobbles counts, one of them has a state near its peak. A wobble that is much
    quicker than those here needs states closer together: the program warns when it has less than
    twelve a wobble."""
    yield from compared(f"{SOLVER.output_step_ms:g} ms", RECORDS, LONG, RECORDS[0].label)


def along_the_path(bait: str) -> Iterator[tuple[int, Outcome, Overrides]]:
    """Tie points each mm of the tie path: distance from the shipped one [mm], outcome and place."""
    config = loaded(bait)
    path, tie = sim.tie_path(config), config.bait.tie
    assert tie is not None
    own, _ = path.nearest(tie.from_nose_mm, tie.above_centreline_mm)
    for mm in range(-PATH_MM, PATH_MM + 1):
        if path.distance_mm[0] <= own + mm <= path.distance_mm[-1]:
            place = tied(path.at(own + mm))
            yield mm, _ran(bait, tuple(sorted(place.items()))), place


@case("Run length", slow=True)
def run_length() -> Iterable[Row]:
    """The length of the run, all else as shipped. A run starts in the steady tow, at the depth and
    pitch where the bait stays, so nothing creeps while it is measured, and what is shipped is as
    good as a run of 48 s: even half of it would be. There is one exception, which the five tie
    points of a bait do not show; the later rows look for it each millimetre from 13 mm above the
    shipped tie point to 13 mm below, wherever the bait is tight or balanced. Next to tie points
    where a bait beats, the beat dies out slowly or comes and goes over many seconds. Two
    neighbouring stretches are alike all the same, so the run counts as settled, and an amplitude
    may be out by a sixth, in places between by a quarter. The class stays. For a maker: where
    amplitudes jump from one tie point to the next, run those with `solver.duration_s` at 48 s
    before trusting a figure. Far out along the bill some baits wander, lie on their side or turn
    over without settling: they have no class in 24 s and are counted in the last row of each
    bait."""
    against = f"{END_S:g} s"
    yield from compared(f"{SOLVER.duration_s:g} s", LENGTHS, {}, against)
    source = f"the same runs at {against}"
    for bait in BAITS:
        points = list(along_the_path(bait))
        used = [point for point in points if point[1].motion_class in USED]
        ends = [_ran(bait, tuple(sorted((place | lasting(END_S)).items()))) for *_, place in used]
        beyond: list[str] = []
        found: list[float] = []
        for (mm, ours, _), end in zip(used, ends, strict=True):
            apart = {name: getattr(ours, name) / getattr(end, name) for name in MEASURES}
            found += apart.values()
            far = [n for n, (_, allowed) in MEASURES.items() if abs(apart[n] - 1.0) > allowed]
            texts = [f"{MEASURES[n][0]} {100.0 * (apart[n] - 1.0):+.1f} %" for n in far]
            if end.motion_class not in (None, ours.motion_class):
                texts.append(f"{ours.motion_class} instead of {end.motion_class}")
            if texts:
                beyond.append(f"{mm:+d} mm: {', '.join(texts)}")
        lost = [f"{mm:+d} mm" for mm, ours, _ in points if ours.motion_class is None]
        yield Row(
            f"largest change of the three, {bait}, tie points 1 mm apart", largest(found), 1.0,
            math.inf, source, OWN, note="Of those that are tight or balanced.",
        )  # fmt: skip
        yield Row(
            f"beyond 1 % or 3 %, {bait}, of {len(used)} tie points 1 mm apart",
            float(len(beyond)), 0.0, math.inf, source, OWN, kind="absolute",
            note="; ".join(beyond),
        )  # fmt: skip
        yield Row(
            f"not settled, {bait}, of {len(points)} tie points 1 mm apart", float(len(lost)), 0.0,
            math.inf, "a count; none is wanted", OWN, kind="absolute", note=", ".join(lost),
        )  # fmt: skip


@case("Start of the run", slow=True)
def start() -> Iterable[Row]:
    """Why a run starts in the steady tow by default. Here the same baits start at 0.3 m and level
    (`start.depth_m` set) and have to swing down on their line first. What is left of that way falls
    by a factor of e while the bait travels the length of its line (3 s for 3 m at 1 m/s), and
    frequency and amplitudes, measured over the last stretch that looks stationary, follow it a
    little. A run of 8 s is too short for that on 3 m of line, and more so on a longer line or a
    slower retrieve, where it is fewer line lengths of travel; started by default it is not. Who
    sets a depth should make the run longer too: at least five line lengths of travel."""
    high = {"start.depth_m": 0.3}
    against = f"started by default, over {END_S:g} s"
    for bait in BAITS:
        ours, end = ran(bait, SHIPPED, high), ran(bait, SHIPPED, lasting(END_S))
        for name, (text, unit) in {"depth": ("depth", "m"), "pitch": ("mean pitch", "deg")}.items():
            yield Row(
                f"{text}, {bait}, started at 0.3 m", getattr(ours, name), getattr(end, name),
                math.inf, against, OWN, unit,
            )  # fmt: skip
    for way, changes in (("started at 0.3 m", high), ("started by default", {})):
        yield from reported(way, changes, lasting(END_S), against)
    for line, speed in ((6.0, 1.0), (3.0, 0.5)):
        there = {"line.length_m": line, "retrieve.speed_m_s": speed}
        end_s = 16.0 * line / speed
        for way, changes in (("started at 0.3 m", high), ("started by default", {})):
            ratio = largest(
                getattr(ran(bait, SHIPPED, {**there, **changes}), name)
                / getattr(ran(bait, SHIPPED, {**there, **lasting(end_s)}), name)
                for bait in BAITS
                for name in MEASURES
            )
            yield Row(
                f"largest change of the three, {line:g} m of line at {speed:g} m/s, {way}", ratio,
                1.0, math.inf, "started by default, over sixteen line lengths of travel", OWN,
                note="Of frequency, yaw and roll amplitude at the shipped tie points.",
            )  # fmt: skip


@case("Tolerance of settling", slow=True)
def settling() -> Iterable[Row]:
    """How alike two stretches have to be to count as stationary; it decides when a run ends and how
    much of it is measured. Neither a narrower nor a wider tolerance changes what is tight or
    balanced. A narrow one leaves motions whose amplitude itself comes and goes by a few per cent
    without a class; those are counted apart. It does not stand in for the run length: where a beat
    dies out slowly, two neighbouring stretches are alike long before the end."""
    shipped = f"{SOLVER.settle_tolerance:g}"
    source = f"the same runs at a tolerance of {SETTLED[0].label}"
    yield from compared(shipped, SETTLED, {}, f"a tolerance of {SETTLED[0].label}")
    label, overrides = SETTLED[-1]
    yield unsettled(label, overrides, SETTLED[0].overrides, source)


@case("Length of the line", slow=True)
def line_length() -> Iterable[Row]:
    """Not a numerical setting but an effect of the model, shown beside them because maps and sweet
    spots depend on it: the same baits on half and on twice the line. Depth goes nearly with the
    length. The wobble depends on it little, for only the near end of the line follows: half or
    twice the line moves frequency by 1.5 % and amplitudes by 7 % at most where the bait is tight or
    balanced, and as much without drag across the line, so that is not its damping. Over-rolling tie
    points are more easily moved, and one that beats may lose its beat and with it its class.
    Compare designs on the same line, and read a map as made for its line length. Weight and sag of
    the line are left out."""
    source = "the same bait on 3 m of line"
    for line in (1.5, 6.0):
        there = {"line.length_m": line, **LONG}
        for bait in BAITS:
            yield Row(
                f"largest change of the three, {bait}, {line:g} m of line",
                largest(r for name in MEASURES for r in ratios(name, there, LONG, [bait])), 1.0,
                math.inf, source, OWN, note="Of frequency, yaw and roll amplitude at the tie"
                " points that are tight or balanced.",
            )  # fmt: skip
            yield Row(
                f"depth, {bait}, {line:g} m of line", ran(bait, SHIPPED, there).depth,
                ran(bait, SHIPPED, LONG).depth, math.inf, source, OWN, "m",
            )  # fmt: skip
        yield changed(f"{line:g} m of line", there, LONG, source)


COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#000000")  # Okabe-Ito
MARKERS = ("o", "s", "^", "D", "v")
STYLES = ("-", "--", "-.", ":", (0, (5, 1)))
FLOOR = 1e-7  # differences below are drawn here


@picture(
    "convergence.png",
    "Change of yaw amplitude and frequency against the finest setting (step 0.5 ms, 16 x 16"
    " elements, 48 sections), largest of the tie points of a bait that are tight or balanced; the"
    " horizontal line is what is allowed, the vertical one what is shipped. Changes below"
    f" {FLOOR:g} are drawn there.",
)
def errors() -> Figure:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(8.0, 5.4), layout="constrained")
    axes = figure.subplots(2, 3, sharex="col", sharey=True)
    fixed = LONG
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
                        abs(largest(ratios(name, {**fixed, **s.overrides}, finest, [bait])) - 1.0),
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
