"""Where the rig comes to lie on the drawing: scale, origin, dimension lines."""

from __future__ import annotations

from dataclasses import dataclass

from PyQt6.QtCore import QPointF

from liveview.gui.plan_sketch import Point, Sketch, sketch
from liveview.gui.theme import Look
from liveview.optics.plan import Plan

GAP_STEPS = {"one mirror": 7.0, "two mirrors": 4.6, "lenses": 0.0}
"""How far apart lamp and blade are drawn."""

BESIDE_STEPS = {"one mirror": (26.0, 22.0), "two mirrors": (17.0, 22.0), "lenses": (19.0, 25.0)}
"""Room left and right of the rig for what is written there."""

LINES_STEPS = 6.6
"""Height of the lines about the camera, of text at scale 1."""

ABOVE_STEPS = {"one mirror": 6.6, "two mirrors": 8.4, "lenses": 6.6}
BELOW_STEPS = {"one mirror": 9.6, "two mirrors": 12.0, "lenses": 9.6}
"""Room for dimension lines over and under the rig; that of two mirrors has its scale below."""


@dataclass(frozen=True, slots=True)
class Handle:
    """Something that can be dragged along the axis: which setting it is, where it stands, and
    from where (metres) and in which direction its distance counts."""

    key: str
    at: QPointF
    origin_m: float
    way: int


@dataclass(frozen=True, slots=True)
class Span:
    """A dimension line along the axis. ``row`` counts from the rig outwards, negative above."""

    key: str
    label: str
    start: Point
    end: Point
    row: int

    @property
    def length_m(self) -> float:
        """Metres along the axis."""
        return abs(self.end[0] - self.start[0])


@dataclass(frozen=True, slots=True)
class Paper:
    """The rig's sketch in metres, and how metres become pixels of the drawing."""

    sketch: Sketch
    x: float
    y: float
    """Pixels of the point (0, 0)."""
    scale: float
    """Pixels per metre."""

    def at(self, point: Point) -> QPointF:
        """A point of the sketch, pixels."""
        return QPointF(self.x + point[0] * self.scale, self.y - point[1] * self.scale)

    def row_y(self, row: int, look: Look) -> float:
        """Height of a row of dimension lines, pixels; see :class:`Span`."""
        reach = self.sketch.half_height * self.scale
        if row < 0:
            return self.y - reach - look.px(1.2 + 3.6 * -row)
        return self.y + reach + look.px(0.6 + 3.6 * row)


def fitting(plan: Plan, look: Look, width: int, height: int) -> Paper:
    """The rig as large as the drawing of ``width`` times ``height`` pixels allows."""
    settings, kind = plan.settings, plan.rig.kind
    behind, side = settings.camera.distance_from_blade_m, settings.blade.side
    flat = sketch(plan.rig, behind, side, 0.0)
    gap = look.px(GAP_STEPS[kind])
    gaps = {"one mirror": 1.0, "two mirrors": 2.0, "lenses": 0.0}[kind] * gap
    left, right = (look.px(steps) * look.text_scale for steps in BESIDE_STEPS[kind])
    above = look.px(max(ABOVE_STEPS[kind], LINES_STEPS * look.text_scale))
    over_under = above + look.px(BELOW_STEPS[kind])
    room_x, room_y = width - left - right, height - over_under - gaps
    tallest = max(glass.diameter_m for glass in flat.glasses)
    scale = min(room_x / (flat.right - flat.left), room_y / tallest)
    middle = (flat.left + flat.right) / 2.0
    return Paper(
        sketch=sketch(plan.rig, behind, side, gap / scale),
        x=left + room_x / 2 - middle * scale,
        y=above + (height - over_under) / 2,
        scale=scale,
    )


def same_scale(paper: Paper, plan: Plan, look: Look) -> Paper:
    """Another rig on the same paper: while a part is dragged, it does not move under it."""
    behind = plan.settings.camera.distance_from_blade_m
    gap = look.px(GAP_STEPS[plan.rig.kind]) / paper.scale
    other = sketch(plan.rig, behind, plan.settings.blade.side, gap)
    return Paper(other, paper.x, paper.y, paper.scale)


def spans(plan: Plan, s: Sketch) -> list[Span]:
    """The dimension lines along the axis."""
    first, last = s.glasses[0].at, s.glasses[-1].at
    glass = "lens" if plan.rig.kind == "lenses" else "mirror"
    two_mirrors = plan.rig.kind == "two mirrors"
    one = len(s.glasses) == 1

    def row(of: Point) -> int:
        if of[1] > 0 and plan.rig.kind != "lenses":
            return -1
        return 1 if two_mirrors else 2

    lamp, blade = ("", "") if one else ("first ", "second ")
    return [
        Span("rig.lamp_distance_m", f"lamp to {lamp}{glass}", s.lamp, first, row(s.lamp)),
        Span("blade.distance_m", f"blade to {blade}{glass}", s.blade, last, row(s.blade)),
        Span("rig.object_distance_m", "object", s.object, last, 2 if two_mirrors else 1),
    ]


def lamp_away(s: Sketch) -> int:
    """Side on which the lamp's housing lies: 1 right, -1 left."""
    return 1 if s.lamp[0] > s.glasses[0].at[0] else -1


def handles(paper: Paper) -> list[Handle]:
    """What can be taken hold of."""
    s = paper.sketch
    first, last = s.glasses[0].at[0], s.glasses[-1].at[0]
    return [
        Handle("rig.object_distance_m", paper.at(s.object), last, -1),
        Handle("blade.distance_m", paper.at(s.blade), last, 1 if s.looks < 0 else -1),
        Handle("rig.lamp_distance_m", paper.at(s.lamp), first, lamp_away(s)),
    ]
