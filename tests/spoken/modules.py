"""What a module says that no catalogue knows of, by its source."""

from __future__ import annotations

import ast
import re

LOOKS_UP = re.compile(r"_|n?p?gettext(_lazy|_noop)?")
# What a developer did wrong is said to developers.
FOR_DEVELOPERS = ("LookupError", "EstimateError", "ValueError", "Unworkable", "KeyError", "TypeError")


def sentences_past_the_catalogue(source: str) -> list[str]:
    """Texts of four words or more that are said to somebody and are no message.

    The help text of a table's column is read by those who keep the database, and is not asked for.
    """
    tree = ast.parse(source)
    unsaid: set[ast.AST] = set()
    for node in ast.walk(tree):
        match node:
            case ast.Expr(value=ast.Constant()):
                unsaid.add(node.value)
            case ast.Call(func=ast.Name(id=name)) if LOOKS_UP.fullmatch(name):
                unsaid.update(ast.walk(node))
            case ast.Raise(exc=ast.Call(func=ast.Name(id=name))) if name in FOR_DEVELOPERS:
                unsaid.update(ast.walk(node))
            case ast.Call(func=ast.Attribute(value=ast.Name(id="models"))):
                unsaid.update(
                    inner for part in node.keywords for inner in ast.walk(part) if part.arg == "help_text"
                )
            # The log is read by whoever runs the server.
            case ast.Call(func=ast.Attribute(value=ast.Name(id="logger"))):
                unsaid.update(ast.walk(node))
            case ast.keyword(arg="description"):
                unsaid.update(ast.walk(node))
    return [
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant)
        and isinstance(node.value, str)
        and node not in unsaid
        and len(re.findall(r"[^\W\d_]{2,}(?= )", node.value)) >= 3
    ]


def messages_that_are_not_found(source: str) -> list[str]:
    """Messages that GNU gettext does not find in a source: under a name of our own, or inside an f-string."""
    lost = []
    for node in ast.walk(ast.parse(source)):
        match node:
            case ast.ImportFrom(names=names):
                lost += [
                    f"{name.name} as {name.asname}"
                    for name in names
                    if name.asname and LOOKS_UP.fullmatch(name.name) and not LOOKS_UP.fullmatch(name.asname)
                ]
            case ast.JoinedStr():
                lost += [
                    f"inside an f-string: {inner.args[0].value}"
                    for inner in ast.walk(node)
                    if isinstance(inner, ast.Call)
                    and isinstance(inner.func, ast.Name)
                    and LOOKS_UP.fullmatch(inner.func.id)
                    and inner.args
                    and isinstance(inner.args[0], ast.Constant)
                ]
    return lost
