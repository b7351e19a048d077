"""Every address of the program."""

from allauth.account.decorators import secure_admin_login
from django.contrib import admin
from django.urls import include, path

handler400 = "testround.api.errors.bad_request"
handler404 = "testround.api.errors.not_found"
handler500 = "testround.api.errors.server_error"

# The admin has no door of its own: who works there signs in like everybody, with their second factor.
admin.site.login = secure_admin_login(admin.site.login)

urlpatterns = [
    # Published errata have the most readers.
    path("", include("testround.errata.urls")),
    path("", include("testround.home.urls")),
    path("mail/", include("testround.outbox.urls")),
    path("account/", include("testround.people.urls_account")),
    path("me/tokens/", include("testround.api.tokens_urls")),
    path("me/", include("testround.people.urls")),
    path("patterns/", include("testround.patterns.urls")),
    path("rounds/", include("testround.rounds.urls")),
    path("", include("testround.reports.urls")),
    path("", include("testround.talk.urls")),
    path("", include("testround.following.urls")),
    path("api/", include("testround.api.urls")),
    path("", include("testround.operations.urls")),
    path("admin/", admin.site.urls),
]
