"""Which folder may import which, who may touch the outside world, and other rules on the shape of the code.

The rules are those of DEVELOPERS.md and of each folder's docstring. No module is run for it: the imports are taken from
the syntax tree, those inside functions included.
"""

import ast
import importlib
import re
import subprocess
import sys
import tomllib
from functools import cache
from pathlib import Path
from typing import get_type_hints

import pytest
from reference.docstrings import HOST, definitions, is_protocol, sources, tree_of
from typer.models import ParameterInfo

ROOT = Path(__file__).parents[1]
DEVICE = ROOT / "device"

# Each folder, and what it may import besides itself; only downwards.
FOLDERS = {
    "base": "",
    "conversation": "base",
    "uncertainty": "base",
    "wire": "base",
    "archive": "base wire",
    "link": "base wire archive",
    "rehearsal": "base wire link",
    "measurement": "base uncertainty wire archive",
    "hand_bench": "base conversation uncertainty measurement",
    "decision": "base uncertainty wire archive measurement hand_bench",
    "store": "base wire archive measurement hand_bench decision",
    "pipeline": "base wire archive link measurement decision store",
    "calibrate": "base conversation uncertainty wire archive link rehearsal measurement hand_bench pipeline",
    "sets": "base uncertainty measurement hand_bench decision store",
    "study": "base uncertainty measurement decision store calibrate sets",
    "sorting": "base uncertainty wire archive link measurement decision store pipeline study",
    "attended": "base conversation uncertainty wire archive link measurement hand_bench decision store pipeline sets"
    " study sorting",
    "board": "base conversation uncertainty wire archive link measurement",
    "workspace": "base conversation wire archive measurement hand_bench decision store calibrate sets study sorting",
    "backup": "base archive measurement hand_bench decision store sorting",
    "report": "base uncertainty wire archive measurement hand_bench decision store calibrate sets study sorting",
    "diagnose": "base wire link measurement hand_bench decision store calibrate sets sorting workspace backup report",
    "web": "base uncertainty wire archive link measurement hand_bench decision store sets sorting report",
    "cli": "base conversation uncertainty wire archive link rehearsal measurement hand_bench decision store pipeline"
    " calibrate sets study sorting attended board workspace backup report diagnose web",
}
# What of the outside world may be touched where: a folder, or one module of it.
ONLY_IN = {
    "serial": "link sets/scale",
    "time": "base/clock link sorting web cli",
    "threading": "conversation link sorting attended web cli",
    "asyncio": "web",
    "socket": "link web cli",
    "random": "link rehearsal",
    "sqlalchemy": "store",
    "sqlite3": "store",
    "alembic": "store",
    "typer": "cli",
    "matplotlib": "report",
    "reportlab": "report",
    "segno": "report",
    "jinja2": "report web",
    "nicegui": "web",
    "starlette": "web",
    "uvicorn": "web",
    "h11": "web",
    "print": "cli",
    "input": "cli",
}
# What the MicroPython ports of the supported boards have built in.
MICROPYTHON = {
    "array",
    "binascii",
    "errno",
    "gc",
    "json",
    "math",
    "micropython",
    "os",
    "select",
    "struct",
    "sys",
    "time",
}
MOST_PARAMETERS = 6
BOARD_ONLY = {"machine", "rp2", "usb"}

host_files = sources(HOST)
host_modules = [path for path in host_files if path.name != "__init__.py"]
device_files = sorted(DEVICE.rglob("*.py"))


def name_of(path: Path) -> str:
    """`folder/module` of a host module."""
    return path.relative_to(HOST).with_suffix("").as_posix()


each_host_module = pytest.mark.parametrize("path", host_modules, ids=name_of)


@cache
def imports_of(path: Path) -> frozenset[str]:
    """Return the full names of what a module imports."""
    found: set[str] = set()
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
    return frozenset(found)


def needed_at_once(path: Path) -> set[str]:
    """Return the names of what a module imports while it is imported itself."""
    plain = (node for node in tree_of(path).body if isinstance(node, ast.ImportFrom))
    return {f"{node.module}{part}" for node in plain for alias in node.names for part in ("", f".{alias.name}")}


def tops_of(path: Path) -> set[str]:
    """Return the packages that a module imports from."""
    return {name.split(".")[0] for name in imports_of(path)}


def folders_imported(path: Path) -> set[str]:
    return {name.split(".")[1] for name in imports_of(path) if name.startswith("midspan.")}


def called(path: Path) -> set[str]:
    """Return the names of the plain functions that a module calls."""
    calls = (node.func for node in ast.walk(tree_of(path)) if isinstance(node, ast.Call))
    return {function.id for function in calls if isinstance(function, ast.Name)}


@pytest.mark.slow
def test_the_sources_are_found() -> None:
    assert {"link/session", "archive/reader", "store/database"} <= {name_of(path) for path in host_modules}
    assert {"main.py", "frames.py"} <= {path.name for path in device_files}
    assert "numpy" in tops_of(HOST / "archive" / "raw_run_codec.py")
    assert "wire" in folders_imported(HOST / "archive" / "raw_run_codec.py")


def test_every_module_lies_in_a_folder_that_says_what_it_is_for() -> None:
    assert {path.parent.name for path in host_modules} == set(FOLDERS)
    for folder, below in FOLDERS.items():
        words = ast.get_docstring(tree_of(HOST / folder / "__init__.py"))
        assert words, folder
        told = re.search(r"Imports\s([^.]*)[.]", words)
        assert told, folder
        if folder != "cli":  # imports all, and says so
            assert set(re.findall(r"[a-z_]+", told[1])) - {"and", "no", "other", "folder"} == set(below.split()), folder


def test_the_picture_of_the_folders_shows_each_above_what_it_imports() -> None:
    notes = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    picture = notes.partition("## The house\n")[2].partition("\n## ")[0]
    drawn = [re.split(r" {2,}", line.strip()) for line in re.findall(r"^ {8,}\S.*$", picture, re.MULTILINE)]
    level = {folder: -row for row, words in enumerate(drawn) for folder in words if folder in FOLDERS}
    assert sum(folder in FOLDERS for words in drawn for folder in words) == len(level) == len(FOLDERS)
    for folder, below in FOLDERS.items():
        assert all(level[lower] < level[folder] for lower in below.split()), folder


def modules_named(text: str, *roots: Path) -> dict[str, bool]:
    """Return each module that a text names with its folder, or with a star, and whether there is one under a root."""
    names = re.findall(r"[a-z_*]+(?:/[a-z_*]+)*[.]py\b", text)
    return {name: any(any(root.glob(name)) for root in roots) for name in names}


@pytest.mark.parametrize("folder", FOLDERS)
def test_a_folder_names_only_modules_that_are_there(folder: str) -> None:
    words = ast.get_docstring(tree_of(HOST / folder / "__init__.py")) or ""
    named = modules_named(words, HOST / folder, HOST)
    assert all(named.values()), named


def test_the_notes_for_developers_name_only_modules_that_are_there() -> None:
    named = modules_named((ROOT / "DEVELOPERS.md").read_text(encoding="utf-8"), HOST, ROOT, DEVICE, ROOT / "tests/rigs")
    assert len(named) > 20
    assert all(named.values()), [name for name, is_there in named.items() if not is_there]
    assert modules_named("`store/no_such.py`", HOST) == {"store/no_such.py": False}


def test_folders_import_downwards_only() -> None:
    order = list(FOLDERS)
    assert all(order.index(below) < order.index(folder) for folder in order for below in FOLDERS[folder].split())


@each_host_module
def test_a_folder_imports_only_what_stands_in_its_row(path: Path) -> None:
    folder = path.parent.name
    wrong = folders_imported(path) - {folder, *FOLDERS[folder].split()}
    assert not wrong, f"{name_of(path)} imports from {sorted(wrong)}"


def test_any_module_can_be_imported_first() -> None:
    modules = {f"midspan.{name_of(path).replace('/', '.')}": path for path in host_modules}
    ready: set[str] = set()
    needed = {name: needed_at_once(path) & modules.keys() for name, path in modules.items()}
    while free := {name for name in modules if name not in ready and needed[name] <= ready}:
        ready |= free
    assert not modules.keys() - ready, "these import each other in a circle"


@each_host_module
def test_the_outside_world_is_touched_where_it_belongs(path: Path) -> None:
    for what, where in ONLY_IN.items():
        if what in tops_of(path) | (called(path) & {"print", "input"}):
            assert {path.parent.name, name_of(path)} & set(where.split()), f"{name_of(path)} uses {what}"


def test_a_host_module_needs_only_what_the_package_declares() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"]
    needed = project["dependencies"] + [line for name in ("apprise", "page", "parquet") for line in extras[name]]
    declared = {re.split(r"[<>=~!; \[]", line)[0].lower() for line in needed}
    declared = declared - {"pyserial"} | {"serial"}  # the one whose module has another name
    for path in host_modules:
        foreign = {name.lower() for name in tops_of(path)} - declared - sys.stdlib_module_names - {"midspan"}
        assert not foreign, name_of(path)


@pytest.mark.parametrize(
    "module", ["session", "framed_stream", "session_states", "block_assembler", "timeouts", "stale_frames"]
)
def test_the_session_has_no_port_clock_or_thread(module: str) -> None:
    assert not tops_of(HOST / "link" / f"{module}.py") & {
        "serial",
        "time",
        "threading",
        "socket",
        "datetime",
        "os",
        "random",
    }


@pytest.mark.process
def test_the_command_line_starts_without_heavy_modules() -> None:
    program = "import sys, midspan.cli.main; print(*sorted(sys.modules))"
    loaded = set(
        subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True).stdout.split()
    )
    assert "midspan.cli.main" in loaded
    assert not loaded & {"numpy", "scipy", "pydantic", "sqlalchemy", "matplotlib", "fastavro", "nicegui", "rich.table"}


@pytest.mark.slow
def test_device_and_host_never_import_each_other() -> None:
    for path in device_files:
        assert "midspan" not in tops_of(path), path.name
    only_device = {path.stem for path in device_files} - sys.stdlib_module_names
    for path in host_modules:
        assert not tops_of(path) & only_device, name_of(path)


@pytest.mark.parametrize("path", device_files, ids=lambda path: str(path.relative_to(DEVICE)))
def test_a_device_module_runs_on_both_pythons(path: Path) -> None:
    ours = {other.stem for other in device_files} | {"board", "parts"}
    foreign = tops_of(path) - ours - MICROPYTHON
    allowed = BOARD_ONLY if path in (DEVICE / "board.py", *(DEVICE / "parts").glob("*.py")) else set()
    allowed = {"socket"} if path == DEVICE / "rehearsal" / "loopback.py" else allowed  # never on a board
    assert not foreign - allowed, f"{path.name} imports {sorted(foreign)}"


def test_the_device_proper_does_not_know_its_rehearsal() -> None:
    rehearsal = {path.stem for path in (DEVICE / "rehearsal").glob("*.py")} - {
        path.stem for path in DEVICE.glob("*.py")
    }
    for path in DEVICE.glob("*.py"):
        assert not tops_of(path) & (rehearsal - {"board", "micropython"}), path.name


def test_the_protocol_is_data_only() -> None:
    assert {path.suffix for path in (ROOT / "protocol").iterdir()} <= {".avsc", ".json", ".md"}


def undocumented(body: list[ast.stmt]) -> list[str]:
    """Public functions, classes and methods without a docstring; a protocol's members speak through its own."""
    missing = []
    for node in definitions(body):
        if ast.get_docstring(node) is None:
            missing.append(node.name)
        if isinstance(node, ast.ClassDef) and not is_protocol(node):
            missing += [f"{node.name}.{name}" for name in undocumented(node.body)]
    return missing


@pytest.mark.parametrize("path", host_files, ids=name_of)
def test_everything_public_has_a_docstring(path: Path) -> None:
    assert ast.get_docstring(tree_of(path))
    assert not undocumented(tree_of(path).body)


@each_host_module
def test_what_is_logged_is_a_constant_sentence_with_arguments(path: Path) -> None:
    """Only so does a diagnosis know what of a line came from outside."""
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Call) and ast.unparse(node.func).startswith("LOG."):
            sentence, place = node.args[0], f"{name_of(path)}, line {node.lineno}"
            assert isinstance(sentence, ast.Constant), place
            assert sentence.value.count("%") == len(node.args) - 1, place
            assert not {"«", "»"} & set(sentence.value), place


def parameters_of(function: ast.FunctionDef | ast.AsyncFunctionDef) -> list[ast.arg]:
    """Return all parameters but the one that a method is called on."""
    given = [*function.args.posonlyargs, *function.args.args, *function.args.kwonlyargs]
    return given[1:] if given and given[0].arg in ("self", "cls") else given


def is_command(path: Path, name: str) -> bool:
    """Tell if a function is a command: the command line is read off its parameters."""
    if path.parent.name != "cli":
        return False
    module = importlib.import_module(f"midspan.cli.{path.stem}")
    try:
        hints = get_type_hints(getattr(module, name), include_extras=True)
    except (AttributeError, NameError):  # a method, or types that only a checker sees
        return False
    marks = [mark for hint in hints.values() for mark in getattr(hint, "__metadata__", ())]
    return any(isinstance(mark, ParameterInfo) for mark in marks)


@each_host_module
def test_a_function_takes_at_most_six_parameters(path: Path) -> None:
    functions = [node for node in ast.walk(tree_of(path)) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)]
    many = [function.name for function in functions if len(parameters_of(function)) > MOST_PARAMETERS]
    assert not [name for name in many if not is_command(path, name)]


@each_host_module
def test_no_except_swallows_everything(path: Path) -> None:
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.ExceptHandler):
            caught = "" if node.type is None else ast.unparse(node.type)
            assert caught not in ("", "Exception", "BaseException"), f"{name_of(path)}, line {node.lineno}"


def test_a_class_name_has_one_meaning() -> None:
    """The same name with an underscore before it is the same to a reader."""
    at: dict[str, set[str]] = {}
    for path in host_modules:
        for node in ast.walk(tree_of(path)):
            if isinstance(node, ast.ClassDef):
                at.setdefault(node.name.lstrip("_"), set()).add(name_of(path))
    assert not {name: modules for name, modules in at.items() if len(modules) > 1}


def test_no_two_files_of_tests_have_one_name() -> None:
    names = [path.name for path in (ROOT / "tests").rglob("test_*.py")]
    assert len(names) == len(set(names))  # they are imported by it
