"""`midspan diagnose`: a pack for a person who helps."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from midspan.cli.options import STORE, StoreAt, workspace_of


def diagnose(
    context: typer.Context,
    files: Annotated[
        list[Path] | None, typer.Argument(help="Settings or a trace that lie elsewhere.", metavar="FILE")
    ] = None,
    store: StoreAt = STORE,
    port: Annotated[
        str | None, typer.Option(help="Also ask the gauge on this port who it is; it does not move.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option(help="Where the pack goes.", show_default="midspan-diagnosis-....zip")
    ] = None,
) -> None:
    """Pack what helps another to help you, without secrets and names.

    Versions, the settings in this folder or the workspace's, facts of the database, the end of the log and of the
    newest trace (midspan --trace). Texts of yours are replaced, passwords and addresses left out; nothing is sent
    anywhere.
    """
    from midspan.base.log_file import log_path
    from midspan.diagnose.collect import Sources
    from midspan.diagnose.pack import pack

    out = out or Path(f"midspan-diagnosis-{datetime.now(UTC):%Y%m%d-%H%M%S}.zip")
    workspace = workspace_of(context)
    folder = Path() if workspace is None else workspace.folder
    parts = pack(Sources(folder, tuple(files or ()), store, log_path(), port), out)
    for part in parts:
        if part.text is None:
            print(f"not packed, and said so in it: {part.error}")
        else:
            print(f"packed: {part.what}{'' if part.source is None else f' ({part.source})'}, as {part.name}")
    print(
        f"{out}: names and other texts of yours were replaced, addresses and passwords left out. Nothing was sent "
        "anywhere: look into it, then give it to whom you trust."
    )
