"""Uploads laid out: what is hostile is refused, what is only untidy is not."""

from __future__ import annotations

import gzip
import io
import json
import tarfile
import zipfile
from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from motorfit.cli.unpack import UploadError, lay_out

LIMITS = {"files": 5, "unpacked_bytes": 10_000, "runs": 3}
TOML = 'format = 1\n[[runs]]\nid = "a"\nfile = "logs/a.csv"\n'


def _upload(folder: Path, *parts: tuple[str, str, bytes]) -> Path:
    (folder / "upload").mkdir(parents=True)
    listed = []
    for number, (part, name, content) in enumerate(parts):
        (folder / "upload" / f"{number:04d}").write_bytes(content)
        listed.append({"file": f"{number:04d}", "part": part, "name": name})
    (folder / "upload.json").write_text(json.dumps(listed))
    return folder


def _named(files: Mapping[str, str | bytes]) -> bytes:
    def fill(archive: zipfile.ZipFile) -> None:
        for name, content in files.items():
            archive.writestr(name, content)

    return _zip(fill)


def _zip(fill: Callable[[zipfile.ZipFile], None]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        fill(archive)
    return out.getvalue()


def _tar(*members: tuple[tarfile.TarInfo, bytes]) -> bytes:
    out = io.BytesIO()
    with tarfile.open(fileobj=out, mode="w:gz") as archive:
        for info, content in members:
            info.size = len(content)
            archive.addfile(info, io.BytesIO(content))
    return out.getvalue()


def _laid(tmp_path: Path, *parts: tuple[str, str, bytes]) -> Path:
    return lay_out(_upload(tmp_path / "job", *parts), tmp_path / "work", LIMITS)


@pytest.mark.parametrize("name", ["a.csv", "logs/a.csv", "logs\\a.csv", "elsewhere/a.csv"])
def test_logs_are_put_where_the_campaign_looks_for_them(tmp_path: Path, name: str) -> None:
    path = _laid(tmp_path, ("campaign", "day.toml", TOML.encode()), ("logs", name, b"1,2\n"))
    assert (path.parent / "logs" / "a.csv").read_bytes() == b"1,2\n"


def test_archives_of_both_kinds_with_a_folder_around(tmp_path: Path) -> None:
    files: dict[str, bytes] = {
        "day/campaign.toml": TOML.encode(),
        "day/logs/a.csv": b"1\n",
        "__MACOSX/day/._a": b"junk",
    }
    zipped = _named(files)
    tarred = _tar(*[(tarfile.TarInfo(name), content) for name, content in files.items()])
    for number, content in enumerate((zipped, tarred)):
        folder = tmp_path / str(number)
        folder.mkdir()
        path = _laid(folder, ("archive", "x", content))
        assert path == folder / "work" / "day" / "campaign.toml"
        assert (path.parent / "logs" / "a.csv").is_file()


def _linked() -> tarfile.TarInfo:
    info = tarfile.TarInfo("logs/a.csv")
    info.type, info.linkname = tarfile.SYMTYPE, "/etc/passwd"
    return info


def _hard() -> tarfile.TarInfo:
    info = tarfile.TarInfo("logs/a.csv")
    info.type, info.linkname = tarfile.LNKTYPE, "../../secret"
    return info


def _device() -> tarfile.TarInfo:
    info = tarfile.TarInfo("logs/a.csv")
    info.type = tarfile.CHRTYPE
    return info


def _zip_link(archive: zipfile.ZipFile) -> None:
    info = zipfile.ZipInfo("logs/a.csv")
    info.external_attr = 0o120777 << 16
    archive.writestr(info, "/etc/passwd")


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (_tar((tarfile.TarInfo("../up.toml"), b"x")), "a path inside the upload"),
        (_tar((tarfile.TarInfo("/etc/up.toml"), b"x")), "a path inside the upload"),
        (_tar((_linked(), b"")), "links and special files"),
        (_tar((_hard(), b"")), "links and special files"),
        (_tar((_device(), b"")), "links and special files"),
        (_zip(_zip_link), "links and special files"),
        (_zip(lambda a: a.writestr("a/../../up.toml", "x")), "a path inside the upload"),
        (_zip(lambda a: a.writestr("campaign.toml", "0" * 20_000)), "more than 10000 bytes"),
        (_named({f"{n}.csv": "1" for n in range(9)}), "more than 5 files"),
        (_zip(lambda a: a.writestr("a.csv", "1")), "no campaign file"),
        (_named({"a.toml": "", "b.toml": ""}), "2 campaign files"),
        (_zip(lambda a: a.writestr("campaign.toml", TOML))[:-30] + b"\0" * 8, ""),
        (_tar((tarfile.TarInfo("campaign.toml"), b"x" * 5000))[:60], ""),
    ],
    ids=[
        "above the folder",
        "absolute",
        "soft link",
        "hard link",
        "device",
        "zipped link",
        "climbing",
        "bomb",
        "many",
        "no campaign",
        "two campaigns",
        "torn zip",
        "torn tar",
    ],  # archives hold the time of their making, which would be another in every process
)
def test_hostile_archives_are_refused(tmp_path: Path, content: bytes, told: str) -> None:
    before = set(tmp_path.parent.iterdir())
    if told:
        with pytest.raises(UploadError, match=told):
            _laid(tmp_path, ("archive", "x.zip", content))
    else:
        # Cut short: no archive any more, or a damaged one; a campaign file that cannot be parsed either way.
        try:
            path = _laid(tmp_path, ("archive", "x.zip", content))
        except UploadError as error:
            assert "damaged" in str(error)
        else:
            assert path.name == "campaign.toml"
    assert set(tmp_path.parent.iterdir()) == before


@pytest.mark.parametrize(
    "name", ["/etc/passwd", "../../secret.csv", "logs/../../x", "C:\\secret", "a\\..\\..\\b"]
)
def test_a_campaign_cannot_name_files_outside(tmp_path: Path, name: str) -> None:
    toml = f"format = 1\n[[runs]]\nfile = {json.dumps(name)}\n"
    with pytest.raises(UploadError, match=r"runs\[0\]\.file.*a path inside the upload"):
        _laid(tmp_path, ("campaign", "c.toml", toml.encode()))


def test_counts_of_runs_and_names_are_bounded(tmp_path: Path) -> None:
    with pytest.raises(UploadError, match="at most 3"):
        _laid(tmp_path / "a", ("campaign", "c.toml", b"[[runs]]\n" * 4))
    (tmp_path / "b").mkdir()
    with pytest.raises(UploadError, match="two files have this name"):
        _laid(tmp_path / "b", ("campaign", "c", b""), ("logs", "a.csv", b"1"), ("logs", "a.csv", b"2"))


def test_a_gzipped_log_is_no_archive(tmp_path: Path) -> None:
    packed = gzip.compress(b"1,2\n")
    path = _laid(
        tmp_path,
        ("campaign", "c.toml", TOML.replace("a.csv", "a.csv.gz").encode()),
        ("logs", "a.csv.gz", packed),
    )
    assert (path.parent / "logs" / "a.csv.gz").read_bytes() == packed
