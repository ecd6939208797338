"""What a procedure asks before it begins: masses and place, sizes of bar, rims, rollers and shafts.

A question has a default only where that is honest: on the simulated gauge the sizes of its frame, on a real one none.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from midspan.base.csv_table import number_in
from midspan.base.errors import ReadingsError
from midspan.calibrate.guide import GuidedCalibration
from midspan.calibrate.record import newest
from midspan.calibrate.supports import Supports
from midspan.conversation.prompts import Prompt, PromptChoice
from midspan.conversation.questions import is_yes, number_asked, number_or_none, number_prompt
from midspan.hand_bench.gravity import STANDARD, Gravity, local_gravity
from midspan.hand_bench.masses import Mass
from midspan.rehearsal import scenario

USUAL_MASSES_G = (200.0, 400.0, 600.0, 800.0, 1000.0)
LARGEST_MASS_G = 50_000.0
MOST_LOAD_G = 1100.0  # a quarter above the standard load of 880 g, which a calibration has to reach
UNKNOWN = PromptChoice("unknown", "", "not known")
MEASURED = PromptChoice("measured", "m", "measure it with a dial of 0.001 mm")
COMPUTED = {
    material: PromptChoice(material, material[0], f"compute it for {material}")
    for material in ("carbon", "aluminium", "wood")
}


def loads_of(own: Sequence[Mass]) -> tuple[float, ...]:
    """Return loads that masses at hand make up: five, evenly spaced as far as they allow, up to about 1000 g.

    Parameters
    ----------
    own : sequence of Mass
        Masses at hand; none for a usual set.

    Returns
    -------
    tuple of float
        Nominal loads, g, rising.

    Examples
    --------
    >>> loads_of([Mass(f"{grams} g", grams, 0.1) for grams in (100.0, 200.0, 200.0, 500.0)])
    (200.0, 400.0, 600.0, 800.0, 1000.0)
    """
    totals = {0.0}
    for mass in own:
        totals |= {total + mass.mass_g for total in totals if total + mass.mass_g <= MOST_LOAD_G}
    if len(totals) == 1:
        return USUAL_MASSES_G
    steps = [max(totals) * step / len(USUAL_MASSES_G) for step in range(1, len(USUAL_MASSES_G) + 1)]
    nearest = {min(totals - {0.0}, key=lambda total: abs(total - step)) for step in steps}
    return tuple(sorted(float(f"{total:.4g}") for total in nearest))


def masses_g(session: GuidedCalibration, own: Sequence[Mass] = ()) -> list[float]:
    """Return the masses that the cell is to be loaded with, g.

    Parameters
    ----------
    session : GuidedCalibration
        Circumstances.
    own : sequence of Mass
        Masses at hand, empty if nothing is stated of them.

    Returns
    -------
    list of float
        Masses, in the order typed.

    Raises
    ------
    ConfigurationError
        Nobody is there to ask (code "nobody").
    """
    default = " ".join(f"{mass:g}" for mass in loads_of(own))
    words = "Masses that you can put on, in grams, the largest near 1000; with spaces between"
    prompt = Prompt("masses", words, text="masses", default=default)
    while True:
        try:
            return [_mass_in(word) for word in re.split(r"[\s;]+", session.talk.ask(prompt).text)]
        except ReadingsError as error:
            session.talk.say(f"  {error}")


def _mass_in(word: str) -> float:
    """Return a mass in grams; raises ReadingsError unless it is a number that a cell can bear."""
    mass = number_in(word, "mass")
    if not 1 <= mass <= LARGEST_MASS_G:
        raise ReadingsError(f"mass {mass:g} is not between 1 and {LARGEST_MASS_G:g} g", code="out_of_range")
    return mass


def gravity_here(session: GuidedCalibration) -> Gravity:
    """Return the gravity where the gauge is, from latitude and height, or a value for anywhere if they are not known.

    Parameters
    ----------
    session : GuidedCalibration
        Circumstances.

    Returns
    -------
    Gravity
        Gravity with its uncertainty.

    Raises
    ------
    ConfigurationError
        Nobody is there to ask (code "nobody").
    """
    if session.is_simulated or session.csv is not None:
        return STANDARD
    words = "Latitude of your place, in degrees (weight depends on it)"
    latitude = number_or_none(session.talk, Prompt("latitude", words, (UNKNOWN,), "a number"), (-90.0, 90.0))
    if latitude is None:
        return STANDARD
    height = number_asked(session.talk, number_prompt("height", "Height above the sea, in m", "0"), (-500.0, 6000.0))
    return local_gravity(latitude, height)


def size_mm(session: GuidedCalibration, name: str, words: str, limits: tuple[float, float]) -> float:
    """Return a size of the gauge or of what lies on it.

    Parameters
    ----------
    session : GuidedCalibration
        Circumstances.
    name : str
        Name in `scenario.FRAME_MM`, also what tells the question from all others.
    words : str
        The question, without its unit.
    limits : tuple of float
        Smallest and largest size that is taken, mm.

    Returns
    -------
    float
        Size, mm.

    Raises
    ------
    ConfigurationError
        Nobody is there to ask (code "nobody").
    """
    default = f"{scenario.FRAME_MM[name]:g}" if session.is_simulated else ""
    return number_asked(session.talk, number_prompt(name, f"{words}, in mm", default), limits)


def bar_diameter_mm(session: GuidedCalibration) -> float:
    """Return the diameter of the rigid bar, mm.

    Parameters
    ----------
    session : GuidedCalibration
        Circumstances.

    Returns
    -------
    float
        Diameter, mm.

    Raises
    ------
    ConfigurationError
        Nobody is there to ask (code "nobody").
    """
    words = "Diameter of the rigid steel bar (25 is good; a bar of 20 bends by 1.6 thou itself, which is taken off)"
    return size_mm(session, "bar", words, (5.0, 200.0))


@dataclass(frozen=True)
class KnownSupports:
    """Supports of a gauge, and the shafts that they carry.

    Parameters
    ----------
    supports : Supports
        Rims and rollers.
    thinnest_mm, thickest_mm : float
        Diameters of the thinnest and the thickest shaft, mm.
    """

    supports: Supports
    thinnest_mm: float
    thickest_mm: float

    def section(self) -> dict[str, float]:
        """Return the keys of the table "span" that follow.

        Returns
        -------
        dict
            Values by key.
        """
        return self.supports.section(self.thinnest_mm, self.thickest_mm)


def supports_before(session: GuidedCalibration) -> KnownSupports | None:
    """Return the supports as the newest record of the span states them, None if it states none.

    Parameters
    ----------
    session : GuidedCalibration
        Circumstances.

    Returns
    -------
    KnownSupports or None
        Supports and shafts.
    """
    record = newest(session.records, "span", session.gauge)
    stated = None if record is None else record.settings.get("supports")
    if stated is None:
        return None
    return KnownSupports(Supports(**stated["supports"]), stated["thinnest_mm"], stated["thickest_mm"])


def supports_here(session: GuidedCalibration) -> KnownSupports | None:
    """Return the supports of the gauge, None if their maker does not know them: then wide bounds hold.

    Parameters
    ----------
    session : GuidedCalibration
        Circumstances.

    Returns
    -------
    KnownSupports or None
        Supports and shafts.

    Raises
    ------
    ConfigurationError
        Nobody is there to ask (code "nobody").
    """
    words = "Do you know the radius of the rims that carry a shaft, from the drawings?"
    if not session.is_simulated and not is_yes(session.talk, "rims known", words):
        return None
    rim = size_mm(session, "rim", "Radius of the rims, seen from the front (0: knife edges)", (0, 50))
    roller = axles = None
    words = "Does a shaft lie between two rollers at each end?"
    if session.is_simulated or is_yes(session.talk, "rollers", words):
        roller = size_mm(session, "roller", "Diameter of a roller", (1, 500))
        axles = size_mm(session, "axles", "Distance between the axles of the two rollers of a pair", (1, 500))
    thinnest = size_mm(session, "thinnest", "Diameter of the thinnest shaft that you measure", (1, 30))
    thickest = size_mm(session, "thickest", "Diameter of the thickest shaft that you measure", (thinnest, 30))
    return KnownSupports(Supports(rim, roller_diameter_mm=roller, axle_distance_mm=axles), thinnest, thickest)


def steps_per_turn(session: GuidedCalibration) -> tuple[float, float]:
    """Return how many rotate steps turn the shaft once, by the diameters, and how many turn a roller once.

    Parameters
    ----------
    session : GuidedCalibration
        Circumstances.

    Returns
    -------
    tuple of float
        Steps per turn of the shaft and of a roller.

    Raises
    ------
    ConfigurationError
        Nobody is there to ask (code "nobody").
    """
    default = f"{scenario.ROLLER_STEPS}" if session.is_simulated else ""
    words = "Motor steps (microsteps) to one turn of a roller"
    steps = number_asked(session.talk, number_prompt("roller steps", words, default), (21.0, 1e6))
    roller = size_mm(session, "roller", "Diameter of a roller", (1, 500))
    shaft = size_mm(session, "shaft", "Diameter of the shaft that you lay in", (1, 30))
    return steps * shaft / roller, steps


def sinking_way(session: GuidedCalibration) -> str:
    """Return how to find how far the rims press into a shaft: "measured", or the material to compute it for.

    Parameters
    ----------
    session : GuidedCalibration
        Circumstances.

    Returns
    -------
    str
        Id of the choice.

    Raises
    ------
    ConfigurationError
        Nobody is there to ask (code "nobody").
    """
    words = "How far rims and head press into the wall of a shaft"
    choices: tuple[PromptChoice, ...] = (MEASURED, *COMPUTED.values())
    if session.is_simulated:  # nothing is there to set a dial on
        choices = (PromptChoice(scenario.MATERIAL, "", f"compute it for {scenario.MATERIAL}"), *COMPUTED.values())
    return session.talk.ask(Prompt("sinking way", words, choices)).choice
