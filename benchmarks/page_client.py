"""A session of the dashboard without a browser: it asks for pages and times the server."""

from __future__ import annotations

from time import perf_counter
from types import TracebackType

from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from websockets.sync.client import ClientConnection, connect
from websockets.typing import Origin, Subprotocol

PATIENCE_S = 300.0


class PageClient:
    """One open session of a running server of pages.

    Parameters
    ----------
    port : int
        Where it listens on 127.0.0.1.
    """

    def __init__(self, port: int) -> None:
        self.socket: ClientConnection = connect(
            f"ws://127.0.0.1:{port}/_stcore/stream", origin=Origin(f"http://127.0.0.1:{port}"),
            subprotocols=[Subprotocol("streamlit")], max_size=None, proxy=None, compression=None,
        )  # fmt: skip
        self.bytes = 0
        self.errors: list[str] = []

    def __enter__(self) -> PageClient:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.socket.close()

    def view(self, page: str = "", query: str = "") -> float:
        """Ask for a page and return how long the server took until all of it was there. [s]

        ``query`` is what stands after the question mark of the address.
        """
        ask = BackMsg()
        ask.rerun_script.query_string = query
        ask.rerun_script.page_name = page
        begin = perf_counter()
        self.socket.send(ask.SerializeToString())
        while True:
            raw = self.socket.recv(timeout=PATIENCE_S)
            self.bytes += len(raw)
            said = ForwardMsg()
            said.ParseFromString(raw if isinstance(raw, bytes) else raw.encode())
            kind = said.WhichOneof("type")
            if kind == "delta" and said.delta.new_element.WhichOneof("type") == "exception":
                self.errors.append(said.delta.new_element.exception.message)
            if kind == "script_finished":
                finished = ForwardMsg.ScriptFinishedStatus.Name(said.script_finished)
                if finished == "FINISHED_SUCCESSFULLY":
                    return perf_counter() - begin
                if "RERUN" not in finished:  # else it runs on by itself
                    self.errors.append(finished)
                    return perf_counter() - begin
