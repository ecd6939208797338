"""Questions that describe a hand bench, for a person who has no bench file yet."""

from __future__ import annotations

from pathlib import Path

from midspan.base.errors import ConfigurationError
from midspan.base.files import writing
from midspan.conversation.prompts import Conversation, Prompt, PromptChoice
from midspan.conversation.questions import number_asked, number_prompt
from midspan.hand_bench.bench import TEMPLATE, load_bench

SURE = "right to within, two times out of three"  # a standard uncertainty, in plain words
NUMBERS = (
    ("mass_g", "Weight with all that hangs on it, in grams", "880"),
    ("u_mass_g", f"  {SURE}, in grams", "0.5"),
    ("span_mm", "Distance between the supports, in mm", "711.2"),
    ("u_span_mm", f"  {SURE}, in mm", "0.1"),
    ("edge_radius_mm", "Radius of the edges or pins that the shaft lies on, in mm", "2.5"),
    ("u_edge_radius_mm", f"  {SURE}, in mm", "1.5"),
    ("latitude_deg", "Latitude of the place, in degrees (weight depends on it)", "45"),
    ("height_m", "Height above the sea, in m", "0"),
    ("graduation", "Smallest step that you read on the dial, in the dial's unit", "0.01"),
)
CHOICES = (
    ("rollers", "Do the pins turn in ball bearings?", (("false", "", "no"), ("true", "y", "yes"))),
    (
        "before_reading", "With the weight on, what do you do before each reading?",
        (("turn", "", "turn the shaft a little"), ("tap", "t", "tap the table"), ("nothing", "n", "nothing")),
    ),
    ("unit", "Unit of the dial", (("mm", "", "mm"), ("in", "i", "inches"), ("thou", "t", "thousandths of an inch"))),
    ("when_lower", "As the shaft goes down, the reading", (("rises", "", "rises"), ("falls", "f", "falls"))),
)  # fmt: skip
NAME = Prompt("id", "Name of this bench", text="a name", default="hand-bench")


def make_bench(path: Path, talk: Conversation) -> None:
    """Ask about the bench and write its file; an existing file is checked and left as it is.

    Parameters
    ----------
    path : Path
        Bench file.
    talk : Conversation
        Who asks.

    Raises
    ------
    ConfigurationError
        An answer is out of range; no file is left behind.
    OutputError
        The file cannot be written.
    """
    if path.exists():
        load_bench(path)
        return
    talk.say(f"There is no {path} yet. A few questions about your bench:")
    answers = {NAME.id: talk.ask(NAME).text}
    for key, words, default in NUMBERS:
        answers[key] = f"{number_asked(talk, number_prompt(key, words, default)):.10g}"
    for key, words, choices in CHOICES:
        answers[key] = talk.ask(Prompt(key, words, tuple(PromptChoice(*choice) for choice in choices))).choice
    answers["place"] = f"latitude_deg = {answers.pop('latitude_deg')}\nheight_m = {answers.pop('height_m')}"
    with writing(path, "check the folder"):
        path.write_text(TEMPLATE.format(**answers), encoding="utf-8")
    try:
        load_bench(path)
    except ConfigurationError:
        path.unlink()
        raise
    talk.say(f"Written to {path}; dial, frame, supports and shafts have more values there: check them.")
