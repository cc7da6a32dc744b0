"""The package's own source, parsed: what the tests of its shape look at."""

import ast
from functools import cache
from pathlib import Path

import hardiness

PACKAGE = Path(hardiness.__file__).parent
ROOT = PACKAGE.parent
NAME = PACKAGE.name


@cache
def parsed() -> dict[str, ast.Module]:
    """Every module of the package by its dotted name; a folder's ``__init__`` has the name of the folder."""
    trees = {}
    for path in sorted(PACKAGE.rglob("*.py")):
        parts = [NAME, *path.relative_to(PACKAGE).with_suffix("").parts]
        name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
        trees[name] = ast.parse(path.read_text(encoding="utf-8"), filename=str(path))
    return trees


def line_counts() -> dict[str, int]:
    """How many lines each file of the package has, by its path in the package."""
    return {
        path.relative_to(PACKAGE).as_posix(): len(path.read_text(encoding="utf-8").splitlines())
        for path in sorted(PACKAGE.rglob("*.py"))
    }
