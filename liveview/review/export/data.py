"""Numbers of an event: contrast stacks (TIFF, NPY) and the table of readings (CSV)."""

from __future__ import annotations

import contextlib
import csv
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from liveview.review.enhance import Enhancer
from liveview.review.export.common import Stretch, event_scale, stretch_of
from liveview.review.export.images import needs_ending
from liveview.review.export.job import Job, ahead, whole_file, whole_files
from liveview.review.export.metadata import as_text, export_metadata

COLUMNS = (
    "index",
    "frame",
    "time_s",
    "since_spark_s",
    "uncut",
    "tilt_across",
    "tilt_along",
    "contrast_sigma",
    "contrast_mean",
    "contrast_rms",
    "clipped_dark",
    "clipped_bright",
    "lamp_gain",
)


def _about(enhancer: Enhancer, stretch: Stretch, what: str) -> dict[str, Any]:
    scale = event_scale(enhancer)
    enhancer.come_to(stretch.first)  # its words tell what of that cannot be read
    return export_metadata(
        enhancer,
        what,
        (stretch.first, stretch.last),
        quantity="signed contrast I/I_ref - 1 in linear light; NaN outside the disc and where "
        "clipped",
        metres_per_px=None if scale is None else scale.metres_per_px,
        times_s=[
            round(stamp.time_s, 9)
            for stamp in enhancer.event.stamps[stretch.first : stretch.last + 1]
        ],
    )


def _contrasts(enhancer: Enhancer, stretch: Stretch) -> Iterator[NDArray[np.float32]]:
    return (enhancer.contrast(index) for index in range(stretch.first, stretch.last + 1))


def export_stack(
    enhancer: Enhancer,
    path: Path,
    *,
    stretch: Stretch | None = None,
    job: Job | None = None,
    overwrite: bool = False,
) -> None:
    """Write the contrast of each frame: .tif/.tiff (float32 pages, ImageDescription) or .npy.

    An .npy has its description beside it in a .json.

    Raises
    ------
    BadRequest, OutputFailed, Cancelled, InputUnreadable
        Nothing is left behind.
    """
    needs_ending(path, (".tif", ".tiff", ".npy"), "a contrast stack")
    stretch, job = stretch or stretch_of(enhancer.event), job or Job()
    job.total = stretch.last - stretch.first + 1
    about = _about(enhancer, stretch, "stack")
    if path.suffix.lower() == ".npy":
        with _described_beside(path, about, overwrite=overwrite) as part:
            _write_npy(part, enhancer, stretch, job)
    else:
        with whole_file(path, overwrite=overwrite) as part:
            _write_tiff(part, enhancer, stretch, about, job)


def files_of(path: Path) -> tuple[Path, ...]:
    """All files that an export to this name writes: some have a description beside them."""
    beside = path.with_suffix(path.suffix + ".json")
    return (path, beside) if path.suffix.lower() in (".npy", ".csv") else (path,)


@contextlib.contextmanager
def _described_beside(path: Path, about: dict[str, Any], *, overwrite: bool) -> Iterator[Path]:
    """As :func:`whole_file`, with the description beside it in a .json: both or none."""
    text = json.dumps(about, indent=1, ensure_ascii=False, sort_keys=True)
    with whole_files(files_of(path), overwrite=overwrite) as (part, beside):
        beside.write_text(text + "\n", encoding="utf-8")
        yield part


def _write_npy(path: Path, enhancer: Enhancer, stretch: Stretch, job: Job) -> None:
    source = enhancer.event.start.source
    header = {
        "descr": "<f4",
        "fortran_order": False,
        "shape": (job.total, source.height, source.width),
    }
    with path.open("wb") as file:
        np.lib.format.write_array_header_1_0(file, header)
        for contrast in ahead(_contrasts(enhancer, stretch)):
            file.write(np.ascontiguousarray(contrast, "<f4").tobytes())
            job.step()


def _write_tiff(
    path: Path, enhancer: Enhancer, stretch: Stretch, about: dict[str, Any], job: Job
) -> None:
    import tifffile

    source = enhancer.event.start.source
    big = job.total * source.width * source.height * 4 > 3 << 30
    scale = event_scale(enhancer)
    per_cm = 1.0 if scale is None else 0.01 / scale.metres_per_px
    # A first line of words: readers take JSON with a "shape" in it for something else.
    text = "liveview contrast stack\n" + as_text(about, ascii_only=True)
    with tifffile.TiffWriter(path, bigtiff=big) as file:
        for number, contrast in enumerate(ahead(_contrasts(enhancer, stretch))):
            file.write(
                contrast,
                photometric="minisblack",
                description=text if number == 0 else None,
                metadata=None,
                software=f"liveview {about['program']['version']}",
                resolution=(per_cm, per_cm),
                resolutionunit="NONE" if scale is None else "CENTIMETER",
            )
            job.step()


def export_table(
    enhancer: Enhancer,
    path: Path,
    *,
    stretch: Stretch | None = None,
    job: Job | None = None,
    overwrite: bool = False,
) -> None:
    """Write the readings of each frame as CSV; its description beside it in a .json.

    Raises
    ------
    BadRequest, OutputFailed, Cancelled, InputUnreadable
        Nothing is left behind.
    """
    needs_ending(path, (".csv",), "a table")
    stretch, job = stretch or stretch_of(enhancer.event), job or Job()
    job.total = stretch.last - stretch.first + 1
    about = _about(enhancer, stretch, "table")
    with (
        _described_beside(path, about, overwrite=overwrite) as part,
        part.open("w", encoding="utf-8", newline="") as file,
    ):
        table = csv.writer(file, lineterminator="\n")
        table.writerow(COLUMNS)
        for index in range(stretch.first, stretch.last + 1):
            table.writerow(_row(enhancer, index))
            job.step()


def _row(enhancer: Enhancer, index: int) -> list[str]:
    reading = enhancer.reading(index)
    contrast = enhancer.contrast(index)
    known = contrast[np.isfinite(contrast)].astype(np.float64)
    blade, shown = reading.blade, reading.histogram
    spark = enhancer.event.start.spotted.time_s
    values = (
        blade.uncut,
        blade.tilt_across,
        blade.tilt_along,
        reading.noise.contrast_sigma,
        float(known.mean()) if known.size else None,
        float(np.sqrt(np.mean(known**2))) if known.size else None,
        None if shown is None else shown.clipped_dark,
        None if shown is None else shown.clipped_bright,
        reading.lamp_gain,
    )
    times = (f"{reading.stamp.time_s:.9f}", f"{reading.stamp.time_s - spark:.9f}")
    cells = ("" if v is None or not np.isfinite(v) else f"{v:.7g}" for v in values)
    return [str(index), str(reading.stamp.number), *times, *cells]
