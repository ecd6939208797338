"""A shaft without a label: found, wrong and not sure among 10,000 known ones of one maker, and the time of a question.

Results are drawn (`known_rig`), not evaluated from raw readings; tests/sets/test_recognise.py holds some hundreds of
full evaluations against them. Another calibration changes the scale of the gauge, another gauge also its supports.
"""

import time

import numpy as np
from known_rig import drawn_batch, drawn_errors, measured, mounted_again
from midspan.sets.fingerprint import Fingerprints
from midspan.sets.recognise import KnownShafts, Naming, recognise

from bench.figure import at_least, at_most, plainly

SHAFTS, STRANGERS = 10_000, 5000
SINGLE = 200
SCALE_SHARE = 0.6  # of u(spine) that a new calibration draws anew: force, travel, screw, frame


def figures(_):
    """Return shares found, wrong and not sure, under the same and other calibrations, and seconds a question."""
    rng = np.random.default_rng(17)
    batch, others = drawn_batch(rng, SHAFTS), drawn_batch(rng, STRANGERS)
    repeats = mounted_again(batch, rng)
    found = []
    for words, share, supports in (
        ("same gauge and calibration", 0.0, False),
        ("another calibration", SCALE_SHARE, False),
        ("another gauge", 1.0, True),
    ):
        known = KnownShafts(range(SHAFTS), measured(batch, rng, supports=supports), repeats, is_same=share == 0)
        asked, strange = (_asked(rng, those, share, supports) for those in (batch, others))
        found += _figures(words, known, asked, strange, _as_stated(rng, known))
    return [*found, _single(known, asked)]


def _asked(rng, batch, share, supports):
    """Return shafts as measured each by a gauge of its own; both this and the gauge of the known ones have an error."""
    errors = share * np.sqrt(2) * drawn_errors(rng, len(batch[0]))
    return measured(batch, rng, errors, supports=supports)


def _as_stated(rng, known):
    """Return the known shafts as they would be measured if they differed by exactly what both results state.

    A wave that the stock shows no more of than noise is drawn anew, as noise is: regression to the mean.
    """
    prints = known.prints
    of_asked, own = known.variances(prints, known.repeats, used=False)
    true = np.maximum((prints.traits**2 / 2 - own).mean(axis=0), 0)
    share = true / (true + own)
    share[:, 0] = 1.0
    sd, shape = np.sqrt(of_asked + share * own), prints.waves.shape
    noise = rng.normal(0, 1, (2, *shape)) * sd[:, 1:].reshape(shape)
    waves = prints.waves * share[:, 1:].reshape(shape) + noise[0] + 1j * noise[1]
    return Fingerprints(
        prints.log_spine + rng.normal(0, 1, len(prints)) * sd[:, 0], waves, prints.scatter, prints.stated
    )


def _shares(known, asked):
    """Return which known shafts were named rightly, and which wrongly or as none."""
    answers = recognise(asked, [known], known.repeats)
    right = [each.naming is Naming.SURE and each.candidates[0].shaft == i for i, each in enumerate(answers)]
    wrong = [each.naming is not Naming.NOT_SURE and not found for each, found in zip(answers, right, strict=True)]
    return np.mean(right), np.mean(wrong)


def _figures(words, known, asked, strange, stated):
    """Return the figures of one kind of question."""
    right, wrong = _shares(known, asked)
    predicted, _ = _shares(known, stated)
    answers = recognise(strange, [known], known.repeats)
    named = np.mean([each.naming is Naming.SURE for each in answers])
    none = np.mean([each.naming is Naming.NONE for each in answers])
    what = f"recognition, {SHAFTS} shafts, {words}"
    found = (
        at_least(f"{what}: found", 100 * right, "%", 99)
        if known.is_same
        else plainly(f"{what}: found", 100 * right, "%")
    )
    return [
        found,
        at_least("found, less what the stated U predicts", 100 * (right - predicted), "%", -1),
        at_most("wrong", 100 * wrong, "%", 0.1),
        plainly("not sure", 100 * (1 - right - wrong), "%"),
        at_most("shafts never measured that get a name", 100 * named, "%", 0.3),
        plainly("shafts never measured: none of these", 100 * none, "%"),
    ]


def _single(known, asked):
    """Return the time of a question on a single shaft."""
    begun = time.process_time()
    for i in range(SINGLE):
        recognise(asked.of([i]), [known], known.repeats)
    return plainly("processor time a question", 1e3 * (time.process_time() - begun) / SINGLE, "ms")
