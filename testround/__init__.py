"""Test rounds for knitting and crochet patterns."""

__version__ = "0.1.0"
