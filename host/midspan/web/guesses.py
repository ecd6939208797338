"""How often somebody may be wrong about the page's tokens before no more of them are looked at for a while.

The same wrong secret again is no new guess: a browser that still has the token of yesterday asks on and on. Whoever
brought a right one before is not kept out by what many others guess, only by what is guessed at the same address.

>>> guesses = Guesses(lambda: 0.0)
>>> for number in range(EACH):
...     guesses.wrong("10.0.0.7", f"guess {number}")
>>> guesses.may_try("10.0.0.7"), guesses.may_try("10.0.0.8")
(False, True)
"""

from __future__ import annotations

import hashlib
from collections import deque
from collections.abc import Callable

EACH = 8  # wrong secrets of one address
ALL = 60  # and of all together
WITHIN_S = 60.0


class Guesses:
    """The wrong secrets of the last minute; `now_s` is a clock that never goes back."""

    def __init__(self, now_s: Callable[[], float]) -> None:
        self._now_s = now_s
        self._wrong: deque[tuple[float, str, bytes]] = deque()  # never longer than ALL and EACH together
        self._trusted: set[str] = set()

    def may_try(self, address: str) -> bool:
        """Whether a secret from an address is looked at now."""
        while self._wrong and self._now_s() - self._wrong[0][0] >= WITHIN_S:
            self._wrong.popleft()
        own = sum(1 for _, who, _ in self._wrong if who == address)
        return own < EACH and (address in self._trusted or len(self._wrong) < ALL)

    def wrong(self, address: str, secret: str) -> None:
        """A secret was looked at and was none of the page's."""
        seal = hashlib.sha256(secret.encode("utf-8", "surrogateescape")).digest()
        if not any((who, known) == (address, seal) for _, who, known in self._wrong):
            self._wrong.append((self._now_s(), address, seal))

    def right(self, address: str) -> None:
        """A secret was one of the page's."""
        self._trusted.add(address)
