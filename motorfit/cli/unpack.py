"""An upload laid out as the folder of a campaign; nothing in it may lead out of that folder.

What came with the upload is only believed after a look: archives are measured while they are unpacked, not by
what they say of themselves; links, devices, absolute paths and steps upwards are refused.
"""

from __future__ import annotations

import json
import os
import shutil
import stat
import tarfile
import tomllib
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from pathlib import Path, PurePosixPath
from typing import IO, Any

from motorfit.archive.space import is_full
from motorfit.errors import MotorfitError

CAMPAIGN = "campaign.toml"
_CHUNK = 1 << 20
_LONGEST_NAME = 200
_JUNK = ("__MACOSX", ".DS_Store")


class UploadError(MotorfitError):
    """An upload that is refused."""


def lay_out(folder: Path, work: Path, limits: Mapping[str, Any]) -> Path:
    """Lay an upload out in ``work``; returns the campaign file.

    Parameters
    ----------
    folder: of the job, with ``upload.json`` and the numbered files.
    work: made here.
    limits: ``files``, ``unpacked_bytes``, ``runs``.

    Raises
    ------
    UploadError
        What was uploaded is not a campaign that may be read.
    """
    listed = json.loads((folder / "upload.json").read_text(encoding="utf-8"))
    shutil.rmtree(work, ignore_errors=True)
    work.mkdir()
    campaigns = [entry for entry in listed if entry["part"] in ("campaign", "archive")]
    if len(campaigns) != 1:
        raise UploadError(
            "An upload needs one part `campaign` (the TOML) or one archive, no more and no less."
        )
    source = folder / "upload" / campaigns[0]["file"]
    if _is_archive(source):
        _unpack(source, work, limits)
        campaign = _campaign_in(work)
    else:
        campaign = work / CAMPAIGN
        shutil.copyfile(source, campaign)
    for entry in listed:
        if entry["part"] == "logs":
            target = work / _safe(entry["name"] or entry["file"])
            if target.exists():
                raise UploadError(f"{entry['name']!r}: two files have this name. Give each its own.")
            target.parent.mkdir(parents=True, exist_ok=True)
            os.link(folder / "upload" / entry["file"], target)
    _place_logs(campaign, limits)
    return campaign


def _place_logs(campaign: Path, limits: Mapping[str, Any]) -> None:
    """Refuse paths out of the upload; put a log where the campaign looks for it."""
    try:
        raw = tomllib.loads(campaign.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError):
        return  # whoever loads it says what is wrong with it
    runs = raw.get("runs", [])
    if not isinstance(runs, list):
        return
    if len(runs) > limits["runs"]:
        raise UploadError(
            f"runs: {len(runs)} are declared; at most {limits['runs']} are taken. Split the campaign."
        )
    root = campaign.parent
    by_name: dict[str, list[Path]] = {}
    for path in sorted(root.rglob("*")):
        if path.is_file():
            by_name.setdefault(path.name, []).append(path)
    for number, run in enumerate(runs):
        name = run.get("file") if isinstance(run, dict) else None
        if not isinstance(name, str):
            continue
        try:
            target = root / _safe(name)
        except UploadError as error:
            raise UploadError(f"runs[{number}].file: {error}") from None
        found = by_name.get(target.name, [])
        if not target.exists() and len(found) == 1:
            target.parent.mkdir(parents=True, exist_ok=True)
            os.link(found[0], target)


def _safe(name: str) -> PurePosixPath:
    """Return a file's relative path; UploadError for one that could lead elsewhere."""
    path = PurePosixPath(name.replace("\\", "/"))
    parts = [part for part in path.parts if part != "."]
    wrong = (
        not parts
        or path.is_absolute()
        or ".." in parts
        or len(name) > _LONGEST_NAME
        or len(parts) > 8
        or any(ord(c) < 32 or c in ":\x7f" for c in name)
    )
    if wrong:
        raise UploadError(
            f"{name[:_LONGEST_NAME]!r}: a path inside the upload is allowed, such as logs/ramp.csv."
        )
    return PurePosixPath(*parts)


def _is_archive(path: Path) -> bool:
    if zipfile.is_zipfile(path):
        return True
    try:
        return tarfile.is_tarfile(path)
    except (OSError, EOFError, zlib.error):
        return False


def _unpack(source: Path, work: Path, limits: Mapping[str, Any]) -> None:
    left, count = int(limits["unpacked_bytes"]), 0
    try:
        for name, stream in _members(source):
            if any(part in _JUNK or part.startswith("._") for part in PurePosixPath(name).parts):
                continue
            count += 1
            if count > limits["files"]:
                raise UploadError(f"The archive holds more than {limits['files']} files.")
            target = work / _safe(name)
            if target.exists():
                raise UploadError(f"{name!r}: the archive holds it twice.")
            target.parent.mkdir(parents=True, exist_ok=True)
            with target.open("xb") as out:
                while chunk := stream.read(_CHUNK):
                    left -= len(chunk)
                    if left < 0:
                        raise UploadError(
                            f"The archive unpacks to more than {limits['unpacked_bytes']} bytes. Leave out "
                            "what the campaign does not name."
                        )
                    out.write(chunk)
    except (zipfile.BadZipFile, tarfile.TarError, zlib.error, EOFError, OSError, NotImplementedError,
            RuntimeError, ValueError) as error:  # fmt: skip
        if is_full(error):
            raise
        raise UploadError(
            f"The archive is damaged or of a kind that is not read ({type(error).__name__})."
        ) from None


def _members(source: Path) -> Iterator[tuple[str, IO[bytes]]]:
    if zipfile.is_zipfile(source):
        with zipfile.ZipFile(source) as archive:
            for info in archive.infolist():
                if info.is_dir():
                    continue
                mode = info.external_attr >> 16
                if mode and not stat.S_ISREG(mode) and stat.S_IFMT(mode):
                    raise UploadError(
                        f"{info.filename[:_LONGEST_NAME]!r}: links and special files are refused."
                    )
                if info.flag_bits & 1:
                    raise UploadError("The archive is encrypted; give it without a password.")
                with archive.open(info) as stream:
                    yield info.filename, stream
        return
    with tarfile.open(source, "r:*") as archive_:
        for member in archive_:
            if member.isdir():
                continue
            stream_ = archive_.extractfile(member) if member.isreg() and not member.issparse() else None
            if stream_ is None:
                raise UploadError(f"{member.name[:_LONGEST_NAME]!r}: links and special files are refused.")
            with stream_:
                yield member.name, stream_


def _campaign_in(work: Path) -> Path:
    found = sorted(work.rglob("*.toml"), key=lambda path: (len(path.parts), path.name != CAMPAIGN, path))
    if not found:
        raise UploadError("The archive holds no campaign file (.toml).")
    first = [path for path in found if len(path.parts) == len(found[0].parts)]
    if len(first) > 1 and found[0].name != CAMPAIGN:
        raise UploadError(f"The archive holds {len(first)} campaign files. Name the one to use {CAMPAIGN}.")
    return found[0]
