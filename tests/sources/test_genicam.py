"""Industrial cameras: what a stand-in for their library can be told to do."""

from __future__ import annotations

import importlib
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from support.aravis_stand_in import Auto, BufferStatus, Machine, aravis_of
from support.fault_table import Fault

from liveview.errors import FormatChanged, InputUnreadable, SourceStalled
from liveview.model import Hold
from liveview.settings import Camera, Settings
from liveview.sources import aravis as finding
from liveview.sources import genicam
from liveview.sources.desk import CameraDesk
from liveview.sources.genicam import GenicamSource
from liveview.sources.genicam_time import ARRIVAL_ERROR_S, CameraTime, frames_between
from liveview.sources.listing import list_genicam
from liveview.sources.livetrial import DROP_FRAMES, LOOK_FRAMES
from liveview.sources.opening import Input


@pytest.fixture
def machine() -> Iterator[Machine]:
    made = Machine()
    with aravis_of([made]):
        yield made


class Host:
    """The session's clock: later by a frame each time it is asked."""

    def __init__(self) -> None:
        self.now_s = 100.0
        self.step_s = 0.01

    def __call__(self) -> float:
        self.now_s += self.step_s
        return self.now_s


def source_of(camera: Camera | None = None, wanted: str = "77") -> tuple[GenicamSource, CameraDesk]:
    camera = camera or Camera()
    desk = CameraDesk(camera)
    return GenicamSource(wanted, camera, clock=Host(), desk=desk), desk


def picture(source: GenicamSource) -> np.ndarray[Any, Any]:
    assert source.info is not None
    out = np.empty(source.info.shape, source.info.dtype)
    source.read_into(out)
    return out


def test_a_mono_camera_delivers_its_pictures(machine: Machine) -> None:
    source, desk = source_of()
    info = source.open()
    assert (info.width, info.height, info.channels) == (32, 24, 1)
    assert (info.bits, info.white, info.transfer) == (12, 4095, "linear")
    assert (info.rate_hz, info.exposure_s, info.gain) == (100.0, 0.001, 0.0)
    assert machine.form == "Mono12"
    assert desk.reading().stamps == "camera"
    assert desk.reading().formats == ("GREY", "Y12", "RGB3")
    stamps = [source.grab() for _ in range(20)]
    assert [stamp.number for stamp in stamps if stamp] == list(range(1, 21))
    assert picture(source).mean() == pytest.approx(40 * 16, abs=2)
    source.close()
    source.close()
    assert not machine.running


def test_colour_in_the_order_of_the_program(machine: Machine) -> None:
    source, _ = source_of(Camera(format="RGB3"))
    info = source.open()
    assert (info.channels, info.bits, info.transfer) == (3, 8, None)
    source.grab()
    blue, green, red = (picture(source)[..., k].mean() for k in range(3))
    assert blue < green < red == pytest.approx(40, abs=1)
    source.close()


def test_a_picture_has_to_be_grabbed_first(machine: Machine) -> None:
    with pytest.raises(RuntimeError, match="grabbed"):
        source_of()[0].read_into(np.empty((24, 32), np.uint8))


def test_what_was_not_granted_is_said(machine: Machine) -> None:
    source, desk = source_of(Camera(width=200, height=40, rate_hz=500.0))
    info = source.open()
    assert (info.width, info.height, info.rate_hz) == (64, 40, 120.0)
    assert desk.reading().words == (
        "width 200 was asked for, 64 came",
        "rate 500 was asked for, 120 came",
    )
    source.close()


def test_what_is_refused_is_said_and_the_camera_opens(machine: Machine) -> None:
    machine.refuses = {"region", "rate", "reading the rate"}
    source, desk = source_of(Camera(width=16, rate_hz=50.0))
    assert source.open().rate_hz is None
    assert desk.reading().words == (
        "width 16 was asked for, 32 came (no region here)",
        "rate 50 was asked for and refused (no rate here)",
    )
    source.close()


def test_gone_while_it_is_turned_or_opened(machine: Machine) -> None:
    source, desk = source_of()
    source.open()
    machine.refuses = {"answer"}
    desk.apply(Camera(exposure_s=0.002))
    with pytest.raises(SourceStalled, match="does not answer \\(no answer here\\)"):
        source.grab()
    source.close()
    machine.refuses = {"format"}
    source, _ = source_of()
    with pytest.raises(SourceStalled, match="does not answer"):
        source.open()
    source.close()
    assert not machine.running


def test_no_format_that_is_known(machine: Machine) -> None:
    machine.formats = ["YUV422_8"]
    source, desk = source_of()
    source.open()
    assert "no format of this camera is known here (YUV422_8)" in desk.reading().words
    source.close()


class TestControls:
    def run(self, source: GenicamSource, frames: int = DROP_FRAMES + LOOK_FRAMES + 1) -> None:
        for _ in range(frames):
            source.grab()

    def test_left_alone_its_automatics_stay_on(self, machine: Machine) -> None:
        source, desk = source_of()
        source.open()
        assert machine.auto["exposure"] is Auto.CONTINUOUS
        assert [c.hold for c in desk.reading().controls] == [Hold.AUTOMATIC, Hold.AUTOMATIC]
        assert desk.reading().controls[0].limits == pytest.approx((1e-5, 0.05))
        source.close()

    def test_held_they_are_off_and_given_back_they_are_on(self, machine: Machine) -> None:
        source, desk = source_of(Camera(hold=True, gain=3.0))
        source.open()
        assert set(machine.auto.values()) == {Auto.OFF}
        assert machine.gain_db == 3.0
        desk.apply(Camera())
        with pytest.raises(FormatChanged, match="set anew"):
            source.grab()
        source.close()
        source.open()
        assert set(machine.auto.values()) == {Auto.CONTINUOUS}
        source.close()

    def test_a_turn_while_it_runs_is_verified_by_the_picture(self, machine: Machine) -> None:
        source, desk = source_of()
        source.open()
        self.run(source)
        desk.apply(Camera(exposure_s=0.002))
        self.run(source, 1)
        control = desk.reading().control("exposure")
        assert control is not None and control.hold is Hold.CHANGING
        other = desk.reading().control("gain")
        assert other is not None and other.hold is Hold.NOT_VERIFIED
        assert set(machine.auto.values()) == {Auto.OFF}
        self.run(source)
        control = desk.reading().control("exposure")
        assert control is not None
        assert (control.hold, control.value) == (Hold.LOCKED, 0.002)
        assert source.info is not None and source.info.exposure_s == 0.002
        source.close()

    def test_turned_again_before_the_verdict_the_last_counts(self, machine: Machine) -> None:
        source, desk = source_of()
        source.open()
        self.run(source)
        for gain in (3.0, 6.0):
            desk.apply(Camera(gain=gain))
            self.run(source, 2)
        self.run(source)
        control = desk.reading().control("gain")
        assert control is not None
        assert (control.hold, control.value, control.unit) == (Hold.LOCKED, 6.0, "dB")
        source.close()

    def test_beyond_its_limits_the_limit_holds_and_is_said(self, machine: Machine) -> None:
        source, desk = source_of()
        source.open()
        desk.apply(Camera(exposure_s=1.0))
        self.run(source, 1)
        control = desk.reading().control("exposure")
        assert control is not None
        assert (control.value, control.reason) == (pytest.approx(0.05), "asked for 1")
        source.close()

    def test_what_it_cannot_or_will_not_is_said(self, machine: Machine) -> None:
        machine.refuses = {"exposure"}
        source, desk = source_of()
        source.open()
        desk.apply(Camera(exposure_s=0.002, focus=10.0))
        self.run(source, 1)
        for name, reason in (("focus", ""), ("exposure", "no exposure here")):
            control = desk.reading().control(name)
            assert control is not None
            assert (control.hold, control.reason) == (Hold.NOT_CONTROLLABLE, reason)
        source.close()

    def test_refused_at_opening_the_camera_opens_and_says_so(self, machine: Machine) -> None:
        machine.refuses = {"exposure"}
        source, _ = source_of(Camera(exposure_s=0.002))
        assert "not controllable by this driver (no exposure here)" in source.open().note
        source.close()

    def test_a_camera_without_controls(self, machine: Machine) -> None:
        machine.has = set()
        source, desk = source_of(Camera(hold=True))
        info = source.open()
        assert (info.exposure_s, info.gain) == (None, None)
        assert {c.hold for c in desk.reading().controls} == {Hold.NOT_CONTROLLABLE}
        desk.apply(Camera(hold=True, gain=2.0))
        self.run(source, 1)
        assert machine.gain_db == 0.0
        source.close()


class TestTime:
    def test_the_least_delay_ties_the_clocks(self, machine: Machine) -> None:
        """Ten frames 10 ms apart; those that come late are not stamped late."""
        source, _ = source_of(Camera(delay_s=0.004))
        host = source._clock
        assert isinstance(host, Host)
        source.open()
        first = source.grab()
        host.now_s += 0.008
        late = source.grab()
        assert first is not None and late is not None
        # the clocks may run apart by 20 us in a frame
        assert late.time_s - first.time_s == pytest.approx(0.01, abs=3e-5)
        assert first.time_s == pytest.approx(100.02 - 0.004)
        assert late.device_ns == 30_000_000
        source.close()

    def test_a_camera_without_a_clock_goes_by_arrival(self, machine: Machine) -> None:
        machine.script = [(k, 0) for k in range(1, 6)]
        source, desk = source_of()
        source.open()
        assert desk.reading().stamps == "host"
        stamps = [source.grab() for _ in range(4)]
        assert [s.time_s for s in stamps if s] == pytest.approx([100.02, 100.03, 100.04, 100.05])
        assert all(s.error_s == ARRIVAL_ERROR_S and s.device_ns is None for s in stamps if s)
        source.close()

    def test_a_clock_that_is_set_back(self, machine: Machine) -> None:
        machine.script = [(1, 10**12), (2, 10**12 + 10**7), (3, 5), (4, 10**7 + 5)]
        source, _ = source_of()
        source.open()
        times = [stamp.time_s for stamp in (source.grab() for _ in range(3)) if stamp]
        assert times == pytest.approx([100.02, 100.03, 100.04])
        source.close()

    @pytest.mark.parametrize(
        ("earlier", "later", "step"),
        [
            *[(1, 2, 1), (5, 9, 4), (65535, 1, 1), (65534, 2, 3), (7, 7, 1), (0, 40_000, 1)],
            *[(65535, 65537, 2), (200_000, 200_003, 3), (2**40, 2**40 + 1, 1)],
            *[(200_000, 1, 1), (100_000, 0, 1), (65536, 1, 1), (70_000, 69_999, 1)],
        ],
    )
    def test_numbers_that_begin_again(self, earlier: int, later: int, step: int) -> None:
        assert frames_between(earlier, later) == step

    def test_a_wide_counter_that_begins_again_goes_on(self) -> None:
        """Of USB3 Vision, which counts beyond 65535."""
        clock = CameraTime()
        numbers = [clock.stamp(n, 0, 1.0, 0.0).number for n in (199_999, 200_000, 1, 2)]
        assert numbers == [0, 1, 2, 3]


def test_another_size_while_it_runs_opens_it_anew(machine: Machine) -> None:
    source, _ = source_of()
    source.open()
    source.grab()
    machine.region.width = 16
    with pytest.raises(FormatChanged, match=r"from \(24, 32\) to \(24, 16\)"):
        source.grab()
    source.close()


def test_incomplete_pictures_are_left_out_and_counted(machine: Machine) -> None:
    source, _ = source_of()
    source.open()
    machine.script = [BufferStatus.MISSING_PACKETS, (3, 30_000_000), None, (9, 90_000_000)]
    before = machine.pushed
    assert source.warnings == ()
    numbers = [stamp.number for stamp in (source.grab(), source.grab()) if stamp]
    assert numbers == [2, 8]  # those between are lost, and show as a gap
    assert source.warnings == ("1 incomplete pictures left out",)
    assert machine.pushed - before == 3  # every buffer goes back
    source.close()


@pytest.mark.fault(
    "an industrial camera is unplugged",
    says="delivers no whole pictures",
    then="opened again until it is back; its frame numbers and clock begin anew",
)
def test_an_unplugged_camera(machine: Machine, monkeypatch, fault: Fault) -> None:
    source, _ = source_of()
    source.open()
    monkeypatch.setattr(genicam, "TIMEOUT_S", 0.05)
    source._wait_s = 0.05
    machine.script = [None] * 100_000
    with pytest.raises(SourceStalled) as caught:
        source.grab()
    assert fault.says in str(caught.value)
    machine.refuses = {"stop"}
    source.close()


def test_a_camera_that_does_not_open(machine: Machine) -> None:
    machine.refuses = {"open"}
    source, _ = source_of()
    with pytest.raises(InputUnreadable, match=r"does not open \(no open here\)") as caught:
        source.open()
    assert "no other program holds it" in str(caught.value)
    source.close()


class TestFinding:
    def test_listed(self, machine: Machine) -> None:
        (answer,) = list_genicam()
        assert answer.address == "genicam:Maker-Model-77"
        assert (answer.name, answer.identity) == ("Maker Model 77", "77")

    @pytest.mark.parametrize("wanted", ["Maker-Model-77", "77", "192.0.2.7", "model", ""])
    def test_by_whatever_names_it(self, machine: Machine, wanted: str) -> None:
        (found,) = finding.find_genicam()
        assert finding.match_genicam(wanted, (found,)) is found

    def test_an_exact_name_counts_before_a_part(self, machine: Machine) -> None:
        (found,) = finding.find_genicam()
        other = replace(found, identity="Maker-Model-771", serial="771", place="192.0.2.8")
        assert finding.match_genicam("77", (other, found)) is found
        with pytest.raises(InputUnreadable, match="several industrial cameras fit"):
            finding.match_genicam("maker", (other, found))
        with pytest.raises(InputUnreadable, match="give one of 'Maker-Model-77'"):
            finding.match_genicam("else", (found,))
        with pytest.raises(InputUnreadable, match="check its power"):
            finding.match_genicam("", ())

    def test_opened_by_its_address(self, machine: Machine) -> None:
        opened = Input("genicam:77", Settings(), clock=Host(), live=False)
        frames = opened.frames()
        assert frames.open().name == "Maker Model 77"
        assert frames.grab() is not None
        frames.close()


class TestWithoutTheLibrary:
    @pytest.fixture(autouse=True)
    def fresh(self) -> Iterator[None]:
        finding.aravis.cache_clear()
        yield
        finding.aravis.cache_clear()

    def hide(self, monkeypatch, *hidden: str) -> None:
        """Import fails for these, as it does where they are not installed."""
        for name in [name for name in sys.modules if name.split(".")[0] == "gi"]:
            monkeypatch.delitem(sys.modules, name)
        really = importlib.import_module

        def imported(name: str, package: str | None = None) -> Any:
            if name in hidden:
                raise ImportError(f"No module named {name!r}")
            return really(name, package)

        monkeypatch.setattr(finding.importlib, "import_module", imported)

    def test_no_binding_at_all(self, monkeypatch, tmp_path: Path) -> None:
        self.hide(monkeypatch, "gi")
        monkeypatch.setattr(finding, "DISTRIBUTION", tmp_path / "gi")
        with pytest.raises(InputUnreadable, match="need the library Aravis") as caught:
            finding.aravis()
        assert "apt-get install gir1.2-aravis-0.8" in str(caught.value)
        assert list_genicam() == ()

    def test_a_distribution_for_another_python(self, monkeypatch, tmp_path: Path) -> None:
        self.hide(monkeypatch, "gi")
        (tmp_path / "gi").mkdir()
        (tmp_path / "gi" / "__init__.py").write_text("from . import _gi\n")
        monkeypatch.setattr(finding, "DISTRIBUTION", tmp_path / "gi")
        assert list_genicam() == ()
        assert "gi" not in sys.modules

    def test_the_distribution_s_binding_without_the_library(
        self, monkeypatch, tmp_path: Path
    ) -> None:
        self.hide(monkeypatch, "gi")
        (tmp_path / "gi").mkdir()
        (tmp_path / "gi" / "__init__.py").write_text(
            "def require_version(name, version):\n"
            "    raise ValueError(f'Namespace {name} not available')\n"
        )
        monkeypatch.setattr(finding, "DISTRIBUTION", tmp_path / "gi")
        try:
            assert list_genicam() == ()
        finally:
            sys.modules.pop("gi", None)
