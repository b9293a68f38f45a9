"""Configuration: TOML text to checked, frozen objects in the units of the file."""

from sim.config.load import (
    config_digest,
    config_from_dict,
    json_schema,
    load_config,
    parse_override,
    resolved_json,
    with_overrides,
)
from sim.config.models import Config
from sim.config.template import starting_config

__all__ = [
    "Config",
    "config_digest",
    "config_from_dict",
    "json_schema",
    "load_config",
    "parse_override",
    "resolved_json",
    "starting_config",
    "with_overrides",
]
