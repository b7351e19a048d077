"""What is said to people is said through the catalogue: no template and no module speaks past it.

The source is read here, so that a page which no test opens is held too. ``tests/spoken`` shows the pages as they come.
"""

from __future__ import annotations

import ast
import re
import string
import symtable
from collections.abc import Iterable, Iterator
from html.parser import HTMLParser
from pathlib import Path

import pytest
from django.template.base import Lexer, TokenType

from tests.spoken import SAID_IN, SYMBOLS, UNSAID, WORD
from tests.spoken.modules import messages_that_are_not_found, sentences_past_the_catalogue

ROOT = Path(__file__).resolve().parent.parent

# -- templates ---------------------------------------------------------------------------------------------

# What speaks through the catalogue from end to end. A folder, or a file that lies in none.
SPOKEN = (
    "account",
    "allauth",
    "errata",
    "following",
    "home",
    "mail",
    "parts",
    "patterns",
    "people",
    "reports",
    "rounds",
    "talk",
    "400.html",
    "403.html",
    "403_csrf.html",
    "404.html",
    "500.html",
    "503.html",
    "base.html",
)
# Seen by those who work on the program, with the settings for that.
OURS_ALONE = {"parts/gallery.html"}
# Names of standards and formats beside the symbols that every page may hold.
NO_WORDS = SYMBOLS | {"Georgia", "DOCTYPE", "doctype", "html"}
# A literal with a blank or a capital letter is said to somebody; "caution" and "knit" are for the program.
LITERAL = re.compile(r"""(_\()?("[^"]*"|'[^']*')""")
SAID = re.compile(r"\s|^[^\W\d_a-z]")
# Blocks of a page that name a class of its style sheet.
NAMES_A_CLASS = {"block body_class"}
# Filters whose argument is shown in place of the value.
SHOWN_LITERAL = re.compile(r"""\|(?:default|default_if_none|yesno):("[^"]*"|'[^']*')""")


def spoken_templates() -> list[Path]:
    folder = ROOT / "templates"
    found = []
    for name in SPOKEN:
        path = folder / name
        found += [path] if path.is_file() else [*path.rglob("*.html"), *path.rglob("*.txt")]
    return sorted(path for path in found if str(path.relative_to(folder)) not in OURS_ALONE)


class _Text(HTMLParser):
    """What of a piece of HTML is read or heard by somebody."""

    def __init__(self) -> None:
        super().__init__()
        self.said: list[str] = []
        self._unsaid = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._unsaid += tag in UNSAID
        self.said += [value for name, value in attrs if name in SAID_IN and value]

    def handle_endtag(self, tag: str) -> None:
        self._unsaid -= tag in UNSAID

    def handle_data(self, data: str) -> None:
        if not self._unsaid:
            self.said.append(data)


def past_the_catalogue(source: str, *, is_html: bool = True) -> list[str]:
    """The pieces of a template's source that are said and are no message."""
    bare: list[str] = []
    literals: list[str] = []
    inside = ""
    for token in Lexer(source).tokenize():
        command = token.contents.partition(" ")[0]
        if inside:
            inside = "" if token.token_type == TokenType.BLOCK and command == f"end{inside}" else inside
        elif token.token_type == TokenType.BLOCK and (
            command in ("comment", "blocktranslate") or token.contents in NAMES_A_CLASS
        ):
            inside = command
        elif token.token_type == TokenType.TEXT:
            bare.append(token.contents)
        elif token.token_type in (TokenType.BLOCK, TokenType.VAR):
            literals += _said_literals(token.contents, command)
    text = "".join(bare)
    pieces = [text]
    if is_html:
        parser = _Text()
        parser.feed(text)
        parser.close()
        pieces = parser.said
    words = [piece for piece in pieces if set(WORD.findall(piece)) - NO_WORDS]
    return [" ".join(piece.split()) for piece in words] + literals


def _said_literals(contents: str, command: str) -> Iterator[str]:
    """Literals of one tag or variable that are shown to somebody and not looked up."""
    if "|pluralize" in contents:
        yield contents
    for found in SHOWN_LITERAL.finditer(contents):
        if WORD.search(found[1]):
            yield found[1]
    if command not in ("include", "with"):
        return
    _, _, given = contents.partition(" with " if command == "include" else " ")
    for found in LITERAL.finditer(re.sub(r"\|date:(\"[^\"]*\"|'[^']*')", "", given)):
        if not found[1] and SAID.search(found[2][1:-1]) and WORD.search(found[2]):
            yield found[2]


@pytest.mark.parametrize("template", spoken_templates(), ids=lambda path: str(path.relative_to(ROOT)))
def test_no_template_speaks_past_the_catalogue(template: Path) -> None:
    assert past_the_catalogue(template.read_text(), is_html=template.suffix == ".html") == []


def test_every_name_in_the_list_is_there() -> None:
    assert [name for name in SPOKEN if not (ROOT / "templates" / name).exists()] == []


@pytest.mark.parametrize(
    ("source", "pieces"),
    [
        ("<p>Hello</p>", ["Hello"]),
        ('<p>{% translate "Hello" %}</p>', []),
        (
            "{% blocktranslate trimmed count n=n %}One{% plural %}{{ n }} rows of it{% endblocktranslate %}",
            [],
        ),
        ("{% comment %}Words for whoever edits it{% endcomment %}{# so #}", []),
        ('<a title="Away" class="wide">{{ name }}, 12 cm</a>', ["Away"]),
        ("""<a aria-label="{% translate 'Away' %}">→</a>""", []),
        (
            '{% include "parts/notice.html" with kind="caution" text="Mind the gap." only %}',
            ['"Mind the gap."'],
        ),
        ('{% include "parts/notice.html" with kind="caution" text=_("Mind the gap.") only %}', []),
        ("{% block body_class %}big{% endblock %}{% block title %}Away{% endblock %}", ["Away"]),
        ('{{ name|default:"nobody" }}', ['"nobody"']),
        ('{{ name|default:_("nobody") }}{{ name|default:"/" }}', []),
        ("{{ n }}{{ n|pluralize }}", ["n|pluralize"]),
        ('{% blocktranslate with day=at|date:"j F" %}On {{ day }}{% endblocktranslate %}', []),
    ],
)
def test_what_is_said_past_the_catalogue_is_found_and_nothing_else(source: str, pieces: list[str]) -> None:
    assert past_the_catalogue(source) == pieces


# -- modules -----------------------------------------------------------------------------------------------

MODULES = [
    path for path in sorted((ROOT / "testround").rglob("*.py")) if "migrations" not in path.parent.parts
]
# How many of the arguments are messages, and how many stand before them.
LOOKS_UP = {
    "gettext": (0, 1),
    "gettext_lazy": (0, 1),
    "gettext_noop": (0, 1),
    "noop": (0, 1),
    "ngettext": (0, 2),
    "ngettext_lazy": (0, 2),
    "pgettext": (1, 1),
    "pgettext_lazy": (1, 1),
    "npgettext": (1, 2),
    "npgettext_lazy": (1, 2),
}
FROM = ("django.utils.translation", "testround.kernel.words")
PLACE = re.compile(r"[a-z][a-z0-9_]*\Z")


def looked_up_by(tree: ast.Module) -> dict[str, tuple[int, int]]:
    """What a module calls the functions that look a message up."""
    names = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module in FROM:
            for imported in node.names:
                if imported.name in LOOKS_UP:
                    names[imported.asname or imported.name] = LOOKS_UP[imported.name]
    return names


def mistakes_in(source: str) -> list[str]:
    """What keeps a module's messages from being translated, each with its line."""
    tree = ast.parse(source)
    names = looked_up_by(tree)
    if not names:
        return []
    found = [*_mistakes(tree, names), *_hidden(symtable.symtable(source, "module", "exec"), names)]
    return sorted(f"{line}: {what}" for line, what in found)


def _hidden(table: symtable.SymbolTable, names: Iterable[str]) -> Iterator[tuple[int, str]]:
    """Functions in which such a name is a variable of their own and is called all the same."""
    for inner in table.get_children():
        yield from _hidden(inner, names)
    if table.get_type() != "function":
        return
    for name in names:
        if name not in table.get_identifiers() or not table.lookup(name).is_local():
            continue
        below = [inner.lookup(name) for inner in table.get_children() if name in inner.get_identifiers()]
        if table.lookup(name).is_referenced() or any(symbol.is_free() for symbol in below):
            yield table.get_lineno(), f"{name} is a variable here"


def _messages(call: ast.AST, names: dict[str, tuple[int, int]]) -> list[ast.expr] | None:
    """The arguments of a call that are messages; None when it looks nothing up."""
    if not (isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id in names):
        return None
    before, count = names[call.func.id]
    return call.args[before : before + count]


def _mistakes(tree: ast.Module, names: dict[str, tuple[int, int]]) -> Iterator[tuple[int, str]]:
    for node in ast.walk(tree):
        for message in _messages(node, names) or ():
            if any(_puts_together(inner) for inner in ast.walk(message)):
                yield message.lineno, "the message is put together before it is looked up"
            elif isinstance(message, ast.Constant):
                yield from ((message.lineno, what) for what in _wrong_places(str(message.value)))
        if not (
            isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "format"
        ):
            continue
        messages = _messages(node.func.value, names)
        if messages is None:
            continue
        if node.args:
            yield node.lineno, "a place is filled by its position"
        given = {keyword.arg for keyword in node.keywords}
        named = [message.value for message in messages if isinstance(message, ast.Constant)]
        if None not in given and named:
            asked = {place for message in named for place in _places(str(message))}
            if missing := asked - given:
                yield node.lineno, f"nothing for {', '.join(sorted(missing))}"
            if unused := given - asked:
                yield node.lineno, f"no place for {', '.join(sorted(str(name) for name in unused))}"


def _puts_together(node: ast.AST) -> bool:
    """A name, or what a table holds, may be a message that is marked where it is written down; these never are."""
    if isinstance(node, ast.Call):
        return isinstance(node.func, ast.Attribute) and node.func.attr in ("format", "join", "replace")
    return isinstance(node, ast.JoinedStr | ast.BinOp)


def _places(message: str) -> list[str]:
    return [name for _, name, _, _ in string.Formatter().parse(message) if name is not None]


def _wrong_places(message: str) -> Iterator[str]:
    try:
        places = _places(message)
    except ValueError:
        yield f"a brace is left open in “{message}”"
        return
    if not all(PLACE.match(place) for place in places) or re.search(r"%[sdif]", message):
        yield f"a place without a name in “{message}”"


@pytest.mark.parametrize("module", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_message_is_one_whole_sentence_with_named_places(module: Path) -> None:
    assert mistakes_in(module.read_text()) == []


@pytest.mark.parametrize(
    ("call", "mistakes"),
    [
        ('_("{name} sent {n} counts.").format(name=who, n=3)', []),
        ('_("One long sentence, "\n  "on two lines.")', []),
        ("_(WORDS[key])", []),
        ("_(WORDS.get(key, OTHERWISE))", []),
        ('_("Longer than %(limit_value)s signs.")', []),
        ('_(f"{who} sent it.")', ["2: the message is put together before it is looked up"]),
        ('_("Sent by " + who)', ["2: the message is put together before it is looked up"]),
        ('_("{name} sent it.".format(name=who))', ["2: the message is put together before it is looked up"]),
        ('_("Sent by %s" % who)', ["2: the message is put together before it is looked up"]),
        ('_("Sent by %s")', ["2: a place without a name in “Sent by %s”"]),
        ('_("Sent by {}.")', ["2: a place without a name in “Sent by {}.”"]),
        ('_("Sent by {who.name}.")', ["2: a place without a name in “Sent by {who.name}.”"]),
        ('_("Sent by {name.")', ["2: a brace is left open in “Sent by {name.”"]),
        ('_("Sent by {name}.").format(who)', ["2: a place is filled by its position", "2: nothing for name"]),
        ('_("Sent by {name}.").format(nome=who)', ["2: no place for nome", "2: nothing for name"]),
        ('_("Sent by {name}.").format(**known)', []),
        (
            'def said():\n    head, _, tail = name.partition("-")\n    return _("One")',
            ["2: _ is a variable here"],
        ),
        (
            'def said():\n    for _ in range(3):\n        yield [_("One") for one in two]',
            ["2: _ is a variable here"],
        ),
        ('def said():\n    return _("One") if [key for key, _ in pairs] else ""', []),
        ('def said():\n    head, _, tail = name.partition("-")', []),
    ],
)
def test_a_message_that_cannot_be_translated_is_found(call: str, mistakes: list[str]) -> None:
    source = f"from django.utils.translation import gettext as _\n{call}\n"

    assert mistakes_in(source) == mistakes


def test_the_one_and_the_many_are_messages_both() -> None:
    source = (
        "from testround.kernel.words import ngettext\n"
        'ngettext("{n} row", f"{n} rows", n)\n'
        'ngettext("One row", "{n} rows", n).format(n=n)\n'
    )

    assert mistakes_in(source) == ["2: the message is put together before it is looked up"]


def test_a_context_is_no_message() -> None:
    source = (
        "from django.utils.translation import pgettext\n"
        'pgettext("of {this} and that", "Indian {ocean}").format(ocean=1)\n'
    )

    assert mistakes_in(source) == []


# Rooms that say nothing past the catalogue; the kernel has its own test.
SPOKEN_ROOMS = ("api", "errata", "following", "home", "paper", "patterns", "people")
# What a terminal or a page for developers says, and the demo's own people.
UNSPOKEN = ("management", "demo.py", "gallery.py", "populate")
# The OpenAPI document, its examples and the kinds of problem are for programmers, in the one language of the format.
IN_ENGLISH = {
    ("api", "v1"),
    *(
        ("api", f"{name}.py")
        for name in ("authentication", "endpoints", "once", "openapi", "paging", "problems")
    ),
}
POLICY = re.compile("default-src ")
SPOKEN_MODULES = [
    path
    for path in MODULES
    if (parts := path.relative_to(ROOT / "testround").parts)[0] in SPOKEN_ROOMS
    and not set(parts) & set(UNSPOKEN)
    and parts[:2] not in IN_ENGLISH
]


@pytest.mark.parametrize("module", SPOKEN_MODULES, ids=lambda path: str(path.relative_to(ROOT)))
def test_no_module_of_a_room_speaks_past_the_catalogue(module: Path) -> None:
    said = [text for text in sentences_past_the_catalogue(module.read_text()) if not POLICY.match(text)]

    assert said == []


def test_a_sentence_past_the_catalogue_is_found() -> None:
    source = '''"""What it is about in so many words."""
said = f"{who} has sent no swatch"
kept = _("{who} has sent no swatch at all")
label = gettext_lazy("{who} has sent no swatch at all")
column = models.CharField(help_text="What the tester has sent.")
field = forms.CharField(help_text="What you have sent us.")
raise ValueError("there is nothing in here")
'''

    assert sentences_past_the_catalogue(source) == [" has sent no swatch", "What you have sent us."]


def test_every_message_is_where_gettext_finds_it() -> None:
    lost = {
        str(module.relative_to(ROOT)): found
        for module in sorted((ROOT / "testround").rglob("*.py"))
        if (found := messages_that_are_not_found(module.read_text()))
    }

    assert lost == {}


@pytest.mark.parametrize(
    ("source", "lost"),
    [
        ("from django.utils.translation import gettext_lazy as lazy", ["gettext_lazy as lazy"]),
        ("from django.utils.translation import gettext as _", []),
        (
            "said = f'{start} {_(\"Was half of it counted?\")}'",
            ["inside an f-string: Was half of it counted?"],
        ),
        ("said = ' '.join([start, _('Was half of it counted?')])", []),
    ],
)
def test_a_message_that_gettext_does_not_find_is_found_here(source: str, lost: list[str]) -> None:
    assert messages_that_are_not_found(source) == lost
