"""Photos of the work: sent by testers, made anew without what they tell of place and time, and taken back."""

from __future__ import annotations

import uuid
from typing import Any

import django_filters as df
from django.db.models import QuerySet
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from drf_spectacular.types import OpenApiTypes
from rest_framework import serializers
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from testround.api.endpoints import operation
from testround.api.fields import Input
from testround.api.filtering import RowFilter
from testround.api.problems import CONFLICT, Fault, invalid
from testround.api.scopes import Scope
from testround.api.v1.examples import photos as examples
from testround.api.v1.reports import OfRound
from testround.api.v1.sending import AtPlace, sent
from testround.reports.forms import PhotoForm
from testround.reports.models import Photo
from testround.reports.photos import PhotoRefused, photo_add, photo_remove
from testround.reports.selectors import (
    photos_may_be_seen,
    photos_of,
    photos_visible_to,
    rendition_at,
)
from testround.reports.views import PHOTO_POLICY

TAG = "Photos"


class PhotoIn(Input):
    """A photo, as a form of several parts."""

    photo = serializers.FileField(
        allow_empty_file=True, max_length=500, help_text="JPEG, PNG, WebP or HEIC, up to 25 MB."
    )
    dimension = serializers.CharField(
        required=False, allow_blank=True, max_length=60, help_text="Key of the dimension it shows."
    )
    caption = serializers.CharField(required=False, allow_blank=True, max_length=500)
    seen = serializers.BooleanField(
        required=False,
        help_text="True: the designer, and whoever edits the pattern, may see your photos of this piece. Needed "
        "until it was said once.",
    )


class RenditionOut(serializers.Serializer):
    width = serializers.IntegerField(help_text="Pixels.")
    height = serializers.IntegerField(help_text="Pixels.")


class PhotoOut(serializers.Serializer):
    """A photo. Its files are under its address, by their width."""

    code = serializers.UUIDField(help_text="Names it in addresses.")
    place = serializers.IntegerField(source="place_id", help_text="`id` of the place it came from.")
    sent = serializers.DateTimeField()
    caption = serializers.CharField(allow_null=True)
    dimension = serializers.CharField(
        allow_blank=True, help_text="Key of the dimension it shows; empty for the whole piece."
    )
    state = serializers.ChoiceField(
        choices=Photo.State.choices, help_text="Waiting until it is made anew; then ready, or refused."
    )
    problem = serializers.CharField(allow_blank=True, help_text="Why it was refused.")
    renditions = RenditionOut(many=True)


class PhotoFilter(df.FilterSet):
    place = RowFilter(field_name="place_id", label="`id` of the place it came from.")
    dimension = df.CharFilter(label="Photos that show this dimension.")


def represent(photo: Photo) -> dict[str, Any]:
    return PhotoOut(photo).data


def file_of(photo: Photo, width: int) -> HttpResponse:
    """A rendition at least that wide where there is one, or 404."""
    rendition = rendition_at(photo, width)
    try:
        with rendition.file.open("rb") as file:
            data = file.read()
    except FileNotFoundError as error:
        raise Http404 from error
    return HttpResponse(
        data,
        content_type="image/jpeg",
        headers={
            "Content-Security-Policy": PHOTO_POLICY,
            "X-Content-Type-Options": "nosniff",
            "Cross-Origin-Resource-Policy": "same-origin",
            "ETag": f'"{photo.sha256}-{rendition.width}"',
        },
    )


class OwnPhotos(AtPlace):
    """Addresses of a tester's own photos."""

    def photos(self, pk: int) -> QuerySet[Photo]:
        return photos_of(self.place(pk)).prefetch_related("renditions")


class Photos(OwnPhotos):
    parser_classes = [MultiPartParser]

    @operation(
        "photos_list",
        "Photos you sent",
        tag=TAG,
        scope=Scope.PLACES_READ,
        answers=PhotoOut(many=True),
        example=examples.PHOTO,
    )
    def get(self, request: Request, id: int) -> Response:
        """The photos that you sent from a place that you hold and did not take back, newest first."""
        return self.paged(self.photos(id), represent)

    @operation(
        "photos_send",
        "Send a photo",
        tag=TAG,
        scope=Scope.PLACES_WRITE,
        takes=PhotoIn,
        sends=examples.PHOTO_IN,
        media="multipart/form-data",
        answers=PhotoOut,
        example=examples.WAITING,
        status=201,
        refusals=[CONFLICT],
    )
    def post(self, request: Request, id: int) -> Response:
        """Send a photo. It is made anew without what it tells of place and time, and is ready a moment later."""
        desk = self.desk(id)
        body = self.body(PhotoIn)
        photo = body.pop("photo")
        data = {name: value for name, value in body.items() if value}
        try:
            made = sent(
                PhotoForm,
                data,
                photo_add,
                desk=desk,
                by=self.user,
                pointers=lambda name: f"/{name}",
                files={"photo": photo},
                seen=photos_may_be_seen(desk.place),
            )
        except PhotoRefused as refused:
            raise invalid(Fault(refused.sentence, "/photo")) from refused
        return self.made(represent(made), reverse("api:photo", args=[id, made.code]))


class OnePhoto(OwnPhotos):
    @operation(
        "photos_retrieve",
        "One photo you sent",
        tag=TAG,
        scope=Scope.PLACES_READ,
        answers=PhotoOut,
        example=examples.PHOTO,
    )
    def get(self, request: Request, id: int, photo: uuid.UUID) -> Response:
        """A photo that you sent: whether it is ready, and in which widths."""
        return self.shown(represent(self.here(self.photos(id), code=photo)))

    @operation("photos_remove", "Take a photo back", tag=TAG, scope=Scope.PLACES_WRITE, status=204)
    def delete(self, request: Request, id: int, photo: uuid.UUID) -> Response:
        """Take a photo back: its files are deleted."""
        found = self.here(self.photos(id), code=photo)
        self.hold_against(represent(found))
        photo_remove(photo=found, by=self.user)
        return self.gone()


class PhotoFile(OwnPhotos):
    @operation(
        "photos_file",
        "The file of a photo you sent",
        tag=TAG,
        scope=Scope.PLACES_READ,
        answers=OpenApiTypes.BINARY,
        answers_media="image/jpeg",
    )
    def get(self, request: Request, id: int, photo: uuid.UUID, width: int) -> HttpResponse:
        """A photo that you sent as a JPEG, at least as wide as asked for where it is that wide."""
        ready = self.photos(id).filter(state=Photo.State.READY)
        return file_of(get_object_or_404(ready, code=photo), width)


class PhotosOfRound(OfRound):
    def photos(self, code: str) -> QuerySet[Photo]:
        """Those that are ready: of nothing else is the designer told."""
        return (
            photos_visible_to(self.user).filter(place__round=self.round(code)).prefetch_related("renditions")
        )

    @operation(
        "photos_read",
        "Photos testers sent",
        tag=TAG,
        scope=Scope.REPORTS_READ,
        answers=PhotoOut(many=True),
        example=examples.PHOTO,
        filters=PhotoFilter,
    )
    def get(self, request: Request, code: str) -> Response:
        """The photos that testers of your round sent and that you may see, newest first."""
        return self.paged(self.photos(code), represent, PhotoFilter)


class PhotoFileOfRound(PhotosOfRound):
    @operation(
        "photos_download",
        "The file of a photo a tester sent",
        tag=TAG,
        scope=Scope.REPORTS_READ,
        answers=OpenApiTypes.BINARY,
        answers_media="image/jpeg",
    )
    def get(self, request: Request, code: str, photo: uuid.UUID, width: int) -> HttpResponse:
        """A photo as a JPEG, at least as wide as asked for where it is that wide."""
        return file_of(get_object_or_404(self.photos(code), code=photo), width)
