"""Files: TOML with lines, calibration files, writing whole or not at all."""
