"""The live page: first paint, how soon a verdict in the store is on the screen, memory after a night."""

import time

import numpy as np
from midspan.store.journal import Journal
from night_on_paper import PaperNight, rough_night
from page_rig import CHROMIUM, browser, served
from stores import store_in

from bench.figure import at_most, plainly

SHAFTS, VERDICTS, PAINTS = 2000, 60, 5
PAINTED = "performance.getEntriesByName('first-contentful-paint')[0]?.startTime"
SEEN = "number => document.getElementById('shaft-' + number) !== null"


def figures(folder):
    """Return figures of the page after a large run while another is sorted; nothing without a browser."""
    if CHROMIUM is None:
        return []
    store = rough_night(store_in(folder), SHAFTS)
    with served(store) as server, browser() as opened:
        page = opened.new_page()
        paints_ms = [_painted_ms(page, server.url) for _ in range(PAINTS)]
        with store.open() as written:
            latency_ms = _latencies_ms(page, PaperNight(Journal(written)))
        page.goto(f"{server.url}/night/1")
        page.wait_for_selector("#all")
        memory_mb = server.memory_mb()
    p50, p99 = np.quantile(latency_ms, [0.5, 0.99])
    return [
        at_most(f"page: first paint beside a night of {SHAFTS} shafts", float(np.median(paints_ms)), "ms", 1000),
        plainly("page: verdict in the store to the screen, p50", p50, "ms"),
        at_most("page: verdict in the store to the screen, p99", p99, "ms", 1000),
        at_most(f"page: memory after a night of {SHAFTS} shafts and one looked at", memory_mb, "MB", 200),
    ]


def _painted_ms(page, url):
    page.goto(url)
    page.wait_for_selector("#all")
    return page.evaluate(PAINTED)


def _latencies_ms(page, night):
    page.wait_for_selector(f"h1:has-text('Run {night.number} ')")
    found = []
    for _ in range(VERDICTS):
        shaft = night.ordinary_shaft()
        begun = time.perf_counter()
        page.wait_for_function(SEEN, arg=shaft, polling=5)
        found.append(1000 * (time.perf_counter() - begun))
    return found
