"""Checks of the physics against published values and closed forms."""
