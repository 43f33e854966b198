"""Keeping what was uploaded, byte for byte, until a worker looks at it. Nothing is parsed here.

Files are numbered; the names they came with are only written down, so no name can lead anywhere. All of it is
on the disk before the job is.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import time
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, BinaryIO

from motorfit.archive.durable import sync_file, sync_folder

FOLDER = "jobs"
MANIFEST = "upload.json"
FILES = "upload"
_CHUNK = 1 << 20
_ABANDONED_S = 3600.0


class Uploads:
    """The folders of jobs in the service's state."""

    def __init__(self, state: Path) -> None:
        self.root = state / FOLDER

    def folder(self, job: str) -> Path:
        """Return a job's folder."""
        return self.root / job

    def keep(self, job: str, files: Iterable[tuple[str, str, BinaryIO]], options: Mapping[str, Any]) -> str:
        """Write the files of a job, each with its part's name and file name; returns their fingerprint.

        The fingerprint is the SHA-256 of names, contents and options: equal uploads have equal ones.
        """
        folder = self.folder(job)
        (folder / FILES).mkdir(parents=True, mode=0o700)
        folder.chmod(0o700)
        whole = hashlib.sha256(json.dumps(dict(options), sort_keys=True).encode())
        listed = []
        for number, (part, name, stream) in enumerate(files):
            path = folder / FILES / f"{number:04d}"
            digest = hashlib.sha256()
            with path.open("wb") as out:
                while chunk := stream.read(_CHUNK):
                    digest.update(chunk)
                    out.write(chunk)
            sync_file(path)
            listed.append({"file": path.name, "part": part, "name": name})
            whole.update(f"{part}\0{name}\0{digest.hexdigest()}\0".encode())
        self._finish(folder, listed)
        return whole.hexdigest()

    def reuse(self, job: str, earlier: str, options: Mapping[str, Any]) -> str | None:
        """Give a job the files of an earlier one; None where they are gone."""
        source, folder = self.folder(earlier), self.folder(job)
        if not (source / MANIFEST).is_file():
            return None
        (folder / FILES).mkdir(parents=True, mode=0o700)
        listed = json.loads((source / MANIFEST).read_text(encoding="utf-8"))
        for entry in listed:
            try:
                os.link(source / FILES / entry["file"], folder / FILES / entry["file"])
            except OSError:
                shutil.copyfile(source / FILES / entry["file"], folder / FILES / entry["file"])
                sync_file(folder / FILES / entry["file"])
        self._finish(folder, listed)
        return hashlib.sha256(json.dumps([earlier, dict(options)], sort_keys=True).encode()).hexdigest()

    def discard(self, job: str) -> None:
        """Remove a job's folder."""
        shutil.rmtree(self.folder(job), ignore_errors=True)

    def spend(self, job: str, *, keep_upload: bool) -> None:
        """Remove what a job that has ended needs no more."""
        for name in ("work",) if keep_upload else ("work", FILES, MANIFEST):
            path = self.folder(job) / name
            if path.is_dir():
                shutil.rmtree(path, ignore_errors=True)
            else:
                path.unlink(missing_ok=True)

    def sweep(self, known: Iterable[str]) -> None:
        """Remove folders of no job: their upload was never acknowledged."""
        held = set(known)
        if not self.root.is_dir():
            return
        for folder in self.root.iterdir():
            try:
                old = time.time() - folder.stat().st_mtime > _ABANDONED_S
            except OSError:
                continue
            if old and folder.name not in held:
                shutil.rmtree(folder, ignore_errors=True)

    def _finish(self, folder: Path, listed: list[dict[str, str]]) -> None:
        (folder / MANIFEST).write_text(json.dumps(listed), encoding="utf-8")
        sync_file(folder / MANIFEST)
        for place in (folder / FILES, folder, self.root, self.root.parent):
            sync_folder(place)
