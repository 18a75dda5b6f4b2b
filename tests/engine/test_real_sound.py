"""A session on a real sound server: cracks are heard, matched with flashes; the plug is pulled."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from support.fault_table import Fault
from support.sound_server import SoundServer

CHILD = Path(__file__).with_name("catching_child.py")


@pytest.mark.slow
@pytest.mark.fault(
    "the microphone is pulled out",
    says="no sound",
    then="pictures and flashes go on; the microphone is tried again",
)
def test_cracks_are_caught_and_flashes_go_on_when_the_sound_is_pulled_out(fault: Fault):
    with (
        SoundServer() as server,
        subprocess.Popen(
            [sys.executable, str(CHILD)],
            env=server.environment,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        ) as child,
    ):
        assert child.stdout is not None
        assert child.stdin is not None
        try:
            assert child.stdout.readline().strip() == "pull"
            server.end()
            child.stdin.write("pulled\n")
            child.stdin.flush()
            report = json.loads(child.stdout.readline())
        finally:
            child.kill()
    assert report["armed"]
    assert len(report["delays"]) == 5
    assert report["both"] >= 4  # one may fall into a buffer's change of length
    assert report["alone"] == 0
    assert report["said"], report["words"]
    assert any(fault.says in words for words in report["words"])
    assert report["flashes"] == 3
    assert report["lost"] == 0
