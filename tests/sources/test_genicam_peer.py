"""Industrial cameras against a real peer: the simulated GigE Vision camera of Debian's package
aravis-tools-cli or aravis-tools, over UDP on the loopback. Left out, in words, where it is missing.
"""

from __future__ import annotations

import shutil
import subprocess
import time
from collections.abc import Iterator

import numpy as np
import pytest
from support.waiting import eventually, wait_for

from liveview.engine.clock import SessionClock
from liveview.engine.session import Session
from liveview.errors import InputUnreadable, SourceStalled
from liveview.model import Hold, SessionState, SourceInfo
from liveview.settings import Camera, Settings
from liveview.sources.aravis import aravis, find_genicam
from liveview.sources.desk import CameraDesk
from liveview.sources.genicam import GenicamSource
from liveview.sources.genicam_pixels import LAYOUTS
from liveview.sources.listing import list_genicam
from liveview.sources.opening import Input

PROGRAM = "arv-fake-gv-camera-0.8"
SERIAL = "LVT01"
ADDRESS = "127.0.0.1"


def library_or_skip() -> None:
    try:
        aravis()
    except InputUnreadable as error:
        pytest.skip(f"{error.what}: {error.remedy}")


class Peer:
    """The simulated camera's process; there is one at a time, for it has one port."""

    def __init__(self) -> None:
        self.process: subprocess.Popen[bytes] | None = None

    def plug_in(self) -> None:
        program = shutil.which(PROGRAM)
        if program is None:
            pytest.skip(f"{PROGRAM} is not here: apt-get install aravis-tools")
        quiet = subprocess.DEVNULL
        self.process = subprocess.Popen(
            [program, "-i", ADDRESS, "-s", SERIAL], stdout=quiet, stderr=quiet
        )

    def unplug(self) -> None:
        if self.process is not None:
            self.process.terminate()
            self.process.wait(10)

    def answers(self) -> bool:
        return any(found.serial == SERIAL for found in find_genicam())


@pytest.fixture(scope="module")
def plugged() -> Iterator[Peer]:
    library_or_skip()
    made = Peer()
    try:
        made.plug_in()
        if not eventually(made.answers, 15):
            pytest.skip(f"{PROGRAM} does not answer on {ADDRESS}: is its port taken?")
        yield made
    finally:
        made.unplug()


@pytest.fixture
def peer(plugged: Peer) -> str:
    """Its serial number."""
    return SERIAL


def opened(camera: Camera) -> tuple[GenicamSource, CameraDesk, SourceInfo]:
    desk = CameraDesk(camera)
    source = GenicamSource(SERIAL, camera, clock=time.monotonic, desk=desk)
    return source, desk, source.open()


def test_it_is_found_and_listed(peer: str) -> None:
    answers = [answer for answer in list_genicam() if answer.identity == peer]
    assert [answer.answers for answer in answers] == [True]
    assert answers[0].address == f"genicam:Aravis-Fake-{peer}"


def test_pictures_stamps_and_numbers(peer: str) -> None:
    source, desk, info = opened(Camera(rate_hz=50.0, width=256, height=128))
    try:
        assert (info.width, info.height, info.bits, info.transfer) == (256, 128, 16, "linear")
        assert desk.reading().words == ()
        stamps = [source.grab() for _ in range(12)]
        times = np.diff([stamp.time_s for stamp in stamps if stamp])
        assert len(times) == 11
        numbers = np.diff([stamp.number for stamp in stamps if stamp])
        # The peer's own pace: it sleeps between frames.
        assert np.median(times / numbers) == pytest.approx(0.02, rel=0.2)
        out = np.empty(info.shape, info.dtype)
        source.read_into(out)
        assert out.std() > 0
        stamp = stamps[-1]
        assert stamp is not None
        assert abs(stamp.time_s - time.monotonic()) < 1.0
    finally:
        source.close()


@pytest.mark.parametrize(
    ("form", "channels", "kind"),
    [("GREY", 1, np.uint8), ("BA81", 1, np.uint8), ("RGB3", 3, np.uint8)],
)
def test_formats(peer: str, form: str, channels: int, kind: type) -> None:
    source, desk, info = opened(Camera(format=form))
    try:
        assert (info.channels, info.dtype) == (channels, kind)
        assert form in desk.reading().formats
        source.grab()
    finally:
        source.close()


def test_exposure_and_gain_are_set(peer: str) -> None:
    source, desk, info = opened(Camera(exposure_s=0.004, gain=2.0, format="GREY"))
    try:
        assert (info.exposure_s, info.gain) == (pytest.approx(0.004), pytest.approx(2.0))
        holds = {control.name: control.hold for control in desk.reading().controls}
        assert holds == {"exposure": Hold.NOT_VERIFIED, "gain": Hold.NOT_VERIFIED}
        for _ in range(12):
            source.grab()
        desk.apply(Camera(exposure_s=0.016, gain=2.0, format="GREY"))
        for _ in range(30):
            source.grab()
        control = desk.reading().control("exposure")
        assert control is not None
        assert control.value == pytest.approx(0.016)
        assert control.hold is not Hold.CHANGING
    finally:
        source.close()


def test_through_a_session(peer: str) -> None:
    clock = SessionClock()
    chosen = Input(f"genicam:{peer}", Settings(), clock=clock, live=True)
    session = Session(Settings(), chosen.frames, camera=chosen.camera, clock=clock)
    session.start()
    try:
        wait_for(lambda: session.status().counters.captured > 10, 30)
        assert session.status().state is SessionState.RUNNING
    finally:
        session.stop()


def test_numbers_of_formats_are_the_library_s(peer: str) -> None:
    library = aravis()
    for name, ending in (("10Packed", "10_PACKED"), ("12Packed", "12_PACKED")):
        assert library.__getattr__(f"PIXEL_FORMAT_MONO_{ending}") & 0xFFFF in LAYOUTS[name]
    for name in ("10p", "12p"):
        for pattern in ("RG", "GR", "GB", "BG"):
            number = library.__getattr__(f"PIXEL_FORMAT_BAYER_{pattern}_{name.upper()}")
            assert number & 0xFFFF in LAYOUTS[name]


@pytest.mark.slow
def test_unplugged_it_stalls_and_back_it_opens_again(plugged: Peer) -> None:
    source = GenicamSource(SERIAL, Camera(format="GREY"), clock=time.monotonic)
    try:
        source.open()
        source.grab()
        plugged.unplug()
        with pytest.raises(SourceStalled, match="no whole pictures"):
            for _ in range(100):
                source.grab()
        source.close()
        with pytest.raises(InputUnreadable, match="no such industrial camera"):
            source.open()
        plugged.plug_in()
        assert eventually(plugged.answers, 15)
        source.open()
        assert source.grab() is not None
    finally:
        source.close()
