"""The program's published documents for other programs."""
