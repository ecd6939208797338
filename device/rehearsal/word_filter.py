"""The converter's digital filter: a word is a weighted mean of the signal over the last conversions.

A conversion integrates the signal over its whole interval T, here by Gauss's rule with two instants, which is exact
for a signal that is a cubic in it. A moving average of n conversions weighs their n intervals alike; a filter sinc^3 of
three intervals weighs an age a by the quadratic B-spline of a / T, the convolution of three such intervals.
"""

import math

GAUSS = (0.5 - math.sqrt(1 / 12), 0.5 + math.sqrt(1 / 12))  # instants of a conversion, as parts of it
AVERAGES = {"average" + str(n): n for n in range(1, 9)}


def _spline(age: float) -> float:
    """Return the quadratic B-spline of unit area at an age, 0 to 3 intervals."""
    age = min(age, 3 - age)
    return age * age / 2 if age < 1 else 0.75 - (age - 1.5) ** 2


def _shape(kind: str):
    """Return the instants of a conversion, and for each the weights that it has in this word and the next ones."""
    if kind == "none":
        return (1.0,), ((1.0,),)
    if kind == "sinc3":
        return GAUSS, [[_spline(word + 1 - instant) / 2 for word in range(3)] for instant in GAUSS]
    if kind in AVERAGES:
        return GAUSS, [[0.5 / AVERAGES[kind]] * AVERAGES[kind]] * 2
    raise ValueError("gauge: unknown filter {!r}".format(kind))


class WordFilter:
    """Filter of a kind: "none", "average1" to "average8", "sinc3"; raises ValueError that names another.

    `instants` are the parts of a conversion at which it wants the signal, in their order; with "none" that is its end.
    """

    def __init__(self, kind: str) -> None:
        self.instants, self._weights = _shape(kind)
        self._words = [0.0] * len(self._weights[0])  # what is known of this word and the next ones
        self._at = 0

    def settle(self, signal: float) -> None:
        """Begin a conversion as if the signal had been the same for long."""
        self._at = 0
        for word in range(len(self._words)):
            self._words[word] = signal * sum([sum(weights[word + 1 :]) for weights in self._weights])

    def add(self, signal: float) -> None:
        """Take in the signal at the next instant."""
        weights, words = self._weights[self._at], self._words
        for word in range(len(words)):
            words[word] += weights[word] * signal
        self._at += 1

    def word(self) -> float:
        """Return the word of the conversion that ends now."""
        self._at = 0
        word = self._words.pop(0)
        self._words.append(0.0)
        return word
