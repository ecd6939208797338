"""What `pip install .` installs: host, device code and protocol in one wheel, and the demonstration runs from it."""

import os
import subprocess
import sys
import zipfile

import pytest
from places import ROOT

pytestmark = [pytest.mark.process, pytest.mark.slow]
WHERE = "import midspan; print(midspan.__file__)"
DEMO = "import sys; from midspan.cli.main import main; sys.argv = ['midspan', 'demo', '--shafts', '1']; main()"


@pytest.fixture(scope="module")
def installed(tmp_path_factory):
    """Build the wheel as pip does and unpack it into a folder; return that."""
    built, folder = tmp_path_factory.mktemp("built"), tmp_path_factory.mktemp("installed")
    command = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(built)]
    subprocess.run(command, cwd=ROOT, check=True, capture_output=True)
    (wheel,) = built.glob("*.whl")
    with zipfile.ZipFile(wheel) as packed:
        packed.extractall(folder)
    return folder


def test_the_wheel_has_every_file_of_device_and_protocol(installed):
    for name in ("device", "protocol"):
        files = {
            path.relative_to(ROOT / name)
            for path in (ROOT / name).rglob("*")
            if path.is_file() and not {"__pycache__", "typings", ".mypy_cache"} & set(path.parts)
        }
        assert len(files) > 20
        assert not [path for path in files if not (installed / "midspan" / name / path).is_file()]


def test_the_demonstration_runs_from_the_wheel_away_from_the_repository(installed, tmp_path):
    environment = os.environ | {"PYTHONPATH": str(installed)}

    def run(program):
        return subprocess.run(
            [sys.executable, "-c", program], cwd=tmp_path, env=environment, capture_output=True, text=True, check=True
        ).stdout

    assert run(WHERE).startswith(str(installed))
    assert "1 R1" in run(DEMO)
    assert (tmp_path / "demo-output" / "results.db").is_file()
