"""The calibration pictures: averaging many frames, and refusing those that would mislead."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from liveview.errors import CalibrationRefused
from liveview.imaging.cv import cv2
from liveview.imaging.disc import disc_mask
from liveview.model import Average, Bytes, Calibration, CalibrationKind, CameraState, Disc, Light

GOOD_FRAMES = 16
"""Fewer frames than this leave the noise of the calibration in every picture."""
LEAST_LIGHT = 0.01
"""An open or reference picture must reach this light somewhere in the disc."""
MOST_CLIPPED_BRIGHT = 0.02
MOST_CLIPPED_DARK = 0.5
MOST_MOVING = 0.05
"""Share of the disc's blocks that may have changed while the picture was taken."""
MOST_DRIFT = 0.15
"""Overall change of brightness while the picture was taken."""

_BLOCK = 16


class PictureAverager:
    """Gathers frames in linear light for one calibration picture.

    Parameters
    ----------
    camera : CameraState
        State of the camera while the frames are taken; kept with the picture.
    kind : CalibrationKind
        What is being taken; decides what counts as misleading.
    """

    def __init__(self, camera: CameraState, kind: CalibrationKind) -> None:
        self._camera = camera
        self._kind = kind
        self._halves: list[NDArray[np.float64]] = []
        self._counts = [0, 0]
        self._low: Bytes | None = None
        self._high: Bytes | None = None

    @property
    def frames(self) -> int:
        """How many were added."""
        return sum(self._counts)

    def add(self, light: Light) -> None:
        """Take in one frame, float32 (rows, columns), 0..1; it is not kept.

        Frames go alternately into two sums, early and late being told apart by block, so that
        movement shows as a difference that noise does not explain.
        """
        if self._low is None or self._high is None:
            self._halves = [np.zeros(light.shape), np.zeros(light.shape)]
            self._low = np.zeros(light.shape, np.uint8)
            self._high = np.zeros(light.shape, np.uint8)
        if light.shape != self._low.shape:
            raise CalibrationRefused(
                "the picture size changed while it was taken", self._kind.value, "take it again"
            )
        which = (self.frames // 4) % 2
        cv2.accumulate(light, self._halves[which])
        self._counts[which] += 1
        self._low[light <= 0.0] = 255
        self._high[light >= 1.0 - 1e-6] = 255

    def result(
        self,
        taken_s: float,
        taken_at: str,
        disc: Disc | None = None,
        others: Calibration | None = None,
        *,
        judge: bool = True,
    ) -> Average:
        """The mean picture.

        Parameters
        ----------
        taken_s, taken_at : float, str
            Session time and local wall time.
        disc : Disc, optional
            Where to judge light, clipping and movement; the whole picture without one.
        others : Calibration, optional
            Pictures already there; an open that is not brighter than the dark is refused.
        judge : bool
            False gives the mean however misleading it is: of a recording that cannot be taken
            again, after its fault was said.

        Raises
        ------
        CalibrationRefused
            No frames; too little light or too much; clipping; something moved.
        """
        if self._low is None or self._high is None:
            raise CalibrationRefused("no frames came in", self._kind.value, "check the camera")
        mean = ((self._halves[0] + self._halves[1]) / self.frames).astype(np.float32)
        inside = disc_mask(mean.shape, disc) > 0
        if not inside.any():
            raise CalibrationRefused(
                "the disc lies outside the picture", self._kind.value, "place the disc again"
            )
        if judge:
            self._check(mean, inside, others or Calibration())
        bottom = self._low if self._kind is not CalibrationKind.DARK else np.zeros_like(self._low)
        clipped = (bottom | self._high) > 0
        return Average(mean, self.frames, taken_s, taken_at, self._camera, clipped)

    def _check(self, mean: Light, inside: NDArray[np.bool_], others: Calibration) -> None:
        self._check_light(mean, inside, others)
        self._check_clipping(inside)
        if self._kind is not CalibrationKind.DARK:
            self._check_still(inside)

    def _refuse(self, what: str, remedy: str) -> CalibrationRefused:
        return CalibrationRefused(what, f"{self._kind.value} picture", remedy)

    def _check_light(self, mean: Light, inside: NDArray[np.bool_], others: Calibration) -> None:
        bright = float(np.percentile(mean[inside], 90))
        middle = float(np.median(mean[inside]))
        if self._kind is CalibrationKind.DARK:
            lit = others.open or others.reference
            limit = 0.3 if lit is None else 0.5 * float(np.median(lit.light[inside]))
            if lit is not None and lit.light.shape != mean.shape:
                limit = 0.3
            if middle > limit:
                raise self._refuse(
                    f"too bright for a dark picture ({middle:.0%} of full light)",
                    "switch the lamp off or cap the lens, then take it again",
                )
            return
        dark = others.dark
        floor = 0.0
        if dark is not None and dark.light.shape == mean.shape:
            floor = float(np.percentile(dark.light[inside], 90))
        if bright < LEAST_LIGHT or bright < 1.5 * floor:
            raise self._refuse(
                f"not enough light (the disc reaches {bright:.1%} of full light)",
                "raise the exposure, or check lamp and alignment",
            )

    def _check_clipping(self, inside: NDArray[np.bool_]) -> None:
        assert self._low is not None and self._high is not None
        high = float((self._high[inside] > 0).mean())
        low = float((self._low[inside] > 0).mean())
        if high > MOST_CLIPPED_BRIGHT:
            raise self._refuse(
                f"{high:.0%} of the disc is clipped bright", "lower the exposure or the gain"
            )
        if self._kind is not CalibrationKind.DARK and low > MOST_CLIPPED_DARK:
            raise self._refuse(
                f"{low:.0%} of the disc is fully dark",
                "raise the exposure, or draw the blade back",
            )

    def _check_still(self, inside: NDArray[np.bool_]) -> None:
        """Compare the two sums block by block: light must not have moved."""
        if min(self._counts) < 4:
            return
        first, second = (
            half / count for half, count in zip(self._halves, self._counts, strict=True)
        )
        share = _blocks(inside.astype(np.float64))
        full = share > 0.9
        if full.sum() < 8:
            return
        a, b = _blocks(first)[full], _blocks(second)[full]
        total = a + b
        lit = total > 0.1 * np.median(total)
        change = 2.0 * (b - a)[lit] / total[lit]
        drift = float(np.median(change))
        if abs(drift) > MOST_DRIFT:
            raise self._refuse(
                f"the brightness changed by {abs(drift):.0%} while it was taken",
                "switch automatic exposure and gain off",
            )
        moving = float((np.abs(change - drift) > _still_limit(first, second, inside)).mean())
        if moving > MOST_MOVING:
            raise self._refuse(
                f"something moved in {moving:.0%} of the disc",
                "let the air come to rest, keep hands and heat away, then take it again",
            )


def _blocks(picture: NDArray[np.float64]) -> NDArray[np.float64]:
    size = (max(1, picture.shape[1] // _BLOCK), max(1, picture.shape[0] // _BLOCK))
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.float64)


def _still_limit(
    first: NDArray[np.float64], second: NDArray[np.float64], inside: NDArray[np.bool_]
) -> float:
    """Relative change of a block that noise explains, six times over, but at least 3 %."""
    rough = np.diff((second - first), axis=1)[:, ::2]
    pairs = inside[:, 1:][:, ::2]
    noise = 1.4826 * float(np.median(np.abs(rough[pairs]))) / np.sqrt(2) if pairs.any() else 0.0
    level = float(np.median((first + second)[inside])) / 2
    return max(0.03, 6.0 * noise / _BLOCK / max(level, 1e-9))
