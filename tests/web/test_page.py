"""`midspan page` in a real headless browser: it follows a run sorted elsewhere and keeps strangers out."""

import re
import socket
import subprocess
import sys

import pytest
from commands_rig import settings
from midspan.decision.decision import Decision, Outcome
from midspan.rehearsal import scenario_night
from midspan.sets.limits import Limits
from midspan.sets.registry import Sets
from midspan.sets.stock import read_stock
from midspan.store.journal import Journal
from midspan.store.tables import StopRequestRow
from midspan.store.transit import RunEventKind
from night_on_paper import BANDS, EVENING_MS, PLAN, paper_night
from page_rig import CHROMIUM, NO_BROWSER, Server, browser, free_port, served
from results import told
from sqlalchemy import func, select
from stores import add_result, run_of, store_in

pytestmark = [pytest.mark.skipif(CHROMIUM is None, reason=NO_BROWSER), pytest.mark.process]

HOSTILE = '<img src=x onerror=bad=1>"'
SCRIPT = f"<script>window.bad=1</script>'{HOSTILE}"
LABELLED = 901  # a shaft that was in no night, with a hostile label
VIEWS = ("/", "/night/1", "/night/1/shafts", "/nights", "/shaft/1", f"/shaft/{LABELLED}", "/sets", "/set/1",
         f"/find?which={HOSTILE}", "/shaft/123456", "/set/77", "/night/99")  # fmt: skip
WAIT_MS = 60_000  # long, for a machine that does everything else at the same time
LOOK, COMMAND = "a token for those who look", "a token for those who command"
SORT = """
import sys
from midspan.rehearsal import scenario_night
scenario_night.STOCK, scenario_night.MISHAPS = 150, {}
sys.argv = ["midspan", "sort", "night.toml"]
from midspan.cli.main import main
main()
"""


def hostile_night(store_place):
    """Write a night, a shaft and sets whose every name is a piece of a web page."""
    names = {"stiffer dozen": f"{HOSTILE} 1", "softer dozen": f"{HOSTILE} 2"}
    bands = {"bin": [{**band, "name": names[band["name"]]} for band in BANDS["bin"]]}
    places = [{**place, "bin": names[place["bin"]]} if "bin" in place else place for place in PLAN["place"]]
    gauge = {**PLAN["gauge"], "name": HOSTILE}
    with paper_night(store_place, bands=bands, plan={**PLAN, "gauge": gauge, "place": places}) as night:
        night.check(0.1)
        for place in (1, 2) * 8:
            night.sorted_shaft(500.0 + place / 10, Decision(Outcome.ACCEPTED, (), names["stiffer dozen"]), place)
        night.sorted_shaft(520.0, Decision(Outcome.REJECTED, (SCRIPT,)), 4)
        night.happened(RunEventKind.FAULT, SCRIPT, code=HOSTILE)
        night.happened(RunEventKind.STOPPED, SCRIPT)
    with store_place.open() as store:
        batch = store.begin_batch(SCRIPT, EVENING_MS)
        run = run_of(LABELLED, SCRIPT, archive=f"{SCRIPT}.avro", at_ms=EVENING_MS)
        result, why = told(spine_thou=500.0, u_spine_thou=0.2), Decision(Outcome.REJECTED, (SCRIPT,))
        add_result(store, run, result, why, batch=batch)
        stock = read_stock(store).shafts
        limits = Limits(number=3, spine_thou=5.0)
        Sets(store).keep({SCRIPT: stock[:3], "spring": stock[3:6]}, limits, EVENING_MS)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Return a folder with all that a night on the simulated gauge needs, and a hostile night in its database."""
    folder = tmp_path_factory.mktemp("page")
    calibration, _ = settings(folder)
    calibration.rename(folder / "calibration.toml")
    endless = re.sub("holds = [0-9]+", "holds = 900", scenario_night.PLAN)
    (folder / "night.toml").write_text(endless, encoding="utf-8")
    hostile_night(store_in(folder))
    return folder


@pytest.fixture(scope="module")
def page_server(folder):
    with served(store_in(folder)) as server:
        yield server


@pytest.fixture(scope="module")
def chromium():
    with browser() as opened:
        yield opened


def opened(chromium, url, **options):
    """Return a loaded page; `asked` has the addresses that it fetches, `wrong` its errors."""
    page = chromium.new_context(**options).new_page()
    page.set_default_timeout(WAIT_MS)
    page.asked, page.wrong = [], []
    page.on("request", lambda request: page.asked.append(request.url))
    page.on("websocket", lambda socket: page.asked.append(socket.url))
    page.on("pageerror", lambda error: page.wrong.append(str(error)))
    page.on("dialog", lambda dialog: page.wrong.append(dialog.message))
    visit(page, url)
    return page


def visit(page, url):
    page.goto(url)
    page.wait_for_selector("main :is(h1, .warn)")


def test_hostile_text_stays_text_on_a_telephone_and_nothing_is_fetched_from_elsewhere(chromium, page_server):
    page = opened(chromium, page_server.url, viewport={"width": 390, "height": 844})
    for view in VIEWS:
        visit(page, page_server.url + view)
        assert page.evaluate("document.documentElement.scrollWidth") <= 390, view
        assert page.evaluate("typeof window.bad") == "undefined", view
        assert not page.locator("main img, main script").count(), view
    own = (page_server.url, page_server.url.replace("http", "ws"), "data:", "blob:")
    assert len(page.asked) > len(VIEWS)
    assert [url for url in page.asked if not url.startswith(own)] == []
    assert page.wrong == []
    visit(page, f"{page_server.url}/shaft/{LABELLED}")
    assert SCRIPT in page.inner_text("main h1")
    visit(page, f"{page_server.url}/set/1")
    assert SCRIPT in page.inner_text("main h1")
    visit(page, page_server.url)
    assert SCRIPT in page.inner_text("main .faults")
    assert HOSTILE in page.inner_text("main .places")


def test_it_is_dark_in_the_dark_and_never_glaring(chromium, page_server):
    shades = {}
    for scheme in ("light", "dark"):
        page = opened(chromium, page_server.url, color_scheme=scheme)
        shades[scheme] = shade(page)
    assert shades["dark"] < 40
    assert 200 < shades["light"] < 250  # never glaring white
    page.click("#theme")
    assert shade(page) == shades["light"]
    visit(page, page_server.url)
    assert shade(page) == shades["light"]  # it was kept
    # Both colours are in the page itself, before anything else of it is fetched.
    html = page_server.get("/")
    assert html.index("--paper") < html.index("<body")


def shade(page):
    """Return the red part of the paper's colour, 0 to 255."""
    return int(re.match(r"rgb\((\d+)", page.evaluate("getComputedStyle(document.body).backgroundColor"))[1])


def test_the_keyboard_reaches_everything_and_sees_where_it_is(chromium, page_server):
    page = opened(chromium, page_server.url)
    reached = []
    for _ in range(8):
        page.keyboard.press("Tab")
        focus = page.evaluate(
            "(() => { const e = document.activeElement, s = getComputedStyle(e);"
            " return [e.getAttribute('href') || e.id, s.outlineStyle, parseFloat(s.outlineWidth)]; })()"
        )
        reached.append(focus[0])
        assert (focus[1], focus[2] >= 2) == ("solid", True), focus
    assert reached[:7] == ["#main", "/", "/nights", "/sets", "which", "", "theme"]
    for labelled in page.query_selector_all("input:not([type=hidden])"):
        assert page.query_selector(f"label[for={labelled.get_attribute('id')}]")
    page.focus("#which")
    page.keyboard.type("3")
    page.keyboard.press("Enter")
    page.wait_for_url("**/shaft/3")
    visit(page, page.url)
    assert page.inner_text("main h1") == "Shaft 3"


def test_a_foreign_site_gets_nothing_and_gives_no_orders(page_server):
    own, order = {"Origin": page_server.url}, b"night=1"
    assert page_server.status("/", Host="evil.example") == 403
    assert page_server.status("/", Host=f"evil.example:{page_server.port}") == 403
    assert page_server.status("/stop", order) == 403  # no origin
    assert page_server.status("/stop", order, Origin="http://evil.example") == 403
    assert page_server.status("/stop", order, Origin="null") == 403
    assert page_server.status("/stop") == 405
    assert page_server.status("/stop", b"night=1;drop table nights", **own) == 400
    assert page_server.status("/stop", b"night=" + b"1" * 9000, **own) == 400
    assert page_server.status("/stop", order, **own) == 409  # it has ended already
    for address in ("/night/1'--", f"/shaft/{9**30}", f"/shaft/{9**30}/readings.csv", "/set/-1", f"/night/{2**31}"):
        assert page_server.status(address) == 422, address
    assert handshake(page_server, "http://evil.example") == 403
    assert handshake(page_server, page_server.url) == 101


def handshake(server, origin, cookie=""):
    """Return the status of the answer to a request to open the page's socket."""
    head = (
        f"GET /_nicegui_ws/socket.io/?EIO=4&transport=websocket HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\n"
        f"Upgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Version: 13\r\nOrigin: {origin}\r\n"
        f"Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nCookie: {cookie}\r\n\r\n"
    )
    with socket.create_connection(("127.0.0.1", server.port), timeout=30) as line:
        line.sendall(head.encode())
        return int(line.recv(64).split()[1])


def test_on_a_network_a_token_looks_and_another_commands(chromium, folder, tmp_path, store_place):
    (tmp_path / "command").write_text(f"{COMMAND}\n")
    with paper_night(store_place) as night:
        night.check(0.1)
        night.ordinary_shaft()
        night.fed()
    options = ("--network", "--command-token", str(tmp_path / "command"))
    environment = {"MIDSPAN_LOOK_TOKEN": LOOK}
    with served(store_place, *options, environment=environment) as server:
        own = {"Origin": server.url}
        for path in ("/", "/sets", "/?token=guess", "/shaft/1/readings.csv"):
            assert server.status(path) == 401, path
        assert server.status("/stop", b"night=1", **own) == 401
        assert handshake(server, server.url) == 403
        page = opened_with(chromium, server, LOOK)
        assert page.inner_text(".doing").startswith("Shaft 3 ")
        assert not page.locator("#stop").count()
        cookie = "; ".join(f"{kept['name']}={kept['value']}" for kept in page.context.cookies())
        assert LOOK not in cookie
        assert server.status("/stop", b"night=1", Cookie=cookie, **own) == 403
        assert handshake(server, server.url, cookie) == 101
        with store_place.open() as store:
            assert stop_requests(store) == 0
        page = opened_with(chromium, server, COMMAND)
        warnings = page.locator(".warn").count()
        page.click("#stop")
        page.wait_for_function(f"document.querySelectorAll('.warn').length == {warnings + 1}")
        with store_place.open() as store:
            assert stop_requests(store) == 1


def opened_with(chromium, server, token):
    """Return a page that was entered by typing a token."""
    page = chromium.new_context().new_page()
    page.set_default_timeout(WAIT_MS)
    page.goto(server.url)
    page.fill("#token", token)
    page.keyboard.press("Enter")
    page.wait_for_selector("main.view .doing")
    return page


def stop_requests(store):
    with store.transaction() as session:
        return session.scalar(select(func.count(StopRequestRow.id)))


def test_it_follows_a_night_goes_on_after_a_restart_and_stops_it(chromium, folder):
    port = free_port()
    server = Server(store_in(folder), port=port).start()
    page = opened(chromium, server.url)
    assert page.inner_text("main h1").startswith("Run 1 ")
    sorting = subprocess.Popen([sys.executable, "-c", SORT], cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    try:
        page.wait_for_selector("h1:text-is('Run 2 on gauge rehearsal')")
        page.wait_for_selector("main .now + section svg path.line, section svg path.line", state="attached")
        wait_for_shaft_after(page, LABELLED + 3)
        server.kill()
        server = Server(store_in(folder), port=port).start()
        wait_for_shaft_after(page, newest(folder))  # the page was not loaded again
        page.click("#stop")
        out, err = sorting.communicate(timeout=120)
        assert sorting.returncode == 130, out + err
        page.wait_for_selector("#stop", state="detached")
        check_stopped_night(folder)
        see_one_shaft(page, server, LABELLED + 2)
    finally:
        sorting.kill()
        sorting.communicate()
        server.stop()


def check_stopped_night(folder):
    with store_in(folder).open() as store:
        assert Journal(store).events(2)[-1].kind is RunEventKind.STOPPED
        transits = Journal(store).transits(2)
    assert not [transit for transit in transits if transit.is_open]  # the shaft in hand was finished
    assert transits[-1].standard == "bar 1"  # and the gauge was checked again
    assert len(transits) < 150


def wait_for_shaft_after(page, number):
    """Wait until the page lists a shaft with a higher number."""
    page.wait_for_function(f"[...document.querySelectorAll('td a')].some(link => Number(link.textContent) > {number})")


def newest(folder):
    with store_in(folder).open() as store:
        return Journal(store).transits(2)[-1].shaft


def see_one_shaft(page, server, shaft):
    """Look at a shaft's page and its raw readings."""
    visit(page, f"{server.url}/shaft/{shaft}")
    text = page.inner_text("main")
    assert "run 2" in text
    assert page.locator("svg.chart").count() == 2
    lines = server.get(f"/shaft/{shaft}/readings.csv").splitlines()
    assert lines[0] == "phase,time_us,rotate_steps,press_steps,count,status"
    assert len(lines) - 1 == int(re.search(r"(\d+) readings in night-readings\.avro", text)[1])
