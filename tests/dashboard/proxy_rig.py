"""The proxy of `dashboard/proxy` in front of a dashboard, on free ports of this machine, with a certificate made on the spot."""

from __future__ import annotations

import contextlib
import http.client
import re
import shutil
import socket
import ssl
import subprocess
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import pytest
import rig

NGINX = shutil.which("nginx", path="/usr/sbin:/usr/bin")
SITE = rig.APP.parent / "proxy" / "site.conf"
NAME = "bodies.example.org"

needs_proxy = pytest.mark.skipif(NGINX is None, reason="THE PROXY WAS NOT TESTED: nginx is missing (Debian: apt-get install nginx-light)")
_AROUND = """
daemon off;
pid {root}/nginx.pid;
error_log {root}/nginx.log warn;
events {{ worker_connections 256; }}
http {{
    include /etc/nginx/mime.types;
    client_body_temp_path {root}/body;
    proxy_temp_path {root}/proxy;
    fastcgi_temp_path {root}/fastcgi;
    uwsgi_temp_path {root}/uwsgi;
    scgi_temp_path {root}/scgi;
    include {root}/site.conf;
}}
"""


@dataclass(frozen=True)
class Answer:
    """What came back; there is no body where the answer was another protocol."""

    status: int
    headers: Mapping[str, str]
    body: bytes


@dataclass(frozen=True)
class Proxy:
    """A running proxy: its address as people type it, where it listens, and the port that only sends people to TLS."""

    address: str
    port: int
    plain_port: int
    certificate: Path

    def ask(self, path: str, method: str = "GET", headers: Mapping[str, str] | None = None, host: str = "") -> Answer:
        """One request over TLS; whoever answers must hold the certificate."""
        trust = ssl.create_default_context(cafile=str(self.certificate))
        with socket.create_connection(("127.0.0.1", self.port), timeout=20) as plain, trust.wrap_socket(plain, server_hostname=NAME) as tls:
            asked = http.client.HTTPConnection(NAME, self.port)
            asked.sock = tls
            return exchange(asked, path, method, {"Host": host or f"{NAME}:{self.port}", **(headers or {})})


def exchange(asked: http.client.HTTPConnection, path: str, method: str, headers: Mapping[str, str]) -> Answer:
    """One request on a connection, which is closed after it."""
    with contextlib.closing(asked):
        asked.request(method, path, headers=dict(headers))
        with contextlib.closing(asked.getresponse()) as answer:
            other = answer.status == http.HTTPStatus.SWITCHING_PROTOCOLS
            return Answer(answer.status, answer.headers, b"" if other else answer.read())


@contextlib.contextmanager
def proxy(root: Path, dashboard: str) -> Iterator[Proxy]:
    """The kept configuration, altered in nothing but places: ports, certificate, log."""
    port, plain_port = rig.free_port(), rig.free_port()
    certificate, key = root / "cert.pem", root / "key.pem"
    subject = ["-subj", f"/CN={NAME}", "-addext", f"subjectAltName=DNS:{NAME}", "-days", "2"]
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-keyout", key, "-out", certificate, *subject],
        check=True,
        capture_output=True,
    )
    places = {
        f"https://{NAME}": f"https://{NAME}:{port}",
        "listen 443": f"listen 127.0.0.1:{port}",
        "listen 80": f"listen 127.0.0.1:{plain_port}",
        "127.0.0.1:8501": dashboard.partition("://")[2],
        "/etc/ssl/tarebook/cert.pem": str(certificate),
        "/etc/ssl/tarebook/key.pem": str(key),
        "/var/log/nginx/tarebook.log": str(root / "site.log"),
    }
    text = SITE.read_text("utf-8")
    for place, here in places.items():
        assert place in text, place
        text = text.replace(place, here)
    (root / "site.conf").write_text(text)
    (root / "nginx.conf").write_text(_AROUND.format(root=root))
    with (root / "stderr").open("w") as errors:
        process = subprocess.Popen([str(NGINX), "-p", root, "-c", root / "nginx.conf"], stderr=errors)
    try:
        _wait(port, process, root)
        yield Proxy(f"https://{NAME}:{port}", port, plain_port, certificate)
    finally:
        process.terminate()
        process.wait(timeout=20)


def _wait(port: int, process: subprocess.Popen, root: Path) -> None:
    end = time.monotonic() + 20
    while time.monotonic() < end:
        if process.poll() is not None:
            break
        with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=1):
            return
        time.sleep(0.1)
    raise RuntimeError(f"nginx does not listen: {(root / 'stderr').read_text()}")


def directives(name: str) -> list[str]:
    """The values of a directive in the kept configuration, in the order they stand there."""
    return re.findall(rf"^ *{name} +(.*);", SITE.read_text("utf-8"), re.MULTILINE)
