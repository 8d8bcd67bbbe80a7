"""Photon and electron transport in a small crystal, and its response."""
