"""``{% kept name %} … {% endkept %}``: a part of a page that is made once and kept under its name."""

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

    def __init__(self, name: FilterExpression, nodelist: NodeList) -> None:
        self.name = name
        self.nodelist = nodelist

    def render(self, context: Context) -> str:
        place: Kept | None = self.name.resolve(context)
        if not place:
            return self.nodelist.render(context)

        def make() -> str:
            with context.push(**place.needs(), csrf_token=TOKEN):
                return self.nodelist.render(context)

        return kept_part(place, make)


@register.tag
def kept(parser: Parser, token: Token) -> KeptNode:
    _, name = token.split_contents()
    nodelist = parser.parse(("endkept",))
    parser.delete_first_token()
    return KeptNode(parser.compile_filter(name), nodelist)
