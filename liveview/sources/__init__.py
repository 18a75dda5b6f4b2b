"""Where frames and sound come from: cameras, recordings, the network, the simulated rig."""

from liveview.sources.opening import Input, frame_source, sound_source

__all__ = ["Input", "frame_source", "list_cameras", "list_microphones", "sound_source"]


def __getattr__(name: str) -> object:
    """Listing devices imports much; only who asks for it pays."""
    if name in ("list_cameras", "list_microphones"):
        from liveview.sources import listing

        return getattr(listing, name)
    raise AttributeError(name)
