"""Every plot on every page: named, described, labelled point by point, large enough, and there as a table too."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse

from testround.people.models import User
from testround.reports.exchange import round_import
from testround.rounds.models import Round

SVG = "{http://www.w3.org/2000/svg}"
PHONE_LEAVES = 360 - 2 * 16
SMALLEST = 11
SignIn = Callable[[User], Client]


@dataclass(frozen=True)
class Shown:
    """A plot on a page, and the page."""

    where: str
    page: str
    root: ET.Element
    around: str
    """The figure it stands in, and what follows up to the end of the folded tables."""

    @property
    def points(self) -> list[ET.Element]:
        return [group for group in self.root.iter(f"{SVG}g") if group.get("class") == "plot-point"]


def plots_of(where: str, page: str) -> Iterator[Shown]:
    for match in re.finditer(r'<svg [^>]*class="drawing".*?</svg>', page, re.DOTALL):
        begin, end = page.rfind("<figure", 0, match.start()), page.find("</details>", match.end())
        yield Shown(where, page, ET.fromstring(match.group()), page[begin:end])  # noqa: S314 (our own)


def addresses_of(round_: Round) -> list[str]:
    kept = [
        reverse(f"errata:{name}", args=[round_.code]) for name in ("results", "gauges", "amounts", "desk")
    ]
    dimensions = round_.edition.document.dimensions
    return kept + [reverse("errata:dimension", args=[round_.code, d.key]) for d in dimensions]


@pytest.fixture(params=["cm", "in"])
def shown(request: pytest.FixtureRequest, signed_in: SignIn, designer: User) -> list[Shown]:
    """All plots on all pages of a graded round and of one made to measure, in the reader's unit."""
    User.objects.filter(pk=designer.pk).update(units=request.param)
    designer.refresh_from_db()
    client = signed_in(designer)
    found: list[Shown] = []
    for name in ("fenlight", "quillwork"):
        data = (settings.BASE_DIR / "fixtures" / f"{name}.json").read_bytes()
        round_ = round_import(data=data, owner=designer)
        for address in addresses_of(round_):
            found += plots_of(f"{name} {address}", client.get(address).content.decode())
    return found


def test_every_plot_on_every_page_can_be_read_by_everybody(shown: list[Shown]) -> None:
    # Two gauges, yarn and hours, and two plots for each of twelve dimensions; one, one and two for each of four.
    assert len(shown) == (2 + 2 + 2 * 12) + (1 + 1 + 2 * 4)
    for plot in shown:
        assert_named(plot)
        assert_labelled(plot)
        assert_large_enough(plot)
        assert_without_colour(plot)
        assert_a_table_is_one_tap_away(plot)


def assert_named(plot: Shown) -> None:
    root = plot.root
    title, description = root.find(f"{SVG}title"), root.find(f"{SVG}desc")
    assert root.get("role") == "img", plot.where
    assert title is not None
    assert title.text, plot.where
    assert description is not None
    assert description.text, plot.where
    assert (root.get("aria-labelledby"), root.get("aria-describedby")) == (
        title.get("id"),
        description.get("id"),
    )
    for element in root.iter():
        ident = element.get("id")
        assert ident is None or plot.page.count(f'id="{ident}"') == 1, (plot.where, ident)


def assert_labelled(plot: Shown) -> None:
    assert plot.points, plot.where
    for point in plot.points:
        label = point.find(f"{SVG}title")
        assert label is not None, plot.where
        assert re.match(r".+: .*\d", label.text or ""), (plot.where, label.text)


def assert_large_enough(plot: Shown) -> None:
    """As a phone of 360 pixels shows it."""
    scale = min(PHONE_LEAVES / float(plot.root.get("width", "0")), 1)
    usual = plot.root.get("font-size", "0")
    for text in plot.root.iter(f"{SVG}text"):
        assert float(text.get("font-size", usual)) * scale >= SMALLEST, (plot.where, text.text)


def assert_without_colour(plot: Shown) -> None:
    """Ink is the page's, so that the dark theme and grey paper say the same; looks are classes."""
    for element in plot.root.iter():
        assert element.attrib.keys().isdisjoint({"style", "fill", "stroke"}), plot.where


def assert_a_table_is_one_tap_away(plot: Shown) -> None:
    ident = (plot.root.get("aria-labelledby") or "").removesuffix("-title")
    assert "<figcaption>" in plot.around, plot.where
    assert '<details class="figures">' in plot.around, plot.where
    assert f'<caption id="{ident}-table">' in plot.around, plot.where
    table = plot.around[plot.around.index(f'<caption id="{ident}-table">') :]
    assert table.count("<tr>") - 1 == len(plot.points), plot.where
    for point in plot.points:
        label = point.find(f"{SVG}title")
        assert label is not None
        named = re.match(r"([^,:]+)", label.text or "")
        assert named, plot.where
        assert named.group(1) in table, (plot.where, label.text)
