"""Decay chains with separations, and photon lines."""
