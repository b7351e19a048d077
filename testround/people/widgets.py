"""Form fields written out at once: a sheet or a proposal has hundreds, and a template for each takes its time."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from django.forms.renderers import DjangoTemplates
from django.http import HttpRequest
from django.template.base import render_value_in_context
from django.template.context import Context
from django.utils.html import conditional_escape
from django.utils.safestring import SafeString, mark_safe

_FOLDER = "django/forms/widgets/"
_INPUTS = (
    "text",
    "number",
    "email",
    "url",
    "password",
    "hidden",
    "date",
    "datetime",
    "time",
    "checkbox",
    "input",
)


class AtOnce(DjangoTemplates):
    """Django's own renderer, quicker for the fields that forms here are made of, and the same to the letter."""

    def render(
        self, template_name: str, context: dict[str, Any], request: HttpRequest | None = None
    ) -> SafeString:
        write = _WRITERS.get(template_name)
        if write is None:
            return super().render(template_name, context, request)
        return mark_safe(write(context["widget"]).strip())  # noqa: S308 - every value is escaped below


def _attrs(widget: Mapping[str, Any]) -> str:
    return "".join(
        f" {conditional_escape(name)}" + ("" if value is True else f'="{conditional_escape(value)}"')
        for name, value in widget["attrs"].items()
        if value is not False
    )


def _input(widget: Mapping[str, Any]) -> str:
    value = widget["value"]
    given = "" if value is None else f' value="{conditional_escape(value)}"'
    kind, name = conditional_escape(widget["type"]), conditional_escape(widget["name"])
    return f'<input type="{kind}" name="{name}"{given}{_attrs(widget)}>\n'


def _textarea(widget: Mapping[str, Any]) -> str:
    value = conditional_escape(widget["value"]) if widget["value"] else ""
    return f'<textarea name="{conditional_escape(widget["name"])}"{_attrs(widget)}>\n{value}</textarea>\n'


def _select(widget: Mapping[str, Any]) -> str:
    written = [f'<select name="{conditional_escape(widget["name"])}"{_attrs(widget)}>']
    for group, options, _ in widget["optgroups"]:
        if group:
            written.append(f'\n  <optgroup label="{conditional_escape(group)}">')
        written += [f"\n  {_option(option)}" for option in options]
        if group:
            written.append("\n  </optgroup>")
    return "".join(written) + "\n</select>\n"


def _option(option: Mapping[str, Any]) -> str:
    label = render_value_in_context(option["label"], _PLAIN)
    return f'<option value="{conditional_escape(option["value"])}"{_attrs(option)}>{label}</option>\n'


def _choices(widget: Mapping[str, Any]) -> str:
    """Boxes or buttons, one under the other, each within its label."""
    attrs = widget["attrs"]
    written = ["<div"]
    written += [f' {key}="{conditional_escape(attrs[key])}"' for key in ("id", "class") if attrs.get(key)]
    written.append(">")
    for group, options, _ in widget["optgroups"]:
        if group:
            written.append(f"\n  <div><label>{conditional_escape(group)}</label>")
        written += [f"<div>\n    {_choice(option)}</div>" for option in options]
        if group:
            written.append("\n  </div>")
    return "".join(written) + "\n</div>"


def _choice(option: Mapping[str, Any]) -> str:
    if not option.get("wrap_label"):
        return f"{_input(option)}\n\n"
    of = option["attrs"].get("id")
    named = f' for="{conditional_escape(of)}"' if of else ""
    return f"<label{named}>{_input(option)} {render_value_in_context(option['label'], _PLAIN)}</label>\n\n"


_PLAIN = Context()
_WRITERS: dict[str, Callable[[Mapping[str, Any]], str]] = {
    **{f"{_FOLDER}{name}.html": _input for name in _INPUTS},
    f"{_FOLDER}textarea.html": _textarea,
    f"{_FOLDER}select.html": _select,
    f"{_FOLDER}radio.html": _choices,
    f"{_FOLDER}checkbox_select.html": _choices,
}
