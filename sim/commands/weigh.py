"""``runtrue weigh``: the answers of bench and bath tub."""

from __future__ import annotations

from sim import terminal
from sim.commands.inputs import load_settings, warn
from sim.terminal import ConfigFile, JsonOption, QuietOption, SetOption, epilog

EXAMPLES = epilog(
    "runtrue weigh pike.toml",
    "runtrue weigh pike.toml --set bait.ballast.0.mass_g=3.2",
)


def weigh(
    config: ConfigFile,
    set_: SetOption = None,
    quiet: QuietOption = False,
    json_: JsonOption = False,
) -> None:
    """Give the answers of bench and bath tub.

    Parts, mass and balance, how it floats, how fast it rises or sinks, added mass.

    Masses are in g, positions in mm from the nose tip (aft positive) and above the centreline,
    volumes in cm3, speeds in m/s, the added mass in g, g mm and g mm2 about the centre of gravity.
    Nothing is written.
    """
    settings = load_settings(config, set_)
    from sim.bait.assembly import assemble
    from sim.hydrostatics import rest, terminal_speed
    from sim.report.text import to_json
    from sim.report.weigh import weigh_document, weigh_summary

    with terminal.Watch(settings.name or "weigh", quiet=quiet):
        bait = assemble(settings)
        answers = (settings, bait, rest(settings, bait), terminal_speed(settings))
    if json_:
        terminal.emit(to_json(weigh_document(*answers)))
    else:
        terminal.show(weigh_summary(*answers))
    warn(settings, quiet=quiet)
