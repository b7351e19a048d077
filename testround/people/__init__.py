"""Accounts, preferences and who may see what."""
