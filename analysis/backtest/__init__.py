"""Past lists beside what happened: no-starts foreseen, flags for nothing, money, calibration."""
