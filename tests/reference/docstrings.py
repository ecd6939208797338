"""What docstrings lack: sections of numpydoc where a name is public, a plain first line everywhere.

Public is what one folder of the host uses of another, and what the package itself offers: each of these names is
held to the sections of numpydoc. Everything else is held to a first line that says what comes back or what is done.
"""

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

from numpydoc.validate import validate

ROOT = Path(__file__).parents[2]
HOST = ROOT / "host" / "midspan"
EVERYTHING = (HOST, ROOT / "device", ROOT / "tests", ROOT / "hardware_notes")
# Of numpydoc's checks: an extended summary, a "See Also" and an example are not asked of every name.
NOT_ASKED = {"ES01", "SA01", "EX01"}
# A first line that begins like this is a riddle: it names a question, not what comes back.
RIDDLES = {"That", "Why", "Whether", "What", "Who", "How", "If", "Where", "When", "Which"}

Definition = ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef


@cache
def tree_of(path: Path) -> ast.Module:
    """Return the syntax tree of a file."""
    return ast.parse(path.read_text(encoding="utf-8"), str(path))


def sources(place: Path) -> list[Path]:
    """Return the Python files at or under a place, without the migrations, which are never edited."""
    found = sorted(place.rglob("*.py")) if place.is_dir() else [place]
    return [path for path in found if "migrations" not in path.parts]


def module_name(path: Path) -> str:
    """Return the dotted name of a host module.

    >>> module_name(HOST / "base" / "errors.py")
    'midspan.base.errors'
    """
    return ".".join(path.relative_to(HOST.parent).with_suffix("").parts)


def definitions(body: list[ast.stmt]) -> Iterator[Definition]:
    """Yield the functions and classes of a module or a class whose names have no underscore in front."""
    kinds = (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef)
    return (node for node in body if isinstance(node, kinds) and not node.name.startswith("_"))


def uses(path: Path) -> Iterator[str]:
    """Yield the full names that a file takes from the host, by name or through an imported module."""
    modules: dict[str, str] = {}
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.ImportFrom) and node.module:
            source = f"midspan.{node.module}" if node.level else node.module  # relative in the package's stub alone
            for alias in node.names:
                modules[alias.asname or alias.name] = f"{source}.{alias.name}"
                yield f"{source}.{alias.name}"
        elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id in modules:
            yield f"{modules[node.value.id]}.{node.attr}"


@cache
def used_elsewhere() -> dict[str, set[str]]:
    """Return, for each name of the host, the folders that use it; the package itself counts as a folder."""
    users: dict[str, set[str]] = {}
    for path in [*sources(HOST), *HOST.glob("*.pyi")]:
        folder = path.parent.name
        for name in uses(path):
            users.setdefault(name, set()).add(folder)
    return users


def is_public(path: Path, node: Definition) -> bool:
    """Return True if another folder than its own uses a definition."""
    return bool(used_elsewhere().get(f"{module_name(path)}.{node.name}", set()) - {path.parent.name})


def public(path: Path) -> Iterator[tuple[str, Definition]]:
    """Yield the full name and definition of each public name of a host module, methods of public classes included."""
    for node in definitions(tree_of(path).body):
        if not is_public(path, node):
            continue
        name = f"{module_name(path)}.{node.name}"
        yield name, node
        if isinstance(node, ast.ClassDef):
            yield from ((f"{name}.{method.name}", method) for method in definitions(node.body))


def raises_itself(node: Definition) -> bool:
    """Return True if a function raises a named error in its own body."""
    raised = (inner.exc for inner in ast.walk(node) if isinstance(inner, ast.Raise))
    return isinstance(node, ast.FunctionDef) and any(isinstance(error, ast.Call) for error in raised)


def constructs(node: Definition) -> bool:
    """Return False for a class that takes nothing itself: it is made as its base class is."""
    own = (isinstance(part, ast.AnnAssign) or getattr(part, "name", "") == "__init__" for part in node.body)
    return not isinstance(node, ast.ClassDef) or any(own)


def lacks_of(name: str, node: Definition) -> list[str]:
    """Return what the docstring of a public name lacks, an empty list if it is complete."""
    excused = NOT_ASKED | (set() if constructs(node) else {"PR01"})
    asked = [f"{code} {words}" for code, words in validate(name)["errors"] if code not in excused]
    if raises_itself(node) and "\nRaises\n------" not in (ast.get_docstring(node) or ""):
        asked.append("no Raises section found")
    return asked


def riddle(node: ast.AST) -> str | None:
    """Return the first line of a function's docstring that begins with a question, None if it is a plain one."""
    if not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
        return None
    first = (ast.get_docstring(node) or "").split("\n")[0]
    return first if first.split(" ")[0].rstrip(",:") in RIDDLES else None


def complaints(path: Path) -> Iterator[str]:
    """Yield what is to be mended in one file, a line for each thing."""
    place = path.relative_to(ROOT)
    for node in ast.walk(tree_of(path)):
        if words := riddle(node):
            yield f"{place}:{node.lineno}: say what comes back: {words}"
        if isinstance(node, ast.Name | ast.arg) and (node.id if isinstance(node, ast.Name) else node.arg) == "one":
            yield f"{place}:{node.lineno}: a thing called `one`; name the thing"
    if path.is_relative_to(HOST):
        for name, definition in public(path):
            yield from (f"{place}:{definition.lineno}: {name}: {lack}" for lack in lacks_of(name, definition))
