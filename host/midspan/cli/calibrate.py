"""`midspan calibrate`: guided procedures, and the calibration file made from their records."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from inspect import Parameter, Signature, signature
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from midspan.base.errors import ConfigurationError
from midspan.calibrate.cell_loading import LoadingWay
from midspan.cli.calibrate_changes import changes
from midspan.cli.options import Commands
from midspan.cli.screen import aside, ask

if TYPE_CHECKING:
    from midspan.calibrate.guide import GuidedCalibration, Taken

calibrate = typer.Typer(
    cls=Commands,
    help="Calibrate a gauge: force, travel, frame, span, rotation, filter, sinking; then file, and bar as a check.",
    epilog="Example: midspan calibrate force --port rehearsal --yes",
    no_args_is_help=True,
)

Records = Annotated[Path, typer.Option("--records", help="Folder of calibration records; they are never changed.")]
RECORDS = Path("calibration")
NEXT = {
    "force": "travel", "travel": "frame --bar-diameter MM", "frame": "span",
    "span": "rotation --expected-steps STEPS", "sinking": "file --out gauge.toml", "rotation": "filter",
    "filter": "file --out gauge.toml",
}  # fmt: skip


@dataclass(frozen=True)
class Asked:
    """Options that every procedure has; `procedure` adds its fields to each command."""

    port: Annotated[str | None, typer.Option("--port", help="Serial port of the gauge, or: rehearsal.")] = None
    yes: Annotated[
        bool, typer.Option("--yes", help="Do not wait for Enter (for a rehearsal: it answers by itself).")
    ] = False
    records: Records = RECORDS
    gauge: Annotated[str, typer.Option("--gauge", help="Name of the gauge, when the readings come from a CSV.")] = (
        "bench"
    )
    who: Annotated[str, typer.Option("--who", help="Who calibrates.")] = ""
    temperature: Annotated[
        float | None,
        typer.Option(
            "--temperature", min=-20, max=60, help="Room temperature in C.", show_default="what the gauge shows, or 20"
        ),
    ] = None
    valid_days: Annotated[
        int, typer.Option("--valid-days", min=1, max=3650, help="How long the record shall count.")
    ] = 365
    as_json: Annotated[bool, typer.Option("--json", help="Print the outcome as JSON.")] = False

    def session(self, csv: Path | None, *, by_hand: bool = False) -> "GuidedCalibration":
        """Return where readings come from and go to, with the person at the terminal.

        Raises ConfigurationError unless there is one source of readings; `by_hand` they may also be typed.
        """
        from datetime import UTC, datetime

        from midspan.calibrate.guide import GuidedCalibration, GuideScreen
        from midspan.rehearsal.process import REHEARSAL_PORT
        from midspan.rehearsal.scenario import GAUGE_NAME

        if csv is None and self.port is None and not by_hand:
            raise ConfigurationError(
                "no source of readings: name the gauge with --port (or --port rehearsal), or readings with --csv"
            )
        if csv is not None and self.port is not None:
            raise ConfigurationError("give either --csv or --port, not both")
        screen = GuideScreen(ask, _unsaid if csv is not None else aside, by_itself=self.yes)
        name = GAUGE_NAME if self.port == REHEARSAL_PORT else self.gauge
        now = datetime.now(UTC)
        session = GuidedCalibration(
            self.records, name, self.who, self.temperature, now, self.valid_days, self.port, csv, screen
        )
        session.check_clock()
        return session

    def finish(self, session: "GuidedCalibration", taken: "Taken") -> None:
        """Make the record of the readings, print it, and print the next step."""
        from midspan.calibrate.guide import finish, summary

        kind, made = taken.kind, finish(session, taken)
        if self.as_json:
            print(json.dumps({"id": made.record.id, "file": str(made.path)} | made.record.outcome))
        else:
            print(summary(kind, made.finding))
            print(f"record: {made.path} (valid until {made.record.valid_until})")
        if kind in NEXT:
            port = f" --port {self.port}" if self.port and NEXT[kind] != NEXT["filter"] else ""
            session.screen.say(f"Next: midspan calibrate {NEXT[kind]}{port}")


def _given(**options: float | None) -> dict[str, float]:
    """Return the options that were given, by the key of the calibration file that they state."""
    return {key: value for key, value in options.items() if value is not None}


def _within(temperatures: tuple[float, float] | None) -> tuple[float, float] | None:
    """Return the range of temperatures, None if there is none; refuse what no workshop has."""
    if temperatures is not None and not all(-20 <= each <= 60 for each in temperatures):
        raise typer.BadParameter("two temperatures between -20 and 60 C")
    return temperatures


def _unsaid(text: str) -> None:
    """Print nothing: readings from a table need no guide."""


def procedure(name: str, example: str) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Return a decorator that makes a command of a function: the function's own options, then those of `Asked`."""

    def register(work: Callable[..., None]) -> Callable[..., None]:
        own = list(signature(work).parameters.values())[1:]
        common = list(signature(Asked).parameters.values())

        def command(**options: Any) -> None:
            asked = Asked(**{option.name: options.pop(option.name) for option in common})
            work(asked, **options)

        # Typer reads the options from the signature, so the command gets the signature it would have if written out.
        options = [option.replace(kind=Parameter.KEYWORD_ONLY) for option in (*own, *common)]
        command.__signature__ = Signature(options)  # type: ignore[attr-defined]
        command.__annotations__ = {option.name: option.annotation for option in options}
        command.__doc__ = work.__doc__
        calibrate.command(name, epilog=f"Example: midspan calibrate {name} {example}")(command)
        return work

    return register


@procedure("force", "--port rehearsal --yes --latitude 47 --height 400")
def force(
    asked: Asked,
    csv: Annotated[
        Path | None,
        typer.Option(help="Readings: columns direction (up, down, hold), mass_g, count; round, time_s if there are."),
    ] = None,
    mass: Annotated[
        list[float] | None,
        typer.Option(min=1, max=50_000, help="A load in g; repeat it. Without: 200 to 1000 g by 200."),
    ] = None,
    rounds: Annotated[int, typer.Option(min=1, max=20, help="How often all loads are put on, up and down.")] = 3,
    creep: Annotated[bool, typer.Option("--creep", help="Also leave the largest load on for five minutes.")] = False,
    masses: Annotated[Path | None, typer.Option(help="Certificates of the masses (TOML, [[mass]] tables).")] = None,
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
    """Newtons per count: masses that push the head as a shaft does, up and down, several rounds; the sign first."""
    from midspan.calibrate import procedures
    from midspan.calibrate.cell_loading import Loading
    from midspan.calibrate.force import Load
    from midspan.hand_bench.gravity import STANDARD, local_gravity, typed_gravity
    from midspan.hand_bench.masses import Air, load_masses

    session = asked.session(csv)
    place = STANDARD if latitude is None else local_gravity(latitude, height)
    known = place if gravity is None else typed_gravity(gravity, gravity_u)
    own = tuple(load_masses(masses).values()) if masses else ()
    load = Load(known, Air(air, air_u), own, mass_u_pct / 100, Loading(way, ratio, ratio_u))
    masses_g = mass or [200.0, 400.0, 600.0, 800.0, 1000.0]
    asked.finish(session, procedures.force(session, load, masses_g, rounds, creep))


@procedure("travel", "--port rehearsal --yes")
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
    """Millimetres per step, backlash and screw error: a dial indicator or gauge blocks under the head."""
    from midspan.calibrate import procedures
    from midspan.calibrate.travel import TravelIndicator

    session = asked.session(csv)
    indicator = TravelIndicator(indicator_u, indicator_scale_u, certificate)
    steps_and_places = first_steps, last_steps, places
    stated = _given(clearance_mm=clearance, tilt_deg=tilt)
    taken = procedures.travel(session, indicator, steps_per_screw_turn, steps_and_places, block or [], stated)
    asked.finish(session, taken)


@procedure("frame", "--port rehearsal --yes --bar-diameter 25")
def frame(
    asked: Asked,
    csv: Annotated[Path | None, typer.Option(help="Readings: columns travel_mm, force_n.")] = None,
    bar_diameter: Annotated[float | None, typer.Option(min=5, max=200, help="Diameter of the rigid bar, mm.")] = None,
    bar_diameter_u: Annotated[float, typer.Option(min=0, max=5, help="Its standard uncertainty, mm.")] = 0.03,
    bar_modulus: Annotated[float, typer.Option(min=1, max=700, help="Its modulus in GPa; steel has 205.")] = 205.0,
    bar_modulus_u: Annotated[float, typer.Option(min=0, max=100, help="Its standard uncertainty, GPa.")] = 5.0,
    span: Annotated[float, typer.Option(min=100, max=2000, help="Span that it lies on, in mm.")] = 711.2,
) -> None:
    """Give of frame and cell: press on a rigid bar (needs the records of force and travel)."""
    from midspan.calibrate import procedures
    from midspan.calibrate.frame import RigidBar

    session = asked.session(csv)
    diameter = procedures.bar_diameter_mm(session) if bar_diameter is None else bar_diameter
    bar = RigidBar(diameter, bar_modulus, span, bar_diameter_u, bar_modulus_u)
    asked.finish(session, procedures.frame(session, bar))


RimRadius = Annotated[
    float | None, typer.Option(min=0, max=50, help="Radius of the rims that carry a shaft, mm; 0 for knife edges.")
]
RollerDiameter = Annotated[float | None, typer.Option(min=1, max=500, help="Diameter of the support's rollers, mm.")]
AxleDistance = Annotated[float | None, typer.Option(min=1, max=500, help="Distance of the axles of a pair, mm.")]


@procedure("span", "--csv spans.csv --instrument-u 0.03 --gauge bench")
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
    """Distance between the supports, measured anew several times, and what else is known of them."""
    from midspan.calibrate import procedures
    from midspan.calibrate.supports import Supports

    session = asked.session(csv, by_hand=True)
    stated = _given(u_axial_friction=axial_friction_u, off_centre_mm=off_centre)
    if rim_radius is not None:
        supports = Supports(rim_radius, rim_radius_u, roller_diameter, axle_distance)
        stated |= supports.section(thinnest, thickest)
    asked.finish(session, procedures.span(session, instrument_u, certificate, readings, stated))


@procedure("sinking", "--material carbon --shaft-diameter 6 --rim-radius 2 --roller-diameter 30 --axle-distance 31")
def sinking(
    asked: Asked,
    csv: Annotated[
        Path | None, typer.Option(help="Readings: columns body (shaft, steel), mass_g on the support, dial_mm.")
    ] = None,
    pairs: Annotated[int, typer.Option(min=2, max=50, help="How often to put the masses on, for each body.")] = 5,
    material: Annotated[
        str | None, typer.Option(help="Compute instead of measuring: aluminium, carbon or wood.")
    ] = None,
    shaft_diameter: Annotated[float, typer.Option(min=1, max=30, help="Diameter of the shafts, mm, to compute.")] = 6.0,
    rim_radius: RimRadius = None,
    roller_diameter: RollerDiameter = None,
    axle_distance: AxleDistance = None,
) -> None:
    """Wall of a shaft: how far supports press into it, by a dial of 0.001 mm over a support, or computed."""
    from midspan.calibrate import procedures
    from midspan.calibrate.sinking import MATERIALS
    from midspan.calibrate.supports import Supports

    session = asked.session(csv, by_hand=True)
    if material is None:
        asked.finish(session, procedures.sinking(session, pairs))
        return
    if material not in MATERIALS or rim_radius is None or csv is not None:
        raise ConfigurationError(
            f"to compute, give --material of {', '.join(MATERIALS)}, --rim-radius, and no --csv", code="sinking"
        )
    supports = Supports(rim_radius, 0.0, roller_diameter, axle_distance)
    asked.finish(session, procedures.computed(session, material, shaft_diameter, supports))


@procedure("rotation", "--port rehearsal --yes --expected-steps 800")
def rotation(
    asked: Asked,
    expected_steps: Annotated[
        float, typer.Option(min=21, max=1e6, help="Rotate steps to a turn of the shaft, as the diameters say.")
    ],
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
    """Rotate steps to a turn: an index mark, or a bowed shaft's own pattern over many turns."""
    from midspan.calibrate import procedures

    session = asked.session(csv)
    stated = _given(steps_per_roller_turn=roller_steps, u_roller_mm=roller_u)
    asked.finish(session, procedures.rotation(session, expected_steps, turns, slip_u, stated))


@procedure("filter", "--port rehearsal --yes")
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
    """Delay of the converter's filter, and friction along a shaft: one that is bowed or uneven, turned both ways."""
    from midspan.calibrate import procedures

    session = asked.session(csv)
    asked.finish(session, procedures.converter_filter(session, expected_steps, turns, bend))


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
    """Check the whole chain with a bar of known spine; a bias is reported, never corrected."""
    from midspan.calibrate import procedures
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
    asked.finish(session, procedures.bar(session, expected, calibration, cycles))


@calibrate.command("file", epilog="Example: midspan calibrate file --records calibration --out gauge.toml")
def file(
    out: Annotated[Path, typer.Option(help="The calibration file to write (TOML).")],
    records: Records = RECORDS,
    gauge: Annotated[str | None, typer.Option(help="Of which gauge, when records of several are there.")] = None,
    previous: Annotated[
        Path | None, typer.Option(help="An earlier file: its [cycle] and all that has no record is kept.")
    ] = None,
    temperatures: Annotated[
        tuple[float, float] | None,
        typer.Option(
            "--range", callback=_within, help="Lowest and highest temperature of use in C. Without: 5 C to either side."
        ),
    ] = None,
) -> None:
    """Put the calibration file together from the newest record of each kind."""
    from midspan.calibrate.calibration_file import kept_over, remarks_on, write_calibration

    kept = {} if previous is None else kept_over(previous)
    if temperatures is not None:
        kept = kept | {"calibration": {"temperature_range_c": list(temperatures)}}
    used = write_calibration(records, out, gauge, kept)
    print(f"{out}: calibration of gauge {used[0].gauge}, valid until {min(record.valid_until for record in used)}")
    for record in used:
        print(f"  from {record.id}, made {record.made}")
    for remark in remarks_on(used):
        print(f"  * {remark}")
    print(f"Next: check it with a bar of known value (midspan calibrate bar), and measure with --calibration {out}")


calibrate.command("changes", epilog="Example: midspan calibrate changes --store results.db")(changes)
