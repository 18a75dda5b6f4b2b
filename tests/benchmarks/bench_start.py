"""From the command to the first picture, and what the imports take of it.

Run it alone, on a display or with ``xvfb-run``::

    python tests/benchmarks/bench_start.py [--times 5]

Beside it stand the same machine's bare ``python -c pass`` and an empty Qt window, in the same run.
"""

from __future__ import annotations

import argparse
import os
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

EMPTY_WINDOW = """
from PyQt6.QtCore import QTimer
from PyQt6.QtWidgets import QApplication, QWidget
app = QApplication([])
window = QWidget()
window.show()
QTimer.singleShot(0, app.quit)
app.exec()
"""
SLOWEST = 12


def seconds_of(command: list[str]) -> float:
    """Wall time of a command that ends by itself."""
    start = time.time()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    return time.time() - start


def to_first_picture() -> float:
    """Seconds from starting the program to its first painted picture of the simulated rig."""
    with tempfile.TemporaryDirectory() as folder:
        seen = Path(folder) / "seen"
        start = time.time()
        program = subprocess.Popen(
            [sys.executable, "-m", "liveview", "--source", "simulated"],
            env={**os.environ, "LIVEVIEW_FIRST_PICTURE": str(seen)},
        )
        try:
            while not (seen.exists() and seen.read_text()):
                if time.time() > start + 60:
                    raise SystemExit("no picture within a minute")
                time.sleep(0.005)
            return float(seen.read_text()) - start
        finally:
            program.send_signal(signal.SIGTERM)
            program.wait(20)


def import_times() -> list[tuple[float, str]]:
    """Own time of every module that the window imports before its event loop, seconds."""
    modules = "import liveview.app, liveview.engine.chain, liveview.gui.window"
    run = subprocess.run(
        [sys.executable, "-X", "importtime", "-c", modules],
        capture_output=True,
        text=True,
        check=True,
    )
    rows = (line.split("|") for line in run.stderr.splitlines() if line.startswith("import time:"))
    found = [(row[0].split(":")[1].strip(), row[2].strip()) for row in rows]
    return [(int(own) * 1e-6, name) for own, name in found if own.isdigit()]


def main() -> int:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--times", type=int, default=5)
    times = parser.parse_args().times
    chains: dict[str, Callable[[], float]] = {
        "first picture": to_first_picture,
        "--help": lambda: seconds_of([sys.executable, "-m", "liveview", "--help"]),
        "empty Qt window": lambda: seconds_of([sys.executable, "-c", EMPTY_WINDOW]),
        "bare Python": lambda: seconds_of([sys.executable, "-c", "pass"]),
    }
    medians = {}
    for name, run in chains.items():
        run()  # warm: files in the cache, modules compiled
        measured = sorted(run() for _ in range(times))
        medians[name] = statistics.median(measured)
        print(f"{name:<16} {medians[name]:6.3f} s  ({measured[0]:.3f} to {measured[-1]:.3f})")
    ratio = medians["first picture"] / medians["empty Qt window"]
    print(f"first picture = {ratio:.1f} empty Qt windows")
    found = import_times()
    print(f"imports: {sum(own for own, _ in found):.3f} s in {len(found)} modules, by package:")
    packages: dict[str, float] = {}
    for own, name in found:
        parts = name.split(".")
        package = ".".join(parts[: 2 if parts[0] == "liveview" else 1])
        packages[package] = packages.get(package, 0.0) + own
    for package, own in sorted(packages.items(), key=lambda row: -row[1])[:SLOWEST]:
        print(f"  {package:<24} {own * 1e3:6.0f} ms")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
