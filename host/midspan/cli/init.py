"""`midspan init`: a few questions, and the workspace file with what belongs to it."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from midspan.base.errors import ConfigurationError
from midspan.cli.options import workspace_of
from midspan.cli.screen import Prompter, aside

if TYPE_CHECKING:
    from midspan.conversation.prompts import Conversation
    from midspan.workspace.first_questions import StandardKnown
    from midspan.workspace.settings import Workspace


def init(
    context: typer.Context,
    folder: Annotated[Path, typer.Option("--folder", help="Folder to work in; made if it is missing.")] = Path(),
    yes: Annotated[
        bool, typer.Option("--yes", help="Ask nothing: the simulated gauge, thou and grains, bands to begin with.")
    ] = False,
    port: Annotated[
        str | None, typer.Option("--gauge-port", help="Port of the gauge, or: rehearsal; not asked for then.")
    ] = None,
    bands: Annotated[bool, typer.Option("--bands", help="Only begin the bands of a workspace.")] = False,
    masses: Annotated[bool, typer.Option("--masses", help="Only note the masses at hand.")] = False,
    standard: Annotated[
        bool, typer.Option("--standard", help="Only add a check standard, a bar of known spine.")
    ] = False,
) -> None:
    """Set up a folder to work in: a few questions, then no command needs a path.

    Writes midspan.toml, with a comment on each line, and begins the bands and the masses. It overwrites no file.
    """
    from midspan.conversation.questions import Unattended

    talk: Conversation = Unattended(aside) if yes else Prompter()
    if bands or masses or standard:
        with _answered_to_the_end("nothing more was written"):
            _add(_entered(context), talk, bands=bands, masses=masses, standard=standard)
    else:
        with _answered_to_the_end("nothing was written"):  # every question comes before the first file
            _begin(folder, talk, port)
    _say_next(folder)


@contextmanager
def _answered_to_the_end(written: str) -> Iterator[None]:
    """Say what was written if the answers end before the questions do."""
    try:
        yield
    except typer.Abort as end:
        aside("")  # the question stands on an open line
        raise ConfigurationError(
            f"the answers ended before the questions: {written}; start again, or take the usual answers with --yes",
            code="unanswered",
        ) from end


def _entered(context: typer.Context) -> "Workspace":
    """Return the workspace to add to; a ConfigurationError says that there is none."""
    workspace = workspace_of(context)
    if workspace is None:
        raise ConfigurationError("there is no workspace to add to; begin with: midspan init", code="no_workspace")
    return workspace


def _begin(folder: Path, talk: "Conversation", port: str | None) -> None:
    """Ask, and write the files of a new workspace."""
    from midspan.decision.bands import Bands
    from midspan.hand_bench.masses import MassSet
    from midspan.link.serial_port import ports
    from midspan.rehearsal.process import REHEARSAL_PORT
    from midspan.workspace import file_texts, first_questions
    from midspan.workspace.begin import begin_file, check_new
    from midspan.workspace.found import WORKSPACE_FILE
    from midspan.workspace.settings import USUAL, Workspace

    file = folder / WORKSPACE_FILE
    check_new(file)
    answers = first_questions.workspace_asked(talk, [each.port for each in ports()], REHEARSAL_PORT, port)
    begun = first_questions.bands_asked(talk)
    at_hand = None if answers.port in (None, REHEARSAL_PORT) else first_questions.masses_asked(talk)
    begin_file(file, file_texts.workspace_text(answers), Workspace)
    print(f"{file}: the workspace, a comment on each line")
    _say_begun(folder / USUAL["bands"], begin_file(folder / USUAL["bands"], file_texts.bands_text(begun), Bands))
    if at_hand is not None:
        path = folder / USUAL["masses"]
        _say_begun(path, begin_file(path, file_texts.masses_text(at_hand), MassSet))


def _add(workspace: "Workspace", talk: "Conversation", *, bands: bool, masses: bool, standard: bool) -> None:
    """Ask for what is to be added to a workspace, and write it."""
    from midspan.decision.bands import Bands
    from midspan.hand_bench.masses import MassSet
    from midspan.workspace import file_texts, first_questions
    from midspan.workspace.begin import begin_file
    from midspan.workspace.settings import USUAL, seen_from

    def place(stated: Path | None, usual: str) -> Path:
        return stated or seen_from(Path.cwd(), workspace.folder / usual)

    if bands:
        path = place(workspace.files.bands, USUAL["bands"])
        begun = path.exists() or first_questions.bands_asked(talk)
        _say_begun(path, begun is not True and begin_file(path, file_texts.bands_text(begun), Bands))
    if masses and (at_hand := first_questions.masses_asked(talk)) is not None:
        path = place(workspace.files.masses, USUAL["masses"])
        _say_begun(path, begin_file(path, file_texts.masses_text(at_hand), MassSet))
    if standard:
        _add_standard(workspace, first_questions.standard_asked(talk))


def _add_standard(workspace: "Workspace", known: "StandardKnown | None") -> None:
    """Write a check standard into the workspace file, and print that it was, or that there is none yet."""
    from midspan.workspace.begin import add_to_file
    from midspan.workspace.file_texts import standard_text
    from midspan.workspace.settings import Workspace

    if known is None:
        print("no check standard added: shafts can be measured without")
        return
    add_to_file(workspace.path, standard_text(known), Workspace)
    print(f"{workspace.path}: check standard {known.name} added")


def _say_begun(path: Path, is_new: bool) -> None:
    """Print that a file was begun, or that it was there."""
    print(f"{path}: begun; change it as you like" if is_new else f"{path}: was there already and stays as it is")


def _say_next(folder: Path) -> None:
    """Print the next command of the workspace in a folder."""
    from midspan.cli.status import next_command

    print(f"Next: {next_command(folder)}")
