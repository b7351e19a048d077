"""What a token may be used for: named by what it is about and what is done with it.

A scope never gives more than its person may do by the pages; it only takes away. Writing does not include reading.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from typing import Any

from django.utils.translation import gettext_lazy as _


class Scope(StrEnum):
    """Each scope, as a token names it."""

    PATTERNS_READ = "patterns:read"
    PATTERNS_WRITE = "patterns:write"
    PEOPLE_WRITE = "people:write"
    ROUNDS_READ = "rounds:read"
    ROUNDS_WRITE = "rounds:write"
    REPORTS_READ = "reports:read"
    PLACES_READ = "places:read"
    PLACES_WRITE = "places:write"
    ERRATA_READ = "errata:read"
    ERRATA_WRITE = "errata:write"
    ERRATA_PUBLISH = "errata:publish"
    TALK_READ = "talk:read"
    TALK_WRITE = "talk:write"
    WEBHOOKS_READ = "webhooks:read"
    WEBHOOKS_WRITE = "webhooks:write"
    ACCOUNT_READ = "account:read"
    ACCOUNT_WRITE = "account:write"


OPENS: Mapping[Scope, Any] = {
    Scope.PATTERNS_READ: _("Read your patterns: editions, sheets, desk checks, who has a part in them"),
    Scope.PATTERNS_WRITE: _("Make, change and delete patterns, editions and sheets"),
    Scope.PEOPLE_WRITE: _("Invite people to a part in a pattern, and end one"),
    Scope.ROUNDS_READ: _("Read your rounds: places, candidates, the diary, how they stand"),
    Scope.ROUNDS_WRITE: _("Open and run rounds: calls, assignment, invitations, places, dates"),
    Scope.REPORTS_READ: _("Read what testers of your rounds sent: measurements, photos, words"),
    Scope.PLACES_READ: _("Read your own places as a tester, and what you sent"),
    Scope.PLACES_WRITE: _("Send reports as a tester: swatches, counts, measurements, photos"),
    Scope.ERRATA_READ: _("Read analyses, findings and the errata desk"),
    Scope.ERRATA_WRITE: _("Decide on findings and draft errata"),
    Scope.ERRATA_PUBLISH: _("Publish errata and say which editions readers have"),
    Scope.TALK_READ: _("Read notes, questions and private words of your rounds"),
    Scope.TALK_WRITE: _("Write notes, questions, answers and private words"),
    Scope.WEBHOOKS_READ: _("Read who hears of errata, and to which programs they are posted"),
    Scope.WEBHOOKS_WRITE: _("Add, pause and remove programs that errata are posted to"),
    Scope.ACCOUNT_READ: _("Read and take away all that is held about you, with private words and photos"),
    Scope.ACCOUNT_WRITE: _(
        "Change how things are shown to you, which mails you want, and your calendar’s address"
    ),
}
"""What each opens, for the page on which a token is made and for the documentation."""
