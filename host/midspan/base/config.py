"""Configuration files: TOML text becomes a checked model, or an error that lists everything wrong.

The message is one line, so it explains the first problem and counts the others; `ConfigurationError.problems` has all.
"""

import difflib
import re
import reprlib
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, TypeVar, get_args

from pydantic import BaseModel, ConfigDict, Field, SecretStr, ValidationError

from midspan.base.errors import ConfigurationError
from midspan.base.files import text_of

Model = TypeVar("Model", bound=BaseModel)
LARGEST_BYTES = 1_000_000

# What a value has to be, in the terms of TOML instead of Python's.
KINDS = {
    "tuple_type": "an array, as in [1, 2]",
    "model_type": "a table of keys",
    "dict_type": "a table of keys",
    "string_type": "text in quotes",
    "float_type": "a number",
    "int_type": "a whole number",
    "bool_type": "true or false",
}

# What a person most likely did where Python's parser says this.
SLIPS = {
    "Illegal character '\\n'": "is a quote missing?",
    'Expected "\'"': "is a quote missing in the last lines?",
    "Unterminated string": "is a quote missing in the last lines?",
    "Invalid value": "is a quote missing before a text, or a value after the =?",
    "Expected ']'": "is a ] missing?",
    "Unclosed array": "is a ] missing in this line or the one above?",
    "Expected '='": "is an = missing?",
    "Expected newline": "is there a decimal comma, or something behind the value? Numbers have a point, comments a #",
    "Cannot overwrite": "this key is there twice; remove one of the two",
    "Cannot declare": "this table is there twice; make one of the two",
    "Invalid hex": "a backslash in a text: write it twice, or put the text between single quotes",
    "Unescaped '\\'": "a backslash in a text: write it twice, or put the text between single quotes",
}

# TOML has arrays where a model has tuples. This accepts the array and still checks its items strictly.
ARRAY = Field(strict=False)


class Section(BaseModel):
    """A table of a configuration file; an unknown key in it is an error.

    Types are strict: otherwise `true` would count as 1, and the text "1.5" as a number while "1,5" is refused.
    """

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


def read_toml(path: Path) -> dict[str, Any]:
    """Read a TOML file.

    Parameters
    ----------
    path : Path
        File of at most a megabyte, in UTF-8.

    Returns
    -------
    dict[str, Any]
        Its keys and values, not yet checked.

    Raises
    ------
    ConfigurationError
        The file cannot be read, is too large, or is not TOML.
    """
    text = text_of(path, ConfigurationError, LARGEST_BYTES)
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # also a number with too many digits, or nesting too deep
        raise ConfigurationError(f"{path}: {_not_toml(str(error))}") from error


def _not_toml(problem: str) -> str:
    """Return the parser's complaint as a question that its line answers; one that is rare is quoted.

    >>> _not_toml("Illegal character '\\\\n' (at line 27, column 53)")
    'line 27: is a quote missing?'
    """
    place = re.search(r" \(at (line \d+), column \d+\)$", problem)
    where = f"{place[1]}: " if place else ""
    asked = next((question for beginning, question in SLIPS.items() if problem.startswith(beginning)), "")
    return where + (asked or f"is not valid TOML ({problem}); correct the file")


def validated(model: type[Model], data: Mapping[str, object], path: Path) -> Model:
    """Return the data of a configuration file as a checked model.

    Parameters
    ----------
    model : type[Model]
        The pydantic model that says which keys there are and what their values may be.
    data : Mapping[str, object]
        Keys and values as `read_toml` returns them.
    path : Path
        File that the data come from, for the message.

    Returns
    -------
    Model
        An instance of `model`.

    Raises
    ------
    ConfigurationError
        A key is missing or unknown, or a value is wrong; the message explains the first problem and counts the rest,
        `problems` has a sentence for each.
    """
    try:
        return model.model_validate(data)
    except ValidationError as error:
        problems = tuple(_sentence(problem, model) for problem in _own_problems(error, model))
        more = f" (and {len(problems) - 1} more)" if len(problems) > 1 else ""
        raise ConfigurationError(f"{path}: {problems[0]}{more}", problems=problems) from error


def _own_problems(error: ValidationError, model: type[BaseModel]) -> list[Any]:
    """Return pydantic's reports of problems, unknown keys first, without those that only follow from another.

    A misspelt key is reported as unknown and as missing; the misspelling is what the reader can find and correct. An
    array whose entries are all wrong is reported as too short besides, because no good entry is left.
    """
    problems = sorted(error.errors(), key=lambda problem: problem["type"] != "extra_forbidden")
    inside = {problem["loc"][:end] for problem in problems for end in range(len(problem["loc"]))}
    misspelt = {
        (*problem["loc"][:-1], _near(problem, model)) for problem in problems if problem["type"] == "extra_forbidden"
    }
    following = {"too_short": inside, "missing": misspelt}
    return [problem for problem in problems if problem["loc"] not in following.get(problem["type"], ())]


def _near(problem: Any, model: type[BaseModel]) -> str:
    """Return the known key that is spelt like an unknown one, an empty string if there is none."""
    return next(iter(difflib.get_close_matches(str(problem["loc"][-1]), list(_known_keys(model)), n=1)), "")


def _sentence(problem: Any, model: type[BaseModel]) -> str:
    """Return pydantic's report of one problem as a sentence for the person who wrote the file."""
    place = _place(problem["loc"])
    if problem["type"] == "missing":
        return f"{place} is missing; add it"
    if problem["type"] == "extra_forbidden":
        near = _near(problem, model)
        return f"{place} is not a known key" + (f"; did you mean {near}?" if near else "; remove it")
    if problem["type"] == "value_error":
        return str(problem["ctx"]["error"])
    wrong = f"input should be {KINDS[problem['type']]}" if problem["type"] in KINDS else problem["msg"].lower()
    given = "" if _is_secret(model, problem["loc"]) else f" = {reprlib.repr(problem['input'])}"
    return f"{place}{given}: {wrong}; correct the value"


def _is_secret(kind: Any, place: tuple[str | int, ...]) -> bool:
    """Return True if the value at a place of a model is a secret or contains one, so that no message shows it."""
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        inner = {field.alias or name: field.annotation for name, field in kind.model_fields.items()}
        if place:
            return place[0] in inner and _is_secret(inner[str(place[0])], place[1:])
        return any(_is_secret(annotation, ()) for annotation in inner.values())
    rest = place[1:] if place and isinstance(place[0], int) else place
    return kind is SecretStr or any(_is_secret(argument, rest) for argument in get_args(kind))


def _place(parts: tuple[str | int, ...]) -> str:
    """Return the place of a value in words; the first entry of an array is entry 1.

    >>> _place(("place", 0, "holds")), _place(("sort", "loaded"))
    ('place, entry 1, holds', 'sort.loaded')
    """
    words = ""
    for before, part in zip((None, *parts), parts, strict=False):
        between = "" if before is None else ", " if isinstance(before, int) else "."
        words += f", entry {part + 1}" if isinstance(part, int) else f"{between}{part}"
    return words


def _known_keys(model: type[BaseModel]) -> Iterator[str]:
    """Yield the keys of a model and of the models within it."""
    for name, field in model.model_fields.items():
        yield name
        for inner in (field.annotation, *get_args(field.annotation)):
            if isinstance(inner, type) and issubclass(inner, BaseModel):
                yield from _known_keys(inner)
