"""The WSGI application that gunicorn serves."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "testround.settings")
application = get_wsgi_application()

# The program's own modules want the settings, so that they come after.
from testround.settled import settle  # noqa: E402

settle()
