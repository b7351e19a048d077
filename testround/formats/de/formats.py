"""As in English, the day with its stop: 5. August 2026."""

DATE_FORMAT = "j. F Y"
DATETIME_FORMAT = "j. F Y, H:i"
MONTH_DAY_FORMAT = "j. F"
TIME_FORMAT = "H:i"
SHORT_DATE_FORMAT = "j. M Y"
SHORT_DATETIME_FORMAT = "j. M Y, H:i"
SHORT_MONTH_DAY_FORMAT = "j. M"
