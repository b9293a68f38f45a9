"""Commands that are more than a few lines: what a user types, and which exit code comes back."""
