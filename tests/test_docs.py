"""What is public is explained: in docstrings, in the README, and in DEVELOPERS.md."""

import ast
import re
import tomllib
from collections.abc import Iterator
from importlib import import_module

import pytest
from click.testing import CliRunner

import hardiness
from hardiness import schema
from hardiness.cli import VERBS, main
from tests.sources import NAME, ROOT, parsed

DOORS = {"cli", "commands"}  # their docstrings are what --help prints


def schema_tables() -> dict[str, tuple[schema.Column, ...]]:
    """Every table of the schema, by the name that it has in the glossary."""
    tables = {name: table.columns for name, table in schema.RECORD_TABLES.items()}
    tables["freezes"] = schema.freeze_columns((), ())
    for name, value in vars(schema).items():
        if name[0].isupper() and isinstance(value, tuple) and value and isinstance(value[0], schema.Column):
            tables["exposures" if name == "EXPOSED" else name.lower().replace("_", " ")] = value
    return tables


TABLES = schema_tables()
Documented = ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef


def public_in(body: list[ast.stmt], prefix: str) -> Iterator[tuple[str, Documented, bool]]:
    """Every public class, function and method: its name, where it is written, and whether it stands in a class."""
    for node in body:
        if isinstance(node, Documented) and not node.name.startswith("_"):
            yield f"{prefix}.{node.name}", node, False
            if isinstance(node, ast.ClassDef):
                for name, inner, _ in public_in(node.body, f"{prefix}.{node.name}"):
                    yield name, inner, True


def wanting(node: Documented, in_class: bool) -> list[str]:
    """What the docstring of a public name lacks."""
    text = ast.get_docstring(node) or ""
    if not text.strip():
        return ["a docstring"]
    if in_class and re.match(r"As :meth:`[A-Z]\w+\.\w+`", text):
        return []  # overrides a method that is explained there
    if isinstance(node, ast.ClassDef):
        return []
    decorators = {ast.unparse(decorator) for decorator in node.decorator_list}
    if any(re.search(r"property$|\.(setter|deleter)$", name) for name in decorators):
        return []  # read like an attribute
    given = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
    if in_class and "staticmethod" not in decorators:
        given = given[1:]
    given += [argument for argument in (node.args.vararg, node.args.kwarg) if argument]
    lacks = []
    if given and not has_section(text, "Parameters"):
        lacks.append("Parameters")
    if returns_something(node) and not (has_section(text, "Returns") or has_section(text, "Yields")):
        lacks.append("Returns")
    if has_section(text, "Parameters"):
        named = text.split("Parameters\n", 1)[1]
        lacks += [f"'{argument.arg}' under Parameters" for argument in given
                  if not re.search(rf"(?m)^(.*, )?\*{{0,2}}{argument.arg}(, .*)?( : .*)?$", named)]  # fmt: skip
    return lacks


def has_section(text: str, title: str) -> bool:
    return bool(re.search(rf"(?m)^{title}\n-{{{len(title)}}}$", text))


def returns_something(node: ast.FunctionDef | ast.AsyncFunctionDef) -> bool:
    return node.returns is not None and ast.unparse(node.returns) not in {"None", "NoReturn", "Never"}


# The posterior's machinery, called by nothing but the posterior: a sentence a function serves there.
INNER = {
    f"hardiness.tolerance.{name}"
    for name in ("basis", "importance", "matrices", "rowdraws", "rowmaps", "scales", "whitening")
}


def test_everything_public_has_a_docstring_with_its_sections():
    lacking = []
    for module, tree in parsed().items():
        parts = module.split(".")
        if (parts[1:] or [""])[0] in DOORS:
            continue
        if not ast.get_docstring(tree):
            lacking.append(f"{module}: a docstring")
        for name, node, in_class in public_in(tree.body, module):
            sections = wanting(node, in_class)
            lacking += [f"{name}: {what}" for what in sections if module not in INNER or what == "a docstring"]
    assert lacking == []


@pytest.mark.parametrize(
    "source, lacks",
    [
        ("def f(): ...", ["a docstring"]),
        ("def f() -> None:\n    'Do.'", []),
        ("def f(x: int) -> int:\n    'Do.'", ["Parameters", "Returns"]),
        ("def f(x, y):\n    '''Do.\n\n    Parameters\n    ----------\n    x : int\n    '''", ["'y' under Parameters"]),
        ("def f(x, y):\n    '''Do.\n\n    Parameters\n    ----------\n    x, y : int\n    '''", []),
        ("@property\ndef f(self) -> int:\n    'It.'", []),
        ("class C:\n    'It.'", []),
    ],
)
def test_the_rule_catches_what_it_should(source, lacks):
    _, node, in_class = next(public_in(ast.parse(source).body, "m"))
    assert wanting(node, in_class) == lacks


def test_public_names_are_there_and_explained():
    for name in hardiness.__all__:
        assert (getattr(hardiness, name).__doc__ or "").strip(), name
    with pytest.raises(AttributeError, match="no attribute 'freeze_of'"):
        import_module(NAME).freeze_of  # noqa: B018


@pytest.mark.parametrize("verb", VERBS)
def test_every_verb_stands_in_the_readme_and_has_help(verb):
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert re.search(rf"\bhardiness {verb}\b", readme)
    told = CliRunner().invoke(main, [verb, "--help"])
    assert told.exit_code == 0
    usage, _, words = told.output.partition("\n\n")
    assert usage.startswith("Usage:") and verb in usage
    assert len(words.split("Options:")[0].split()) >= 4  # a sentence before the options


def test_the_readme_names_no_verb_that_is_not_there():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    in_code = re.findall(r"`hardiness ([a-z]+)|(?m:^hardiness ([a-z]+))|bin/hardiness ([a-z]+)", readme)
    named = {verb for found in in_code for verb in found if verb}
    assert named and named <= set(VERBS)


def test_every_dependency_is_accounted_for():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    developers = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    names = [re.split(r"[\[<>=~! ;]", line)[0] for line in project["dependencies"]]
    assert "numpy" in names
    assert [name for name in names if not re.search(rf"\b{re.escape(name)}\b", developers)] == []


@pytest.mark.parametrize("table", TABLES)
def test_every_column_stands_in_the_glossary(table):
    glossary = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").partition("\n## Glossary\n")[2]
    sections = re.split(r"(?m)^### ", glossary)[1:]
    section = next((text for text in sections if re.match(rf"{table}\b", text)), "")
    assert section, f"the glossary has no section on {table}"
    rows = [line for line in section.splitlines() if line.startswith("| `")]
    told = {re.match(r"\| `(\w+)`", row)[1]: row for row in rows}
    assert list(told) == [column.name for column in TABLES[table]]
    for column in TABLES[table]:
        assert column.meaning in told[column.name]
        assert column.unit is None or f"| {column.unit} |" in told[column.name]
        assert told[column.name].startswith(f"| `{column.name}`*") == column.required
