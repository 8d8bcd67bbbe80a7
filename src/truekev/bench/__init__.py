"""The make: electrolysis, clean-up, settling, washing, waste, run log."""
