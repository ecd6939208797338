"""Options that a workspace states: every command gets those it has as its defaults, so that what is typed still wins.

>>> from midspan.workspace.settings import Workspace
>>> stated = options_stated(Workspace.model_validate({"gauge": {"port": "rehearsal"}}))
>>> stated["port"], stated["store"], "bands" in stated
('rehearsal', 'results.db', False)
"""

import os
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import typer

from midspan.base.errors import ConfigurationError, MidspanError

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
    return {name: str(value) for name, value in _options_of(workspace).items() if value}


def _options_of(workspace: "Workspace") -> dict[str, object]:
    """Return all that a workspace can state, by the names of parameters; empty or None for what it leaves open."""
    gauge, files, labels = workspace.gauge, workspace.files, workspace.labels
    return {
        "port": gauge.port, "gauge": gauge.name, "calibration": gauge.calibration,
        "store": files.store, "archive": files.archive, "records": files.records, "bands": files.bands,
        "masses": files.masses, "bench": files.bench, "record": files.hand_readings, "plan": files.plan,
        "sizes": files.sizes, "scale": files.scale,
        "operator": workspace.session.operator, "who": workspace.session.operator,
        "shape": labels.shape, "tube": labels.tube_mm, "paper": labels.paper, "sheet": labels.sheet,
        "printer": labels.printer,
    }  # fmt: skip


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


def make_optional(command: Any, defaults: Mapping[str, Any]) -> None:
    """Require no parameter any more that has a default from the workspace, so that no help calls it both."""
    for name, below in getattr(command, "commands", {}).items():
        make_optional(below, defaults[name])
    if not hasattr(command, "commands"):
        for parameter in command.params:
            parameter.required = parameter.required and parameter.name not in defaults


@contextmanager
def pointing_to_workspace() -> Iterator[None]:
    """Say in the block that there is no workspace, in place of an error about something that one would have stated.

    That is an option not given, or a file under its usual name which is not there. An error about a file that was
    named on the command line stays as it is.
    """
    try:
        yield
    except typer.BadParameter as error:
        option = _lacking(error)
        if not option:
            raise
        raise _no_workspace(option) from error
    except MidspanError as error:
        option = _not_there(error)
        if not option:
            raise
        raise _no_workspace(option) from error


def _lacking(error: typer.BadParameter) -> str:
    """Return the option that was not given though a workspace can state it; empty for any other error."""
    parameter, context = error.param, error.ctx
    if error.message or parameter is None or context is None:  # only a missing parameter comes without a message
        return ""
    stated = parameter.name in _usual() and parameter.name not in APART.get(_path(context), ())
    return max(parameter.opts, key=len) if stated else ""


def _not_there(error: MidspanError) -> str:
    """Return the option for a file that is not there under its usual name; empty for any other error."""
    if error.code == "no_source":
        return "--port or --csv"
    gone = error.code == "missing" or isinstance(error.__cause__, FileNotFoundError)
    usual = [
        f"--{name}"
        for name, value in _usual().items()
        if value and str(error).startswith(f"{value}:") and not os.path.lexists(str(value))  # a pipe is there
    ]
    return usual[0] if gone and usual else ""


def _usual() -> dict[str, object]:
    """Return what a workspace states that says nothing, and the names of all else that it can state."""
    from midspan.workspace.settings import Workspace

    return _options_of(Workspace())


def _path(context: Any) -> tuple[str, ...]:
    """Return the names of the groups and of the command of a context, without the program."""
    return (*_path(context.parent), str(context.info_name)) if context.parent is not None else ()


def _no_workspace(option: str) -> ConfigurationError:
    """Return the error that there is no workspace, which names the option that would do without."""
    given = option if option.startswith("--") else option.upper()
    return ConfigurationError(
        f"no midspan.toml in this folder or above it: go to the folder of your workspace, or begin one with: "
        f"midspan init (or give {given})",
        code="no_workspace",
    )
