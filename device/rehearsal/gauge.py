"""The physics between the motors' steps and the converter's words, with all its faults and a known truth."""

import math

from beam import Beam
from put_in import INDICATOR_COUNT_PER_MM, INDICATOR_NOISE_COUNT, NO_SHAFT, Bench
from noise import Noise
from shaft import Shaft, with_defaults

COUNT_PER_N = 1070 / 0.00980665  # 1070 counts per gram-force: 2 kg cell of 1 mV/V at gain 128 and 4.3 V

GAUGE = {
    "span_mm": 711.2, "reactions": "normal", "contact_mm": 8.0, "frame_mm_per_n": 0.010,
    "press_steps_per_mm": 400.0, "press_scale_error": 0.0, "screw_lead_mm": 8.0, "screw_periodic_mm": 0.004,
    "screw_periodic_deg": 30.0, "backlash_mm": 0.03,
    "rotate_steps_per_turn": 3200.0, "roller_mm": 30.0, "slip": 0.003, "slip_jump_deg": 0.0, "slip_jump_chance": 0.0,
    "index_mark": False,
    "zero_count": 50000.0, "count_per_n": COUNT_PER_N, "count_per_n2": 0.0, "zero_drift_count_per_s": 2.0,
    "noise_count": 45.0, "creep": 0.0002, "creep_s": 300.0,
    "spike_chance": 0.0, "spike_count": 200000.0, "repeat_chance": 0.0, "drop_chance": 0.0,
    "interval_us": 12500.0, "rate_error": 0.015, "jitter_us": 15.0,
    "start_mm": 2.0, "home_switch_broken": None, "gravity_m_s2": 9.80665, "air_kg_m3": 0.0,
}  # fmt: skip
JAM_MM = 3.0  # below first contact, where the head of a "stiff_jam" meets something that hardly gives
JAM_N_PER_MM = 40.0
SOFT = 4.0  # a "soft" shaft gives way this many times as far as its spine says
COUNT_TOP = 0x7FFFFF


class Gauge:
    """A gauge with the shafts it will be given; `angle` is the present rotation of the shaft, radians.

    `noisier` is the present ratio of the noise to its normal value.
    """

    def __init__(self, scenario: dict) -> None:
        self.truths = with_defaults(GAUGE, scenario.get("gauge", {}), "gauge")
        self._beam = Beam(self.truths["reactions"] == "normal")
        self._standard = self._beam if self.truths["reactions"] == "normal" else Beam()
        self._shafts = {}
        for given in scenario.get("shafts", []):
            self._shafts[given["number"]] = given
            Shaft(given, self._standard)  # raises now, not in the middle of the night
        self._bench = Bench(scenario.get("bench", []), self._standard)
        self._seed = scenario.get("seed", 1)
        self._fed: dict[int, int] = {}  # how often each shaft came
        self._head_mm = 0.0
        self.noisier = 1.0
        self.feed(-1, 0, 0)

    def feed(self, number: int, now_us: int, rotate: int) -> None:
        """Put a shaft into the gauge; its noise differs at each visit, but not between repeated runs."""
        self._thing = self._bench.thing(-1)
        self._put(Shaft(self._shafts.get(number, NO_SHAFT), self._standard), number, rotate)
        self._fed_us = self._last_us = now_us
        self._crept_n = 0.0

    def bench(self, step: int, rotate: int) -> None:
        """Prepare a bench step with the thing that the person puts in for it; a thing that is in place stays."""
        thing = self._bench.thing(step)
        if thing is self._thing:
            self._make_noise(step)
        else:
            self._thing = thing
            self._put(thing.shaft, step, rotate)

    def _put(self, shaft: Shaft, number: int, rotate: int) -> None:
        self._shaft = shaft
        self._to_lose = shaft.given["lost_steps"]
        self._rotate = rotate
        self.angle = 0.0
        self._deepest_mm = self._force_n = 0.0
        self._word = 0
        self._make_noise(number)

    def _make_noise(self, number: int) -> None:
        self._fed[number] = self._fed.get(number, 0) + 1
        self._noise = Noise(self._seed, number, self._fed[number])

    def head(self) -> tuple:
        """Return the position of the head at the last sample, mm below home, and the force on it, N."""
        return self._head_mm, self._force_n

    def lost_steps(self) -> int:
        """Return the steps that the press lost under this shaft after contact, each loss once."""
        lost = self._to_lose if self._force_n > 0 else 0
        self._to_lose -= lost
        return lost

    def set_angle_origin(self) -> None:
        """Count angles from where the shaft lies now."""
        self.angle = 0.0

    def interval_us(self) -> int:
        """Return the time to the next sample, us."""
        jitter = self.truths["jitter_us"] * self._noise.normal()
        return int(self.truths["interval_us"] / (1 + self.truths["rate_error"]) + jitter + 0.5)

    def sample(self, now_us: int, press: int, rotate: int):
        """Return the converter's word and 1 or 0 for right or wrong bits after it, or None if this sample is lost."""
        self._turn(rotate)
        count = self._count(now_us, self._force(self._travel(press)))
        fault = self._shaft.fault if self._force_n > 0 else None
        if fault == "cell_silent" or self._noise.chance(self.truths["drop_chance"]):
            return None
        if fault == "cell_saturated":
            count = COUNT_TOP
        if fault != "cell_stuck" and not self._noise.chance(self.truths["repeat_chance"]):
            self._word = max(-COUNT_TOP - 1, min(COUNT_TOP, count)) & 0xFFFFFF
        return self._word, 0 if fault == "cell_out_of_step" else 1

    def mark(self, rotate: int):
        """Return the rotate position at which the index mark passed since the last sample, or None."""
        step = self._radians_per_step()
        turned = (rotate - self._rotate) * step
        due = -self.angle % (2 * math.pi)
        if not self.truths["index_mark"] or not 0 < due <= turned:
            return None
        return self._rotate + int(due / step + 0.5)

    # Rollers, screw, beam, cell

    def _radians_per_step(self) -> float:
        truths = self.truths
        ratio = truths["roller_mm"] / self._shaft.given["diameter_mm"]
        return 2 * math.pi * ratio * (1 - truths["slip"]) / truths["rotate_steps_per_turn"]

    def _turn(self, rotate: int) -> None:
        if rotate != self._rotate and self._noise.chance(self.truths["slip_jump_chance"]):
            self.angle -= math.radians(self.truths["slip_jump_deg"])
        self.angle += (rotate - self._rotate) * self._radians_per_step()
        self._rotate = rotate

    def _travel(self, press: int) -> float:
        """Return the position of the head, mm below home: the nut carries it with play between its flanks."""
        truths = self.truths
        nut = press / truths["press_steps_per_mm"] * (1 + truths["press_scale_error"])
        phase = 2 * math.pi * nut / truths["screw_lead_mm"] + math.radians(truths["screw_periodic_deg"])
        nut += truths["screw_periodic_mm"] * math.sin(phase)
        self._head_mm = min(max(self._head_mm, nut), nut + truths["backlash_mm"])
        return self._head_mm

    def _force(self, head_mm: float) -> float:
        """Return the force at a position of the head, N: beam and frame share the travel."""
        shaft, frame = self._shaft, self.truths["frame_mm_per_n"]
        travel = head_mm - self.truths["contact_mm"] + shaft.height(self.angle)
        if shaft.fault == "absent" or travel <= 0:
            self._force_n = self._thing.force_n(travel, self.truths)
            return self._force_n
        scale = shaft.stiffness(self.angle) / self.truths["span_mm"] ** 2
        if shaft.fault == "soft":
            scale /= SOFT
        force = self._force_n
        for _ in range(4):  # Newton's method: the beam's secant stands for its tangent, the frame is stiff beside it
            deflection = travel - frame * force
            pushed = self._pushed(scale, deflection)
            force += (pushed - force) / (1 + frame * pushed / max(deflection, 1e-9))
        self._force_n = force
        return force * self._memory(travel - frame * force)

    def _pushed(self, scale: float, deflection: float) -> float:
        force = scale * self._beam.load(deflection / self.truths["span_mm"])
        if self._shaft.fault == "stiff_jam" and deflection > JAM_MM:
            force += JAM_N_PER_MM * (deflection - JAM_MM)
        return force

    def _memory(self, deflection: float) -> float:
        """Return the factor of hysteresis on the force: a shaft pushes back less after it was bent far deeper.

        The loss is whole below a fourth of the deepest deflection and 0 above a half, so that a bow does not change it
        while the shaft turns at one depth.
        """
        self._deepest_mm = max(self._deepest_mm, deflection)
        relief = (self._deepest_mm / deflection - 2) / 2 if deflection > 0 else 1.0
        return 1 - self._shaft.given["hysteresis"] * min(max(relief, 0.0), 1.0)

    def _count(self, now_us: int, force: float) -> int:
        if self._thing.kind == "indicator":
            tip = INDICATOR_COUNT_PER_MM * self._head_mm + INDICATOR_NOISE_COUNT * self._noise.normal()
            return math.floor(tip + 0.5)
        truths = self.truths
        passed_s = (now_us - self._last_us) / 1e6
        self._last_us = now_us
        self._crept_n += (force - self._crept_n) * (1 - math.exp(-passed_s / truths["creep_s"]))
        felt = force + truths["creep"] * self._crept_n
        count = truths["zero_count"] + truths["zero_drift_count_per_s"] * (now_us - self._fed_us) / 1e6
        count += truths["count_per_n"] * felt + truths["count_per_n2"] * felt * felt
        count += truths["noise_count"] * self.noisier * self._noise.normal()
        if self._noise.chance(truths["spike_chance"]):
            count += truths["spike_count"]
        return math.floor(count + 0.5)
