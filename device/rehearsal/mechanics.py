"""The physics between the motors' steps and the converter's words, with all its faults and a known truth."""

import math

from beam import Beam
from carriage import Carriage
from creep import ShaftCreep
from put_in import INDICATOR_COUNT_PER_MM, INDICATOR_NOISE_COUNT, NO_SHAFT, Bench
from noise import Noise
from shaft import STANDARD_LOAD_N, Shaft, with_defaults
from supports import AxialFriction, Rollers, Slip
from truths import COUNT_PER_N, GAUGE  # noqa: F401  others take them from here
from word_filter import WordFilter

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
        self._standard = Beam()
        self._shafts = {}
        for given in scenario.get("shafts", []):
            self._shafts[given["number"]] = given
            Shaft(given, self._standard)  # raises now, not in the middle of the night
        self._bench = Bench(scenario.get("bench", []), self._standard)
        self._seed = scenario.get("seed", 1)
        self._fed: dict[int, int] = {}  # how often each shaft came
        self._filter = WordFilter(self.truths["filter"])
        self.instants = self._filter.instants
        self._rollers, self._rubbing = Rollers(self.truths, self._seed), AxialFriction(self.truths)
        self._slipping, self._carriage = Slip(self.truths, STANDARD_LOAD_N), Carriage(self.truths)
        self._upright = math.cos(math.radians(self.truths["tilt_deg"]))
        self.warm_to(self.truths["temperature_c"])
        self.noisier = 1.0
        self.marked: "int | None" = None
        self.hang_s = 0.0
        self._last_us = 0
        self._hang_due = self.truths["hang_at_n"] is not None
        self.feed(-1, 0, 0)

    def feed(self, number: int, now_us: int, rotate: int) -> None:
        """Put a shaft into the gauge; its noise differs at each visit, but not between repeated runs."""
        self._thing = self._bench.thing(-1)
        self._put(Shaft(self._shafts.get(number, NO_SHAFT), self._standard), number, rotate)
        self._fed_us = self._last_us = now_us
        self._crept_n = 0.0

    def warm_to(self, celsius: float) -> None:
        """Let the room be at a temperature: from the next thing that is put in, all are as warm as that."""
        truths = self.truths
        self._kelvin = celsius - truths["calibrated_at_c"]
        self._span_mm = truths["span_mm"] * (1 + truths["span_expansion_per_k"] * self._kelvin)
        self._longer_screw = 1 + truths["screw_expansion_per_k"] * self._kelvin
        self._per_n = 1 + truths["cell_per_k"] * self._kelvin

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
        self._deepest_mm = self._force_n = self._felt_n = self._bent_mm = 0.0
        self._turning = 0
        self._sag_mm = self._followed_angle = 0.0
        self._followed_us = self._last_us
        self._rubbing.lift_off()
        self._slipping.renew()
        self._settle_on_rollers(shaft)
        self._word = 0
        self._settled = False
        self._make_noise(number)

    def _settle_on_rollers(self, shaft: Shaft) -> None:
        """Work out what stays the same while this shaft is in the gauge."""
        truths = self.truths
        self._beam.lie_on(self._rollers.carry(shaft.given["diameter_mm"]) / self._span_mm)
        self._geared = 2 * math.pi * (truths["roller_mm"] / shaft.given["diameter_mm"])
        self._softened = 1 + shaft.given["modulus_per_k"] * self._kelvin
        if truths["off_centre_mm"]:  # a load at a and b from the supports bends there by its a^2 b^2 / (3 EI span)
            self._softened /= (1 - (2 * truths["off_centre_mm"] / self._span_mm) ** 2) ** 2
        self._sink_mm, creep, creep_s = [
            truths[key] if shaft.given[key] is None else shaft.given[key]
            for key in ("sink_mm_at_standard", "shaft_creep", "shaft_creep_s")
        ]
        self._shaft_creep = ShaftCreep(creep, creep_s)

    def _make_noise(self, number: int) -> None:
        self._fed[number] = self._fed.get(number, 0) + 1
        self._noise = Noise(self._seed, number, self._fed[number])

    def restart(self) -> None:
        """Let the converter begin anew."""
        self._settled = False

    def head(self) -> tuple:
        """Return the present position of the head, mm below home, and the force on it, N."""
        return self._carriage.head_mm, self._force_n

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
        carriage = self._carriage
        if rotate != self._rotate:
            self._turn(rotate)
        if press != self._press or not carriage.stays_above_n <= self._force_n <= carriage.stays_below_n:
            self._press = press
            carriage.carry(press, self._force_n, self._longer_screw)
            self._stale = True
        if self._stale:
            self._stale = False
            self._felt_n = self._force(carriage.head_mm)
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
        if self._bent_mm > 0:
            self._follow()
        count = self._count()
        fault = self._shaft.fault if self._force_n > 0 else None
        if fault == "cell_silent" or self._noise.chance(self.truths["drop_chance"]):
            return None
        if fault == "cell_saturated":
            count = COUNT_TOP
        if fault != "cell_stuck" and not self._noise.chance(self.truths["repeat_chance"]):
            self._word = max(-COUNT_TOP - 1, min(COUNT_TOP, count)) & 0xFFFFFF
        return self._word, 0 if fault == "cell_out_of_step" else 1

    def _follow(self) -> None:
        """Let follow what needs time or way: friction along the shaft, and the shaft's creep."""
        if self._rubbing.sag(self._sag_mm, self._span_mm):
            self._stale = True
        if self._shaft_creep.creep:
            passed_s, turned = (self._last_us - self._followed_us) / 1e6, self.angle - self._followed_angle
            self._shaft_creep.follow(self._bent_mm, passed_s, turned)
            self._followed_us, self._followed_angle = self._last_us, self.angle
            self._stale = True

    # Rollers, screw, beam, cell

    def _turn(self, rotate: int) -> None:
        step = self._geared * self._slipping.follows(self._force_n) / self.truths["rotate_steps_per_turn"]
        way = (rotate - self._rotate) * step
        way -= self._slipping.skidded(way, self._force_n)
        before, self.angle = self.angle, self.angle + way
        turn = math.floor(max(before, self.angle) / (2 * math.pi))
        if self.truths["index_mark"] and turn != math.floor(min(before, self.angle) / (2 * math.pi)):
            at = (2 * math.pi * turn - before + self._mark_off(way > 0)) / step
            self.marked = self._rotate + math.floor(at + 0.5)
        self._rubbing.roll(way)
        self._turning = 1 if way > 0 else -1
        self._rotate = rotate
        self._stale = True

    def _mark_off(self, forward: bool) -> float:
        """Return by what angle the sensor shows the mark too late, radians: it switches early from either side."""
        truths = self.truths
        off = truths["mark_offset_deg"] / (-2 if forward else 2)
        if truths["mark_scatter_deg"]:
            off += truths["mark_scatter_deg"] * self._noise.normal()
        return math.radians(off)

    def _slip(self) -> None:
        """Let the shaft slip once in a while on rollers that turn."""
        if self._rotate != self._turned_from and self._noise.chance(self.truths["slip_jump_chance"]):
            self.angle -= math.radians(self.truths["slip_jump_deg"])
            self._stale = True
        self._turned_from = self._rotate

    def _force(self, head_mm: float) -> float:
        """Return the force at a position of the head, N: beam, frame and the shaft's own surface share the travel."""
        shaft, span = self._shaft, self._span_mm
        under_mm = (head_mm - self.truths["contact_mm"]) * self._upright
        travel = under_mm + shaft.height(self.angle) + self._rollers.height(self._rotate)
        if shaft.fault == "absent" or travel <= 0:
            self._rubbing.lift_off()
            self._bent_mm = 0.0
            self._followed_us, self._followed_angle = self._last_us, self.angle
            self._force_n = self._thing.force_n(travel, self.truths)
            return self._force_n
        scale = shaft.stiffness(self.angle) * self._softened / span**2
        if self._rubbing.coefficient:
            scale *= self._beam.rubbed(self._bent_mm / span, self._rubbing.coefficient * self._rollers.pressing)
        if shaft.fault == "soft":
            scale /= SOFT
        self._bent_mm = deflection = self._balance(scale, travel)
        self._sag_mm = deflection - travel + under_mm
        return self._force_n * self._memory(deflection) * (1 + self.truths["side_share"] * self._turning)

    def _balance(self, scale: float, travel: float) -> float:
        """Find the force at which shaft, frame and sinking share a travel; return the shaft's deflection, mm.

        Head and rims sink into the shaft's wall by the two-thirds power of the force, as Hertz's contacts do. The
        tangent at the last force, sunk + 2/3 sunk (F / F_last - 1), stands for that as long as the force is near.
        """
        for _ in range(6):
            begun, left, give = self._force_n, travel - self._shaft_creep.down_mm, self.truths["frame_mm_per_n"]
            if self._sink_mm and begun > 0:
                sunk = self._sink_mm * (begun / STANDARD_LOAD_N) ** (2 / 3)
                left -= sunk / 3
                give += 2 / 3 * sunk / begun
            force = self._force_n = self._solved(scale, left, give)
            if not self._sink_mm or abs(force - begun) < 0.02 * force:
                break
        return left - give * force

    def _solved(self, scale: float, travel: float, give: float) -> float:
        """Return the force at which the shaft and what gives by `give` mm/N share a travel, N.

        Newton's method: the beam's secant stands for its tangent, the frame is stiff beside it.
        """
        force = self._force_n
        for _ in range(8):
            deflection = travel - give * force
            pushed = self._pushed(scale, deflection)
            step = (pushed - force) / (1 + give * pushed / max(deflection, 1e-9))
            force += step
            if abs(step) < 1e-6:  # what is left is then a thousandth of that, or less than a count
                break
        return force

    def _pushed(self, scale: float, deflection: float) -> float:
        force = scale * self._beam.load(deflection / self._span_mm)
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
        since_s = (now_us - self._fed_us) / 1e6
        drift = truths["zero_drift_count_per_s"] * since_s
        if truths["warmup_n"]:
            drift += truths["warmup_n"] * truths["count_per_n"] * (1 - math.exp(-since_s / truths["warmup_s"]))
        slope = truths["count_per_n"] * self._per_n
        return truths["zero_count"] + drift + (slope + truths["count_per_n2"] * felt) * felt

    def _count(self) -> int:
        truths, count = self.truths, self._filter.word()
        if self._thing.kind == "indicator":
            tip = INDICATOR_COUNT_PER_MM * self._carriage.head_mm + INDICATOR_NOISE_COUNT * self._noise.normal()
            return math.floor(tip + 0.5)
        count += truths["noise_count"] * self.noisier * self._noise.normal()
        if self._noise.chance(truths["spike_chance"]):
            count += truths["spike_count"]
        return math.floor(count + 0.5)
