"""Going back: the earlier states of a sheet, who saved them and what each save changed."""

from __future__ import annotations

from dataclasses import dataclass

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from testround.patterns.changes import Told, told
from testround.patterns.fields import Scale
from testround.patterns.models import Edition, SheetState
from testround.patterns.services import (
    NothingBefore,
    SheetChanged,
    SheetFrozen,
    SheetRefused,
    edition_go_back,
    edition_undo,
)
from testround.patterns.states import MOST_STATES, states_of
from testround.patterns.views import edition_for, revision_posted, scale_for

# What a save changed is told in this many places; a save that changed more says how many more.
PLACES_TOLD = 6


@dataclass(frozen=True, slots=True)
class Listed:
    """A state with what its save changed; ``is_first`` where nothing is kept to compare it with."""

    state: SheetState
    is_now: bool
    is_first: bool
    changes: tuple[Told, ...]
    more: int


def _listed(edition: Edition, scale: Scale) -> list[Listed]:
    states = states_of(edition)
    found = []
    for i, state in enumerate(states):
        older = states[i + 1] if i + 1 < len(states) else None
        changes = told(older.sheet, state.sheet, scale) if older is not None else []
        found.append(
            Listed(
                state,
                # Freezing counts as a revision and keeps no state: the sheet is as its last save left it.
                state.revision == edition.revision or (edition.is_frozen and i == 0),
                older is None,
                tuple(changes[:PLACES_TOLD]),
                max(len(changes) - PLACES_TOLD, 0),
            )
        )
    return found


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def states(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """The states kept of a sheet; sent to, it takes the last save back or goes back to one of them."""
    edition = edition_for(request, code, pk)
    refusal = ""
    if request.method == "POST":
        revision = revision_posted(request)
        try:
            if request.POST.get("action") == "undo":
                saved = edition_undo(edition=edition, revision=revision, by=request.user)
            else:
                saved = edition_go_back(
                    edition=edition, to=revision_posted(request, "to"), revision=revision, by=request.user
                )
        except SheetChanged as changed:
            edition = changed.edition
            refusal = _(
                "Somebody saved this sheet after the page was opened. Nothing was gone back to: look at the list "
                "as it stands now, and press again if you still want to."
            )
        except (NothingBefore, SheetFrozen) as refused:
            refusal = str(refused)
        except SheetRefused as refused:
            refusal = " ".join(f"{problem.sentence}." for problem in refused.problems)
        else:
            messages.success(
                request,
                _("Gone back one step. “Earlier states” has what was there.")
                if request.POST.get("action") == "undo"
                else _("Gone back. “Earlier states” has what was there."),
            )
            return redirect(saved)
    listed = _listed(edition, scale_for(request))
    now = next((one.state for one in listed if one.is_now), None)
    context = {
        "edition": edition,
        "pattern": edition.pattern,
        "listed": listed,
        "most": MOST_STATES,
        "refusal": refusal,
        "can_undo": now is not None and now.before in {one.state.revision for one in listed},
    }
    return render(request, "patterns/states.html", context, status=422 if refusal else 200)
