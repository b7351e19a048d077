"""Template tags that show values in the reader's own choices."""
