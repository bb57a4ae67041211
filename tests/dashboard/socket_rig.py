"""A browser's line to the dashboard without a browser: signed cookies, raw protocol messages, whatever one wants to send."""

from __future__ import annotations

import contextlib
import json
import time
import urllib.error
import urllib.request
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from streamlit.proto.WidgetStates_pb2 import WidgetState
from streamlit.web.server.starlette.starlette_app_utils import create_signed_value, generate_xsrf_token_string
from websockets.sync.client import ClientConnection, connect

COOKIE_SECRET = "only for this test"


def cookies_of(email: str, address: str, expires_in_s: float = 600.0) -> dict[str, str]:
    """What the server itself would have given to whoever signed in with this address; empty: nobody did."""
    now = time.time()
    claims = {"email": email, "exp": now + expires_in_s, "iat": now - 60.0, "origin": address, "is_logged_in": True, "provider": "default"}
    signed = create_signed_value(COOKIE_SECRET, "_streamlit_user", json.dumps(claims)).decode()
    return {"_streamlit_user": signed} if email else {}


@dataclass
class Line:
    """An open line of one session, and everything that came over it."""

    socket: ClientConnection
    address: str
    messages: list[ForwardMsg] = field(default_factory=list)

    def rerun(self, page: str = "", widgets: Sequence[WidgetState] = (), query: str = "") -> list[ForwardMsg]:
        """Ask for a run of the page with that hash; what came back until it was over."""
        asked = BackMsg()
        asked.rerun_script.page_script_hash = page
        asked.rerun_script.query_string = query
        asked.rerun_script.widget_states.widgets.extend(widgets)
        return self.send(asked, "script_finished")

    def throw_part(self, page: str, fragment: str, widgets: Sequence[WidgetState]) -> None:
        """Ask for a part of a page and wait for nothing: where there is no such part, no answer comes."""
        asked = BackMsg()
        asked.rerun_script.page_script_hash = page
        asked.rerun_script.fragment_id = fragment
        asked.rerun_script.widget_states.widgets.extend(widgets)
        self.socket.send(asked.SerializeToString())

    def wait_for_button(self, label: str) -> None:
        """Take what comes until a button of that label is drawn."""
        while not any(button.label == label for button in self.elements("button")):
            self.messages.append(ForwardMsg.FromString(self.socket.recv(timeout=30)))

    def file(self, file_id: str, session_id: str = "") -> Any:
        """Ask for a file that is made when it is wanted: the answer's message."""
        asked = BackMsg()
        request = asked.backend_operation_request
        request.request_id, request.session_id = "one", session_id or self.session_id
        request.deferred_file.file_id = file_id
        return self.send(asked, "backend_operation_response")[-1].backend_operation_response

    def send(self, asked: BackMsg, until: str) -> list[ForwardMsg]:
        """Send a message and take what comes until one of that type."""
        self.socket.send(asked.SerializeToString())
        came: list[ForwardMsg] = []
        while not came or came[-1].WhichOneof("type") != until:
            came.append(ForwardMsg.FromString(self.socket.recv(timeout=60)))
        self.messages += came
        return came

    @property
    def session_id(self) -> str:
        return next(one.new_session.initialize.session_id for one in self.messages if one.HasField("new_session"))

    def pages(self) -> dict[str, str]:
        """Hashes of the pages that this session was told of, by address."""
        told = [one.navigation for one in self.messages if one.HasField("navigation")]
        return {page.url_pathname: page.page_script_hash for page in told[-1].app_pages} if told else {}

    def elements(self, kind: str) -> list[Any]:
        """Every element of a kind that was drawn."""
        deltas = [one.delta.new_element for one in self.messages if one.HasField("delta") and one.delta.HasField("new_element")]
        return [getattr(one, kind) for one in deltas if one.WhichOneof("type") == kind]


@contextlib.contextmanager
def line(address: str, email: str = "", expires_in_s: float = 600.0) -> Iterator[Line]:
    """A line as the browser of whoever is signed in under this address opens it."""
    token = generate_xsrf_token_string()
    cookies = {"_streamlit_xsrf": token, **cookies_of(email, address, expires_in_s)}
    headers = {"Cookie": "; ".join(f"{name}={value}" for name, value in cookies.items())}
    place = f"{address.replace('http', 'ws', 1)}/_stcore/stream"
    with connect(place, origin=address, subprotocols=["streamlit", token], additional_headers=headers, max_size=None) as socket:
        yield Line(socket, address)


def status_of(url: str) -> int:
    """What an address answers to somebody without any cookie."""
    try:
        with urllib.request.urlopen(url, timeout=20) as answer:
            return int(answer.status)
    except urllib.error.HTTPError as refused:
        return refused.code
