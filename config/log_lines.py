"""What a line of the log holds of a request: no signed link, and no traceback where the request was refused."""

import logging
import re

# A signed link is a key: whoever reads the log could open the customer's page.
SIGNED_LINK = re.compile(r"/(my|stop|calendars)/[^/\s]+")


class RequestLines(logging.Filter):
    """Django logs a refusal with the traceback of the exception that the page is made from."""

    def filter(self, record: logging.LogRecord) -> bool:
        if 400 <= getattr(record, "status_code", 0) < 500:
            record.exc_info = None
        record.msg, record.args = SIGNED_LINK.sub(r"/\1/…", record.getMessage()), ()
        return True
