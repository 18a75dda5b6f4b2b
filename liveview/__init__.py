"""liveview: a realtime camera-feed schlieren viewer with live enhancement."""

__version__ = "0.1.0"
