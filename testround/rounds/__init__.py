"""Rounds, places, candidates and the diary."""
