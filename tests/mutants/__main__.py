"""Put small faults into the core, one at a time, and count those that the tests of their own folder notice.

`python tests/mutants [FOLDER ...] [--seed N] [--count N]`; all six folders without names.
"""

import argparse
import sys
from collections import Counter
from pathlib import Path

from mutant_runs import FailingTests, Verdict, run
from mutant_sample import FOLDERS, Mutant, all_mutants, read_equivalents, sample

ROOT = Path(__file__).parents[2]
HOST = ROOT / "host" / "midspan"
EQUIVALENTS = ROOT / "tests" / "mutants.toml"
# Of the mutants that can be told from the program, the share that tests must notice.
KILLED_AT_LEAST = 0.9


def _wanted() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python tests/mutants", description=__doc__.partition("\n")[0])
    parser.add_argument("folders", nargs="*", metavar="FOLDER", help=f"of {', '.join(FOLDERS)}; all without")
    parser.add_argument("--seed", type=int, default=1, help="another seed draws another sample")
    parser.add_argument("--count", type=int, default=200, help="mutants in the sample")
    parser.add_argument("--key", action="append", help="try the mutant of this key instead of a sample")
    parser.add_argument(
        "--callers", action="store_true", help="only tests that call the changed function: sooner, but more survive"
    )
    parser.add_argument("--workers", type=int, default=2, help="mutants tried at a time")
    wanted = parser.parse_args()
    if unknown := set(wanted.folders) - set(FOLDERS):
        parser.error(f"no such folder: {', '.join(sorted(unknown))}")
    return wanted


def _drawn(wanted: argparse.Namespace, mutants: list[Mutant]) -> list[Mutant]:
    if wanted.key:
        return [mutant for mutant in mutants if mutant.key in wanted.key]
    folders = wanted.folders or FOLDERS
    return sample((mutant for mutant in mutants if mutant.folder in folders), wanted.seed, wanted.count)


def told(verdict: Verdict) -> str:
    """Return a survivor as a reader needs it: where, its key and the changed lines."""
    mutant = verdict.mutant
    place = f"{mutant.module}: {mutant.definition}" if mutant.definition else mutant.module
    return "\n".join([f"{place} [{mutant.key}]", *(f"    {line}" for line in verdict.difference)])


def summary(drawn: list[Mutant], survived: list[Mutant], equivalent: set[str]) -> tuple[str, bool]:
    """Count a sample by folder.

    Parameters
    ----------
    drawn, survived : list of Mutant
        The sample, and those of it that no test noticed.
    equivalent : set of str
        Keys of the mutants that are excused.

    Returns
    -------
    str
        A table, one line for each folder and one for all.
    bool
        True if enough were killed.
    """
    alive = {mutant.key for mutant in survived}
    counts: dict[str, Counter[str]] = {folder: Counter() for folder in dict.fromkeys(mutant.folder for mutant in drawn)}
    for mutant in drawn:
        fate = "equivalent" if mutant.key in equivalent else "survived" if mutant.key in alive else "killed"
        counts[mutant.folder][fate] += 1
    counts["all"] = sum(counts.values(), Counter())
    lines = [f"{'':12}{'sampled':>9}{'killed':>9}{'equivalent':>12}{'survived':>10}{'killed of the rest':>20}"]
    for folder, count in counts.items():
        rest = count["killed"] + count["survived"]
        share = f"{count['killed'] / rest:.1%}" if rest else "-"
        lines.append(
            f"{folder:12}{count.total():9}{count['killed']:9}{count['equivalent']:12}{count['survived']:10}{share:>20}"
        )
    every = counts["all"]
    return "\n".join(lines), every["killed"] >= KILLED_AT_LEAST * (every["killed"] + every["survived"])


def main() -> int:
    """Draw, try and report; return 0 if enough were killed and every excuse is still needed, else 1."""
    wanted = _wanted()
    mutants = all_mutants(HOST)
    excused = read_equivalents(EQUIVALENTS.read_text(encoding="utf-8"))
    gone = sorted(set(excused) - {mutant.key for mutant in mutants})
    drawn = _drawn(wanted, mutants)
    tried = [mutant for mutant in drawn if mutant.key not in excused]
    survived = []
    for number, verdict in enumerate(run(ROOT, tried, wanted.workers, wanted.callers), start=1):
        if not verdict.is_killed:
            survived.append(verdict)
            print(told(verdict), flush=True)
        print(f"{number} of {len(tried)}, {len(survived)} survived", end="\r", file=sys.stderr, flush=True)
    table, is_enough = summary(drawn, [verdict.mutant for verdict in survived], set(excused))
    print(table)
    for key in gone:
        print(f"tests/mutants.toml excuses {key}, but no mutant has this key any more: {excused[key]}")
    return 0 if is_enough and not gone else 1


if __name__ == "__main__":
    try:
        sys.exit(main())
    except FailingTests as error:
        sys.exit(f"without any fault the tests fail: {error}")
