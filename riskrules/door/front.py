"""The front: the only thing that listens on the farm's network. It lets paired devices through.

An ASGI application in front of the server of pages, which stays on 127.0.0.1.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Mapping
from dataclasses import dataclass, field
from urllib.parse import urlsplit

import h11
from starlette.datastructures import Headers
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response, StreamingResponse
from starlette.types import Receive, Scope, Send
from starlette.websockets import WebSocket

from riskrules.door.devices import Device, Devices, DoorError
from riskrules.door.guesses import Guesses
from riskrules.door.network import is_own
from riskrules.door.people import HOLDS
from riskrules.door.plain_pages import ask_to_pair, refusal
from riskrules.door.sockets import carry
from riskrules.door.upstream import Ask, ask, passed_on

COOKIE = "__Host-riskrules"
SECRET_HEADER, DEVICE_HEADER = b"x-riskrules-front", b"x-riskrules-device"
LARGEST = 60 * 1024 * 1024
"""Bytes taken in at once: a little more than one upload. (assumption)"""
FORM_LARGEST = 4096
LOOK_S = 1.0
"""How often the list of devices is looked at for those that were withdrawn. [s] (assumption)"""
OURS = frozenset({
    b"x-riskrules-front", b"x-riskrules-device", b"forwarded", b"x-forwarded-for", b"via",
    b"x-forwarded-host", b"x-forwarded-proto", b"x-real-ip", b"cookie",
})  # fmt: skip
"""Headers that no device may say for itself; the cookie goes on without the token."""


class TooLargeError(Exception):
    """More was sent than is taken in."""


@dataclass(slots=True)
class Front:
    """The front's settings and who is connected.

    Parameters
    ----------
    devices : Devices
    port : int
        Where the server of pages listens.
    secret : str
        By which that server knows the front.
    names : sequence of str
        The hosts, in small letters and without port, that a browser may ask for.
    records : tuple of int and str, optional
        Where the journal's own small server listens, for ``/walk`` and ``/records``, and the
        token that its links carry: the front adds it for a device that may walk.
    sign_in : bool
        Let devices without a token through to the pages' own sign-in.
    """

    devices: Devices
    port: int
    secret: str
    names: frozenset[str]
    records: tuple[int, str] | None = None
    sign_in: bool = False
    guesses: Guesses = field(default_factory=Guesses)
    open: dict[str, set[asyncio.Task[None]]] = field(default_factory=dict)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request, one websocket, or the life of the server."""
        if scope["type"] == "lifespan":
            await self._life(receive, send)
        elif scope["type"] == "websocket":
            await self._socket(WebSocket(scope, receive, send))
        else:
            response = await self._http(Request(scope, receive))
            await response(scope, receive, send)

    async def _life(self, receive: Receive, send: Send) -> None:
        watch: asyncio.Task[None] | None = None
        while True:
            message = await receive()
            if message["type"] == "lifespan.startup":
                watch = asyncio.create_task(self._watch())
            elif watch is not None:
                watch.cancel()
            await send({"type": f"{message['type']}.complete"})
            if message["type"] == "lifespan.shutdown":
                return

    async def _watch(self) -> None:
        """Cut the connections of devices that were withdrawn, or whose time has ended."""
        while True:
            await asyncio.sleep(LOOK_S)
            for known in list(self.open):
                if not self._still(known):
                    for task in self.open.pop(known, set()):
                        task.cancel()

    def _still(self, known: str) -> bool:
        """Return whether a device is paired; an unreadable list means that none is."""
        try:
            return self.devices.of_id(known) is not None
        except DoorError:
            return False

    # --- who is there

    def _refused(self, headers: Headers, client: str) -> Response | None:
        """Return the refusal of what comes from far, or asks for a foreign host."""
        if not is_own(client):
            return refusal("far", 403)
        if host_of(headers.get("host", "")) not in self.names or len(headers.getlist("host")) != 1:
            return refusal("host", 400)
        return None

    def _device(self, cookies: Mapping[str, str]) -> Device | None:
        token = cookies.get(COOKIE, "")
        try:
            return self.devices.of_token(token) if token else None
        except DoorError:
            return None

    # --- requests

    async def _http(self, request: Request) -> Response:
        client = request.client.host if request.client else ""
        response = self._refused(request.headers, client)
        if response is not None:
            return response
        if request.url.path == "/pair":
            return await self._pair(request, client)
        device = self._device(request.cookies)
        if device is None and not self.sign_in:
            response = refusal("closed", 401)
            if COOKIE in request.cookies:
                response.delete_cookie(COOKIE, path="/", secure=True, httponly=True)
            return response
        return await self._hand_on(request, device)

    async def _pair(self, request: Request, client: str) -> Response:
        """Show the button, or take the code and give the device its token."""
        if not self.guesses.may(client):
            return refusal("often", 429)
        if request.method == "GET":
            return ask_to_pair(request.query_params.get("code", "")[:200])
        if request.method != "POST":
            return refusal("method", 405)
        if not same_origin(request.headers):
            return refusal("origin", 403)
        try:
            form = await _form(request)
            device, token = self.devices.exchange(form.get("code", ""), form.get("name", "phone"))
        except (TooLargeError, DoorError, ValueError):
            self.guesses.wrong(client)
            return refusal("code", 403)
        response = RedirectResponse("/", 303, {"cache-control": "no-store"})
        response.set_cookie(
            COOKIE, token, max_age=device.ends - device.paired, path="/", secure=True,
            httponly=True, samesite="strict",
        )  # fmt: skip
        return response

    async def _hand_on(self, request: Request, device: Device | None) -> Response:
        """Hand a request on to the server of pages, or to the journal's, and its answer back."""
        port, target = self.port, target_of(request.scope)
        if request.url.path.split("/", 2)[1] in ("walk", "records"):
            refused = self._no_walk(request, device)
            if refused is not None or self.records is None:
                return refused or refusal("down", 404)
            port, target = self.records[0], f"{target.split('?')[0]}?token={self.records[1]}"
        if int(request.headers.get("content-length") or 0) > LARGEST:
            return refusal("large", 413)
        asked = Ask(request.method, target, self._headers(request, device))
        try:
            answer = await ask(port, asked, limited(request.stream(), LARGEST))
        except TooLargeError:
            return refusal("large", 413)
        except (OSError, TimeoutError, h11.ProtocolError):
            return refusal("down", 502)
        response = StreamingResponse(answer.body, answer.status)
        response.raw_headers = [*passed_on(answer.headers), *HARDENING]
        return response

    def _no_walk(self, request: Request, device: Device | None) -> Response | None:
        """Return the refusal of one who may not walk, or of a foreign page that would write."""
        if device is None or "scout" not in HOLDS[device.role]:
            return refusal("role", 403)
        if request.method != "GET" and not same_origin(request.headers):
            return refusal("origin", 403)
        return None

    def _headers(self, request: Request, device: Device | None) -> list[tuple[bytes, bytes]]:
        """Return the headers that go on: without what only the front may say, with what it does."""
        found = passed_on(request.headers.raw, OURS)
        if "transfer-encoding" in request.headers:
            found.append((b"transfer-encoding", b"chunked"))
        return [*found, *self._own_headers(request.headers, device)]

    def _own_headers(self, headers: Headers, device: Device | None) -> list[tuple[bytes, bytes]]:
        found = [(SECRET_HEADER, self.secret.encode())]
        if device is not None:
            found.append((DEVICE_HEADER, device.id.encode()))
        if rest := other_cookies(headers.get("cookie", "")):
            found.append((b"cookie", rest.encode("latin-1")))
        return found

    # --- websockets

    async def _socket(self, socket: WebSocket) -> None:
        """Carry a websocket to the server of pages; refuse it with an HTTP answer otherwise."""
        client = socket.client.host if socket.client else ""
        response = self._refused(socket.headers, client)
        device = self._device(socket.cookies)
        if response is None and device is None and not self.sign_in:
            response = refusal("closed", 401)
        if response is None and not same_origin(socket.headers):
            response = refusal("origin", 403)
        if response is not None:
            await socket.send_denial_response(response)
            return
        task = asyncio.create_task(
            carry(
                socket, self.port, target_of(socket.scope),
                self._own_headers(socket.headers, device),
            )
        )  # fmt: skip
        known = device.id if device else ""
        if known:
            self.open.setdefault(known, set()).add(task)
        try:
            await asyncio.wait([task])
        finally:
            task.cancel()
            self.open.get(known, set()).discard(task)
            if known and not self.open.get(known):
                self.open.pop(known, None)


HARDENING = [
    (b"strict-transport-security", b"max-age=86400"),
    (b"referrer-policy", b"same-origin"),
    (b"x-frame-options", b"SAMEORIGIN"),
]


def host_of(header: str) -> str:
    """Return the host of a Host header, in small letters and without port.

    Examples
    --------
    >>> host_of("Farm.local:8443"), host_of("192.168.1.7"), host_of("a@b"), host_of("[::1]:9")
    ('farm.local', '192.168.1.7', '', '::1')
    """
    if any(c in header for c in "@/?#\\ "):
        return ""
    try:
        return (urlsplit(f"//{header}").hostname or "").rstrip(".")
    except ValueError:
        return ""


def same_origin(headers: Headers) -> bool:
    """Return whether a browser says that a request comes from a page of the front itself."""
    host, origin = headers.get("host", ""), headers.get("origin")
    return origin is not None and origin.lower() == f"https://{host}".lower()


def target_of(scope: Scope) -> str:
    """Return path and query of a request, as they came."""
    path = (scope.get("raw_path") or scope["path"].encode()).decode("latin-1")
    query = scope.get("query_string", b"").decode("latin-1")
    return f"{path}?{query}" if query else path


def other_cookies(header: str) -> str:
    """Return a Cookie header without the device's token.

    Examples
    --------
    >>> other_cookies("a=1; __Host-riskrules=x; _streamlit_xsrf=2")
    'a=1; _streamlit_xsrf=2'
    """
    parts = [part.strip() for part in header.split(";")]
    return "; ".join(p for p in parts if p and p.split("=", 1)[0].strip() != COOKIE)


async def limited(stream: AsyncIterator[bytes], most: int) -> AsyncIterator[bytes]:
    """Give a body on piece by piece, until it is more than is taken in.

    Raises
    ------
    TooLargeError
    """
    size = 0
    async for data in stream:
        size += len(data)
        if size > most:
            raise TooLargeError
        if data:
            yield data


async def _form(request: Request) -> dict[str, str]:
    from urllib.parse import parse_qsl

    body = b"".join([data async for data in limited(request.stream(), FORM_LARGEST)])
    return dict(parse_qsl(body.decode("ascii"), max_num_fields=8))
