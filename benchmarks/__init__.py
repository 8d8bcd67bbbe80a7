"""Benchmarks: speed shown as ratios in one run."""
