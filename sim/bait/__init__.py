"""From the parts of a bait to mass, hydrostatics, added mass and load tables."""
