"""A real sound server without hardware: what is played is heard at the default microphone."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
import threading
from pathlib import Path

READY_S = 10.0


class SoundServer:
    """A private PulseAudio with one null sink, whose monitor is the default source.

    ``environment`` makes a child process use it.
    """

    def __init__(self) -> None:
        program = shutil.which("pulseaudio")
        if program is None:
            raise RuntimeError("tests of sound need pulseaudio: run './start test'")
        self._folder = Path(tempfile.mkdtemp(prefix="sound"))
        socket = self._folder / "socket"
        script = self._folder / "script.pa"
        script.write_text(
            f"load-module module-native-protocol-unix auth-anonymous=1 socket={socket}\n"
            "load-module module-null-sink sink_name=bench rate=48000 format=s16le\n"
            "set-default-sink bench\n"
            "set-default-source bench.monitor\n"
        )
        private = {"XDG_RUNTIME_DIR": str(self._folder), "HOME": str(self._folder)}
        self.environment = {**os.environ, **private, "PULSE_SERVER": f"unix:{socket}"}
        options = ["-n", "-F", str(script), "--daemonize=no", "--exit-idle-time=-1"]
        options += ["--realtime=no", "--use-pid-file=no"]
        self._process = subprocess.Popen(
            [program, *options],
            env={**os.environ, **private},
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        pause = threading.Event()
        for _ in range(int(READY_S / 0.05)):
            if socket.exists():
                return
            pause.wait(0.05)
        self.close()
        raise RuntimeError("the sound server did not start")

    def end(self) -> None:
        """End the server only, as when a sound device is pulled out."""
        self._process.terminate()
        self._process.wait(10)

    def close(self) -> None:
        """End the server and remove its folder."""
        self.end()
        shutil.rmtree(self._folder, ignore_errors=True)

    def __enter__(self) -> SoundServer:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
