"""The figures of a plan: labels, values in SI units, and what each assumes."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from liveview.optics import camera, deflection
from liveview.optics.blade import axial_tolerance, position_from_uncut, slope_at_uncut
from liveview.optics.camera import ExposureAdvice
from liveview.optics.rig import RigGeometry
from liveview.optics.sound import sound_delay, sound_speed
from liveview.optics.view import View
from liveview.optics.visibility import noise_of_contrast
from liveview.settings import Settings

USUAL_PIXELS = (1280, 720)
"""Assumed where the settings do not tell the picture's size."""

EVEN_TILT = 0.05
"""Fall of the uncut fraction over the disc up to which it still looks even."""


class Kind(str, Enum):
    """What a figure measures; its SI unit stands behind."""

    LENGTH = "m"
    ANGLE = "rad"
    TIME = "s"
    SPEED = "m/s"
    SHARE = "1"
    """A pure number."""
    PIXELS = "px"
    CONTRAST_SLOPE = "1/rad"


@dataclass(frozen=True, slots=True)
class Figure:
    """One result. ``value`` is in the SI unit of ``kind``, None where it cannot be known;
    ``note`` then says why, else what it assumes."""

    key: str
    group: str
    label: str
    value: float | None
    kind: Kind
    note: str = ""


def distance_figures(settings: Settings, rig: RigGeometry) -> list[Figure]:
    """How far lamp, blade, object and camera are from the mirror (or lens)."""
    second = "mirror" if rig.kind == "one mirror" else "second " + rig.element
    first = "mirror" if rig.kind == "one mirror" else "first " + rig.element
    g = "distances"
    cam = settings.camera
    figures = [
        Figure("lamp_distance", g, f"lamp to {first}", rig.lamp_distance_m, Kind.LENGTH),
        Figure("image_distance", g, f"{second} to lamp image", rig.image_distance_m, Kind.LENGTH),
        Figure("blade_distance", g, f"{second} to blade", rig.blade_distance_m, Kind.LENGTH),
        Figure(
            "blade_offset",
            g,
            "blade before the lamp image",
            rig.blade_offset_m,
            Kind.LENGTH,
            "positive: nearer to the mirror",
        ),
        Figure("object_distance", g, f"object to {second}", rig.object_distance_m, Kind.LENGTH),
        Figure(
            "camera_distance",
            g,
            f"camera lens to {second}",
            rig.blade_distance_m + cam.distance_from_blade_m,
            Kind.LENGTH,
        ),
    ]
    if rig.kind == "one mirror":
        spread = rig.paraboloid_blur_m
        note = "if it is a paraboloid, not a sphere"
        figures.append(
            Figure("paraboloid_blur", g, "lamp image blurred by", spread, Kind.LENGTH, note)
        )
    return figures


def blade_figures(settings: Settings, rig: RigGeometry) -> list[Figure]:
    """The lamp's image at the blade, and how finely the blade is to be moved in it."""
    g = "lamp image and blade"
    uncut, shape, width = settings.blade.target_uncut, settings.lamp.shape, rig.image_width_m
    slope = slope_at_uncut(uncut, width, shape)
    even = axial_tolerance(EVEN_TILT, width, rig.mirror_diameter_m, rig.blade_distance_m)
    return [
        Figure("magnification", g, "lamp image against lamp", rig.magnification, Kind.SHARE),
        Figure("image_width", g, "width of the lamp image", width, Kind.LENGTH),
        Figure("target_uncut", g, "uncut fraction wanted", uncut, Kind.SHARE),
        Figure(
            "blade_position",
            g,
            "blade into the image by",
            position_from_uncut(uncut, width, shape),
            Kind.LENGTH,
        ),
        Figure("travel_per_percent", g, "travel for 1 % of light", 0.01 / slope, Kind.LENGTH),
        Figure(
            "axial_tolerance",
            g,
            "blade along the axis, to either side",
            even,
            Kind.LENGTH,
            f"darkens evenly to {EVEN_TILT * 100:g} % of the light",
        ),
    ]


def sensitivity_figures(settings: Settings, rig: RigGeometry) -> list[Figure]:
    """Smallest and largest bend of light that the rig shows, and contrast against bend."""
    g = "sensitivity"
    uncut, shape = settings.blade.target_uncut, settings.lamp.shape
    arms, width = rig.arm_sum_m, rig.image_width_m
    low, high = deflection.angle_range(arms, width, uncut, shape)
    averaged = settings.enhance.average_frames
    sigma = noise_of_contrast(uncut, settings.expect.open_snr, averaged)
    frames = "one frame" if averaged == 1 else f"{averaged} frames averaged"
    assumed = f"at {settings.expect.open_snr:g} times the noise, {frames}"
    noise = deflection.smallest_angle(sigma, arms, width, uncut, shape)
    return [
        Figure("passes", g, "passes through the object", float(rig.passes), Kind.SHARE),
        Figure("arm_sum", g, "lever arms together", arms, Kind.LENGTH),
        Figure(
            "contrast_per_radian",
            g,
            "contrast",
            deflection.sensitivity(arms, width, uncut, shape),
            Kind.CONTRAST_SLOPE,
        ),
        Figure("range_dark", g, "fully dark at", low, Kind.ANGLE, "light bent towards the blade"),
        Figure("range_bright", g, "fully bright at", high, Kind.ANGLE, "bent away from the blade"),
        Figure("noise_angle", g, "angle of the noise (k = 1)", noise, Kind.ANGLE, assumed),
        Figure(
            "seen_angle",
            g,
            f"angle an eye accepts (k = {deflection.SEEN_BY_EYE:g})",
            deflection.SEEN_BY_EYE * noise,
            Kind.ANGLE,
            assumed,
        ),
    ]


def camera_figures(
    settings: Settings,
    rig: RigGeometry,
    view: View | None,
    speed_m_s: float,
    exposure: ExposureAdvice | None,
) -> list[Figure]:
    """What the camera sees of the mirror, how sharply, and how it is to be exposed.

    Parameters
    ----------
    settings : Settings
    rig : RigGeometry
    view : View or None
        None when the lens gives no sharp image; the figures that need one are None, too.
    speed_m_s : float
        Of the flow at the object, metres a second.
    exposure : ExposureAdvice or None
        None without the open picture's brightness.
    """
    g = "camera"
    pupil = settings.camera.lens_focal_length_m / settings.camera.f_number
    if view is None:
        return [
            Figure("pupil", g, "opening of the lens", pupil, Kind.LENGTH),
            Figure("field_width", g, "field at the mirror", None, Kind.LENGTH, "no sharp image"),
        ]
    at_object = view.object_pixel_m
    depth = camera.depth_of_object(at_object, rig.image_width_m, rig.blade_distance_m)
    detail = camera.diffraction_blur(settings.lamp.wavelength_m, view.distance_m, view.pupil_m)
    size_note = "" if settings.camera.width else f"{USUAL_PIXELS[0]} pixels across assumed"
    return [
        Figure("field_width", g, "field at the mirror, width", view.field_m[0], Kind.LENGTH),
        Figure("field_height", g, "field at the mirror, height", view.field_m[1], Kind.LENGTH),
        Figure("wanted_lens", g, "lens that fills the picture", view.wanted_lens_m, Kind.LENGTH),
        Figure("disc_pixels", g, "disc across", view.disc_pixels, Kind.PIXELS, size_note),
        Figure("object_field", g, "field at the object", rig.object_field_m, Kind.LENGTH),
        Figure("object_pixel", g, "one pixel at the object", at_object, Kind.LENGTH, size_note),
        Figure("lens_detail", g, "detail the lens resolves", detail, Kind.LENGTH),
        Figure("depth", g, "sharp to a pixel, to either side", depth, Kind.LENGTH),
        Figure("pupil", g, "opening of the lens", view.pupil_m, Kind.LENGTH),
        Figure("pupil_needed", g, "opening the light needs", view.pupil_needed_m, Kind.LENGTH),
        *_exposure_figures(settings.camera.exposure_s, at_object, speed_m_s, exposure),
    ]


def _exposure_figures(
    smear_s: float | None, at_object: float, speed_m_s: float, exposure: ExposureAdvice | None
) -> list[Figure]:
    """How long the camera may look at what moves."""
    g = "camera"
    return [
        Figure("speed", g, "speed of the flow", speed_m_s, Kind.SPEED),
        Figure(
            "smear",
            g,
            "smear during the exposure",
            None if smear_s is None else camera.motion_blur(speed_m_s, smear_s),
            Kind.LENGTH,
            "" if smear_s is not None else "the exposure is not given",
        ),
        Figure(
            "longest_exposure",
            g,
            "exposure for a smear of one pixel",
            camera.longest_exposure(speed_m_s, at_object) if speed_m_s > 0.0 else None,
            Kind.TIME,
            "" if speed_m_s > 0.0 else "nothing moves",
        ),
        Figure(
            "exposure",
            g,
            "exposure suggested",
            None if exposure is None else exposure.exposure_s,
            Kind.TIME,
            _exposure_note(exposure),
        ),
    ]


def _exposure_note(exposure: ExposureAdvice | None) -> str:
    if exposure is None:
        return "needs the open picture's brightness"
    if not exposure.measured:
        return "the picture was clipped: set this and measure again"
    if exposure.light_factor > 1.01:
        return f"and {exposure.light_factor:.2g} times more light, or gain"
    return f"open picture at {camera.OPEN_TARGET * 100:g} % of the top code"


def sound_figures(settings: Settings) -> list[Figure]:
    """How late the crack of a spark is heard."""
    kelvin, away = settings.rig.temperature_k, settings.catch.mic_distance_m
    g = "sound"
    return [
        Figure("sound_speed", g, "speed of sound", sound_speed(kelvin), Kind.SPEED, "dry air"),
        Figure("mic_distance", g, "spark to microphone", away, Kind.LENGTH),
        Figure("sound_delay", g, "a crack is late by", sound_delay(away, kelvin), Kind.TIME),
    ]
