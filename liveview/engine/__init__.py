"""Room: engine."""
