"""Child process of the microphone's tests: plays clicks, hears them, reports in JSON."""

import json
import sys
import threading
import time

import numpy as np
import sounddevice

from liveview.errors import LiveviewError
from liveview.settings import Settings
from liveview.sources import list_microphones, sound_source

CLICKS = 12
EVERY_S = 0.1


def play(stop: threading.Event) -> None:
    run = np.zeros((4800, 1), np.float32)
    run[2400] = 0.9
    with sounddevice.OutputStream(samplerate=48000, channels=1, dtype="float32") as out:
        while not stop.is_set():
            out.write(run)


def main() -> None:
    answers = [answer.answers for answer in list_microphones()]
    microphone = sound_source("microphone", Settings(), clock=time.monotonic, live=True)
    info = microphone.open()
    stop = threading.Event()
    player = threading.Thread(target=play, args=(stop,))
    player.start()
    heard, samples, lost, error_s = [], 0, 0, 0.0
    fault = ""
    began = time.monotonic()
    try:
        while len(heard) < CLICKS and time.monotonic() < began + 20:
            block = microphone.read(2.0)
            samples += len(block.samples)
            lost += block.lost_before
            error_s = block.error_s
            loud = np.flatnonzero(np.abs(block.samples[:, 0]) > 0.4)
            if len(loud):
                at_s = block.start_s + loud[0] / block.rate_hz
                if not heard or at_s - heard[-1] > EVERY_S / 2:
                    heard.append(at_s)
        if "then-end" in sys.argv:
            print("heard", flush=True)
            while True:
                microphone.read(1.0)
    except LiveviewError as error:
        fault = f"{type(error).__name__}: {error}"
    finally:
        stop.set()
        microphone.close()
        if not fault:
            player.join(5)
    print(
        json.dumps(
            {
                "answers": answers,
                "rate_hz": info.rate_hz,
                "channels": info.channels,
                "heard": heard,
                "samples": samples,
                "lost": lost,
                "error_s": error_s,
                "warnings": microphone.warnings,
                "fault": fault,
            }
        ),
        flush=True,
    )


main()
