"""Pictures of the piece for a call."""

from __future__ import annotations

import uuid
from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.urls import reverse
from rest_framework import serializers
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from testround.api.endpoints import Endpoint, operation
from testround.api.fields import Input
from testround.api.problems import Fault, invalid
from testround.api.scopes import Scope
from testround.api.v1.calls import TAG
from testround.api.v1.examples import courses as examples
from testround.api.v1.parts import round_here
from testround.patterns.access import Right
from testround.reports.call_pictures import picture_add, picture_remove
from testround.reports.forms import read_photo
from testround.reports.models import CallPicture, Photo
from testround.reports.photos import PhotoRefused


class PictureIn(Input):
    """A picture, as a form of several parts."""

    photo = serializers.FileField(
        allow_empty_file=True, max_length=500, help_text="JPEG, PNG, WebP or HEIC, up to 25 MB."
    )
    shows = serializers.CharField(
        max_length=300, help_text="What is to be seen, for those who cannot see it."
    )


class PictureOut(serializers.Serializer):
    """A picture of the piece on the page of a call."""

    code = serializers.UUIDField(help_text="Names it in addresses.")
    shows = serializers.CharField()
    state = serializers.ChoiceField(
        choices=Photo.State.choices, help_text="Waiting until it is made anew; then ready, or refused."
    )
    problem = serializers.CharField(help_text="Why it was refused.")
    url = serializers.SerializerMethodField(help_text="Where it is once it is ready.")
    width = serializers.IntegerField(allow_null=True, help_text="Pixels.")
    height = serializers.IntegerField(allow_null=True, help_text="Pixels.")
    created = serializers.DateTimeField()

    def get_url(self, picture: CallPicture) -> str:
        return f"{settings.SITE_URL}{reverse('reports:call_picture', args=[picture.code])}"


def represent(picture: CallPicture) -> dict[str, Any]:
    return PictureOut(picture).data


class Pictures(Endpoint):
    parser_classes = [MultiPartParser]

    @operation(
        "pictures_list",
        "The pictures of a call",
        tag=TAG,
        scope=Scope.ROUNDS_READ,
        answers=PictureOut(many=True),
        example=examples.PICTURE,
    )
    def get(self, request: Request, code: str) -> Response:
        """The pictures for the call of a round that you run, whether they are ready or not."""
        return self.paged(round_here(self, code, Right.EDIT).call_pictures.all(), represent)

    @operation(
        "pictures_add",
        "Add a picture to a call",
        tag=TAG,
        scope=Scope.ROUNDS_WRITE,
        takes=PictureIn,
        sends=examples.PICTURE_SENT,
        media="multipart/form-data",
        answers=PictureOut,
        example=examples.PICTURE,
        status=201,
    )
    def post(self, request: Request, code: str) -> Response:
        """Add a picture of the piece. It is made anew without what it tells of place and time, and then shown."""
        round = round_here(self, code, Right.EDIT)
        sent = self.body(PictureIn)
        try:
            data = read_photo(sent["photo"])
            picture = picture_add(round=round, data=data, shows=sent["shows"], by=self.user)
        except PhotoRefused as refused:
            raise invalid(Fault(refused.sentence, "/photo")) from refused
        except ValidationError as error:
            raise invalid(*(Fault(str(said), "/photo") for said in error.messages)) from error
        return self.made(represent(picture), reverse("api:picture", args=[code, picture.code]))


class OnePicture(Endpoint):
    def picture(self, code: str, picture: uuid.UUID) -> CallPicture:
        round = round_here(self, code, Right.EDIT)
        among = round.call_pictures.select_related("round__edition__pattern")
        found: CallPicture = self.here(among, code=picture)
        return found

    @operation(
        "pictures_retrieve",
        "One picture of a call",
        tag=TAG,
        scope=Scope.ROUNDS_READ,
        answers=PictureOut,
        example=examples.PICTURE,
    )
    def get(self, request: Request, code: str, picture: uuid.UUID) -> Response:
        """A picture for the call of a round that you run: whether it is ready, and where it is."""
        return self.shown(represent(self.picture(code, picture)))

    @operation("pictures_remove", "Take a picture off a call", tag=TAG, scope=Scope.ROUNDS_WRITE, status=204)
    def delete(self, request: Request, code: str, picture: uuid.UUID) -> Response:
        """Take a picture off the page of the call: its file is deleted. Owners and editors may."""
        found = self.picture(code, picture)
        self.hold_against(represent(found))
        picture_remove(picture=found, by=self.user)
        return self.gone()
