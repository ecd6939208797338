"""Reading configuration files: TOML in, a checked model out, one clear line when something is wrong."""

import difflib
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


# What a value has to be, in the words of TOML and not in those of the language that reads it.
KINDS = {
    "tuple_type": "an array, as in [1, 2]",
    "model_type": "a table of keys",
    "dict_type": "a table of keys",
    "string_type": "text in quotes",
    "float_type": "a number",
    "int_type": "a whole number",
    "bool_type": "true or false",
}

# TOML has arrays where a model has tuples: this lets one in, while what it holds is still looked at strictly.
ARRAY = Field(strict=False)


class Section(BaseModel):
    """A table of a configuration file: a key that is not known is an error, not a comment.

    Nothing is taken for a number that was not written as one: `true` would else be 1, and "1,5" would be refused
    where "1.5" is not.
    """

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


def read_toml(path: Path) -> dict[str, Any]:
    """Contents of a TOML file; ConfigurationError when it is missing or not TOML."""
    text = text_of(path, ConfigurationError, LARGEST_BYTES)
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # a number of too many digits, nested too deeply
        raise ConfigurationError(f"{path}: is not TOML text: {error}") from error


def validated(model: type[Model], data: Mapping[str, object], path: Path) -> Model:
    """The data as a checked model; the first thing wrong becomes one ConfigurationError with all of them counted."""
    try:
        return model.model_validate(data)
    except ValidationError as error:
        # A misspelt key is also a missing one: the wrong spelling is what the reader can see and mend.
        problems = sorted(error.errors(), key=lambda problem: problem["type"] != "extra_forbidden")
        more = f" (and {len(problems) - 1} more)" if len(problems) > 1 else ""
        raise ConfigurationError(f"{path}: {_sentence(problems[0], model)}{more}") from error


def _sentence(problem: Any, model: type[BaseModel]) -> str:
    place = _place(problem["loc"])
    if problem["type"] == "missing":
        return f"{place} is missing; add it"
    if problem["type"] == "extra_forbidden":
        near = difflib.get_close_matches(str(problem["loc"][-1]), list(_known_keys(model)), n=1)
        return f"{place} is not a known key" + (f"; did you mean {near[0]}?" if near else "; remove it")
    if problem["type"] == "value_error":
        return str(problem["ctx"]["error"])
    wrong = f"input should be {KINDS[problem['type']]}" if problem["type"] in KINDS else problem["msg"].lower()
    given = "" if _is_secret(model, problem["loc"]) else f" = {reprlib.repr(problem['input'])}"
    return f"{place}{given}: {wrong}; correct the value"


def _is_secret(kind: Any, place: tuple[str | int, ...]) -> bool:
    """Whether what belongs at a place of a model is a secret or holds one; what stands there is not shown then."""
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        inner = {field.alias or name: field.annotation for name, field in kind.model_fields.items()}
        if place:
            return place[0] in inner and _is_secret(inner[str(place[0])], place[1:])
        return any(_is_secret(one, ()) for one in inner.values())
    rest = place[1:] if place and isinstance(place[0], int) else place
    return kind is SecretStr or any(_is_secret(one, rest) for one in get_args(kind))


def _place(parts: tuple[str | int, ...]) -> str:
    """Where it is, counted as people count: the first entry of an array is entry 1.

    >>> _place(("place", 0, "holds")), _place(("sort", "loaded"))
    ('place, entry 1, holds', 'sort.loaded')
    """
    words = ""
    for before, part in zip((None, *parts), parts, strict=False):
        between = "" if before is None else ", " if isinstance(before, int) else "."
        words += f", entry {part + 1}" if isinstance(part, int) else f"{between}{part}"
    return words


def _known_keys(model: type[BaseModel]) -> Iterator[str]:
    for name, field in model.model_fields.items():
        yield name
        for inner in (field.annotation, *get_args(field.annotation)):
            if isinstance(inner, type) and issubclass(inner, BaseModel):
                yield from _known_keys(inner)
