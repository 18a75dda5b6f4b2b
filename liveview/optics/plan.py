"""A whole rig worked out from its settings: figures, cautions, and what will be seen.

One ``Plan`` serves the command, the Plan page and tests. Building it takes milliseconds, so a
page may do it on every change.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from liveview.errors import BadRequest
from liveview.optics import camera
from liveview.optics.air import Air
from liveview.optics.camera import ExposureAdvice
from liveview.optics.plan_cautions import Caution, cautions
from liveview.optics.plan_figures import (
    USUAL_PIXELS,
    Figure,
    blade_figures,
    camera_figures,
    distance_figures,
    sensitivity_figures,
    sound_figures,
)
from liveview.optics.rig import RigGeometry
from liveview.optics.scale import geometry
from liveview.optics.view import View, view_of
from liveview.optics.visibility import (
    NamedFlow,
    Visibility,
    flow_names,
    named_flows,
    visibility,
)
from liveview.settings import Settings


@dataclass(frozen=True, slots=True)
class Plan:
    """A rig worked out. ``view`` is None when the camera's lens cannot focus on the mirror."""

    settings: Settings
    rig: RigGeometry
    view: View | None
    figures: tuple[Figure, ...]
    cautions: tuple[Caution, ...]
    flows: tuple[Visibility, ...]
    expected: Visibility
    exposure: ExposureAdvice | None
    assumptions: tuple[str, ...]

    def figure(self, key: str) -> Figure:
        """The figure of this key; KeyError if there is none."""
        for figure in self.figures:
            if figure.key == key:
                return figure
        raise KeyError(key)


def make_plan(settings: Settings, *, brightness: float | None = None) -> Plan:
    """Work out the rig of ``settings``.

    Parameters
    ----------
    brightness : float, optional
        Mean linear light of the open disc, 0..1 of the top code, measured at the settings'
        exposure; gives an exposure suggestion.

    Raises
    ------
    BadRequest
        The rig cannot exist (lamp inside the focal length, object behind the blade ..), the
        expected flow has no such name, or a brightness without an exposure.
    """
    rig = geometry(settings)
    view = _view(settings, rig)
    air = Air(settings.rig.temperature_k, settings.rig.pressure_pa, settings.lamp.wavelength_m)
    flows = tuple(_flow(settings, rig, flow) for flow in named_flows(air))
    expected = _expected(settings, flows)
    speed = _speed(settings, expected.flow)
    exposure = _exposure(settings, view, rig, speed, brightness)
    figures = (
        *distance_figures(settings, rig),
        *blade_figures(settings, rig),
        *sensitivity_figures(settings, rig),
        *camera_figures(settings, rig, view, speed, exposure),
        *sound_figures(settings),
    )
    return Plan(
        settings=settings,
        rig=rig,
        view=view,
        figures=figures,
        cautions=tuple(cautions(settings, rig, view, expected, speed)),
        flows=flows,
        expected=expected,
        exposure=exposure,
        assumptions=_assumptions(settings, rig),
    )


def _view(settings: Settings, rig: RigGeometry) -> View | None:
    cam = settings.camera
    return view_of(
        rig,
        lens_m=cam.lens_focal_length_m,
        f_number=cam.f_number,
        sensor_m=(cam.sensor_width_m, cam.sensor_height_m),
        pixels=(cam.width or USUAL_PIXELS[0], cam.height or USUAL_PIXELS[1]),
        behind_m=cam.distance_from_blade_m,
    )


def _flow(settings: Settings, rig: RigGeometry, flow: NamedFlow) -> Visibility:
    return visibility(
        flow,
        rig.arm_sum_m,
        rig.image_width_m,
        settings.blade.target_uncut,
        settings.lamp.shape,
        open_snr=settings.expect.open_snr,
        averaged=settings.enhance.average_frames,
        wavelength_m=settings.lamp.wavelength_m,
    )


def _expected(settings: Settings, flows: tuple[Visibility, ...]) -> Visibility:
    for seen in flows:
        if seen.flow.name == settings.expect.flow:
            return seen
    raise BadRequest(
        f"no flow is called '{settings.expect.flow}'",
        "expect.flow",
        f"choose from: {', '.join(flow_names())}",
    )


def _speed(settings: Settings, flow: NamedFlow) -> float:
    wanted = settings.expect.speed_m_s
    return flow.speed_m_s if wanted is None else wanted


def _exposure(
    settings: Settings,
    view: View | None,
    rig: RigGeometry,
    speed_m_s: float,
    brightness: float | None,
) -> ExposureAdvice | None:
    if brightness is None:
        return None
    if settings.camera.exposure_s is None:
        raise BadRequest(
            "a brightness tells nothing without the exposure it was measured at",
            "camera.exposure",
            "give the exposure too",
        )
    if not 0.0 < brightness <= 1.0:
        raise BadRequest(
            f"{brightness:g} is not a brightness", "brightness", "give linear light, 0 to 1"
        )
    longest = math.inf
    if view is not None:
        longest = camera.longest_exposure(speed_m_s, view.object_pixel_m)
    return camera.exposure_advice(brightness, settings.camera.exposure_s, longest_s=longest)


def _assumptions(settings: Settings, rig: RigGeometry) -> tuple[str, ...]:
    words = []
    if "object distance" in rig.assumed:
        words.append("the object stands at the mirror (no distance given)")
    if "blade distance" in rig.assumed:
        words.append("the blade stands in the lamp's image")
    if settings.lamp.image_width_m is None:
        words.append("the lamp's image is as wide as the distances say; measure it if you can")
    if settings.camera.width is None:
        words.append(f"the picture has {USUAL_PIXELS[0]} x {USUAL_PIXELS[1]} pixels")
    words.append(f"an evenly bright {settings.lamp.shape} lamp; thin mirrors and lenses")
    words.append(f"an open picture {settings.expect.open_snr:g} times brighter than its noise")
    return tuple(words)
