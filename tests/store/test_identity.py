"""Find the numbers that belong to the same shaft, from statements and labels: worked by hand, and by a plain search."""

import itertools
import random
import re

import pytest
from midspan.base.errors import MatchingError
from midspan.store.identity import Statement, identities


def said(*words):
    """Return statements from words like "3=7" (same), "3!7" (different) and "3?7" (withdrawn)."""
    marks = {"=": True, "!": False, "?": None}
    parts = [re.fullmatch(r"(\d+)([=!?])(\d+)", word).groups() for word in words]
    return [Statement(int(first), int(second), marks[mark]) for first, mark, second in parts]


def test_numbers_said_to_be_one_are_one_through_others():
    found = identities(said("3=7", "12=7", "20=21"))
    assert found.numbers(3) == found.numbers(12) == (3, 7, 12)
    assert found.numbers(21) == (20, 21)
    assert found.numbers(5) == (5,)


def test_the_newest_statement_about_a_pair_holds():
    assert identities(said("3=7", "7!3")).numbers(3) == (3,)
    assert identities(said("3!7", "7=3")).numbers(3) == (3, 7)
    assert identities(said("3=7", "3?7")).numbers(3) == (3,)
    assert identities(said("3=7", "3?7", "3=7")).numbers(7) == (3, 7)


def test_shafts_said_to_be_two_are_two_under_all_their_numbers():
    found = identities(said("3=7", "12=20", "7!20"))
    assert found.are_two(3, 12)
    assert found.are_two(12, 3)
    assert not found.are_two(3, 7)
    assert not found.are_two(3, 5)


@pytest.mark.parametrize("words", [("3=7", "7=12", "3!12"), ("3!12", "3=7", "7=12"), ("12=7", "3!12", "7=3")])
def test_a_contradiction_names_the_chain(words):
    with pytest.raises(MatchingError) as caught:
        identities(said(*words))
    assert re.findall(r"\d+", str(caught.value)) == ["3", "12", "3", "7", "7", "12"]


def test_a_label_under_two_numbers_is_one_shaft():
    found = identities(said("7=9"), {"blue": {3, 7}, "red": {20}})
    assert found.numbers(9) == (3, 7, 9)
    assert found.numbers(20) == (20,)


@pytest.mark.parametrize(
    ("words", "labels"),
    [
        (("3!7",), {"lot": {3, 7, 8}}),
        (("7=9", "3!9"), {"lot": {3, 7}}),
        (("3!9",), {"a": {3, 7}, "b": {7, 9}}),  # the first label joins 3 and 7, then the second says nothing
    ],
)
def test_a_label_never_joins_what_a_person_parted(words, labels):
    found = identities(said(*words), labels)
    assert all(b not in found.numbers(a) for a, b in found.parted)
    assert found.numbers(8) == (8,)


def test_drawn_statements_give_what_a_plain_search_gives():
    rng = random.Random(3)
    contradictions = 0
    for _ in range(300):
        statements = [Statement(*rng.sample(range(8), 2), rng.choice([True, True, False, None])) for _ in range(9)]
        newest = {frozenset((statement.shaft, statement.other)): statement.same for statement in statements}
        reach = {a: {a} for a in range(8)}
        for _ in range(8):  # the longest chain has this many steps
            for a, b in itertools.permutations(range(8), 2):
                if newest.get(frozenset((a, b))):
                    reach[a] |= reach[b]
        wrong = any(same is False and max(pair) in reach[min(pair)] for pair, same in newest.items())
        contradictions += wrong
        if wrong:
            with pytest.raises(MatchingError):
                identities(statements)
        else:
            assert {a: set(identities(statements).numbers(a)) for a in range(8)} == reach
    assert 30 < contradictions < 270
