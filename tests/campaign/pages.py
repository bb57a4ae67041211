"""Sessions of a running dashboard: each asks for one page after the other over its own socket, as a browser does."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import psutil
import websockets
from streamlit.proto.Alert_pb2 import Alert
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg

GROWTH_MB, GROWTH_FILES = 120.0, 12
"""What the server may gain once its pages have been shown: four editions may be open at once, each with its answers."""
PAUSE_S = 0.5
PATIENCE_S = 120.0


@dataclass
class Sessions:
    """What the sessions of one server saw."""

    address: str
    pages: list[str]
    over: Callable[[], bool]
    reruns: int = 0
    wrong: list[str] = field(default_factory=list)
    gained_mb: float = 0.0
    gained_files: int = 0

    def run(self, count: int) -> Sessions:
        """Let `count` sessions ask until it is over."""
        asyncio.run(self._all(count))
        return self

    async def _all(self, count: int) -> None:
        await asyncio.gather(self._watch(count), *(self._session(number) for number in range(count)))

    async def _session(self, number: int) -> None:
        try:
            async with websockets.connect(
                f"{self.address.replace('http', 'ws')}/_stcore/stream",
                subprotocols=[websockets.Subprotocol("streamlit")], origin=websockets.Origin(self.address), max_size=None,
            ) as line:  # fmt: skip
                while not self.over():
                    page = self.pages[(self.reruns + number) % len(self.pages)]
                    await asyncio.wait_for(self._rerun(line, page), PATIENCE_S)
                    self.reruns += 1
                    await asyncio.sleep(PAUSE_S)
        except (OSError, TimeoutError, websockets.WebSocketException) as error:
            self.wrong.append(f"session {number}: {type(error).__name__}: {error}")

    async def _rerun(self, line: websockets.ClientConnection, page: str) -> None:
        asked = BackMsg()
        asked.rerun_script.page_name = page
        await line.send(asked.SerializeToString())
        while True:
            said = ForwardMsg.FromString(await line.recv(decode=False))
            shown = said.delta.new_element
            if shown.WhichOneof("type") == "exception":
                self.wrong.append(f"{page or 'start'}: {shown.exception.type}: {shown.exception.message}")
            if shown.WhichOneof("type") == "alert" and shown.alert.format == Alert.ERROR:
                self.wrong.append(f"{page or 'start'} says: {shown.alert.body}")
            if said.WhichOneof("type") == "script_finished" and said.script_finished in (
                ForwardMsg.FINISHED_SUCCESSFULLY, ForwardMsg.FINISHED_WITH_COMPILE_ERROR,
            ):  # fmt: skip
                return

    async def _watch(self, count: int) -> None:
        """Take the server's measure once as many pages were shown as all sessions have, and at the end."""
        (server,) = [child for child in psutil.Process().children() if "streamlit" in child.cmdline()]
        first: tuple[float, int] | None = None
        while not self.over():
            if first is None and self.reruns >= count * len(self.pages):
                first = server.memory_info().rss / 1e6, server.num_fds()
            await asyncio.sleep(0.5)
        if first:
            self.gained_mb, self.gained_files = server.memory_info().rss / 1e6 - first[0], server.num_fds() - first[1]


def page_names(files: Sequence[Path]) -> list[str]:
    """Every page by the last part of its address."""
    return ["", *(path.stem.replace("_", "-") for path in files if path.stem != "start")]
