"""Pictures: one style table for all, one module per kind of picture; only these draw."""
