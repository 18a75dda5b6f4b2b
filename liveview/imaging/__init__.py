"""Room: imaging."""
