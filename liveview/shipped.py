"""Where the files shipped with the program are: set-ups, scenes, pictures."""

from __future__ import annotations

from pathlib import Path


def shipped_folder(name: str) -> Path:
    """Folder of shipped files, ``configs`` or ``assets``: in the wheel, else the checkout."""
    here = Path(__file__).resolve().parent
    installed = here / "_shipped" / name
    return installed if installed.is_dir() else here.parent / name
