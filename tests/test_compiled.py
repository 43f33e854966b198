"""No compiled function may outlive the source it came from."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

from motorfit import compiled

PACKAGE = Path(compiled.__file__).resolve().parent
ROOT = PACKAGE.parent
COMPILERS = {"jit", "njit", "generated_jit", "vectorize", "guvectorize", "stencil", "cfunc"}


def _trees(*folders: str) -> Iterator[tuple[Path, ast.Module]]:
    for folder in folders:
        for path in sorted((ROOT / folder).rglob("*.py")):
            yield path, ast.parse(path.read_text(encoding="utf-8"))


def _imported(tree: ast.Module) -> Iterator[tuple[str, str]]:
    """Yield module and name of every `from module import name`."""
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom):
            for alias in node.names:
                yield node.module or "", alias.name


def _kernel_files() -> dict[str, ast.Module]:
    return {
        path.relative_to(PACKAGE).as_posix(): tree
        for path, tree in _trees("motorfit")
        if ("motorfit.compiled", "kernel") in _imported(tree)
    }


def test_nothing_but_the_one_decorator_compiles() -> None:
    wrong = []
    for path, tree in _trees("motorfit", "api"):
        if path == PACKAGE / "compiled.py":
            continue
        names = {name for module, name in _imported(tree) if module.split(".")[0] == "numba"}
        names |= {
            node.attr
            for node in ast.walk(tree)
            if isinstance(node, ast.Attribute)
            and isinstance(node.value, ast.Name)
            and node.value.id in ("numba", "nb")
        }
        wrong += [f"{path.relative_to(ROOT)}: numba.{name}" for name in sorted(names & COMPILERS)]
    assert wrong == []


def test_every_file_with_kernels_is_in_the_key_of_the_cache() -> None:
    holding = set(_kernel_files())
    assert "physics/forward.py" in holding  # the search itself works
    assert holding <= set(compiled._SOURCES)


def test_files_whose_constants_kernels_freeze_are_in_the_key_of_the_cache() -> None:
    missing = set()
    for tree in _kernel_files().values():
        for module, name in _imported(tree):
            if module.startswith("motorfit.") and name.isupper():
                source = module.removeprefix("motorfit.").replace(".", "/") + ".py"
                missing |= {source} - set(compiled._SOURCES)
    assert missing == set()


def test_every_file_in_the_key_of_the_cache_exists() -> None:
    assert [name for name in compiled._SOURCES if not (PACKAGE / name).is_file()] == []
    assert len(set(compiled._SOURCES)) == len(compiled._SOURCES)
