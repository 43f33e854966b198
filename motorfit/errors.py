"""The base of every error that is meant for the person who runs the tool."""

from __future__ import annotations


class MotorfitError(Exception):
    """Something the user can mend.

    ``str(error)`` is the whole message: what is wrong, where, what is allowed and how to mend it. The command
    line prints it on standard error and leaves with exit code 1; nothing else of the exception is ever shown.
    """
