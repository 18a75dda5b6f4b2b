"""``python -m liveview``."""

from __future__ import annotations

import sys

from liveview.cli import main

if __name__ == "__main__":
    sys.exit(main())
