"""The event log: append-only, each entry carrying the hash of the one before, keyed with what no table holds. What a
form from a tablet has sent: which forms have arrived, and pictures that wait for their form.
"""

from django.conf import settings
from django.db import models

from treatments.models.materials import Zone


class SentForm(models.Model):
    """One form that has arrived, with what came of it; a second arrival is answered from here."""

    key = models.UUIDField(unique=True)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+",
        help_text="nobody of the shop: a customer, whom the purpose names",
    )  # fmt: skip
    purpose = models.CharField(max_length=120, help_text="what the form was for, with its vehicle or record")
    content_sha256 = models.CharField(max_length=64)
    outcome = models.CharField(max_length=200, help_text="the address of the record that came of it")
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"form {self.key}"


class KeptPhoto(models.Model):
    """A picture that was taken in before its form: drawn anew already, and of nobody's record until the form comes."""

    form_key = models.UUIDField()
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    zone = models.ForeignKey(Zone, on_delete=models.CASCADE, related_name="+")
    image = models.ImageField(upload_to="photos/%Y/%m/")
    sha256 = models.CharField(max_length=64)
    name = models.CharField(max_length=200, help_text="the file's name on the tablet, for the person who sent it")
    recorded_at = models.DateTimeField(db_index=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["form_key", "zone", "sha256"], name="kept_photo_once_per_form_and_zone")
        ]

    def __str__(self) -> str:
        return f"kept photo {self.pk}"


class Event(models.Model):
    """One thing that happened. Never updated, never deleted (held by database triggers)."""

    position = models.BigIntegerField(primary_key=True)
    happened_at = models.DateTimeField()
    actor = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    kind = models.CharField(max_length=60)
    subject = models.CharField(max_length=60, help_text="what it is about, e.g. vehicle")
    subject_id = models.CharField(max_length=40)
    before = models.JSONField(null=True, blank=True)
    after = models.JSONField(null=True, blank=True)
    signed = models.JSONField(
        null=True, blank=True, help_text="digests of the signed-off rows that it stands for, by list and key"
    )
    key_name = models.CharField(max_length=8, help_text="which key it was written with; see treatments.event_log.keys")
    previous_hash = models.CharField(max_length=64)
    hash = models.CharField(max_length=64, unique=True)

    class Meta:
        ordering = ["position"]
        indexes = [models.Index(fields=["subject", "subject_id"])]

    def __str__(self) -> str:
        return f"{self.position} {self.kind}"


class EventWords(models.Model):
    """A person's words that belong to an event. The event holds their salted digest only, so that they can be erased.

    Never changed (held by a database trigger). Deleted only by an erasure, which is an event itself.
    """

    event = models.ForeignKey(Event, on_delete=models.PROTECT, related_name="words")
    path = models.CharField(max_length=120, help_text="where in the event they stand, such as after.reason")
    text = models.TextField()
    salt = models.CharField(max_length=32)

    class Meta:
        ordering = ["event_id", "path"]
        verbose_name_plural = "event words"
        constraints = [
            models.UniqueConstraint(fields=["event", "path"], name="event_words_once"),
            models.CheckConstraint(condition=~models.Q(salt=""), name="event_words_are_salted"),
        ]

    def __str__(self) -> str:
        return f"{self.event_id} {self.path}"


class EventLogHead(models.Model):
    """The last position and hash. Its one row is the lock under which entries are chained."""

    id = models.PositiveSmallIntegerField(primary_key=True, default=1)
    position = models.BigIntegerField(default=0)
    hash = models.CharField(max_length=64, default="0" * 64)
    key_name = models.CharField(max_length=8, blank=True)
    keyed_hash = models.CharField(max_length=64, blank=True, help_text="of position and hash")

    class Meta:
        constraints = [models.CheckConstraint(condition=models.Q(id=1), name="one_event_log_head")]

    def __str__(self) -> str:
        return f"event log at {self.position}"


class EventReader(models.Model):
    """How far one reader of the event log has come."""

    name = models.CharField(max_length=60, primary_key=True)
    position = models.BigIntegerField(default=0)

    def __str__(self) -> str:
        return f"{self.name} at {self.position}"
