"""Settings of the commands on a round file: they know no database, no mail and no people, and start at once."""

INSTALLED_APPS = ["testround.paper"]
USE_I18N = False
