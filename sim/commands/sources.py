"""``runtrue sources``: where every number comes from."""

from __future__ import annotations

from sim import terminal
from sim.commands.inputs import load_settings, warn
from sim.terminal import ConfigFile, JsonOption, QuietOption, SetOption, epilog

EXAMPLES = epilog(
    "runtrue sources pike.toml",
    "runtrue sources pike.toml --set coefficients.side_force_shift=0.05",
)


def sources(
    config: ConfigFile,
    set_: SetOption = None,
    quiet: QuietOption = False,
    json_: JsonOption = False,
) -> None:
    """Tell where every number comes from, and how far it is known.

    Lists the loads that act on the bait with their coefficients: value, source, the key that
    changes it, and a status. Below stand the loads that are off, with the reason.

    A value was read in its source, read in a copy that quotes it, computed, written from memory
    (with the confidence), fitted, assumed (nothing published), given by the configuration, or is a
    convention (steps, elements, limits of the classes).

    Every value has its unit beside it, that of the configuration: mm, g, degrees. Nothing is
    written.
    """
    settings = load_settings(config, set_)
    from sim.coefficients import loads_off
    from sim.coefficients import sources as find
    from sim.report.sources import sources_document, sources_summary
    from sim.report.text import to_json

    with terminal.Watch(settings.name or "sources", quiet=quiet):
        active, off = find(settings), loads_off(settings)
    if json_:
        terminal.emit(to_json(sources_document(active, off)))
    else:
        terminal.show(sources_summary(settings, active, off))
    warn(settings, quiet=quiet)
