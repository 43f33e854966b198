"""Structured logs: one JSON object a line on standard error, without bodies, queries or headers."""

from __future__ import annotations

import json
import logging
import sys
from datetime import UTC, datetime
from typing import Any

NAME = "motorfit.service"
_PLAIN = frozenset(logging.LogRecord("", 0, "", 0, "", (), None).__dict__) | {
    "message",
    "asctime",
    "taskName",
}


class JsonLines(logging.Formatter):
    """A record as one line of JSON: time, level, event, and the fields given as ``extra``."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line."""
        moment = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")
        fields: dict[str, Any] = {
            "time": moment.replace("+00:00", "Z"),
            "level": record.levelname.lower(),
            "event": record.getMessage(),
        }
        fields |= {name: value for name, value in record.__dict__.items() if name not in _PLAIN}
        if record.exc_info:
            fields["exception"] = self.formatException(record.exc_info)
        return json.dumps(fields, ensure_ascii=False, default=str)


def set_up(level: int = logging.INFO) -> None:
    """Send the service's log, and the server's own, to standard error."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(JsonLines())
    for name, least in ((NAME, level), ("uvicorn", logging.WARNING)):
        logger = logging.getLogger(name)
        logger.handlers = [handler]
        logger.setLevel(least)
        logger.propagate = False
