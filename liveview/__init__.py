"""liveview: a realtime camera-feed schlieren viewer with live enhancement."""

__version__ = "1.0.0"
