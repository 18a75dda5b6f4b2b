"""Room: trigger."""
