"""Studies: one bait run many times, along one or two axes.

:mod:`~sim.studies.study` reads the study file, :mod:`~sim.studies.axes` knows what can be swept.
"""
