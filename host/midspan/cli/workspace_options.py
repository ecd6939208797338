"""Options that a workspace states: every command gets those it has as its defaults, so that what is typed still wins.

>>> from midspan.workspace.settings import Workspace
>>> stated = options_stated(Workspace.model_validate({"gauge": {"port": "rehearsal"}}))
>>> stated["port"], stated["store"], "bands" in stated
('rehearsal', 'results.db', False)
"""

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from midspan.workspace.settings import Workspace

# Options of the same name that mean something else, or that a person gives on purpose only.
APART = {
    ("init",): {"bands", "masses", "port"},  # a folder within another workspace is asked anew
    ("demo",): {"calibration"},  # the demonstration has its own
    ("page",): {"port"},  # a port of the network
    ("diagnose",): {"port"},  # asks the gauge too, which a session may hold
    ("cycle",): {"port"},
    ("recompute",): {"store", "plan"},  # results of other people's archives do not belong into the database
    ("plot", "force"): {"archive"},  # the database knows which archive has the readings
    ("hand", "recompute"): {"bench"},  # each reading keeps the bench that it was taken on
}


def options_stated(workspace: "Workspace") -> dict[str, str]:
    """Return what a workspace states, by the names of parameters of commands; without what it leaves open."""
    gauge, files, labels = workspace.gauge, workspace.files, workspace.labels
    stated = {
        "port": gauge.port, "gauge": gauge.name, "calibration": gauge.calibration,
        "store": files.store, "archive": files.archive, "records": files.records, "bands": files.bands,
        "masses": files.masses, "bench": files.bench, "record": files.hand_readings, "plan": files.plan,
        "sizes": files.sizes, "scale": files.scale,
        "operator": workspace.session.operator, "who": workspace.session.operator,
        "shape": labels.shape, "tube": labels.tube_mm, "paper": labels.paper, "sheet": labels.sheet,
        "printer": labels.printer,
    }  # fmt: skip
    return {name: str(value) for name, value in stated.items() if value}


def default_map(command: Any, stated: Mapping[str, str], path: tuple[str, ...] = ()) -> dict[str, Any]:
    """Return the defaults of a command and of all commands below it, as a context takes them.

    Parameters
    ----------
    command : Any
        A command, or a group of commands.
    stated : Mapping[str, str]
        Values by names of parameters.
    path : tuple of str
        Names of the groups and of the command, without the program.

    Returns
    -------
    dict
        For a group, such a dictionary for each of its commands; for a command, values by names of parameters.
    """
    if hasattr(command, "commands"):
        return {name: default_map(below, stated, (*path, name)) for name, below in command.commands.items()}
    names: Iterable[str] = (parameter.name for parameter in command.params)
    return {name: stated[name] for name in names if name in stated and name not in APART.get(path, ())}
