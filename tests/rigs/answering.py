"""A person who answers prompts by their ids, for tests that go by ids instead of sentences."""

from collections.abc import Callable, Mapping
from typing import Any

from midspan.base.errors import ReadingsError
from midspan.conversation.prompts import Answer, Prompt

Given = str | list[str] | Callable[[Prompt], str]


class Answering:
    """A conversation whose answers are stated by id: a text, a list of texts in turn, or a function of the prompt.

    What is not stated gets Enter alone. `asked` are the prompts as they came, `said` the lines.
    """

    def __init__(self, answers: Mapping[str, Given] | None = None) -> None:
        self.answers = {
            name: list(given) if isinstance(given, list) else given for name, given in (answers or {}).items()
        }
        self.asked: list[Prompt] = []
        self.said: list[Any] = []

    @property
    def ids(self) -> list[str]:
        """Return the ids of the prompts in order."""
        return [prompt.id for prompt in self.asked]

    def ask(self, prompt: Prompt) -> Answer:
        """Return the answer stated for a prompt, asking again as a terminal does; fail where no answer will do."""
        for _ in range(10):
            self.asked.append(prompt)
            try:
                return prompt.answer_of(self.typed(prompt))
            except ReadingsError as error:
                self.say(error)
        raise AssertionError(f"no answer to {prompt}")

    def typed(self, prompt: Prompt) -> str:
        """Return the line that is typed at a prompt."""
        given = self.answers.get(prompt.id, "")
        if isinstance(given, list):
            return given.pop(0) if given else ""
        return given if isinstance(given, str) else given(prompt)

    def say(self, words: object) -> None:
        """Remember a line."""
        self.said.append(words)
