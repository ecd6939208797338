"""`midspan park`: the shaft in the gauge with its stiff side up."""

from pathlib import Path
from typing import Annotated

import typer

from midspan.cli.options import STORE, BandsFile, CalibrationFile, ClearFault, EvenSo, Factor, Label, StoreFile


def park(
    shaft: Annotated[int, typer.Argument(min=0, max=2**31 - 1, help="Number of the shaft in the gauge.")],
    port: Annotated[str, typer.Option(help="Serial port of the gauge (see: midspan ports), or: rehearsal.")],
    calibration: CalibrationFile,
    bands: BandsFile,
    label: Label = "",
    archive: Annotated[Path, typer.Option(help="Archive that the raw readings are added to.")] = Path("readings.avro"),
    store: StoreFile = STORE,
    clear_fault: ClearFault = False,
    even_so: EvenSo = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of words.")] = False,
    k: Factor = None,
) -> None:
    """Measure the shaft in the gauge and turn its stiff side up, for marking.

    Angles hold only until a shaft is lifted off, so it is measured now, and kept like any other. Refuses when its
    spread is within the noise. Keep fingers off rollers and head while they move.
    """
    from midspan.cli import park_command

    park_command.run(
        port, shaft, label, calibration, bands, archive, store,
        clear_fault=clear_fault, even_so=even_so, as_json=as_json, k=k,
    )  # fmt: skip
