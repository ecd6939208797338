"""The mutants of a sample stay the same where code only moves, and none is excused without a reason."""

import pytest
from mutant_order import in_order
from mutant_runs import FailingTests, run
from mutant_sample import FOLDERS, BadEntry, Mutant, all_mutants, mutants_of, read_equivalents, sample
from places import ROOT, TESTS

SOURCE = '''
"""A module."""

LIMIT = 3
EXAMPLE: dict = {"size": 3}


def is_large(size: int | None, *, least: int = 4) -> bool:
    """Return True if 5 > 4."""
    LOG.info("size %d", size + 1)
    if size is None:
        raise SizeError(f"no size after {least - 1}", size=least + 1)
    return size > LIMIT and size > least
'''


def changed_lines(mutant, source):
    """Return the line of a source that a mutant changes, as it is with the fault."""
    pairs = zip(source.splitlines(), mutant.code(source).splitlines(), strict=True)
    return [after.strip() for before, after in pairs if before != after]


def drawn(source, seed=1, count=6):
    """Return what a sample of the mutants of one source changes."""
    return [(mutant.key, changed_lines(mutant, source)) for mutant in sample(mutants_of("a/b.py", source), seed, count)]


def test_code_that_moves_leaves_the_sample_as_it_was():
    moved = SOURCE.replace("LIMIT = 3", "# The largest.\n\nLIMIT = 3").replace(
        "def is", "def other():\n    pass\n\n\ndef is"
    )
    assert drawn(moved) == drawn(SOURCE)
    assert drawn(SOURCE, seed=2) != drawn(SOURCE)


def test_a_changed_line_leaves_the_other_mutants_their_keys():
    keys = {mutant.key for mutant in mutants_of("a/b.py", SOURCE)}
    others = {mutant.key for mutant in mutants_of("a/b.py", SOURCE.replace("size is None", "not size"))}
    assert len(keys) == len(mutants_of("a/b.py", SOURCE))  # each has a key of its own
    assert len(keys - others) == 2  # `is not`, and the negated condition
    assert {mutant.key for mutant in mutants_of("a/c.py", SOURCE)}.isdisjoint(keys)


def test_types_docstrings_examples_the_log_and_texts_of_errors_are_left_alone():
    changed = {line for mutant in mutants_of("a/b.py", SOURCE) for line in changed_lines(mutant, SOURCE)}
    assert changed == {
        "LIMIT = 4", "LIMIT = 2",
        "def is_large(size: int | None, *, least: int = 5) -> bool:",
        "def is_large(size: int | None, *, least: int = 3) -> bool:",
        "if size is not None:", "if not size is None:",
        'raise SizeError(f"no size after {least - 1}", size=least - 1)',
        'raise SizeError(f"no size after {least - 1}", size=least + 2)',
        'raise SizeError(f"no size after {least - 1}", size=least + 0)',
        "return size > LIMIT or size > least",
        "return size >= LIMIT and size > least", "return size <= LIMIT and size > least",
        "return size > LIMIT and size >= least", "return size > LIMIT and size <= least",
    }  # fmt: skip


@pytest.mark.slow
def test_every_mutant_of_the_core_has_a_key_of_its_own():
    mutants = all_mutants(ROOT / "host" / "midspan")
    assert len({mutant.key for mutant in mutants}) == len(mutants)
    assert {mutant.folder for mutant in mutants} == set(FOLDERS)


def test_a_decorator_belongs_to_what_it_decorates():
    source = (
        "class Box:\n    @property\n    @cache\n    @final\n    def size(self): ...\n@final\nasync def get(): ...\n"
    )
    found = [(mutant.definition, mutant.line) for mutant in mutants_of("a/b.py", source)]
    assert found == [("Box.size", "@property"), ("Box.size", "@final"), ("get", "@final")]


def test_folders_share_a_sample():
    mutants = [Mutant(f"{folder}/b.py", "", "", str(number), 0, 0) for folder in "abc" for number in range(20)]
    assert [mutant.folder for mutant in sample(mutants, seed=1, count=8)] == [*"aabbbccc"]


@pytest.mark.parametrize("field", ["key", "mutant", "reason"])
def test_an_excuse_that_does_not_say_why_is_refused(field):
    entry = {"key": "a1", "mutant": "a < b -> a <= b", "reason": "a is never b"} | {field: " "}
    text = "[[equivalent]]\n" + "\n".join(f'{name} = "{value}"' for name, value in entry.items())
    with pytest.raises(BadEntry):
        read_equivalents(text)


def test_the_excuses_of_the_project_have_reasons():
    assert all(read_equivalents((TESTS / "mutants.toml").read_text(encoding="utf-8")).values())


def test_tests_that_call_the_changed_function_come_first_and_files_stay_together():
    notes = {
        "slow.py::other": {"s": 5.0, "calls": []},
        "slow.py::calls": {"s": 1.0, "calls": ["a/b.py:f"]},
        "quick.py::long": {"s": 0.5, "calls": ["a/b.py:f"]},
        "quick.py::short": {"s": 0.1, "calls": ["a/b.py:f", "a/b.py:g"]},
    }
    assert in_order(list(notes), notes, "a/b.py:f") == [
        "quick.py::short", "quick.py::long", "slow.py::calls", "slow.py::other"
    ]  # fmt: skip
    assert in_order(list(notes), notes, "a/b.py:g")[0] == "quick.py::short"


SIZE = "def is_large(size):\n    return size > 3 and size != 7\n"
ITS_TEST = """
from midspan.wire.size import is_large

def test_large():
    assert [is_large(size) for size in (3, 4)] == [False, True]
"""


@pytest.fixture
def project(tmp_path):
    """Return the place of a project of one function, half of which its test looks at."""
    contents = {
        "host/midspan/__init__.py": "", "host/midspan/wire/__init__.py": "", "host/midspan/wire/size.py": SIZE,
        "tests/wire/test_size.py": ITS_TEST,
    }  # fmt: skip
    for name, content in contents.items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text(content)
    return tmp_path


@pytest.mark.process
def test_what_no_test_looks_at_survives_and_the_project_stays_as_it_is(project):
    numbers = [mutant for mutant in mutants_of("wire/size.py", SIZE) if mutant.operator == "NumberReplacer"]
    verdicts = run(project, numbers[1:3], workers=1)  # 3 made 2, and 7 made 8
    assert {" ".join(verdict.difference[1].split()[1:]): verdict.is_killed for verdict in verdicts} == {
        "return size > 2 and size != 7": True, "return size > 3 and size != 8": False,
    }  # fmt: skip
    assert (project / "host/midspan/wire/size.py").read_text() == SIZE


@pytest.mark.process
def test_tests_that_fail_without_a_fault_judge_nothing(project):
    (project / "tests/wire/test_size.py").write_text(ITS_TEST.replace("True", "False"))
    with pytest.raises(FailingTests):
        list(run(project, mutants_of("wire/size.py", SIZE), workers=1))
