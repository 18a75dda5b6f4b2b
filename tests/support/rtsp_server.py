"""A small RTSP camera on 127.0.0.1 (RFC 2326): one client, RTP inside the same connection.

The pictures are coded and put into RTP packets by FFmpeg, which sends them to a socket of this
server; it passes them on framed by ``$``. That is what cameras do when asked for TCP.
"""

from __future__ import annotations

import contextlib
import re
import socket
import threading
import time
from collections.abc import Sequence
from fractions import Fraction
from typing import Any

import av
import numpy as np
from numpy.typing import NDArray

LIFE_S = 60.0


class RtspServer:
    """Serves pictures (BGR) round and round as H.264 at ``rate_hz``."""

    def __init__(self, pictures: Sequence[NDArray[Any]], *, rate_hz: int = 25) -> None:
        self._pictures = pictures
        self._rate_hz = rate_hz
        self._closing = threading.Event()
        self._quiet = threading.Event()
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._listener.settimeout(0.2)
        self._thread = threading.Thread(target=self._run, name="rtsp server", daemon=True)
        self._thread.start()

    @property
    def url(self) -> str:
        """Address of the stream."""
        return f"rtsp://127.0.0.1:{self._listener.getsockname()[1]}/live"

    def stall(self) -> None:
        """Send nothing more, keep the connection."""
        self._quiet.set()

    def close(self) -> None:
        """Cut everything and join the thread."""
        self._closing.set()
        self._thread.join(5.0)
        self._listener.close()

    def __enter__(self) -> RtspServer:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _run(self) -> None:
        ends_at = time.monotonic() + LIFE_S
        while not self._closing.is_set() and time.monotonic() < ends_at:
            with contextlib.suppress(TimeoutError, OSError):
                client, _ = self._listener.accept()
                with client:
                    client.settimeout(5.0)
                    self._talk(client)

    def _talk(self, client: socket.socket) -> None:
        text = b""
        while not self._closing.is_set():
            data = client.recv(4096)
            if not data:
                return
            text += data
            while b"\r\n\r\n" in text:
                ask, _, text = text.partition(b"\r\n\r\n")
                if self._answer(client, ask.decode()):
                    self._play(client)
                    return

    def _answer(self, client: socket.socket, ask: str) -> bool:
        method = ask.split(" ", 1)[0]
        number = re.search(r"CSeq:\s*(\d+)", ask)
        head, body = "", ""
        if method == "OPTIONS":
            head = "Public: OPTIONS, DESCRIBE, SETUP, PLAY, TEARDOWN\r\n"
        elif method == "DESCRIBE":
            body = self._description()
            head = f"Content-Type: application/sdp\r\nContent-Length: {len(body)}\r\n"
        elif method == "SETUP":
            head = "Transport: RTP/AVP/TCP;unicast;interleaved=0-1\r\nSession: 1\r\n"
        elif method == "PLAY":
            head = "Session: 1\r\n"
        client.sendall(
            f"RTSP/1.0 200 OK\r\nCSeq: {number[1] if number else 0}\r\n{head}\r\n{body}".encode()
        )
        return method == "PLAY"

    def _description(self) -> str:
        lines = ["v=0", "o=- 0 0 IN IP4 127.0.0.1", "s=test", "c=IN IP4 127.0.0.1", "t=0 0"]
        lines += ["m=video 0 RTP/AVP 96", "a=control:track1"]
        lines += ["a=rtpmap:96 H264/90000", "a=fmtp:96 packetization-mode=1"]
        return "\r\n".join(lines) + "\r\n"

    def _play(self, client: socket.socket) -> None:
        with contextlib.closing(socket.socket(socket.AF_INET, socket.SOCK_DGRAM)) as packets:
            packets.bind(("127.0.0.1", 0))
            packets.setblocking(False)
            port = packets.getsockname()[1]
            with av.open(f"rtp://127.0.0.1:{port}", "w", format="rtp") as out:
                stream = self._stream(out)
                due = time.monotonic()
                for number in range(int(LIFE_S * self._rate_hz)):
                    due += 1.0 / self._rate_hz
                    if self._closing.wait(max(0.0, due - time.monotonic())):
                        return
                    if self._quiet.is_set():
                        continue
                    picture = np.ascontiguousarray(self._pictures[number % len(self._pictures)])
                    frame = av.VideoFrame.from_ndarray(picture, "bgr24")
                    frame.pts = number
                    out.mux(stream.encode(frame.reformat(format=stream.pix_fmt)))
                    self._pass_on(packets, client)

    def _stream(self, out: Any) -> Any:
        options = {"preset": "ultrafast", "tune": "zerolatency", "g": "5"}
        stream = out.add_stream("libx264", rate=self._rate_hz, options=options)
        stream.height, stream.width = self._pictures[0].shape[:2]
        stream.pix_fmt = "yuv420p"
        stream.codec_context.time_base = Fraction(1, self._rate_hz)
        return stream

    def _pass_on(self, packets: socket.socket, client: socket.socket) -> None:
        with contextlib.suppress(BlockingIOError):
            while True:
                data = packets.recv(65536)
                rtcp = 200 <= data[1] <= 204
                client.sendall(b"$" + bytes([int(rtcp)]) + len(data).to_bytes(2, "big") + data)
