"""The pages of a round, by subject."""
