"""Programs that come without HTTPS are told so. Led on to it, they would send their token in the clear for ever."""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _

from testround.api.errors import PREFIX
from testround.api.problems import IN_THE_CLEAR, problem_response


class NotInTheClear:
    """Refuses requests to the API by HTTP where all else is led on to HTTPS."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if settings.SECURE_SSL_REDIRECT and not request.is_secure() and request.path.startswith(PREFIX):
            said = _(
                "This came in the clear, and is answered by https alone. A token that was sent may have been read on "
                "its way: revoke it, make another, and mend the address in your program."
            )
            return problem_response(request, IN_THE_CLEAR, said)
        return self.get_response(request)
