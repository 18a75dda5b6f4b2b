"""A set-up that is not the simulated rig is told; the user's own simulated rig is built anew."""

from __future__ import annotations

import pytest
from PyQt6.QtWidgets import QApplication
from support.window_rig import WindowRig, simulated

from liveview.bench.scene import scene_names
from liveview.gui.other_pages import add_other_pages
from liveview.gui.plan_page import PlanPage
from liveview.gui.plan_setups import shipped_setups
from liveview.gui.rig_match import rig_words
from liveview.gui.show_page import ShowPage
from liveview.settings import Settings, load_settings

BARN = load_settings(next(path for path in shipped_setups() if path.stem == "big-mirror"))


def test_what_differs_is_named() -> None:
    words = rig_words("simulated:spark", BARN, BARN)
    assert "320 mm, not 150 mm" in words
    assert "f 1900 mm, not 1200 mm" in words
    assert "round lamp, not slit" in words
    assert "blade at the bottom, not the left" in words
    assert "choose 'Your rig' as the source" in words


def test_nothing_is_said_where_they_agree_or_nobody_knows() -> None:
    assert rig_words("simulated:spark", BARN, Settings()) == ""
    assert rig_words("simulated", BARN, BARN) == ""
    assert rig_words("camera:0", Settings(), BARN) == ""
    assert rig_words("simulated:no such scene", Settings(), BARN) == ""
    assert all(rig_words(f"simulated:{name}", BARN, BARN) for name in scene_names())


def test_the_own_simulated_rig_is_not_that_of_other_settings() -> None:
    assert "choose it again" in rig_words("simulated", Settings(), BARN)


@pytest.mark.slow
def test_the_own_rig_is_built_anew_when_another_is_used(app: QApplication) -> None:
    rig = WindowRig(app, simulated, addresses=("simulated",))
    rig.first_picture()
    add_other_pages(rig.window, rig.bridge)
    before = rig.session
    plan = rig.window.findChild(PlanPage)
    assert plan is not None
    plan.open_setup(shipped_setups()[0])
    plan.use()
    rig.wait(lambda: rig.bridge.session not in (None, before))
    rig.first_picture()
    assert not rig.bridge.other_rig
    again = rig.session
    plan.set_value("expect.open_snr", 80.0)
    plan.use()
    assert rig.session is again
    rig.close()


@pytest.mark.slow
def test_a_scene_keeps_its_rig_and_that_is_said(app: QApplication) -> None:
    rig = WindowRig(app, simulated, addresses=("simulated:candle",), settings=BARN)
    rig.first_picture()
    add_other_pages(rig.window, rig.bridge)
    words = "The set-up is not the simulated rig"
    rig.wait(lambda: words in rig.window.page.notices.words())
    rig.press("F7")
    show = rig.window.findChild(ShowPage)
    assert show is not None
    rig.wait(lambda: words in show.guard.words())
    rig.window.use_settings(Settings())
    rig.wait(lambda: words not in show.guard.words())
    rig.close()
