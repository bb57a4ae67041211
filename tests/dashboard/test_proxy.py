"""The dashboard served to others: the kept proxy configuration in a real nginx, asked as a browser and as a stranger would."""

from __future__ import annotations

import base64
import hashlib
import http.client
import re
from collections.abc import Iterator
from pathlib import Path

import proxy_rig
import pytest
import rig
import streamlit
from proxy_rig import NAME, Proxy, directives, exchange

from dashboard.serve import options
from pipeline.settings import Settings
from pipeline.store import Store

pytestmark = proxy_rig.needs_proxy

UPGRADE = {
    "Connection": "Upgrade",
    "Upgrade": "websocket",
    "Sec-WebSocket-Version": "13",
    "Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ==",
    "Sec-WebSocket-Protocol": "streamlit",
}
# Common practice, and the OWASP Secure Headers list: these five stand on every answer, refusals too.
HEADERS = {
    "X-Frame-Options": "DENY",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Strict-Transport-Security": "max-age=31536000",
}


@pytest.fixture(scope="module")
def front(address: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Proxy]:
    with proxy_rig.proxy(tmp_path_factory.mktemp("proxy"), address) as running:
        yield running


@pytest.mark.parametrize("path", ["/", "/_stcore/health", "/no-such-page/static/nothing.js", "/_stcore/metrics", "/static/nothing.js"])
def test_every_answer_carries_the_headers(front: Proxy, path: str) -> None:
    answer = front.ask(path)
    assert {name: answer.headers[name] for name in HEADERS} == HEADERS
    policy = answer.headers["Content-Security-Policy"]
    assert "frame-ancestors 'none'" in policy
    assert "default-src 'none'" in policy
    assert "nginx/" not in (answer.headers["Server"] or "")


def test_the_one_line_of_script_in_the_page_is_allowed_by_its_hash() -> None:
    page = (Path(streamlit.__file__).parent / "static" / "index.html").read_text("utf-8")
    lines = re.findall(r"<script>(.*?)</script>", page, re.DOTALL)
    assert len(lines) == 1
    digest = base64.b64encode(hashlib.sha256(lines[0].encode()).digest()).decode()
    assert f"'sha256-{digest}'" in "".join(directives("add_header Content-Security-Policy"))


def test_whoever_comes_without_tls_is_sent_to_it(front: Proxy) -> None:
    plain = http.client.HTTPConnection("127.0.0.1", front.plain_port, timeout=20)
    answer = exchange(plain, "/job-finder?job=J1", "GET", {"Host": NAME})
    assert (answer.status, answer.headers["Location"]) == (308, f"{front.address}/job-finder?job=J1")


def test_another_name_gets_no_answer(front: Proxy) -> None:
    with pytest.raises((http.client.RemoteDisconnected, ConnectionError)):
        front.ask("/", host="elsewhere.example.com")


@pytest.mark.parametrize(
    ("origin", "status"),
    [("own", 101), ("https://elsewhere.example.com", 403), ("http://localhost", 403), (f"http://{NAME}", 403), ("null", 403), (None, 403)],
)
def test_only_our_own_page_may_open_the_websocket(front: Proxy, origin: str | None, status: int) -> None:
    told = {} if origin is None else {"Origin": front.address if origin == "own" else origin}
    assert front.ask("/_stcore/stream", headers=UPGRADE | told).status == status


def test_the_dashboard_itself_knows_its_name_whoever_asks_it(address: str) -> None:
    """DNS rebinding: a page of another name that reaches the dashboard's own port gets no session either."""
    for host, status in ((NAME, 101), ("elsewhere.example.com", 403)):
        asked = http.client.HTTPConnection(address.partition("://")[2], timeout=20)
        assert exchange(asked, "/_stcore/stream", "GET", UPGRADE | {"Host": host, "Origin": f"https://{host}"}).status == status


def test_figures_of_the_running_server_are_not_for_the_outside(front: Proxy) -> None:
    assert [front.ask(f"/_stcore/{door}").status for door in ("metrics", "agent/openapi.json", "health")] == [404, 404, 200]


def test_an_upload_over_the_limit_is_refused_with_a_sentence(front: Proxy) -> None:
    most_mb = int(Settings().intake.max_upload_mb)
    # the proxy lets a file of that size pass with 1 MB for what wraps it, and nothing else may be large
    assert directives("client_max_body_size") == ["64k", f"{most_mb + 1}m"]
    answer = front.ask("/_stcore/upload_file/a/b", "PUT", {"Content-Length": str((most_mb + 1) * 2**20 + 1)})
    assert (answer.status, answer.headers["Content-Type"]) == (413, "text/plain")
    assert f"larger than the {most_mb} MB".encode() in answer.body
    # within the proxy's limit the dashboard has its own say: nobody uploads without a session and its token
    assert front.ask("/_stcore/upload_file/a/b", "PUT", {"Content-Length": "0"}).status == 403


@pytest.mark.browser
@rig.needs_browser
def test_pages_work_over_the_proxy_and_complain_of_nothing(front: Proxy) -> None:
    with rig.browser(f"--host-resolver-rules=MAP {NAME} 127.0.0.1") as chromium:
        page = chromium.new_context(ignore_https_errors=True).new_page()
        watch, lines = rig.Watch(page, front.address), []
        page.on("websocket", lambda line: lines.append(line.url))
        for name, drawn in (("what-sells", "[data-testid=stVegaLiteChart] svg"), ("job-finder", "[data-testid=stDataFrame] canvas")):
            page.goto(f"{front.address}/{name}")
            rig.settle(page)
            page.wait_for_selector(drawn)
        assert lines == [f"wss://{NAME}:{front.port}/_stcore/stream"] * 2
        assert (watch.complaints, watch.strangers) == ([], [])
        assert all(cookie["secure"] for cookie in page.context.cookies())


def test_the_server_gives_no_details_of_errors_and_keeps_its_guards_up(store: Store) -> None:
    given = set(options(store, 8501, "127.0.0.1", [NAME]))
    assert {
        "--client.showErrorDetails=none", "--server.enableCORS=true", "--server.enableXsrfProtection=true",
        "--server.enableStaticServing=false", f"--server.allowedHosts={NAME}", "--server.address=127.0.0.1",
        f"--server.maxUploadSize={int(Settings().intake.max_upload_mb)}",
    } <= given  # fmt: skip
