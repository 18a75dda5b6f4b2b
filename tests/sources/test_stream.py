"""Network cameras over real sockets: what they deliver, and every way in which they fail."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from typing import Any

import av
import numpy as np
import pytest
from numpy.typing import NDArray
from support.media import smooth
from support.mjpeg_server import MjpegServer
from support.rtsp_server import RtspServer
from support.waiting import eventually

from liveview.engine.board import Board
from liveview.engine.capture import Capture
from liveview.engine.ring import FrameRing
from liveview.errors import FormatChanged, InputUnreadable, SourceStalled
from liveview.model import SessionState, SourceKind
from liveview.settings import Camera
from liveview.sources.stream import StreamSource
from liveview.worker import Worker

SIZE = (61, 83)


def flat(value: int, shape: tuple[int, ...] = SIZE) -> NDArray[np.uint8]:
    return np.full(shape, value, np.uint8)


def stream(url: str, *, open_s: float = 2.0, read_s: float = 0.4) -> StreamSource:
    return StreamSource(
        url, Camera(), clock=time.monotonic, open_timeout_s=open_s, read_timeout_s=read_s
    )


@pytest.fixture
def server() -> Iterator[MjpegServer]:
    with MjpegServer([flat(10), flat(200)], rate_hz=200) as running:
        yield running


UNBOUNDED_S = 60.0
"""Far above the times allowed, for a host under load; without any the library waits for ever."""


@pytest.fixture
def allowed(monkeypatch: pytest.MonkeyPatch) -> list[object]:
    """The times that the library which waits was given, for opening and for one read."""
    found: list[object] = []

    def opened(*args: Any, **options: Any) -> Any:
        found.append(options["timeout"])
        return av_open(*args, **options)

    av_open = av.open
    monkeypatch.setattr(av, "open", opened)
    return found


def take(source: StreamSource, count: int) -> tuple[list[Any], list[NDArray[Any]]]:
    info = source.open()
    stamps, pictures = [], []
    for _ in range(count):
        stamp = source.grab()
        assert stamp is not None
        out = np.empty(info.shape, info.dtype)
        source.read_into(out)
        stamps.append(stamp)
        pictures.append(out)
    return stamps, pictures


def test_pictures_come_in_order_on_the_hosts_clock(server: MjpegServer) -> None:
    source = stream(server.url)
    before = time.monotonic()
    try:
        stamps, pictures = take(source, 6)
    finally:
        source.close()
    assert [stamp.number for stamp in stamps] == list(range(6))
    assert np.all(np.diff([stamp.time_s for stamp in stamps]) > 0)
    assert before <= stamps[0].time_s <= time.monotonic()
    assert [int(picture[30, 40]) for picture in pictures] == [10, 200] * 3


def test_it_says_what_it_is(server: MjpegServer) -> None:
    server.show([np.full((*SIZE, 3), 50, np.uint8)])
    source = stream(server.url.replace("127", "somebody:secret@127"))
    try:
        info = source.open()
    finally:
        source.close()
    assert info.kind is SourceKind.STREAM
    assert info.live
    assert info.shape == (*SIZE, 3)
    assert info.rate_hz is None, "what such streams say of their rate is made up"
    assert "secret" not in info.name


@pytest.mark.slow
def test_a_stall_is_noticed_in_the_time_allowed(server: MjpegServer, allowed: list[object]) -> None:
    source = stream(server.url)
    try:
        take(source, 3)
        server.stall()
        began = time.monotonic()
        with pytest.raises(SourceStalled, match=r"no picture came for 0\.4 s"):
            while source.grab() is not None:
                pass
        assert allowed == [(2.0, 0.4)]
        assert 0.3 < time.monotonic() - began < UNBOUNDED_S
    finally:
        source.close()


def test_a_cut_connection_ends_the_stream(server: MjpegServer) -> None:
    source = stream(server.url)
    try:
        take(source, 3)
        server.drop()
        while source.grab() is not None:
            pass
    finally:
        source.close()


def test_a_stream_that_ends_properly_ends() -> None:
    levels = list(range(0, 250, 10))
    with MjpegServer([flat(level) for level in levels], rate_hz=0, once=True) as server:
        source = stream(server.url)
        try:
            info = source.open()
            seen = []
            out = np.empty(info.shape, info.dtype)
            while source.grab() is not None:
                source.read_into(out)
                seen.append(int(out[5, 5]))
        finally:
            source.close()
    assert seen == levels


def test_rubbish_is_left_out_and_counted(server: MjpegServer) -> None:
    source = stream(server.url)
    try:
        take(source, 2)
        server.spoil(3)
        numbers = []
        while not numbers or numbers[-1] < 40:
            stamp = source.grab()
            assert stamp is not None
            numbers.append(stamp.number)
    finally:
        source.close()
    assert sum(np.diff(numbers) - 1) == 3
    assert source.warnings == ("3 damaged pictures of the stream left out",)


@pytest.mark.slow
def test_nothing_but_rubbish_is_a_stall() -> None:
    with MjpegServer([b"\xff\xd8\xff\xe0 rubbish"], rate_hz=200) as server:
        source = stream(server.url, open_s=0.6)
        try:
            with pytest.raises(InputUnreadable):
                source.open()
        finally:
            source.close()


@pytest.mark.slow
def test_rubbish_from_now_on_is_a_stall(server: MjpegServer) -> None:
    source = stream(server.url, open_s=0.5)
    try:
        take(source, 2)
        server.spoil(10_000)
        with pytest.raises(SourceStalled, match="nothing but damaged pictures"):
            while source.grab() is not None:
                pass
    finally:
        source.close()


@pytest.mark.parametrize("other", [flat(9, (48, 64)), flat(9, (*SIZE, 3))])
def test_a_change_of_size_or_kind_is_told(server: MjpegServer, other: NDArray[Any]) -> None:
    source = stream(server.url)
    try:
        take(source, 2)
        server.show([other])
        with pytest.raises(FormatChanged, match="83 x 61, 8 bit gray to"):
            while source.grab() is not None:
                pass
    finally:
        source.close()


def test_nobody_there() -> None:
    with socket.create_server(("127.0.0.1", 0)) as unused:
        port = unused.getsockname()[1]
    with pytest.raises(SourceStalled, match="cannot be reached"):
        stream(f"http://127.0.0.1:{port}/").open()


@pytest.mark.slow
def test_somebody_who_never_answers(allowed: list[object]) -> None:
    with socket.create_server(("127.0.0.1", 0)) as mute:
        began = time.monotonic()
        with pytest.raises(SourceStalled, match="nothing came in the time allowed"):
            stream(f"http://127.0.0.1:{mute.getsockname()[1]}/", open_s=0.5).open()
        assert allowed == [(0.5, 0.4)]
        assert time.monotonic() - began < UNBOUNDED_S


def answer_once(listener: socket.socket, reply: bytes) -> None:
    client, _ = listener.accept()
    with client:
        client.settimeout(2.0)
        client.recv(4096)
        client.sendall(reply)


@pytest.mark.parametrize(
    ("reply", "words"),
    [
        (b"HTTP/1.0 404 Not Found\r\n\r\n", "the server answers 404"),
        (b"HTTP/1.0 401 Unauthorized\r\n\r\n", "the server answers 401"),
        (
            b"HTTP/1.0 200 OK\r\nContent-Type: text/html\r\n\r\n<html>hello</html>",
            "sends no pictures",
        ),
    ],
)
def test_servers_that_are_no_camera(reply: bytes, words: str) -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        listener.settimeout(2.0)
        thread = threading.Thread(target=answer_once, args=(listener, reply))
        thread.start()
        try:
            with pytest.raises(InputUnreadable, match=words):
                stream(f"http://127.0.0.1:{listener.getsockname()[1]}/").open()
        finally:
            thread.join()


@pytest.mark.slow
def test_it_comes_back_by_itself_after_every_kind_of_death(server: MjpegServer) -> None:
    """The engine's capture thread on a stream that stalls, dies, refuses and returns."""
    board = Board()
    rings: list[FrameRing] = []

    def opened(info: Any) -> FrameRing:
        rings.append(FrameRing(info, 1))
        return rings[-1]

    capture = Capture(lambda: stream(server.url), opened, board, time.monotonic)
    worker = Worker("capture", capture)
    worker.start()
    try:
        assert eventually(lambda: board.state is SessionState.RUNNING)
        server.stall()
        assert eventually(lambda: board.state is SessionState.STALLED)
        server.go_on()
        assert eventually(lambda: board.state is SessionState.RUNNING)
        server.refuse(True)
        server.drop()
        assert eventually(lambda: board.state is SessionState.STALLED)
        server.refuse(False)
        assert eventually(lambda: board.state is SessionState.RUNNING)
        server.show([flat(77, (48, 64))])
        assert eventually(
            lambda: rings[-1].info.height == 48 and board.state is SessionState.RUNNING
        )
    finally:
        worker.stop(5.0)
    worker.raise_error()


@pytest.mark.slow
def test_rtsp_plays_and_stalls() -> None:
    with RtspServer(smooth(48, 64, 10), rate_hz=50) as server:
        source = stream(server.url, open_s=5.0)
        try:
            stamps, pictures = take(source, 5)
            assert pictures[0].shape == (48, 64, 3)
            # the bright disc fades from 200 to 100 over the ten pictures, coded with loss
            assert 90 <= int(pictures[0][24, 32, 1]) <= 205
            assert int(pictures[0][2, 2, 1]) < 40
            assert np.all(np.diff([stamp.time_s for stamp in stamps]) > 0)
            server.stall()
            with pytest.raises(SourceStalled, match="no picture came"):
                while source.grab() is not None:
                    pass
        finally:
            source.close()
