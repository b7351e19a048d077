"""Published errata as plain text to paste: into a mail, a shop's page, a group's post."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Sequence

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from testround.errata.choices import Choice
from testround.errata.published import Addresses, readable
from testround.errata.selectors import PublicErrata, ShownErratum

CONTENT_TYPE = "text/plain; charset=utf-8"
# Characters in a line: what mails keep whole (RFC 3676, section 4.2, asks for 78 at most and 72 as a rule).
WIDTH = 72


def errata_text(
    public: PublicErrata, shown: Sequence[ShownErratum], choice: Choice, addresses: Addresses
) -> str:
    """What matters to a choice of copy, one erratum after the other; addresses stay whole, however long."""
    title = _("Errata for {pattern}").format(pattern=public.pattern.title)
    says = choice.says
    parts = [_block([title, *([says] if says else []), addresses.list + choice.suffix])]
    parts += [erratum_text(each, choice, addresses) for each in shown]
    if not public.errata:
        parts.append(_block([_("No errata have been published for this pattern.")]))
    elif not shown:
        parts.append(_block([_("Nothing to change in this copy so far.")]))
    return ("\n" + "-" * WIDTH + "\n\n").join(parts)


def erratum_text(shown: ShownErratum, choice: Choice, addresses: Addresses) -> str:
    """One erratum: where, which copies, what to do, was and now, why, and where it stands for good."""
    erratum = shown.erratum
    heading = _("Erratum {number}: {place}").format(number=erratum.number, place=shown.place)
    copies = _("Edition {edition}").format(edition=shown.edition) + (
        f", {shown.sizes}" if shown.sizes else ""
    )
    day = date_format(timezone.localtime(erratum.published_at), "DATE_FORMAT") if erratum.published_at else ""
    blocks = [
        _block([heading, f"{copies}, {day}", *standing_lines(shown)]),
        _block(shown.text.splitlines()),
        *(_block(lines) for lines in _tables(shown)),
    ]
    if shown.why:
        blocks.append(_block([_("Why: {why}").format(why=shown.why)]))
    blocks.append(_block([addresses.erratum(erratum) + choice.ways.suffix]))
    return "\n".join(blocks)


def standing_lines(shown: ShownErratum) -> Iterator[str]:
    """What holds between an erratum and others, and between it and a copy of another edition."""
    if shown.corrects:
        yield _("Puts right erratum {number}.").format(number=shown.corrects)
    for number in shown.corrected_by:
        said = _("Put right by erratum {number}: where the two differ, that one holds.")
        yield said.format(number=number)
    if shown.elsewhere:
        yield shown.elsewhere


def _tables(shown: ShownErratum) -> Iterator[list[str]]:
    for table in shown.tables:
        yield [
            table.caption,
            *(
                "  " + _("{size}: {now}, was {was}").format(size=row.size, now=row.now, was=row.was)
                for row in table.rows
            ),
        ]


def _block(lines: Iterable[str]) -> str:
    """Lines that are wrapped each for itself, and end in a line break; what is indented stays so."""
    return "".join(f"{_wrapped(readable(line))}\n" for line in lines)


def _wrapped(line: str) -> str:
    indent = line[: len(line) - len(line.lstrip())]
    return textwrap.fill(
        line.strip(),
        WIDTH,
        initial_indent=indent,
        subsequent_indent=indent and indent + "  ",
        break_long_words=False,
        break_on_hyphens=False,
    )
