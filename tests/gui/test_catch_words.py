"""What the Catch page says and allows."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import pytest
from support.scripted_source import info

from liveview.gui.catch_ring import HALF, angle_to_time, handy, span_for, time_to_angle
from liveview.gui.catch_strip import (
    CAPTION,
    NO_STAR,
    NOT_ARMED,
    SignalStrip,
    handy_sigma,
    share_to_strength,
    spark_bars,
    strength_to_share,
)
from liveview.gui.catch_words import (
    CAUTION,
    CAUTIONS,
    FAINT,
    VERDICT_S,
    Clocks,
    arm_of,
    clock_lines,
    clock_words,
    delay_words,
    heard,
    limit_words,
    longest_pre_s,
    memory_words,
    rate_words,
    raw_rate,
    sound_title,
    space_words,
    store_words,
    time_words,
    waits_for,
)
from liveview.model import (
    ArmState,
    Cause,
    SessionStatus,
    SoundInfo,
    Spotted,
    StoreStatus,
    TriggerReading,
)
from liveview.settings import Catch, Settings

MICROPHONE = SoundInfo("a microphone", 48000.0, 1, True)


def sounding(*level: float, step_s: float = 0.05) -> SessionStatus:
    peaks = tuple((k * step_s, value) for k, value in enumerate(level))
    return SessionStatus(sound=MICROPHONE, trigger=TriggerReading(level=peaks))


def test_the_memory_limits_what_is_kept_before_a_spark() -> None:
    assert longest_pre_s(6.0) == pytest.approx(6.0 - VERDICT_S)
    assert longest_pre_s(0.1) == 0.0
    assert longest_pre_s(None) == longest_pre_s(1e6) == 600.0
    assert limit_words(Catch(), None) == limit_words(Catch(), 60.0) == ""
    assert "reaches back" in limit_words(Catch(pre_trigger_s=10), 6.0)
    assert "disk" in limit_words(Catch(pre_trigger_s=3, post_trigger_s=10), 6.0)


def test_memory_says_whether_it_is_still_filling() -> None:
    assert memory_words(SessionStatus()) == ""
    filling = SessionStatus(ring_seconds=2.0, ring_capacity_seconds=18.0)
    assert "2.0" in memory_words(filling)
    assert "18" in memory_words(filling)
    assert "the last 18" in memory_words(replace(filling, ring_seconds=18.0))


@pytest.mark.parametrize("state", list(ArmState))
def test_every_state_has_a_word_of_its_own(state: ArmState) -> None:
    others = {arm_of(SessionStatus(arm=s), Catch()).word for s in ArmState if s is not state}
    assert arm_of(SessionStatus(arm=state), Catch()).word not in others


def test_learning_and_catching_tell_how_far_they_are() -> None:
    learning = SessionStatus(arm=ArmState.LEARNING, trigger=TriggerReading(learnt=0.4))
    assert arm_of(learning, Catch()).share == 0.4
    caught = TriggerReading(now_s=10.5, since_s=9.0, until_s=12.0)
    arm = arm_of(SessionStatus(arm=ArmState.CATCHING, trigger=caught), Catch(pre_trigger_s=1.0))
    assert arm.left_s == pytest.approx(1.5)
    assert arm.share == pytest.approx(0.75)


def test_it_says_when_nothing_can_start_an_event() -> None:
    assert "nothing will start it" in waits_for(Catch(on="both"), has_sound=False)
    assert "no sound" in waits_for(Catch(on="either"), has_sound=False)
    assert "no sound" not in waits_for(Catch(on="flash"), has_sound=False)
    assert waits_for(Catch(again=False), has_sound=True).endswith("once")


def test_delay_of_the_crack() -> None:
    # 1 m at 331.3 sqrt(293.15 / 273.15) = 343.2 m/s
    assert "2.91" in delay_words(1.0, 293.15)
    assert "0.00" in delay_words(0.0, 293.15)


def test_sound_that_is_missing_silent_faint_or_overdriven_is_told() -> None:
    settings = Settings()
    assert heard(SessionStatus(), settings).worry
    off = settings.replaced("sound", enabled=False)
    assert "switched off" in heard(SessionStatus(), off).words
    assert not heard(sounding(*[0.1] * 60), settings).worry
    silent = heard(sounding(*[0.0] * 60), settings)
    assert "zeros" in silent.words
    assert silent.worry
    assert "hardly" in heard(sounding(*[FAINT / 2] * 60), settings).words
    assert not heard(sounding(0.0, 0.0), settings).worry
    loud = heard(sounding(*[0.1] * 30, 1.0, *[0.1] * 30), settings)
    assert loud.clipped
    assert "overdriven" in loud.words
    assert not heard(sounding(1.0, *[0.1] * 80), settings).clipped


def test_free_space_in_time() -> None:
    source = info(1000, 1000, rate_hz=100.0)
    rate = raw_rate(source, None)
    assert rate == 1e8
    assert raw_rate(source, 50.0) == 5e7
    store = StoreStatus(free_bytes=int(12.5e9))
    words = space_words(store, rate, reserve_mb=500)
    assert "12 GB" in words.replace("\u2009", " ")
    assert "2 min" in words.replace("\u2009", " ")
    assert "0 s" in space_words(StoreStatus(free_bytes=1), rate, 500).replace("\u2009", " ")
    assert time_words(7200.0).replace("\u2009", " ") == "2 h"


def test_the_store_says_what_it_does() -> None:
    assert store_words(StoreStatus()) == "nothing to write"
    assert "7 frames wait in memory" in store_words(StoreStatus(writing=True, waiting_frames=7))
    assert "1 frame waits in memory" in store_words(StoreStatus(writing=True, waiting_frames=1))
    assert "2 events" in store_words(StoreStatus(converting=2, events_kept=2))


def test_events_of_another_day_have_a_date() -> None:
    today = datetime.fromisoformat("2031-05-04T10:00:00+02:00")
    assert clock_words("2031-05-04T09:15:07.120+02:00", today) == "09:15:07"
    assert clock_words("2031-05-03T09:15:07.120+02:00", today) == "2031-05-03 09:15"
    assert clock_words("no time", today) == "no time"


def test_cautions_name_every_danger_and_defer_to_codes() -> None:
    everything = " ".join(f"{a} {b}" for a, b in CAUTIONS).lower()
    for word in ("voltage", "ozone", "sprays", "hearing", "local codes", "licensed"):
        assert word in everything
        assert word in CAUTION.lower() or word == "hearing"


@pytest.mark.parametrize("time_s", [-4.0, -1.3, 0.0, 0.7, 4.0])
def test_time_and_angle_round_trip(time_s: float) -> None:
    assert angle_to_time(time_to_angle(time_s, 4.0), 4.0) == pytest.approx(time_s)


def test_the_ring_has_the_past_on_the_left_and_room_beyond_what_is_kept() -> None:
    assert time_to_angle(-1.0, 4.0) < 0 < time_to_angle(1.0, 4.0)
    assert time_to_angle(99.0, 4.0) == HALF
    assert angle_to_time(180.0, 4.0) in (-4.0, 4.0)
    assert span_for(1.0, 2.0) >= 2.0 * 1.3
    assert span_for(600.0, 0.0) == 600.0


def test_handy_values_stay_near_and_in_range() -> None:
    for time_s in (0.0, 0.33, 1.999, 5.26, 17.3, 59.7, 312.0):
        assert abs(handy(time_s) - time_s) <= max(0.05, 0.05 * time_s)
    assert handy_sigma(0.3) == 2.0
    assert handy_sigma(1e3) == 100.0
    assert handy_sigma(6.2) == 6.0


@pytest.mark.parametrize("sigma", [0.0, 1.0, 6.0, 40.0, 100.0])
def test_scale_of_the_strip_round_trips(sigma: float) -> None:
    assert share_to_strength(strength_to_share(sigma)) == pytest.approx(sigma)
    assert strength_to_share(1e6) == 1.0


def test_a_star_stands_on_a_spark_s_bar_and_on_no_other_high_one() -> None:
    signal = ((1.0, 2.0), (1.05, 90.0), (1.1, 30.0), (2.0, 80.0))
    flash = Spotted(1.04, 0.004, Cause.FLASH, 90.0)
    assert spark_bars(signal, (flash,), Cause.FLASH) == {1.05}
    assert spark_bars(signal, (flash,), Cause.SOUND) == frozenset()
    joined = replace(flash, cause=Cause.BOTH)
    assert spark_bars(signal, (joined,), Cause.SOUND) == {1.05}
    assert spark_bars((), (flash,), Cause.FLASH) == frozenset()


def test_a_high_bar_without_a_star_is_explained(app: object) -> None:
    strip = SignalStrip()
    flash = Spotted(8.0, 0.004, Cause.FLASH, 90.0)

    def said(*high: float, judged: bool = True, sparks: tuple[Spotted, ...] = ()) -> str:
        signal = tuple((0.05 * k, 2.0) for k in range(200))
        signal = tuple(
            (t, 80.0 if any(abs(t - at) < 0.02 for at in high) else s) for t, s in signal
        )
        reading = TriggerReading(now_s=10.0, flash=signal)
        strip.show_reading(reading, Catch(on="either"), True, sparks, judged)
        return strip.caption()

    assert said(5.0, judged=False) == NOT_ARMED
    assert said() == CAPTION
    # Armed from 10 s on: what was before that was not judged.
    assert said(5.0) == NOT_ARMED
    strip = SignalStrip()
    strip.show_reading(TriggerReading(now_s=1.0), Catch(), True, (), True)
    assert said(5.0) == NO_STAR
    assert said(8.0, 8.1, sparks=(flash,)) == CAPTION
    assert said(5.0, 8.0, sparks=(flash,)) == NO_STAR
    assert said(9.8) == CAPTION  # not judged yet


def test_clocks_say_how_sure_they_are_and_what_follows_for_pairs() -> None:
    assert clock_lines(Clocks(None, None, None)) == ()
    assert clock_lines(Clocks(0.0005, None, None)) == ("Times: frames ±0.5\u2009ms.",)
    # No clock is exact.
    exact = clock_lines(Clocks(0.0, 0.0, None))
    assert exact == ("Times: frames and sound within 0.1\u2009ms.",)
    trigger = TriggerReading(frame_error_s=0.003, sound_error_s=0.004)
    status = SessionStatus(sound=MICROPHONE, trigger=trigger)
    near = Settings().replaced("catch", mic_distance_m=0.0)
    clocks = Clocks.of(status, near)
    # 3 ms always, and three standard uncertainties: hypot(3, 4) = 5 ms.
    assert clocks.apart_s == pytest.approx(0.003 + 3 * 0.005)
    assert clock_lines(clocks) == (
        "Times: frames ±3\u2009ms, sound ±4\u2009ms.",
        "Flash and crack are one up to 18\u2009ms apart.",
    )
    assert Clocks.of(status, Settings()).apart_s > clocks.apart_s


def test_the_rate_of_false_alarms_and_why_the_quiet_is_learnt_anew() -> None:
    assert rate_words(TriggerReading()) == ""
    assert rate_words(TriggerReading(noise_rate_hz=1 / 7200)).endswith("once in 2\u2009h")
    anew = TriggerReading(learnt=0.4, anew="exposure changed")
    arm = arm_of(SessionStatus(arm=ArmState.LEARNING, trigger=anew), Catch())
    assert arm.line == "Anew: exposure changed; no spark now"


def test_the_sound_is_named_once() -> None:
    assert sound_title("simulated: sparks and a candle") == "Sound of the simulated rig"
    assert sound_title("desk microphone") == "Sound: desk microphone"
    assert sound_title("") == "Sound"
