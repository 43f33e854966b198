"""Set up an environment with the project in it and pass its checks: lint, format, types, tests, install.

Usage: python3 .ci/setup_and_test.py [--environment DIR] [-- PYTEST_ARGUMENTS...]

Needs only Python 3.11 or newer with pip; everything else is installed into the environment
(`.venv-test` unless told otherwise, reused when it is already there).
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import venv
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
OLDEST_PYTHON = (3, 11)


def run(*command: str | Path, cwd: Path = ROOT) -> int:
    """Run one step, echoed, and return its exit code."""
    print("+", *command, flush=True)
    environment = {**os.environ, "PIP_DISABLE_PIP_VERSION_CHECK": "1"}
    environment.pop("PYTHONPATH", None)
    return subprocess.run([str(part) for part in command], cwd=cwd, env=environment, check=False).returncode


def interpreter(environment: Path) -> Path:
    """Return the environment's Python, made first where there is none."""
    folder = environment / ("Scripts" if os.name == "nt" else "bin")
    python = folder / ("python.exe" if os.name == "nt" else "python")
    if not python.exists():
        print(f"making {environment}", flush=True)
        venv.create(environment, with_pip=True)
    return python


def wheel_works(python: Path) -> bool:
    """Whether a plain (not editable) install carries both packages; else it would only fail at the user's."""
    with tempfile.TemporaryDirectory() as scratch:
        target = Path(scratch) / "site"
        installed = run(python, "-m", "pip", "install", "--quiet", "--no-deps", "--target", target, ROOT)
        if installed != 0:
            return False
        probe = (
            f"import sys; sys.path.insert(0, {str(target)!r})\n"
            "import motorfit, motorfit.cli, motorfit_api\n"
            f"assert motorfit.__file__.startswith({str(target)!r}), motorfit.__file__\n"
            f"assert motorfit_api.__file__.startswith({str(target)!r}), motorfit_api.__file__\n"
        )
        return run(python, "-c", probe, cwd=Path(scratch)) == 0


def main() -> int:
    """Run every step; the exit code is 0 only when all of them passed."""
    if sys.version_info < OLDEST_PYTHON:
        needed = ".".join(map(str, OLDEST_PYTHON))
        print(f"This is Python {sys.version.split()[0]}; {needed} or newer is needed.", file=sys.stderr)
        return 2
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--environment", type=Path, default=ROOT / ".venv-test", metavar="DIR")
    parser.add_argument("pytest_arguments", nargs="*", metavar="PYTEST_ARGUMENT")
    options = parser.parse_args()
    python = interpreter(options.environment)
    if run(python, "-m", "pip", "install", "--quiet", "--editable", f"{ROOT}[dev]") != 0:
        print("The installation failed; nothing was tested.", file=sys.stderr)
        return 1
    failed = []
    if run(python, "-m", "ruff", "check", ".") != 0:
        failed.append("lint")
    if run(python, "-m", "ruff", "format", "--check", ".") != 0:
        failed.append("format")
    if run(python, "-m", "mypy") != 0:
        failed.append("types")
    if not wheel_works(python):
        failed.append("plain install")
    # Last, so that the test runner's summary closes the output.
    tests = run(python, "-m", "pytest", "-n", "2", *options.pytest_arguments)
    if tests == 5:
        print("The test runner found no test to run.", file=sys.stderr)
    if tests != 0:
        failed.append("tests")
    if failed:
        print(f"Failed: {', '.join(failed)}.", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
