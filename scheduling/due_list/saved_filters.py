"""Keeping filters of the due list under a name; they belong to the person who keeps them and change nothing else."""

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from scheduling.models import SavedFilter
from treatments.models import User

MOST_KEPT = 20


def list_filters(user: User) -> list[SavedFilter]:
    """Return the filters that a person keeps, by name."""
    return list(SavedFilter.objects.filter(user=user).order_by("name"))


@transaction.atomic
def keep_filter(*, user: User, name: str, query: str) -> SavedFilter:
    """Keep a filter under a name; one that the person has under that name is replaced.

    Args:
        query: the query of the address, without a place in the list.

    Raises:
        ValidationError: without a name, for a filter that narrows nothing, or where the person keeps too many.
    """
    name = " ".join(name.split())
    if not query:
        raise ValidationError({"name": _("Nothing is narrowed: choose a filter or type a word first, then keep it.")})
    User.objects.select_for_update().get(pk=user.pk)
    kept = SavedFilter.objects.filter(user=user, name=name).first() or SavedFilter(user=user, name=name)
    if kept.pk is None and len(list_filters(user)) >= MOST_KEPT:
        message = _("You keep %(most)s filters already; take one out first.")
        raise ValidationError({"name": message % {"most": MOST_KEPT}})
    kept.query = query
    kept.full_clean()
    kept.save()
    return kept


def drop_filter(*, user: User, name: str) -> bool:
    """Take a kept filter out; say whether there was one."""
    count, _by_model = SavedFilter.objects.filter(user=user, name=name).delete()
    return bool(count)
