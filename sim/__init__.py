"""runtrue: motion of a lipped bait on a retrieve, from its parts to its class.

>>> import sim
>>> cfg = sim.load_config("configs/shallow-runner.toml")
>>> run = sim.simulate(cfg)
>>> run.motion_class
'balanced'
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sim.bait.assembly import Assembly, assemble
    from sim.bait.tie_path import TiePath, tie_path
    from sim.captive_loads import CaptiveLoads, captive
    from sim.coefficients import Coefficient, loads_off, sources
    from sim.config import Config, config_from_dict, load_config, with_overrides
    from sim.errors import ConfigError, RunError, RuntrueError, StoreError
    from sim.result import RunResult
    from sim.run import simulate
    from sim.small_motion import Modes, modes
    from sim.store import load_run, save_run
    from sim.trim import Trim, steady_tow

__all__ = [
    "Assembly",
    "CaptiveLoads",
    "Coefficient",
    "Config",
    "ConfigError",
    "Modes",
    "RunError",
    "RunResult",
    "RuntrueError",
    "StoreError",
    "TiePath",
    "Trim",
    "assemble",
    "captive",
    "config_from_dict",
    "load_config",
    "load_run",
    "loads_off",
    "modes",
    "save_run",
    "simulate",
    "sources",
    "steady_tow",
    "tie_path",
    "with_overrides",
]

# Fetched on first use: the compiled kernels take most of a second to import, which `runtrue --help`
# or a complaint about a file need not wait for.
_HOMES = {
    "sim.bait.assembly": ("Assembly", "assemble"),
    "sim.bait.tie_path": ("TiePath", "tie_path"),
    "sim.captive_loads": ("CaptiveLoads", "captive"),
    "sim.coefficients": ("Coefficient", "loads_off", "sources"),
    "sim.config": ("Config", "config_from_dict", "load_config", "with_overrides"),
    "sim.errors": ("ConfigError", "RunError", "RuntrueError", "StoreError"),
    "sim.result": ("RunResult",),
    "sim.run": ("simulate",),
    "sim.small_motion": ("Modes", "modes"),
    "sim.store": ("load_run", "save_run"),
    "sim.trim": ("Trim", "steady_tow"),
}
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names}


def __getattr__(name: str) -> Any:
    home = _HOME_OF.get(name)
    if home is None:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(home), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
