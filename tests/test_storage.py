"""Photos in S3-compatible storage: the settings' own storage against a small server that speaks as much S3."""

from __future__ import annotations

import email.utils
import hashlib
import io
import threading
from collections.abc import Callable, Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

import pytest
from django.core.files.storage import default_storage
from django.test import Client
from django.urls import reverse
from PIL import Image

from testround.people.models import User
from testround.reports.models import Photo
from testround.reports.photos import photo_add, photo_encode, photo_remove
from testround.rounds.models import Place
from tests.reports.pictures import phone_jpeg
from tests.test_settings import started

__all__ = ["started"]

CREATE = """
import django, json; django.setup()
from django.core.files.storage import default_storage as storage
print(json.dumps([storage.bucket_name, storage.endpoint_url, storage.default_acl]))
"""


class Bucket(ThreadingHTTPServer):
    """Objects by path. Signatures are not looked at: who may come in is the real server's business."""

    daemon_threads = True

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), _Answers)
        self.objects: dict[str, bytes] = {}

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.server_address[1]}"


class _Answers(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    server: Bucket

    def do_PUT(self) -> None:
        body = self.rfile.read(int(self.headers["Content-Length"]))
        assert not self.headers.get("x-amz-content-sha256", "").startswith("STREAMING")
        self.server.objects[self.path.partition("?")[0]] = body
        self._answer(200)

    def do_GET(self) -> None:
        body = self.server.objects.get(self.path.partition("?")[0])
        if body is None:
            self._answer(404)
        else:
            self._answer(200, body)

    do_HEAD = do_GET

    def do_DELETE(self) -> None:
        self.server.objects.pop(self.path.partition("?")[0], None)
        self._answer(204)

    def _answer(self, status: int, body: bytes = b"") -> None:
        self.send_response(status)
        if status != 204:
            self.send_header("Content-Length", str(len(body)))
        self.send_header("ETag", f'"{hashlib.md5(body, usedforsecurity=False).hexdigest()}"')
        self.send_header("Last-Modified", email.utils.formatdate(usegmt=True))
        self.end_headers()
        if self.command != "HEAD":
            self.wfile.write(body)

    def log_message(self, *_: object) -> None:
        """Say nothing."""


@pytest.fixture
def bucket(settings: Any) -> Iterator[Bucket]:
    """The bucket `photos`, and every file of the program in it."""
    server = Bucket()
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    settings.STORAGES = {
        **settings.STORAGES,
        "default": {
            "BACKEND": "storages.backends.s3.S3Storage",
            "OPTIONS": {
                "bucket_name": "photos",
                "endpoint_url": server.address,
                "region_name": "us-east-1",
                "access_key": "testround",
                "secret_key": "testround-storage",
                "default_acl": "private",
                "querystring_auth": True,
                "file_overwrite": False,
            },
        },
    }
    yield server
    default_storage.connection.meta.client.close()
    server.shutdown()
    thread.join()
    server.server_close()


@pytest.fixture
def photo(
    bucket: Bucket, place: Place, tester: User, django_capture_on_commit_callbacks: Callable[..., Any]
) -> Photo:
    taken = photo_add(place=place, data=phone_jpeg(), caption="laid flat", by=tester)
    assert len(bucket.objects) == 1
    with django_capture_on_commit_callbacks(execute=True):
        photo_encode({"photo": taken.pk})
    return Photo.objects.get(pk=taken.pk)


def test_the_variables_of_the_environment_make_that_storage(started: Callable[..., Any]) -> None:
    made = started(
        "-c",
        CREATE,
        DJANGO_SETTINGS_MODULE="testround.settings",
        S3_BUCKET="photos",
        S3_ENDPOINT_URL="http://storage:9000",
        S3_REGION="us-east-1",
        S3_ACCESS_KEY="testround",
        S3_SECRET_KEY="testround-storage",
    )

    assert made.stdout.strip() == '["photos", "http://storage:9000", "private"]', made.stderr


def test_a_photo_goes_into_the_bucket_and_nothing_of_the_upload_stays(bucket: Bucket, photo: Photo) -> None:
    assert photo.state == Photo.State.READY
    names = {name.removeprefix(f"/photos/photos/{photo.code}/") for name in bucket.objects}
    assert names == {"original.jpg", "320.jpg"} | {f"{row.width}.jpg" for row in photo.renditions.all()}
    assert not any(b"Exif" in data for data in bucket.objects.values())


def test_a_photo_in_the_bucket_is_served_by_the_program_alone(
    photo: Photo, signed_in: Callable[[User], Client], tester: User
) -> None:
    answer = signed_in(tester).get(reverse("reports:photo", args=[photo.code, 320]))

    with Image.open(io.BytesIO(answer.getvalue())) as picture:
        assert (answer.status_code, picture.format, picture.width) == (200, "JPEG", 320)


def test_a_photo_that_the_bucket_lost_is_not_found(
    bucket: Bucket, photo: Photo, signed_in: Callable[[User], Client], tester: User
) -> None:
    bucket.objects.clear()

    assert signed_in(tester).get(reverse("reports:photo", args=[photo.code, 320])).status_code == 404


def test_a_photo_taken_back_leaves_the_bucket_empty(
    bucket: Bucket, photo: Photo, tester: User, django_capture_on_commit_callbacks: Callable[..., Any]
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        photo_remove(photo=photo, by=tester)

    assert bucket.objects == {}
