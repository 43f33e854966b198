"""What can go wrong with a library, told to the person who uses it."""

from __future__ import annotations

from motorfit.errors import MotorfitError


class ArchiveError(MotorfitError):
    """A library, a motor or a fit that is missing, unreadable or cannot be written."""


class NotFoundError(ArchiveError):
    """A motor or a fit that the library does not hold."""
