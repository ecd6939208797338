"""What docstrings lack: sections of numpydoc where a name is public, a plain first line everywhere.

Public is every name of the host without an underscore in front. The command line is left out: there a docstring is the
help that people read.
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


def is_protocol(node: ast.ClassDef) -> bool:
    """Return True for a typing.Protocol: its docstring speaks for its members."""
    return any(ast.unparse(base).split("[")[0] == "Protocol" for base in node.bases)


def public(path: Path) -> Iterator[tuple[str, Definition]]:
    """Yield the full name and definition of each public name of a host module, methods of public classes included."""
    for node in definitions(tree_of(path).body) if path.parent.name != "cli" else ():
        name = f"{module_name(path)}.{node.name}"
        yield name, node
        if isinstance(node, ast.ClassDef) and not is_protocol(node):
            yield from ((f"{name}.{method.name}", method) for method in definitions(node.body))


def raises_itself(node: Definition) -> bool:
    """Return True if a function raises a named error in its own body."""
    raised = (inner.exc for inner in ast.walk(node) if isinstance(inner, ast.Raise))
    return isinstance(node, ast.FunctionDef) and any(isinstance(error, ast.Call) for error in raised)


def constructs(node: Definition) -> bool:
    """Return False for a class that takes nothing itself, and for a database table, which takes columns by keyword."""
    if isinstance(node, ast.ClassDef) and {"Table", "DeclarativeBase"} & {
        getattr(base, "id", "") for base in node.bases
    }:
        return False
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
