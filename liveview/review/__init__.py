"""Room: review."""
