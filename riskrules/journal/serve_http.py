"""How the farm's server speaks HTTP: who may ask, how much is read, what is answered."""

from __future__ import annotations

import json
from collections.abc import Callable
from contextlib import suppress
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from socket import SHUT_RD, socket
from threading import BoundedSemaphore, Lock
from typing import Any, Protocol
from urllib.parse import parse_qs, urlsplit

from riskrules.errors import RiskRulesError
from riskrules.journal.phone import HandedOverError
from riskrules.journal.trouble import JournalError

SEND_LIMIT = 16_000_000
"""The most bytes of one sending: a photo of `PHOTO_LIMIT` in base64, and some. (assumption)"""
AT_ONCE = 16
"""Requests answered at once; more are asked to come again. [count] (assumption)"""
PATIENCE_S = 30
"""How long a phone may be silent in the middle of a request. [s] (assumption)"""
KEEP_FORM_S = 14 * 86_400
"""How long a browser may show the form again without asking: there is no signal out there.
[s] (assumption)"""
_HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
    "X-Frame-Options": "DENY",
}


class Refused(RiskRulesError):
    """A request that is not answered as asked; the message is one sentence."""

    def __init__(self, status: HTTPStatus, message: str) -> None:
        self.status = status
        super().__init__(message)


class Answers(Protocol):
    """What answers requests, once they are let in."""

    def is_own(self, host: str) -> bool:
        """Whether a name leads here."""

    def knows(self, token: str) -> bool:
        """Whether a token opens this."""

    def form(self, known: str) -> str:
        """Return the form of a walk."""

    def take(self, data: bytes) -> dict[str, Any]:
        """Keep what a form sends and say what became of it."""


class FormServer(ThreadingHTTPServer):
    """Listens, and answers each request in a thread of its own."""

    daemon_threads = False
    block_on_close = True
    allow_reuse_address = True

    def __init__(self, address: tuple[str, int], answers: Answers) -> None:
        self.answers = answers
        self.room = BoundedSemaphore(AT_ONCE)
        self._open: set[socket] = set()
        self._lock = Lock()
        super().__init__(address, _Handler)

    def process_request(self, request: Any, client_address: Any) -> None:
        """Answer in a thread, and know the connection as long as it is open."""
        with self._lock:
            self._open.add(request)
        super().process_request(request, client_address)

    def shutdown_request(self, request: Any) -> None:
        """Close a connection."""
        with self._lock:
            self._open.discard(request)
        super().shutdown_request(request)

    def close(self) -> None:
        """Listen no more; let what is being kept be kept, and end connections that stay open."""
        self.shutdown()
        with self._lock:
            for request in self._open:
                with suppress(OSError):
                    request.shutdown(SHUT_RD)
        self.server_close()

    def handle_error(self, request: Any, client_address: Any) -> None:
        """Say nothing: a phone that goes out of reach in the middle is no news."""


class _Handler(BaseHTTPRequestHandler):
    server: FormServer
    protocol_version = "HTTP/1.1"
    server_version = "riskrules"
    sys_version = ""
    timeout = PATIENCE_S

    def do_GET(self) -> None:  # noqa: N802
        self._answered(self._form)

    def do_POST(self) -> None:  # noqa: N802
        self._answered(self._records)

    def log_message(self, format: str, *args: object) -> None:
        """Write nothing: an address holds the token."""

    def _answered(self, work: Callable[[], None]) -> None:
        if not self.server.room.acquire(blocking=False):
            self._error(HTTPStatus.SERVICE_UNAVAILABLE, "too many at once; come again")
            return
        try:
            self._check_host()
            work()
        except Refused as error:
            self._error(error.status, str(error))
        except HandedOverError as error:
            self._error(HTTPStatus.BAD_REQUEST, str(error))
        except JournalError as error:
            self._error(HTTPStatus.SERVICE_UNAVAILABLE, str(error))
        finally:
            self.server.room.release()

    def _check_host(self) -> None:
        if not self.server.answers.is_own(self.headers.get("Host", "")):
            raise Refused(HTTPStatus.MISDIRECTED_REQUEST, "no such server here")

    def _form(self) -> None:
        asked = urlsplit(self.path)
        given = parse_qs(asked.query).get("token", [""])[0]
        if not self.server.answers.knows(given):
            raise Refused(HTTPStatus.FORBIDDEN, "the link is not whole: its token is missing "
                          "or not the one of this server")  # fmt: skip
        if not asked.path.startswith("/walk/"):
            raise Refused(HTTPStatus.NOT_FOUND, "nothing here; expected /walk/ and its number")
        page = self.server.answers.form(asked.path.removeprefix("/walk/"))
        self._send(HTTPStatus.OK, "text/html; charset=utf-8", page,
                   f"private, max-age={KEEP_FORM_S}")  # fmt: skip

    def _records(self) -> None:
        if urlsplit(self.path).path != "/records":
            raise Refused(HTTPStatus.NOT_FOUND, "nothing here; expected /records")
        self._check_sender()
        data = self._body()
        self._send(HTTPStatus.OK, "application/json", json.dumps(self.server.answers.take(data)))

    def _check_sender(self) -> None:
        scheme, _, given = self.headers.get("Authorization", "").partition(" ")
        if scheme.lower() != "bearer" or not self.server.answers.knows(given.strip()):
            raise Refused(HTTPStatus.FORBIDDEN, "the token is missing or not the one of this "
                          "server: open the form by a new link")  # fmt: skip
        origin = self.headers.get("Origin")
        host = self.headers.get("Host", "").lower()
        if origin is not None and origin.lower() not in (f"http://{host}", f"https://{host}"):
            raise Refused(HTTPStatus.FORBIDDEN, "sent from a page of another server")
        if self.headers.get("Sec-Fetch-Site", "same-origin") not in ("same-origin", "none"):
            raise Refused(HTTPStatus.FORBIDDEN, "sent from a page of another server")
        kind = self.headers.get_content_type()
        if kind != "application/json":
            raise Refused(HTTPStatus.UNSUPPORTED_MEDIA_TYPE, "expected application/json")

    def _body(self) -> bytes:
        length = self.headers.get("Content-Length", "")
        if not (length.isascii() and length.isdecimal()) or "Transfer-Encoding" in self.headers:
            raise Refused(HTTPStatus.LENGTH_REQUIRED, "expected a length of what is sent")
        if len(length) > 12 or int(length) > SEND_LIMIT:
            message = f"{length[:12]} bytes at once; expected at most {SEND_LIMIT:,}"
            raise Refused(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, message)
        data = self.rfile.read(int(length))
        if len(data) < int(length):
            raise Refused(HTTPStatus.BAD_REQUEST, "cut off on the way; send it again")
        return data

    def _error(self, status: HTTPStatus, message: str) -> None:
        # What was not read of the request must not be taken for the next one.
        self.close_connection = True
        if self.command == "GET":
            self._send(status, "text/plain; charset=utf-8", f"{message}\n")
        else:
            self._send(status, "application/json", json.dumps({"error": f"{message}."}))

    def _send(self, status: HTTPStatus, kind: str, text: str, cache: str = "no-store") -> None:
        data = text.encode()
        self.send_response(status)
        for name, value in _HEADERS.items():
            self.send_header(name, value)
        self.send_header("Cache-Control", cache)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(data)))
        if self.close_connection:
            self.send_header("Connection", "close")
        self.end_headers()
        self.wfile.write(data)
