"""Users of a dashboard over the browser's own protocol: a WebSocket with Streamlit's messages, no browser around it."""

from __future__ import annotations

import asyncio
import math
import random
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import websockets

THINK_S = (0.2, 1.0)
"""How long a user looks before the next click."""
ANSWER_S = 120.0
"""An answer that takes longer is a failure."""


_WHOLE_PAGE = 0
"""How a run ends that was no part of a page alone, such as the line that looks for a newer edition."""


@dataclass
class Told:
    """What users saw: seconds of each rerun and when it ended, and what was told as an error."""

    seconds: list[float] = field(default_factory=list)
    ended: list[float] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)

    def quantile(self, share: float) -> float:
        return sorted(self.seconds)[max(0, math.ceil(share * len(self.seconds)) - 1)]


def visit(port: int, page: str, users: int, reruns: int = 0, for_s: float = 0.0) -> Told:
    """Let users open a page and change its filters, each as many times, or all for so long."""
    told = Told()
    until = time.monotonic() + for_s if for_s else math.inf
    asyncio.run(_all(port, page, users, reruns or 10**9, until, told))
    if told.faults:
        raise RuntimeError(f"{len(told.faults)} of {len(told.seconds)} reruns failed: {told.faults[0]}")
    return told


async def _all(port: int, page: str, users: int, reruns: int, until: float, told: Told) -> None:
    await asyncio.gather(*(_user(port, page, random.Random(number), reruns, until, told) for number in range(users)))


async def _user(port: int, page: str, dice: random.Random, reruns: int, until: float, told: Told) -> None:
    from streamlit.proto.BackMsg_pb2 import BackMsg

    address = f"ws://127.0.0.1:{port}/_stcore/stream"
    async with websockets.connect(address, subprotocols=[websockets.Subprotocol("streamlit")], max_size=None) as socket:
        first = BackMsg()
        first.rerun_script.page_name = page
        await socket.send(first.SerializeToString())
        filters: dict[str, Any] = {}
        script = await _drawn(socket, filters, told)
        for _ in range(reruns):
            if time.monotonic() >= until:
                return
            await asyncio.sleep(dice.uniform(*THINK_S))
            asked = BackMsg()
            asked.rerun_script.page_script_hash = script
            for widget, options in filters.values():
                state = asked.rerun_script.widget_states.widgets.add(id=widget)
                state.string_array_value.data.extend(sorted(dice.sample(options, dice.randint(0, len(options)))))
            began = time.perf_counter()
            await socket.send(asked.SerializeToString())
            await _drawn(socket, filters, told)
            told.seconds.append(time.perf_counter() - began)
            told.ended.append(time.monotonic())


async def _drawn(socket: Any, filters: dict[str, Any], told: Told) -> str:
    """Take messages in until the page is drawn, and note its filters. Returns: which page it is."""
    script = ""
    async with asyncio.timeout(ANSWER_S):
        async for data in socket:
            for kind, said in _read(data):
                if kind == "navigation":
                    script = said.page_script_hash
                elif kind == "delta":
                    _note(said.new_element, filters, told)
                elif kind == "script_finished" and said == _WHOLE_PAGE:
                    return script
    raise RuntimeError("the server hung up")


def _read(data: bytes) -> Iterator[tuple[str, Any]]:
    from streamlit.proto.ForwardMsg_pb2 import ForwardMsg

    message = ForwardMsg()
    message.ParseFromString(data)
    kind = message.WhichOneof("type")
    yield kind, getattr(message, kind) if kind else None


def _note(element: Any, filters: dict[str, Any], told: Told) -> None:
    kind = element.WhichOneof("type")
    if kind == "multiselect" and element.multiselect.label in ("Vehicle", "Branch", "Kind of body"):
        filters[element.multiselect.label] = (element.multiselect.id, list(element.multiselect.options))
    elif kind == "exception":
        told.faults.append(element.exception.message)
