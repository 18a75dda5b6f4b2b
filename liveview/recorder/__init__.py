"""Room: recorder."""
