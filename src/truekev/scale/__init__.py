"""The energy scale: light model, peaks, search, fit, re-lock, instrument coefficients."""
