"""Carry a websocket to the server of pages and back, until either end closes it."""

from __future__ import annotations

import asyncio
from contextlib import suppress

from starlette.websockets import WebSocket, WebSocketDisconnect, WebSocketState
from websockets.asyncio.client import ClientConnection, connect
from websockets.exceptions import ConnectionClosed, InvalidHandshake
from websockets.typing import Origin, Subprotocol

LARGEST = 200 * 1024 * 1024
"""Bytes of one message from the server of pages: its own limit is as large. (memory)"""
GONE, WITHDRAWN = 1001, 1008
"""Codes of closing: the server is gone; against the rules. (memory: RFC 6455, 7.4.1)"""


async def carry(
    socket: WebSocket, port: int, target: str, headers: list[tuple[bytes, bytes]]
) -> None:
    """Connect to 127.0.0.1, accept the device's websocket, and carry messages both ways.

    Cancelled, it closes the device's websocket with the code for a withdrawn device.
    """
    said = socket.headers
    wanted = [Subprotocol(s.strip()) for s in said.get("sec-websocket-protocol", "").split(",")]
    more = [(name.decode("latin-1"), value.decode("latin-1")) for name, value in headers]
    more += [(n, said[n]) for n in ("accept-language",) if n in said]
    try:
        async with connect(
            f"ws://{said['host']}{target}", host="127.0.0.1", port=port, proxy=None,
            origin=Origin(said["origin"]), subprotocols=[s for s in wanted if s] or None,
            additional_headers=more, user_agent_header=said.get("user-agent"),
            compression=None, max_size=LARGEST, ping_interval=None,
        ) as inner:  # fmt: skip
            await socket.accept(inner.subprotocol)
            await _both_ways(socket, inner)
    except (OSError, InvalidHandshake, ConnectionClosed, TimeoutError):
        await _close(socket, GONE)
    except asyncio.CancelledError:
        await _close(socket, WITHDRAWN)
        raise


async def _both_ways(socket: WebSocket, inner: ClientConnection) -> None:
    tasks = [asyncio.create_task(_in(socket, inner)), asyncio.create_task(_out(socket, inner))]
    try:
        await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
    finally:
        for task in tasks:
            task.cancel()
        for task in tasks:
            with suppress(asyncio.CancelledError, ConnectionClosed, WebSocketDisconnect, OSError):
                await task
    await _close(socket, inner.close_code or GONE)


async def _in(socket: WebSocket, inner: ClientConnection) -> None:
    while (message := await socket.receive())["type"] == "websocket.receive":
        data = message.get("bytes")
        await inner.send(message.get("text", "") if data is None else data)


async def _out(socket: WebSocket, inner: ClientConnection) -> None:
    async for data in inner:
        if isinstance(data, str):
            await socket.send_text(data)
        else:
            await socket.send_bytes(data)


async def _close(socket: WebSocket, code: int) -> None:
    """Close the device's websocket if it is open; 1005 and 1006 must not be sent."""
    if socket.application_state is not WebSocketState.DISCONNECTED:
        with suppress(RuntimeError, WebSocketDisconnect, OSError):
            await socket.close(code if code not in (1005, 1006) else GONE)
