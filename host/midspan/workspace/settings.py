"""The workspace file `midspan.toml`: which gauge, which files, which units, so that no command needs a path.

Every section may be left out. Paths count from the folder of the file.

>>> workspace = Workspace.model_validate({"shop": {"name": "Alder & Ash"}, "shown": {"across": "mm"}})
>>> workspace.shop.name, workspace.shown.units.across.value, str(workspace.files.store)
('Alder & Ash', 'mm', 'results.db')
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, PrivateAttr, model_validator

from midspan.base.config import ARRAY, Section, read_toml, validated
from midspan.base.label_shape import LabelPaper, LabelShape
from midspan.base.shown_units import AcrossUnit, ShownUnits, WeightUnit, WoodSpine
from midspan.sorting.plan import Standard
from midspan.workspace.found import WORKSPACE_FILE

USUAL = {  # files that need not be stated if they lie beside the workspace file under these names
    "bands": "bands.toml", "masses": "masses.toml", "plan": "night.toml", "sizes": "sizes.toml", "scale": "scale.toml",
}  # fmt: skip
Words = Annotated[str, Field(max_length=64)]
PathInFile = Annotated[Path, Field(strict=False)]
AcrossChoice = Annotated[AcrossUnit, Field(strict=False)]
WeightChoice = Annotated[WeightUnit, Field(strict=False)]
WoodChoice = Annotated[WoodSpine, Field(strict=False)]


class Shop(Section):
    """Who measures.

    Parameters
    ----------
    name : str
        Name of the shop, club or school as cards, flags and box labels show it; empty for none.
    """

    name: Words = ""


class WorkspaceGauge(Section):
    """The gauge of a workspace.

    Parameters
    ----------
    name : str or None
        Its own name, None if not stated.
    port : str or None
        Serial port, ``usb:`` with a serial number, or ``rehearsal`` for the simulated gauge; None without a gauge.
    calibration : Path
        Its calibration file; it need not exist yet.
    by_hand : bool
        True if there is no gauge but a hand bench: a dead weight and a dial indicator.
    """

    name: Annotated[str, Field(min_length=1, max_length=32)] | None = None
    port: Annotated[str, Field(min_length=1)] | None = None
    calibration: PathInFile = Path("gauge.toml")
    by_hand: bool = False


class WorkspaceFiles(Section):
    """Files and folders of a workspace; none need exist yet.

    Those that may be None take the name in `USUAL` if there is such a file beside the workspace file.

    Parameters
    ----------
    store : Path
        Database of results.
    archive : Path
        Archive of raw readings.
    records : Path
        Folder of calibration records.
    backups : Path
        Folder that gets the backups, each in a folder of its own.
    bench : Path
        File of the hand bench.
    hand_readings : Path
        Readings typed at the hand bench.
    bands : Path or None
        Tolerance bands and bins; None for none.
    masses : Path or None
        Certificates of the masses; None for none.
    plan : Path or None
        Plan of an overnight run; None for none.
    sizes : Path or None
        Nominal sizes; None for none.
    scale : Path or None
        Scale for weighing shafts; None for none.
    """

    store: PathInFile = Path("results.db")
    archive: PathInFile = Path("readings.avro")
    records: PathInFile = Path("calibration")
    backups: PathInFile = Path("backups")
    bench: PathInFile = Path("hand-bench.toml")
    hand_readings: PathInFile = Path("hand-readings.jsonl")
    bands: PathInFile | None = None
    masses: PathInFile | None = None
    plan: PathInFile | None = None
    sizes: PathInFile | None = None
    scale: PathInFile | None = None


class ShownPart(Section):
    """Units in which quantities are shown.

    Parameters
    ----------
    across : AcrossUnit
        Unit of spine, spread and runout.
    weight : WeightUnit
        Unit of weight.
    wood : WoodSpine
        Spine as a deflection, in pounds, or both.
    """

    across: AcrossChoice = AcrossUnit.THOU
    weight: WeightChoice = WeightUnit.GRAINS
    wood: WoodChoice = WoodSpine.THOU

    @property
    def units(self) -> ShownUnits:
        """The choice as the rest of the program takes it."""
        return ShownUnits(self.across, self.weight, self.wood)


class SessionPart(Section):
    """How a measuring session behaves.

    Parameters
    ----------
    sound : bool
        True for a sound with each verdict.
    operator : str
        Who measures; empty if not stated.
    check_every_shafts : int
        Shafts after which a check standard is due.
    check_every_minutes : int
        Minutes after which a check standard is due.
    bells : dict of int
        Strokes of the bell for ``accepted``, ``rejected``, ``doubtful`` and ``fault`` where they are not to be 1, 2, 3
        and 5.
    """

    sound: bool = True
    operator: Words = ""
    check_every_shafts: Annotated[int, Field(ge=1, le=10_000)] = 50
    check_every_minutes: Annotated[int, Field(ge=1, le=10_000)] = 60
    bells: dict[Literal["accepted", "rejected", "doubtful", "fault"], Annotated[int, Field(ge=0, le=9)]] = Field(
        default_factory=dict
    )


class LabelsPart(Section):
    """Labels and their printer.

    Parameters
    ----------
    shape : LabelShape or None
        Shape of a label, None for a box label.
    tube_mm : float or None
        Outside diameter of the shafts, mm; labels that go around them need it.
    paper : LabelPaper or None
        Usual paper, None for A4, or if `sheet` says what the paper is.
    sheet : Path or None
        File that says where labels lie on the paper, None for the usual sheet.
    printer : str or None
        Printer as the system names it, None for the system's own choice.
    print : str
        When a measuring session prints a label: ``never``, when ``asked``, or for ``each`` shaft.
    """

    shape: Annotated[LabelShape, Field(strict=False)] | None = None
    tube_mm: Annotated[float, Field(ge=3, le=12)] | None = None
    paper: Annotated[LabelPaper, Field(strict=False)] | None = None
    sheet: PathInFile | None = None
    printer: Annotated[str, Field(min_length=1)] | None = None
    print: Literal["never", "asked", "each"] = "never"

    @model_validator(mode="after")
    def _one_paper(self) -> LabelsPart:
        """Refuse two statements of what the paper is."""
        if self.paper is not None and self.sheet is not None:
            raise ValueError("paper: the file of the sheet says what the paper is; leave one of them out")
        return self


class Workspace(Section):
    """What a workspace file states.

    Parameters
    ----------
    shop : Shop
        Who measures.
    gauge : WorkspaceGauge
        The gauge.
    files : WorkspaceFiles
        Files and folders.
    shown : ShownPart
        Units.
    session : SessionPart
        Measuring session.
    standard : tuple of Standard
        Check standards, written as in the plan of an overnight run.
    labels : LabelsPart
        Labels.
    """

    shop: Shop = Shop()
    gauge: WorkspaceGauge = WorkspaceGauge()
    files: WorkspaceFiles = WorkspaceFiles()
    shown: ShownPart = ShownPart()
    session: SessionPart = SessionPart()
    standard: Annotated[tuple[Standard, ...], ARRAY] = ()
    labels: LabelsPart = LabelsPart()
    _path: Path = PrivateAttr(Path(WORKSPACE_FILE))

    @model_validator(mode="after")
    def _check_standards(self) -> Workspace:
        """Refuse two check standards of one name."""
        names = [standard.name for standard in self.standard]
        twice = next((name for name in names if names.count(name) > 1), None)
        if twice is not None:
            raise ValueError(f"standard: two check standards are named {twice}; give each a name of its own")
        return self

    @property
    def path(self) -> Path:
        """The workspace file."""
        return self._path

    @property
    def folder(self) -> Path:
        """Folder of the workspace file."""
        return self._path.parent


def load_workspace(path: Path, here: Path) -> Workspace:
    """Return a workspace whose paths can be opened from the folder of the person at the keyboard.

    Parameters
    ----------
    path : Path
        Workspace file.
    here : Path
        Folder of the person, absolute: paths below it are shortened, so that messages stay readable.

    Returns
    -------
    Workspace
        Checked settings.

    Raises
    ------
    ConfigurationError
        The file cannot be read, a key is unknown (the message names the nearest known one), or a value is wrong.
    """
    stated = validated(Workspace, read_toml(path), path)
    parts = {"gauge": stated.gauge, "files": stated.files, "labels": stated.labels}
    workspace = stated.model_copy(update={name: _placed(part, path.parent, here) for name, part in parts.items()})
    workspace._path = path
    return workspace


def _placed(part: Section, folder: Path, here: Path) -> Section:
    """Return a section with each path counted from the folder of the file, and files of the usual names found there."""
    paths = {name: value for name, value in part if isinstance(value, Path)}
    if isinstance(part, WorkspaceFiles):
        paths |= {name: Path(usual) for name, usual in USUAL.items() if name not in paths and (folder / usual).exists()}
    return part.model_copy(update={name: seen_from(here, folder / value) for name, value in paths.items()})


def seen_from(here: Path, path: Path) -> Path:
    """Return a path as short as a person writes it.

    Parameters
    ----------
    here : Path
        Folder of the person, absolute.
    path : Path
        Any path.

    Returns
    -------
    Path
        Relative if the path lies below `here`, else unchanged.

    Examples
    --------
    >>> seen_from(Path("/home/ann/shop"), Path("/home/ann/shop/gauge.toml")).as_posix()
    'gauge.toml'
    """
    return path.relative_to(here) if path.is_relative_to(here) else path
