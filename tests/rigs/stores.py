"""Places of stores for tests, and invented results in them; the fixture `store` is a fresh store."""

from midspan.decision.decision import Decision, Outcome
from midspan.store.evaluation import Evaluation, RunReference
from midspan.store.place import StorePlace
from results import NOTHING

ACCEPTED = Decision(Outcome.ACCEPTED, (), "500")


def store_in(folder, name="results.db"):
    """Return the place of a folder's database of results, under the name that commands look for."""
    return StorePlace(folder / name)


def run_of(shaft, label="", *, archive="a.avro", offset=None, at_ms=0):
    """Return a reference to invented readings, by default at an offset that differs from shaft to shaft."""
    return RunReference(archive, 9000 * shaft if offset is None else offset, shaft, label, at_ms)


def add_result(store, run, result=NOTHING, decision=ACCEPTED, *, batch=None):
    """Store an invented result, by default in a new batch, and return its number."""
    return store.add(batch or store.begin_batch("blue", 0), run, Evaluation(result, decision, run.started_ms))
