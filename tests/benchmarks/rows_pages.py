"""The dashboard: reruns against the queries behind them, and the first picture after a start."""

from __future__ import annotations

import contextlib
import itertools
import math
import os
import random
import shutil
import socket
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NamedTuple

from constant_app import constant
from measure import Figure, Setup, beside, tarebook
from rows_mass import fitted
from users import visit
from watched import Stopwatch, watching

from dashboard.here import FILTER_KEYS
from dashboard.serve import options
from pipeline.store import Store

CHECKOUT = Path(__file__).resolve().parents[2]
RECORDS = CHECKOUT / "sample_data" / "records"
CHROMIUM = "/usr/bin/chromium"
BARE_PAGE = Path(__file__).with_name("bare_page.py")
APP = CHECKOUT / "dashboard" / "app.py"
CONSTANT_APP = Path(__file__).with_name("constant_app.py")
RERUNS = 40
"""Filters a view is asked under: a p95 of a dozen would be the slowest of them."""
USERS = 25
RERUNS_A_USER = 4
USERS_ON = ("what-sells", "job-finder")
VIEWS = (
    *(("what_sells", {"view": view}) for view in ("changed", "time", "quotes", "together", "pays", "mass")),
    ("what_sells", {"view": "pays", "pays_by": "item"}),
    ("layout_families", {}),
    ("near_the_limit", {}),
    ("job_finder", {}),
    *((page, {}) for page in ("start", "early_mass", "for_your_vehicle", "model_check", "record_health", "settings")),
)
"""Pages, and what their address asks of them."""


def page_reruns(setup: Setup) -> list[Figure]:
    """Each view of each page under filters it has not seen yet, in process: beside its queries alone, and beside it fed constants.

    In processor time, which others at work hardly change; and by the clock, which is what a person waits, on a quiet machine. Pages that
    filters are not about ask nothing anew when they run again.
    """
    from streamlit.testing.v1 import AppTest

    os.environ["TAREBOOK_STORE"] = str(fitted(setup))
    figures = []
    with watching() as watch:
        app = AppTest.from_file(str(APP), default_timeout=600).run()
        combinations = _filters()
        for page, asked in VIEWS:
            for name, value in asked.items():
                app.query_params[name] = value
            app.switch_page(f"app_pages/{page}.py").run()
            seen = [_rerun(app, filters, watch) for filters in itertools.islice(combinations, RERUNS)]
            with _constant_answers():
                _rerun(app, {}, watch)
                constant = [_rerun(app, filters, watch) for filters in itertools.islice(combinations, RERUNS // 4)]
            if app.exception:
                raise RuntimeError(f"{page}: {app.exception[0].message}")
            for name in asked:
                del app.query_params[name]
            figures += _page_figures(" ".join([page.replace("_", " "), *asked.values()]), seen, constant)
    return figures


class Rerun(NamedTuple):
    """Seconds of processors, those of its queries alone, and seconds of the clock."""

    spent: float
    asking: float
    clock: float


def _rerun(app: Any, filters: dict[str, str], watch: Stopwatch) -> Rerun:
    """Run a page under these shared filters and no others."""
    if app.multiselect:
        for key in FILTER_KEYS:
            app.session_state[key] = filters.get(key, "")
    before, began, at = watch.seconds, time.process_time(), time.perf_counter()
    app.run()
    return Rerun(time.process_time() - began, watch.seconds - before, time.perf_counter() - at)


@contextlib.contextmanager
def _constant_answers() -> Iterator[None]:
    from dashboard import live

    plain, live._remembered = live._remembered, constant
    try:
        yield
    finally:
        live._remembered = plain


def _filters() -> Iterator[dict[str, str]]:
    """Filters as the address has them, drawn by lot, none twice, so that no answer is remembered from another page's turn."""
    from dashboard.filter_bar import filter_options

    options = filter_options(Store(Path(os.environ["TAREBOOK_STORE"])).live().cursor(), None)
    draw, drawn = random.Random(7), set()
    while True:
        filters = {key: str(draw.choice(list(options[key]))) for key in FILTER_KEYS if key != "until" and draw.random() < 0.3}
        if "vehicles" in filters:
            filters["vehicles"] = "|".join(draw.sample(list(options["vehicles"]), draw.randint(1, 3)))
        if str(filters) not in drawn:
            drawn.add(str(filters))
            yield filters


def _page_figures(view: str, seen: list[Rerun], constant: list[Rerun]) -> list[Figure]:
    def late(figures: list[float]) -> float:
        return 1e3 * sorted(figures)[math.ceil(0.95 * len(figures)) - 1]

    own, asking = (1e3 * statistics.median(getattr(one, name) for one in seen) for name in ("spent", "asking"))
    fed = 1e3 * statistics.median(one.spent for one in constant)
    beside_queries = [Figure(f"rerun of {view}", "its queries alone", own, asking, "ms", 2.0, len(seen))] if asking else []
    return [
        *beside_queries,
        Figure(f"rerun of {view}", "the same page fed constants", own, fed, "ms", math.inf, len(seen)),
        Figure(f"rerun of {view}, p95 of processor time", "-", late([one.spent for one in seen]), math.nan, "ms", math.inf, len(seen)),
        Figure(f"rerun of {view}, p95 by the clock", "-", late([one.clock for one in seen]), math.nan, "ms", 250.0, len(seen)),
    ]


def first_picture(setup: Setup) -> list[Figure]:
    """From the command to the first chart in a browser, against a bare Streamlit page with one chart."""
    if not Path(CHROMIUM).exists():
        print(f"first-picture was not measured: {CHROMIUM} is missing", file=sys.stderr)
        return []
    store = setup.work / "first-store"

    def up() -> float:
        shutil.rmtree(store, ignore_errors=True)
        return _until_a_chart(lambda port: tarebook("up", RECORDS, "--store", store, "--port", str(port)), "what-sells")

    def again() -> float:
        return _until_a_chart(lambda port: tarebook("serve", "--store", store, "--port", str(port)), "what-sells")

    def bare() -> float:
        options = ["--server.address=127.0.0.1", "--server.headless=true", "--browser.gatherUsageStats=false"]
        return _until_a_chart(
            lambda port: [sys.executable, "-m", "streamlit", "run", str(BARE_PAGE), f"--server.port={port}", *options], ""
        )

    return [
        beside("first picture, `up` on a new store", "a bare Streamlit page", up, bare, 2.0, setup.repeat),
        beside("first picture, `serve` on the store", "a bare Streamlit page", again, bare, math.inf, setup.repeat),
    ]


def _until_a_chart(command: Callable[[int], list[str]], page: str) -> float:
    port = _free_port()
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        began = time.perf_counter()
        process = subprocess.Popen(command(port), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True)
        try:
            _wait_for(port, process)
            tab = browser.new_page()
            tab.goto(f"http://127.0.0.1:{port}/{page}")
            tab.wait_for_selector("[data-testid=stVegaLiteChart] svg, [data-testid=stVegaLiteChart] canvas", timeout=120_000)
            return time.perf_counter() - began
        finally:
            browser.close()
            # the command's own server is its child: both are in the session that was started here
            os.killpg(process.pid, 15)
            process.wait(timeout=30)


def _wait_for(port: int, process: subprocess.Popen[bytes]) -> None:
    for _ in range(6_000):
        if process.poll() is not None:
            raise RuntimeError(f"the server ended with exit {process.returncode}")
        with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=1):
            return
        time.sleep(0.05)
    raise RuntimeError("the server did not answer within five minutes")


def under_users(setup: Setup) -> list[Figure]:
    """Reruns of 25 users in the browser's protocol, beside the same pages whose answers are constants: p95, and the server's work."""
    store = Store(fitted(setup))
    figures = []
    for page in USERS_ON:
        found: dict[Path, list[tuple[float, float]]] = {CONSTANT_APP: [], APP: []}
        for _ in range(setup.repeat):
            for app, seen in found.items():
                with _serving(store, app) as (port, process):
                    # the first opening reads what every later one remembers
                    visit(port, page, 1, 1)
                    before = _cpu_s(process.pid)
                    told = visit(port, page, USERS, RERUNS_A_USER)
                    seen.append((told.quantile(0.95), 1e3 * (_cpu_s(process.pid) - before) / (USERS * (RERUNS_A_USER + 1))))
        for at, (what, unit) in enumerate((("p95", "s"), ("processor time", "ms"))):
            ours, floor = (statistics.median(each[at] for each in found[app]) for app in (APP, CONSTANT_APP))
            name = f"{USERS} users, rerun of {page.replace('-', ' ')}, {what}"
            figures.append(Figure(name, "the same page fed constants", ours, floor, unit, 1.5, setup.repeat))
    return figures


def memory_under_users(setup: Setup) -> list[Figure]:
    """Memory of the dashboard at the end of minutes of reruns by 25 users, beside that after the first minute."""
    with _serving(Store(fitted(setup)), APP) as (port, process):
        visit(port, USERS_ON[0], 1, 1)
        minute = min(60.0, setup.seconds / 2)
        visit(port, USERS_ON[0], USERS, for_s=minute)
        first = _resident_mib(process.pid)
        visit(port, USERS_ON[0], USERS, for_s=setup.seconds - minute)
        last = _resident_mib(process.pid)
    what = f"memory after {setup.seconds:.0f} s of {USERS} users"
    return [Figure(what, f"after the first {minute:.0f} s", last, first, "MiB", 1.1, 1)]


@contextlib.contextmanager
def _serving(store: Store, app: Path) -> Iterator[tuple[int, subprocess.Popen[bytes]]]:
    """A dashboard's server with its own settings, on another script where one is given."""
    port = _free_port()
    begin = "from dashboard.serve import few_arenas; few_arenas(); from streamlit.web.cli import main; main()"
    command = [sys.executable, "-c", begin, "run", str(app), *options(store, port, "127.0.0.1")]
    places = {"TAREBOOK_STORE": str(store.root), "PYTHONPATH": str(CHECKOUT)}
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env={**os.environ, **places})
    try:
        _wait_for(port, process)
        yield port, process
    finally:
        process.terminate()
        process.wait(timeout=60)


def _resident_mib(pid: int) -> float:
    told = Path(f"/proc/{pid}/status").read_text("utf-8")
    return next(int(line.split()[1]) for line in told.splitlines() if line.startswith("VmRSS")) / 1024


def _cpu_s(pid: int) -> float:
    times = Path(f"/proc/{pid}/stat").read_text("utf-8").rpartition(")")[2].split()[11:13]
    return sum(map(int, times)) / os.sysconf("SC_CLK_TCK")


def _free_port() -> int:
    with contextlib.closing(socket.socket()) as taken:
        taken.bind(("127.0.0.1", 0))
        return int(taken.getsockname()[1])


ROWS = {"pages": page_reruns, "first-picture": first_picture, "users": under_users, "users-memory": memory_under_users}
