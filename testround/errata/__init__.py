"""Findings kept, the errata desk, and published errata."""
