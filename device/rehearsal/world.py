"""World of all shafts: hopper, slot, rollers, places, floor, and the feeder, chute and people that move shafts.

The world outlives the device: each event is a line of its file, written at once, so that nothing is lost if the process
ends at any instant. README.md explains the keys and the lines.
"""

import math

from agenda import Agenda
from lasting import Files
from shaft import with_defaults

LEFT_END, RIGHT_END, ABOVE, HOPPER, SLOT, CHUTE, LID, STOP = [1 << bit for bit in range(8)]
FEEDER: dict = {
    "name": "rehearsal", "places": 6, "guards": 3, "hopper": None, "slot": None, "return_place": 0, "world": None,
    "record": None, "two_at_once": [], "short": [], "jam_in": [], "jam_out": [], "unseen": [], "full": [], "hands": [],
    "person_s": None, "laid_in": None,
    "lid": [], "stop": [], "silent": [], "noisy": [], "home_open": [], "home_closed": [], "reset": [],
    "hang": [],
    "temperature_centi": "room", "shaft_centi": None, "no_sensor": [], "warming_centi_per_h": 0.0, "misconfigured": 0,
}  # fmt: skip
LASTING = ("lid", "stop", "silent", "noisy", "home_open", "home_closed", "no_sensor")
NO_FEEDER = {"places": 0, "guards": 0, "hopper": []}
STROKE_US, GATE_US, SELECT_US = 350000, 150000, 300000
ROLL_US, FALL_US, PASS_US = 250000, 200000, 60000  # escapement to rollers, rollers to chute, past its sensor
APART_US = 120000  # between two shafts that come at once


class Reset(Exception):
    """Reset of the device: its process restarts, the world stays."""


class World:
    """The shafts of a scenario, by their own numbers, and all that happens to them; `keys` are those of the feeder.

    `inputs` are the bits of the board's inputs, `on_rollers` the shafts there, the lowest first, `lasting` those of
    LASTING that are true now, `hang_us` how long the device's loop is to hang now. Raises ValueError that names a wrong
    key.
    """

    def __init__(self, given, numbers: list, temperature_c: float = 21.0) -> None:
        self.keys = with_defaults(FEEDER, NO_FEEDER if given is None else given, "feeder")
        self.places = self.keys["places"]
        self._temperature_c = temperature_c
        self._files = Files(self.keys["world"], self.keys["record"])
        self.release_read, self.release_write = self._files.release_read, self._files.release_write
        self.hang_us = 0
        self.inputs = self._passed = self._covers = self._busy = self._openings = self._falling = 0
        self.on_rollers: list[int] = []
        self.lasting: set[str] = set()
        self._there: list[int] = []  # of those on the rollers, the ones that have come to rest
        self._inlet: list[int] = []  # jammed between escapement and rollers
        self._counts: dict[int, int] = {}  # of shafts in a place since it was last emptied
        self._place = 1
        self._open = False
        self._agenda = Agenda()
        self._in = self._agenda.add
        slot, hopper = self.keys["slot"], self.keys["hopper"]
        self._slot = [] if slot is None else [slot]
        self._hopper = [number for number in numbers if number != slot] if hopper is None else list(hopper)
        fresh = self._recall()
        self._begun_us = self._agenda.now_us
        self._expect(fresh)
        self._look()

    def _recall(self) -> bool:
        """Restore the state in the file; return True if the file is still empty."""
        fresh = True
        for time_ms, shaft, what in self._files.happenings():
            self._agenda.now_us, fresh = 1000 * time_ms, False
            if what.startswith("emptied"):
                self._counts[int(what[8:])] = 0
            elif shaft != "-" and not what.startswith("measured"):
                self._put(int(shaft), what)
        return fresh

    def _tell(self, shaft, what: str) -> None:
        self._files.tell(self._agenda.now_us // 1000, shaft, what)

    def note_measured(self, number: int) -> int:
        """Note that what lies there is measured under a number; return the shaft's own number, -1 without one."""
        if not self.on_rollers:
            return -1
        self._tell(self.on_rollers[0], "measured as {}".format(number))
        return self.on_rollers[0]

    def laid_in(self, number: int) -> int:
        """Return the own number of the shaft that a hand laid in, as its file says; without one, the program's."""
        if self.keys["laid_in"] is None:
            return number
        try:
            with open(self.keys["laid_in"]) as file:
                own = int(file.read())
        except OSError:  # nobody laid one in
            return -1
        self._tell(own, "measured as {}".format(number))
        return own

    def note_end(self, head_mm: float, force_n: float) -> None:
        """Note the end of the device: the position of its head and the force on it."""
        self._tell("-", "head {:.2f} mm {:.2f} N".format(head_mm, force_n))

    def advance(self, board_us: int) -> None:
        """Let everything happen that is due by a time of the board."""
        while self._agenda.do_next(self._begun_us + board_us):
            self._look()

    def next_us(self) -> int:
        """Return the board's time of the next event, a far one if there is none."""
        return self._agenda.next_us() - self._begun_us

    def _expect(self, fresh: bool) -> None:
        """Schedule what the scenario says will happen from now on."""
        for kind in LASTING:
            for at_s, for_s in self.keys[kind]:
                due = self._at(at_s, fresh, self._turn, kind, "begins")
                if self._at(at_s + for_s, fresh, self._turn, kind, "ends") and not due:
                    self.lasting.add(kind)
        for at_s in self.keys["reset"]:
            self._at(at_s, fresh, self.reset)
        for at_s, for_s in self.keys["hang"]:
            self._at(at_s, fresh, self._hang, int(1e6 * for_s))
        for at_s, shaft, where in self.keys["hands"]:
            self._at(at_s, fresh, self._move, shaft, where)
        if self._inlet or [place for place in self._counts if self._full(place)]:
            self._call()

    def _at(self, at_s: float, fresh: bool, what, *arguments) -> bool:
        at_us = 1000 * int(1000 * at_s)  # in whole milliseconds, as in the file: what was is not due again
        us = at_us - self._agenda.now_us
        if us > 0 or (fresh and us == 0):
            self._in(us, what, *arguments)
            return True
        return False

    def _turn(self, kind: str, word: str) -> None:
        (self.lasting.add if word == "begins" else self.lasting.remove)(kind)
        self._tell("-", kind + " " + word)

    def reset(self) -> None:
        """Reset the device: raise Reset."""
        self._tell("-", "reset")
        raise Reset

    def _hang(self, us: int) -> None:
        self._tell("-", "loop hangs")
        self.hang_us = us

    # What the board asks

    def let_in(self, source: int) -> None:
        """Make a stroke of the escapement of hopper (0) or slot (1)."""
        self._work(STROKE_US)
        self._in(STROKE_US // 2, self._drop, source)

    def gate(self, is_open: bool) -> None:
        """Open or shut the gate."""
        if is_open != self._open:
            self._work(GATE_US)
            self._in(GATE_US, self._swing, is_open)

    def select(self, place: int) -> None:
        """Point the chute to a place."""
        self._work(SELECT_US)
        self._in(SELECT_US, setattr, self, "_place", place)

    def handling(self) -> bool:
        """Return True if escapement, gate or selector move."""
        return self._busy > 0

    def chute_take(self) -> bool:
        """Return True once for each shaft that came to the chute's sensor."""
        took = self._passed > 0
        self._passed -= took
        return took

    def room_c(self) -> float:
        """Return the temperature of the room and all that is in it, degC."""
        return self._temperature_c + self.keys["warming_centi_per_h"] * self._agenda.now_us / 3.6e11

    def temperature_centi(self):
        """Return what the thermometer of the board's chip shows, 0.01 degC, None without one."""
        return self._shown(self.keys["temperature_centi"])

    def centi(self):
        """Return what the sensor by the shaft shows, 0.01 degC, None while it is broken."""
        return None if "no_sensor" in self.lasting else self._shown(self.keys["shaft_centi"])

    def _shown(self, shown):
        """Return the room's temperature for "room"; another number is off the room by a constant."""
        if shown == "room":
            return math.floor(100 * self.room_c() + 0.5)
        warming = self.keys["warming_centi_per_h"]
        return shown if shown is None or not warming else int(shown + warming * self._agenda.now_us / 3.6e9)

    # What then happens

    def _work(self, us: int) -> None:
        self._busy += 1
        self._in(us, self._rest)

    def _rest(self) -> None:
        self._busy -= 1

    def _drop(self, source: int) -> None:
        heap = self._slot if source else self._hopper
        if not heap or self._inlet:  # what is jammed is in the way
            return
        shafts = heap[: 2 if heap[0] in self.keys["two_at_once"] else 1]
        if shafts[0] in self.keys["jam_in"]:
            self._move(shafts[0], "inlet")
            self._call()
            return
        for i in range(len(shafts)):
            self._move(shafts[i], "rollers")
            self._there.remove(shafts[i])  # it still rolls
            self._in(ROLL_US + i * APART_US, self._come, shafts[i])

    def _come(self, shaft: int) -> None:
        if shaft in self.on_rollers and shaft not in self._there:
            self._there.append(shaft)

    def _swing(self, is_open: bool) -> None:
        self._open = is_open
        if is_open:
            self._openings += 1
            for i in range(len(self.on_rollers)):
                self._in(i * APART_US, self._roll_off)

    def _roll_off(self) -> None:
        if not self._open or not self.on_rollers:
            return
        shaft = self.on_rollers[0]
        if self._openings < dict(self.keys["jam_out"]).get(shaft, 1):
            return
        self._openings = 0
        back = self._place == self.keys["return_place"] and not self._slot
        self._move(shaft, "slot" if back else "place {}".format(self._place))
        self._falling += 1
        self._in(FALL_US, self._reach_chute, shaft)

    def _reach_chute(self, shaft: int) -> None:
        self._falling -= 1
        self._covers += 1
        self._passed += 0 if shaft in self.keys["unseen"] else 1
        self._in(PASS_US, self._leave_chute)

    def _leave_chute(self) -> None:
        self._covers -= 1
        if self._full(self._place):
            self._call()

    def _full(self, place: int) -> bool:
        """Return True if the last shaft of a place stands up into the chute."""
        return self._counts.get(place, 0) > dict(self.keys["full"]).get(place, self._counts.get(place, 0))

    def _call(self) -> None:
        if self.keys["person_s"] is not None:
            self._in(int(1e6 * self.keys["person_s"]), self._help)

    def _help(self) -> None:
        """Take away what is jammed and empty what is full, as a person would."""
        for shaft in list(self._inlet):
            self._move(shaft, "floor")
        for place in self._counts:
            if self._full(place):
                self._counts[place] = 0
                self._tell("-", "emptied {}".format(place))

    def _move(self, shaft: int, where: str) -> None:
        self._put(shaft, where)
        self._tell(shaft, where)

    def _put(self, shaft: int, where: str) -> None:
        for heap in (self._hopper, self._slot, self._inlet, self.on_rollers, self._there):
            if shaft in heap:
                heap.remove(shaft)
        if where == "rollers":
            self.on_rollers.append(shaft)
            self._there.append(shaft)
        elif where in ("hopper", "slot", "inlet"):
            getattr(self, "_" + where).append(shaft)
        elif where.startswith("place"):
            place = int(where[6:])
            self._counts[place] = self._counts.get(place, 0) + 1

    def _look(self) -> None:
        inputs = 0
        for shaft in self._there:
            inputs |= LEFT_END if shaft in self.keys["short"] else LEFT_END | RIGHT_END
        inputs |= ABOVE if len(self._there) > 1 else 0
        inputs |= (HOPPER if self._hopper else 0) | (SLOT if self._slot else 0)
        inputs |= CHUTE if self._covers or (self._full(self._place) and not self._falling) else 0
        for bit, kind, guard in ((LID, "lid", 1), (STOP, "stop", 2)):
            inputs |= bit if kind in self.lasting and self.keys["guards"] & guard else 0
        self.inputs = inputs
