"""Questions that a stored fit cannot answer."""

from __future__ import annotations

from motorfit.errors import MotorfitError


class AnswerError(MotorfitError):
    """A question to a fit that names something unknown or impossible.

    Parameters
    ----------
    what:
        The option or argument at fault, as the user wrote it.
    value:
        The value given.
    allowed:
        What would have been accepted.
    remedy:
        How to mend the question.
    """

    def __init__(self, what: str, value: object, allowed: str, remedy: str) -> None:
        self.what = what
        self.value = value
        self.allowed = allowed
        self.remedy = remedy
        super().__init__(f"{what}: {value!r} cannot be used; allowed: {allowed}. {remedy}")
