"""The storage of docker-compose.yml as it is started there: whom it lets in, and that what it keeps stays."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import boto3
import botocore
import pytest
from botocore.config import Config
from botocore.exceptions import BotoCoreError, ClientError

from tests.operations.servers import ROOT, Server, embedded
from tests.served.browser import eventually

CONTAINERS = ROOT / "deploy" / "containers"
# Where the environment of these tests has it, on the path or not.
BESIDE_PYTHON = str(Path(sys.executable).parent)
PATH = f"{BESIDE_PYTHON}{os.pathsep}{os.environ['PATH']}"
SECRET = "a-secret-of-the-tests"

pytestmark = pytest.mark.skipif(shutil.which("weed", path=PATH) is None, reason="needs SeaweedFS")


def free_ports(number: int) -> list[int]:
    """Ports that are free, and with them those 10,000 above, which SeaweedFS takes as well."""
    found: list[int] = []
    for port in range(21000 + os.getpid() % 5000, 40000, 7):
        with socket.socket() as low, socket.socket() as high:
            try:
                low.bind(("127.0.0.1", port))
                high.bind(("127.0.0.1", port + 10000))
            except OSError:
                continue
        found.append(port)
        if len(found) == number:
            return found
    raise AssertionError("no ports are free")


class Storage:
    """A SeaweedFS, started by the script that starts the container."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        (folder / "data").mkdir()
        self.port, *inner = free_ports(4)
        self.env = {
            "PATH": PATH,
            "HOME": str(folder),
            "S3_ACCESS_KEY": "testround",
            "S3_SECRET_KEY": SECRET,
            "POLICY": str(CONTAINERS / "bucket-policy.json"),
            "SETTINGS": str(folder / "s3.json"),
            "MADE": str(folder / "made"),
            "DATA": str(folder / "data"),
            "S3_PORT": str(self.port),
            **dict(zip(("MASTER_PORT", "FILER_PORT", "VOLUME_PORT"), map(str, inner), strict=True)),
        }

    def start(self) -> None:
        with (self.folder / "log").open("ab") as log:
            self._process = subprocess.Popen(
                ["sh", str(CONTAINERS / "storage.sh")], env=self.env, stdout=log, stderr=log, cwd=self.folder
            )
        eventually(lambda: (self.folder / "made").exists() and self.answers(), within=60)

    def stop(self) -> None:
        self._process.terminate()
        self._process.wait(60)

    def kill(self) -> None:
        self._process.kill()
        self._process.wait(60)

    def answers(self) -> bool:
        """Whether it lists what it keeps, and gives each of it."""
        ours = self.client()
        try:
            for one in ours.list_objects_v2(Bucket="photos").get("Contents", []):
                ours.get_object(Bucket="photos", Key=one["Key"])["Body"].read()
        except (ClientError, BotoCoreError):
            return False
        return True

    @property
    def variables(self) -> dict[str, str]:
        return {
            "S3_BUCKET": "photos",
            "S3_ENDPOINT_URL": f"http://127.0.0.1:{self.port}",
            "S3_REGION": "us-east-1",
            "S3_ACCESS_KEY": "testround",
            "S3_SECRET_KEY": SECRET,
        }

    def client(self, *, name: str = "testround", secret: str = SECRET, signed: bool = True) -> Any:
        return boto3.client(
            "s3",
            endpoint_url=self.variables["S3_ENDPOINT_URL"],
            region_name="us-east-1",
            aws_access_key_id=name,
            aws_secret_access_key=secret,
            config=Config(
                retries={"max_attempts": 1}, signature_version=None if signed else botocore.UNSIGNED
            ),
        )


@pytest.fixture(scope="module")
def storage(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Storage]:
    server = Storage(tmp_path_factory.mktemp("storage"))
    server.start()
    yield server
    server.kill()


def listens(host: str, port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex((host, port)) == 0


def refused(ask: Callable[[], object]) -> str:
    with pytest.raises(ClientError) as error:
        ask()
    assert error.value.response["ResponseMetadata"]["HTTPStatusCode"] == 403
    return str(error.value.response["Error"]["Code"])


def test_the_account_of_the_program_keeps_photos_and_does_nothing_else(storage: Storage) -> None:
    ours = storage.client()

    ours.put_object(Bucket="photos", Key="of/a/cuff.jpg", Body=b"picture")
    assert ours.get_object(Bucket="photos", Key="of/a/cuff.jpg")["Body"].read() == b"picture"
    assert [one["Key"] for one in ours.list_objects_v2(Bucket="photos")["Contents"]] == ["of/a/cuff.jpg"]
    ours.delete_object(Bucket="photos", Key="of/a/cuff.jpg")
    assert "Contents" not in ours.list_objects_v2(Bucket="photos")

    everybody = (
        '{"Version":"2012-10-17","Statement":[{"Effect":"Allow","Principal":"*","Action":"s3:GetObject",'
    )
    for beyond in (
        lambda: ours.create_bucket(Bucket="others"),
        lambda: ours.put_object(Bucket="others", Key="a", Body=b"b"),
        lambda: ours.delete_bucket(Bucket="photos"),
        lambda: ours.put_bucket_acl(Bucket="photos", ACL="public-read"),
        lambda: ours.put_bucket_policy(
            Bucket="photos", Policy=everybody + '"Resource":"arn:aws:s3:::photos/*"}]}'
        ),
    ):
        assert refused(beyond) == "AccessDenied"


def test_nobody_is_let_in_without_that_account(storage: Storage) -> None:
    storage.client().put_object(Bucket="photos", Key="kept", Body=b"picture", ACL="public-read")

    for stranger in (
        storage.client(signed=False),
        storage.client(secret="guessed"),
        storage.client(name="admin", secret="admin"),
    ):
        refused(lambda stranger=stranger: stranger.get_object(Bucket="photos", Key="kept"))
        refused(lambda stranger=stranger: stranger.list_objects_v2(Bucket="photos"))
        refused(lambda stranger=stranger: stranger.put_object(Bucket="photos", Key="kept", Body=b"other"))
    storage.client().delete_object(Bucket="photos", Key="kept")


def test_only_what_asks_who_comes_is_reached_from_outside(storage: Storage) -> None:
    doors = {name: int(storage.env[name]) for name in ("S3_PORT", "MASTER_PORT", "FILER_PORT", "VOLUME_PORT")}
    for name in ("MASTER_PORT", "FILER_PORT", "VOLUME_PORT"):
        doors[f"{name}, for its like"] = doors[name] + 10000

    # 127.0.0.2 is this machine as well; what listens for the container alone does not answer there.
    reached = {name for name, port in doors.items() if listens("127.0.0.2", port)}

    assert reached == {"S3_PORT"}
    # Beside S3 its accounts are changed, by whoever has a key that is made anew at each start.
    script = (CONTAINERS / "storage.sh").read_text(encoding="utf-8")
    assert "WEED_JWT_FILER_SIGNING_KEY=$(od -An -N32 -tx1 /dev/urandom" in script


def test_what_was_on_disk_moves_into_the_bucket_and_back_by_a_backup(
    storage: Storage, at_work: Server, backup: Path, without_anything: Server, tmp_path: Path
) -> None:
    folders = [embedded(tmp_path / name, like=without_anything) for name in ("there", "back")]
    there, back = Server(folders[0].folder, {**folders[0].variables, **storage.variables}), folders[1]

    restored = there.manage("restore", str(backup))
    assert restored.returncode == 0, restored.stderr
    storage.stop()
    storage.start()
    copied = there.manage("backup", str(tmp_path / "copy.tar"))
    assert copied.returncode == 0, copied.stderr
    returned = back.manage("restore", str(tmp_path / "copy.tar"))
    assert returned.returncode == 0, returned.stderr

    first, in_bucket, last = (server.everything() for server in (at_work, there, back))
    assert first["files"]
    assert there.files() == []
    assert first["files"] == in_bucket["files"] == last["files"]
    assert first["exports"] == in_bucket["exports"] == last["exports"]
