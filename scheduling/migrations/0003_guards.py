"""Empty: what the database refuses stands in guards.py and is put in place after every migrate."""

from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("scheduling", "0002_initial")]
    operations: list[migrations.RunPython] = []
