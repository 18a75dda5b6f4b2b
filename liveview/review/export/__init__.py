"""Exports of events: clips, stills, sheets, animations, contrast stacks, tables."""

from liveview.review.export.animation import export_animation
from liveview.review.export.clip import Timing, export_clip
from liveview.review.export.common import Stretch, event_scale, stretch_of
from liveview.review.export.data import export_stack, export_table, files_of
from liveview.review.export.flashcheck import FlashReport
from liveview.review.export.images import export_sheet, export_still
from liveview.review.export.job import Cancelled, Job
from liveview.review.export.look import Look

__all__ = [
    "Cancelled",
    "FlashReport",
    "Job",
    "Look",
    "Stretch",
    "Timing",
    "event_scale",
    "export_animation",
    "export_clip",
    "export_sheet",
    "export_stack",
    "export_still",
    "export_table",
    "files_of",
    "stretch_of",
]
