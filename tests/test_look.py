"""What holds for every page: colours that can be read, and nothing that the content policy forbids."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from django.template.loader import get_template

ROOT = Path(__file__).resolve().parent.parent
STATIC = ROOT / "testround" / "static"
TEMPLATES = sorted((ROOT / "templates").rglob("*.html"))
OUR_STYLES = sorted((STATIC / "css").glob("*.css"))
OUR_SCRIPTS = sorted((STATIC / "js").glob("*.js"))


def relative_luminance(colour: str) -> float:
    """WCAG 2.2, definition of relative luminance (https://www.w3.org/TR/WCAG22/#dfn-relative-luminance)."""
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """WCAG 2.2, definition of contrast ratio (https://www.w3.org/TR/WCAG22/#dfn-contrast-ratio)."""
    darker, lighter = sorted((relative_luminance(one), relative_luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


def palettes() -> dict[str, dict[str, str]]:
    """The colours of ``variables.css`` in light, and in dark: the light ones with the dark ones over them."""
    text = (STATIC / "css" / "variables.css").read_text()
    light, _, dark = text.partition("@media (prefers-color-scheme: dark)")

    def colours(css: str) -> dict[str, str]:
        return dict(re.findall(r"--([\w-]+):\s*(#[0-9a-f]{6})", css))

    return {"light": colours(light), "dark": {**colours(light), **colours(dark)}}


# Success criterion 1.4.3: 4.5 to 1 for text. 1.4.11: 3 to 1 for what one must see to use a control.
TEXT = [
    (text, ground)
    for text in ("ink", "ink-quiet", "accent", "accent-strong", "caution")
    for ground in ("ground", "paper")
] + [
    ("ink", "accent-ground"),
    ("ink", "caution-ground"),
    ("accent", "accent-ground"),
    ("caution", "caution-ground"),
    ("ink-quiet", "accent-ground"),
    ("ink-quiet", "caution-ground"),
    ("on-accent", "accent"),
    ("on-accent", "accent-strong"),
]
CONTROLS = [("edge", "ground"), ("edge", "paper"), ("accent", "ground"), ("accent", "caution-ground")]


@pytest.mark.parametrize(
    ("one", "other", "ratio"),
    # Black on white is 21 by the definition; a colour on itself is 1. #767676 is known as the lightest grey
    # that passes 4.5 on white.
    [("#000000", "#ffffff", 21.0), ("#1c5a63", "#1c5a63", 1.0), ("#767676", "#ffffff", 4.54)],
)
def test_contrast_is_computed_as_published(one: str, other: str, ratio: float) -> None:
    assert contrast(one, other) == pytest.approx(ratio, abs=0.005)


def test_the_dark_palette_gives_every_colour_anew() -> None:
    light, dark = palettes().values()

    assert {name for name in light if dark[name] == light[name]} == set()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("text", "ground"), TEXT)
def test_text_can_be_read_on_its_ground(scheme: str, text: str, ground: str) -> None:
    palette = palettes()[scheme]

    assert contrast(palette[text], palette[ground]) >= 4.5


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("part", "ground"), CONTROLS)
def test_edges_and_focus_can_be_seen_on_their_ground(scheme: str, part: str, ground: str) -> None:
    palette = palettes()[scheme]

    assert contrast(palette[part], palette[ground]) >= 3.0


def test_styles_take_every_colour_from_the_palette() -> None:
    coloured = re.compile(r"#[0-9a-fA-F]{3,8}\b|\brgba?\(|\bhsla?\(")
    elsewhere = {
        path.name: found
        for path in OUR_STYLES
        if path.name not in ("variables.css", "print.css") and (found := coloured.findall(path.read_text()))
    }

    assert elsewhere == {}


def test_styles_name_only_variables_that_exist() -> None:
    defined: set[str] = set()
    used: set[str] = set()
    for path in OUR_STYLES:
        defined |= set(re.findall(r"(--[\w-]+)\s*:", path.read_text()))
        used |= set(re.findall(r"var\((--[\w-]+)", path.read_text()))

    assert used - defined == set()


def test_every_template_compiles() -> None:
    for path in TEMPLATES:
        get_template(str(path.relative_to(ROOT / "templates")))


@pytest.mark.parametrize(
    ("forbidden", "pattern"),
    [
        ("a style on an element", r"<[^>]*\sstyle\s*="),
        ("a style sheet in the page", r"<style\b"),
        ("a script in the page", r"<script(?![^>]*\ssrc=)(?![^>]*type=\"application/json\")"),
        ("an event handler on an element", r"<[a-z][^>]*\son[a-z]+\s*="),
        ("an htmx event handler, which needs eval", r"\shx-on\b|\shx-vals=['\"]js:|\shx-vars="),
        ("a script address", r"(href|src|action)=\"javascript:"),
        (
            "something fetched from another site",
            r"<(?:link|script|img|iframe|source|use)[^>]*(?:href|src)=\"(?:https?:)?//",
        ),
    ],
)
def test_no_template_holds(forbidden: str, pattern: str) -> None:
    # A mail has no style sheet to be linked to: what little look it has stands on its elements, and nowhere else.
    is_of_mail = {ROOT / "templates" / "mail" / name for name in ("base.html", "letter.html")}
    holders = [
        str(path.relative_to(ROOT))
        for path in TEMPLATES
        if not (forbidden == "a style on an element" and path in is_of_mail)
        and re.search(pattern, path.read_text(), re.IGNORECASE | re.DOTALL)
    ]

    assert holders == [], forbidden


def test_styles_and_scripts_fetch_nothing_from_another_site() -> None:
    fetching = re.compile(r"@import|url\(|https?://|//[a-z]+\.[a-z]+/", re.IGNORECASE)
    holders = [path.name for path in (*OUR_STYLES, *OUR_SCRIPTS) if fetching.search(path.read_text())]

    assert holders == []


def test_what_was_taken_from_others_has_its_licence_beside_it() -> None:
    taken = {path.name for path in (STATIC / "vendor").iterdir()}

    assert taken == {"htmx.min.js", "htmx.LICENSE.txt"}


def test_a_part_with_a_form_is_given_what_the_form_is_checked_by() -> None:
    """``only`` withholds the token, and a form without it is refused."""
    parts = {
        path.relative_to(ROOT / "templates").as_posix()
        for path in TEMPLATES
        if "csrf_token" in path.read_text()
    }
    included = re.compile(r'{% include "([^"]+)"([^%]*) only %}')

    assert [
        (path.name, part)
        for path in TEMPLATES
        for part, given in included.findall(path.read_text())
        if part in parts and "csrf_token=csrf_token" not in given
    ] == []
