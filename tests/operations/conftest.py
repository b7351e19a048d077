from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.operations.servers import Server, drop_databases, embedded

# A designer, the invented skirt's round with its photos' files, a mail that waits, and an erratum that puts right
# another one which came into the table after it.
FILL = """
import datetime as dt, json
from pathlib import Path
from django.conf import settings
from django.utils import timezone
from testround.errata.models import Erratum
from testround.outbox.models import Mail
from testround.people.models import User
from testround.reports.exchange import round_import
from testround.reports.models import Sitting
from testround.reports.photos import photo_add
from testround.rounds.models import Place
from tests.reports.pictures import phone_jpeg

# Done when it is asked for, so that nothing is under way when this is over.
settings.OUTBOX_RUNNER = "inline"
designer = User.objects.create_user("designer@example.org", "seven-grey-sheep", name="Fen Designer")
tester = User.objects.create_user("willow@example.org", "seven-grey-sheep", name="Willow")
round = round_import(data=Path("fixtures/quillwork.json").read_bytes(), owner=designer)
first = Place.objects.order_by("pk").first()
Place.objects.filter(pk=first.pk).update(tester=tester)
photo = photo_add(place=first, data=phone_jpeg(orientation=6), caption="laid flat")
Sitting.objects.create(place=first, hours=0.1 + 0.2, sent=dt.datetime(2026, 11, 2, 8, 30, 1, 234567, dt.timezone.utc))
said = {"pattern": round.edition.pattern, "edition": round.edition, "round": round}
later = Erratum.objects.create(**said, place="Waist", text="…")
early = Erratum.objects.create(**said, place="Waist", text="Work 96 rows.", number=1, published_at=timezone.now())
Erratum.objects.filter(pk=later.pk).update(corrects=early, number=2, published_at=timezone.now())
Mail.objects.create(to="willow@example.org", subject="A place", letter={"text": "\\u2028 Grüße"})
"""


@pytest.fixture(scope="session", autouse=True)
def databases_go_with_the_tests() -> Iterator[None]:
    yield
    drop_databases()


@pytest.fixture(scope="session")
def without_anything(tmp_path_factory: pytest.TempPathFactory) -> Server:
    """An installation with its tables and nothing in them."""
    server = embedded(tmp_path_factory.mktemp("migrated") / "var")
    done = server.manage("migrate", "--verbosity=0")
    assert done.returncode == 0, done.stderr
    return server


@pytest.fixture(scope="session")
def at_work(without_anything: Server, tmp_path_factory: pytest.TempPathFactory) -> Server:
    """An installation with a round in it. Who changes something takes a copy."""
    server = embedded(tmp_path_factory.mktemp("filled") / "var", like=without_anything)
    server.python(FILL)
    return server


@pytest.fixture(scope="session")
def backup(at_work: Server, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A backup of it."""
    path = tmp_path_factory.mktemp("backups") / "testround.tar"
    done = at_work.manage("backup", str(path))
    assert done.returncode == 0, done.stderr
    return path


@pytest.fixture
def empty(without_anything: Server, tmp_path: Path) -> Server:
    """An empty server to restore into."""
    return embedded(tmp_path / "var", like=without_anything)
