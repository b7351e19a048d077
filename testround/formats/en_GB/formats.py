"""Months in full: 5 August 2026."""

DATE_FORMAT = "j F Y"
DATETIME_FORMAT = "j F Y, H:i"
MONTH_DAY_FORMAT = "j F"
TIME_FORMAT = "H:i"
