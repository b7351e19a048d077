from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib.admin import AdminSite, ModelAdmin
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse

# Neither shows or changes anything of anybody.
OF_NO_ACCOUNT = frozenset({"jsi18n", "login", "logout"})


def _keep(request: HttpRequest, args: tuple[Any, ...], kwargs: dict[str, Any], status: int) -> None:
    from testround.operations.acts import act_record

    match = request.resolver_match
    name = (match.url_name or "") if match else ""
    if name not in OF_NO_ACCOUNT:
        key = str(kwargs.get("object_id", args[0] if args else ""))
        act_record(request, view=name, object_id=key, status=status)


class SupportSite(AdminSite):
    """The admin: every act in it is kept, and other packages' tables are there to be read alone."""

    site_header = "Testround"

    def admin_view(
        self, view: Callable[..., HttpResponse], cacheable: bool = False
    ) -> Callable[..., HttpResponse]:
        def recorded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            try:
                response = view(request, *args, **kwargs)
            except PermissionDenied:
                _keep(request, args, kwargs, 403)
                raise
            _keep(request, args, kwargs, response.status_code)
            return response

        # Asked inside: whoever is sent to the door has done nothing yet.
        return super().admin_view(recorded, cacheable)

    def register(self, model_or_iterable: Any, admin_class: Any = None, **options: Any) -> None:
        for model in [model_or_iterable] if isinstance(model_or_iterable, type) else model_or_iterable:
            chosen = admin_class or ModelAdmin
            if not model.__module__.startswith("testround.") and model.__name__ != "Group":
                from testround.outbox.admin import ReadOnlyAdmin

                chosen = type(f"ReadOnly{model.__name__}Admin", (ReadOnlyAdmin, chosen), {})
            super().register(model, chosen, **options)
