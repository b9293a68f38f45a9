"""The commands, a module for each; what they share is in ``inputs`` and ``sim.terminal``."""
