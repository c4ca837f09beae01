"""What goes by itself after the days that the register says, each night."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path

from dateutil.relativedelta import relativedelta
from django.conf import settings
from django.contrib.sessions.models import Session
from django.core.exceptions import ValidationError
from django.db import connection, transaction

from notifications.enums import MessageStatus
from notifications.models import LinkUse, Message
from notifications.privacy.erasing import ErasureOrder, Step, carry_out, erase_person, plan_erasure
from notifications.privacy.people import ERASED_KEY, find_reasons_to_keep
from notifications.privacy.register import MESSAGES, REGISTER
from treatments.event_log import mark_read, read_events
from treatments.models import Customer, Event, Inspection, Treatment
from treatments.queries import find_clock, find_shop_day
from treatments.rules.site_days import MIDNIGHT, find_moment
from treatments.rules.wording import format_count
from treatments.shared.faults import NO_FAULT_OF_A_ROW, log_fault
from treatments.shared.idempotency import drop_unsent_photos

FREE_SPACE_READER = "personal_data.free_space"


@dataclass(frozen=True, slots=True)
class Retention:
    """How much went by itself in one night.

    Attributes:
        failed: customers who could not be erased, each with why.
    """

    photos: int
    sessions: int
    messages: int
    mail_files: int
    people: int
    failed: tuple[str, ...] = ()

    @property
    def is_something(self) -> bool:
        return any((self.photos, self.sessions, self.messages, self.mail_files, self.people))

    def __str__(self) -> str:
        return (
            f"Erased, since their days are over: {format_count(self.photos, 'photo')} without a form, "
            f"{format_count(self.sessions, 'log-in')}, texts of {format_count(self.messages, 'message')}, "
            f"{format_count(self.mail_files, 'mail file')}, data of {format_count(self.people, 'customer')}"
        )


def erase_what_is_old(*, now: datetime) -> Retention:
    """Erase what the register keeps for some days only, once those are over.

    A person's erasure that was kept waiting by a cover or a claim is carried through once nothing needs the rest.
    """
    photos = drop_unsent_photos(now=now)
    sessions, _ = Session.objects.filter(expire_date__lt=now).delete()
    messages = _erase_messages(now)
    files = _delete_mail_files(now)
    failed: list[str] = []
    people = _erase(_find_people_to_finish(now, failed), now, failed)
    if settings.PEOPLE_KEPT_DAYS:
        limit = find_shop_day(now) - timedelta(days=settings.PEOPLE_KEPT_DAYS)
        people += _erase(list(_find_people_without_dealings_since(limit)), now, failed)
    overwrite_free_space()
    return Retention(photos, sessions, messages, files, people, tuple(failed))


def _erase(people: Iterable[Customer], now: datetime, failed: list[str]) -> int:
    """Erase people and return how many; one that can't be erased holds no other up."""
    chosen = list(people)
    before = len(failed)
    for customer in chosen:
        try:
            erase_person(customer=customer, order=ErasureOrder.AGE, now=now, actor=None)
        except NO_FAULT_OF_A_ROW:
            raise
        except Exception as error:
            failed.append(f"customer {customer.pk}: {log_fault(error, f'Erasing customer {customer.pk}')}")
    return len(chosen) - (len(failed) - before)


def _erase_messages(now: datetime) -> int:
    if not settings.MESSAGES_KEPT_DAYS:
        return 0
    limit = now - timedelta(days=settings.MESSAGES_KEPT_DAYS)
    over = [MessageStatus.SENT, MessageStatus.FAILED, MessageStatus.WITHDRAWN]
    old = Message.objects.filter(created_at__lt=limit, status__in=over).exclude(address=ERASED_ADDRESS)
    LinkUse.objects.filter(used_at__lt=limit).delete()
    with transaction.atomic():
        keys = tuple(old.values_list("pk", flat=True))
        for line in REGISTER:
            if line.days_setting == MESSAGES and keys:
                carry_out(Step(line, keys), now)
    return len(keys)


ERASED_ADDRESS = next(
    line.instead for line in REGISTER if line.table == "notifications.Message" and "address" in line.columns
)


def _delete_mail_files(now: datetime) -> int:
    folder = getattr(settings, "EMAIL_FILE_PATH", None)
    if folder is None or not settings.MAIL_FILES_KEPT_DAYS:
        return 0
    limit = (now - timedelta(days=settings.MAIL_FILES_KEPT_DAYS)).timestamp()
    old = [path for path in Path(folder).glob("*.eml") if path.stat().st_mtime < limit]
    for path in old:
        path.unlink(missing_ok=True)
    return len(old)


def _find_people_to_finish(now: datetime, failed: list[str]) -> Iterator[Customer]:
    """Yield the customers who were erased as far as it went, and of whom nothing needs the rest any more."""
    asked = Event.objects.filter(kind="customer.erased").values_list("subject_id", flat=True).distinct()
    for customer in Customer.objects.filter(pk__in=[int(key) for key in asked]).order_by("pk"):
        try:
            plan = plan_erasure(customer=customer, now=now)
        except NO_FAULT_OF_A_ROW:
            raise
        except Exception as error:
            failed.append(f"customer {customer.pk}: {log_fault(error, f'Erasing customer {customer.pk}')}")
            continue
        if any(step.erases_words for step in plan.erased):
            yield customer


def find_people_to_let_go(*, years: int, as_of: date) -> Iterator[Customer]:
    """Yield the customers whose last cover, visit and message lie more than ``years`` back and who can be erased.

    Raises:
        ValidationError: for less than a year.
    """
    if years < 1:
        raise ValidationError({"years": f"{years}: write 1 or more."})
    yield from _find_people_without_dealings_since(as_of - relativedelta(years=years))


def _find_people_without_dealings_since(limit: date) -> Iterator[Customer]:
    begins = find_moment(limit, MIDNIGHT, find_clock())
    recent_work = Treatment.objects.filter(done_on__gte=limit).values("vehicle_id")
    recent_looks = Inspection.objects.filter(done_on__gte=limit).values("vehicle_id")
    people = (
        Customer.objects.exclude(match_key__startswith=ERASED_KEY)
        .exclude(created_at__gte=begins)
        .exclude(ownerships__vehicle__in=recent_work)
        .exclude(ownerships__vehicle__in=recent_looks)
        .exclude(messages__created_at__gte=begins)
        .order_by("pk")
    )
    for customer in people:
        if not find_reasons_to_keep(customer):
            yield customer


def overwrite_free_space() -> bool:
    """Rewrite the database where something was erased since the last time; return whether it was.

    SQLite leaves what was erased in free pages and in its write-ahead log; rewritten, both hold nothing of it. On
    PostgreSQL the rows are given back to the server, which overwrites them as it works. No database does it within a
    transaction; the next call does it then.
    """
    if connection.in_atomic_block:
        return False
    with transaction.atomic():
        erased = read_events(FREE_SPACE_READER, ["customer.erased"], limit=100_000)
    if not erased:
        return False
    with connection.cursor() as cursor:
        cursor.execute("VACUUM")
        if connection.vendor == "sqlite":
            cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    with transaction.atomic():
        mark_read(FREE_SPACE_READER, erased[-1])
    return True
