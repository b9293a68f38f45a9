"""Pictures: one style table for all, one module per kind of picture; only these draw."""

SUFFIXES = (".png", ".svg", ".pdf")  # kinds of picture, here so that no drawing need be imported
