"""``{% kept name %} … {% endkept %}``: a part of a page that is made once and kept under its name.

``{% kept name "title" %}`` is one of several pieces that rest on the same.
"""

from __future__ import annotations

from django import template
from django.template.base import FilterExpression, NodeList, Parser, Token
from django.template.context import Context

from testround.people.kept import TOKEN, Kept, kept_part

register = template.Library()


class KeptNode(template.Node):
    """What stands inside, from the cache where it is there; what it would need is not even looked at then.

    Without a name, as of a page that holds what somebody has just typed, it is made and not kept.
    """

    child_nodelists = ("nodelist",)

    def __init__(self, name: FilterExpression, piece: str, nodelist: NodeList) -> None:
        self.name = name
        self.piece = piece
        self.nodelist = nodelist

    def render(self, context: Context) -> str:
        place: Kept | None = self.name.resolve(context)
        if not place:
            return self.nodelist.render(context)

        def make() -> str:
            with context.push(**place.needs(), csrf_token=TOKEN):
                return self.nodelist.render(context)

        return kept_part(place.piece(self.piece) if self.piece else place, make)


@register.tag
def kept(parser: Parser, token: Token) -> KeptNode:
    _, name, *piece = token.split_contents()
    nodelist = parser.parse(("endkept",))
    parser.delete_first_token()
    return KeptNode(parser.compile_filter(name), "".join(piece).strip('"'), nodelist)
