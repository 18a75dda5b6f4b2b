"""Room: gui."""
