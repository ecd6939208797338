"""A gauge on paper: raw runs of shafts whose truth is known, made without any of the code that converts them.

The elastica is integrated step by step (Runge-Kutta on psi'' = cos psi, the slope turned from the support tangent under
a unit normal reaction on unit EI), while the host uses quadrature and series. This gauge serves tests that need
thousands of shafts; the rehearsal board, with the real device code, covers the whole path.
"""

import math
from dataclasses import dataclass, replace
from functools import cache, lru_cache

import numpy as np
from midspan.archive.raw_run import Phase, RawRun
from midspan.measurement.calibration import EXAMPLE, Calibration
from scipy.integrate import simpson
from scipy.interpolate import CubicSpline

LOAD_N = 0.880 * 9.80665
SPAN_MM = 711.2
COUNTS_PER_N = 1070 / 9.80665e-3

# What a calibration says of a gauge with knife edges, a square press and one temperature, as this gauge on paper is.
KNIFE_EDGES = {
    "force": {"u_per_k": 0.0},
    "travel": {"expansion_per_k": 0.0, "u_expansion_per_k": 0.0, "tilt_deg": 0.0},
    "span": {
        "rim_mm": 0.0, "u_rim_mm": 0.0, "u_axial_friction": 0.0, "sink_mm_per_n": 0.0, "u_sink_mm_per_n": 0.0,
        "off_centre_mm": 0.0, "expansion_per_k": 0.0, "u_expansion_per_k": 0.0,
    },
    "rotation": {"u_roller_mm": 0.0, "u_slip_between_depths": 0.0},
}  # fmt: skip


@cache
def _softening():
    """Return splines of P L^2 / EI over 48 u against u^2, for reactions normal to the shaft and for vertical ones.

    P is the load, L the span, u the deflection over the span.
    """
    groups, ratios = zip(*(_integrated(length) for length in np.sqrt(np.linspace(0.01, 0.95, 160))), strict=True)
    vertical_groups = np.linspace(0.05, 5.5, 120)
    return (
        _spline(np.array(groups), np.array(ratios)),
        _spline(vertical_groups, np.array([_vertical_ratio(group) for group in vertical_groups])),
    )


def _spline(groups, ratios):
    """Return the spline of P L^2 / EI over 48 u against u^2 through these points; at 0 it is 1."""
    return CubicSpline(np.append(0.0, ratios**2), np.append(1.0, groups / (48 * ratios)))


def _end_of_half(start, length, steps):
    """Return slope and distances along and across at the end of half a shaft of a length, under a unit reaction.

    The slope is counted from the direction square to the reaction, `start` at the support; classical Runge-Kutta.
    """
    state = np.zeros((4, *np.shape(length)))  # slope, curvature, distance along and across that direction
    state[0], step = start, length / steps

    def change(y):
        return np.array([y[1], np.cos(y[0]), np.cos(y[0]), np.sin(y[0])])

    for _ in range(steps):
        a = change(state)
        b = change(state + step / 2 * a)
        c = change(state + step / 2 * b)
        d = change(state + step * c)
        state = state + step / 6 * (a + 2 * b + 2 * c + d)
    slope, _, along, across = state
    return slope, along, across


def _integrated(length):
    """Return P L^2 / EI and u for half a shaft of a given length, by classical Runge-Kutta in 400 steps."""
    psi, along, across = _end_of_half(0.0, length, 400)
    half = along * np.cos(psi) + across * np.sin(psi)
    drop = along * np.sin(psi) - across * np.cos(psi)
    return 8 * half**2 * np.cos(psi), drop / (2 * half)


def _vertical_ratio(group):
    """Return u under vertical reactions: the moment over horizontal distance makes the sine of the slope a parabola."""
    way = np.linspace(0, 1, 401)
    sine = group / 16 * (1 - way**2)
    return float(simpson(sine / np.sqrt(1 - sine**2), x=way)) / 2


@lru_cache(4096)
def leaning_law(rim, friction):
    """Return the spline of P L^2 / EI over 48 u against u for leaning reactions and a shaft that rolls off rims.

    `rim` is the height of the shaft's axis above the rims' centres over the span, `friction` the pull along the shaft
    over the reaction. The slope is counted from the direction square to the reaction, where it begins at -arctan
    (friction); half the span is what is left between the points of the axis above the rims.
    """
    length = np.sqrt(np.linspace(0.004, 0.95, 90))
    start = -math.atan(friction)
    end, along, across = _end_of_half(start, length, 200)
    half = along * np.cos(end) + across * np.sin(end)
    drop = along * np.sin(end) - across * np.cos(end)
    slope = end - start
    # Half the distance of the rims is longer than that of the axis by rho sin(slope); the axis sinks by rho (1 - cos).
    whole = 2 * half / (1 - 2 * rim * np.sin(slope))
    ratio = drop / whole + rim * (1 - np.cos(slope))
    return CubicSpline(np.append(0.0, ratio), np.append(1.0, 2 * whole**2 * np.cos(end) / (48 * ratio)))


@lru_cache(4096)
def _law(vertical):
    """Return the spline of a support condition: a bound (0 or 1), or a mixture of the deflections at both bounds."""
    if vertical in (0.0, 1.0):
        return _softening()[int(vertical)]
    group, bounds = _bounds()
    return _spline(group, (1 - vertical) * bounds[0] + vertical * bounds[1])


@cache
def _bounds():
    """Return P L^2 / EI at 200 points and u there for both bounds of the support condition."""
    group = np.linspace(0.02, 4.6, 200)
    return group, [ratio_for(group, vertical) for vertical in (0.0, 1.0)]


def load_for(ratio, vertical=0.0):
    """Return the P L^2 / EI that deflects a shaft by a share of its span; `vertical` mixes the support conditions."""
    return 48 * ratio * _law(vertical)(ratio**2)


def ratio_for(group, vertical=0.0):
    """Return deflection over span under a given P L^2 / EI."""
    ratio = group / 48
    for _ in range(40):
        ratio = ratio * group / load_for(ratio, vertical)
    return ratio


def stiffness_of(spine_thou, vertical=0.0):
    """Return the bending stiffness EI of a shaft with a given static spine, N mm2."""
    return LOAD_N * SPAN_MM**2 / load_for(spine_thou * 0.0254 / SPAN_MM, vertical)


@dataclass
class Gauge:
    """The true properties of a gauge."""

    span_mm: float = SPAN_MM
    counts_per_n: float = COUNTS_PER_N
    mm_per_step: float = 0.0025
    give_mm_per_n: float = 0.010
    noise_n: float = 0.042 * 9.80665e-3
    drift_n: float = 0.0
    screw_mm: float = 0.0
    screw_phase: float = 0.0
    slip: float = 0.003
    spikes: float = 0.0  # share of readings hit by a spike
    linearity_n: float = 0.0  # error of the cell at the standard load; it grows with the square of the load
    vertical: float = 0.0  # 0: frictionless supports; 1: reactions stay vertical
    rim_mm: float = 0.0  # height of the shaft's axis above the centres of the rims
    friction: float = 0.0  # pull along the shaft over the reaction of a support; above 0 it stiffens
    lost: float = 0.0  # share of the deflection that a head off midspan does not see
    height_mm: float = 0.0  # how much higher than expected every shaft lies
    oval_mm: tuple[float, float] = (0.0, 0.0)  # out of round: cosine and sine parts of twice a turn
    stages: tuple[float, ...] = ()  # the converter's filter: moving averages one after another, lengths in conversions
    noise_passes: bool = False  # the noise enters before the filter, so neighbouring readings share it
    warming_n: float = 0.0  # what the zero is off a straight drift at the middle of the run


@dataclass
class Shaft:
    """The true properties of a shaft."""

    spine_thou: float = 500.0
    spread_thou: float = 6.0
    stiff_side_deg: float = 30.0
    bow_mm: float = 0.1
    bow_deg: float = 200.0
    hysteresis: float = 0.0
    crept: float = 0.0  # how far the force at the full depth is off, in what the light one loses by hysteresis
    number: int = 1


def spine_around(shaft: Shaft, angle_rad, vertical=0.0):
    """Return the true standard deflection at angles from the start, thou: EI has a part that varies twice a turn."""
    mean_ei, part = _section(shaft.spine_thou, shaft.spread_thou, vertical)
    wave = np.cos(2 * (np.asarray(angle_rad) - np.radians(shaft.stiff_side_deg)))
    return _standard_thou(mean_ei * (1 + part * wave), vertical)


def _standard_thou(stiffness_n_mm2, vertical):
    """Return the deflection of a stiffness under the standard load, thou."""
    return ratio_for(LOAD_N * SPAN_MM**2 / stiffness_n_mm2, vertical) * SPAN_MM / 0.0254


@cache
def _section(spine_thou, spread_thou, vertical):
    """Return the mean EI and the relative 2-per-turn part that give a mean and a spread of the standard deflection."""
    ei = float(stiffness_of(spine_thou, vertical))
    part = spread_thou / spine_thou / 2
    wave = np.cos(2 * np.linspace(0, np.pi, 180, endpoint=False))
    for _ in range(8):
        thou = _standard_thou(ei * (1 + part * wave), vertical)
        ei *= thou.mean() / spine_thou
        part *= spread_thou / max(np.ptp(thou), 1e-12)
    return ei, part


def _press(gauge, steps):
    """Return the true position of the head at a number of press microsteps, mm."""
    return steps * gauge.mm_per_step + gauge.screw_mm * np.sin(2 * np.pi * steps / 3200 + gauge.screw_phase)


def _force(gauge, shaft, travel_mm, angle):
    """Return the force at each angle with the head at a distance below its first contact with a straight shaft, N."""
    mean_ei, part = _section(shaft.spine_thou, shaft.spread_thou, 0.0)
    ei = mean_ei * (1 + part * np.cos(2 * (angle - np.radians(shaft.stiff_side_deg))))
    surface = gauge.height_mm + shaft.bow_mm * np.cos(angle - np.radians(shaft.bow_deg))
    surface = surface + gauge.oval_mm[0] * np.cos(2 * angle) + gauge.oval_mm[1] * np.sin(2 * angle)
    force = np.zeros_like(angle)
    for _ in range(12):  # each step shrinks the error by the ratio of frame to shaft compliance, at most 2 %
        bend = travel_mm + surface - gauge.give_mm_per_n * force
        force = _group(gauge, bend / gauge.span_mm / (1 - gauge.lost)) * ei / gauge.span_mm**2
    return force


def _group(gauge, ratio):
    """Return the P L^2 / EI that deflects a shaft by a share of its span on the supports of a gauge."""
    if gauge.vertical or not (gauge.rim_mm or gauge.friction):
        return load_for(ratio, gauge.vertical)
    return 48 * ratio * leaning_law(gauge.rim_mm / gauge.span_mm, gauge.friction)(ratio)


CONTACT_STEPS = 2000
FINE = 48  # points to a conversion at which the filter integrates


def _response(stages):
    """Return the filter's weights at FINE points to a conversion, the newest first: boxes convolved with each other."""
    weights = np.ones(1)
    for length in stages:
        box = np.ones(round(length * FINE))
        weights = np.convolve(weights, box / box.sum())
    return weights


def _fine_times(stages, number):
    """Return times in conversions at which the force is taken, from long before the first tick on.

    The weights lie about their own middle; the times are such that the middle lies by the filter's delay before a tick.
    """
    length = len(_response(stages))
    late = sum(stages) * FINE / 2 - (length - 1) / 2
    return (np.arange(-length - FINE, number * FINE) + 1 - late) / FINE


def delay_and_width(stages):
    """Return delay and rms width of a filter in conversions: means and variances of its moving averages add up."""
    return sum(stages) / 2, math.sqrt(sum(length**2 for length in stages) / 12)


def turning(shaft, gauge, travel_mm, start, per_reading, number):
    """Return rotate positions, whole steps, and forces of readings from a standing start at a constant speed.

    The force is integrated over the window before each tick. It is taken from a fine table around the shaft. The rotor
    runs smoothly through the middle of its steps, and the position is noted at the tick in whole steps.
    """
    period = 800 * (1 + gauge.slip)
    around = np.linspace(0, 2 * np.pi, 721)
    table = CubicSpline(around, _force(gauge, shaft, travel_mm, around), bc_type="periodic")
    weights = _response(gauge.stages)
    time = _fine_times(gauge.stages, number)
    force = np.convolve(table(2 * np.pi * (start + np.maximum(per_reading * time - 0.5, 0)) / period), weights)
    at_tick = len(weights) + FINE + FINE * (np.arange(number) + 1) - 1
    return np.floor(start + per_reading * (np.arange(number) + 1)).astype(int), force[at_tick]


def _noise(gauge, rng, number):
    """Return the noise of readings, N; noise that entered before the filter has the same scatter but is shared."""
    if not gauge.noise_passes:
        return rng.normal(0, gauge.noise_n, number)
    weights = _response(gauge.stages)
    weights = weights[: len(weights) // FINE * FINE].reshape(-1, FINE).sum(axis=1)
    white = rng.normal(0, gauge.noise_n / math.hypot(*weights), number + len(weights) - 1)
    return np.convolve(white, weights, mode="valid")


def filtered_run(shaft, gauge, rng, turns=2, per_turn=160, **options) -> RawRun:
    """Return a run of firmware 1.0.0 behind the gauge's filter, with readings that settle before each turn.

    `options` are `firmware`, `fast` (readings a turn at the full depth), `full_turns` (turns there), `middle` (readings
    of a zero in the middle), `turned` (steps already made when the run begins) and `marks`.
    """
    full = shaft.spine_thou * 0.0254
    light, deep = full * 0.1, full * 1.01 + gauge.give_mm_per_n * LOAD_N
    settling = math.ceil(sum(gauge.stages)) + 1
    middle, position = options.get("middle", 0), options.get("turned", 0)
    phases = [(Phase.ZERO_BEFORE, 0.0), (Phase.LIGHT, light), (Phase.FULL, deep)]
    phases += [(Phase.ZERO_MIDDLE, 0.0)] * bool(middle) + [(Phase.LIGHT_AGAIN, light), (Phase.ZERO_AFTER, 0.0)]
    parts, segments = [], []
    for phase, depth in phases:
        a_turn = options.get("fast", per_turn) if phase is Phase.FULL else per_turn
        made = options.get("full_turns", turns) if phase is Phase.FULL else turns
        number = round(made * a_turn) + settling if depth else (middle if phase is Phase.ZERO_MIDDLE else 40)
        steps, force, down = np.full(number, position), np.zeros(number), 0
        if depth:
            down = CONTACT_STEPS + round(depth / gauge.mm_per_step)
            travel = _press(gauge, down) - _press(gauge, CONTACT_STEPS)
            steps, force = turning(shaft, gauge, travel, position, 800 / a_turn, number)
            position = int(steps[-1]) + 1
            if phase is Phase.LIGHT_AGAIN:
                force = force * (1 - shaft.hysteresis)
            elif phase is Phase.FULL:
                force = force + shaft.crept * shaft.hysteresis * LOAD_N * light / deep
        status = np.where(np.arange(number) < settling * bool(depth), 1, 0)
        parts.append((steps, np.full(number, down), force, status))
        segments.append((int(phase), number))
    rotate, press, force, status = (np.concatenate(column) for column in zip(*parts, strict=True))
    share = np.linspace(0, 1, len(force))
    force = force + gauge.drift_n * share + gauge.warming_n * 4 * share * (1 - share) + _noise(gauge, rng, len(force))
    return replace(
        raw_run(shaft, gauge, np.random.default_rng(0), turns=(1, 1, 1)),
        firmware=options.get("firmware", "1.0.0"),
        segments=tuple(segments),
        tick_us=np.arange(len(force)) * 12500,
        rotate_steps=rotate,
        press_steps=press,
        counts=np.round(84_000 + force * gauge.counts_per_n).astype(int),
        status=status.astype(np.int16),
        marks=np.array(options.get("marks", ()), int),
    )


def filter_section(stages, interval_s=0.0125, **changes):
    """Return the calibrated filter, without error, of a converter with these moving averages."""
    delay, width = delay_and_width(stages)
    section = {"delay_s": delay * interval_s, "u_delay_s": 0.0, "width_s": width * interval_s, "u_width_s": 0.0}
    return section | changes


def raw_run(
    shaft: Shaft, gauge: Gauge, rng: np.random.Generator, turns=(2, 2, 2), per_turn=160, depth_thou=None
) -> RawRun:
    """Return a run with two zeros and three turns; the phases of motion are left out because the result ignores them.

    The head goes as deep as a shaft of spine `depth_thou` needs for the standard load, by default this shaft.
    """
    period = 800 * (1 + gauge.slip)
    per_step = 800 / per_turn
    full = (depth_thou or shaft.spine_thou) * 0.0254
    depth = {Phase.LIGHT: full * 0.1, Phase.FULL: full * 1.01 + gauge.give_mm_per_n * LOAD_N}
    depth[Phase.LIGHT_AGAIN] = depth[Phase.LIGHT]
    readings = np.rint(np.array(turns) * per_turn).astype(int).tolist()
    phases = [(Phase.ZERO_BEFORE, 40), *zip(depth, readings, strict=True), (Phase.ZERO_AFTER, 40)]
    rotate, press, force, position = [], [], [], 0
    for phase, number in phases:
        turning = phase in depth
        steps = np.round(position + per_step * (np.arange(number) + 1) * turning).astype(int)
        position = int(steps[-1])
        down = CONTACT_STEPS + round(depth[phase] / gauge.mm_per_step) if turning else 0
        travel = _press(gauge, down) - _press(gauge, CONTACT_STEPS)
        values = _force(gauge, shaft, travel, 2 * np.pi * steps / period) if turning else np.zeros(number)
        if phase is Phase.LIGHT_AGAIN:
            values = values * (1 - shaft.hysteresis)
        elif phase is Phase.FULL:
            values = values + shaft.crept * shaft.hysteresis * LOAD_N * depth[Phase.LIGHT] / depth[phase]
        rotate.append(steps)
        press.append(np.full(number, down))
        force.append(values)
    rotate, press, force = (np.concatenate(part).astype(float) for part in (rotate, press, force))
    rotate -= rotate[0]
    force += gauge.linearity_n * (force / LOAD_N) ** 2
    force += gauge.drift_n * np.linspace(0, 1, len(force)) + rng.normal(0, gauge.noise_n, len(force))
    hit = rng.random(len(force)) < gauge.spikes
    force[hit] += rng.normal(0, 2.0, hit.sum())
    n = len(force)
    return RawRun(
        shaft=shaft.number,
        label="",
        started_ms=0,
        gauge="paper",
        firmware="none",
        runtime="none",
        boot=1,
        count_min=-(2**23),
        count_max=2**23 - 1,
        complete=True,
        cause=None,
        duration_ms=round(n * 12.5),
        sampling_ms=round(n * 12.5),
        interval_us=12500,
        segments=tuple((int(phase), int(number)) for phase, number in phases),
        tick_us=np.arange(n) * 12500,
        rotate_steps=rotate.astype(int),
        press_steps=press.astype(int),
        counts=np.round(84_000 + force * gauge.counts_per_n).astype(int),
        status=np.zeros(n, np.int16),
        marks=np.zeros(0, int),
    )


def paper_calibration(edges=KNIFE_EDGES, **changes):
    """Return the calibration of the default gauge, without error; `changes` are sections with the keys to replace.

    With empty `edges` it has the rims, temperatures and other sins of the example calibration.
    """
    sections = {
        name: {**EXAMPLE.get(name, {}), **edges.get(name, {}), **changes.get(name, {})} for name in (*EXAMPLE, *changes)
    }
    sections["calibration"]["gauge"] = "paper"
    return Calibration.model_validate(sections)


def drawn_shaft(rng, number):
    """Draw a shaft from the whole range of spine, spread and bow that arrows have."""
    return Shaft(
        spine_thou=math.exp(rng.uniform(math.log(150), math.log(1500))),
        spread_thou=rng.uniform(0, 15),
        stiff_side_deg=rng.uniform(0, 180),
        bow_mm=rng.uniform(0, 0.3),
        bow_deg=rng.uniform(0, 360),
        hysteresis=rng.uniform(0, 0.02),
        crept=rng.uniform(-0.5, 0.5),
        number=number,
    )


def drawn_gauge(rng, cal=None, **fixed):
    """Draw a gauge that differs from a calibration, by default the example's, as its uncertainties and bounds allow."""
    cal = cal or paper_calibration()
    screw = rng.normal(0, cal.travel.u_screw_mm, 2)  # cosine and sine parts: u_screw at every point of the screw
    warm = rng.uniform(*cal.calibration.range_c) - cal.calibration.temperature_c
    beam, steel = (rng.normal(part.expansion_per_k, part.u_expansion_per_k) for part in (cal.span, cal.travel))
    off, leaning = (rng.uniform(0, bound) for bound in (cal.span.off_centre_mm, cal.travel.tilt_deg))
    true = {
        "span_mm": (cal.span.span_mm + rng.normal(0, cal.span.u_span_mm)) * (1 + beam * warm),
        "counts_per_n": COUNTS_PER_N / (1 + rng.normal(0, cal.force.u_scale) + rng.normal(0, cal.force.u_per_k) * warm),
        "mm_per_step": cal.travel.mm_per_step
        * (1 + rng.normal(0, cal.travel.u_scale) + steel * warm)
        * math.cos(math.radians(leaning)),
        "give_mm_per_n": cal.frame.give_mm_per_n
        + rng.normal(0, cal.frame.u_give_mm_per_n)
        + rng.normal(cal.span.sink_mm_per_n, cal.span.u_sink_mm_per_n),
        "screw_mm": float(np.hypot(*screw)),
        "screw_phase": float(np.arctan2(*screw)),
        "linearity_n": rng.normal(0, cal.force.u_linearity_n),
        "rim_mm": rng.normal(cal.span.rim_mm, cal.span.u_rim_mm),
        "friction": rng.normal(cal.span.axial_friction, cal.span.u_axial_friction),
        "lost": 1 - (1 - 4 * (off / cal.span.span_mm) ** 2) ** 2,
        "slip": rng.uniform(-0.01, 0.01),
        "drift_n": rng.normal(0, 0.002),
        "spikes": 0.003,
    }
    return Gauge(**true | fixed)


def filter_table(shaft, gauge, rng, a_turn=((44, 160), (160, 44)), turns=3, **truth):
    """Return columns of passes both ways, one after another, at numbers of readings a turn; `truth` may be

    `lost_deg` on turning back, `slip_back` relative to the way forward, `skid_deg` before the last pass, `press_mm`.
    """
    columns = {"pass": [], "time_s": [], "steps": [], "count": []}
    travel, period = truth.get("press_mm", 6.0), 800 * (1 + gauge.slip)
    around = np.linspace(0, 2 * np.pi, 721)
    table = CubicSpline(around, _force(gauge, shaft, travel, around), bc_type="periodic")
    weights = _response(gauge.stages)
    settling = math.ceil(sum(gauge.stages)) + 1
    speeds = [(readings, way) for group in a_turn for readings in group for way in (1, -1)]
    position, angle = 0, 0.0
    for number, (readings, way) in enumerate(speeds):
        per, slip = 800 / readings, 1 + (truth.get("slip_back", 0.0) if way < 0 else 0.0)
        n = round(turns * readings) + settling
        offset = math.radians(truth.get("lost_deg", 0.0)) * (way < 0)
        offset += math.radians(truth.get("skid_deg", 0.0)) * (number == len(speeds) - 1)
        time = _fine_times(gauge.stages, n)
        turned = way * np.maximum(per * time - 0.5, 0) * 2 * np.pi / (period * slip)
        force = np.convolve(table((angle + turned + offset) % (2 * np.pi)), weights)
        at_tick = len(weights) + FINE + FINE * (np.arange(n) + 1) - 1
        done = np.floor(per * (np.arange(n) + 1)).astype(int)
        force = force[at_tick] + _noise(gauge, rng, n)
        kept = slice(settling, n)
        columns["pass"] += [number + 1.0] * (n - settling)
        columns["time_s"] += ((np.arange(n) + 1) * 0.0125)[kept].tolist()
        columns["steps"] += (position + way * done)[kept].tolist()
        columns["count"] += np.round(84_000 + force * gauge.counts_per_n)[kept].tolist()
        position += way * int(done[-1])
        angle += way * int(done[-1]) * 2 * np.pi / (period * slip)
    return columns
