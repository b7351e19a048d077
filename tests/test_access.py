"""Who may open what: every address of the program, for everybody who might try.

The table has a row for each named address. An address without a row fails the first test; so does a row
without an address.
"""

from __future__ import annotations

import datetime as dt
import json
import re
import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import urlencode

import pytest
from allauth.account.models import EmailAddress
from django.apps import apps
from django.contrib import admin
from django.core import mail
from django.core.cache import cache
from django.db import transaction
from django.http import HttpResponse
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils import timezone

from testround.api.models import Token
from testround.errata.models import Erratum
from testround.following.links import confirm_address, leave_address
from testround.following.models import Delivery, Follower, Webhook
from testround.following.signing import new_secret
from testround.outbox.letters import letter, to_data
from testround.outbox.mail import message_of
from testround.outbox.mailbox import FolderBackend, mails
from testround.outbox.models import Mail
from testround.outbox.stopping import stop_address
from testround.patterns.models import Edition, Membership, Pattern
from testround.people.models import User
from testround.reports.call_pictures import picture_add, picture_encode
from testround.reports.exchange import round_import
from testround.reports.models import CallPicture, Photo
from testround.reports.photos import photo_add, photo_encode
from testround.rounds.models import Candidate, Place, Round, Vacancy
from testround.rounds.services import call_open, invitation_create, place_add, round_open, secret_hash
from testround.rounds.services.dates import until_address
from testround.talk.models import Question
from testround.talk.services import calendar_renew, question_ask
from tests.api.programs import operations
from tests.errata.conftest import round_document
from tests.reports.pictures import phone_jpeg
from tests.rounds.calls import WREN, offer, written

ROLES = (
    "signed out",
    "stranger",
    "other tester",
    "tester",
    "designer",
    "other designer",
    "editor",
    "onlooker",
)
SIGN_IN = "sign in"
AWAY = "elsewhere"
# Nobody but those in the round may learn that there is such a thing.
HUSHED = "Hushed Cardigan"

Answer = int | str
# Our tables that the admin shows.
OURS = [
    model
    for model in apps.get_models()
    if model.__module__.startswith("testround.") and admin.site.is_registered(model)
]


@dataclass(frozen=True)
class Access:
    """What a GET answers to each role, in their order, and who may send something there."""

    get: tuple[Answer, ...]
    senders: frozenset[str] = frozenset()


def access(*get: Answer, editor: Answer, onlooker: Answer, senders: str = "") -> Access:
    """A row; who has a part in the pattern beside its designer is named, so that nobody forgets them."""
    answers = (*get, editor, onlooker)
    assert len(answers) == len(ROLES)
    return Access(answers, frozenset(role.strip() for role in senders.split(",") if role))


ALL_SIGNED_IN = ", ".join(ROLES[1:])

# Pages to read
ANYONE = access(200, 200, 200, 200, 200, 200, editor=200, onlooker=200)
SIGNED_IN = access(SIGN_IN, 200, 200, 200, 200, 200, editor=200, onlooker=200)
# Of those who run a round: its designer and the editor of the pattern.
DESIGNER = access(SIGN_IN, 404, 404, 404, 200, 404, editor=200, onlooker=404)
TESTER = access(SIGN_IN, 404, 404, 200, 404, 404, editor=404, onlooker=404)
BOTH = access(SIGN_IN, 404, 404, 200, 200, 404, editor=200, onlooker=404)
HEARD = access(SIGN_IN, 404, 200, 200, 200, 404, editor=200, onlooker=404)
# How a round stands: an onlooker sees it, and a tester where the designer shows it, which she does not here.
STANDING = access(SIGN_IN, 404, 404, 404, 200, 404, editor=200, onlooker=200)
NOBODY = access(404, 404, 404, 404, 404, 404, editor=404, onlooker=404)
# Pages with a form
DESIGNERS_FORM = access(
    SIGN_IN, 404, 404, 404, 200, 404, editor=200, onlooker=404, senders="designer, editor"
)
# What an editor is told not to do, as it is the owner's: inviting, publishing, giving away.
OWNERS_FORM = access(SIGN_IN, 404, 404, 404, 200, 404, editor=403, onlooker=404, senders="designer")
TESTERS_FORM = access(SIGN_IN, 404, 404, 200, 404, 404, editor=404, onlooker=404, senders="tester")
SIGNED_IN_FORM = access(SIGN_IN, 200, 200, 200, 200, 200, editor=200, onlooker=200, senders=ALL_SIGNED_IN)
ANYONES_FORM = access(200, 200, 200, 200, 200, 200, editor=200, onlooker=200, senders=", ".join(ROLES))
# Buttons: nothing to read at that address
DESIGNERS_BUTTON = access(405, 405, 405, 405, 405, 405, editor=405, onlooker=405, senders="designer, editor")
OWNERS_BUTTON = access(405, 405, 405, 405, 405, 405, editor=405, onlooker=405, senders="designer")
NOBODYS_BUTTON = access(405, 405, 405, 405, 405, 405, editor=405, onlooker=405)
SIGNED_IN_BUTTON = access(405, 405, 405, 405, 405, 405, editor=405, onlooker=405, senders=ALL_SIGNED_IN)
ANYONES_BUTTON = access(405, 405, 405, 405, 405, 405, editor=405, onlooker=405, senders=", ".join(ROLES))
DESIGNERS_BUTTON_BEHIND = access(
    SIGN_IN, 405, 405, 405, 405, 405, editor=405, onlooker=405, senders="designer, editor"
)
TESTERS_BUTTON_BEHIND = access(SIGN_IN, 405, 405, 405, 405, 405, editor=405, onlooker=405, senders="tester")
SIGNED_IN_BUTTON_BEHIND = access(
    SIGN_IN, 405, 405, 405, 405, 405, editor=405, onlooker=405, senders=ALL_SIGNED_IN
)
# Pages of accounts, by the library; who may send is the library's matter
ACCOUNT_OPEN = ANYONES_FORM
ACCOUNT_NEWCOMER = access(
    200, AWAY, AWAY, AWAY, AWAY, AWAY, editor=AWAY, onlooker=AWAY, senders=", ".join(ROLES)
)
ACCOUNT_OWN = SIGNED_IN_FORM
ACCOUNT_ELSEWHERE = access(SIGN_IN, AWAY, AWAY, AWAY, AWAY, AWAY, editor=AWAY, onlooker=AWAY)
NOTHING_OF_THAT = access(SIGN_IN, 404, 404, 404, 404, 404, editor=404, onlooker=404)

TABLE: dict[str, Access] = {
    # home
    "home": ANYONE,
    "mailbox": ANYONE,
    "mail_html": ANYONE,
    "parts": NOBODY,
    "round_export": DESIGNER,
    # for who answers for the server, and for machines: metrics are for an embedded installation's own machine here
    "health": ANYONE,
    "ready": ANYONE,
    "metrics": ANYONE,
    "operator": access(SIGN_IN, 404, 404, 404, 404, 404, editor=404, onlooker=404),
    "work_again": NOBODYS_BUTTON,
    "mail_again": NOBODYS_BUTTON,
    "mail_leave": NOBODYS_BUTTON,
    # accounts
    "account_login": ACCOUNT_NEWCOMER,
    "account_logout": access(AWAY, 200, 200, 200, 200, 200, editor=200, onlooker=200),
    "account_inactive": ANYONE,
    "account_signup": ACCOUNT_NEWCOMER,
    "account_reauthenticate": ACCOUNT_OWN,
    "account_email": ACCOUNT_OWN,
    "account_email_verification_sent": ANYONE,
    "account_change_password": ACCOUNT_OWN,
    "account_set_password": ACCOUNT_ELSEWHERE,
    "account_reset_password": ACCOUNT_OPEN,
    "account_confirm_login_code": ACCOUNT_ELSEWHERE,
    "account_confirm_email": ANYONE,
    "account_reset_password_from_key_done": ANYONE,
    "account_reset_password_from_key": ANYONE,
    "account_reset_password_done": ANYONE,
    "account_request_login_code": ACCOUNT_NEWCOMER,
    # second factors: one's own; what changes one asks first who it is, and what there is none of is not found
    "mfa_index": SIGNED_IN,
    "mfa_authenticate": ACCOUNT_ELSEWHERE,
    "mfa_reauthenticate": ACCOUNT_ELSEWHERE,
    "mfa_activate_totp": ACCOUNT_ELSEWHERE,
    "mfa_deactivate_totp": NOTHING_OF_THAT,
    "mfa_add_webauthn": ACCOUNT_ELSEWHERE,
    "mfa_login_webauthn": access(SIGN_IN, AWAY, AWAY, AWAY, AWAY, AWAY, editor=AWAY, onlooker=AWAY),
    "mfa_reauthenticate_webauthn": ACCOUNT_ELSEWHERE,
    "mfa_remove_webauthn": ACCOUNT_ELSEWHERE,
    "mfa_edit_webauthn": ACCOUNT_ELSEWHERE,
    "mfa_list_webauthn": access(AWAY, AWAY, AWAY, AWAY, AWAY, AWAY, editor=AWAY, onlooker=AWAY),
    "mfa_recovery_codes": ACCOUNT_ELSEWHERE,
    # people
    "people:preferences": ANYONES_FORM,
    "people:held": SIGNED_IN,
    "people:held_download": SIGNED_IN,
    # Whose it is, and nobody's who sends no password; a designer is told what stands in the way.
    "people:erase": SIGNED_IN_FORM,
    # tokens for other programs: one's own
    "tokens:list": SIGNED_IN_FORM,
    "tokens:revoke": TESTERS_BUTTON_BEHIND,
    # where one is signed in; whoever ends something there is asked first who it is, and only then whose it is
    "people:signed_in": SIGNED_IN,
    "people:session_end": SIGNED_IN_BUTTON,
    "people:sessions_end_others": SIGNED_IN_BUTTON,
    # The last of its room, as whoever presses it is nobody from then on.
    "people:sessions_end_all": SIGNED_IN_BUTTON,
    # mails: who has the signed address may stop them
    "outbox:stop": ANYONES_FORM,
    # patterns
    "patterns:list": SIGNED_IN,
    "patterns:new": SIGNED_IN_FORM,
    "patterns:detail": DESIGNER,
    "patterns:delete": OWNERS_FORM,
    "patterns:sheet": DESIGNERS_FORM,
    "patterns:check": DESIGNERS_BUTTON_BEHIND,
    "patterns:paste": DESIGNERS_BUTTON_BEHIND,
    "patterns:states": DESIGNERS_FORM,
    "patterns:values": DESIGNERS_FORM,
    "patterns:values_file": DESIGNER,
    "patterns:next_edition": DESIGNERS_FORM,
    "patterns:edition_file": DESIGNER,
    # rounds
    "rounds:list": SIGNED_IN,
    "rounds:new": DESIGNERS_FORM,
    "rounds:join": ANYONES_FORM,
    "rounds:give_back": TESTERS_FORM,
    "rounds:until": TESTERS_FORM,
    "rounds:until_by_mail": ANYONES_FORM,
    "rounds:nudge": DESIGNERS_FORM,
    "rounds:mails": DESIGNERS_FORM,
    # who has a part in the pattern: the owner says it, the editor reads it; everybody ends their own
    "rounds:people": access(SIGN_IN, 404, 404, 404, 200, 404, editor=200, onlooker=404, senders="designer"),
    "rounds:person_end": access(
        405, 405, 405, 405, 405, 405, editor=405, onlooker=405, senders="designer, onlooker"
    ),
    # mailed to an address that is none of theirs
    "rounds:person_join": access(200, 410, 410, 410, 410, 410, editor=410, onlooker=410),
    "rounds:standing": STANDING,
    # The call is for whoever has its address; an offer, for whoever has the link in the mail.
    "rounds:call": ANYONES_FORM,
    "rounds:call_sent": ANYONE,
    "rounds:offer": ANYONES_FORM,
    "rounds:offer_confirm": ANYONES_BUTTON,
    "rounds:offer_withdraw": ANYONES_BUTTON,
    "rounds:call_plan": DESIGNERS_FORM,
    "rounds:call_open": OWNERS_BUTTON,
    "rounds:call_close": OWNERS_BUTTON,
    "rounds:call_address": OWNERS_BUTTON,
    "rounds:detail": DESIGNER,
    "rounds:edit": DESIGNERS_FORM,
    "rounds:move": DESIGNERS_FORM,
    "rounds:diary": DESIGNER,
    "rounds:yarns": DESIGNERS_FORM,
    "rounds:yarn_remove": DESIGNERS_BUTTON,
    "rounds:places": DESIGNER,
    "rounds:place_new": DESIGNERS_FORM,
    "rounds:place_edit": DESIGNERS_FORM,
    "rounds:place_give_back": DESIGNERS_FORM,
    "rounds:place_count": DESIGNERS_BUTTON,
    "rounds:invite": OWNERS_FORM,
    "rounds:invite_withdraw": OWNERS_BUTTON,
    "rounds:decline": ANYONES_FORM,
    "rounds:candidates": DESIGNER,
    "rounds:candidate_take_back": DESIGNERS_BUTTON,
    "rounds:proposal": DESIGNERS_FORM,
    "rounds:proposal_accept": OWNERS_FORM,
    "rounds:vacancy_invite": OWNERS_BUTTON,
    "rounds:vacancy_leave": OWNERS_BUTTON,
    # reports
    "reports:places": SIGNED_IN,
    "reports:worker": ANYONE,
    "reports:token": SIGNED_IN,
    "reports:place": TESTER,
    "reports:counting": TESTERS_FORM,
    "reports:counting_events": TESTERS_BUTTON_BEHIND,
    "reports:draft": TESTERS_BUTTON_BEHIND,
    "reports:draft_afresh": TESTERS_BUTTON_BEHIND,
    "reports:timer_start": TESTERS_BUTTON_BEHIND,
    "reports:timer_stop": TESTERS_BUTTON_BEHIND,
    "reports:timer_drop": TESTERS_BUTTON_BEHIND,
    "reports:swatch": TESTERS_FORM,
    "reports:counts": TESTERS_FORM,
    "reports:finished": TESTERS_FORM,
    "reports:finished_question": TESTERS_BUTTON_BEHIND,
    "reports:measure_question": TESTERS_BUTTON_BEHIND,
    "reports:sitting": TESTERS_FORM,
    "reports:remark": TESTERS_FORM,
    "reports:fit": TESTERS_FORM,
    "reports:guess": TESTERS_FORM,
    "reports:yarn": TESTERS_FORM,
    "reports:measures": TESTERS_FORM,
    "reports:photo_new": TESTERS_FORM,
    "reports:consents": TESTERS_FORM,
    "reports:credit": TESTERS_FORM,
    "reports:photo_gone": TESTERS_BUTTON_BEHIND,
    "reports:worksheet": TESTER,
    "reports:worksheet_pdf": TESTER,
    "reports:sent": TESTER,
    "reports:done": TESTERS_BUTTON_BEHIND,
    "reports:of_tester": DESIGNER,
    "reports:round_photos": DESIGNER,
    "reports:photo": BOTH,
    "reports:call_pictures": DESIGNERS_FORM,
    "reports:call_picture_gone": DESIGNERS_BUTTON,
    "reports:call_picture": ANYONE,
    # what is said in a round: all who are in it hear it; private words are for two
    "talk:notes": HEARD,
    "talk:note_new": DESIGNERS_FORM,
    "talk:questions": HEARD,
    "talk:question": HEARD,
    "talk:answer": DESIGNERS_FORM,
    "talk:to_desk": DESIGNERS_BUTTON_BEHIND,
    "talk:ask": TESTERS_FORM,
    "talk:words": access(
        SIGN_IN, 404, 404, 200, 200, 404, editor=404, onlooker=404, senders="tester, designer"
    ),
    "talk:calendar": SIGNED_IN,
    "talk:calendar_renew": SIGNED_IN_BUTTON_BEHIND,
    "talk:calendar_stop": SIGNED_IN_BUTTON_BEHIND,
    # who has the unguessable address
    "talk:feed": ANYONE,
    # errata
    "errata:results": DESIGNER,
    "errata:report": DESIGNER,
    "errata:report_pdf": DESIGNER,
    "errata:findings": DESIGNER,
    "errata:dimension": DESIGNER,
    "errata:gauges": DESIGNER,
    "errata:amounts": DESIGNER,
    "errata:desk": DESIGNER,
    "errata:accept": DESIGNERS_BUTTON,
    "errata:decline": DESIGNERS_BUTTON,
    "errata:wait": DESIGNERS_BUTTON,
    # What to ask about is chosen on the desk.
    "errata:ask": access(SIGN_IN, 404, 404, 404, AWAY, 404, editor=403, onlooker=404, senders="designer"),
    "errata:undo_remark": DESIGNERS_BUTTON,
    "errata:undo": DESIGNERS_BUTTON,
    "errata:from_remarks": DESIGNERS_BUTTON,
    "errata:merge": DESIGNERS_BUTTON,
    "errata:next_edition": DESIGNERS_BUTTON,
    "errata:draft": DESIGNERS_FORM,
    "errata:preview": DESIGNER,
    "errata:publish": OWNERS_BUTTON,
    "errata:complete": DESIGNERS_BUTTON,
    "errata:compare": DESIGNERS_FORM,
    "errata:discard": DESIGNERS_BUTTON,
    "errata:list": ANYONE,
    "errata:pdf": ANYONE,
    "errata:document": ANYONE,
    "errata:erratum": ANYONE,
    # following: anyone asks, and who has the signed address of a mail says yes or leaves
    "following:follow": ANYONES_FORM,
    "following:asked": ANYONE,
    "following:confirm": ANYONES_FORM,
    "following:leave": ANYONES_FORM,
    "errata:erratum_text": ANYONE,
    "errata:edition": ANYONE,
    "errata:feed": ANYONE,
    "errata:text": ANYONE,
    "errata:embed": ANYONE,
    # how readers hear of errata: the owner says it, the editor reads it
    "errata:readers": access(SIGN_IN, 404, 404, 404, 200, 404, editor=200, onlooker=404, senders="designer"),
    "errata:release": OWNERS_BUTTON,
    # how many follow is for who runs the pattern; where errata are posted, for who publishes them
    "following:pattern": access(
        SIGN_IN, 404, 404, 404, 200, 404, editor=200, onlooker=404, senders="designer"
    ),
    "following:webhook": access(SIGN_IN, 404, 404, 404, 200, 404, editor=404, onlooker=404),
    "following:webhook_test": OWNERS_BUTTON,
    "following:webhook_secret": OWNERS_BUTTON,
    "following:webhook_pause": OWNERS_BUTTON,
    "following:webhook_resume": OWNERS_BUTTON,
    "following:webhook_remove": OWNERS_BUTTON,
    "following:delivery_again": OWNERS_BUTTON,
    # api
    "api:schema": ANYONE,
    "api:openapi": ANYONE,
    "api:documentation": ANYONE,
    "api:subject": ANYONE,
}


def named_addresses(resolver: URLResolver | None = None, spaces: tuple[str, ...] = ()) -> Iterator[str]:
    """The full name of every address but those of the admin, which has a test of its own."""
    for entry in (resolver or get_resolver()).url_patterns:
        if isinstance(entry, URLResolver):
            if entry.namespace != "admin":
                yield from named_addresses(entry, (*spaces, entry.namespace) if entry.namespace else spaces)
        else:
            assert isinstance(entry, URLPattern)
            yield ":".join((*spaces, entry.name or f"without a name: {entry.pattern}"))


@dataclass(frozen=True)
class Scene:
    """A round with a tester, another one, an open place, a photo, a draft and a published erratum."""

    round: Round
    edition: Edition
    place: Place
    offered: Place
    vacancy: Vacancy
    photo: Photo
    draft: Erratum
    secret: str
    call: str
    offer_secret: str
    pictures: tuple[CallPicture, CallPicture]
    member_secret: str
    onlookers: Membership
    question: Question
    calendar: str
    follower: Follower
    delivery: Delivery
    token: Token
    clients: dict[str, Client]

    def addresses(self) -> dict[str, str]:
        """An address for every name of the table, of this round and its objects."""
        code, pattern = self.round.code, self.edition.pattern.code
        place, offered, draft = self.place.pk, self.offered.pk, self.draft.pk
        given: dict[str, tuple[Any, ...]] = {
            "mail_html": (mail_in_the_folder(),),
            "work_again": (1,),
            "mail_again": (1,),
            "mail_leave": (1,),
            "outbox:stop": (stop_address(person_id=self.place.tester_id, kind="reminders").split("/")[-2],),
            "account_confirm_email": ("no-such-key",),
            "account_reset_password_from_key": ("1", "no-such-key"),
            "mfa_remove_webauthn": (1,),
            "mfa_edit_webauthn": (1,),
            "people:session_end": (1,),
            "api:schema": ("round",),
            "api:subject": ("patterns",),
            "errata:dimension": (code, "chest"),
            "errata:erratum": (pattern, 1),
            "following:confirm": (confirm_address(self.follower).split("/")[-2],),
            "following:leave": (leave_address(self.follower).split("/")[-2],),
            "errata:erratum_text": (pattern, 1),
            "errata:edition": (pattern, self.edition.pk),
            "errata:release": (pattern, self.edition.pk),
            "following:delivery_again": (pattern, self.delivery.webhook.key, self.delivery.pk),
            "patterns:check": (pattern, self.edition.pk),
            "patterns:edition_file": (pattern, self.edition.pk),
            "patterns:paste": (pattern, self.edition.pk),
            "patterns:states": (pattern, self.edition.pk),
            "patterns:values": (pattern, self.edition.pk),
            "patterns:values_file": (pattern, self.edition.pk, "csv"),
            "patterns:next_edition": (pattern, self.edition.pk),
            "patterns:sheet": (pattern, self.edition.pk),
            "reports:of_tester": (code, place),
            "reports:photo": (self.photo.code, 320),
            "reports:photo_gone": (place, self.photo.code),
            "reports:finished_question": (place, "chest"),
            "reports:measure_question": (place, "bust"),
            "reports:places": (),
            "reports:worker": (),
            "reports:token": (),
            "reports:call_pictures": (code,),
            "reports:call_picture_gone": (code, self.pictures[0].code),
            "reports:call_picture": (self.pictures[1].code,),
            "reports:round_photos": (code,),
            "round_export": (code,),
            "rounds:give_back": (place,),
            "rounds:invite": (code, offered),
            "rounds:invite_withdraw": (code, offered),
            "rounds:join": (self.secret,),
            "rounds:call": (self.call,),
            "rounds:call_sent": (self.call,),
            "rounds:offer": (self.offer_secret,),
            "rounds:offer_confirm": (self.offer_secret,),
            "rounds:offer_withdraw": (self.offer_secret,),
            "rounds:decline": (self.secret,),
            "rounds:candidate_take_back": (code, self.round.candidates.order_by("pk")[0].pk),
            "rounds:vacancy_invite": (code, self.vacancy.pk),
            "rounds:vacancy_leave": (code, self.vacancy.pk),
            "rounds:nudge": (code, place),
            "rounds:until": (place,),
            "rounds:until_by_mail": (until_address(self.place).split("/")[-2],),
            "rounds:people": (pattern,),
            "rounds:person_end": (pattern, self.onlookers.pk),
            "rounds:person_join": (self.member_secret,),
            "rounds:list": (),
            "rounds:new": (self.edition.pk,),
            "rounds:place_edit": (code, offered),
            "rounds:place_give_back": (code, place),
            "rounds:place_count": (code, place),
            "talk:notes": (code,),
            "talk:note_new": (code,),
            "talk:questions": (code,),
            "talk:question": (code, self.question.pk),
            "talk:answer": (code, self.question.pk),
            "talk:to_desk": (code, self.question.pk),
            "talk:ask": (place,),
            "talk:words": (place,),
            "talk:feed": (self.calendar,),
            "tokens:revoke": (self.token.pk,),
            "rounds:yarn_remove": (code, self.round.yarns.order_by("pk")[0].pk),
        }
        for name in ("detail", "delete"):
            given[f"patterns:{name}"] = (pattern,)
        for name in ("", "_test", "_secret", "_pause", "_resume", "_remove"):
            given[f"following:webhook{name}"] = (pattern, self.delivery.webhook.key)
        for name in ("follow", "asked", "pattern"):
            given[f"following:{name}"] = (pattern,)
        for name in ("list", "pdf", "document", "feed", "text", "embed", "readers", "compare"):
            given[f"errata:{name}"] = (pattern,)
        for name in ("draft", "preview", "publish", "complete", "discard"):
            given[f"errata:{name}"] = (code, draft)
        found = {}
        for name in TABLE:
            if name not in given:
                space = name.partition(":")[0]
                of_space = {"errata": (code,), "rounds": (code,), "reports": (place,)}
                given[name] = of_space.get(space, ())
            found[name] = reverse(name, args=given[name])
        return found


def mail_in_the_folder() -> str:
    """The name of a mail in the folder of an installation without a mail server: the one of this test."""
    if there := mails(most=1):
        return there[0].name
    FolderBackend().send_messages(
        [message_of(Mail(to="a@example.org", letter=to_data(letter("Hello", "…"))))]
    )
    return mails()[0].name


def invited_to(pattern: Pattern, email: str, role: str, user: User | None = None) -> str:
    """The secret of an invitation to a part in a pattern, held already by the person, if one is named."""
    secret = f"let-{role}-in"
    Membership.objects.create(
        pattern=pattern,
        role=role,
        email=email,
        user=user,
        secret_hash=secret_hash(secret if user is None else email),
        invited_by=pattern.owner,
        expires=timezone.now() + dt.timedelta(days=1),
        joined_at=timezone.now() if user else None,
    )
    return secret


@pytest.fixture
def scene(
    designer: User, other_designer: User, tester: User, stranger: User, little_top: dict[str, Any]
) -> Scene:
    cache.clear()
    return scene_among(designer, other_designer, tester, stranger, little_top)


def scene_among(
    designer: User, other_designer: User, tester: User, stranger: User, little_top: dict[str, Any]
) -> Scene:
    """Make the round and all that the table needs, for these people."""
    other_tester = User.objects.create_user("second@example.org", "a-long-password", name="Tester two")
    document = round_document({**little_top, "title": HUSHED}, testers=3)
    document["round"]["yarns"] = [{"key": "wool", "label": "Wool, supplied", "weight": 4, "makers": 2}]
    round_ = round_import(data=json.dumps(document).encode(), owner=designer)
    first, second, _ = round_.places.order_by("pk")
    for place, person in ((first, tester), (second, other_tester)):
        place.tester = person
        place.save(update_fields=["tester"])
    offered = place_add(round=round_, name="Willow", size="S", by=designer)
    _, url = invitation_create(place=offered, by=designer)
    candidate = Candidate.objects.create(round=round_, key="c01", name="Hazel", own_yarn=True, wishes=["S"])
    freed = Place.objects.create(round=round_, key="t98", name="Reed", size="S", state=Place.State.GIVEN_BACK)
    vacancy = Vacancy.objects.create(place=freed, candidate=candidate, size="S")
    photo = photo_add(place=first, data=phone_jpeg())
    photo_encode({"photo": photo.pk})
    erratum = {"pattern": round_.edition.pattern, "edition": round_.edition, "round": round_}
    Erratum.objects.create(
        **erratum, place="Back, step 1", text="Cast on 104.", number=1, published_at=timezone.now()
    )
    # The other designer is one indeed: she has a round of her own.
    round_import(
        data=json.dumps(round_document({**little_top, "title": "Other top"}, testers=1)).encode(),
        owner=other_designer,
    )
    for role in ("editor", "onlooker"):
        person = User.objects.create_user(f"{role}@example.org", "a-long-password", name=role.title())
        invited_to(round_.edition.pattern, person.email, role, user=person)
    # As signing up leaves it; the library would make up for it at the first look otherwise.
    EmailAddress.objects.bulk_create(
        EmailAddress(user=person, email=person.email, primary=True, verified=True)
        for person in User.objects.filter(emailaddress=None).order_by("pk")
    )
    question = question_ask(
        place=first, key=uuid.uuid4(), by=tester, where="Back, step 3", text=f"Which row of the {HUSHED}?"
    )
    editor, onlooker = (User.objects.get(email=f"{role}@example.org") for role in ("editor", "onlooker"))
    clients = {"signed out": Client()}
    for role, person in {
        "stranger": stranger,
        "other tester": other_tester,
        "tester": tester,
        "designer": designer,
        "other designer": other_designer,
        "editor": editor,
        "onlooker": onlooker,
    }.items():
        clients[role] = Client()
        clients[role].force_login(person)
    # It calls for testers with another round, since the first is under way.
    calling = call_open(
        round=written(round_open(edition=round_.edition, by=designer, title="Second test"), designer),
        by=designer,
    )
    return Scene(
        round=round_,
        edition=round_.edition,
        place=first,
        offered=offered,
        vacancy=vacancy,
        photo=Photo.objects.get(pk=photo.pk),
        draft=Erratum.objects.create(**erratum, place="Back, step 3", text="Work 96 rows."),
        secret=url.rstrip("/").rsplit("/", 1)[-1],
        call=str(calling.call_code),
        offer_secret=offer(calling, "hazel@example.org", replace(WREN, yarns=())),
        pictures=(pictured(round_, designer), pictured(calling, designer)),
        member_secret=invited_to(round_.edition.pattern, "nobody-yet@example.org", "editor"),
        onlookers=Membership.objects.get(user=onlooker),
        question=question,
        calendar=calendar_renew(person=tester).token,
        follower=Follower.objects.create(
            pattern=round_.edition.pattern, address="maker@example.org", language="en-gb"
        ),
        delivery=Delivery.objects.create(
            # A name that never leads anywhere (RFC 6761): what is posted there is answered at once.
            webhook=Webhook.objects.create(
                pattern=round_.edition.pattern, url="https://hook.invalid/", secret=new_secret()
            ),
            kind=Delivery.Kind.TEST,
            body="{}",
            state=Delivery.State.DELIVERED,
        ),
        token=Token.objects.create(
            user=tester,
            name="Own program",
            hint="abcd",
            secret_hash="0" * 64,
            scopes=["places:read"],
            expires=timezone.now() + dt.timedelta(days=30),
        ),
        clients=clients,
    )


def pictured(round: Round, by: User) -> CallPicture:
    picture = picture_add(round=round, data=phone_jpeg(), shows="The piece", by=by)
    picture_encode({"picture": picture.pk})
    return CallPicture.objects.get(pk=picture.pk)


def answer_of(response: HttpResponse) -> Answer:
    if response.status_code == 302:
        return SIGN_IN if response.headers["Location"].startswith("/account/login/") else AWAY
    return response.status_code


def of_app(app: str) -> dict[str, Access]:
    return {name: row for name, row in TABLE.items() if app_of(name) == app}


def app_of(name: str) -> str:
    space, colon, _ = name.partition(":")
    return space if colon else "account" if name.startswith(("account_", "mfa_")) else "home"


APPS = sorted({app_of(name) for name in TABLE})


def everything_stored() -> dict[str, list[dict[str, Any]]]:
    """All rows of all our tables, but for what reading leaves behind: an analysis made, and that
    somebody looked."""
    return {
        model._meta.label: list(model.objects.order_by("pk").values())
        for model in apps.get_models()
        if model._meta.label not in ("sessions.Session", "errata.Analysis", "talk.Look", "operations.Act")
    }


def test_every_address_has_its_row() -> None:
    # Of the API's operations each has one in a table of its own.
    of_programs = {address for _name, address, _method in operations()}

    assert sorted(named_addresses()) == sorted([*TABLE, *of_programs])


@pytest.mark.parametrize("app", APPS)
def test_each_role_gets_what_the_table_says_and_reading_changes_nothing(scene: Scene, app: str) -> None:
    before = everything_stored()

    answers = {
        name: tuple(answer_of(client.get(scene.addresses()[name])) for client in scene.clients.values())
        for name in of_app(app)
    }

    assert answers == {name: row.get for name, row in of_app(app).items()}
    assert everything_stored() == before


@pytest.mark.parametrize("app", APPS)
def test_who_is_refused_a_page_does_not_learn_what_is_on_it(scene: Scene, app: str) -> None:
    told = [
        (name, role)
        for name, row in of_app(app).items()
        for (role, client), answer in zip(scene.clients.items(), row.get, strict=True)
        if answer not in (200, AWAY) and HUSHED in client.get(scene.addresses()[name]).text
    ]

    assert told == []


def something_to_send() -> dict[str, str]:
    """Fields that a form of some address would take; the others ignore them."""
    return {
        "key": str(uuid.uuid4()),
        "state": "measuring",
        "cause": "because",
        "title": "Taken over",
        "names": "Intruder",
        "name": "Intruder",
        "email": "intruder@example.org",
        "size": "M",
        "remark": "Was here.",
        "kind": "unclear",
        "hours": "2",
        "label": "9.9",
        "text": "Was here.",
        "place": "Anywhere",
        "reason": "because",
        "finding": "printed-count:back_sts",
        "weight": "4",
        "metres": "100",
        "grams": "50",
        "agree": "on",
    }


@pytest.mark.parametrize("app", [app for app in APPS if app != "account"])
def test_what_is_sent_by_who_may_not_is_refused_and_changes_nothing(scene: Scene, app: str) -> None:
    before = everything_stored()
    taken = []

    for name, row in of_app(app).items():
        for role, client in scene.clients.items():
            if role in row.senders:
                continue
            answer = answer_of(client.post(scene.addresses()[name], something_to_send()))
            if answer not in (SIGN_IN, 403, 404, 405, 410):
                taken.append((name, role, answer))

    assert taken == []
    assert everything_stored() == before
    assert mail.outbox == []


@pytest.mark.parametrize("app", [app for app in APPS if app != "account"])
def test_what_is_sent_by_who_may_is_answered_in_the_way_of_forms(scene: Scene, app: str) -> None:
    strange = []

    for name, row in of_app(app).items():
        for role in sorted(row.senders):
            # As if it had not been sent, so that the next one finds everything as it was.
            with transaction.atomic():
                response = scene.clients[role].post(scene.addresses()[name], something_to_send())
                transaction.set_rollback(True)
            if answer_of(response) not in (200, AWAY, 422):
                strange.append((name, role, answer_of(response)))

    assert strange == []


# -- the right door and the wrong object ---------------------------------------------------------------------


def test_the_code_of_ones_own_round_opens_nothing_of_anothers(scene: Scene, other_designer: User) -> None:
    own = Round.objects.get(edition__pattern__owner=other_designer)
    with_object = {
        "rounds:place_edit": scene.place.pk,
        "rounds:place_give_back": scene.place.pk,
        "rounds:place_count": scene.place.pk,
        "rounds:invite": scene.offered.pk,
        "rounds:invite_withdraw": scene.offered.pk,
        "rounds:candidate_take_back": scene.round.candidates.get().pk,
        "rounds:vacancy_invite": scene.vacancy.pk,
        "rounds:vacancy_leave": scene.vacancy.pk,
        "rounds:yarn_remove": scene.round.yarns.get().pk,
        "reports:call_picture_gone": scene.pictures[0].code,
        "reports:of_tester": scene.place.pk,
        "talk:question": scene.question.pk,
        "talk:answer": scene.question.pk,
        "talk:to_desk": scene.question.pk,
        "errata:draft": scene.draft.pk,
        "errata:preview": scene.draft.pk,
        "errata:publish": scene.draft.pk,
        "errata:complete": scene.draft.pk,
        "errata:discard": scene.draft.pk,
    }
    before = everything_stored()

    answers = answers_to_own(
        scene.clients["other designer"],
        {name: reverse(name, args=[own.code, pk]) for name, pk in with_object.items()},
    )

    assert {name: answer for name, answer in answers.items() if not answer <= {404, 405}} == {}
    assert everything_stored() == before


def test_the_code_of_ones_own_pattern_opens_no_edition_of_anothers(
    scene: Scene, other_designer: User
) -> None:
    own = other_designer.patterns.get()
    pages = ("sheet", "check", "paste", "states", "values", "next_edition", "edition_file")
    before = everything_stored()

    answers = answers_to_own(
        scene.clients["other designer"],
        {page: reverse(f"patterns:{page}", args=[own.code, scene.edition.pk]) for page in pages},
    )

    assert {page: answer for page, answer in answers.items() if not answer <= {404, 405}} == {}
    assert everything_stored() == before


def test_the_code_of_ones_own_pattern_opens_no_address_that_anothers_errata_are_posted_to(
    scene: Scene, other_designer: User
) -> None:
    own, delivery = other_designer.patterns.get(), scene.delivery
    names = [name for name in TABLE if name.startswith("following:webhook")]
    addresses = {name: reverse(name, args=[own.code, delivery.webhook.key]) for name in names}
    addresses["again"] = reverse(
        "following:delivery_again", args=[own.code, delivery.webhook.key, delivery.pk]
    )
    before = everything_stored()

    answers = answers_to_own(scene.clients["other designer"], addresses)

    assert {name: answer for name, answer in answers.items() if not answer <= {404, 405}} == {}
    assert everything_stored() == before


def test_a_tester_corrects_and_takes_back_only_what_is_their_own(scene: Scene) -> None:
    second = Place.objects.get(tester__email="second@example.org")
    swatch = scene.place.swatch_rows.get()
    remark = scene.place.remark_rows.get()
    before = everything_stored()

    answers = answers_to_own(
        scene.clients["other tester"],
        {
            "swatch": f"{reverse('reports:swatch', args=[second.pk])}?corrects={swatch.pk}",
            "remark": f"{reverse('reports:remark', args=[second.pk])}?corrects={remark.pk}",
            "photo": reverse("reports:photo_gone", args=[second.pk, scene.photo.code]),
        },
    )

    assert answers == {"swatch": {404}, "remark": {404}, "photo": {404, 405}}
    assert everything_stored() == before


def answers_to_own(client: Client, addresses: dict[str, str]) -> dict[str, set[int]]:
    """What each address answers to someone who looks and to someone who sends."""
    return {
        name: {client.get(path).status_code, client.post(path, something_to_send()).status_code}
        for name, path in addresses.items()
    }


def test_a_photo_that_is_not_ready_is_shown_to_nobody(scene: Scene) -> None:
    Photo.objects.filter(pk=scene.photo.pk).update(state=Photo.State.WAITING)

    shown = {
        role
        for role, client in scene.clients.items()
        if client.get(scene.addresses()["reports:photo"]).status_code == 200
    }

    assert shown == set()


def test_who_gave_the_place_back_has_no_way_in_any_more(scene: Scene) -> None:
    Place.objects.filter(pk=scene.place.pk).update(state=Place.State.GIVEN_BACK)
    pages = [name for name, row in TABLE.items() if row in (TESTER, TESTERS_FORM)]

    answers = {name: scene.clients["tester"].get(scene.addresses()[name]).status_code for name in pages}

    assert answers == dict.fromkeys(pages, 404)


# -- the admin ---------------------------------------------------------------------------------------------


def admin_addresses() -> dict[str, str]:
    """One address for every pattern of the admin, with made-up objects."""
    (root,) = [entry for entry in get_resolver().url_patterns if getattr(entry, "namespace", "") == "admin"]
    found = {}

    def walk(entries: list[Any], prefix: str) -> None:
        for entry in entries:
            path = prefix + re.sub(r"<[^>]+>|\(\?P<[^)]*\)\$?", "1", str(entry.pattern)).replace("^", "")
            if isinstance(entry, URLResolver):
                walk(entry.url_patterns, path)
            else:
                found[path] = entry.name or path

    walk(root.url_patterns, "/admin/")
    return found


def test_the_admin_sends_everybody_to_its_own_door(scene: Scene) -> None:
    addresses = {path: name for path, name in admin_addresses().items() if name not in ("login", "logout")}
    assert len(addresses) > 60

    let_in = [
        (path, role, response.status_code)
        for role, client in scene.clients.items()
        for path in addresses
        for response in [client.get(path)]
        if response.status_code != 302 or not response.headers["Location"].startswith("/admin/login/")
    ]

    assert let_in == []


def test_someone_of_the_staff_without_rights_sees_none_of_our_tables(scene: Scene, stranger: User) -> None:
    User.objects.filter(pk=stranger.pk).update(is_staff=True)
    lists = [reverse(f"admin:{model._meta.app_label}_{model._meta.model_name}_changelist") for model in OURS]

    answers = {path: scene.clients["stranger"].get(path).status_code for path in lists}

    assert answers == dict.fromkeys(lists, 403)


@pytest.mark.parametrize("page", ["add", "delete", "change"])
def test_even_the_superuser_changes_nothing_but_accounts(scene: Scene, designer: User, page: str) -> None:
    User.objects.filter(pk=designer.pk).update(is_staff=True, is_superuser=True)
    before = everything_stored()
    done = []

    for model in OURS:
        if model is User or not (row := model._default_manager.first()):
            continue
        args = [] if page == "add" else [row.pk]
        path = reverse(f"admin:{model._meta.app_label}_{model._meta.model_name}_{page}", args=args)
        if scene.clients["designer"].post(path, {"post": "yes", **something_to_send()}).status_code != 403:
            done.append(path)

    assert done == []
    assert everything_stored() == before


# -- where a link may lead ---------------------------------------------------------------------------------

ELSEWHERE = [
    "https://evil.example/",
    "//evil.example/",
    "http:evil.example",
    "/\\evil.example/",
    "javascript:alert(1)",
]


@pytest.mark.parametrize("elsewhere", ELSEWHERE)
def test_signing_in_leads_nowhere_else(client: Client, tester: User, elsewhere: str) -> None:
    cache.clear()

    answer = client.post(
        "/account/login/", {"login": tester.email, "password": "a-long-password", "next": elsewhere}
    )

    assert (answer.status_code, answer.headers["Location"]) == (302, "/")


@pytest.mark.parametrize("elsewhere", ELSEWHERE)
def test_signing_out_leads_nowhere_else(client: Client, tester: User, elsewhere: str) -> None:
    client.force_login(tester)

    answer = client.post("/account/logout/", {"next": elsewhere})

    assert (answer.status_code, answer.headers["Location"]) == (302, "/")


@pytest.mark.parametrize("elsewhere", ELSEWHERE)
def test_saving_preferences_leads_nowhere_else(client: Client, tester: User, elsewhere: str) -> None:
    client.force_login(tester)
    kept = {"units": "cm", "tools": "us", "terms": "us", "time_zone": "UTC"}

    answer = client.post(f"/me/preferences/?{urlencode({'next': elsewhere})}", {**kept, "next": elsewhere})

    assert (answer.status_code, answer.headers["Location"]) == (302, "/me/preferences/")
    page = client.get("/me/preferences/", {"next": elsewhere})
    assert [
        link for link in re.findall(r'href="([^"]*)"', page.text) if "evil" in link or "alert" in link
    ] == []


def test_the_way_to_a_page_goes_by_the_sign_in_and_back(scene: Scene, designer: User) -> None:
    path = f"/rounds/{scene.round.code}/diary/"
    door = scene.clients["signed out"].get(path).headers["Location"]

    answer = scene.clients["signed out"].post(door, {"login": designer.email, "password": "a-long-password"})

    assert (answer.status_code, answer.headers["Location"]) == (302, path)


# -- whose name a link bears -------------------------------------------------------------------------------

SITE = "https://testround.example.org"


def links_in_mails() -> list[str]:
    return [link for message in mail.outbox for link in re.findall(r"https?://\S+", message.body)]


@pytest.fixture
def reached_by_another_name(settings: Any) -> dict[str, str]:
    """A request that names another host than the site's own, though one the server answers to."""
    settings.SITE_URL = SITE
    settings.ALLOWED_HOSTS = ["*"]
    cache.clear()
    return {"Host": "evil.example", "X-Forwarded-Host": "worse.example"}


def test_an_invitation_leads_to_the_site_whatever_name_the_request_bore(
    scene: Scene,
    reached_by_another_name: dict[str, str],
    django_capture_on_commit_callbacks: Callable[..., Any],
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        page = scene.clients["designer"].post(
            scene.addresses()["rounds:invite"],
            {"email": "willow@example.org"},
            headers=reached_by_another_name,
        )

    links = links_in_mails() + re.findall(r'value="(https?://[^"]+)"', page.text)
    assert len(links) == 2
    assert [link for link in links if not link.startswith(f"{SITE}/rounds/join/")] == []


@pytest.mark.parametrize(
    ("path", "fields", "leads_to"),
    [
        ("/account/password/reset/", {"email": "tester@example.org"}, "/account/password/reset/key/"),
        ("/account/password/reset/", {"email": "nobody@example.org"}, "/account/signup/"),
        (
            "/account/signup/",
            {"name": "Ann", "email": "ann@example.org", "password1": "seven-grey-sheep"},
            "/account/confirm-email/",
        ),
        (
            "/account/signup/",
            {"name": "Ann", "email": "tester@example.org", "password1": "seven-grey-sheep"},
            "/account/password/reset/",
        ),
    ],
)
def test_mails_of_accounts_lead_to_the_site_whatever_name_the_request_bore(
    client: Client,
    tester: User,
    reached_by_another_name: dict[str, str],
    django_capture_on_commit_callbacks: Callable[..., Any],
    settings: Any,
    path: str,
    fields: dict[str, str],
    leads_to: str,
) -> None:
    settings.ACCOUNT_EMAIL_VERIFICATION = "mandatory"

    with django_capture_on_commit_callbacks(execute=True):
        client.post(path, fields, headers=reached_by_another_name)

    (link,) = links_in_mails()
    assert link.startswith(f"{SITE}{leads_to}")


@pytest.mark.parametrize("page", ["document", "list", "erratum"])
def test_public_errata_bear_the_name_of_the_site(
    scene: Scene, reached_by_another_name: dict[str, str], page: str
) -> None:
    answer = scene.clients["signed out"].get(
        scene.addresses()[f"errata:{page}"], headers=reached_by_another_name
    )

    assert "evil.example" not in answer.text
    assert "worse.example" not in answer.text


def test_a_host_that_is_not_ours_is_refused(client: Client, db: None) -> None:
    assert client.get("/", headers={"Host": "evil.example"}).status_code == 400
