"""Video files: exact codes, exact times, honest about damage."""

from __future__ import annotations

import http.server
import struct
import threading
from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest
from support.media import FFV1, noise, read_all, smooth, to_frame, write_video

from liveview.errors import BadRequest, FormatChanged, InputUnreadable
from liveview.model import SourceKind
from liveview.settings import Camera, Settings
from liveview.sources import frame_source
from liveview.sources.video import VideoSource

ODD = (61, 83)
UNEVEN_US = [0, 33_000, 70_000, 71_000, 400_000, 433_000]


def source(path: Path, **camera: object) -> VideoSource:
    return VideoSource(str(path), Camera(**camera))


@pytest.mark.parametrize(
    ("form", "shape", "top", "bits", "white"),
    [
        ("gray", ODD, 255, 8, 255),
        ("gray10le", ODD, 1023, 10, 1023),
        ("gray12le", ODD, 4095, 12, 4095),
        ("gray16le", ODD, 65535, 16, 65535),
        ("bgr0", (*ODD, 3), 255, 8, 255),
        ("gbrp16le", (*ODD, 3), 65535, 16, 65535),
    ],
)
def test_ffv1_comes_back_bit_for_bit(
    form: str, shape: tuple[int, ...], top: int, bits: int, white: int, tmp_path: Path
) -> None:
    pictures = noise(shape, 4, top)
    path = write_video(tmp_path / "clip.mkv", pictures, form=form, options=FFV1)
    info, stamps, read = read_all(source(path))
    assert (info.bits, info.white, info.channels) == (bits, white, 1 if len(shape) == 2 else 3)
    assert info.shape == shape
    assert info.kind is SourceKind.VIDEO
    assert not info.live
    assert [stamp.number for stamp in stamps] == [0, 1, 2, 3]
    assert np.array_equal(read, pictures)


def test_times_are_the_files_own_however_uneven(tmp_path: Path) -> None:
    path = write_video(tmp_path / "clip.mkv", noise(ODD, 6), times_us=UNEVEN_US)
    _, stamps, _ = read_all(source(path))
    # Matroska as written by the library keeps whole milliseconds
    assert [stamp.time_s for stamp in stamps] == pytest.approx([t / 1e6 for t in UNEVEN_US])
    assert all(stamp.error_s == pytest.approx(0.0005) for stamp in stamps)


def test_a_table_beside_the_file_has_the_last_word_on_times(tmp_path: Path) -> None:
    path = write_video(tmp_path / "clip.mkv", noise(ODD, 3))
    rows = "frame,time_ns,device_ns\n7,1500,11\n8,2501,\n10,4503,13\n"
    (tmp_path / "clip.times.csv").write_text(rows)
    info, stamps, _ = read_all(source(path))
    assert [stamp.time_s for stamp in stamps] == pytest.approx([1.5e-6, 2.501e-6, 4.503e-6])
    assert [stamp.number for stamp in stamps] == [0, 1, 3], "a gap in the numbers is a loss"
    assert [stamp.device_ns for stamp in stamps] == [11, None, 13]
    assert info.frames == 3
    assert "table" in info.note


def test_times_of_a_table_stay_with_their_frames_over_a_damaged_one(tmp_path: Path) -> None:
    pictures = noise(ODD, 8)
    path = write_video(tmp_path / "clip.mkv", pictures, options=FFV1)
    with av.open(str(path)) as file:
        places = [(p.pos, p.size) for p in file.demux(video=0) if p.size]
    data = bytearray(path.read_bytes())
    for damaged in (2, 5):
        data[places[damaged][0] + places[damaged][1] // 2] ^= 0x55
    path.write_bytes(data)
    times = [0.0, 0.1, 0.25, 0.3, 0.45, 0.5, 0.65, 0.7]
    (tmp_path / "times.csv").write_text("time_s\n" + "\n".join(map(str, times)))
    video = source(path)
    _, stamps, read = read_all(video)
    whole = [k for k in range(8) if any(np.array_equal(pictures[k], r) for r in read)]
    assert whole == [0, 1, 3, 4, 6, 7]
    assert [stamp.number for stamp in stamps] == whole, "what is left out is a gap"
    assert [stamp.time_s for stamp in stamps] == [times[k] for k in whole]
    assert not any("table" in words for words in video.warnings)


def test_a_table_of_another_length_is_said(tmp_path: Path) -> None:
    path = write_video(tmp_path / "clip.mkv", noise(ODD, 3))
    (tmp_path / "times.csv").write_text("time_s\n0\n0.5\n")
    video = source(path)
    _, stamps, _ = read_all(video)
    assert [stamp.time_s for stamp in stamps[:2]] == [0.0, 0.5]
    assert len(stamps) == 3
    assert video.warnings == ("the table of times has 2 lines for 3 frames",)


def test_a_file_of_one_frame(tmp_path: Path) -> None:
    pictures = noise((3, 5), 1)
    path = write_video(tmp_path / "one.avi", pictures)
    info, stamps, read = read_all(source(path))
    assert info.frames == 1
    assert [stamp.time_s for stamp in stamps] == [0.0]
    assert np.array_equal(read, pictures)


def test_h264_colour_keeps_its_levels(tmp_path: Path) -> None:
    pictures = smooth(120, 160, 5)
    path = write_video(
        tmp_path / "clip.mp4", pictures, form="yuv420p", codec="libx264", options={"crf": "1"}
    )
    # Gray pictures: without a channel asked for they would be read as gray.
    video = source(path, channel="green")
    info, stamps, read = read_all(video)
    assert (info.channels, info.bits, info.frames) == (3, 8, 5)
    assert [stamp.time_s for stamp in stamps] == pytest.approx([i / 30 for i in range(5)])
    for picture, back in zip(pictures, read, strict=True):
        # 219 steps of brightness for 256 codes, and the coder's own step
        assert np.abs(back[60, 80].astype(int) - picture[60, 80]).max() <= 2
    assert video.warnings == ()


def test_ten_bit_colour_keeps_more_than_eight(tmp_path: Path) -> None:
    ramp = np.tile(np.linspace(0, 65535, 512).astype(np.uint16)[None, :, None], (16, 1, 3))
    path = write_video(
        tmp_path / "clip.mkv", [ramp], form="gbrp16le", options={"level": "3", "coder": "1"}
    )
    info, _, read = read_all(source(path))
    assert info.dtype == np.uint16
    assert len(np.unique(read[0][0, :, 0])) == 512


@pytest.mark.parametrize("form", ["yuv420p10le", "yuv444p10le", "gbrp10le", "yuv422p12le"])
def test_colour_has_the_bits_the_file_has(form: str, tmp_path: Path) -> None:
    bits = 12 if "12" in form else 10
    white = (1 << bits) - 1
    ramp = np.tile(np.linspace(0, 65535, 256).astype(np.uint16)[None, :, None], (16, 1, 3))
    with av.open(str(tmp_path / "clip.mkv"), "w") as file:
        stream = file.add_stream("ffv1", rate=30, options={"level": "3"})
        stream.height, stream.width, stream.pix_fmt = 16, 256, form
        frame = to_frame(ramp, "gbrp16le").reformat(format=form)
        file.mux(stream.encode(frame))
        file.mux(stream.encode(None))
    video = source(tmp_path / "clip.mkv")
    info, _, read = read_all(video)
    assert (info.channels, info.bits, info.white) == (3, bits, white)
    # 876 steps of brightness for 1023 codes, rounded on the way in and out in luma and chroma
    miss = np.abs(read[0][8] - ramp[8] / 65535 * white).max()
    assert miss <= 3.0 * (1 << (bits - 10))
    assert info.note == ""


def test_losses_of_the_coding_are_said_from_the_start(tmp_path: Path) -> None:
    pictures = noise((32, 48, 3), 3)
    for name, codec, form in (
        ("a.avi", "mjpeg", "yuvj420p"),
        ("b.mp4", "libx264", "yuv420p"),
        ("c.mkv", "ffv1", "bgr0"),
    ):
        path = write_video(tmp_path / name, pictures, codec=codec, form=form)
        assert ("the noise is at least what is shown" in source(path).open().note) == (
            codec != "ffv1"
        )


@pytest.mark.parametrize(
    ("said", "wanted"),
    [("2021-03-04T05:06:07.5Z", "2021-03-04T05:06:07"), ("1904-01-01T00:00:00Z", ""), ("", "")],
)
def test_the_date_is_the_files_own(said: str, wanted: str, tmp_path: Path) -> None:
    path = tmp_path / "clip.mkv"
    with av.open(str(path), "w") as file:
        if said:
            file.metadata["creation_time"] = said
        stream = file.add_stream("ffv1", rate=30)
        stream.height, stream.width, stream.pix_fmt = 16, 16, "gray"
        file.mux(stream.encode(to_frame(noise((16, 16), 1)[0], "gray")))
        file.mux(stream.encode(None))
    video = source(path)
    video.open()
    assert video.recorded_at[:19] == wanted
    video.close()


@pytest.mark.parametrize(("degrees", "turns"), [(90, 1), (180, 2), (270, 3)])
def test_rotation_in_the_file_is_undone(degrees: int, turns: int, tmp_path: Path) -> None:
    pictures = noise((16, 32), 1)
    path = write_video(tmp_path / "turned.mkv", pictures, turned_degrees=degrees)
    info, _, read = read_all(source(path))
    assert info.shape == read[0].shape == ((32, 16) if turns % 2 else (16, 32))
    assert np.array_equal(read[0], np.rot90(pictures[0], turns))


@pytest.mark.parametrize(
    ("matrix", "shown"),
    [
        ((1, 0, 0, 1), lambda a: a),
        ((-1, 0, 0, 1), lambda a: a[:, ::-1]),  # rows run to the left
        ((1, 0, 0, -1), lambda a: a[::-1]),  # columns run up
        ((-1, 0, 0, -1), lambda a: a[::-1, ::-1]),
        ((0, 1, 1, 0), lambda a: a.T),  # rows run down, columns to the right
        ((0, 1, -1, 0), lambda a: a.T[:, ::-1]),  # rows run down, columns to the left
        ((0, -1, 1, 0), lambda a: a.T[::-1]),
        ((0, -1, -1, 0), lambda a: a.T[::-1, ::-1]),
    ],
)
def test_a_mirrored_picture_is_turned_back(
    matrix: tuple[int, ...], shown: Callable[[Any], Any], tmp_path: Path
) -> None:
    """By the matrix of a track's header in MP4 (ISO 14496-12, 8.3.2)."""
    path = write_video(tmp_path / "a.mp4", noise((16, 32), 1), codec="png", form="gray")
    data = path.read_bytes()
    at = data.index(b"tkhd") + 44
    a, b, c, d = (part << 16 for part in matrix)
    data = data[:at] + struct.pack(">9i", a, b, 0, c, d, 0, 0, 0, 1 << 30) + data[at + 36 :]
    path.write_bytes(data)
    info, _, read = read_all(source(path))
    wanted = shown(noise((16, 32), 1)[0])
    assert info.shape == wanted.shape
    assert np.array_equal(read[0], wanted)


def test_a_file_cut_off_gives_what_is_there_and_says_what_is_missing(tmp_path: Path) -> None:
    pictures = noise(ODD, 40)
    path = write_video(tmp_path / "clip.mkv", pictures, options=FFV1)
    data = path.read_bytes()
    path.write_bytes(data[: len(data) * 6 // 10])
    video = source(path)
    _, stamps, read = read_all(video)
    assert 22 <= len(stamps) <= 24
    assert np.array_equal(read, pictures[: len(read)])
    assert len(video.warnings) == 1
    missing = 40 - len(stamps)
    assert f"about {missing} frames" in video.warnings[0]


def test_what_is_missing_is_known_beside_a_sound_track_too(tmp_path: Path) -> None:
    sound = np.zeros(96_000, np.float32)  # two seconds: longer than the pictures
    path = write_video(tmp_path / "clip.mkv", noise(ODD, 30), options=FFV1, sound=sound)
    whole = source(path)
    _, stamps, _ = read_all(whole)
    assert len(stamps) == 30
    assert whole.warnings == ()
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2])
    cut = source(path)
    _, stamps, _ = read_all(cut)
    assert f"about {30 - len(stamps)} frames" in cut.warnings[0]


def test_a_counted_file_cut_off_says_exactly(tmp_path: Path) -> None:
    path = write_video(tmp_path / "clip.avi", noise(ODD, 20), options=FFV1)
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2])
    video = source(path)
    _, stamps, _ = read_all(video)
    words = " ".join(video.warnings)
    assert len(stamps) < 20
    assert "missing at the end" in words
    damaged = 1 if "damaged" in words else 0
    assert f"{20 - len(stamps) - damaged} frames missing" in words


def test_a_damaged_frame_is_left_out_and_counted(tmp_path: Path) -> None:
    pictures = noise(ODD, 12)
    path = write_video(tmp_path / "clip.mkv", pictures, options=FFV1)
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 0x10
    path.write_bytes(data)
    video = source(path)
    _, stamps, read = read_all(video)
    assert len(stamps) == 11
    numbers = [stamp.number for stamp in stamps]
    gone = next(i for i in range(12) if i not in numbers)
    assert 4 <= gone <= 8, "half way through the file"
    assert np.array_equal(read, pictures[:gone] + pictures[gone + 1 :])
    assert video.warnings == ("1 frame damaged and left out",)


def test_a_file_whose_writer_was_killed_still_reads(tmp_path: Path) -> None:
    pictures = noise(ODD, 30)
    path = write_video(tmp_path / "clip.mkv", pictures, options=FFV1)
    data = path.read_bytes()
    # what the writer puts in at the end: the length (element 0x4489) is not there yet
    at = data.index(b"\x44\x89\x88")
    path.write_bytes(data[:at] + b"\x44\x89\x88" + bytes(8) + data[at + 11 : len(data) * 8 // 10])
    video = source(path)
    info, stamps, read = read_all(video)
    assert len(stamps) >= 20
    assert np.array_equal(read, pictures[: len(read)])
    assert info.seconds is None or info.seconds < 2


def test_a_size_change_inside_is_an_error_with_the_place(tmp_path: Path) -> None:
    parts = []
    for name, shape in (("a", (64, 96)), ("b", (96, 64))):
        pictures = [picture[..., 0] for picture in smooth(*shape, 3)]
        path = write_video(tmp_path / f"{name}.nut", pictures, codec="png")
        with av.open(str(path)) as file:
            parts += [bytes(packet) for packet in file.demux() if packet.size]
    joined = tmp_path / "joined.avi"
    with av.open(str(path)) as like, av.open(str(joined), "w") as file:
        stream = file.add_stream_from_template(like.streams.video[0])
        for index, data in enumerate(parts):
            packet = av.Packet(data)
            packet.pts = packet.dts = index
            packet.time_base, packet.stream = Fraction(1, 10), stream
            file.mux(packet)
    video = source(joined)
    with pytest.raises(FormatChanged, match=r"96 x 64 gray to 64 x 96 gray at frame 3"):
        read_all(video)


def test_the_transfer_curve_the_file_names(tmp_path: Path) -> None:
    options = {"color_trc": "bt709", "color_primaries": "bt709", "colorspace": "bt709"}
    path = write_video(
        tmp_path / "clip.mkv", smooth(64, 64, 2), form="yuv420p", codec="libx264", options=options
    )
    assert read_all(source(path))[0].transfer == "bt709"
    plain = write_video(tmp_path / "plain.mkv", noise(ODD, 1))
    assert read_all(source(plain))[0].transfer is None


def test_what_the_settings_know_is_passed_on(tmp_path: Path) -> None:
    path = write_video(tmp_path / "clip.mkv", noise(ODD, 1, 4095), form="gray16le")
    info, _, _ = read_all(source(path, white=4095, row_time_s=1e-5, exposure_s=0.002))
    assert (info.white, info.row_time_s, info.exposure_s) == (4095, 1e-5, 0.002)
    assert info.bits == 16
    with pytest.raises(BadRequest, match="white = 4095 is above 255"):
        read_all(source(write_video(tmp_path / "b.mkv", noise(ODD, 1)), white=4095))


def test_grab_and_read_keep_their_order(tmp_path: Path) -> None:
    video = source(write_video(tmp_path / "clip.mkv", noise(ODD, 1)))
    info = video.open()
    with pytest.raises(RuntimeError, match="grabbed"):
        video.read_into(np.empty(info.shape, info.dtype))
    video.close()
    video.close()


def make_zero(path: Path) -> None:
    path.write_bytes(b"")


def make_text(path: Path) -> None:
    path.write_text("this is a letter, not a film\n" * 200)


def make_rubbish(path: Path) -> None:
    path.write_bytes(np.random.default_rng(4).bytes(50_000))


def make_sound(path: Path) -> None:
    import soundfile

    soundfile.write(path.with_suffix(".wav"), np.zeros(4800), 48000)
    path.with_suffix(".wav").rename(path)


def make_header_only(path: Path) -> None:
    write_video(path, noise(ODD, 3))
    path.write_bytes(path.read_bytes()[:300])


def make_unfinished_mp4(path: Path) -> None:
    whole = path.with_name("whole.mp4")
    write_video(whole, smooth(64, 64, 20), form="yuv420p", codec="libx264")
    path.write_bytes(whole.read_bytes()[:-1500])


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (make_zero, "empty (0 bytes)"),
        (make_text, "not a recording"),
        (make_rubbish, "not a recording"),
        (make_sound, "sound but no pictures"),
        (make_header_only, ""),
        (make_unfinished_mp4, "never finished"),
    ],
)
def test_bad_files_get_one_line(make, words: str, tmp_path: Path) -> None:
    path = tmp_path / "bad.mkv"
    make(path)
    with pytest.raises(InputUnreadable) as caught:
        read_all(source(path))
    line = str(caught.value)
    assert words in line
    assert line.startswith(str(path))
    assert "\n" not in line
    assert caught.value.remedy


def test_missing_file_and_folder(tmp_path: Path) -> None:
    with pytest.raises(InputUnreadable, match="no such file"):
        source(tmp_path / "none.mkv").open()
    with pytest.raises(InputUnreadable, match="is a folder"):
        source(tmp_path).open()


@pytest.mark.parametrize(
    ("side", "words"),
    [(11_000, "11000 x 11000 pixels, over the limit"), (4_000_000, "nothing usable of the size")],
)
def test_a_header_of_absurd_size_is_refused(side: int, words: str, tmp_path: Path) -> None:
    path = write_video(tmp_path / "clip.avi", noise((48, 64), 1))
    data = path.read_bytes()
    at = data.index(b"strf") + 12  # width and height of the stream's picture
    path.write_bytes(data[:at] + side.to_bytes(4, "little") * 2 + data[at + 8 :])
    with pytest.raises(InputUnreadable, match=words):
        read_all(source(path))


def test_float_pictures_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "float.nut"
    with av.open(str(path), "w") as file:
        stream = file.add_stream("rawvideo", rate=10)
        stream.width, stream.height, stream.pix_fmt = 16, 16, "gbrpf32le"
        frame = av.VideoFrame.from_ndarray(np.zeros((16, 16, 3), np.float32), "gbrpf32le")
        file.mux(stream.encode(frame))
        file.mux(stream.encode(None))
    with pytest.raises(InputUnreadable, match="pixel format 'gbrpf32le' is not supported"):
        read_all(source(path))


@pytest.mark.parametrize("tenth", range(1, 10))
def test_cut_at_every_tenth_byte_reads_or_says_why(tenth: int, tmp_path: Path) -> None:
    pictures = noise(ODD, 10)
    path = write_video(tmp_path / "clip.mkv", pictures, options=FFV1)
    data = path.read_bytes()
    path.write_bytes(data[: len(data) * tenth // 10])
    try:
        _, _, read = read_all(source(path))
    except InputUnreadable as error:
        assert tenth == 1
        assert error.remedy
        return
    assert np.array_equal(read, pictures[: len(read)])


@pytest.fixture
def web(tmp_path: Path) -> Iterator[str]:
    """The folder of the test on a web server."""

    class Quiet(http.server.SimpleHTTPRequestHandler):
        def __init__(self, *parts: object, **named: object) -> None:
            super().__init__(*parts, directory=str(tmp_path), **named)

        def log_message(self, *words: object) -> None:
            pass

    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), Quiet) as server:
        thread = threading.Thread(target=server.serve_forever, args=(0.05,))
        thread.start()
        try:
            yield f"http://127.0.0.1:{server.server_address[1]}"
        finally:
            server.shutdown()
            thread.join()


def test_a_finished_file_on_a_server_is_a_recording(web: str, tmp_path: Path) -> None:
    pictures = noise(ODD, 5)
    write_video(tmp_path / "clip.mkv", pictures)
    address = f"{web}/clip.mkv"
    info, stamps, read = read_all(frame_source(address, Settings(), clock=float, live=False))
    assert info.kind is SourceKind.VIDEO
    assert info.name == address
    assert [stamp.time_s for stamp in stamps[:2]] == pytest.approx([0, 0.033])
    assert np.array_equal(read, pictures)
    with pytest.raises(InputUnreadable, match="the server answers 404"):
        read_all(frame_source(f"{web}/none.mkv", Settings(), clock=float, live=False))


def test_a_bare_stream_without_times_counts_by_its_rate(tmp_path: Path) -> None:
    path = write_video(tmp_path / "bare.h264", smooth(64, 64, 10), form="yuv420p", codec="libx264")
    info, stamps, _ = read_all(source(path))
    assert info.rate_hz is not None
    steps = np.diff([stamp.time_s for stamp in stamps])
    assert steps == pytest.approx(np.full(9, 1 / info.rate_hz), rel=0.01)


def test_times_that_run_backwards_are_held_and_said(tmp_path: Path) -> None:
    path = write_video(tmp_path / "a.mkv", noise(ODD, 4), times_us=[0, 100_000, 150_000, 200_000])
    with av.open(str(path)) as file:
        third = [bytes(packet) for packet in file.demux(video=0)][2]
    data = bytearray(path.read_bytes())
    at = data.index(third) - 3  # a block's header: track, time in two bytes, flags
    assert data[at : at + 2] == (150).to_bytes(2, "big")
    data[at : at + 2] = (60).to_bytes(2, "big")
    path.write_bytes(data)
    video = source(path)
    _, stamps, _ = read_all(video)
    assert [stamp.time_s for stamp in stamps] == pytest.approx([0, 0.1, 0.1, 0.2])
    assert "backwards" in video.warnings[0]


def test_a_damaged_inter_coded_file_gives_the_same_frames_every_time(tmp_path: Path) -> None:
    busy = [np.repeat(picture[..., None], 3, axis=2) for picture in noise((96, 128), 40)]
    path = write_video(
        tmp_path / "clip.mkv", busy, form="yuv420p", codec="libx264", options={"g": "10"}
    )
    data = bytearray(path.read_bytes())
    middle = len(data) // 2
    data[middle : middle + 3000] = bytes(3000)
    path.write_bytes(data)
    runs = []
    for _ in range(4):
        video = source(path)
        _, stamps, _ = read_all(video)
        runs.append(([stamp.number for stamp in stamps], video.warnings))
    numbers, warnings = runs[0]
    assert all(run == runs[0] for run in runs)
    assert 20 <= len(numbers) < 40
    assert numbers == sorted(set(numbers))
    assert warnings
