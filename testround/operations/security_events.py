"""Security events that no room of ours is asked about: what the libraries tell by signals, and refusals in answers.

The events and the line that each becomes are in `testround.security`, which the rooms below call themselves.
"""

from __future__ import annotations

import logging
from typing import Any

from allauth.account.signals import (
    authentication_step_completed,
    email_added,
    email_changed,
    email_confirmed,
    email_removed,
    login_code_rejected,
    password_changed,
    password_reset,
    password_set,
    user_signed_up,
)
from allauth.mfa.signals import authenticator_added, authenticator_removed
from django.contrib.auth.signals import user_logged_in, user_logged_out
from django.dispatch import receiver
from django.http import HttpRequest, HttpResponse
from django.views.csrf import csrf_failure as page_of_csrf_failure

from testround.logs import route_of
from testround.people.models import User
from testround.security import Event, account_of, done, refused

# -- signing in and out ------------------------------------------------------------------------------------


@receiver(authentication_step_completed)
def _step(
    user: User,
    method: str,
    type: str = "",
    reauthenticated: bool = False,
    passwordless: bool = False,
    **_: Any,
) -> None:
    event = Event.FIRST_FACTOR_PASSED
    if reauthenticated:
        event = Event.REAUTHENTICATED
    elif method == "mfa" and not passwordless:
        event = Event.SECOND_FACTOR_PASSED
    done(event, account=user.pk, method=str(type or method))


@receiver(user_logged_in)
def _signed_in(user: User, **_: Any) -> None:
    done(Event.SIGNED_IN, account=user.pk)


@receiver(user_logged_out)
def _signed_out(request: HttpRequest | None, user: User | None, **_: Any) -> None:
    if user is not None:
        why = "lasted" if getattr(request, "session_has_lasted", False) else "asked"
        done(Event.SIGNED_OUT, account=user.pk, reason=why)


@receiver(login_code_rejected)
def _code_rejected(user: User, **_: Any) -> None:
    refused(Event.SIGN_IN_FAILED, account=user.pk, method="code")


# -- what an account is opened with ------------------------------------------------------------------------


@receiver(user_signed_up)
def _made(user: User, **_: Any) -> None:
    done(Event.ACCOUNT_MADE, account=user.pk)


@receiver([password_changed, password_set])
def _password_is_new(user: User, **_: Any) -> None:
    done(Event.PASSWORD_CHANGED, account=user.pk)


@receiver(password_reset)
def _password_was_forgotten(user: User, **_: Any) -> None:
    done(Event.PASSWORD_CHANGED, account=user.pk, reason="forgotten")


@receiver(email_added)
def _address_added(user: User, **_: Any) -> None:
    done(Event.ADDRESS_CHANGED, account=user.pk, change="added")


@receiver(email_removed)
def _address_removed(user: User, **_: Any) -> None:
    done(Event.ADDRESS_CHANGED, account=user.pk, change="removed")


@receiver(email_changed)
def _address_changed(user: User, **_: Any) -> None:
    done(Event.ADDRESS_CHANGED, account=user.pk, change="chosen")


@receiver(email_confirmed)
def _address_confirmed(email_address: Any, **_: Any) -> None:
    done(Event.ADDRESS_CHANGED, account=email_address.user_id, change="confirmed")


@receiver(authenticator_added)
def _factor_added(user: User, authenticator: Any, **_: Any) -> None:
    done(Event.FACTOR_ADDED, account=user.pk, kind=str(authenticator.type))


@receiver(authenticator_removed)
def _factor_removed(user: User, authenticator: Any, **_: Any) -> None:
    done(Event.FACTOR_REMOVED, account=user.pk, kind=str(authenticator.type))


# -- refusals ----------------------------------------------------------------------------------------------


def answer_note(request: HttpRequest, response: HttpResponse) -> None:
    """Note an answer by which somebody was refused something: 403, 429, and 404 where a view has decided it.

    A view answers 404 for what there is not and for what somebody may not know of, alike; it may be an old link.
    """
    if getattr(response, "is_noted", False):
        return
    said = {"account": account_of(request), "route": route_of(request), "status": response.status_code}
    match response.status_code:
        case 403:
            refused(Event.ACCESS_REFUSED, **said)
        case 404 if request.resolver_match is not None:
            refused(Event.ACCESS_REFUSED, level=logging.INFO, **said)
        case 429:
            refused(Event.THROTTLED, **said)


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """Django's answer to a form that did not come from a page of ours, noted as what it is."""
    refused(Event.FORGED_REQUEST, account=account_of(request), route=route_of(request))
    response = page_of_csrf_failure(request, reason=reason)
    response.is_noted = True
    return response
