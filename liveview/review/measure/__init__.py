"""Measuring in events: every result has a unit and an interval, and says what it assumes."""

from liveview.review.measure.flicker import (
    Peak,
    Spectrum,
    find_peak,
    measure_flicker,
    spectrum,
    spectrum_table,
)
from liveview.review.measure.fronts import (
    FrontPoint,
    find_front,
    front_table,
    hand_point,
    measure_front_speed,
    radial_profile,
    track_front,
)
from liveview.review.measure.geometry import (
    Scale,
    measure_angle,
    measure_length,
    scale_from_disc,
    scale_from_length,
)
from liveview.review.measure.plume import measure_plume, plume_table, uncut_of
from liveview.review.measure.quantity import (
    Measurement,
    Quantity,
    add_measurement,
    load_measurements,
    save_measurements,
)
from liveview.review.measure.rise import (
    SpaceTime,
    flow_speed,
    measure_rise_speed,
    pattern_speed,
    space_time,
    space_time_table,
)

__all__ = [
    "FrontPoint",
    "Measurement",
    "Peak",
    "Quantity",
    "Scale",
    "SpaceTime",
    "Spectrum",
    "add_measurement",
    "find_front",
    "find_peak",
    "flow_speed",
    "front_table",
    "hand_point",
    "load_measurements",
    "measure_angle",
    "measure_flicker",
    "measure_front_speed",
    "measure_length",
    "measure_plume",
    "measure_rise_speed",
    "pattern_speed",
    "plume_table",
    "radial_profile",
    "save_measurements",
    "scale_from_disc",
    "scale_from_length",
    "space_time",
    "space_time_table",
    "spectrum",
    "spectrum_table",
    "track_front",
    "uncut_of",
]
