"""Patterns, their editions and sheets."""
