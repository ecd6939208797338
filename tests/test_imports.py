"""Who may import whom, and other rules on the shape of the code, held by reading the sources.

The rules are those of DEVELOPERS.md. No module is run for it: the imports are taken from the syntax tree, those
inside functions included.
"""

import ast
import re
import sys
import tomllib
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
HOST = ROOT / "host" / "midspan"
DEVICE = ROOT / "device"

# From left to right: a module imports only what stands before it.
LEFT_TO_RIGHT = """
    plain_text errors files whereabouts time_of_day units coverage_factor budget monte_carlo wording configuration
    polynomial schemas symbols readings records frames ranges packing faults
    raw_run blocks stages succession line outcomes failures meaning patience session turning_now
    container columns archive archive_writer
    calibration elastica harmonics gather turning coherence conversion curve spine_budget findings soundness
    result_form shaft spine_trials calibration_use watch
    gravity masses typed_table hand_bench hand_fit hand_bend hand_strays hand_lines hand_record hand_sessions
    hand_readings hand_contradiction hand_shaft hand_trials hand_assign hand_prompts hand_guide hand_resume
    study_gauge study_linearity study_stability study_stock control_chart
    fit_evidence procedure calibration_table suspects cell_behaviour cell_loading force_class calibrate_force
    calibrate_travel calibrate_frame calibrate_span calibrate_rotation reference_bar calibration_record
    calibration_file
    bands limits risk decision standing notice_ways notices
    sort_plan basis origin upgrade passage kept_values tables set_tables wishes measurements store_place store_file
    store store_reading recall checks verdict vouching journal tally
    set_limits set_line set_build set_polish set_bound set_exact set_choice set_join weights sizes
    identity likeness twins stock set_keep set_spread set_review
    situation moves course night_setup night_settings appraisal night_archive readings_gone keeper lookout troubles
    link gauge rehearsal plan scenario night_scenario sorter reach deeds night
    board_level board_person board_check board_shell board_files board_install board_config board_wires board_commands
    calibrate_live calibrate_cell calibrate_blocks calibrate_guide calibrate_commands
    pages report picture budget_report budget_picture uncertainty_commands hand_report hand_commands
    study_source study_report study_picture study_commands comparison comparison_report
    sets_report sets_view sets_commands sets_refill scale_line scale scale_port scale_weigh sets_shafts sets_twins
    set_card label_form card_sheet label_sheet cards_commands data_dictionary export
    night_record night_facts night_words night_todos page_picture night_histogram night_charts night_rows night_report
    night_screen sort_commands
    page_charts page_curve page_follow page_night page_shaft page_sets page_views page_access page_guesses
    page_guest page_door page page_command plot_batch plot_set plot_force plot_commands
    manifest belongings read_back backup restore backup_commands
    rework commands park park_command demo lesson
    screen
    cli_options cli_backup cli_procedure cli_calibrate cli_compare cli_export cli_hand cli_page cli_park cli_report
    cli_risk cli_sets cli_sort cli_study cli_plot cli_board cli
"""
ORDER = LEFT_TO_RIGHT.split()

LINKS = {"link", "gauge", "session", "rehearsal", "serial"}
VALUES = set(ORDER[ORDER.index("container") : ORDER.index("link")]) | {"report", "picture"}
# Only these bring together the line to the gauge and the store of results.
JOINERS = {"sorter", "deeds", "night", "sort_commands", "cli_sort", "commands", "demo", "cli", "page"} | {
    "park_command",
    "cli_park",
}
OUTSIDE_WORLD = {"serial", "time", "threading", "asyncio", "socket", "select", "selectors", "random", "datetime", "os"}
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
BOARD_ONLY = {"machine", "rp2", "usb"}
LINES_AT_MOST = 400

host_modules = sorted(path.stem for path in HOST.glob("*.py") if path.stem != "__init__")
device_files = sorted(DEVICE.rglob("*.py"))


@cache
def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"), str(path))


@cache
def imports_of(path: Path) -> frozenset[str]:
    """Modules that a file imports: those of midspan by their own name, others by their first part."""
    found: set[str] = set()
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            names = {f"midspan.{alias.name}" for alias in node.names}
            found |= names if node.module == "midspan" else {node.module or ""}
    return frozenset(name.removeprefix("midspan.").split(".")[0] for name in found)


@cache
def reached_from(module: str) -> frozenset[str]:
    """Everything a host module imports, directly or by way of others of the host."""
    direct = imports_of(HOST / f"{module}.py")
    return direct.union(*(reached_from(name) for name in direct if name in host_modules and name != module))


def test_the_sources_are_found() -> None:
    assert {"session", "archive", "store"} <= set(host_modules)
    assert {"main.py", "frames.py"} <= {path.name for path in device_files}
    assert "numpy" in imports_of(HOST / "columns.py")
    assert "raw_run" in imports_of(HOST / "columns.py")


@pytest.mark.parametrize("module", host_modules)
def test_a_host_module_imports_leftwards_only(module: str) -> None:
    assert module in ORDER, f"give {module} its place in ORDER, and in the picture in DEVELOPERS.md"
    left = set(ORDER[: ORDER.index(module)])
    wrong = {name for name in imports_of(HOST / f"{module}.py") & set(host_modules) if name not in left}
    assert not wrong, f"{module} imports {sorted(wrong)}, which stand to its right"


def test_the_order_names_no_module_that_is_gone() -> None:
    assert not set(ORDER) - set(host_modules)
    assert len(ORDER) == len(set(ORDER))


def test_a_host_module_needs_only_what_the_package_declares() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"]
    needed = project["dependencies"] + [line for name in ("apprise", "page", "parquet") for line in extras[name]]
    declared = {re.split(r"[<>=~!; \[]", line)[0].lower() for line in needed}
    declared = declared - {"pyserial"} | {"serial"}  # the one whose module has another name
    for module in host_modules:
        foreign = {name.lower() for name in imports_of(HOST / f"{module}.py")} - {one.lower() for one in host_modules}
        assert not foreign - declared - sys.stdlib_module_names - {"midspan"}, module


def test_the_session_has_no_port_clock_or_thread() -> None:
    for module in ("session", "frames", "packing", "meaning", "stages"):
        assert not reached_from(module) & OUTSIDE_WORLD, module


@pytest.mark.parametrize("module", sorted(VALUES & set(host_modules)))
def test_what_knows_values_knows_no_link(module: str) -> None:
    assert not reached_from(module) & LINKS


def test_only_a_few_join_link_and_store() -> None:
    assert {"link", "store"} <= reached_from("commands")
    for module in set(host_modules) - JOINERS:
        assert not ({"link", "store"} <= reached_from(module) | {module}), module


@pytest.mark.parametrize("module", [name for name in host_modules if name == "cli" or name.startswith("cli_")])
def test_the_command_line_starts_without_heavy_modules(module: str) -> None:
    at_start: set[str] = set()
    for node in tree_of(HOST / f"{module}.py").body:
        if isinstance(node, ast.Import):
            at_start |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            at_start.add((node.module or "").removeprefix("midspan.").split(".")[0])
    light = {name for name in host_modules if name[:4] == "cli_"}
    light |= {"errors", "screen", "cell_loading", "typer", "__future__"}
    assert at_start <= light | sys.stdlib_module_names


def test_device_and_host_never_import_each_other() -> None:
    for path in device_files:
        assert "midspan" not in {name.split(".")[0] for name in imports_of(path)}, path.name
        assert not any("midspan" in str(getattr(node, "module", "")) for node in ast.walk(tree_of(path))), path.name
    only_device = {path.stem for path in device_files} - set(host_modules) - sys.stdlib_module_names
    for module in host_modules:
        assert not imports_of(HOST / f"{module}.py") & only_device, module


@pytest.mark.parametrize("path", device_files, ids=lambda path: str(path.relative_to(DEVICE)))
def test_a_device_module_runs_on_both_pythons(path: Path) -> None:
    ours = {other.stem for other in device_files} | {"board"}
    foreign = imports_of(path) - ours - MICROPYTHON
    allowed = BOARD_ONLY if path == DEVICE / "board.py" else set()
    assert not foreign - allowed, f"{path.name} imports {sorted(foreign)}"


def test_the_device_proper_does_not_know_its_rehearsal() -> None:
    rehearsal = {path.stem for path in (DEVICE / "rehearsal").glob("*.py")} - {
        path.stem for path in DEVICE.glob("*.py")
    }
    for path in DEVICE.glob("*.py"):
        assert not imports_of(path) & (rehearsal - {"board"}), path.name


def test_the_protocol_is_data_only() -> None:
    assert {path.suffix for path in (ROOT / "protocol").iterdir()} <= {".avsc", ".json", ".md"}


@pytest.mark.parametrize("module", host_modules)
def test_a_host_module_is_short_enough_to_read(module: str) -> None:
    lines = len((HOST / f"{module}.py").read_text(encoding="utf-8").splitlines())
    assert lines <= LINES_AT_MOST, f"{module} has {lines} lines: split it"


def public(node: ast.AST) -> bool:
    return isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_")


def undocumented(body: list[ast.stmt]) -> list[str]:
    """Public functions, classes and methods without a docstring; a protocol's members speak through its own."""
    missing = []
    for node in filter(public, body):
        assert isinstance(node, ast.FunctionDef | ast.ClassDef)
        if ast.get_docstring(node) is None:
            missing.append(node.name)
        bases = {ast.unparse(base) for base in getattr(node, "bases", [])}
        if isinstance(node, ast.ClassDef) and "Protocol" not in bases:
            missing += [f"{node.name}.{name}" for name in undocumented(node.body)]
    return missing


@pytest.mark.parametrize("module", host_modules)
def test_everything_public_has_a_docstring(module: str) -> None:
    tree = tree_of(HOST / f"{module}.py")
    assert ast.get_docstring(tree)
    assert not undocumented(tree.body)


@pytest.mark.parametrize("module", host_modules)
def test_no_except_swallows_everything(module: str) -> None:
    for node in ast.walk(tree_of(HOST / f"{module}.py")):
        if isinstance(node, ast.ExceptHandler):
            caught = "" if node.type is None else ast.unparse(node.type)
            assert caught not in ("", "Exception", "BaseException"), f"{module}, line {node.lineno}"
