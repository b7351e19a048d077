"""A large database of invented people and rounds, to see what the program is like when many use it.

Some patterns with their rounds are made as people would make them and then copied (`stencils`, `copies`), so that a
large database holds rounds of the same kinds and sizes as a small one, and more of them. The same seed gives the
same rounds.
"""

from __future__ import annotations

import datetime as dt
import random
from collections.abc import Callable, Sequence
from typing import Any

from allauth.account.models import EmailAddress
from django.contrib.auth.hashers import make_password
from django.db import transaction
from django.db.models import Model
from django.utils import timezone

from testround.errata.models import Erratum
from testround.home.populate.bulk import Table, analyse_tables, sequences_follow
from testround.home.populate.copies import Copier, Person
from testround.home.populate.documents import NAMES, Course, Design
from testround.home.populate.stencils import TABLES, stencil_of
from testround.outbox.models import Mail, Work
from testround.people.models import User
from testround.reports.models import Submission
from testround.rounds.models import Place, Round

Say = Callable[[str], None]

# Half of the designers have the first five, the other half the last: ten rounds each, some 200 places, 2,300 reports.
DESIGNS = (
    Design("fenlight", (Course("closed", 26, 300), Course("closed", 24, 150)), errata=6),
    Design("fenlight", (Course("closed", 24, 200), Course("measuring", 22, 68)), errata=4),
    Design("fenlight", (Course("closed", 22, 160), Course("gathering", 0, -12, candidates=40)), errata=3),
    Design("quillwork", (Course("closed", 20, 240), Course("closed", 20, 120)), errata=3),
    Design("fenlight", (Course("closed", 28, 330), Course("closed", 20, 180)), errata=8),
    Design("fenlight", (Course("closed", 24, 210), Course("making", 22, 40)), errata=4),
    Design("fenlight", (Course("closed", 26, 190), Course("swatching", 20, 12)), errata=3),
    Design("quillwork", (Course("closed", 24, 220), Course("closed", 20, 130)), errata=2),
    Design("fenlight", (Course("closed", 26, 140), Course("planned", 0, -30)), errata=5),
    Design("fenlight", (Course("closed", 28, 350), Course("closed", 18, 200)), errata=10),
)
TESTERS_EACH = 60
# Testers of one designer who also test for the next.
SHARED_TESTERS = 20
MOST_DAYS_BACK = 150
# Designers to a transaction.
AT_ONCE = 10
GARMENTS = ["Cardigan", "Pullover", "Vest", "Shrug", "Tunic", "Skirt", "Poncho", "Jacket", "Top", "Hoodie"]


def populate(*, designers: int, seed: int, say: Say, designs: Sequence[Design] = DESIGNS) -> dict[str, int]:
    """Fill an empty database for so many designers; returns how many rows each table got, by its plural name.

    Nobody can sign in to the accounts: they have no password, and their addresses lead nowhere.
    """
    tables = {model: Table(model) for model in (User, EmailAddress, *TABLES, Mail, Work)}
    say(f"Making {len(designs)} patterns with their rounds to copy")
    copiers = [
        Copier(stencil_of(design, _dice(f"{seed}-{number}")), tables) for number, design in enumerate(designs)
    ]
    say(f"Writing {designers} designers and {designers * TESTERS_EACH} testers")
    with transaction.atomic():
        owners = _people(tables, "designer", designers)
        testers = _people(tables, "tester", designers * TESTERS_EACH)
        _flush(tables)
    for start in range(0, designers, AT_ONCE):
        with transaction.atomic():
            for number in range(start, min(start + AT_ONCE, designers)):
                _designer(number, owners[number], testers, copiers, tables, seed)
            _flush(tables)
        if start * 10 // designers != (start + AT_ONCE) * 10 // designers:
            say(f"{min(start + AT_ONCE, designers)} of {designers} designers have their rounds")
    sequences_follow(tables)
    say("Letting the database count")
    analyse_tables()
    return {
        str(model._meta.verbose_name_plural): table.written_rows
        for model, table in tables.items()
        if table.written_rows
    }


def _dice(seed: str) -> random.Random:
    return random.Random(seed)  # noqa: S311 - nothing here is a secret


def _people(tables: dict[type[Model], Table], kind: str, count: int) -> list[Person]:
    # One that no password matches, the same for all.
    nobodys = make_password(None)
    people = [
        User(email=f"{kind}{n:06}@example.org", name=f"{NAMES[n % len(NAMES)]} {n}", password=nobodys)
        for n in range(count)
    ]
    tables[User].add_new(people)
    tables[EmailAddress].add_new(
        EmailAddress(user=person, email=person.email, primary=True, verified=True) for person in people
    )
    return [Person(person.pk, person.name) for person in people]


def _designer(
    number: int,
    owner: Person,
    testers: list[Person],
    copiers: list[Copier],
    tables: dict[type[Model], Table],
    seed: int,
) -> None:
    rng = _dice(f"{seed}-designer-{number}")
    begin = number * TESTERS_EACH
    crowd = [testers[n % len(testers)] for n in range(begin, begin + TESTERS_EACH + SHARED_TESTERS)]
    crowd = list(dict.fromkeys(crowd))
    each = len(copiers) // 2
    first = each * (number % 2)
    before = {model: tables[model].next_pk for model in (Round, Place, Submission)}
    for copier in copiers[first : first + each]:
        copier.write(
            designer=owner,
            testers=rng.sample(crowd, k=min(len(crowd), 40)),
            title=f"{rng.choice(NAMES)} {rng.choice(GARMENTS)} {rng.randrange(10_000)}",
            days_back=0 if copier.stencil.live else rng.randrange(MOST_DAYS_BACK),
            rng=rng,
        )
    _outbox(tables, before, rng)


def _outbox(tables: dict[type[Model], Table], before: dict[type[Model], int], rng: random.Random) -> None:
    """Work that is done, one to every other report, and mails that were sent, one to every place."""
    now = timezone.now()
    work, mails = tables[Work], tables[Mail]
    reports = tables[Submission].next_pk - before[Submission]
    for _ in range(reports // 2):
        round_pk = rng.randrange(before[Round], tables[Round].next_pk)
        at = now - dt.timedelta(minutes=rng.randrange(60, 60 * 24 * 300))
        work.add_new(
            [
                Work(
                    kind="analyse",
                    subject={"round": round_pk},
                    once_key=f"round-{round_pk}",
                    state=Work.State.DONE,
                    attempts=1,
                    not_before=at,
                    created=at,
                    finished=at,
                )
            ]
        )
    for place_pk in range(before[Place], tables[Place].next_pk):
        at = now - dt.timedelta(minutes=rng.randrange(60, 60 * 24 * 20))
        mails.add_new(
            [
                Mail(
                    to=f"tester{place_pk % 1000:06}@example.org",
                    subject="Your place is waiting",
                    about=f"place {place_pk}",
                    once_key=f"place {place_pk} invited",
                    state=Mail.State.SENT,
                    attempts=1,
                    not_before=at,
                    created=at,
                    finished=at,
                )
            ]
        )


def _flush(tables: dict[type[Model], Table]) -> None:
    for table in tables.values():
        table.flush()


def in_the_way() -> str:
    """What keeps a database from being filled: that somebody uses it already; empty where nothing does."""
    people, errata = User.objects.count(), Erratum.objects.count()
    if people or errata:
        return f"there are {people} people and {errata} errata in it"
    return ""


def shown(rows: dict[str, Any]) -> str:
    """How many rows of what, a line each."""
    return "\n".join(f"  {count:>10,}  {name}" for name, count in rows.items())
