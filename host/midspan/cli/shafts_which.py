"""`midspan shafts which`: which known shaft a measurement is of."""

import json
from typing import Annotated

import typer

from midspan.cli.options import STORE, AsJson, StoreAt


def which(
    shaft: Annotated[
        str | None,
        typer.Argument(
            help="Number or label under which it was measured.", metavar="SHAFT", show_default="the newest measurement"
        ),
    ] = None,
    used: Annotated[bool, typer.Option("--used", help="Shafts may have changed with use since.")] = False,
    unknown: Annotated[
        float,
        typer.Option("--unknown", min=0.001, max=0.999, help="How likely it is that it was never measured."),
    ] = 0.5,
    store: StoreAt = STORE,
    as_json: AsJson = False,
) -> None:
    """Name a shaft that was measured without a label: the probability of each known shaft, and of none of these.

    Measure the shaft under a new number first. Spine, evenness and bow, and the angles between them, are compared with
    all shafts of the database. Results of another gauge or calibration count with their U.
    """
    from midspan.report import recognition_text
    from midspan.report.result_text import console
    from midspan.sets.stock import shafts_measured
    from midspan.sets.which import which_shaft
    from midspan.store.lookup import read_name

    with store.open_to_read() as opened:
        found = which_shaft(opened, None if shaft is None else read_name(opened, shaft), used, unknown)
        candidates = [*found.found.candidates, *(found.if_used.candidates if found.if_used else ())]
        numbers = {candidate.shaft: found.same.numbers(candidate.shaft) for candidate in candidates}
        measured = shafts_measured(opened, {number for those in numbers.values() for number in those})
    shafts = {key: next((measured[n] for n in those[::-1] if n in measured), None) for key, those in numbers.items()}
    if as_json:
        print(json.dumps(recognition_text.as_plain(found, shafts, unknown)))
        return
    console().print(recognition_text.answer_words(found, shafts))
    if found.found.candidates:
        console().print(recognition_text.candidates_table(found.found, found, shafts))
    for line in recognition_text.notes(found, shafts, used):
        console().print(line)
