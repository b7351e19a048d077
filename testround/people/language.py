"""In which language the program speaks to whom."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils import translation
from django.utils.cache import patch_vary_headers

from testround.people.context import reader_for
from testround.people.models import User


class ReadersLanguage:
    """Speaks the language that the reader chose, or else the one that their browser asks for."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        language = _spoken(reader_for(request).language) or translation.get_language_from_request(request)
        with translation.override(language):
            response = self.get_response(request)
        response.headers.setdefault("Content-Language", language)
        patch_vary_headers(response, ("Accept-Language",))
        return response


@contextmanager
def speaking(language: str) -> Iterator[None]:
    """What is said inside is said in the language of this code; in the present one where it is not spoken here."""
    language = _spoken(language)
    if not language:
        yield
        return
    with translation.override(language):
        yield


@contextmanager
def speaking_to(person: User | None) -> Iterator[None]:
    """What is said inside is said in the language that this person chose; in the present one where they have not."""
    with speaking(person.language if person is not None else ""):
        yield


@contextmanager
def speaking_to_address(email: str) -> Iterator[None]:
    """The same for whoever reads the mail of an address, where they have an account."""
    with speaking_to(User.objects.filter(email__iexact=email).first() if email else None):
        yield


def _spoken(language: str) -> str:
    """The language, unless this program does not speak it."""
    return language if language in dict(settings.LANGUAGES) else ""
