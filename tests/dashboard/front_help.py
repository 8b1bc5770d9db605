"""A front with TLS before a small server that says what reached it, for tests."""

from __future__ import annotations

import http.client
import ssl
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import uvicorn
from dash_help import free_port

from riskrules.door.certificate import Certificate, certificate
from riskrules.door.devices import Devices
from riskrules.door.front import COOKIE, Front

SECRET = "the front's secret"


@dataclass
class Inner:
    """The server of pages as a stand-in: it answers with the headers and the body that came."""

    seen: list[dict] = field(default_factory=list)

    async def __call__(self, scope, receive, send):
        if scope["type"] == "lifespan":
            return
        headers = {k.decode(): v.decode() for k, v in scope["headers"]}
        query = scope["query_string"].decode()
        self.seen.append({"path": scope["path"], "query": query, "headers": headers, "body": 0})
        if scope["type"] == "websocket":
            await self._echo(scope, receive, send)
            return
        more = True
        while more:
            message = await receive()
            self.seen[-1]["body"] += len(message.get("body", b""))
            more = message.get("more_body", False)
        headers = [(b"x-inner", b"yes"), (b"content-type", b"text/plain")]
        await send({"type": "http.response.start", "status": 200, "headers": headers})
        await send({"type": "http.response.body", "body": b"inner " * 1000})

    async def _echo(self, scope, receive, send):
        await receive()
        await send(
            {"type": "websocket.accept", "subprotocol": (scope["subprotocols"] or [None])[0]}
        )
        while (message := await receive())["type"] == "websocket.receive":
            await send({"type": "websocket.send", "text": message.get("text"),
                        "bytes": message.get("bytes")})  # fmt: skip


@dataclass
class Running:
    """A front that runs."""

    front: Front
    inner: Inner
    devices: Devices
    port: int
    made: Certificate

    def tls(self) -> ssl.SSLContext:
        """Return a context that trusts the front's certificate alone."""
        context = ssl.create_default_context(cafile=str(self.made.cert))
        context.check_hostname = True
        return context

    def ask(self, method="GET", path="/", headers=None, body=None, token=None):
        """Return status, headers and body of an answer."""
        conn = http.client.HTTPSConnection("127.0.0.1", self.port, context=self.tls(), timeout=20)
        said = dict(headers or {})
        if token:
            said["Cookie"] = f"{COOKIE}={token}"
        conn.request(method, path, body, said)
        answer = conn.getresponse()
        found = answer.status, answer.msg, answer.read()
        conn.close()
        return found

    def pair(self, role="scout"):
        """Pair a device without the network, and return it with its token."""
        return self.devices.exchange(self.devices.new_code(role), "phone")

    @property
    def origin(self):
        return f"https://127.0.0.1:{self.port}"


@contextmanager
def serving(app, port, **more) -> Iterator[None]:
    """Run an ASGI application in a thread."""
    config = uvicorn.Config(
        app, host="127.0.0.1", port=port, log_level="error", proxy_headers=False,
        ws="websockets-sansio", timeout_graceful_shutdown=1, **more,
    )  # fmt: skip
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    end = time.monotonic() + 10
    while not server.started and time.monotonic() < end:
        time.sleep(0.02)
    assert server.started
    yield
    server.should_exit = True
    thread.join(10)


@contextmanager
def running(folder: Path, sign_in: bool = False, records: bool = False) -> Iterator[Running]:
    """Run a front with TLS before the stand-in."""
    inner, ports = Inner(), [free_port() for _ in range(2)]
    devices = Devices(folder / ".farm.devices.json")
    made = certificate(folder / "front", ["127.0.0.1", "localhost"])
    front = Front(devices, ports[0], SECRET, frozenset({"127.0.0.1", "localhost"}),
                  (ports[0], "the-walks-token") if records else None, sign_in)  # fmt: skip
    with (
        serving(inner, ports[0], lifespan="off"),
        serving(front, ports[1], lifespan="on", ssl_certfile=str(made.cert),
                ssl_keyfile=str(made.key)),
    ):  # fmt: skip
        yield Running(front, inner, devices, ports[1], made)
