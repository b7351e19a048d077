"""What this room holds about a person: which saves of a sheet were theirs."""

from __future__ import annotations

from django.utils.translation import gettext as _

from testround.patterns.models import SheetState
from testround.people.held import Shelf, keeps
from testround.people.models import User
from testround.prepared import Prepared

_SAVES: Prepared[SheetState] = Prepared(
    lambda user: (
        SheetState.objects.filter(saved_by=user)
        .select_related("edition__pattern")
        .defer("sheet", "edition__sheet")
        .order_by("pk")
    )
)


@keeps
def saves_held(user: User) -> Shelf:
    """Their saves that are still kept; the sheets themselves are the pattern's, not the person's."""
    rows = [
        {
            "pattern": state.edition.pattern.title,
            "edition": state.edition.label,
            "saved": state.saved_at,
            "how": state.get_way_display(),
        }
        for state in _SAVES.rows(user=user)
    ]
    return Shelf(
        "saves", _("When you saved a pattern's sheet"), _("the owner of the pattern and its editors"), rows
    )
