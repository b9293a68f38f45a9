"""Cross checks between keys, written so that they also run on a configuration that failed in part.

A rule is a small generator over one table. It reads attributes, from a model or from a
:class:`Partial`, whose attributes raise :class:`Unknown` where the value given was unusable. A rule
that meets an unknown value says nothing: the value has its own message.
"""

import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any, NamedTuple

from pydantic_core import PydanticCustomError

from sim.config.units import unit_of

RULE_ERROR = "config_rule"  # pydantic error type of a failed cross check
RELATIVE = 1e-6  # tolerance of equalities between decimal numbers typed by hand

Key = tuple[str | int, ...]


class Problem(NamedTuple):
    """One failed cross check: key relative to the table of the rule, and what to say."""

    key: Key
    text: str
    show: bool = True  # print the value of the key
    absent: tuple[Key, ...] = ()  # keys whose absence is the problem, relative like ``key``

    def under(self, path: Key) -> "Problem":
        """The same problem with its keys counted from further up."""
        return self._replace(
            key=path + self.key, absent=tuple(path + absent for absent in self.absent)
        )

    def plain(self) -> str:
        """The problem without its value, for errors of hand-built models."""
        return ".".join(map(str, self.key)) + (": " if self.key else "") + self.text


class Unknown(Exception):  # noqa: N818  (a signal between rule and runner, never seen outside)
    """A rule asked for a value that could not be read."""


class Partial:
    """Attribute access to a table of which some values are unusable."""

    def __init__(self, values: Mapping[str, Any]) -> None:
        self._values = values

    def __getattr__(self, key: str) -> Any:
        try:
            return self._values[key]
        except KeyError:
            raise Unknown(key) from None


Rule = Callable[[Any], Iterable[Problem]]


def apply(rules: Iterable[Rule], table: Any) -> list[Problem]:
    """Every problem the rules find in one table (a model or a :class:`Partial`)."""
    found: list[Problem] = []
    for rule in rules:
        try:
            for problem in rule(table):
                found.append(problem)
        except Unknown:
            continue
    return found


def enforce(rules: Iterable[Rule], table: Any) -> None:
    """Raise what the rules find, in the form that pydantic collects."""
    found = apply(rules, table)
    if found:
        text = "; ".join(problem.plain() for problem in found)
        # As a template argument, so that braces in the text stay text.
        raise PydanticCustomError(RULE_ERROR, "{text}", {"text": text})


class Missing:
    """Stands in a list of a :class:`Partial` for an entry that could not be read at all."""

    def __getattr__(self, key: str) -> Any:
        raise Unknown(key)


def number(x: float) -> str:
    """A number as a user would type it."""
    return f"{x:.10g}"


# ---------------------------------------------------------------------------------------- body


def _no_ellipsoid_size(body: Any) -> Iterator[Problem]:
    if body.form != "stations":
        return
    for key in ("height_mm", "width_mm"):
        if getattr(body, key) is not None:
            yield Problem(
                (key,),
                'belongs to form = "ellipsoid" only. Remove it (the stations give the size), or set'
                ' form = "ellipsoid" and remove the stations.',
            )


def _enough_stations(body: Any) -> Iterator[Problem]:
    count = len(body.station)
    if body.form == "stations" and count < 3:
        yield Problem(
            ("station",),
            f"at least 3 stations are needed, {count} given. Add [[bait.body.station]] tables with"
            ' from_nose_mm, upper_mm, lower_mm and half_width_mm, or set form = "ellipsoid".',
            show=False,
            absent=(("station",),),
        )


def _station_order(body: Any) -> Iterator[Problem]:
    if body.form != "stations":
        return
    for index in range(1, len(body.station)):
        try:
            before, here = (body.station[i].from_nose_mm for i in (index - 1, index))
        except Unknown:
            continue
        if here <= before:
            yield Problem(
                ("station", index, "from_nose_mm"),
                f"must be > {number(before)} mm, the station before it. List the stations from the"
                " nose tip to the tail, each one once.",
            )


def _first_station(body: Any) -> Iterator[Problem]:
    if body.form == "stations" and body.station and body.station[0].from_nose_mm != 0:
        yield Problem(
            ("station", 0, "from_nose_mm"),
            "must be 0 mm. The first station is the nose tip; let all stations count from there.",
        )


def _last_station(body: Any) -> Iterator[Problem]:
    if body.form != "stations" or len(body.station) < 2:
        return
    last = body.station[-1].from_nose_mm
    if abs(last - body.length_mm) > RELATIVE * body.length_mm:
        yield Problem(
            ("station", len(body.station) - 1, "from_nose_mm"),
            f"must be {number(body.length_mm)} mm, the length_mm of the body. The last station is"
            " the tail: correct the station or length_mm.",
        )


def _station_size(body: Any) -> Iterator[Problem]:
    if body.form != "stations":
        return
    for index in range(1, len(body.station) - 1):
        try:
            station = body.station[index]
            height, half_width = station.upper_mm + station.lower_mm, station.half_width_mm
        except Unknown:
            continue
        if height <= 0:
            yield Problem(
                ("station", index),
                "upper_mm + lower_mm = 0: must be > 0 mm between nose tip and tail. Give the"
                " section a height; only the first and the last station may be a point.",
                show=False,
            )
        if half_width <= 0:
            yield Problem(
                ("station", index, "half_width_mm"),
                "must be > 0 mm between nose tip and tail. Give half of the width there; only the"
                " first and the last station may be a point.",
            )


def _ellipsoid_form(body: Any) -> Iterator[Problem]:
    if body.form != "ellipsoid":
        return
    for key, what in (("height_mm", "height"), ("width_mm", "width")):
        if getattr(body, key) is None:
            yield Problem(
                (),
                f'missing key "{key}" (greatest {what} of the ellipsoid [mm]), needed with'
                f' form = "ellipsoid". Add "{key} = ..." under [bait.body].',
                show=False,
                absent=((key,),),
            )


def _no_stations(body: Any) -> Iterator[Problem]:
    if body.form == "ellipsoid" and body.station:
        yield Problem(
            ("station",),
            'stations cannot be given with form = "ellipsoid". Remove the [[bait.body.station]]'
            ' tables, or set form = "stations".',
            show=False,
        )


def _ellipsoid_exponent(body: Any) -> Iterator[Problem]:
    if body.form == "ellipsoid" and body.exponent != 2:
        yield Problem(
            ("exponent",),
            'must be 2 with form = "ellipsoid". Remove the key, or describe slab sides with'
            " stations.",
        )


def smallest_dimension_mm(body: Any) -> float:
    """Smallest of length, greatest height and greatest width of a body [mm]."""
    if body.form == "ellipsoid":
        sizes = [body.height_mm, body.width_mm]
    else:
        sizes = [
            max((s.upper_mm + s.lower_mm for s in body.station), default=None),
            max((2 * s.half_width_mm for s in body.station), default=None),
        ]
    if None in sizes:
        raise Unknown("size of the body")
    return float(min(body.length_mm, *sizes))


def _wall(body: Any) -> Iterator[Problem]:
    if body.wall_mm is None:
        return
    most = smallest_dimension_mm(body) / 2
    if 0 < most <= body.wall_mm:
        yield Problem(
            ("wall_mm",),
            f"must be < {number(most)} mm, half of the smallest greatest dimension of the body."
            " Give a thinner wall, or leave the key out for a solid body.",
        )


def _filling(body: Any) -> Iterator[Problem]:
    if body.filling_density_g_cm3 > 0 and body.wall_mm is None:
        yield Problem(
            ("filling_density_g_cm3",),
            "only a hollow body has a filling. Add wall_mm [mm], or remove this key.",
        )


BODY_RULES: tuple[Rule, ...] = (
    _no_ellipsoid_size,
    _enough_stations,
    _station_order,
    _first_station,
    _last_station,
    _station_size,
    _ellipsoid_form,
    _no_stations,
    _ellipsoid_exponent,
    _wall,
    _filling,
)

# --------------------------------------------------------------------------------------- plates


def _polygon(plate: Any) -> Iterator[Problem]:
    count = len(plate.outline_mm)
    if plate.outline != "polygon":
        if count:
            yield Problem(
                ("outline_mm",),
                'corner points are read only with outline = "polygon". Set that, or remove this'
                " key.",
                show=False,
            )
    elif count < 3:
        yield Problem(
            ("outline_mm",),
            f'at least 3 corner points are needed with outline = "polygon", {count} given. Give'
            " outline_mm = [[along, across], ...] in mm, in order around the outline.",
            show=False,
        )


def _polygon_along(plate: Any) -> Iterator[Problem]:
    if plate.outline != "polygon":
        return
    slack = RELATIVE * plate.length_mm
    for index, (along, _) in enumerate(plate.outline_mm):
        if not -slack <= along <= plate.length_mm + slack:
            yield Problem(
                ("outline_mm", index),
                f"along must be from 0 (root) to {number(plate.length_mm)} mm (length_mm). Correct"
                " the point or the length.",
            )


def _polygon_area(plate: Any) -> Iterator[Problem]:
    if plate.outline != "polygon" or len(plate.outline_mm) < 3:
        return
    points = [(float(x), float(y)) for x, y in plate.outline_mm]
    pairs = zip(points, points[1:] + points[:1], strict=True)
    area = abs(sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in pairs)) / 2
    across = [y for _, y in points]
    extent = max(across) - min(across)
    if area <= RELATIVE * plate.length_mm * plate.width_mm:
        yield Problem(
            ("outline_mm",),
            "the corner points enclose no area. List them in order around the outline.",
            show=False,
        )
    elif extent > plate.width_mm * (1 + RELATIVE):
        yield Problem(
            ("outline_mm",),
            f"the corner points span {number(extent)} mm across: must be <="
            f" {number(plate.width_mm)} mm (width_mm). Correct the points or the width.",
            show=False,
        )


PLATE_RULES: tuple[Rule, ...] = (_polygon, _polygon_along, _polygon_area)

# ----------------------------------------------------------------------------------------- bait


def _some_mass(bait: Any) -> Iterator[Problem]:
    parts = [bait.body is not None, bool(bait.ballast)]
    parts.append(bait.bill is not None and bait.bill.density_g_cm3 > 0)
    parts += [plate.density_g_cm3 > 0 for plate in bait.plate]
    parts += [hook.mass_g > 0 for hook in bait.hook]
    if not any(parts):
        yield Problem(
            (),
            "has no part with mass. Add at least one of [bait.body], [bait.bill], [[bait.plate]],"
            " [[bait.ballast]] or [[bait.hook]] with a mass > 0 g.",
            show=False,
            absent=(("body",), ("bill",), ("plate",), ("ballast",), ("hook",)),
        )


def _total_mass(bait: Any) -> Iterator[Problem]:
    if bait.total_mass_g is not None and bait.body is None:
        yield Problem(
            ("total_mass_g",),
            "needs a body, whose density it scales. Add [bait.body], or remove this key and give"
            " the mass of each part.",
            absent=(("body",),),
        )


def _body_density(bait: Any) -> Iterator[Problem]:
    if bait.total_mass_g is None and bait.body is not None and bait.body.density_g_cm3 is None:
        yield Problem(
            ("body",),
            'missing key "density_g_cm3" (density of the body material [g/cm3]). Add it under'
            " [bait.body], or weigh the rigged bait and give bait.total_mass_g [g].",
            show=False,
            absent=(("body", "density_g_cm3"), ("total_mass_g",)),
        )


def _inside(bait: Any) -> Iterator[Problem]:
    if bait.body is not None:
        return
    for index, weight in enumerate(bait.ballast):
        try:
            inside = weight.inside
        except Unknown:
            continue
        if inside:
            yield Problem(
                ("ballast", index, "inside"),
                "a weight cannot sit inside, there is no body. Add [bait.body], or set"
                " inside = false.",
                absent=(("body",), ("ballast", index, "inside")),
            )


BAIT_RULES: tuple[Rule, ...] = (_some_mass, _total_mass, _body_density, _inside)

# -------------------------------------------------------------------------- water, solver, whole


def _water_pair(water: Any) -> Iterator[Problem]:
    pair = ("density_kg_m3", "viscosity_m2_s")
    given = [key for key in pair if getattr(water, key) is not None]
    if len(given) == 1:
        other = pair[1 - pair.index(given[0])]
        yield Problem(
            (given[0],),
            f'needs "{other}" [{unit_of(other)}] beside it. Give both, or remove both and use kind'
            " and temperature_c.",
            absent=((other,),),
        )


WATER_RULES: tuple[Rule, ...] = (_water_pair,)


def _longest(solver: Any) -> Iterator[Problem]:
    if solver.max_duration_s < solver.duration_s:
        least = number(solver.duration_s)
        yield Problem(
            ("max_duration_s",),
            f"must be >= duration_s = {least} s. Set it to {least} for a run that is never"
            " extended, or higher.",
        )


def _output_step(solver: Any) -> Iterator[Problem]:
    step, out = solver.step_ms, solver.output_step_ms
    times = max(round(out / step), 1)
    if abs(out - times * step) > RELATIVE * out:
        yield Problem(
            ("output_step_ms",),
            f"must be a whole multiple of step_ms = {number(step)} ms. Use {number(times * step)}"
            f" or {number((times + 1) * step)} ms, or change step_ms.",
        )


SOLVER_RULES: tuple[Rule, ...] = (_longest, _output_step)


def _line_needs_tie(config: Any) -> Iterator[Problem]:
    if config.line is not None and config.bait.tie is None:
        yield Problem(
            ("bait",),
            "missing table [bait.tie] (the tie point), needed because there is a [line]. Add"
            " [bait.tie] with from_nose_mm and above_centreline_mm, or remove [line].",
            show=False,
            absent=(("bait", "tie"),),
        )


def _line_reaches(config: Any) -> Iterator[Problem]:
    line, start = config.line, config.start
    if line is None or start.depth_m is None:
        return
    heading = math.radians(config.retrieve.heading_deg)
    aside = start.y_m * math.cos(heading) - start.x_m * math.sin(heading)
    apart = math.hypot(line.rod_tip_height_m + start.depth_m, aside)
    # the line reaches for the tie point, which is known only once the bait is put together: the
    # exact check follows then
    body = config.bait.body
    if apart >= line.length_m + (0.0 if body is None else body.length_mm * 1e-3):
        yield Problem(
            ("start", "depth_m"),
            f"puts the bait {number(apart)} m from the path of the rod tip: must be within"
            f" {number(line.length_m)} m of it (line.length_m). Start nearer to that path, lower"
            " line.rod_tip_height_m, or"
            " give a longer line.",
        )


CONFIG_RULES: tuple[Rule, ...] = (_line_needs_tie, _line_reaches)
