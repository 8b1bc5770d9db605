"""One request to the server of pages that listens on this computer alone."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from dataclasses import dataclass

import h11

CHUNK = 65_536
PATIENCE_S = 60.0
"""How long the server of pages may be silent. [s] (assumption)"""
HOP = frozenset({
    b"connection", b"keep-alive", b"proxy-authenticate", b"proxy-authorization",
    b"proxy-connection", b"te", b"trailer", b"transfer-encoding", b"upgrade",
})  # fmt: skip
"""Headers of one connection, not of the request. (memory: RFC 9110, 7.6.1)"""
Headers = list[tuple[bytes, bytes]]


@dataclass(frozen=True, slots=True)
class Ask:
    """A request to hand on; ``target`` is path and query."""

    method: str
    target: str
    headers: Headers


@dataclass(slots=True)
class Answer:
    """An answer: its status, its headers, and its body as it comes."""

    status: int
    headers: Headers
    body: AsyncIterator[bytes]


async def ask(port: int, request: Ask, body: AsyncIterator[bytes]) -> Answer:
    """Hand a request on to 127.0.0.1 and return the answer; its body must be read to the end.

    Raises
    ------
    OSError, TimeoutError, h11.ProtocolError
        If there is no sound answer.
    """
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    conn = h11.Connection(h11.CLIENT)
    try:
        headers = [*request.headers, (b"connection", b"close")]
        event = h11.Request(method=request.method, target=request.target, headers=headers)
        writer.write(conn.send(event) or b"")
        async for data in body:
            writer.write(conn.send(h11.Data(data=data)) or b"")
            await writer.drain()
        writer.write(conn.send(h11.EndOfMessage()) or b"")
        await writer.drain()
        head = await _next(conn, reader)
        while isinstance(head, h11.InformationalResponse):
            head = await _next(conn, reader)
        if not isinstance(head, h11.Response):
            raise h11.RemoteProtocolError("no answer")
    except BaseException:
        writer.close()
        raise
    return Answer(head.status_code, list(head.headers), _body(conn, reader, writer))


async def _next(conn: h11.Connection, reader: asyncio.StreamReader) -> object:
    while (event := conn.next_event()) is h11.NEED_DATA:
        async with asyncio.timeout(PATIENCE_S):
            conn.receive_data(await reader.read(CHUNK))
    return event


async def _body(
    conn: h11.Connection, reader: asyncio.StreamReader, writer: asyncio.StreamWriter
) -> AsyncIterator[bytes]:
    try:
        while isinstance(event := await _next(conn, reader), h11.Data):
            yield bytes(event.data)
    finally:
        writer.close()


def passed_on(headers: Headers, drop: frozenset[bytes] = frozenset()) -> Headers:
    """Return headers without those of one connection, those named by it, and some more."""
    named = {
        word.strip().lower()
        for name, value in headers if name.lower() == b"connection"
        for word in value.split(b",")
    }  # fmt: skip
    out = HOP | named | drop
    return [(name, value) for name, value in headers if name.lower() not in out]
