"""Plots and PDFs."""
