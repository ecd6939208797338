"""The procedures of `midspan calibrate`: force, travel, frame, span, sinking, rotation, filter, and bar as a check."""

from pathlib import Path
from typing import Annotated

import typer

from midspan.base.errors import ConfigurationError
from midspan.calibrate.cell_loading import LoadingWay
from midspan.cli.calibrate_options import Asked, procedure

USUAL_SHAFT_MM = 6.0
MassesFile = Annotated[
    Path | None, typer.Option("--masses", help="Certificates of the masses (TOML, [[mass]] tables).")
]


def _given(**options: float | None) -> dict[str, float]:
    """Return the options that were given, by the key of the calibration file that they state."""
    return {key: value for key, value in options.items() if value is not None}


@procedure("force", "--port PORT --latitude 47 --height 400")
def force(
    asked: Asked,
    csv: Annotated[
        Path | None,
        typer.Option(help="Readings: columns direction (up, down, hold), mass_g, count; round, time_s if there are."),
    ] = None,
    mass: Annotated[
        list[float] | None,
        typer.Option(min=1, max=50_000, help="A load in g; repeat it. Asked for if not given."),
    ] = None,
    rounds: Annotated[int, typer.Option(min=1, max=20, help="How often all loads are put on, up and down.")] = 3,
    creep: Annotated[bool, typer.Option("--creep", help="Also leave the largest load on for five minutes.")] = False,
    masses: MassesFile = None,
    mass_u_pct: Annotated[
        float, typer.Option(min=0, max=5, help="Standard uncertainty of masses without certificate, in percent.")
    ] = 0.05,
    way: Annotated[LoadingWay, typer.Option(help="How a mass pushes the head towards the cell.")] = LoadingWay.TURNED,
    ratio: Annotated[
        float, typer.Option(min=0.05, max=20, help="Force on the head for each newton of weight: a lever's arms.")
    ] = 1.0,
    ratio_u: Annotated[
        float, typer.Option(min=0, max=0.05, help="Standard uncertainty of what lever or pulley pass on, relative.")
    ] = 0.0,
    gravity: Annotated[float | None, typer.Option(help="Local gravity in m/s2, if you know it.")] = None,
    gravity_u: Annotated[float, typer.Option(min=0, max=0.05, help="Standard uncertainty of that gravity.")] = 1e-4,
    latitude: Annotated[float | None, typer.Option(min=-90, max=90, help="Latitude in degrees, for gravity.")] = None,
    height: Annotated[float, typer.Option(min=-500, max=6000, help="Height above the sea in m, for gravity.")] = 0.0,
    air: Annotated[float, typer.Option(min=0.5, max=1.5, help="Density of the air in kg/m3.")] = 1.2,
    air_u: Annotated[float, typer.Option(min=0, max=0.3, help="Standard uncertainty of that density.")] = 0.05,
) -> None:
    """Find the force for each count of the load cell, with known masses on the head.

    At hand: masses up to about 1000 g in four or five steps, weighed to 0.05 percent or better; half an hour. The load
    cell is turned over so that a mass pushes the head as a shaft does. First the sign is
    checked with a finger, then the masses go on and off, three rounds. The head does not move. Keep feet and fingers
    from under the masses.
    """
    from midspan.calibrate import asked_first, guided_force
    from midspan.calibrate.cell_loading import Loading
    from midspan.calibrate.force import Load
    from midspan.hand_bench.gravity import local_gravity, typed_gravity
    from midspan.hand_bench.masses import Air, load_masses

    session = asked.session(csv)
    if gravity is not None:
        known = typed_gravity(gravity, gravity_u)
    else:
        known = asked_first.gravity_here(session) if latitude is None else local_gravity(latitude, height)
    own = tuple(load_masses(masses).values()) if masses else ()
    masses_g = mass or (list(asked_first.USUAL_MASSES_G) if csv is not None else asked_first.masses_g(session, own))
    load = Load(known, Air(air, air_u), own, mass_u_pct / 100, Loading(way, ratio, ratio_u))
    asked.finish(session, guided_force.force(session, load, masses_g, rounds, creep))


@procedure("travel", "--port PORT")
def travel(
    asked: Asked,
    csv: Annotated[
        Path | None,
        typer.Option(help="Readings: columns direction (up, down), steps, travel_mm; of blocks: steps, block_mm."),
    ] = None,
    block: Annotated[
        list[float] | None, typer.Option(min=0.1, max=200, help="A gauge block in mm; repeat it, six or more.")
    ] = None,
    steps_per_screw_turn: Annotated[
        float, typer.Option(min=20, max=1e6, help="Microsteps to a turn of the screw.")
    ] = 3200.0,
    first_steps: Annotated[int, typer.Option(min=0, max=10**6, help="First place, in steps below home.")] = 400,
    last_steps: Annotated[int, typer.Option(min=1, max=10**6, help="Last place; the indicator must reach it.")] = 10000,
    places: Annotated[int, typer.Option(min=6, max=200, help="Places on each way.")] = 24,
    indicator_u: Annotated[
        float, typer.Option(min=0, max=0.1, help="Standard uncertainty of one reading or block, in mm.")
    ] = 0.003,
    indicator_scale_u: Annotated[
        float, typer.Option(min=0, max=0.05, help="Standard uncertainty of the indicator's scale, relative.")
    ] = 1e-4,
    certificate: Annotated[str, typer.Option(help="Certificate of the indicator or gauge blocks.")] = "",
    clearance: Annotated[float, typer.Option(min=0, max=500, help="Down to here (mm) the head meets no shaft.")] = 0.0,
    tilt: Annotated[
        float | None, typer.Option(min=0, max=10, help="At most so many degrees is the press out of square.")
    ] = None,
) -> None:
    """Find how far the head moves for each motor step, and how even its screw is.

    At hand: a dial indicator of 0.01 mm or finer that reaches 25 mm (or six or more gauge blocks: --block), and its
    stand; twenty minutes. The head goes down and back up by itself and stops at each place, where you type what the
    indicator shows. Keep fingers out from under the head.
    """
    from midspan.calibrate import guided_travel
    from midspan.calibrate.travel import TravelIndicator

    session = asked.session(csv)
    indicator = TravelIndicator(indicator_u, indicator_scale_u, certificate)
    steps_and_places = first_steps, last_steps, places
    stated = _given(clearance_mm=clearance, tilt_deg=tilt)
    taken = guided_travel.travel(session, indicator, steps_per_screw_turn, steps_and_places, block or [], stated)
    asked.finish(session, taken)


@procedure("frame", "--port PORT --bar-diameter 25")
def frame(
    asked: Asked,
    csv: Annotated[Path | None, typer.Option(help="Readings: columns travel_mm, force_n.")] = None,
    bar_diameter: Annotated[
        float | None, typer.Option(min=5, max=200, help="Diameter of the rigid bar, mm; asked for.")
    ] = None,
    bar_diameter_u: Annotated[float, typer.Option(min=0, max=5, help="Its standard uncertainty, mm.")] = 0.03,
    bar_modulus: Annotated[float, typer.Option(min=1, max=700, help="Its modulus in GPa; steel has 205.")] = 205.0,
    bar_modulus_u: Annotated[float, typer.Option(min=0, max=100, help="Its standard uncertainty, GPa.")] = 5.0,
    span: Annotated[float, typer.Option(min=100, max=2000, help="Span that it lies on, in mm.")] = 711.2,
) -> None:
    """Find how far the frame of the gauge yields under the load (its compliance), with a rigid bar.

    At hand: a straight round steel bar of about 25 mm, as long as the supports are apart, and its diameter; five
    minutes. Needs force and travel first. The head presses on the bar up to the full load, and what the bar does not
    bend, the frame yields. Wear safety glasses; keep fingers away from head and supports.
    """
    from midspan.calibrate import asked_first, guided_frame
    from midspan.calibrate.frame import RigidBar

    session = asked.session(csv)
    diameter = asked_first.bar_diameter_mm(session) if bar_diameter is None else bar_diameter
    bar = RigidBar(diameter, bar_modulus, span, bar_diameter_u, bar_modulus_u)
    asked.finish(session, guided_frame.frame(session, bar))


RimRadius = Annotated[
    float | None, typer.Option(min=0, max=50, help="Radius of the rims that carry a shaft, mm; 0: knife edges.")
]
RollerDiameter = Annotated[float | None, typer.Option(min=1, max=500, help="Diameter of the support's rollers, mm.")]
AxleDistance = Annotated[float | None, typer.Option(min=1, max=500, help="Distance of the axles of a pair, mm.")]


@procedure("span", "")
def span(
    asked: Asked,
    csv: Annotated[Path | None, typer.Option(help="Readings: column span_mm.")] = None,
    instrument_u: Annotated[float, typer.Option(min=0, max=10, help="Standard uncertainty of the rule, mm.")] = 0.03,
    certificate: Annotated[str, typer.Option(help="Certificate of the rule or caliper.")] = "",
    readings: Annotated[int, typer.Option(min=1, max=50, help="How often to measure.")] = 5,
    rim_radius: RimRadius = None,
    rim_radius_u: Annotated[float, typer.Option(min=0, max=10, help="Its standard uncertainty, mm.")] = 0.1,
    roller_diameter: RollerDiameter = None,
    axle_distance: AxleDistance = None,
    thinnest: Annotated[float, typer.Option(min=1, max=30, help="Diameter of the thinnest shaft, mm.")] = 4.0,
    thickest: Annotated[float, typer.Option(min=1, max=30, help="Diameter of the thickest shaft, mm.")] = 10.0,
    axial_friction_u: Annotated[
        float | None,
        typer.Option(
            min=0,
            max=0.5,
            help="Friction along a turning shaft, standard uncertainty, if not measured.",
        ),
    ] = None,
    off_centre: Annotated[
        float | None, typer.Option(min=0, max=20, help="At most so far is the head off midspan, mm.")
    ] = None,
) -> None:
    """Find the distance between the supports, and note the shape of the rims that a shaft lies on.

    At hand: a rule or caliper of 720 mm or more, read to 0.05 mm; from the drawings the radius of the rims, the
    diameter of the rollers and the distance of their axles. Switch the supply off, so that nothing moves while your
    hands are at the supports. You measure five times, setting the rule anew each time.
    """
    from midspan.calibrate import asked_first, guided_supports
    from midspan.calibrate.asked_first import KnownSupports
    from midspan.calibrate.supports import Supports

    session = asked.session(csv, by_hand=True)
    stated = _given(u_axial_friction=axial_friction_u, off_centre_mm=off_centre)
    if rim_radius is not None:
        rims = Supports(rim_radius, rim_radius_u, roller_diameter, axle_distance)
        known: KnownSupports | None = KnownSupports(rims, thinnest, thickest)
    else:
        known = None if csv is not None else asked_first.supports_here(session)
    asked.finish(session, guided_supports.span(session, instrument_u, certificate, readings, stated, known))


@procedure("sinking", "--material carbon --shaft-diameter 6")
def sinking(
    asked: Asked,
    csv: Annotated[
        Path | None, typer.Option(help="Readings: columns body (shaft, steel), mass_g on the support, dial_mm.")
    ] = None,
    pairs: Annotated[int, typer.Option(min=2, max=50, help="How often to put the masses on, for each body.")] = 5,
    material: Annotated[
        str | None, typer.Option(help="Compute instead of measuring: aluminium, carbon or wood.")
    ] = None,
    shaft_diameter: Annotated[
        float | None,
        typer.Option(
            min=1,
            max=30,
            help="Diameter of the shafts, mm, to compute.",
            show_default="that of the span's record",
        ),
    ] = None,
    rim_radius: RimRadius = None,
    roller_diameter: RollerDiameter = None,
    axle_distance: AxleDistance = None,
) -> None:
    """Find how far rims and head press into the wall of a shaft: measured with a dial, or computed for its material.

    At hand, to measure: a dial of 0.001 mm, a short piece of your shafts, one of steel rod, and masses of 44 and 440 g.
    To compute, only the material: carbon, aluminium or wood; the sizes come from the record of the span.
    """
    from midspan.calibrate import asked_first, guided_supports
    from midspan.calibrate.asked_first import KnownSupports
    from midspan.calibrate.sinking import MATERIALS
    from midspan.calibrate.supports import Supports

    session = asked.session(csv, by_hand=True)
    if material is not None and (material not in MATERIALS or csv is not None):
        raise ConfigurationError(f"to compute, give --material of {', '.join(MATERIALS)}, and no --csv", code="sinking")
    way = material or ("measured" if csv is not None else asked_first.sinking_way(session))
    if way == "measured":
        asked.finish(session, guided_supports.sinking(session, pairs))
        return
    if rim_radius is not None:
        thickness = shaft_diameter or USUAL_SHAFT_MM
        rims = Supports(rim_radius, 0.0, roller_diameter, axle_distance)
        known: KnownSupports | None = KnownSupports(rims, thickness, thickness)
    else:
        known = asked_first.supports_before(session) or asked_first.supports_here(session)
    if known is None:
        raise ConfigurationError(
            "to compute, the radius of the rims must be known: give --rim-radius, or leave the sinking out",
            code="sinking",
        )
    shaft_mm = shaft_diameter or (known.thinnest_mm + known.thickest_mm) / 2
    asked.finish(session, guided_supports.computed(session, way, shaft_mm, known.supports))


@procedure("rotation", "--port PORT --expected-steps 800")
def rotation(
    asked: Asked,
    expected_steps: Annotated[
        float | None,
        typer.Option(min=21, max=1e6, help="Motor steps to a turn of the shaft, as the diameters say; asked for."),
    ] = None,
    csv: Annotated[
        Path | None, typer.Option(help="Readings: columns steps, count; of an index mark: column mark_steps.")
    ] = None,
    turns: Annotated[int, typer.Option(min=3, max=100, help="How many turns to make.")] = 10,
    slip_u: Annotated[
        float, typer.Option(min=0, max=0.1, help="How differently shafts of this size turn, relative.")
    ] = 0.002,
    roller_steps: Annotated[
        float | None, typer.Option(min=21, max=1e6, help="Rotate steps to a turn of a roller that carries the shaft.")
    ] = None,
    roller_u: Annotated[
        float | None, typer.Option(min=0, max=0.4, help="Height at midspan that unround rollers add, rms, mm.")
    ] = None,
) -> None:
    """Find how many motor steps turn a shaft once.

    At hand: a shaft of the kind you measure, best one that is slightly bowed, and its diameter; five minutes. Needs
    force and travel first. The shaft is pressed lightly and turned ten times. Wear safety glasses; never lay in a
    cracked shaft; keep fingers and sleeves away from the rollers.
    """
    from midspan.calibrate import asked_first, guided_turning

    session = asked.session(csv)
    expected = expected_steps
    if expected is None:
        expected, asked_steps = asked_first.steps_per_turn(session)
        roller_steps = roller_steps or asked_steps
    stated = _given(steps_per_roller_turn=roller_steps, u_roller_mm=roller_u)
    asked.finish(session, guided_turning.rotation(session, expected, turns, slip_u, stated))


@procedure("filter", "--port PORT")
def converter_filter(
    asked: Asked,
    csv: Annotated[
        Path | None, typer.Option(help="Readings: columns pass, time_s, steps, count; both ways at two speeds.")
    ] = None,
    expected_steps: Annotated[
        float | None, typer.Option(min=21, max=1e6, help="Rotate steps to a turn; without: by the rotation record.")
    ] = None,
    turns: Annotated[float, typer.Option(min=2, max=20, help="How many turns each pass makes.")] = 3.0,
    bend: Annotated[
        float | None, typer.Option(min=1, max=70, help="With --csv: how far the standard load bent the shaft, mm.")
    ] = None,
) -> None:
    """Find how late the load cell's readings come, and how much a turning shaft rubs on its rims.

    At hand: a shaft of the kind you measure that is bowed or uneven, the more the better; five minutes. Needs force,
    travel and rotation first. The shaft is bent by the full load and turned both ways at two speeds. Wear safety
    glasses; never lay in a cracked shaft; keep fingers and sleeves away from head and rollers.
    """
    from midspan.calibrate import guided_turning

    session = asked.session(csv)
    asked.finish(session, guided_turning.converter_filter(session, expected_steps, turns, bend))


@procedure("bar", "--bar bar-1.toml --port PORT --calibration gauge.toml")
def check(
    asked: Asked,
    name: Annotated[str, typer.Option(help="Name of the bar.")] = "reference bar",
    diameter: Annotated[float | None, typer.Option(min=1, max=30, help="Diameter of a round bar, mm.")] = None,
    diameter_u: Annotated[float, typer.Option(min=0, max=1, help="Its standard uncertainty, mm.")] = 0.005,
    modulus: Annotated[float, typer.Option(min=1, max=700, help="Modulus, GPa.")] = 205.0,
    modulus_u: Annotated[float, typer.Option(min=0, max=100, help="Its standard uncertainty, GPa.")] = 4.0,
    inner: Annotated[float, typer.Option(min=0, max=30, help="Inner diameter of a tube, mm.")] = 0.0,
    bar: Annotated[Path | None, typer.Option(help="File of an assigned bar (midspan hand assign).")] = None,
    assigned: Annotated[
        float | None, typer.Option(min=1, max=9999, help="Its spine in thou, assigned elsewhere.")
    ] = None,
    assigned_u: Annotated[float, typer.Option(min=0, max=100, help="Standard uncertainty of that, thou.")] = 0.0,
    csv: Annotated[Path | None, typer.Option(help="Results on the gauge: columns spine_thou, u_spine_thou.")] = None,
    calibration: Annotated[Path | None, typer.Option(help="Calibration file to measure under (TOML).")] = None,
    cycles: Annotated[int, typer.Option(min=1, max=50, help="How often to measure it.")] = 3,
) -> None:
    """Check the finished calibration with a bar of known spine.

    At hand: a round bar whose diameter and modulus you know, or one whose spine somebody measured (midspan hand
    assign). The bar is measured like a shaft, and the difference from its known spine is reported; nothing is corrected
    by it. Wear safety glasses; keep fingers away from head and rollers.
    """
    from midspan.calibrate import guided_bar
    from midspan.calibrate.reference_bar import RoundBar, load_bar
    from midspan.calibrate.reference_bar import assigned as assigned_bar

    if sum(given is not None for given in (bar, diameter, assigned)) != 1:
        raise ConfigurationError(
            "say what the bar is: --bar FILE, or --diameter and --modulus, or --assigned and --assigned-u"
        )
    session = asked.session(csv)
    if bar is not None:
        expected = load_bar(bar)
    elif assigned is not None:
        expected = assigned_bar(name, assigned, assigned_u, "assigned")
    else:
        expected = RoundBar(name, diameter or 0.0, diameter_u, modulus, modulus_u, inner, diameter_u).expected()
    asked.finish(session, guided_bar.bar(session, expected, calibration, cycles))
