"""Celery's queue as files, for the embedded size: kombu's transport, with each message put in place whole.

Kombu writes into the file that readers look for already; a reader between would take half a message.
"""

import uuid
from pathlib import Path
from time import time_ns
from typing import Any

from kombu.transport import filesystem
from kombu.utils.json import dumps


class Channel(filesystem.Channel):
    """Writes a message aside and renames it, which is one step for the file system."""

    def _put(self, queue: Any, payload: Any, **kwargs: Any) -> None:  # type: ignore[override]
        folder = Path(self.data_folder_out)
        key = uuid.uuid4()
        written = folder / f"{key}.written"
        written.write_text(dumps(payload), encoding="utf-8")  # type: ignore[no-untyped-call]
        # Readers sort by name; nineteen digits of nanoseconds keep the order of asking.
        written.rename(folder / f"{time_ns():019d}_{key}.{queue}.msg")


class Transport(filesystem.Transport):
    """Kombu's transport with the channel above."""

    Channel = Channel
