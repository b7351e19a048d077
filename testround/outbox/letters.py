"""A mail as plain data, and the two forms made of it: text, and HTML that needs no pictures."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.conf import settings
from django.template.loader import render_to_string
from django.utils import translation

ADDRESS = re.compile(r"https?://[^\s<>\"]+")
SIGNATURE = "-- "


@dataclass(frozen=True, slots=True)
class Words:
    """A paragraph; its line breaks are kept, and addresses in it become links."""

    text: str


@dataclass(frozen=True, slots=True)
class Facts:
    """Names with their values, one to a line: a size, a yarn, a date."""

    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Action:
    """What the reader is asked to do, and where; without a label the text before it says so. A letter has one."""

    label: str
    url: str


@dataclass(frozen=True, slots=True)
class Link:
    """A way to something else than the action, on a line of its own."""

    label: str
    url: str


@dataclass(frozen=True, slots=True)
class Mailing:
    """What a letter that goes to many readers is one of, by its List-Id (RFC 2919), and where this one leaves it.

    Of readers who need no account, so that none of the kinds that an account can stop holds for them.
    """

    list_id: str
    leave: str


Part = Words | Facts | Action | Link
_NAMES: dict[str, type[Any]] = {"words": Words, "facts": Facts, "action": Action, "link": Link}


@dataclass(frozen=True, slots=True)
class Letter:
    """What a mail says. ``why`` is the last line: why the reader gets it.

    ``language`` is the code of the one it is written in. What is put around the words when the mail leaves, perhaps
    by a process that serves nobody, is in that language too.
    """

    subject: str
    parts: tuple[Part, ...]
    why: str = ""
    language: str = field(default_factory=lambda: translation.get_language() or settings.LANGUAGE_CODE)
    mailing: Mailing | None = None

    def __post_init__(self) -> None:
        if sum(isinstance(part, Action) for part in self.parts) > 1:
            raise ValueError("A letter asks for one action.")

    @property
    def text(self) -> str:
        """The text form without a foot."""
        return as_text(self)


def letter(subject: str, *parts: Part | str, why: str = "") -> Letter:
    """A letter of these parts; a bare string is a paragraph, an empty one is left out."""
    made = tuple(Words(part) if isinstance(part, str) else part for part in parts if part != "")
    return Letter(" ".join(subject.split()), made, why)


def letter_from_text(subject: str, text: str, labels: Mapping[str, str] | None = None) -> Letter:
    """A letter of what was written as text.

    An empty line ends a paragraph. An address alone on a line is a link; the first that ``labels`` has words for is
    the action, or else the only one there is. What follows the usual line before a signature is the foot.
    """
    labels = labels or {}
    alone = [line.strip() for line in text.splitlines() if ADDRESS.fullmatch(line.strip())]
    asked = next((url for url in alone if url in labels), alone[0] if len(alone) == 1 else "")
    body, _, foot = f"{text.strip()}\n".partition(f"\n{SIGNATURE}\n")
    parts: list[Part] = []
    for paragraph in re.split(r"\n\s*\n", body.strip("\n")):
        lines: list[str] = []
        for line in paragraph.splitlines():
            url = line.strip()
            if not ADDRESS.fullmatch(url):
                lines.append(line)
                continue
            if lines:
                parts.append(Words("\n".join(lines).strip("\n")))
                lines = []
            is_asked = url == asked and not any(isinstance(part, Action) for part in parts)
            parts.append(Action(labels.get(url, ""), url) if is_asked else Link("", url))
        if any(line.strip() for line in lines):
            parts.append(Words("\n".join(lines).strip("\n")))
    why = " ".join(line for line in foot.splitlines() if line.strip() and line.strip() != "Testround")
    return Letter(subject, tuple(parts), why)


def to_data(letter: Letter) -> dict[str, Any]:
    """The letter for a JSON column."""
    names = {kind: name for name, kind in _NAMES.items()}
    parts = []
    for part in letter.parts:
        match part:
            case Words(text):
                value: Any = text
            case Facts(rows):
                value = [list(row) for row in rows]
            case Action(label, url) | Link(label, url):
                value = [label, url]
        parts.append([names[type(part)], value])
    data = {"subject": letter.subject, "parts": parts, "why": letter.why, "language": letter.language}
    if letter.mailing is not None:
        data["mailing"] = [letter.mailing.list_id, letter.mailing.leave]
    return data


def from_data(data: Mapping[str, Any]) -> Letter:
    """What `to_data` made."""
    parts = tuple(_part(name, value) for name, value in data["parts"])
    # Those written before their language was kept are in the program's own.
    mailing = Mailing(*data["mailing"]) if "mailing" in data else None
    return Letter(data["subject"], parts, data["why"], data.get("language", settings.LANGUAGE_CODE), mailing)


def _part(name: str, value: Any) -> Part:
    if name == "words":
        return Words(value)
    if name == "facts":
        return Facts(tuple((what, said) for what, said in value))
    label, url = value
    return Action(label, url) if name == "action" else Link(label, url)


def as_text(letter: Letter, *, stop: str = "") -> str:
    """The text form: a link on a line of its own after what it is for.

    ``stop`` is the address that ends this kind of mail, where there is one.
    """
    text = _rendered("mail/letter.txt", letter, stop)
    return text.strip("\n").replace(f"\n{SIGNATURE}\n\n", f"\n{SIGNATURE}\n") + "\n"


def as_html(letter: Letter, *, stop: str = "") -> str:
    """The HTML form: the same words in the same order."""
    return _rendered("mail/letter.html", letter, stop)


def _rendered(template: str, letter: Letter, stop: str) -> str:
    with translation.override(letter.language):
        return render_to_string(template, {"letter": letter, "parts": _named(letter.parts), "stop": stop})


def _named(parts: Sequence[Part]) -> list[tuple[str, Part]]:
    names = {kind: name for name, kind in _NAMES.items()}
    return [(names[type(part)], part) for part in parts]
