"""Answers in words and in JSON: functions of their arguments that print nothing and read no file.

Text comes as a rich renderable, which :func:`sim.report.text.as_text` turns into lines.
"""
