"""Answers kept in memory by their validator, the last ones used: the same question is not computed twice."""

from __future__ import annotations

import threading
from collections import OrderedDict


class Kept:
    """Bodies by validator, up to so many bytes in all; 0 keeps nothing."""

    def __init__(self, most_bytes: int) -> None:
        self._most = most_bytes
        self._size = 0
        self._bodies: OrderedDict[str, bytes] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, tag: str) -> bytes | None:
        """Return the body that a validator names, where it is kept."""
        with self._lock:
            body = self._bodies.get(tag)
            if body is not None:
                self._bodies.move_to_end(tag)
            return body

    def put(self, tag: str, body: bytes) -> None:
        """Keep a body, and let the longest unused ones go."""
        # One answer does not drive out all others.
        if len(body) > self._most // 8:
            return
        with self._lock:
            if tag in self._bodies:
                return
            self._bodies[tag] = body
            self._size += len(body)
            while self._size > self._most:
                _, gone = self._bodies.popitem(last=False)
                self._size -= len(gone)
