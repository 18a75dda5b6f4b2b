"""The Plan page: a rig on paper, worked out while its numbers are changed.

Nothing here touches the running session until "Use this rig" hands the settings over.
"""

from __future__ import annotations

from functools import partial
from itertools import pairwise
from pathlib import Path
from typing import Any

from PyQt6.QtCore import QRectF, Qt, pyqtSignal
from PyQt6.QtGui import QPainter, QPaintEvent, QResizeEvent
from PyQt6.QtWidgets import QFileDialog, QWidget

from liveview.errors import LiveviewError
from liveview.gui.keys import Action, KeyMap
from liveview.gui.lines import Line, Lines
from liveview.gui.marks import choice_mark, notice_mark
from liveview.gui.pad import Pad
from liveview.gui.plan_drawing import RigDrawing
from liveview.gui.plan_fields import ValueField
from liveview.gui.plan_insets import BladeInset, CameraInset
from liveview.gui.plan_ruler import Ruler
from liveview.gui.plan_setups import file_name, handed_over, shipped_setups, short_name
from liveview.gui.plan_values import SPOTS, Spot, changed, nudged, read, shown
from liveview.gui.theme import COLOURS, Look, Type, Weight
from liveview.gui.words import DASH
from liveview.model import Side
from liveview.optics.plan import Plan, make_plan
from liveview.settings import Settings, Show, file_key, load_settings, save_settings

KINDS = {
    "one mirror": "Lamp and blade side by side near the mirror's centre of curvature",
    "two mirrors": "A parallel beam between two mirrors",
    "lenses": "A parallel beam between two lenses",
}

LAMPS = {
    "slit": "A narrow slit parallel to the blade's edge: much light, finely cut",
    "round": "A pinhole or a bare chip: the same for every direction of the blade",
}

GROUP = "Plan"

SHOWN_CAUTIONS = 3
BACK_STEPS = 100
"""Changes that can be taken back."""

_SPOTS = {spot.key: spot for spot in SPOTS}


class PlanPage(QWidget):
    """Everything about planning a rig."""

    KEY_GROUPS = ("Pages", "Window", GROUP)

    ANSWER_SHARE = 0.58
    """Of the window's width for a short answer: nothing round stands in its way here."""

    used = pyqtSignal(object)
    """The session's settings with this rig in them."""
    said = pyqtSignal(str)
    """A short answer to something the user did."""

    def __init__(self, settings: Settings | None = None, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._look = Look()
        self._session_settings = settings or Settings()
        self._settings = self._session_settings
        self._before: list[Settings] = []
        self._dragging = False
        self._plan: Plan | None = None
        self._impossible = self._culprit = ""
        self._fields: dict[str, ValueField] = {}
        self.name = self._field("rig.name", self)
        self.name.setAlignment(Qt.AlignmentFlag.AlignLeft)
        self.drawing = RigDrawing(self._field, self)
        self.blade = BladeInset(self._field, self)
        self.camera = CameraInset(self._field, self)
        self.ruler = Ruler(self._field, self)
        self.cautions = Lines(from_bottom=True, parent=self)
        self._make_pads()
        self._connect()
        self._tab_order()
        self._refresh()

    def _make_pads(self) -> None:
        self.kind_pads = {kind: Pad(kind, tip=tip, parent=self) for kind, tip in KINDS.items()}
        self.shape_pads = {
            shape: Pad(f"{shape} lamp", tip=tip, parent=self) for shape, tip in LAMPS.items()
        }
        tip = "The running picture is read with this rig's numbers"
        self.use_pad = Pad("Use this rig", tip=tip, parent=self)
        self.save_pad = Pad("Save as", tip="Write the rig into a settings file", parent=self)
        self.open_pad = Pad("Open", tip="Read a rig from a settings file", parent=self)
        self.back_pad = Pad("Take back", tip="Undo the last change of this plan", parent=self)
        self.setup_pads = {
            path: Pad(short_name(name), tip=f"Begin with: {name}", parent=self)
            for path, name in ((path, load_settings(path).rig.name) for path in shipped_setups())
        }

    def _connect(self) -> None:
        for kind, pad in self.kind_pads.items():
            pad.clicked.connect(lambda _=False, kind=kind: self.choose_kind(kind))
        for shape, pad in self.shape_pads.items():
            pad.clicked.connect(lambda _=False, shape=shape: self.choose_shape(shape))
        for path, pad in self.setup_pads.items():
            pad.clicked.connect(lambda _=False, path=path: self.open_setup(path))
        self.use_pad.clicked.connect(self.use)
        self.save_pad.clicked.connect(self._ask_save)
        self.open_pad.clicked.connect(self._ask_open)
        self.back_pad.clicked.connect(self.take_back)
        self.drawing.dragged.connect(self._drag_to)
        self.drawing.let_go.connect(self._let_go)
        self.blade.side_chosen.connect(self.choose_side)
        self.blade.shape_pressed.connect(self._other_shape)
        self.ruler.flow_chosen.connect(self.choose_flow)

    def _field(self, key: str, parent: QWidget) -> ValueField:
        spot = _SPOTS[key]
        field = ValueField(spot, parent)
        field.written.connect(lambda text: self.write(key, text))
        field.turned.connect(lambda steps: self.turn(key, steps))
        self._fields[key] = field
        return field

    def _tab_order(self) -> None:
        chain: list[QWidget] = [*self.kind_pads.values()]
        chain += [self._fields[spot.key] for spot in SPOTS]
        for one, other in pairwise(chain):
            QWidget.setTabOrder(one, other)

    def own_actions(self) -> tuple[Action, ...]:
        """What can be done here, for the window's key map.

        The keys of numbers do here what they do inside a number.
        """
        return (
            Action("plan use", ("U",), "Use this rig", GROUP, self.use_pad.click),
            Action("plan open", ("Ctrl+O",), "Open a set-up", GROUP, self.open_pad.click),
            Action("plan save", ("Ctrl+S",), "Save as", GROUP, self.save_pad.click),
            Action("plan back", ("Ctrl+Z",), "Take back the last change", GROUP, self.take_back),
            Action("plan next", ("Tab",), "Next number", GROUP, self._next_number),
            Action("plan before", ("Shift+Tab",), "Number before", GROUP, self._number_before),
            Action("plan more", ("Up",), "More of it", GROUP, partial(self._turn_number, 1)),
            Action("plan less", ("Down",), "Less of it", GROUP, partial(self._turn_number, -1)),
        )

    def make_pads(self, keys: KeyMap) -> None:
        """Show the keys on the pads, once the actions are in the window's key map."""
        pads = {"use": self.use_pad, "open": self.open_pad, "save": self.save_pad}
        for name, pad in (pads | {"back": self.back_pad}).items():
            pad.set_key(keys[f"plan {name}"].key)
        self.lay_out()

    def _next_number(self) -> None:
        self.focusNextPrevChild(True)

    def _number_before(self) -> None:
        self.focusNextPrevChild(False)

    def _turn_number(self, steps: int) -> None:
        """Without a number in hand there is nothing to turn."""
        there = self.focusWidget()
        if isinstance(there, ValueField):
            self.turn(there.spot.key, steps)
        else:
            self.said.emit("Take a number with Tab first.")

    # --- what others ask

    @property
    def settings(self) -> Settings:
        """The settings on paper."""
        return self._settings

    @property
    def plan(self) -> Plan | None:
        """The last rig that could be built."""
        return self._plan

    @property
    def impossible(self) -> str:
        """Why what is wanted cannot be built; empty if it can."""
        return self._impossible

    def field(self, key: str) -> ValueField:
        """The field of a setting."""
        return self._fields[key]

    def set_settings(self, settings: Settings) -> None:
        """The session's settings changed; the paper follows unless it was drawn on."""
        whole = self._settings == self._session_settings
        in_use = self._in_use()
        self._session_settings = settings
        if whole or in_use:
            self._settings = settings if whole else handed_over(self._settings, settings)
            self._refresh()

    # --- what the user does

    def write(self, key: str, text: str) -> None:
        """Take what was written into a field, or say why not."""
        spot = _SPOTS[key]
        try:
            value = read(text, spot, self._settings.screen.length_unit)
            settings = changed(self._settings, spot, value)
        except LiveviewError as error:
            self._fields[key].show_wrong()
            self.said.emit(str(error))
            return
        self._take(settings)

    def turn(self, key: str, steps: int) -> None:
        """The next rounder value of a field."""
        spot = _SPOTS[key]
        value = self._value(spot)
        if value is None:
            value = self._chosen(spot)
        if isinstance(value, (int, float)):
            self.set_value(key, nudged(float(value), steps, spot.measure))

    def set_value(self, key: str, value: float) -> None:
        """Set a value in SI units, or say why not."""
        try:
            self._take(changed(self._settings, _SPOTS[key], value))
        except LiveviewError as error:
            self.said.emit(str(error))

    def _drag_to(self, key: str, value: float) -> None:
        """A drag is one change, however many places it goes through."""
        before = self._before
        self.set_value(key, value)
        if self._dragging:
            self._before = before
        self._dragging = self._dragging or self._before is not before

    def _let_go(self) -> None:
        self._dragging = False

    def choose_kind(self, kind: str) -> None:
        """One mirror, two, or lenses; distances that belong to the other kind are let go."""
        self._take(
            self._settings.replaced("rig", kind=kind, lamp_distance_m=None).replaced(
                "blade", distance_m=None
            )
        )

    def choose_shape(self, shape: str) -> None:
        """Slit or round lamp."""
        self._take(self._settings.replaced("lamp", shape=shape))

    def _other_shape(self) -> None:
        self.choose_shape("slit" if self._settings.lamp.shape == "round" else "round")

    def choose_side(self, side: Side) -> None:
        """Side from which the blade comes."""
        self._take(self._settings.replaced("blade", side=side))

    def choose_flow(self, name: str) -> None:
        """What is to be seen."""
        self._take(self._settings.replaced("expect", flow=name, speed_m_s=None))

    def take_back(self) -> None:
        """Undo the last change."""
        if not self._before:
            self.said.emit("Nothing to take back.")
            return
        self._settings = self._before.pop()
        self._refresh()

    def use(self) -> None:
        """Hand this rig over to the session."""
        if self._impossible:
            self.said.emit(f"This rig cannot be built: {self._impossible}")
            return
        self._session_settings = handed_over(self._session_settings, self._settings)
        self.used.emit(self._session_settings)
        self.said.emit(f"In use: {self._settings.rig.name}.")
        self._refresh_pads()
        self.lay_out()

    def open_setup(self, path: Path) -> None:
        """Put a set-up on the paper."""
        try:
            loaded = load_settings(path)
        except LiveviewError as error:
            self.said.emit(str(error))
            return
        self._take(loaded.replaced("screen", **self._session_settings.screen.model_dump()))

    def save_setup(self, path: Path) -> None:
        """Write what is on the paper to a file; a show of the session is no part of a rig."""
        target = path if path.suffix else path.with_suffix(".toml")
        try:
            save_settings(self._settings.replaced("show", **Show().model_dump()), target)
        except LiveviewError as error:
            self.said.emit(str(error))
            return
        self.said.emit(f"Saved as {target.name}.")

    def _ask_save(self) -> None:
        dialog = self._dialog("Save the set-up", QFileDialog.FileMode.AnyFile)
        dialog.setAcceptMode(QFileDialog.AcceptMode.AcceptSave)
        dialog.setDefaultSuffix("toml")
        dialog.selectFile(file_name(self._settings.rig.name))
        dialog.fileSelected.connect(lambda name: self.save_setup(Path(name)))
        dialog.open()

    def _ask_open(self) -> None:
        dialog = self._dialog("Open a set-up", QFileDialog.FileMode.ExistingFile)
        dialog.fileSelected.connect(lambda name: self.open_setup(Path(name)))
        dialog.open()

    def _dialog(self, title: str, mode: QFileDialog.FileMode) -> QFileDialog:
        dialog = QFileDialog(self.window(), title, str(Path.home()), "Set-ups (*.toml)")
        dialog.setFileMode(mode)
        dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        return dialog

    # --- working it out

    def _take(self, settings: Settings) -> None:
        if settings == self._settings:
            return
        self._before = [*self._before[1 - BACK_STEPS :], self._settings]
        self._settings = settings
        self._refresh()

    def _refresh(self) -> None:
        try:
            self._plan, self._impossible = make_plan(self._settings), ""
            self._culprit = ""
        except LiveviewError as error:
            self._impossible, self._culprit = f"{error.what}; {error.remedy}", error.where
        for part in (self.drawing, self.blade, self.camera, self.ruler):
            if self._impossible or self._plan is None:
                part.show_stale()
        self._refresh_fields()
        if not self._impossible and self._plan is not None:
            for part in (self.drawing, self.blade, self.camera, self.ruler):
                part.show_plan(self._plan)
        self._refresh_pads()
        self._refresh_cautions()
        self.lay_out()

    def _value(self, spot: Spot) -> Any:
        return getattr(getattr(self._settings, spot.section), spot.attribute)

    def _chosen(self, spot: Spot) -> float | None:
        """What the plan chose for an automatic value."""
        plan = self._plan
        if plan is None:
            return None
        pixels = None if plan.view is None else plan.view.pixels
        return {
            "rig.first_focal_length_m": plan.rig.first_focal_length_m,
            "rig.lamp_distance_m": plan.rig.lamp_distance_m,
            "blade.distance_m": plan.rig.blade_distance_m,
            "lamp.image_width_m": plan.rig.image_width_m,
            "camera.width": None if pixels is None else pixels[0],
            "camera.height": None if pixels is None else pixels[1],
            "expect.speed_m_s": plan.expected.flow.speed_m_s,
        }.get(spot.key)

    def _refresh_fields(self) -> None:
        unit = self._settings.screen.length_unit
        for spot in SPOTS:
            value, instead = self._value(spot), ""
            if value is None:
                chosen = self._chosen(spot)
                instead = "not given" if chosen is None else shown(chosen, spot.measure, unit)
                if self._impossible and chosen is not None:
                    instead = DASH
            self._fields[spot.key].show_value(shown(value, spot.measure, unit), instead)

    def _refresh_pads(self) -> None:
        rig, lamp = self._settings.rig, self._settings.lamp
        for kind, pad in self.kind_pads.items():
            pad.set_state(mark=choice_mark(kind == rig.kind), on=kind == rig.kind)
        for shape, pad in self.shape_pads.items():
            pad.set_state(mark=choice_mark(shape == lamp.shape), on=shape == lamp.shape)
        for pad in self.setup_pads.values():
            pad.set_state(on=short_name(rig.name) == pad.text())
        in_use = self._in_use()
        self.use_pad.set_state(
            mark=choice_mark(in_use), on=not in_use, title="In use" if in_use else "Use this rig"
        )

    def _in_use(self) -> bool:
        """The session works with the rig on the paper."""
        return handed_over(self._session_settings, self._settings) == self._session_settings

    def _refresh_cautions(self) -> None:
        concerned = {self._culprit} if self._impossible else set()
        if self._plan is not None and not self._impossible:
            concerned = {caution.setting for caution in self._plan.cautions}
        for spot in SPOTS:
            self._fields[spot.key].show_concern(_file_key(spot) in concerned)
        if self._impossible:
            words = [f"Cannot be built: {self._impossible}"]
        elif self._plan is None:
            words = []
        else:
            words = [f"{_capital(c.text)}; {c.remedy}." for c in self._plan.cautions]
        lines = [
            Line(text, colour=COLOURS.text, mark=notice_mark) for text in words[:SHOWN_CAUTIONS]
        ]
        if len(words) > SHOWN_CAUTIONS:
            lines[-1] = Line(
                f"{words[SHOWN_CAUTIONS - 1]}  (and {len(words) - SHOWN_CAUTIONS} more)",
                colour=COLOURS.text,
                mark=notice_mark,
            )
        if not lines:
            lines = [Line("Nothing speaks against it.", colour=COLOURS.quiet)]
        self.cautions.show_lines(lines)

    # --- layout

    def set_look(self, look: Look) -> None:
        """Sizes for the present window."""
        self._look = look
        for part in (self.drawing, self.blade, self.camera, self.ruler, self.cautions):
            part.set_look(look)
        self.name.set_look(look, Type.HEAD, Weight.STRONG)
        for pad in self._pads():
            pad.set_look(look)
        self.lay_out()

    def _pads(self) -> list[Pad]:
        groups = (self.kind_pads, self.shape_pads, self.setup_pads)
        pads = [pad for group in groups for pad in group.values()]
        return [*pads, self.use_pad, self.save_pad, self.open_pad, self.back_pad]

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        self.lay_out()

    def lay_out(self) -> None:
        """Place everything for the present size."""
        look, width, height = self._look, self.width(), self.height()
        left, right = look.px(2.2), width - look.px(2.2)
        self.name.put_left(left, look.px(11.3))
        self._row(
            [self.use_pad, self.save_pad, self.open_pad, self.back_pad], right, look.px(9.5), -1
        )
        x = self._row(list(self.kind_pads.values()), left, look.px(14.0), 1)
        self._row(list(self.shape_pads.values()), x + look.px(4), look.px(14.0), 1)
        self._row(list(self.setup_pads.values())[::-1], right, look.px(14.0), -1)
        low = height - look.px(44.5)
        self.drawing.setGeometry(QRectF(0, look.px(17.9), width, low - look.px(23.5)).toRect())
        self.cautions.setGeometry(
            QRectF(left, low - look.px(8.4), right - left, look.px(8.0)).toRect()
        )
        tall = look.px(44.0)
        half = left + look.px(45.5)
        self.blade.setGeometry(QRectF(left, low, look.px(44.5), tall).toRect())
        self.camera.setGeometry(QRectF(half, low, look.px(46), tall).toRect())
        start = half + look.px(48)
        self.ruler.setGeometry(QRectF(start, low, right - start, tall).toRect())

    def _row(self, pads: list[Pad], x: float, y: float, way: int) -> float:
        """Pads side by side from ``x``, to the right (1) or to the left (-1); where they end."""
        gap = self._look.px(1.4)
        for pad in pads:
            pad.resize(pad.sizeHint())
            if way < 0:
                x -= pad.width()
            pad.move(round(x), round(y))
            x += pad.width() + gap if way > 0 else -gap
        return x

    def paintEvent(self, event: QPaintEvent | None) -> None:
        p = QPainter(self)
        p.fillRect(self.rect(), COLOURS.ground)
        p.end()


def _file_key(spot: Spot) -> str:
    """The key as cautions and errors name it, without its unit."""
    return f"{spot.section}.{file_key(spot.attribute)}"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
