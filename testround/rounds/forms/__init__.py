"""The forms of a round, by subject; each module is imported by its own name."""
