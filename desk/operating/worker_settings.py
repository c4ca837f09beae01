"""What a worker must have set before it starts; the worker and the command that starts one ask the same."""

from django.conf import settings
from django.core.checks import Tags, run_checks


def list_missing_settings() -> str:
    """Return what is missing, a line each with what to do; '' where nothing is, or where nothing need be set."""
    if not settings.WORKERS_NEED_DEPLOYMENT:
        return ""
    found = run_checks(tags=[Tags.security], include_deployment_checks=True)
    # Django's own advice about security stops nobody; ours is about what would fail without a word.
    return "\n".join(f"- {one.msg} {one.hint}" for one in found if str(one.id).startswith("deployment."))
