"""Agenda of future actions in virtual time."""

FAR_US = 1 << 60  # still a small integer, which costs no memory


class Agenda:
    """Actions that are due at a time in microseconds, done in order; `now_us` is the time."""

    def __init__(self) -> None:
        self.now_us = 0
        self._due: list[tuple] = []
        self._number = 0

    def add(self, us: int, what, *arguments) -> None:
        """Schedule what(*arguments) for later; actions due at the same time are done in the order they were added."""
        self._number += 1
        self._due.append((self.now_us + us, self._number, what, arguments))

    def next_us(self) -> int:
        """Return the time of the next action, a far one if there is none."""
        return min(self._due)[0] if self._due else FAR_US

    def do_next(self, us: int) -> bool:
        """Do the next action and return True if it is due by a time; else set that time and return False."""
        if self.next_us() > us:
            self.now_us = us
            return False
        due = min(self._due)
        self._due.remove(due)
        self.now_us = due[0]
        due[2](*due[3])
        return True
