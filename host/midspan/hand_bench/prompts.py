"""Questions that describe a hand bench, for a person who has no bench file yet.

Functions to ask and to say are passed in, so that any screen can hold the conversation.
"""

from collections.abc import Callable
from pathlib import Path
from typing import Any

from midspan.base.csv_table import number_in
from midspan.base.errors import ConfigurationError
from midspan.base.files import writing
from midspan.hand_bench.bench import TEMPLATE, load_bench

Ask = Callable[..., Any]
Say = Callable[[str], Any]
YES = ("yes", "y", "true")
# Question, key, default, and True if the answer is a number.
_QUESTIONS = (
    ("Name of this bench", "id", "hand-bench", False),
    ("Weight with all that hangs on it, in grams", "mass_g", "880", True),
    ("  known to (one standard uncertainty), in grams", "u_mass_g", "0.5", True),
    ("Span between the supports, in mm", "span_mm", "711.2", True),
    ("  known to (one standard uncertainty), in mm", "u_span_mm", "0.1", True),
    ("Radius of the edges or pins that the shaft lies on, in mm", "edge_radius_mm", "2.5", True),
    ("  known to (one standard uncertainty), in mm", "u_edge_radius_mm", "1.5", True),
    ("Do the pins turn in ball bearings: yes or no", "rollers", "no", False),
    ("With the weight on, before each reading: nothing, tap or turn", "before_reading", "turn", False),
    ("Latitude of the place, in degrees", "latitude_deg", "45", True),
    ("Height above the sea, in m", "height_m", "0", True),
    ("Unit of the dial: mm, in or thou", "unit", "mm", False),
    ("Smallest step that you read, in that unit", "graduation", "0.01", True),
    ("As the shaft goes down the reading: rises or falls", "when_lower", "rises", False),
)


def make_bench(path: Path, ask: Ask, say: Say) -> None:
    """Ask about the bench and write its file; an existing file is checked and left as it is.

    Parameters
    ----------
    path : Path
        Bench file.
    ask : callable
        Takes a question and its default, returns the answer.
    say : callable
        Takes a line of text to show.

    Raises
    ------
    ConfigurationError
        An answer is out of range; no file is left behind.
    ReadingsError
        An answer is not a number.
    OutputError
        The file cannot be written.
    """
    if path.exists():
        load_bench(path)
        return
    say(f"There is no {path} yet. A few questions about your bench (Enter takes the value in brackets):")
    answers = {key: _answer(question, default, number, ask) for question, key, default, number in _QUESTIONS}
    answers["rollers"] = "true" if answers["rollers"].lower() in YES else "false"
    answers["place"] = f"latitude_deg = {answers.pop('latitude_deg')}\nheight_m = {answers.pop('height_m')}"
    text = TEMPLATE.format(**answers)
    with writing(path, "check the folder"):
        path.write_text(text, encoding="utf-8")
    try:
        load_bench(path)
    except ConfigurationError:
        path.unlink()
        raise
    say(f"Written to {path}; dial, frame, supports and shafts have more values there: check them.")


def _answer(question: str, default: str, number: bool, ask: Ask) -> str:
    """Return the answer to a question; a number in the form that TOML needs, whatever its decimal mark."""
    text = str(ask(question, default=default)).strip()
    return f"{number_in(text, question):.10g}" if number else text
