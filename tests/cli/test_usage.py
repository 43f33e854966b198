"""Exit codes, help and where messages go."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

import motorfit
from motorfit.cli.options import LIBRARY_VARIABLE, library_folder
from tests.cli.conftest import Run

# fmt: off
COMMANDS = (
    "demo", "new",
    "check", "fit", "show", "predict", "step", "hover", "torque", "compare", "holdout",
    "next", "report", "calibrate", "serve", "token",
)
# fmt: on


def test_version(run: Run) -> None:
    assert run("--version").out == f"motorfit {motorfit.__version__}\n"


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_explains_itself_with_an_example(run: Run, command: str) -> None:
    shown = run(command, "--help")
    assert shown.code == 0
    assert f"motorfit {command}" in shown.out.split("Example:")[1]
    if command not in ("report", "serve", "token"):  # a page, a service, a group: no answer in JSON
        assert "--json" in shown.out


def test_help_lists_the_commands_there_are_and_no_other(run: Run) -> None:
    listed = run("--help").out.split("Commands:")[1]
    assert tuple(line.split()[0] for line in listed.strip().splitlines()) == COMMANDS


@pytest.mark.parametrize(
    "arguments",
    [
        (),
        ("hoover",),
        ("show",),
        ("show", "tern-2807", "--colour"),
        ("fit", "campaign.toml", "--method", "slow"),
        ("fit", "campaign.toml", "--seed", "-1"),
        ("predict", "tern-2807", "--propeller", "p7x35x3"),
        ("predict", "tern-2807", "--propeller", "p7x35x3", "--voltage", "high"),
        ("predict", "tern-2807", "--propeller", "p7x35x3", "--voltage", "20", "--throttle", "half"),
        ("predict", "tern-2807", "--propeller", "p7x35x3", "--voltage", "20", "--current-limit", "much"),
        ("serve", "--port", "0"),
    ],
)
def test_wrong_usage_is_two_with_nothing_on_standard_output(run: Run, arguments: tuple[str, ...]) -> None:
    ran = run(*arguments)
    assert ran.code == 2
    if arguments:
        assert ran.out == ""
        assert "Usage:" in ran.err


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("show", "wren-1104"), "motor 'wren-1104': library"),
        (("show", "../x"), "motor id '../x': allowed are"),
        (("show", "tern-2807", "--fit", "newest"), "fit id 'newest'"),
        (("show", "tern-2807", "--interval", "1.5"), "1.5"),
        (("predict", "tern-2807", "--propeller", "p7x35x3", "--voltage", "-3"), "voltage"),
        (("predict", "tern-2807", "--propeller", "p8", "--voltage", "20"), "p7x35x3"),
        (
            ("predict", "tern-2807", "--propeller", "p7x35x3", "--voltage", "20", "--throttle", "0.2,1.4"),
            "1.4",
        ),
    ],
)
def test_input_at_fault_is_one_message_and_one(
    run: Run, library: Path, arguments: tuple[str, ...], message: str
) -> None:
    ran = run(*arguments, "--library", library, "--json")
    assert ran.code == 1
    assert ran.out == ""
    assert message in ran.err
    assert "Traceback" not in ran.err


def test_a_missing_campaign_writes_nothing(run: Run, tmp_path: Path) -> None:
    ran = run("fit", tmp_path / "none.toml", "--library", tmp_path / "library")
    assert (ran.code, ran.out) == (1, "")
    assert "none.toml" in ran.err
    assert not (tmp_path / "library").exists()


def test_a_fault_of_our_own_is_told_without_a_traceback(
    run: Run, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def broken(_: object) -> Path:
        raise ZeroDivisionError("division by zero")

    monkeypatch.setattr("motorfit.cli.show.library_folder", broken)
    ran = run("show", "tern-2807")
    assert ran.code == 1
    assert "fault of motorfit itself" in ran.err
    assert "ZeroDivisionError" in ran.err


def test_the_library_is_the_option_else_the_variable_else_the_users_folder(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv(LIBRARY_VARIABLE, "/from/variable")
    assert library_folder(Path("given")) == Path("given")
    assert library_folder(None) == Path("/from/variable")
    monkeypatch.delenv(LIBRARY_VARIABLE)
    assert library_folder(None).parent.name == "motorfit"


def test_help_loads_no_heavy_library() -> None:
    heavy = ["numpy", "scipy", "xarray", "numba", "pydantic", "netCDF4", "plotly", "pint", "lmfit", "fastapi"]
    code = (
        "import sys; sys.argv = ['motorfit', '--help']\n"
        "from motorfit.cli import main\n"
        "try: main()\nexcept SystemExit: pass\n"
        f"loaded = [name for name in {heavy!r} if name in sys.modules]\n"
        "sys.exit(', '.join(loaded) or 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
