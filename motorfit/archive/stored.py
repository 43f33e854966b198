"""What a library says of a fit without reading its draws."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from motorfit.archive import netcdf, text
from motorfit.archive.errors import ArchiveError
from motorfit.archive.files import FitFile
from motorfit.archive.identity import campaign_fit_of

_KEPT = ("campaign", "bench", "method", "created")


@dataclass(frozen=True)
class StoredFit:
    """One fit in a library.

    Attributes
    ----------
    motor, fit_id, path: which fit, and where.
    size_bytes: length of the file.
    campaign, bench, method, created: title, stand, path of inference and time (ISO 8601, UTC); empty where
        unknown.
    problem: why the file cannot be read, or None.
    """

    motor: str
    fit_id: str
    path: Path
    size_bytes: int
    campaign: str = ""
    bench: str = ""
    method: str = ""
    created: str = ""
    problem: str | None = None

    @property
    def campaign_fit(self) -> str:
        """Equal for motors fitted together, whose draws share the bench's draws."""
        return campaign_fit_of(self.fit_id)

    def facts(self) -> dict[str, str]:
        """Return what the catalogue keeps of the file's content."""
        return {name: getattr(self, name) for name in _KEPT}

    @classmethod
    def from_facts(cls, root: Path, file: FitFile, facts: dict[str, str]) -> StoredFit:
        """Return the fit of a file whose content is already known."""
        kept = {name: str(facts[name]) for name in _KEPT}
        return cls(file.motor, file.fit_id, file.path(root), file.size_bytes, **kept)

    def to_json(self) -> dict[str, Any]:
        """Return plain types, without the path on this machine."""
        fields = asdict(self)
        del fields["path"]
        fields["fit"] = fields.pop("fit_id")
        return {**fields, "campaign_fit": self.campaign_fit}


def describe(root: Path, file: FitFile) -> StoredFit:
    """Describe a fit from its file; a file that cannot be read is described with its problem."""
    path = file.path(root)
    try:
        attributes = text.from_attributes(netcdf.read_attributes(path))
        if attributes.get("motor") != file.motor:
            raise ArchiveError(
                f"{path}: holds motor {attributes.get('motor')!r}, not {file.motor!r}. Move it out."
            )
    except ArchiveError as error:
        return StoredFit(file.motor, file.fit_id, path, file.size_bytes, problem=str(error))
    kept = {name: str(attributes.get(name, "")) for name in _KEPT}
    return StoredFit(file.motor, file.fit_id, path, file.size_bytes, **kept)
