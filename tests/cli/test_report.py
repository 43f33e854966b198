"""`motorfit report`: one page of a library's motors, whole or not at all."""

from __future__ import annotations

from pathlib import Path

from tests.cli.conftest import Run


def test_report_writes_one_page(run: Run, library: Path, tmp_path: Path) -> None:
    out = tmp_path / "page.html"
    ran = run(
        "report", "tern-2807", "gull-2306", "--library", library, "--out", out, "--weights", "max_thrust_n=1"
    )
    assert (ran.code, ran.out) == (0, "")
    assert str(out) in ran.err
    page = out.read_text(encoding="utf-8")
    for text in (
        "Before you use these numbers",
        "<h2>Compared",
        "p7x35x3 at 22.3 V",
        "tern-2807",
        "gull-2306",
    ):
        assert text in page
    assert 'src="http' not in page


def test_report_of_one_motor_at_a_stated_voltage(run: Run, library: Path, tmp_path: Path) -> None:
    out = tmp_path / "page.html"
    ran = run(
        "report", "tern-2807", "--library", library, "--out", out, "--propeller", "8x4x2", "--voltage", "16"
    )
    assert ran.code == 0
    assert "8x4x2 at 16 V" in out.read_text(encoding="utf-8")


def test_report_says_what_it_cannot_do(run: Run, library: Path, tmp_path: Path) -> None:
    assert run("report", "tern-2807", "--library", library).code == 2
    ran = run("report", "heron", "--library", library, "--out", tmp_path / "page.html")
    assert ran.code == 1 and "holds no fit of it" in ran.err
    ran = run("report", "tern-2807", "--library", library, "--out", tmp_path / "none" / "page.html")
    assert ran.code == 1 and "cannot be written" in ran.err
    assert not (tmp_path / "page.html").exists()
