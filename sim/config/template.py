"""The commented configuration that a new bait starts from."""

import json
import re
from textwrap import wrap

from sim.config.messages import clean_name, show
from sim.config.models import (
    Build,
    Coefficients,
    Config,
    Limits,
    Loads,
    Solver,
    Start,
    Uncertainty,
)
from sim.errors import ConfigError

_WIDTH = 98

_HEAD = """\
# {name}: one bait on one retrieve.
#
# INVENTED NUMBERS: replace them by your own. This is no tested bait.
#
# Lengths in mm, masses in g, angles in degrees, speeds in m/s: every key ends in its unit.
# from_nose_mm counts from the nose tip toward the tail, above_centreline_mm upward from the
# centreline of the body (negative is below), right_mm to starboard.
# A line that starts with "#" and no space is a setting to switch on: remove the "#". The values
# shown further down are the defaults.

name = "{name}"   # names the result file
note = ""

[bait]
# Weigh the finished bait with its hooks and give the mass here: the body density follows from it.
# Then remove density_g_cm3 below.
#total_mass_g = 8.3

# ---- body: 70 x 20 x 14 mm ------------------------------------------------------------------
[bait.body]
length_mm = 70.0
exponent = 2.0             # section: 2 = ellipse, larger = slab sides
density_g_cm3 = 0.42       # a light hardwood with its paint; weigh a block of yours

# Cross-sections from the nose tip (0) to the tail (length_mm), at least three.
[[bait.body.station]]
from_nose_mm = 0.0
upper_mm = 2.0             # from the centreline up to the back
lower_mm = 2.0             # from the centreline down to the belly
half_width_mm = 1.5        # half of the width

[[bait.body.station]]
from_nose_mm = 5.0
upper_mm = 6.0
lower_mm = 6.0
half_width_mm = 4.5

[[bait.body.station]]
from_nose_mm = 14.0
upper_mm = 8.8
lower_mm = 8.8
half_width_mm = 6.4

[[bait.body.station]]
from_nose_mm = 26.0
upper_mm = 10.0
lower_mm = 10.0
half_width_mm = 7.0

[[bait.body.station]]
from_nose_mm = 42.0
upper_mm = 8.8
lower_mm = 8.8
half_width_mm = 6.0

[[bait.body.station]]
from_nose_mm = 58.0
upper_mm = 5.6
lower_mm = 5.6
half_width_mm = 3.6

[[bait.body.station]]
from_nose_mm = 70.0
upper_mm = 2.2
lower_mm = 2.2
half_width_mm = 1.4

# ---- bill (lip) -----------------------------------------------------------------------------
[bait.bill]
from_nose_mm = 7.0         # where its root leaves the head
above_centreline_mm = -6.0
length_mm = 16.0           # root to tip
width_mm = 20.0
angle_deg = 55.0           # 0 = straight ahead, 90 = straight down
outline = "rounded"        # "square", "rounded", "tapered", "coffin" or "polygon"
thickness_mm = 1.0
density_g_cm3 = 1.20       # polycarbonate sheet
# A bill that is not glued in true; try how much your bait forgives:
right_mm = 0.0
yaw_error_deg = 0.0
roll_error_deg = 0.0

# ---- ballast --------------------------------------------------------------------------------
# Caution: lead is poisonous and many waters restrict it; check the local rules, wash your hands.
[[bait.ballast]]
name = "belly weight"
mass_g = 2.6
from_nose_mm = 27.0
above_centreline_mm = -6.0
density_g_cm3 = 11.34      # lead; sintered tungsten is about 18
inside = true              # false: hangs outside the body

# ---- hooks with their rings -----------------------------------------------------------------
# Caution: cover or take off the hooks while you measure and weigh; they are sharp.
[[bait.hook]]
name = "belly hook"
mass_g = 0.8               # weigh yours: makers differ by a third
from_nose_mm = 28.0        # its hanger
above_centreline_mm = -10.5
hang_mm = 9.0              # its centre of mass below the hanger
drag_area_mm2 = 40.0       # drag coefficient times frontal area, a guess

[[bait.hook]]
name = "tail hook"
mass_g = 0.8
from_nose_mm = 70.0
above_centreline_mm = -1.0
hang_mm = 9.0
drag_area_mm2 = 40.0

# ---- tie point ------------------------------------------------------------------------------
[bait.tie]
from_nose_mm = 3.0
above_centreline_mm = -5.0
right_mm = 0.0             # bend the eye: positive to starboard

# ---- line and retrieve ----------------------------------------------------------------------
[line]
length_m = 3.0
diameter_mm = 0.28
modulus_gpa = 2.0          # nylon; braid 30 to 80
rod_tip_height_m = 0.0     # above the surface

[retrieve]
mode = "tow"               # "tow": rod tip moves; "reel": rod tip still, line shortens
speed_m_s = 1.0
ramp_s = 0.0               # time from rest to full speed
heading_deg = 0.0

[water]
kind = "fresh"             # or "sea"
temperature_c = 15.0
current_m_s = 0.0
current_toward_deg = 0.0

# ---- the rest may stay as it is -------------------------------------------------------------
"""


def _defaults(key: str, model: type) -> str:
    """A table shown commented out, one setting a line, from the schema itself."""
    lines = [f"# {line}" for line in wrap(str(Config.model_fields[key].description), _WIDTH)]
    lines.append(f"#[{key}]")
    for name, field in model.model_fields.items():  # type: ignore[attr-defined]
        default = field.get_default(call_default_factory=True)
        if default is None:
            lines += [f"# {line}" for line in wrap(f"{name}: {field.description}", _WIDTH)]
            continue
        shown = json.dumps(default) if not isinstance(default, bool) else str(default).lower()
        setting = f"#{name} = {shown}"
        text = str(field.description).rstrip(".")
        if len(setting) + len(text) + 4 <= 100:
            lines.append(f"{setting}  # {text}")
        else:
            lines += [f"# {line}" for line in wrap(text + ":", _WIDTH)]
            lines.append(setting)
    return "\n".join(lines) + "\n"


def starting_config(name: str) -> str:
    """Text of a commented TOML file with an invented 70 mm bait, ready to be changed.

    Parameters
    ----------
    name : str
        Name of the bait: letters, digits, "-", "_" and ".".

    Raises
    ------
    ConfigError
        For a name that cannot name a file.
    """
    if not re.fullmatch(r"[A-Za-z0-9_][A-Za-z0-9._-]{0,99}", name):
        raise ConfigError(
            f"name {show(name)}: must be letters a to z, digits, - _ and . only, at most 100,"
            f" starting with a letter, digit or _. Try {show(clean_name(name))}."
        )
    tables = {
        "start": Start,
        "solver": Solver,
        "limits": Limits,
        "loads": Loads,
        "coefficients": Coefficients,
        "build": Build,
        "uncertainty": Uncertainty,
    }
    rest = "\n".join(_defaults(key, model) for key, model in tables.items())
    return _HEAD.replace("{name}", name) + "\n" + rest
