"""The log: one JSON object a line, or plain text, and never what a patient's record says.

Messages of ours hold no patient data. Those of libraries may quote what they were given, and so may
the text of an exception: of both only the kind is told, and where it arose.
"""

from __future__ import annotations

import json
import logging
import sys
from datetime import UTC, datetime

from brachium.api.edge import place_of

# whose messages are fixed sentences with figures of their own
SPEAKING = ("brachium", "uvicorn")


def message(record: logging.LogRecord) -> str:
    """Return what a record may say."""
    if record.name.split(".")[0] in SPEAKING:
        return record.getMessage()
    return "not shown, for it may quote patient data"


def failure(record: logging.LogRecord) -> dict[str, str]:
    """Return the kind and place of the exception that a record tells of, if it does."""
    error = record.exc_info[1] if record.exc_info else None
    if error is None:
        return {}
    return {"error": type(error).__name__, "place": place_of(error)}


class JsonLines(logging.Formatter):
    """One JSON object a line: at, level, logger, message, then the fields that the record has."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line."""
        moment = datetime.fromtimestamp(record.created, UTC)
        told = {
            "at": f"{moment:%Y-%m-%dT%H:%M:%S}.{moment.microsecond // 1000:03d}Z",
            "level": record.levelname,
            "logger": record.name,
            "message": message(record),
            **getattr(record, "fields", {}),
            **failure(record),
        }
        return json.dumps(told)


class TextLines(logging.Formatter):
    """The same for people: time, level, logger, message."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line."""
        fault = " ".join(failure(record).values())
        words = (self.formatTime(record), record.levelname, record.name, message(record), fault)
        return " ".join(words).rstrip()


FORMATS = {"json": JsonLines, "text": TextLines}


def begin(form: str) -> None:
    """Send everything that is logged to standard error in this form."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(FORMATS[form]())
    logging.basicConfig(level=logging.INFO, handlers=[handler], force=True)
    # its lines are the addresses that are fetched, which are not ours to tell
    logging.getLogger("httpx").setLevel(logging.WARNING)
