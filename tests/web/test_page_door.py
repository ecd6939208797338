"""Guesses of the page's tokens and unfinished requests are kept out; all others come in."""

import asyncio
import socket
from collections import Counter
from urllib.parse import urlencode

import numpy as np
import pytest
import zxingcpp
from midspan.cli.page import network_lines, printable_lines, reachable_address
from midspan.web import connection_limits as page_guest
from midspan.web.auth import ALL, COOKIE, EACH, WITHIN_S, Access, Door, Guesses
from midspan.web.connection_limits import REQUEST_S, Guest, Guests
from uvicorn import Config
from uvicorn.server import ServerState

LOOK, COMMAND = "a token for those who look", "a token for those who command"
ACCESS = Access(8437, LOOK, COMMAND)


class Clock:
    def __init__(self):
        self.now_s = 1000.0

    def __call__(self):
        return self.now_s


# Guesses


def test_many_guesses_of_one_address_are_not_looked_at_for_a_minute():
    clock = Clock()
    guesses, looked_at = Guesses(clock), 0
    for number in range(1000):
        clock.now_s += 0.01
        if guesses.may_try("10.0.0.7"):
            looked_at += 1
            guesses.wrong("10.0.0.7", f"guess {number}")
    assert looked_at == EACH
    assert guesses.may_try("10.0.0.8")
    clock.now_s += WITHIN_S
    assert guesses.may_try("10.0.0.7")


def test_guesses_of_many_addresses_end_too_and_keep_nobody_out_who_was_in():
    clock = Clock()
    guesses = Guesses(clock)
    guesses.right("10.0.0.1")
    looked_at = 0
    for number in range(1000):
        address = f"10.1.{number // 250}.{number % 250}"
        if guesses.may_try(address):
            looked_at += 1
            guesses.wrong(address, "a guess")
    assert looked_at == ALL
    assert guesses.may_try("10.0.0.1")
    assert not guesses.may_try("10.0.0.2")
    clock.now_s += WITHIN_S
    assert guesses.may_try("10.0.0.2")


def test_the_same_wrong_secret_again_is_no_new_guess():
    guesses = Guesses(Clock())
    for _ in range(1000):
        assert guesses.may_try("10.0.0.7")
        guesses.wrong("10.0.0.7", "the token of yesterday")


# The door


class Visitor:
    """A browser at an address that asks the door for pages."""

    def __init__(self, clock, address="10.0.0.7"):
        async def behind(scope, receive, send):
            await send({"type": "http.response.start", "status": 200, "headers": []})
            await send({"type": "http.response.body", "body": b"the page"})

        self.door = Door(behind, ACCESS, lambda night: None, clock)
        self.address = address

    def get(self, token=None, cookie=None, kind="http"):
        """Return the status of the answer, or the code with which the socket was closed."""
        headers = [(b"host", b"a:8437"), (b"origin", b"http://a:8437")]
        headers += [(b"cookie", f"{COOKIE}={cookie}".encode())] if cookie else []
        scope = {"type": kind, "method": "GET", "path": "/", "headers": headers, "client": (self.address, 5),
                 "query_string": urlencode({"token": token} if token else {}).encode()}  # fmt: skip
        sent = []

        async def send(message):
            sent.append(message)

        asyncio.run(self.door(scope, None, send))
        return sent[0].get("status", sent[0].get("code"))


@pytest.mark.slow
def test_a_thousand_guesses_come_to_nothing_and_the_right_token_opens_after_a_minute():
    clock = Clock()
    visitor = Visitor(clock)
    answers = Counter(visitor.get(token=f"guess {number}") for number in range(1000))
    assert answers == {401: EACH, 429: 1000 - EACH}
    assert visitor.get(token=LOOK) == 429  # else a thousand guesses would find it all the same
    visitor.address = "10.0.0.8"
    assert visitor.get(token=LOOK) == 303
    visitor.address = "10.0.0.7"
    clock.now_s += WITHIN_S
    assert visitor.get(token=LOOK) == 303


@pytest.mark.parametrize("kind", ["http", "websocket"])
def test_a_cookie_is_guessed_no_oftener_than_a_token(kind):
    visitor = Visitor(Clock())
    for number in range(EACH):
        visitor.get(cookie=f"guess{number}", kind=kind)
    assert visitor.get(cookie=ACCESS.cookie_for(COMMAND), kind=kind) == {"http": 429, "websocket": 1008}[kind]


@pytest.mark.slow
def test_a_browser_of_yesterday_may_enter_today():
    visitor = Visitor(Clock())
    for _ in range(1000):
        assert visitor.get(cookie="of yesterday") == 401
    assert visitor.get(token=LOOK) == 303
    assert visitor.get(cookie=ACCESS.cookie_for(LOOK)) == 200


# Connections


class Wire:
    """The transport of a connection from an address."""

    def __init__(self, address):
        self._address, self.closed, self.sent = address, False, b""

    def get_extra_info(self, name, default=None):
        return {"peername": (self._address, 5), "sockname": ("10.0.0.1", 8437)}.get(name, default)

    def is_closing(self):
        return self.closed

    def abort(self):
        self.closed = True

    close = abort

    def write(self, data):
        self.sent += data

    def pause_reading(self):
        pass

    resume_reading = pause_reading


class Loop:
    """An event loop that runs what is due when the test lets time pass."""

    def __init__(self):
        self.timers, self.now_s = [], 0.0

    def call_later(self, delay_s, do):
        timer = Timer(self.now_s + delay_s, do)
        self.timers.append(timer)
        return timer

    def create_task(self, coroutine, **_):
        coroutine.close()
        return Task()

    def wait(self, seconds):
        self.now_s += seconds
        for timer in self.timers:
            if timer.do and timer.at_s <= self.now_s:
                timer.do()
                timer.cancel()


class Timer:
    def __init__(self, at_s, do):
        self.at_s, self.do = at_s, do

    def cancel(self):
        self.do = None


class Task:
    def add_done_callback(self, _):
        pass


@pytest.fixture
def arrive():
    """Return a function that makes connections to the same page."""

    async def app(scope, receive, send):
        raise AssertionError("nothing is run here")

    class OfThisPage(Guest):
        guests = Guests()

    config, loop = Config(app, log_config=None), Loop()
    config.load()

    def connect(address="10.0.0.7"):
        guest = OfThisPage(config=config, server_state=ServerState(), app_state={}, _loop=loop)
        guest.connection_made(Wire(address))
        return guest

    connect.loop = loop
    return connect


HALVES = [
    b"",
    b"G",
    b"GET / HTTP/1.1\r\nHost: a\r\nX: ",
    b"POST /enter HTTP/1.1\r\nHost: a\r\nContent-Length: 9\r\n\r\ntoken",
]


@pytest.mark.parametrize("half", HALVES, ids=["nothing", "a letter", "half a head", "half a body"])
def test_half_a_request_is_cut_off_however_slowly_it_goes_on(arrive, half):
    guest = arrive()
    if half:
        guest.data_received(half)
    while arrive.loop.now_s < REQUEST_S - 1:
        arrive.loop.wait(1.0)
        if half.startswith(b"GET"):
            guest.data_received(b"x")
        assert not guest.transport.closed
    arrive.loop.wait(1.0)
    assert guest.transport.closed


def test_a_whole_request_has_all_the_time_it_needs(arrive):
    guest = arrive()
    guest.data_received(b"GET / HTTP/1.1\r\nHost: a\r\n")
    arrive.loop.wait(REQUEST_S / 2)
    guest.data_received(b"\r\n")
    arrive.loop.wait(10 * REQUEST_S)
    assert not guest.transport.closed
    assert not guest.is_waited_for


def test_one_address_has_so_many_connections_and_others_still_come_in(arrive):
    mine = [arrive("10.0.0.7") for _ in range(page_guest.EACH + 5)]
    assert sum(not guest.transport.closed for guest in mine) == page_guest.EACH
    assert not arrive("10.0.0.8").transport.closed
    mine[0].transport.close()
    assert not arrive("10.0.0.7").transport.closed


def test_where_no_room_is_left_who_lets_wait_goes_first(arrive):
    whole = arrive("10.0.0.1")
    whole.data_received(b"GET / HTTP/1.1\r\nHost: a\r\n\r\n")
    halves = [arrive(f"10.1.0.{number}") for number in range(page_guest.ALL - 1)]
    new = arrive("10.0.0.2")
    assert [guest.transport.closed for guest in (whole, halves[0], halves[1], new)] == [False, True, False, False]
    for guest in (*halves, new):
        guest.data_received(b"GET / HTTP/1.1\r\nHost: a\r\n\r\n")
    assert arrive("10.0.0.3").transport.closed  # all are being answered


# Where the page is


def pixels(lines):
    """Return a code on a screen as an image: each letter is an upper and a lower dot, light or dark."""
    rows = []
    for line in lines:
        rows += [[letter in "█▀" for letter in line], [letter in "█▄" for letter in line]]
    return np.kron(np.array(rows, np.uint8) * 255, np.ones((8, 8), np.uint8))


def code_in(lines):
    (found,) = zxingcpp.read_barcodes(pixels(lines[-1].splitlines()))
    return found.text


def test_the_address_is_printed_whole_and_as_a_code_that_lets_look_only():
    lines = network_lines("http://10.0.0.1:8437/", LOOK, COMMAND)
    assert code_in(lines) == f"http://10.0.0.1:8437/?token={LOOK}"
    assert sum(COMMAND in line for line in lines) == 1


def test_tokens_that_were_given_are_printed_nowhere():
    lines = network_lines("http://10.0.0.1:8437/", None, None)
    assert code_in(lines) == "http://10.0.0.1:8437/"
    assert "token=" not in "".join(lines)


def test_a_screen_that_cannot_draw_the_code_gets_the_rest():
    lines = network_lines("http://10.0.0.1:8437/", LOOK, COMMAND)
    assert list(printable_lines(lines, "utf-8")) == lines
    assert list(printable_lines(lines, "ascii")) == lines[:-1] == list(printable_lines(lines, None))


def test_the_address_is_one_of_this_computer(monkeypatch):
    with socket.socket() as probe:
        try:
            probe.bind((reachable_address(), 0))
            bound = True
        except OSError:
            bound = reachable_address() == socket.gethostname()
    assert bound

    class NoWay(socket.socket):
        def connect(self, _):
            raise OSError(101, "Network is unreachable")

    monkeypatch.setattr(socket, "socket", NoWay)
    assert reachable_address() == socket.gethostname()


def test_odd_letters_are_a_wrong_token_and_nothing_worse():
    visitor = Visitor(Clock())
    assert visitor.get(token="\udcff\x00ö".encode("utf-8", "surrogateescape")) == 401
