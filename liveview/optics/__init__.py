"""Room: optics."""
