"""The rules of the house that a reviewer would otherwise have to remember."""

from __future__ import annotations

import ast
import re
import runpy
import tomllib
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "motorfit"

# Each room imports only rooms above it. `errors` and `units` belong to the first.
ROOMS = (
    "quantities",
    "physics",
    "bench",
    "inference",
    "archive",
    "answers",
    "synthetic",
    "calibration",
    "report",
    "cli",
)
FIRST = ("compiled", "errors", "lanes", "lanes_math", "quantities", "units", "__init__")
LONGEST_FILE = 400


def _sources(folder: Path) -> list[Path]:
    return sorted(path for path in folder.rglob("*.py") if "__pycache__" not in path.parts)


def _room(path: Path) -> str:
    top = path.relative_to(PACKAGE).parts[0].removesuffix(".py")
    return "quantities" if top in FIRST else top


def _imports(path: Path) -> Iterator[tuple[int, str]]:
    """Yield line and room of every import of the package, deferred ones and those for types too."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}:{node.lineno}: relative import"
            module = node.module or ""
            names = [f"{module}.{alias.name}" for alias in node.names] if module == "motorfit" else [module]
        else:
            continue
        for name in names:
            parts = name.split(".")
            if parts[0] == "motorfit_api":
                yield node.lineno, "api"
            elif parts[0] == "motorfit" and len(parts) > 1 and not parts[1].startswith("__"):
                yield node.lineno, "quantities" if parts[1] in FIRST else parts[1]


def test_each_room_imports_only_rooms_above_it() -> None:
    wrong = []
    for path in _sources(PACKAGE):
        room = _room(path)
        allowed = set(ROOMS[: ROOMS.index(room) + 1])
        if room == "cli":
            allowed.add("api")  # `serve` starts the service
        for line, imported in _imports(path):
            if imported not in allowed:
                wrong.append(f"{path.relative_to(ROOT)}:{line}: {room} imports {imported}")
    assert wrong == []


def test_the_service_takes_its_numbers_from_answers_and_archive() -> None:
    allowed = {"quantities", "archive", "answers"}
    for path in _sources(ROOT / "api"):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for node in ast.walk(tree):
            if (
                isinstance(node, ast.ImportFrom)
                and node.level == 0
                and (node.module or "").startswith("motorfit.")
            ):
                top = str(node.module).split(".")[1]
                assert ("quantities" if top in FIRST else top) in allowed, f"{path}:{node.lineno}"


def test_files_stay_small() -> None:
    long = {}
    for folder in (PACKAGE, ROOT / "api", ROOT / "tests"):
        for path in _sources(folder):
            lines = len(path.read_text(encoding="utf-8").splitlines())
            if lines > LONGEST_FILE:
                long[str(path.relative_to(ROOT))] = lines
    assert long == {}


def test_no_library_code_prints_or_asserts() -> None:
    wrong = []
    for path in _sources(PACKAGE) + _sources(ROOT / "api"):
        if _in_cli(path):
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            printed = (
                isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "print"
            )
            if printed or isinstance(node, ast.Assert):
                wrong.append(f"{path.relative_to(ROOT)}:{getattr(node, 'lineno', 0)}")
    assert wrong == []


def _in_cli(path: Path) -> bool:
    return (PACKAGE / "cli") in path.parents


def test_every_package_is_named_for_installation() -> None:
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]
    folders = {path.parent for path in _sources(PACKAGE) if path.name == "__init__.py"}
    found = {".".join(folder.relative_to(ROOT).parts) for folder in folders}
    assert set(settings["packages"]) == found | {"motorfit_api"}
    assert settings["package-dir"] == {"motorfit_api": "api"}


def test_every_dependency_has_both_bounds() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    for line in [*project["dependencies"], *project["optional-dependencies"]["dev"]]:
        assert re.fullmatch(r"[\w-]+(\[[\w,]+\])?>=[\d.]+,<[\d.]+", line), line


def test_the_nomenclature_page_says_what_the_table_says() -> None:
    made = runpy.run_path(str(ROOT / ".ci" / "make_nomenclature.py"))["page"]()
    page = (ROOT / "docs" / "nomenclature.md").read_text(encoding="utf-8")
    assert page == made, "run: python .ci/make_nomenclature.py"


def test_links_between_pages_lead_somewhere() -> None:
    pages = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))]
    for page in pages:
        for target in re.findall(r"\]\(([^)#:]+)(?:#[^)]*)?\)", page.read_text(encoding="utf-8")):
            assert (page.parent / target).exists(), f"{page.name}: {target}"
