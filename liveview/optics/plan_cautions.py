"""What cannot work in a plan, or needs care, and what to change."""

from __future__ import annotations

from dataclasses import dataclass

from liveview.optics import camera
from liveview.optics.plan_figures import EVEN_TILT
from liveview.optics.rig import RigGeometry
from liveview.optics.view import View
from liveview.optics.visibility import Verdict, Visibility
from liveview.settings import Settings
from liveview.units import ARCSEC_RAD

SQUARE_WITHIN = 0.03
"""Width over height of a pixel may differ from 1 by so much: data sheets round."""


@dataclass(frozen=True, slots=True)
class Caution:
    """Something that will not work (``stops``) or needs care. ``setting`` is the key to change,
    such as ``"camera.lens_focal_length"``."""

    setting: str
    text: str
    remedy: str
    stops: bool = False


def cautions(
    settings: Settings,
    rig: RigGeometry,
    view: View | None,
    expected: Visibility,
    speed_m_s: float,
) -> list[Caution]:
    """Everything to be said about a plan, what stops it first."""
    found = [*_lamp_cautions(settings, rig), *_blade_cautions(settings, rig)]
    found += _pixel_cautions(settings)
    found += _view_cautions(settings, rig, view)
    found += _flow_cautions(settings, rig, view, expected, speed_m_s)
    return sorted(found, key=lambda caution: not caution.stops)


def _mm(value_m: float) -> str:
    """Millimetres for a sentence, three significant digits."""
    return f"{value_m * 1e3:.3g} mm" if abs(value_m) < 1.0 else f"{value_m:.3g} m"


def _lamp_cautions(settings: Settings, rig: RigGeometry) -> list[Caution]:
    found = []
    first = rig.first_focal_length_m
    if rig.kind != "one mirror" and abs(rig.lamp_distance_m / first - 1.0) > 0.01:
        found.append(
            Caution(
                "rig.lamp_distance",
                f"the lamp is not in the focus of the first {rig.element}, so the beam is not "
                "parallel and the figures do not hold",
                f"put it at {_mm(first)}",
            )
        )
    airy = settings.lamp.wavelength_m * rig.blade_distance_m / rig.mirror_diameter_m
    if rig.image_width_m < 4.0 * airy:
        found.append(
            Caution(
                "lamp.width",
                f"the lamp's image ({_mm(rig.image_width_m)}) is hardly wider than its "
                f"diffraction ({_mm(airy)}): brightness no longer follows the blade's travel",
                "use a wider lamp or slit",
            )
        )
    blur = rig.paraboloid_blur_m
    if rig.kind == "one mirror" and blur > 0.25 * rig.image_width_m:
        found.append(
            Caution(
                "rig.mirror_diameter",
                f"if this mirror is a paraboloid, its zones blur the lamp's image by {_mm(blur)} "
                f"of {_mm(rig.image_width_m)}: rings stay in the picture and the cutoff differs "
                "over the disc",
                "use a sphere, a wider lamp, or mask the rim",
            )
        )
    return found


def _blade_cautions(settings: Settings, rig: RigGeometry) -> list[Caution]:
    found = []
    uncut = settings.blade.target_uncut
    tilt = (
        rig.mirror_diameter_m * abs(rig.blade_offset_m) / (rig.image_width_m * rig.blade_distance_m)
    )
    if tilt > EVEN_TILT:
        place = "near to" if rig.blade_offset_m > 0.0 else "far from"
        effect = f"the disc falls by {tilt * 100:.2g} % of the light from side to side"
        if tilt > 2.0 * min(uncut, 1.0 - uncut):
            effect = "part of the disc is fully dark or open"
        found.append(
            Caution(
                "blade.distance",
                f"the blade is {_mm(abs(rig.blade_offset_m))} too {place} the mirror: {effect}",
                f"move it to {rig.image_distance_m:.4g} m",
            )
        )
    if not 0.1 <= uncut <= 0.9:
        found.append(
            Caution(
                "blade.target_uncut",
                f"with {uncut * 100:g} % uncut little bends further to "
                + ("the dark side" if uncut < 0.5 else "the bright side"),
                "take about half",
            )
        )
    return found


def _view_cautions(settings: Settings, rig: RigGeometry, view: View | None) -> list[Caution]:
    lens = "camera.lens_focal_length"
    if view is None:
        return [
            Caution(
                lens,
                f"a lens of {_mm(settings.camera.lens_focal_length_m)} cannot focus on a mirror "
                "that near",
                "take a shorter lens",
                stops=True,
            )
        ]
    found = []
    room = min(view.field_m)
    if room < rig.mirror_diameter_m:
        found.append(
            Caution(
                lens,
                f"the field of view ({_mm(view.field_m[0])} × {_mm(view.field_m[1])}) is smaller "
                f"than the {rig.element} ({_mm(rig.mirror_diameter_m)})",
                f"take a lens of {_mm(view.wanted_lens_m)} or less",
            )
        )
    elif room > 2.5 * rig.mirror_diameter_m:
        found.append(
            Caution(
                lens,
                f"the disc takes only {rig.mirror_diameter_m / room * 100:.2g} % of the "
                "picture's height",
                f"a lens of {_mm(view.wanted_lens_m)} fills it",
            )
        )
    return found + _pupil_cautions(settings, rig, view)


def _pixel_cautions(settings: Settings) -> list[Caution]:
    """Sensor and picture that are not of one shape: one of the numbers is of something else."""
    cam = settings.camera
    if cam.width is None or cam.height is None:
        return []
    wide, high = cam.sensor_width_m / cam.width, cam.sensor_height_m / cam.height
    if abs(wide / high - 1.0) <= SQUARE_WITHIN:
        return []
    return [
        Caution(
            "camera.sensor_height",
            f"a pixel would be {wide * 1e6:.3g} um wide and {high * 1e6:.3g} um high, but cameras "
            "have square ones: the sensor's size and the picture's do not belong together",
            f"give the part of the sensor that is read, {_mm(cam.sensor_width_m)} by "
            f"{_mm(wide * cam.height)}",
        )
    ]


def _pupil_cautions(settings: Settings, rig: RigGeometry, view: View) -> list[Caution]:
    if view.clear_diameter_m >= rig.mirror_diameter_m:
        return []
    opening = f"the lens's opening ({_mm(view.pupil_m)} at f/{settings.camera.f_number:g})"
    widest = view.pupil_needed_m
    if view.clear_diameter_m == 0.0:
        return [
            Caution(
                "camera.f_number",
                f"{opening} is smaller than the lamp's image ({_mm(rig.image_width_m)}): it cuts "
                "like a second blade",
                f"open the lens to {_mm(widest)} or more, or use a smaller lamp",
                stops=True,
            )
        ]
    return [
        Caution(
            "camera.distance_from_blade",
            f"{opening} darkens the rim: only the inner {_mm(view.clear_diameter_m)} of the disc "
            "come through whole",
            f"open it to {_mm(widest)} or bring the camera nearer to the blade",
        )
    ]


def _flow_cautions(
    settings: Settings,
    rig: RigGeometry,
    view: View | None,
    expected: Visibility,
    speed_m_s: float,
) -> list[Caution]:
    found = []
    name = expected.flow.name
    if expected.verdict is Verdict.BEYOND:
        shift = rig.arm_sum_m * expected.flow.angle_rad
        found.append(
            Caution(
                "lamp.width",
                f"the range is smaller than the expected flow ({name}, "
                f"{expected.flow.angle_rad / ARCSEC_RAD:.2g} arcsec): its strongest parts will be "
                "fully dark or bright",
                f"a lamp image of {_mm(2.2 * shift)} would hold it",
            )
        )
    elif expected.verdict is Verdict.NO:
        found.append(
            Caution(
                "blade.target_uncut",
                f"the expected flow ({name}) bends light by less than the noise",
                "longer arms, a narrower lamp, more cutoff or averaging",
            )
        )
    exposure = settings.camera.exposure_s
    if exposure is not None and view is not None:
        smear = camera.motion_blur(speed_m_s, exposure) / (view.metres_per_pixel * rig.object_scale)
        if smear > 2.0:
            found.append(
                Caution(
                    "camera.exposure",
                    f"at {speed_m_s:.3g} m/s the exposure smears {name} over {smear:.2g} pixels",
                    f"expose no longer than {exposure / smear * 1e3:.2g} ms",
                )
            )
    return found
