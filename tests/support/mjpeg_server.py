"""A camera on the network: motion JPEG over HTTP on 127.0.0.1, with faults on demand.

Real sockets and real JPEG. Everything is bounded: the life of the server, each send, each queue.

    with MjpegServer([picture], rate_hz=100) as server:
        source = frame_source(server.url, ...)
        server.stall()      # the connection stays, nothing comes
        server.go_on()
        server.drop()       # connections cut, new ones welcome
        server.refuse(True) # new connections are closed at once
        server.hold(True)   # new connections are kept waiting
        server.show([larger_picture])
        server.spoil(3)     # the next three parts are not JPEG
"""

from __future__ import annotations

import contextlib
import socket
import threading
import time
from collections.abc import Sequence
from types import TracebackType
from typing import Any

from numpy.typing import NDArray

from liveview.imaging.cv import cv2

BOUNDARY = "picture"
SEND_TIMEOUT_S = 2.0
LIFE_S = 300.0


def jpeg(picture: NDArray[Any], quality: int = 95) -> bytes:
    """A picture (gray or BGR, uint8) as JPEG."""
    done, data = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, quality])
    assert done
    return bytes(data)


class MjpegServer:
    """Serves pictures round and round to every client at ``rate_hz``.

    Parameters
    ----------
    pictures : sequence of arrays or of bytes (JPEG already)
    rate_hz : float
        Pictures a second; sent as fast as the client takes them when 0.
    once : bool
        Every client gets each picture once and a proper end, instead of a loop.
    """

    def __init__(
        self, pictures: Sequence[Any], *, rate_hz: float = 100.0, once: bool = False
    ) -> None:
        self._changed = threading.Condition()
        self._rate_hz = rate_hz
        self._once = once
        self._parts = _parts(pictures)
        self._stalled = self._refusing = self._holding = self._closing = False
        self._generation = 0
        self._spoiled = 0
        self._sent = self._clients = 0
        self._ends_at = time.monotonic() + LIFE_S
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._threads = [threading.Thread(target=self._accept, name="mjpeg server", daemon=True)]
        self._threads[0].start()

    @property
    def port(self) -> int:
        """Port on 127.0.0.1."""
        return int(self._listener.getsockname()[1])

    @property
    def url(self) -> str:
        """Address of the stream."""
        return f"http://127.0.0.1:{self.port}/live.mjpg"

    @property
    def sent(self) -> int:
        """Parts handed to the network so far, all clients together."""
        return self._sent

    @property
    def clients(self) -> int:
        """Connections accepted so far."""
        return self._clients

    def stall(self) -> None:
        """Send nothing more, keep the connections."""
        self._change(_stalled=True)

    def go_on(self) -> None:
        """End a stall."""
        self._change(_stalled=False)

    def drop(self) -> None:
        """Cut all connections; the stall, if any, goes on for new ones."""
        self._change(_generation=self._generation + 1)

    def refuse(self, refusing: bool) -> None:
        """Close new connections at once (True) or serve them again (False)."""
        self._change(_refusing=refusing)

    def hold(self, holding: bool) -> None:
        """Keep new connections waiting for their first byte (True) or serve them (False)."""
        self._change(_holding=holding)

    def show(self, pictures: Sequence[Any]) -> None:
        """Other pictures from the next part on, of another size if wanted."""
        self._change(_parts=_parts(pictures))

    def spoil(self, parts: int = 1) -> None:
        """The next parts begin like JPEG and go on as rubbish."""
        self._change(_spoiled=parts)

    def wait_for_clients(self, count: int, timeout_s: float = 10.0) -> bool:
        """Wait until ``count`` connections were accepted in all."""
        with self._changed:
            return self._changed.wait_for(lambda: self._clients >= count, timeout_s)

    def close(self) -> None:
        """Cut everything and join the threads."""
        self._change(_closing=True)
        with contextlib.suppress(OSError):
            socket.create_connection(("127.0.0.1", self.port), timeout=1.0).close()
        self._threads[0].join(SEND_TIMEOUT_S)
        self._listener.close()
        for thread in self._threads[1:]:
            thread.join(SEND_TIMEOUT_S + 1.0)

    def __enter__(self) -> MjpegServer:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def _change(self, **values: Any) -> None:
        with self._changed:
            for name, value in values.items():
                setattr(self, name, value)
            self._changed.notify_all()

    def _accept(self) -> None:
        self._listener.settimeout(1.0)
        while not self._closing and time.monotonic() < self._ends_at:
            with contextlib.suppress(TimeoutError):
                client, _ = self._listener.accept()
                if self._closing or self._refusing:
                    client.close()
                    continue
                self._change(_clients=self._clients + 1)
                thread = threading.Thread(
                    target=self._serve, args=(client,), name="mjpeg client", daemon=True
                )
                self._threads.append(thread)
                thread.start()

    def _serve(self, client: socket.socket) -> None:
        with contextlib.suppress(OSError), client:
            client.settimeout(SEND_TIMEOUT_S)
            client.recv(8192)
            with self._changed:
                self._changed.wait_for(
                    lambda: self._closing or not self._holding, self._ends_at - time.monotonic()
                )
            client.sendall(
                b"HTTP/1.0 200 OK\r\nCache-Control: no-store\r\nContent-Type: "
                + f"multipart/x-mixed-replace; boundary={BOUNDARY}\r\n\r\n".encode()
            )
            self._pour(client)

    def _pour(self, client: socket.socket) -> None:
        generation, number = self._generation, 0
        due = time.monotonic()
        while time.monotonic() < self._ends_at:
            part = self._next_part(generation, number, due)
            if part is None:
                break
            head = (
                f"--{BOUNDARY}\r\nContent-Type: image/jpeg\r\nContent-Length: {len(part)}\r\n\r\n"
            )
            client.sendall(head.encode() + part + b"\r\n")
            number += 1
            self._change(_sent=self._sent + 1)
            due = max(due + (1.0 / self._rate_hz if self._rate_hz else 0.0), time.monotonic() - 0.5)

    def _next_part(self, generation: int, number: int, due: float) -> bytes | None:
        with self._changed:
            self._changed.wait_for(
                lambda: self._closing or self._generation != generation, due - time.monotonic()
            )
            self._changed.wait_for(
                lambda: self._closing or self._generation != generation or not self._stalled,
                self._ends_at - time.monotonic(),
            )
            over = self._once and number >= len(self._parts)
            if self._closing or self._generation != generation or over:
                return None
            part = self._parts[number % len(self._parts)]
            if self._spoiled:
                self._spoiled -= 1
                return part[:4] + b"rubbish" * 50
            return part


def _parts(pictures: Sequence[Any]) -> list[bytes]:
    return [p if isinstance(p, bytes) else jpeg(p) for p in pictures]
