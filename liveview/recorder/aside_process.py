"""The process that converts events beside the program, see :mod:`liveview.recorder.aside`."""

from __future__ import annotations

import json
import os
import queue
import signal
import sys
import threading
from pathlib import Path
from typing import Any

from liveview.recorder.convert import finish_part
from liveview.recorder.files import lower_priority
from liveview.recorder.recovery import recover_part


def main() -> int:
    """The process itself: orders on standard input, answers on standard output."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the program, which then ends us
    lower_priority()
    stop = threading.Event()
    orders: queue.SimpleQueue[dict[str, Any] | None] = queue.SimpleQueue()
    threading.Thread(target=_listen, args=(orders, stop), daemon=True).start()
    while (order := orders.get()) is not None:
        reserve_bytes = int(order["reserve_bytes"])

        def finish(part: Path, reserve_bytes: int = reserve_bytes) -> Path:
            return finish_part(part, stop=stop.is_set, reserve_bytes=reserve_bytes)

        done = recover_part(Path(order["part"]), finish)
        path = None if done.path is None else str(done.path)
        try:
            print(json.dumps({"path": path, "words": done.words, "passing": done.passing}))
            sys.stdout.flush()
        except BrokenPipeError:
            # The program was killed. Python flushes once more at exit; that must not complain.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            return 1
    return 0


def _listen(orders: queue.SimpleQueue[dict[str, Any] | None], stop: threading.Event) -> None:
    for line in sys.stdin:
        orders.put(json.loads(line))
    stop.set()
    orders.put(None)


if __name__ == "__main__":
    sys.exit(main())
