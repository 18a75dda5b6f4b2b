"""The parts of ``liveview process``: request, reading ahead, calibration, catching, files."""
