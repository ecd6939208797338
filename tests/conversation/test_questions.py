"""Questions that recur: numbers within limits, choices instead of a number, and what happens where nobody answers."""

import pytest
from answering import Answering
from midspan.base.errors import ConfigurationError, ReadingsError
from midspan.conversation.prompts import Prompt, PromptChoice
from midspan.conversation.questions import (
    Unattended,
    instruction,
    is_yes,
    line_of,
    number_asked,
    number_or_none,
    number_prompt,
)

UNKNOWN = PromptChoice("unknown", "", "not known")


def test_a_number_is_asked_for_until_it_is_one_within_the_limits():
    person = Answering({"size": ["big", "0,5", "25,4"]})
    assert number_asked(person, number_prompt("size", "Size, in mm"), (1.0, 30.0)) == 25.4
    assert person.ids == ["size"] * 3
    assert [error.code for error in person.said if isinstance(error, ReadingsError)] == []
    assert len(person.said) == 2


def test_a_choice_may_be_made_instead_of_a_number():
    prompt = Prompt("latitude", "Latitude", (UNKNOWN,), "a number")
    assert number_or_none(Answering(), prompt) is None
    assert number_or_none(Answering({"latitude": "47"}), prompt) == 47.0
    with pytest.raises(ReadingsError) as caught:
        number_asked(Answering(), prompt)
    assert caught.value.code == "choice"


def test_yes_and_no_take_nothing_else():
    person = Answering({"sure": ["", "perhaps", "Y"]})
    assert is_yes(person, "sure", "Sure?")
    assert [error.code for error in person.said] == ["no_choice"] * 2
    assert not is_yes(Answering({"sure": "n"}), "sure", "Sure?")


def test_where_nobody_is_a_default_counts_and_without_one_it_is_refused():
    shown = []
    nobody = Unattended(shown.append)
    assert number_asked(nobody, number_prompt("bar", "Diameter", "25")) == 25.0
    assert nobody.ask(instruction("lay in", "Lay it in.", "1 of 2")).choice == "done"
    assert ["25" in shown[0], shown[1].startswith("[1 of 2]")] == [True, True]
    nobody.ask(
        Prompt("way", "Measured or computed?", (PromptChoice("m", "m", "by dial"), PromptChoice("c", "", "wood")))
    )
    assert "?" not in shown[2]  # a question with its answer is none any more
    assert shown[2].endswith(": wood")
    for prompt in (number_prompt("bar", "Diameter"), Prompt("sure", "Sure?", (PromptChoice("yes", "y", "yes"),))):
        with pytest.raises(ConfigurationError) as caught:
            nobody.ask(prompt)
        assert caught.value.code == "nobody"


def test_a_terminal_shows_part_keys_and_default():
    prompt = Prompt("dial", "The dial", (PromptChoice("back", "b", "back"),), "a number", "3.00", "2 of 16")
    shown = line_of(prompt)
    assert [word for word in ("2 of 16", "The dial", "b: back", "3.00") if word not in shown] == []
