"""Take what is known of the supports: the span, and how far a shaft sinks in; typed, from a table, or computed."""

from collections.abc import Mapping
from functools import partial

from midspan.calibrate.asked_first import KnownSupports
from midspan.calibrate.guide import GuidedCalibration, Taken, settings_of
from midspan.calibrate.readings_table import CalibrationReadings, TableWriter, read_readings
from midspan.calibrate.sinking import FULL_G, LIGHT_G, calibrate_sinking, computed_sinking
from midspan.calibrate.span import calibrate_span
from midspan.calibrate.supports import Supports
from midspan.conversation.questions import instruction, number_asked, number_prompt
from midspan.rehearsal import scenario

DIAL = "Switch the supply off, with the head up. Set the dial's tip on top of the piece, over the support."
LAY_IN = {"shaft": "Lay in the piece of shaft.", "steel": "Lay in the piece of steel rod."}


def span(
    session: GuidedCalibration,
    u_instrument_mm: float,
    certificate: str,
    readings_wanted: int,
    stated: Mapping[str, float],
    known: KnownSupports | None = None,
) -> Taken:
    """Take distances between the supports, typed or from CSV.

    Parameters
    ----------
    session : GuidedCalibration
        Circumstances.
    u_instrument_mm : float
        Standard uncertainty of the instrument, mm.
    certificate : str
        Certificate of the instrument, empty without one.
    readings_wanted : int
        Number of readings to ask for.
    stated : Mapping[str, float]
        Other keys of the table "span" that the maker states, by name.
    known : KnownSupports | None
        Rims and rollers, None if nobody knows them.

    Returns
    -------
    Taken
        Readings, and how to evaluate them.

    Raises
    ------
    ReadingsError
        The table cannot be read.
    """
    section = {**stated, **({} if known is None else known.section())}
    if session.csv is not None:
        readings = read_readings(session.csv, "span")
    else:
        table = TableWriter(session.raw_file("span"), "span")
        for i in range(readings_wanted):
            if session.is_simulated:
                value = scenario.SPANS_MM[i % len(scenario.SPANS_MM)]
                session.talk.say(f"[{i + 1} of {readings_wanted}] the simulated rule reads {value} mm")
            else:
                part = f"{i + 1} of {readings_wanted}"
                value = number_asked(session.talk, number_prompt("span", "Measure the span anew, mm", part=part))
            table.add({"span_mm": value})
        readings = read_readings(table.path, "span")
    settings = settings_of(u_instrument_mm=u_instrument_mm, certificate=certificate, supports=known)
    return Taken(
        "span", session.gauge, readings, settings,
        lambda: calibrate_span(readings, u_instrument_mm, certificate, section),
    )  # fmt: skip


def sinking(session: GuidedCalibration, pairs: int) -> Taken:
    """Take readings of a dial over a support, typed or from CSV.

    Parameters
    ----------
    session : GuidedCalibration
        Circumstances.
    pairs : int
        Number of pairs of readings, light and full, of each body.

    Returns
    -------
    Taken
        Readings, and how to evaluate them.

    Raises
    ------
    ReadingsError
        The table cannot be read.
    """
    if session.csv is not None:
        readings = read_readings(session.csv, "sinking")
    else:
        table = TableWriter(session.raw_file("sinking"), "sinking")
        session.talk.ask(instruction("set dial", DIAL))
        for body in ("shaft", "steel"):
            session.talk.ask(instruction("lay piece", LAY_IN[body]))
            for _ in range(pairs):
                for mass_g in (LIGHT_G, FULL_G):
                    words = f"{mass_g:g} g on both loops together: the dial, mm"
                    dial = number_asked(session.talk, number_prompt("dial", words, part=body))
                    table.add({"body": body, "mass_g": mass_g, "dial_mm": dial})
        readings = read_readings(table.path, "sinking")
    return Taken("sinking", session.gauge, readings, {}, lambda: calibrate_sinking(readings))


def computed(session: GuidedCalibration, material: str, shaft_mm: float, supports: Supports) -> Taken:
    """Return the sinking of a material as theory has it, for want of readings.

    Parameters
    ----------
    session : GuidedCalibration
        Circumstances.
    material : str
        Material of the shafts.
    shaft_mm : float
        Their diameter, mm.
    supports : Supports
        Rims and rollers.

    Returns
    -------
    Taken
        No readings, and how to compute.
    """
    readings = CalibrationReadings("Hertz's theory", {}, {}, ())
    settings = settings_of(material=material, shaft_mm=shaft_mm, supports=supports)
    work = partial(computed_sinking, material, shaft_mm, supports)
    return Taken("sinking", session.gauge, readings, settings, work)
