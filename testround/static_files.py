"""How static files are stored where the program is served."""

from django.contrib.staticfiles.storage import staticfiles_storage
from whitenoise.storage import CompressedManifestStaticFilesStorage


class HashedFiles(CompressedManifestStaticFilesStorage):
    """Every file under a name with a hash of what is in it; scripts import one another by those names too, so that
    an old one never meets a new one."""

    support_js_module_import_aggregation = True


def files_name() -> str:
    """A name for all static files together, another one as soon as one of them is; empty where they have no hashes."""
    return str(getattr(staticfiles_storage, "manifest_hash", ""))
