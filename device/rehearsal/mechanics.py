"""The physics between the motors' steps and the converter's words, with all its faults and a known truth."""

import math

from beam import Beam
from frame_table import FRAME
from put_in import INDICATOR_COUNT_PER_MM, INDICATOR_NOISE_COUNT, NO_SHAFT, Bench
from noise import Noise
from shaft import Shaft, with_defaults
from word_filter import WordFilter

COUNT_PER_N = 1070 / 0.00980665  # 1070 counts per gram-force: 2 kg cell of 1 mV/V at gain 128 and 4.3 V

GAUGE = {
    "reactions": "normal", "press_scale_error": 0.0, "screw_periodic_mm": 0.004, "screw_periodic_deg": 30.0,
    "rotate_steps_per_turn": 3200.0, "slip": 0.003, "slip_jump_deg": 0.0, "slip_jump_chance": 0.0,
    "index_mark": False,
    "zero_count": 50000.0, "count_per_n": COUNT_PER_N, "count_per_n2": 0.0, "zero_drift_count_per_s": 2.0,
    "noise_count": 45.0, "creep": 0.0002, "creep_s": 300.0,
    "spike_chance": 0.0, "spike_count": 200000.0, "repeat_chance": 0.0, "drop_chance": 0.0,
    "interval_us": 12500.0, "rate_error": 0.015, "jitter_us": 15.0, "filter": "average4",
    "start_mm": 2.0, "home_switch_broken": None, "pull_in_steps_s": 16000.0, "free_bytes": None,
    "hang_at_n": None, "hang_s": 0.0, "watchdog_ms": 3000, "gravity_m_s2": 9.80665, "air_kg_m3": 0.0,
}  # fmt: skip
GAUGE.update(FRAME)
JAM_MM = 3.0  # below first contact, where the head of a "stiff_jam" meets something that hardly gives
JAM_N_PER_MM = 40.0
SOFT = 6.0  # a "soft" shaft gives way this many times as far as its spine says
COUNT_TOP = 0x7FFFFF


class Mechanics:
    """A gauge with the shafts it will be given; `angle` is the present rotation of the shaft, radians.

    `instants` are the parts of a conversion at which it must be moved on; `noisier` is the present ratio of the noise
    to its normal value. `marked` is the rotate position of the last passage of the index mark, or None; `hang_s` the
    time for which the loop is to hang now. The board sets both back once it has dealt with them.
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
        self._filter = WordFilter(self.truths["filter"])
        self.instants = self._filter.instants
        self._head_mm = 0.0
        self.noisier = 1.0
        self.marked: "int | None" = None
        self.hang_s = 0.0
        self._hang_due = self.truths["hang_at_n"] is not None
        self.feed(-1, 0, 0)

    def feed(self, number: int, now_us: int, rotate: int) -> None:
        """Put a shaft into the gauge; its noise differs at each visit, but not between repeated runs."""
        self._thing = self._bench.thing(-1)
        self._put(Shaft(self._shafts.get(number, NO_SHAFT), self._standard), number, rotate)
        self._fed_us = self._last_us = now_us
        self._crept_n = 0.0

    def bench(self, step: int, rotate: int) -> None:
        """Put in what the person puts in for a program of a calibration; a thing that is in place stays."""
        thing = self._bench.thing(step)
        if thing is self._thing:
            self._make_noise(step)
        else:
            self._thing = thing
            self._put(thing.shaft, step, rotate)

    def _put(self, shaft: Shaft, number: int, rotate: int) -> None:
        self._shaft = shaft
        self._to_lose = shaft.given["lost_steps"]
        self._rotate = self._turned_from = rotate
        self._press: "int | None" = None  # None before the first instant
        self._stale = True  # head or shaft moved since the force was last worked out
        self.angle = 0.0
        self._deepest_mm = self._force_n = self._felt_n = 0.0
        self._word = 0
        self._settled = False
        self._make_noise(number)

    def _make_noise(self, number: int) -> None:
        self._fed[number] = self._fed.get(number, 0) + 1
        self._noise = Noise(self._seed, number, self._fed[number])

    def restart(self) -> None:
        """Let the converter begin anew."""
        self._settled = False

    def head(self) -> tuple:
        """Return the present position of the head, mm below home, and the force on it, N."""
        return self._head_mm, self._force_n

    def lost_steps(self) -> int:
        """Return the steps that the press lost under this shaft after contact, each loss once."""
        lost = self._to_lose if self._force_n > 0 else 0
        self._to_lose -= lost
        return lost

    def set_angle_origin(self) -> None:
        """Count angles from where the shaft lies now."""
        self.angle = 0.0
        self._stale = True

    def interval_us(self) -> int:
        """Return the duration of the next conversion, us."""
        jitter = self.truths["jitter_us"] * self._noise.normal()
        return int(self.truths["interval_us"] / (1 + self.truths["rate_error"]) + jitter + 0.5)

    def move(self, now_us: int, press: int, rotate: int) -> None:
        """Go to the next instant of the conversion, with the axes where they then are."""
        if rotate != self._rotate:
            self._turn(rotate)
        if press != self._press:
            self._press = press
            self._carry(press)
        if self._stale:
            self._stale = False
            self._felt_n = self._force(self._head_mm)
        signal = self._signal(now_us)
        if not self._settled:
            self._settled = True
            self._filter.settle(signal)
        self._filter.add(signal)
        if self._hang_due and self._force_n > self.truths["hang_at_n"]:
            self._hang_due = False
            self.hang_s = self.truths["hang_s"]

    def sample(self):
        """Return the word of the conversion that ends now, and 1 or 0 for right or wrong bits after it.

        None if this sample is lost.
        """
        self._slip()
        count = self._count()
        fault = self._shaft.fault if self._force_n > 0 else None
        if fault == "cell_silent" or self._noise.chance(self.truths["drop_chance"]):
            return None
        if fault == "cell_saturated":
            count = COUNT_TOP
        if fault != "cell_stuck" and not self._noise.chance(self.truths["repeat_chance"]):
            self._word = max(-COUNT_TOP - 1, min(COUNT_TOP, count)) & 0xFFFFFF
        return self._word, 0 if fault == "cell_out_of_step" else 1

    # Rollers, screw, beam, cell

    def _radians_per_step(self) -> float:
        truths = self.truths
        ratio = truths["roller_mm"] / self._shaft.given["diameter_mm"]
        return 2 * math.pi * ratio * (1 - truths["slip"]) / truths["rotate_steps_per_turn"]

    def _turn(self, rotate: int) -> None:
        step = self._radians_per_step()
        before, self.angle = self.angle, self.angle + (rotate - self._rotate) * step
        turn = math.floor(max(before, self.angle) / (2 * math.pi))
        if self.truths["index_mark"] and turn != math.floor(min(before, self.angle) / (2 * math.pi)):
            self.marked = self._rotate + math.floor((2 * math.pi * turn - before) / step + 0.5)
        self._rotate = rotate
        self._stale = True

    def _slip(self) -> None:
        """Let the shaft slip once in a while on rollers that turn."""
        if self._rotate != self._turned_from and self._noise.chance(self.truths["slip_jump_chance"]):
            self.angle -= math.radians(self.truths["slip_jump_deg"])
            self._stale = True
        self._turned_from = self._rotate

    def _carry(self, press: int) -> None:
        """Carry the head with the nut, on the flank that the forces on the carriage choose.

        The counterweight pulls the carriage up and the shaft pushes it up. Where both together are stronger than the
        drag of rail and nut, it lies on the nut's lower flank; where they are weaker it stays between the flanks until
        the nut takes it along.
        """
        truths = self.truths
        nut = press / truths["press_steps_per_mm"] * (1 + truths["press_scale_error"])
        phase = 2 * math.pi * nut / truths["screw_lead_mm"] + math.radians(truths["screw_periodic_deg"])
        nut += truths["screw_periodic_mm"] * math.sin(phase)
        upward_n, play = truths["lift_n"] + self._force_n, truths["backlash_mm"]
        if upward_n > truths["drag_n"]:
            self._head_mm = nut
        elif upward_n < -truths["drag_n"]:
            self._head_mm = nut + play
        else:
            self._head_mm = min(max(self._head_mm, nut), nut + play)
        self._stale = True

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
        for _ in range(8):  # Newton's method: the beam's secant stands for its tangent, the frame is stiff beside it
            deflection = travel - frame * force
            pushed = self._pushed(scale, deflection)
            step = (pushed - force) / (1 + frame * pushed / max(deflection, 1e-9))
            force += step
            if abs(step) < 1e-6:  # what is left is then a thousandth of that, or less than a count
                break
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

    def _signal(self, now_us: int) -> float:
        """Return the count that the cell gives at this instant, without noise."""
        truths = self.truths
        passed_s = (now_us - self._last_us) / 1e6
        self._last_us = now_us
        self._crept_n += (self._felt_n - self._crept_n) * (1 - math.exp(-passed_s / truths["creep_s"]))
        felt = self._felt_n + truths["creep"] * self._crept_n
        drift = truths["zero_drift_count_per_s"] * (now_us - self._fed_us) / 1e6
        return truths["zero_count"] + drift + (truths["count_per_n"] + truths["count_per_n2"] * felt) * felt

    def _count(self) -> int:
        truths, count = self.truths, self._filter.word()
        if self._thing.kind == "indicator":
            tip = INDICATOR_COUNT_PER_MM * self._head_mm + INDICATOR_NOISE_COUNT * self._noise.normal()
            return math.floor(tip + 0.5)
        count += truths["noise_count"] * self.noisier * self._noise.normal()
        if self._noise.chance(truths["spike_chance"]):
            count += truths["spike_count"]
        return math.floor(count + 0.5)
