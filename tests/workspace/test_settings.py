"""The workspace file: found from any folder below, its paths openable from there, its mistakes named."""

import re
from pathlib import Path

import pytest
from midspan.base.errors import ConfigurationError
from midspan.workspace.found import workspace_file
from midspan.workspace.settings import Workspace, load_workspace


@pytest.fixture
def shop(tmp_path):
    """A folder with a workspace file, and folders within folders."""
    (tmp_path / "stock" / "spring").mkdir(parents=True)
    (tmp_path / "midspan.toml").write_text('[gauge]\nport = "rehearsal"\n[files]\nbands = "limits/bands.toml"\n')
    return tmp_path


@pytest.mark.parametrize("below", ["", "stock", "stock/spring"])
def test_it_is_found_from_its_folder_and_every_folder_below(shop, below):
    assert workspace_file(shop / below) == shop / "midspan.toml"


def test_the_nearest_one_counts(shop):
    (shop / "stock" / "midspan.toml").touch()
    assert workspace_file(shop / "stock" / "spring") == shop / "stock" / "midspan.toml"
    assert workspace_file(shop) == shop / "midspan.toml"


def test_without_one_none_is_found(tmp_path):
    assert workspace_file(tmp_path) is None


def test_paths_count_from_the_file_and_are_short_where_they_can_be(shop):
    there = load_workspace(shop / "midspan.toml", shop)
    below = load_workspace(shop / "midspan.toml", shop / "stock" / "spring")
    assert there.files.bands.as_posix() == "limits/bands.toml"
    assert below.files.bands == shop / "limits" / "bands.toml"
    assert below.gauge.calibration == shop / "gauge.toml"
    assert below.path == shop / "midspan.toml"


def test_an_absolute_path_stays(shop, tmp_path):
    elsewhere = tmp_path.parent / "attic" / "results.db"
    (shop / "midspan.toml").write_text(f"[files]\nstore = '{elsewhere}'\n")
    assert load_workspace(shop / "midspan.toml", shop).files.store == elsewhere


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ('[shop]\nname = "Alder\n', "line 2: is a quote missing"),
        ("[shop]\nname = Alder\n", "line 2: is a quote missing"),
        ('[shop]\nname = \'Alder\'\n[session]\noperator = """Ann\n', "is a quote missing"),
        ("[shop\nname = 'Alder'\n", "line 1: is a ] missing"),
        ("[shop]\nname 'Alder'\n", "line 2: is an = missing"),
        ('[shop]\nname = "a"\nname = "b"\n', "line 3: this key is there twice"),
        ("[shop]\nname = 'a'\n[shop]\n", "line 3: this table is there twice"),
        ("[[standard]]\nname = 'b'\nassigned_thou = 500,5\n", "line 3: is there a decimal comma"),
        ('[files]\nstore = "C:\\Users\\ann"\n', "line 2: a backslash"),
    ],
)
def test_a_slip_of_the_pen_is_named_with_its_line(tmp_path, text, named):
    (tmp_path / "midspan.toml").write_text(text)
    with pytest.raises(ConfigurationError, match=re.escape(named)):
        load_workspace(tmp_path / "midspan.toml", tmp_path)


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ('[shwn]\nacross = "mm"\n', "shown"),
        ('[shown]\nacros = "mm"\n', "across"),
        ('[gauge]\nprot = "rehearsal"\n', "port"),
        ('[files]\narchiv = "a.avro"\n', "archive"),
        ('[[standard]]\nnmae = "bar-1"\nassigned_thou = 500.0\nu_assigned_thou = 0.5\n', "name"),
    ],
)
def test_a_misspelt_key_is_refused_with_the_nearest_known_one(tmp_path, text, named):
    (tmp_path / "midspan.toml").write_text(text)
    with pytest.raises(ConfigurationError) as refused:
        load_workspace(tmp_path / "midspan.toml", tmp_path)
    assert len(refused.value.problems) == 1
    assert f"did you mean {named}?" in str(refused.value)


@pytest.mark.parametrize(
    "text",
    [
        '[shown]\nacross = "inches"\n',
        '[labels]\nprint = "sometimes"\n',
        "[session]\nsound = 1\n",
        "[session]\ncheck_every_shafts = 0\n",
        '[shop]\nname = "' + "x" * 65 + '"\n',
        "[[standard]]\nname = 'a'\nassigned_thou = 500.0\nu_assigned_thou = 0.5\n" * 2,
        "[files\n",
    ],
)
def test_a_wrong_value_is_refused(tmp_path, text):
    (tmp_path / "midspan.toml").write_text(text)
    with pytest.raises(ConfigurationError):
        load_workspace(tmp_path / "midspan.toml", tmp_path)


def test_an_empty_file_is_a_workspace_with_the_usual_names(tmp_path):
    (tmp_path / "midspan.toml").touch()
    usual = load_workspace(tmp_path / "midspan.toml", tmp_path)
    assert usual.model_dump() == Workspace().model_dump()
    assert (usual.files.store.name, usual.gauge.calibration.name) == ("results.db", "gauge.toml")
    assert (usual.gauge.port, usual.files.bands) == (None, None)


def test_a_file_of_the_usual_name_need_not_be_stated(tmp_path):
    (tmp_path / "midspan.toml").touch()
    (tmp_path / "masses.toml").touch()
    files = load_workspace(tmp_path / "midspan.toml", tmp_path).files
    assert (files.masses, files.bands) == (Path("masses.toml"), None)
