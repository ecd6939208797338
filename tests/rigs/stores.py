"""Where stores of tests are, and how invented results get into them; a fresh one is the fixture `store`."""

from midspan.decision.decision import Decision, Outcome
from midspan.store.evaluation import Evaluation, RunReference
from midspan.store.place import StorePlace
from results import NOTHING

ACCEPTED = Decision(Outcome.ACCEPTED, (), "500")


def store_in(folder, name="results.db"):
    """Return the place of the database of results in a folder, under the name that commands look for."""
    return StorePlace(folder / name)


def run_of(shaft, label="", *, archive="a.avro", offset=None, at_ms=0):
    """Return a reference to readings that nobody took; those of a shaft stand at an offset of their own."""
    return RunReference(archive, 9000 * shaft if offset is None else offset, shaft, label, at_ms)


def add_result(store, run, result=NOTHING, decision=ACCEPTED, *, batch=None):
    """Store an invented result made when its shaft was measured, by default in a new batch; return its number."""
    return store.add(batch or store.begin_batch("blue", 0), run, Evaluation(result, decision, run.started_ms))
