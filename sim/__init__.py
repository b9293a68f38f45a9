"""runtrue: motion of a lipped bait on a retrieve, from its parts to its class.

>>> import sim
>>> cfg = sim.load_config("configs/shallow-runner.toml")
>>> run = sim.simulate(cfg)
>>> run.motion_class
'balanced'
"""

from sim.bait.assembly import Assembly, assemble
from sim.config import Config, config_from_dict, load_config, with_overrides
from sim.errors import ConfigError, RunError, RuntrueError, StoreError
from sim.result import RunResult
from sim.run import simulate
from sim.store import load_run, save_run

__all__ = [
    "Assembly",
    "Config",
    "ConfigError",
    "RunError",
    "RunResult",
    "RuntrueError",
    "StoreError",
    "assemble",
    "config_from_dict",
    "load_config",
    "save_run",
    "load_run",
    "simulate",
    "with_overrides",
]
