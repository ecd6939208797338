"""Questions that guide a person through the hand bench: what the bench is, then reading after reading.

How to ask and how to say are passed in, so that any screen can carry the conversation.
"""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from midspan.errors import ConfigurationError, ReadingsError
from midspan.files import writing
from midspan.hand_bench import TEMPLATE, load_bench
from midspan.hand_record import Typed
from midspan.typed_table import number_in

Ask = Callable[..., Any]
Say = Callable[[str], Any]
BACK = "b"
# Question, key, default, whether the answer is a number.
_QUESTIONS = (
    ("Name of this bench", "id", "hand-bench", False),
    ("Weight with all that hangs on it, in grams", "mass_g", "880", True),
    ("  known to (one standard uncertainty), in grams", "u_mass_g", "0.5", True),
    ("Span between the supports, in mm", "span_mm", "711.2", True),
    ("  known to (one standard uncertainty), in mm", "u_span_mm", "0.1", True),
    ("Latitude of the place, in degrees", "latitude_deg", "45", True),
    ("Height above the sea, in m", "height_m", "0", True),
    ("Unit of the dial: mm, in or thou", "unit", "mm", False),
    ("Smallest step that you read, in that unit", "graduation", "0.01", True),
    ("As the shaft goes down the reading: rises or falls", "when_lower", "rises", False),
)


def make_bench(path: Path, ask: Ask, say: Say) -> None:
    """Ask what the bench is and write its file, unless there is one already.

    Raises ConfigurationError when an answer is absurd, ReadingsError when it is no number, OutputError when the
    file cannot be written.
    """
    if path.exists():
        load_bench(path)
        return
    say(f"There is no {path} yet. A few questions about your bench (Enter takes the value in brackets):")
    answers = {key: _answer(question, default, number, ask) for question, key, default, number in _QUESTIONS}
    answers["place"] = f"latitude_deg = {answers.pop('latitude_deg')}\nheight_m = {answers.pop('height_m')}"
    text = TEMPLATE.format(**answers)
    with writing(path, "check the folder"):
        path.write_text(text, encoding="utf-8")
    try:
        load_bench(path)
    except ConfigurationError:
        path.unlink()
        raise
    say(f"Written to {path}; the dial's error and force and the give of the supports stand there too: check them.")


def _answer(question: str, default: str, number: bool, ask: Ask) -> str:
    text = str(ask(question, default=default)).strip()
    return f"{number_in(text, question):.10g}" if number else text


def readings(positions: int, repeats: int, ask: Ask, say: Say) -> Iterator[Typed]:
    """Ask for every reading in turn and give each as soon as it is whole; b goes back to the one before.

    A reading taken again replaces the one before for the result; the record keeps both.
    """
    say(f"{positions} clock positions, {repeats} times each. Type b to read the one before again.")
    places = [(i * 360 / positions, repeat) for repeat in range(1, repeats + 1) for i in range(positions)]
    i = 0
    while i < len(places):
        angle, repeat = places[i]
        say(f"Turn the shaft to {angle:g} degrees (reading {i + 1} of {len(places)})")
        cells = _three(ask, say)
        if cells is None:
            i = max(i - 1, 0)
            continue
        yield Typed(f"{angle:g}", str(repeat), *cells)
        i += 1


def _three(ask: Ask, say: Say) -> tuple[str, str, str] | None:
    """The dial without, with and again without the weight, as typed; None to go back."""
    cells: list[str] = []
    for question in ("  dial without the weight", "  hang the weight on; dial", "  take it off; dial again"):
        cell = _number_or_back(question, ask, say)
        if cell is None:
            return None
        cells.append(cell)
    return cells[0], cells[1], cells[2]


def _number_or_back(question: str, ask: Ask, say: Say) -> str | None:
    while True:
        text = str(ask(question)).strip()
        if text == BACK:
            return None
        try:
            number_in(text, "the reading")
        except ReadingsError as error:
            say(f"  {error}")
            continue
        return text
