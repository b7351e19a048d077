from __future__ import annotations

from django.conf import settings
from django.http import HttpRequest

from testround.people.readers import Reader, reader_from, reader_of

SESSION_KEY = "shown"


def reader(request: HttpRequest) -> dict[str, object]:
    """Every template knows who reads, whether there is a mail folder to link to, and whom to ask where nobody here can help."""
    return {
        "reader": reader_for(request),
        "mail_folder_shown": settings.EMBEDDED and not settings.EMAIL_HOST,
        "operator_mail": settings.OPERATOR_MAIL,
    }


def reader_for(request: HttpRequest) -> Reader:
    """The choices of the signed-in person, else those kept in the session."""
    user = getattr(request, "user", None)
    if user is not None and user.is_authenticated:
        return reader_of(user)
    session = getattr(request, "session", None)
    return reader_from(session.get(SESSION_KEY) if session is not None else None)
