from django.contrib.admin.apps import AdminConfig


class SupportAdminConfig(AdminConfig):
    """Django's admin, as our site of it."""

    default_site = "testround.operations.site.SupportSite"
