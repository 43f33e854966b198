"""What a reader of a comparison must be told about it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Note:
    """One remark: a code for machines, a sentence for people, the motors it is of (none: all)."""

    code: str
    message: str
    motors: tuple[str, ...] = ()

    def to_json(self) -> dict[str, object]:
        """Return ``{"code": ..., "message": ..., "motors": [...]}``."""
        return {"code": self.code, "message": self.message, "motors": list(self.motors)}
