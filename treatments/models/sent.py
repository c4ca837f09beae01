"""What a form from a tablet has sent: which forms have arrived, and pictures that wait for their form.

A form key is given out with an empty form; whatever arrives twice under one key is recorded once.
"""

from django.conf import settings
from django.db import models

from treatments.models.materials import Zone


class SentForm(models.Model):
    """One form that has arrived, with what came of it; a second arrival is answered from here."""

    key = models.UUIDField(unique=True)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
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
