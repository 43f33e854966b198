"""Lists in pages: offset and limit, and links to the neighbours (RFC 8288)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Any, TypeVar

from fastapi import Depends, Query, Request

from .limits import DEFAULT_PAGE, MAX_PAGE

Item = TypeVar("Item")


@dataclass(frozen=True)
class Page:
    """Which part of a list is wanted."""

    offset: int
    limit: int

    def of(self, items: Sequence[Item]) -> Sequence[Item]:
        """Return the part."""
        return items[self.offset : self.offset + self.limit]

    def fields(self, total: int) -> dict[str, Any]:
        """Return what the answer says of the page."""
        return {"total": total, "offset": self.offset, "limit": self.limit}

    def links(self, request: Request, total: int) -> dict[str, str]:
        """Return the Link header, relative to the path asked, where there are neighbours."""
        places = {}
        if self.offset > 0:
            places["prev"] = max(0, self.offset - self.limit)
        if self.offset + self.limit < total:
            places["next"] = self.offset + self.limit
        links = [
            f'<{request.url.path}?offset={place}&limit={self.limit}>; rel="{name}"'
            for name, place in places.items()
        ]
        return {"Link": ", ".join(links)} if links else {}


def _page(
    offset: Annotated[int, Query(ge=0, le=10_000_000, description="Entries to leave out.")] = 0,
    limit: Annotated[int, Query(ge=1, le=MAX_PAGE, description="Entries wanted at most.")] = DEFAULT_PAGE,
) -> Page:
    return Page(offset, limit)


PageWanted = Annotated[Page, Depends(_page)]
