"""The contents of every table, so that a test can show that nothing was written."""

from django.apps import apps

from notifications.models import LinkUse


def read_tables() -> dict[str, list[tuple[object, ...]]]:
    """Return every row of every model of this project, by table.

    That a customer's link was used is noted whatever came of it, so it is left out.
    """
    return {
        model._meta.db_table: [tuple(map(repr, row)) for row in model._default_manager.order_by("pk").values_list()]
        for model in apps.get_models()
        if model is not LinkUse
    }
