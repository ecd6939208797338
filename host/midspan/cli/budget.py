"""`midspan show --budget`: what the uncertainty of a spine comes from, and the trials that check it."""

import json
import math
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path

from midspan.base.errors import ArchiveError
from midspan.base.formatting import printable
from midspan.cli.options import Shown
from midspan.cli.screen import aside
from midspan.hand_bench.bench import HandBench
from midspan.hand_bench.monte_carlo import hand_trials
from midspan.hand_bench.record import HandSession
from midspan.hand_bench.result import HandResult
from midspan.hand_bench.sessions import session_at
from midspan.measurement.result import ShaftResult
from midspan.measurement.shown_quantities import across_text, spine_text
from midspan.measurement.spine_monte_carlo import spine_trials
from midspan.report.budget_text import budget_table, trials_table, trials_words
from midspan.report.result_text import console
from midspan.store.evaluation import RunReference
from midspan.store.kept_calibration import KeptCalibration
from midspan.store.place import StorePlace
from midspan.uncertainty.budget import Coverage, plain_dof
from midspan.uncertainty.monte_carlo import agreement


def show_budget(
    result: ShaftResult | HandResult, run: RunReference, place: StorePlace, benches: Mapping[str, KeptCalibration],
    trials: int, shown: Shown,
) -> None:  # fmt: skip
    """Print the budget of a shaft's spine with bars and the trials that check it; draw it when asked.

    Trials of a hand bench result need its bench: from `benches` by id, or from the typed readings of its run.
    """
    coverage = Coverage(factor=shown.k)
    if isinstance(result, HandResult):
        bench = _bench_of(result, run, place, benches)
        found = None if bench is None else hand_trials(result, bench, trials)
    else:
        found = spine_trials(result, trials)
    expanded = result.budget.expanded(result.budget.k(coverage))
    check = agreement(result.spine_thou, expanded, found) if found else None
    name = printable(f"shaft {result.shaft} {result.label}").strip()
    if shown.as_json:
        tried = {"trials": asdict(found) if found else None, "agrees": check.holds if check else None}
        print(json.dumps(_as_dict(result, coverage) | tried))
    else:
        screen = console()
        screen.print(f"{name}: where the uncertainty of its spine comes from\n")
        screen.print(budget_table(result.budget, coverage), "")
        alike = across_text(expanded * math.sqrt(2))
        screen.print(f"another gauge, built and calibrated alike, would show this shaft within {alike}\n")
        if found and check:
            screen.print(trials_table(result.budget, result.spine_thou, expanded, found))
            screen.print(trials_words(check))
    if shown.picture is not None:
        from midspan.report.plot_budget import draw_budget

        title = f"{name}: spine {spine_text(result, shown.k)}; where its uncertainty comes from"
        draw_budget(title, result.budget, coverage, shown.picture, found)
        aside(f"picture: {shown.picture}")


def _bench_of(
    result: HandResult, run: RunReference, place: StorePlace, benches: Mapping[str, KeptCalibration]
) -> HandBench | None:
    """Return the bench of a result as it was; None if it was not kept, with the reason on standard error."""
    try:
        kept = benches.get(result.calibration) or KeptCalibration(_session_of(run, place).bench)
    except ArchiveError as error:
        aside(f"no trials: they need the bench as it was ({error})")
        return None
    return kept.bench(Path(run.archive))


def _session_of(run: RunReference, place: StorePlace) -> HandSession:
    files = place.readings(run.archive)
    return session_at(next((file for file in files if file.is_file()), files[0]), run.byte_offset)


def _as_dict(result: ShaftResult | HandResult, coverage: Coverage) -> dict[str, object]:
    budget, k = result.budget, result.budget.k(coverage)
    causes = [
        {"cause": part.name, "u": part.u_input, "unit": part.unit, "dof": plain_dof(part.dof),
         "thou_per_unit": part.sensitivity, "u_thou": part.u, "portion": budget.portion(part)}
        for part in budget.contributions
    ]  # fmt: skip
    known = {"shaft": result.shaft, "label": result.label, "spine_thou": result.spine_thou, "u_spine_thou": budget.u}
    return known | {"dof_spine": plain_dof(budget.dof), "k": k, "expanded_thou": k * budget.u, "causes": causes}
