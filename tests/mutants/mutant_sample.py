"""Find every small fault that could be put into the core, and draw a seeded sample of them.

A mutant is known by what it changes, never by a line number: lines that move leave a sample as it was.
"""

import hashlib
import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from cosmic_ray.ast import ast_nodes, get_ast
from cosmic_ray.mutating import mutate_code
from cosmic_ray.operators.operator import Operator
from cosmic_ray.plugins import get_operator
from parso.tree import NodeOrLeaf

FOLDERS = ("measurement", "decision", "wire", "archive", "store", "sorting")
# Made from the schemas of the protocol, and tested there.
GENERATED = {"wire/records.py"}

# The near miss and the opposite of each operator: what no test can miss, like + made <<, would only flatter the tests.
OPERATORS = (
    *(f"ReplaceComparisonOperator_{pair}" for pair in (
        "Eq_NotEq", "NotEq_Eq", "Lt_LtE", "Lt_GtE", "LtE_Lt", "LtE_Gt", "Gt_GtE", "Gt_LtE", "GtE_Gt", "GtE_Lt",
        "Is_IsNot", "IsNot_Is",
    )),
    *(f"ReplaceBinaryOperator_{pair}" for pair in (
        "Add_Sub", "Sub_Add", "Mul_Div", "Div_Mul", "FloorDiv_Mul", "Mod_FloorDiv", "Pow_Mul", "RShift_LShift",
        "LShift_RShift", "BitOr_BitAnd", "BitAnd_BitOr", "BitXor_BitAnd",
    )),
    *(f"ReplaceUnaryOperator_Delete_{operator}" for operator in ("USub", "Not", "Invert")),
    "AddNot", "ReplaceTrueWithFalse", "ReplaceFalseWithTrue", "ReplaceAndWithOr", "ReplaceOrWithAnd",
    "ReplaceBreakWithContinue", "ReplaceContinueWithBreak", "ExceptionReplacer", "NumberReplacer", "RemoveDecorator",
    "ZeroIterationForLoop",
)  # fmt: skip

# Where an operator stands between two values. Elsewhere it unpacks or parts parameters.
BETWEEN_VALUES = {"expr", "xor_expr", "and_expr", "shift_expr", "arith_expr", "term", "power"}


class BadEntry(Exception):
    """An entry of mutants.toml does not say which mutant it excuses, or not why."""


@dataclass(frozen=True)
class Mutant:
    """One small fault that can be put into one module.

    Parameters
    ----------
    module : str
        File below the host's package, as in "wire/codec.py".
    definition : str
        Dotted name of the function or class around the fault; empty at the level of the module.
    operator : str
        Name of the library's operator that makes the fault.
    line : str
        The changed line as it is without the fault, without its indentation.
    repeat : int
        Number of faults of this operator on equal lines of the definition that come before this one.
    occurrence : int
        Number of places for this operator in the file that come before this one; it tells the library which to change.
    """

    module: str
    definition: str
    operator: str
    line: str
    repeat: int
    occurrence: int

    @property
    def folder(self) -> str:
        """Folder of the module."""
        return self.module.partition("/")[0]

    @property
    def key(self) -> str:
        """Short name of the mutant, the same wherever its lines move."""
        told = (self.module, self.definition, self.operator, self.line, str(self.repeat))
        return hashlib.sha256("\0".join(told).encode()).hexdigest()[:10]

    def code(self, source: str) -> str:
        """Return the source of the module with the fault in it."""
        return _with_fault(source, self.operator, self.occurrence)


def _operator(name: str) -> Operator:
    return get_operator(f"core/{name}")()


def _with_fault(source: str, operator: str, occurrence: int) -> str:
    changed = mutate_code(source, _operator(operator), occurrence)
    assert changed is not None, (operator, occurrence)
    return changed


def _ancestors(node: NodeOrLeaf) -> Iterator[tuple[NodeOrLeaf, NodeOrLeaf]]:
    """Yield each node around a node together with the child of it that holds the node, innermost first."""
    while node.parent is not None:
        yield node.parent, node
        node = node.parent


def _definition(node: NodeOrLeaf) -> str:
    """Return the dotted name of the functions and classes around a node; empty outside all of them."""
    around = [parent.name.value for parent, _ in _ancestors(node) if parent.type in ("funcdef", "classdef")]
    if node.type == "decorator":
        decorated = next(parent for parent, _ in _ancestors(node) if parent.type == "decorated").children[-1]
        around.insert(
            0, decorated.children[-1].name.value if decorated.type.startswith("async") else decorated.name.value
        )
    return ".".join(reversed(around))


def _is_annotation(parent: NodeOrLeaf, child: NodeOrLeaf) -> bool:
    """Return True if the child is a type that only the type checker reads."""
    if parent.type in ("annassign", "tfpdef"):
        return child is parent.children[1 if parent.type == "annassign" else 2]
    return parent.type == "funcdef" and child is parent.annotation


def _calls(node: NodeOrLeaf, name: str) -> bool:
    """Return True if a node is a call of a function, class or method whose name contains a word."""
    return node.type == "atom_expr" and name in node.children[0].get_code(include_prefix=False)


def _is_no_behaviour(parent: NodeOrLeaf, child: NodeOrLeaf) -> bool:
    """Return True if the child is a type, a sentence of the log, a guard for programmers or part of an example."""
    if parent.type == "expr_stmt" and parent.children[0].get_code(include_prefix=False) == "EXAMPLE":
        return True
    if parent.type == "if_stmt":
        return parent.children[1].get_code().strip() == "TYPE_CHECKING"
    # frozen and slots of a dataclass keep programmers from mistakes, nothing else
    return _is_annotation(parent, child) or _calls(parent, "LOG") or _calls(parent, "dataclass")


def _in_text_of_error(around: list[tuple[NodeOrLeaf, NodeOrLeaf]]) -> bool:
    """Return True if a node lies in a formatted string that becomes the message of an error."""
    in_text = False
    for parent, _ in around:
        in_text = in_text or parent.type == "fstring"
        if in_text and (parent.type == "raise_stmt" or _calls(parent, "Error")):
            return True
    return False


def _is_worth_a_test(node: NodeOrLeaf, operator: str) -> bool:
    """Return True if a fault at a node changes what the program does."""
    around = list(_ancestors(node))
    if operator.startswith("ReplaceBinary") and node.parent.type not in BETWEEN_VALUES:
        return False
    if operator == "ReplaceBinaryOperator_BitOr_BitAnd" and not _definition(node):  # the name of a type: X = A | B
        return False
    if node.type == "decorator" and "cache" in node.get_code():  # a result that is not kept only takes longer
        return False
    return not any(_is_no_behaviour(*pair) for pair in around) and not _in_text_of_error(around)


def mutants_of(module: str, source: str) -> list[Mutant]:
    """Return every mutant of a module that is worth a test.

    >>> [mutant.operator for mutant in mutants_of("wire/codec.py", "def above(a: int | None):\\n    return a > 3")]
    ['ReplaceComparisonOperator_Gt_GtE', 'ReplaceComparisonOperator_Gt_LtE', 'NumberReplacer', 'NumberReplacer']
    """
    nodes = list(ast_nodes(get_ast(source)))
    lines = source.splitlines()
    found: list[Mutant] = []
    seen: dict[tuple[str, str, str], int] = {}
    for name in OPERATORS:
        operator = _operator(name)
        places = [(node, start) for node in nodes for start, _ in operator.mutation_positions(node)]
        for occurrence, (node, (number, _)) in enumerate(places):
            if not _is_worth_a_test(node, name):
                continue
            definition, line = _definition(node), " ".join(lines[number - 1].split())
            repeat = seen.get((definition, name, line), 0)
            seen[definition, name, line] = repeat + 1
            found.append(Mutant(module, definition, name, line, repeat, occurrence))
    return found


def all_mutants(host: Path, folders: Iterable[str] = FOLDERS) -> list[Mutant]:
    """Return every mutant of some folders of the host's package, in no order that means anything."""
    found: list[Mutant] = []
    for folder in folders:
        for path in sorted((host / folder).glob("*.py")):
            if (module := path.relative_to(host).as_posix()) not in GENERATED:
                found += mutants_of(module, path.read_text(encoding="utf-8"))
    return found


def sample(mutants: Iterable[Mutant], seed: int, count: int) -> list[Mutant]:
    """Draw mutants, as nearly as possible the same number from each folder.

    A hash of seed and mutant gives the order, so that a change of one line leaves the others of the sample alone.

    Parameters
    ----------
    mutants : iterable of Mutant
        What to draw from.
    seed : int
        Another seed draws another sample.
    count : int
        Mutants to draw; fewer come back where a folder has too few.

    Returns
    -------
    list of Mutant
        The sample, folder by folder.
    """
    by_folder: dict[str, list[Mutant]] = {}
    for mutant in mutants:
        by_folder.setdefault(mutant.folder, []).append(mutant)
    drawn: list[Mutant] = []
    for index, group in enumerate(by_folder.values()):
        share = (count + index) // len(by_folder)  # the shares of all folders add up to the count
        drawn += sorted(group, key=lambda mutant: _lot(seed, mutant))[:share]
    return drawn


def _lot(seed: int, mutant: Mutant) -> str:
    return hashlib.sha256(f"{seed}\0{mutant.key}".encode()).hexdigest()


def read_equivalents(text: str) -> dict[str, str]:
    """Read the mutants that no test can tell from the program.

    Parameters
    ----------
    text : str
        Content of mutants.toml.

    Returns
    -------
    dict of str to str
        For the key of each mutant, the reason why nobody can tell it from the program.

    Raises
    ------
    BadEntry
        An entry has no key, no description or no reason, or two have the same key.

    Examples
    --------
    >>> read_equivalents('[[equivalent]]\\nkey = "a1"\\nmutant = "a < b -> a <= b"\\nreason = "a is never b"')
    {'a1': 'a is never b'}
    """
    reasons: dict[str, str] = {}
    for number, entry in enumerate(tomllib.loads(text).get("equivalent", []), start=1):
        missing = [name for name in ("key", "mutant", "reason") if not str(entry.get(name, "")).strip()]
        if missing:
            raise BadEntry(f"entry {number} ({entry.get('key', '')}) has no {missing[0]}")
        if entry["key"] in reasons:
            raise BadEntry(f"entry {number}: {entry['key']} is excused twice")
        reasons[entry["key"]] = entry["reason"]
    return reasons
