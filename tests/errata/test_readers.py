"""What the owner of a pattern says to its readers: which editions are out, and which sites may frame the errata."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse
from django.utils.html import strip_tags

from testround.following.models import Follower
from testround.patterns.models import Edition, Membership, Pattern
from testround.patterns.origins import OriginRefused, origin_of
from testround.patterns.released import edition_release, frame_origins_set
from testround.patterns.services import SheetFrozen, edition_save
from testround.people.models import User
from testround.rounds.models import Round
from tests.errata.printed import misprint, next_edition, unclear

SignIn = Callable[[User], Client]


@pytest.fixture
def first(a_round: Round) -> Edition:
    return a_round.edition


@pytest.fixture
def editor(first: Edition, stranger: User) -> User:
    Membership.objects.create(
        pattern=first.pattern,
        role=Membership.Role.EDITOR,
        email=stranger.email,
        user=stranger,
        secret_hash="x",
        expires=first.created,
        joined_at=first.created,
    )
    return stranger


def readers(edition: Edition) -> str:
    return reverse("errata:readers", args=[edition.pattern.code])


def release(edition: Edition) -> str:
    return reverse("errata:release", args=[edition.pattern.code, edition.pk])


def embed(edition: Edition) -> str:
    return reverse("errata:embed", args=[edition.pattern.code])


# Origins


@pytest.mark.parametrize(
    ("typed", "origin"),
    [
        ("https://example.org", "https://example.org"),
        ("https://example.org/", "https://example.org"),
        ("  HTTPS://Shop.Example.ORG:443 ", "https://shop.example.org"),
        ("https://example.org:8443", "https://example.org:8443"),
        # RFC 3492’s way of writing it, as in the registries’ own example.
        ("https://Bücher.example", "https://xn--bcher-kva.example"),
    ],
)
def test_a_site_is_kept_as_browsers_spell_it(typed: str, origin: str) -> None:
    assert origin_of(typed) == origin


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ("http://example.org", "does not begin with https://"),
        ("example.org", "does not begin with https://"),
        ("javascript:alert(1)", "does not begin with https://"),
        ("https://example.org/shop", "names a page"),
        ("https://example.org?x=1", "names a page"),
        ("https://example.org#top", "names a page"),
        ("https://*.example.org", "has a *"),
        ("https://me@example.org", "has a name before an @"),
        ("https://example.org:port", "is no address of a site"),
        ("https://example.org:99999", "is no address of a site"),
        ("https://", "is no address of a site"),
        ("https://localhost", "is no address of a site"),
        ("https://a.example;script-src", "is no address of a site"),
        ("https://a.example,b.example", "is no address of a site"),
        ("https://'none'.example", "is no address of a site"),
        ("https://-a.example", "is no address of a site"),
        ("https://[::1]", "is no address of a site"),
        ("https://[", "is no address of a site"),
        ("https://" + "a" * 70 + ".example", "is no address of a site"),
        ("https://" + "a." * 150 + "example", "is longer than any site"),
    ],
)
def test_what_is_no_site_is_refused_with_a_sentence_that_says_what_to_write(
    typed: str, sentence: str
) -> None:
    with pytest.raises(OriginRefused) as refused:
        origin_of(typed)

    assert sentence in str(refused.value)
    assert str(refused.value).endswith("as in https://www.example.org.")


# Framing


def test_at_first_nobody_may_frame_the_errata(client: Client, first: Edition) -> None:
    response = client.get(embed(first))

    assert "frame-ancestors 'none'" in response["Content-Security-Policy"]
    assert response["X-Frame-Options"] == "DENY"


def test_the_sites_that_the_owner_named_may_and_no_older_header_says_otherwise(
    client: Client, signed_in: SignIn, designer: User, first: Edition
) -> None:
    typed = "https://Example.org/\n\n https://shop.example.org:8443 https://example.org"
    answer = signed_in(designer).post(readers(first), {"origins": typed})

    response = Client().get(embed(first))

    assert answer.status_code == 302
    policy = response["Content-Security-Policy"]
    assert policy.endswith("frame-ancestors https://example.org https://shop.example.org:8443")
    assert "script-src" not in policy
    assert policy.startswith("default-src 'none'")
    assert not response.has_header("X-Frame-Options")


def test_a_browser_that_has_the_page_hears_the_same_list(designer: User, first: Edition) -> None:
    """RFC 9111, section 4.3.4: what a 304 says of the headers holds for the page that is kept."""
    frame_origins_set(pattern=first.pattern, origins=["https://example.org"], by=designer)
    page = Client().get(embed(first))

    again = Client().get(embed(first), headers={"If-None-Match": page["ETag"]})

    assert again.status_code == 304
    assert again["Content-Security-Policy"] == page["Content-Security-Policy"]
    assert not again.has_header("X-Frame-Options")


def test_taking_a_site_off_the_list_gives_the_page_another_name(designer: User, first: Edition) -> None:
    frame_origins_set(pattern=first.pattern, origins=["https://example.org"], by=designer)
    page = Client().get(embed(first))
    frame_origins_set(pattern=first.pattern, origins=[], by=designer)

    after = Client().get(embed(first), headers={"If-None-Match": page["ETag"]})

    assert (after.status_code, after["X-Frame-Options"]) == (200, "DENY")


def test_no_other_page_can_be_framed_even_by_those_sites(designer: User, first: Edition) -> None:
    frame_origins_set(pattern=first.pattern, origins=["https://example.org"], by=designer)

    response = Client().get(reverse("errata:list", args=[first.pattern.code]))

    assert "frame-ancestors 'none'" in response["Content-Security-Policy"]
    assert response["X-Frame-Options"] == "DENY"


def test_the_framed_page_has_no_script_and_its_links_open_beside_the_site(
    client: Client, first: Edition
) -> None:
    misprint(first)
    unclear(first)

    page = client.get(embed(first), {"edition": first.pk, "size": "XS"}).content.decode()

    assert "<script" not in page
    assert "style=" not in page
    assert page.count("<a ") == page.count('target="_blank" rel="noopener"') > 2
    assert f'action="{embed(first)}"' in page


def test_what_is_wrong_with_a_list_is_said_line_by_line_and_nothing_is_saved(
    signed_in: SignIn, designer: User, first: Edition
) -> None:
    typed = "https://good.example.org\nhttp://plain.example.org\nhttps://example.org/shop"
    response = signed_in(designer).post(readers(first), {"origins": typed})

    page = response.content.decode()
    assert response.status_code == 422
    assert "“http://plain.example.org” does not begin with https://" in page
    assert "“https://example.org/shop” names a page" in page
    assert typed in page
    assert Pattern.objects.get(pk=first.pattern_id).frame_origins == []


def test_a_list_that_is_too_long_is_refused(signed_in: SignIn, designer: User, first: Edition) -> None:
    typed = "\n".join(f"https://shop{n}.example.org" for n in range(21))

    response = signed_in(designer).post(readers(first), {"origins": typed})

    assert response.status_code == 422
    assert "These are 21 sites; keep the list within 20." in response.content.decode()


def test_the_snippet_is_html_that_can_be_pasted_whatever_the_title_is(
    signed_in: SignIn, designer: User, first: Edition, settings
) -> None:
    settings.SITE_URL = "https://testround.example.org"
    Pattern.objects.filter(pk=first.pattern_id).update(title='The "Fen" & <more>')
    frame_origins_set(pattern=first.pattern, origins=["https://example.org"], by=designer)

    page = signed_in(designer).get(readers(first))

    assert page.context["snippet"] == (
        f'<iframe src="https://testround.example.org{embed(first)}" '
        'title="Errata for The &quot;Fen&quot; &amp; &lt;more&gt;" '
        'width="100%" height="480" loading="lazy"></iframe>'
    )
    assert "&lt;iframe src=&quot;https://testround.example.org" in page.content.decode()


# Editions that are out


def test_an_edition_is_known_to_readers_once_its_owner_says_that_they_have_it(
    signed_in: SignIn, designer: User, first: Edition
) -> None:
    misprint(first)
    later = next_edition(first, "1.1", cast_on_m=114)
    own = reverse("errata:edition", args=[first.pattern.code, later.pk])
    assert Client().get(own).status_code == 404

    response = signed_in(designer).post(release(later))

    assert response.status_code == 302
    assert Client().get(own).status_code == 200
    later.refresh_from_db()
    assert later.is_released
    assert later.is_frozen


def test_a_pattern_that_was_never_in_a_round_has_its_page_once_it_is_out(
    designer: User, edition: Edition
) -> None:
    address = reverse("errata:list", args=[edition.pattern.code])
    assert Client().get(address).status_code == 404

    edition_release(edition=edition, corrected=[], by=designer)

    assert "None so far" in Client().get(address, headers={"Accept-Language": "en"}).content.decode()


def test_the_sheet_of_what_is_out_stays_as_readers_have_it(designer: User, edition: Edition) -> None:
    edition_release(edition=edition, corrected=[], by=designer)
    edition.refresh_from_db()

    with pytest.raises(SheetFrozen):
        edition_save(edition=edition, document=edition.document, revision=edition.revision, by=designer)


def test_the_owner_says_which_changes_of_words_an_edition_has_and_can_mend_it_later(
    signed_in: SignIn, designer: User, first: Edition
) -> None:
    misprint(first)
    unclear(first)
    later = next_edition(first, "1.1", cast_on_m=114)
    client = signed_in(designer)

    client.post(release(later), {"corrected": ["2"]})
    said = Edition.objects.get(pk=later.pk)
    client.post(release(later), {})
    mended = Edition.objects.get(pk=later.pk)

    assert (said.corrected, mended.corrected) == ([2], [])
    assert said.released_at == mended.released_at


@pytest.mark.parametrize("wrong", ["1", "3", "x", ""])
def test_only_changes_of_words_that_are_out_can_be_ticked(
    signed_in: SignIn, designer: User, first: Edition, wrong: str
) -> None:
    misprint(first)
    unclear(first)
    later = next_edition(first, "1.1", cast_on_m=114)

    response = signed_in(designer).post(release(later), {"corrected": [wrong]})

    assert response.status_code == 422
    assert not Edition.objects.get(pk=later.pk).is_released


def test_the_page_says_how_each_edition_stands(signed_in: SignIn, designer: User, first: Edition) -> None:
    misprint(first)
    next_edition(first, "1.1", cast_on_m=118)

    page = " ".join(signed_in(designer).get(readers(first)).content.decode().split())

    assert "The wrong numbers stand in it still: erratum 1" in page
    assert "Written for it: erratum 1" in page
    assert "Not known to anybody outside." in page


def test_the_page_says_which_copies_need_what_and_how_many_are_told_by_mail(
    signed_in: SignIn, designer: User, first: Edition
) -> None:
    misprint(first)
    unclear(first)
    later = next_edition(first, "1.1", cast_on_m=114)
    edition_release(edition=later, corrected=[2], by=designer)
    client = signed_in(designer)
    alone = lead_of(client.get(readers(first)))
    for number, confirmed in enumerate([first.created, first.created, None]):
        Follower.objects.create(
            pattern=first.pattern, address=f"{number}@example.org", language="en", confirmed_at=confirmed
        )

    followed = lead_of(client.get(readers(first)))

    assert alone == (
        "Nobody gets the errata by mail yet. Who reads them otherwise is not counted. "
        "Copies of edition 1.1 need none. Copies of edition 1.0 need: erratum 1, erratum 2."
    )
    assert followed.startswith("2 readers get each erratum by mail.")


def lead_of(page: HttpResponse) -> str:
    """What stands between the heading of the page and the next one, without its tags."""
    lead = page.content.decode().partition("</h1>")[2].partition("<h2")[0]
    return " ".join(strip_tags(lead.replace("<li>", " ")).split())


def test_an_editor_reads_the_page_and_says_nothing_to_readers(
    signed_in: SignIn, editor: User, first: Edition
) -> None:
    client = signed_in(editor)

    assert client.get(readers(first)).status_code == 200
    assert client.post(readers(first), {"origins": "https://example.org"}).status_code == 403
    assert client.post(release(first)).status_code == 403
    with pytest.raises(PermissionDenied):
        frame_origins_set(pattern=first.pattern, origins=["https://example.org"], by=editor)
    with pytest.raises(PermissionDenied):
        edition_release(edition=first, corrected=[], by=editor)


def test_an_edition_of_another_pattern_cannot_be_said_to_be_out(
    signed_in: SignIn, designer: User, other_designer: User, first: Edition
) -> None:
    other = Pattern.objects.create(owner=other_designer, title="Other")
    others = Edition.objects.create(pattern=other, label="1.0", sheet=first.sheet)

    for address in (release(others), reverse("errata:release", args=[first.pattern.code, others.pk])):
        assert signed_in(designer).post(address).status_code == 404
    assert not Edition.objects.get(pk=others.pk).is_released


@pytest.mark.parametrize("editions", [1, 4])
def test_the_page_costs_the_same_for_one_edition_or_four(
    signed_in: SignIn, designer: User, first: Edition, editions: int, django_assert_num_queries
) -> None:
    misprint(first)
    unclear(first)
    for number in range(1, editions):
        next_edition(first, f"1.{number}", cast_on_m=114)
    client = signed_in(designer)

    # session, person, pattern, which editions are known, errata, editions, followers
    with django_assert_num_queries(7):
        client.get(readers(first))
