"""Who may do what with rounds by the API."""

from __future__ import annotations

import datetime as dt
from functools import cache
from typing import TYPE_CHECKING, Any

from django.core.files.uploadedfile import SimpleUploadedFile
from django.test.client import BOUNDARY, encode_multipart
from django.utils import timezone

from testround.api.v1.examples import invitations as invitations_examples
from testround.rounds.models import Round
from tests.api.rows_shape import Row, row
from tests.reports.pictures import phone_jpeg

if TYPE_CHECKING:
    from tests.test_access import Scene


def _round(scene: Scene) -> tuple[Any, ...]:
    return (scene.round.code,)


def _place(scene: Scene) -> tuple[Any, ...]:
    return (scene.round.code, scene.place.pk)


def _offered(scene: Scene) -> tuple[Any, ...]:
    return (scene.round.code, scene.offered.pk)


def _secret(scene: Scene) -> tuple[Any, ...]:
    return (scene.secret,)


def _to_be_opened(scene: Scene) -> dict[str, Any]:
    return {"edition": scene.edition.pk, "title": "Third test"}


def _candidate(scene: Scene) -> tuple[Any, ...]:
    return (scene.round.code, scene.round.candidates.order_by("pk")[0].pk)


def _call(scene: Scene) -> tuple[Any, ...]:
    return (scene.call,)


def _calling(scene: Scene) -> tuple[Any, ...]:
    return (Round.objects.get(call_code=scene.call).code,)


def _offer(scene: Scene) -> tuple[Any, ...]:
    return (scene.offer_secret,)


def _yarn(scene: Scene) -> tuple[Any, ...]:
    return (scene.round.code, "wool")


def _own(scene: Scene) -> tuple[Any, ...]:
    return (scene.place.pk,)


def _until(scene: Scene) -> dict[str, Any]:
    until = timezone.localdate() + dt.timedelta(days=30)
    return {"what": "finished measurements", "until": until.isoformat()}


def _vacancy(scene: Scene) -> tuple[Any, ...]:
    return (scene.round.code, scene.vacancy.pk)


def _next(scene: Scene) -> dict[str, Any]:
    return {"candidate": scene.vacancy.candidate_id}


def _picture(scene: Scene) -> tuple[Any, ...]:
    return (scene.round.code, scene.pictures[0].code)


def _no_mail(scene: Scene) -> tuple[Any, ...]:
    return (scene.round.code, 0)


@cache
def a_picture() -> bytes:
    """The body of a form of several parts with a picture in it."""
    file = SimpleUploadedFile("IMG_1234.jpg", phone_jpeg(), "image/jpeg")
    return encode_multipart(BOUNDARY, {"photo": file, "shows": "The piece"})


_UNSEEN = {"revision": 0, "seen": "another", "until": "2099-01-01"}
OFFER = {"name": "Rowan", "email": "rowan@example.org", "adult": True, "wishes": ["S"], "own_yarn": True}
ANYBODY = {"others": 200, "signed_out": 200}
CALL_ROWS: dict[str, Row] = {
    "calls_retrieve": row(_calling, designer=200, editor=200),
    "calls_edit": row(_calling, {"given": "The pattern, and wool."}, designer=200, editor=200),
    "calls_standing": row(_calling, designer=200, editor=200),
    "calls_open": row(_calling, designer=200, editor=403),
    "calls_close": row(_calling, designer=200, editor=403),
    "calls_renew": row(_calling, designer=200, editor=403),
    # For whoever has its address, and an offer for whoever has the secret in the mail.
    "calls_read": row(_call, **ANYBODY),
    "offers_make": row(_call, OFFER, others=202, signed_out=202),
    "offers_read": row(_offer, **ANYBODY),
    "offers_edit": row(_offer, {"wishes": ["M"]}, **ANYBODY),
    "offers_confirm": row(_offer, **ANYBODY),
    "offers_withdraw": row(_offer, **ANYBODY),
    "candidates_list": row(_round, designer=200, editor=200),
    "candidates_retrieve": row(_candidate, designer=200, editor=200),
    # They are in reserve.
    "candidates_take_back": row(_candidate, designer=200, editor=200),
}
PLACE_ROWS: dict[str, Row] = {
    "round_places_list": row(_round, designer=200, editor=200),
    "round_places_add": row(_round, {"names": ["Rowan"], "size": "S"}, designer=201, editor=201),
    "round_places_retrieve": row(_place, designer=200, editor=200),
    "round_places_edit": row(_offered, {"name": "Rowan"}, designer=200, editor=200),
    "round_places_give_back": row(_place, {}, designer=200, editor=200),
    # Nobody has given it back.
    "round_places_count": row(_place, {"counts": False}, designer=409, editor=409),
    "invitations_retrieve": row(_offered, designer=200, editor=403),
    "invitations_create": row(_offered, {}, designer=201, editor=403),
    "invitations_withdraw": row(_offered, designer=204, editor=403),
    # For whoever has the link.
    "invitations_read": row(_secret, others=200, signed_out=200),
    # Those two have a place of the round, which gives each person one.
    "invitations_accept": row(_secret, {"agree": True}, others=200, tester=409, other_tester=409),
    "invitations_join": row(_secret, invitations_examples.JOIN, others=200, signed_out=200),
    "invitations_decline": row(_secret, {}, others=200, signed_out=200),
}
PROPOSAL_ROWS: dict[str, Row] = {
    "proposals_retrieve": row(_round, designer=200, editor=200),
    "proposals_save": row(_round, {"revision": 0, "reach": 6}, designer=200, editor=200),
    "proposals_limit": row(_round, {"revision": 0, "offer_days": 9}, designer=200, editor=200),
    # Nobody has seen that one.
    "proposals_accept": row(_round, _UNSEEN, designer=409, editor=403),
    "vacancies_retrieve": row(_round, designer=200, editor=200),
    "vacancies_look": row(_round, designer=200, editor=200),
    "vacancies_invite": row(_vacancy, _next, designer=200, editor=403),
    "vacancies_leave": row(_vacancy, designer=204, editor=403),
}
OWN_PLACE_ROWS: dict[str, Row] = {
    "places_list": row(others=200),
    "places_retrieve": row(_own, tester=200),
    "places_give_back": row(_own, {}, tester=200),
    # They have measured, so that nothing is awaited.
    "places_need_until": row(_own, _until, tester=422),
    "places_time": row(_own, tester=200),
    "places_news": row(_own, tester=200),
    "worksheets_retrieve": row(_own, tester=200),
    "worksheets_print": row(_own, tester=200),
}
COURSE_ROWS: dict[str, Row] = {
    "courses_retrieve": row(_round, designer=200, editor=200),
    "mails_list": row(_round, designer=200, editor=200),
    # Every mail arrived.
    "mails_send": row(_no_mail),
    "mails_leave": row(_no_mail),
    "pictures_list": row(_round, designer=200, editor=200),
    "pictures_add": row(_round, lambda scene: a_picture(), designer=201, editor=201),
    "pictures_retrieve": row(_picture, designer=200, editor=200),
    "pictures_remove": row(_picture, designer=204, editor=204),
}
ROUND_ROWS: dict[str, Row] = {
    "rounds_list": row(others=200),
    # To others there is no such edition.
    "rounds_open": row(body=_to_be_opened, others=422, designer=201, editor=201),
    "rounds_retrieve": row(_round, designer=200, editor=200),
    "rounds_edit": row(_round, {"title": "First test, again"}, designer=200, editor=200),
    "rounds_move": row(_round, {"state": "measuring"}, designer=200, editor=200),
    "diary_list": row(_round, designer=200, editor=200),
    "yarns_list": row(_round, designer=200, editor=200),
    "yarns_supply": row(_round, {"label": "Silk"}, designer=201, editor=201),
    "yarns_retrieve": row(_yarn, designer=200, editor=200),
    "yarns_edit": row(_yarn, {"label": "Silk"}, designer=200, editor=200),
    "yarns_withdraw": row(_yarn, designer=204, editor=204),
    # An onlooker sees it, and a tester where the designer shows it, which she does not here.
    "standings_retrieve": row(_round, designer=200, editor=200, onlooker=200),
    "nudges_due": row(_round, designer=200, editor=200),
    # Nothing is awaited from them.
    "nudges_send": row(_place, {"text": "Hello?"}, designer=409, editor=409),
    **PLACE_ROWS,
    **OWN_PLACE_ROWS,
    **PROPOSAL_ROWS,
    **COURSE_ROWS,
    **CALL_ROWS,
}
