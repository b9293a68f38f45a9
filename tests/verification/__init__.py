"""The program against the outside: one table of quantities, and the figures beside it.

``python -m tests.verification`` runs the suite and rewrites docs/verification.md and
docs/assumptions.md.
"""
