"""A store and a real server for tests of the dashboard, and a browser in front of it."""

from __future__ import annotations

import atexit
import contextlib
import functools
import os
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from workshop import make_workshop, write_hand_in

from pipeline.answers.fitting import fit_store
from pipeline.store import Store
from pipeline.store.load import load

CHROMIUM = Path("/usr/bin/chromium")
APP = Path(__file__).resolve().parents[2] / "dashboard" / "app.py"
PAGES = sorted((APP.parent / "app_pages").glob("*.py"))

PATIENCE_MS = 120_000
"""How long a test waits for what a page should show; a machine that does other things as well is slow."""

needs_browser = pytest.mark.skipif(
    not CHROMIUM.exists(), reason="NO BROWSER TEST WAS RUN: /usr/bin/chromium is missing (Debian: apt-get install chromium)"
)


def make_store(root: Path, seed: int = 5, bodies: int = 160) -> Store:
    """A store with one invented workshop, fitted."""
    store = Store(root / "store")
    hand_in = root / "history"
    write_hand_in(make_workshop(seed=seed, bodies=bodies), hand_in)
    load([hand_in], store)
    fit_store(store)
    return store


def one_job(root: Path, job_id: str = "J1") -> Path:
    """A hand-in with one vehicle, one job and one tray."""
    folder = root / f"one-{job_id}"
    folder.mkdir(parents=True)
    (folder / "vehicles.csv").write_text("vehicle_id,label,size_class,cab\nV1,one vehicle,midsize,dual\n")
    (folder / "jobs.csv").write_text(f"job_id,vehicle_id,status,quoted_on,ordered_on\n{job_id},V1,ordered,2026-01-05,2026-02-05\n")
    (folder / "bodies.csv").write_text(f"job_id,body,length_mm,width_mm,weighed_kg\n{job_id},tray,2100,1860,150\n")
    return folder


@contextlib.contextmanager
def server(store: Path, *more: str, env: dict[str, str] | None = None, port: int = 0) -> Iterator[str]:
    """The dashboard as `tarebook serve` starts it, from a folder that has nothing to do with it; gives its address."""
    port = port or free_port()
    log = store.parent / f"server-{port}.log"
    with log.open("w") as out:
        process = subprocess.Popen(
            [sys.executable, "-m", "pipeline.cli", "serve", "--store", str(store), "--port", str(port), *more],
            cwd=store.parent, stdout=out, stderr=subprocess.STDOUT, env={**os.environ, **(env or {})},
        )  # fmt: skip
    try:
        address = f"http://127.0.0.1:{port}"
        _wait_for(f"{address}/_stcore/health", process, log)
        yield address
    finally:
        process.terminate()
        process.wait(timeout=20)


def free_port() -> int:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        return taken.getsockname()[1]


def _wait_for(url: str, process: subprocess.Popen, log: Path) -> None:
    end = time.monotonic() + 60
    while time.monotonic() < end:
        if process.poll() is not None:
            raise RuntimeError(f"the server stopped: {log.read_text()}")
        with contextlib.suppress(OSError), urllib.request.urlopen(url, timeout=2) as answer:
            if answer.status == 200:
                return
        time.sleep(0.2)
    raise RuntimeError(f"no answer: {log.read_text()}")


@contextlib.contextmanager
def browser(*more: str) -> Iterator[Any]:
    """Chromium without a screen, with more options of its own."""
    running = _playwright().chromium.launch(executable_path=str(CHROMIUM), args=["--no-sandbox", *more])
    try:
        yield running
    finally:
        running.close()


@functools.cache
def _playwright() -> Any:
    """One for the whole process, which takes no second one beside it."""
    from playwright.sync_api import sync_playwright

    running = sync_playwright().start()
    atexit.register(running.stop)
    return running


PHONE = {
    "user_agent": "Mozilla/5.0 (Linux; Android 14) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/130.0 Mobile Safari/537.36",
    "is_mobile": True,
    "has_touch": True,
}
"""What makes a browser a phone besides its width: the sidebar folds itself away there once a page was chosen."""


def context(chromium: Any, width: int = 1280, look: str = "light") -> Any:
    """A browser of its own: a desktop's, or a phone's where it is narrow."""
    phone = PHONE if width < 640 else {}
    return chromium.new_context(viewport={"width": width, "height": 1000}, color_scheme=look, accept_downloads=True, **phone)


NOT_OURS = ("picked_brush",)
"""The frame that the charting library draws around a dragged span carries no title and cannot be given one."""


def serious_faults(page: Any) -> list[tuple[str, str]]:
    """What axe-core finds serious or critical on a page, with the first place."""
    from axe_core_python.sync_playwright import Axe

    found = []
    for fault in Axe().run(page)["violations"]:
        nodes = [node["html"] for node in fault["nodes"] if not any(word in node["html"] for word in NOT_OURS)]
        if fault["impact"] in ("serious", "critical") and nodes:
            found.append((fault["id"], nodes[0][:200]))
    return found


class Watch:
    """What a page asks for and complains about while a test runs."""

    def __init__(self, page: Any, address: str) -> None:
        self.home = address.partition("://")[2]
        self.strangers: list[str] = []
        self.complaints: list[str] = []
        page.on("request", self._request)
        page.on("console", lambda message: message.type == "error" and self._complain(message.text, message.location.get("url", "")))
        page.on("pageerror", lambda error: self._complain(str(error), ""))

    def _request(self, request: Any) -> None:
        scheme, _, rest = request.url.partition("://")
        if scheme in ("http", "https", "ws", "wss") and rest.split("/")[0] != self.home:
            self.strangers.append(request.url)

    def _complain(self, text: str, url: str) -> None:
        # the frontend looks for its server below the page's own path first, and is told that it is not there
        if "/_stcore/" not in url:
            self.complaints.append(f"{text} {url}")


_PENDING = ", ".join(("[data-testid=stStatusWidget]", "[data-testid=stSkeleton]", "[data-testid=stSpinner]", "[data-stale=true]"))
_MOVING = "document.getAnimations().some(one => one.playState === 'running' && one.effect.getComputedTiming().endTime < 5000)"
_DRAWN = f"() => !document.querySelector('{_PENDING}') && !({_MOVING})"


def settle(page: Any) -> None:
    """Wait until the page has drawn what it was asked for: nothing stale, pending or sliding open, for a while."""
    page.wait_for_selector("h1", timeout=60_000)
    for _ in range(2):
        page.wait_for_timeout(400)
        page.wait_for_function(_DRAWN, timeout=120_000)


def press_option(page: Any, label: str, words: str) -> None:
    """Choose in a list, once what lies around it stands still: a list whose surroundings slide is closed by their sliding."""
    settle(page)
    page.get_by_role("combobox", name=label, exact=True).click()
    page.get_by_role("option", name=words, exact=True).click()
