"""The order of the package: a file imports only from layers below its own, and nothing in a circle."""

import ast
import re
import sys
import tomllib
from collections.abc import Iterator
from graphlib import CycleError, TopologicalSorter
from importlib.metadata import packages_distributions

import pytest

from tests.sources import NAME, ROOT, line_counts, parsed

# From the ground up. A folder stands for all of its files.
LAYERS = (
    {
        "errors",
        "units",
        "schema",
        "effects",
        "computing",
        "settings",
        "settings_reading",
        "settings_writing",
        "words",
        "plainwords",
        "sentences",
    },
    {"read"},
    {"weather"},
    {"timelines", "windows", "remarks", "observations", "covariates"},
    {"tolerance"},
    {"flow"},
    {"store", "figures", "report", "trial", "demo", "durations", "glance"},
    {"cli", "commands", "web", "__init__", "__main__"},  # doors; the package's own names are one
)
# Units of one layer that may lean on each other, circles excepted. Elsewhere in a layer they stand apart.
TOGETHER = (LAYERS[0], LAYERS[3], LAYERS[7])
SIDEWAYS = {("trial", "store"), ("report", "figures")}
IMPORTED_WHEN_USED = {f"{NAME}.cli", NAME}  # verbs and public names, so that the command line answers at once
OPTIONAL_EXTRAS = {"psycopg", "distributed"}  # may be imported where it is used
MOST_LINES = 400


def unit_of(module: str) -> str:
    """The file or folder of the package that a module belongs to."""
    return module.split(".")[1] if "." in module else "__init__"


def layer_of(unit: str) -> int:
    return next(number for number, units in enumerate(LAYERS) if unit in units)


def imports_in(tree: ast.AST) -> Iterator[ast.Import | ast.ImportFrom]:
    return (node for node in ast.walk(tree) if isinstance(node, ast.Import | ast.ImportFrom))


def names_imported(node: ast.Import | ast.ImportFrom) -> list[str]:
    """Modules that an import names; ``from package import module`` names the module, not the package."""
    if isinstance(node, ast.Import):
        return [alias.name for alias in node.names]
    home = node.module or ""
    inside = [f"{home}.{alias.name}" for alias in node.names]
    return [name if name in parsed() else home for name in inside]


def own_imports() -> dict[str, set[str]]:
    """Modules of the package that each of its modules imports."""
    found = {module: set() for module in parsed()}
    for module, tree in parsed().items():
        for node in imports_in(tree):
            found[module] |= {name for name in names_imported(node) if name.split(".")[0] == NAME}
    return found


def breach(importer: str, imported: str) -> str | None:
    """Why one module may not import another; None where it may."""
    one, other = unit_of(importer), unit_of(imported)
    if one == other:
        return None
    above, below = layer_of(one), layer_of(other)
    if below > above:
        return f"{importer} (layer {above}) imports {imported} (layer {below}), which stands above it"
    apart = below == above and (one, other) not in SIDEWAYS and not any({one, other} <= group for group in TOGETHER)
    return f"{importer} imports {imported}, which stands beside it" if apart else None


def circle_in(imports: dict[str, set[str]]) -> list[str]:
    try:
        TopologicalSorter(imports).prepare()
    except CycleError as error:
        return error.args[1]
    return []


def test_every_file_is_placed_in_one_layer_and_every_place_is_a_file():
    placed = [unit for layer in LAYERS for unit in layer]
    assert len(placed) == len(set(placed))
    assert {unit_of(module) for module in parsed()} == set(placed)


def test_no_file_imports_from_above_or_from_beside():
    breaches = [breach(importer, name) for importer, names in own_imports().items() for name in sorted(names)]
    assert [text for text in breaches if text] == []


def test_no_imports_run_in_a_circle():
    assert circle_in(own_imports()) == []


@pytest.mark.parametrize(
    "importer, imported, why",
    [
        ("weather.freezes", "tolerance.fit", "stands above it"),
        ("trial", "figures.summary", "stands beside it"),
        ("figures.summary", "store", "stands beside it"),
        ("flow", "cli", "stands above it"),
        ("schema", "__init__", "stands above it"),
        ("trial", "store.store", None),
        ("words", "units", None),
        ("commands.paper", "figures.saving", None),
    ],
)
def test_the_rule_catches_what_it_should(importer, imported, why):
    home = NAME if imported == "__init__" else f"{NAME}.{imported}"
    found = breach(f"{NAME}.{importer}", home)
    assert found is None if why is None else found.endswith(why)


def test_the_rule_sees_every_form_of_import_and_a_circle():
    text = "import hardiness.store\nfrom hardiness import units\ndef f():\n    from hardiness.flow import Flow\n"
    names = [name for node in imports_in(ast.parse(text)) for name in names_imported(node)]
    assert names == ["hardiness.store", "hardiness.units", "hardiness.flow"]
    assert set(circle_in({"a": {"b"}, "b": {"c"}, "c": {"a"}})) == {"a", "b", "c"}


def test_imports_are_absolute():
    relative = [
        f"{module}, line {node.lineno}"
        for module, tree in parsed().items()
        for node in imports_in(tree)
        if isinstance(node, ast.ImportFrom) and node.level
    ]
    assert relative == []


def test_nothing_is_imported_inside_a_function():
    inside = []
    for module, tree in parsed().items():
        for function in ast.walk(tree):
            if not isinstance(function, ast.FunctionDef | ast.AsyncFunctionDef):
                continue
            for node in imports_in(function):
                if not {name.split(".")[0] for name in names_imported(node)} <= OPTIONAL_EXTRAS:
                    inside.append(f"{module}, line {node.lineno}")
            calls = {ast.unparse(node.func).split(".")[-1] for node in ast.walk(function) if isinstance(node, ast.Call)}
            if calls & {"import_module", "__import__"} and module not in IMPORTED_WHEN_USED:
                inside.append(f"{module}, {function.name}")
    assert inside == []


def test_the_library_prints_nothing():
    printing = [
        f"{module}, line {node.lineno}"
        for module, tree in parsed().items()
        if unit_of(module) != "commands"
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and ast.unparse(node.func) == "print"
    ]
    assert printing == []


def test_only_the_door_catches_every_exception():
    catching = [
        f"{module}, line {node.lineno}"
        for module, tree in parsed().items()
        if module != f"{NAME}.cli"
        for node in ast.walk(tree)
        if isinstance(node, ast.ExceptHandler)
        and (node.type is None or re.search(r"\b(Base)?Exception\b", ast.unparse(node.type)))
    ]
    assert catching == []


def test_no_module_is_long():
    assert {file: lines for file, lines in line_counts().items() if lines > MOST_LINES} == {}


def test_whatever_is_imported_is_a_declared_dependency():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = [line for lines in project["optional-dependencies"].values() for line in lines]
    declared = {re.split(r"[\[<>=~! ]", line)[0].lower() for line in project["dependencies"]}
    optional = {re.split(r"[\[<>=~! ]", line)[0].lower() for line in extras}
    homes = packages_distributions()
    unknown = set()
    for module, tree in parsed().items():
        for node in imports_in(tree):
            for top in {name.split(".")[0] for name in names_imported(node)} - {NAME, *sys.stdlib_module_names}:
                known = declared | (optional if top in OPTIONAL_EXTRAS else set())
                if not {name.lower() for name in homes.get(top, [])} & known:
                    unknown.add(f"{top} in {module}")
    assert sorted(unknown) == []
