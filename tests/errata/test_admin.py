"""The admin's pages are there to be read."""

from __future__ import annotations

import pytest
from django.apps import apps
from django.contrib import admin
from django.test import Client
from django.urls import reverse

from testround.errata.models import Erratum
from testround.errata.services import analysis_keep, erratum_publish, finding_accept
from testround.people.models import User
from testround.rounds.models import Round

OURS = [model for model in apps.get_models() if model.__module__.startswith("testround.")]
# Renditions are seen through their photo; how somebody signs in is theirs alone.
REGISTERED = [
    model
    for model in OURS
    if model.__name__ not in ("Rendition", "RecoveryCode") and not model._meta.auto_created
]


@pytest.fixture
def keeper(client: Client, db: None) -> Client:
    """A client signed in as the keeper of the server."""
    client.force_login(User.objects.create_superuser("keeper@example.org", "a-long-password"))
    return client


@pytest.mark.parametrize("model", REGISTERED, ids=lambda model: model.__name__)
def test_every_model_has_a_list_that_opens(keeper: Client, tested: Round, model: type) -> None:
    assert admin.site.is_registered(model)

    response = keeper.get(reverse(f"admin:{model._meta.app_label}_{model._meta.model_name}_changelist"))

    assert response.status_code == 200


def test_a_published_erratum_can_be_read_and_neither_changed_nor_removed(
    keeper: Client, tested: Round, designer: User
) -> None:
    analysis_keep(round=tested)
    draft = finding_accept(round=tested, finding_ids=["printed-count:back_sts"], by=designer)
    erratum_publish(erratum=draft, by=designer)

    shown = keeper.get(reverse("admin:errata_erratum_change", args=[draft.pk]))
    changed = keeper.post(reverse("admin:errata_erratum_change", args=[draft.pk]), {"text": "Other."})
    removed = keeper.post(reverse("admin:errata_erratum_delete", args=[draft.pk]), {"post": "yes"})

    assert (shown.status_code, changed.status_code, removed.status_code) == (200, 403, 403)
    assert Erratum.objects.get().text == draft.text


def test_body_measures_and_secrets_are_not_shown_to_the_keeper_of_a_server(
    keeper: Client, tested: Round
) -> None:
    place = tested.places.first()
    place.measures = {"bust": 87.65}
    place.save()

    page = keeper.get(reverse("admin:rounds_place_change", args=[place.pk])).content.decode()

    assert place.name in page
    assert "87.65" not in page


def test_a_keeper_without_all_rights_cannot_give_rights(keeper: Client) -> None:
    person = User.objects.get(email="keeper@example.org")
    request = type("Request", (), {"user": person})()
    fixed = admin.site.get_model_admin(User).get_readonly_fields(request)
    person.is_superuser = False

    assert "is_staff" not in fixed
    assert {"is_staff", "groups", "is_superuser"} <= set(
        admin.site.get_model_admin(User).get_readonly_fields(request)
    )
