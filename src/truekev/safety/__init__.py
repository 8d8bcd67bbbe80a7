"""Dose rate, comparison with published rules, cautions by step."""
