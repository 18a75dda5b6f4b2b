"""Room: commands."""
