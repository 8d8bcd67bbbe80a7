"""Unit vectors: turning one by a polar and an azimuthal angle, isotropic and cone directions (compiled)."""

from __future__ import annotations

from math import cos, pi, sin, sqrt

from truekev.transport.compiled import Stream, compiled, inlined, uniform

__all__ = ["isotropic", "turned", "within_cone"]


@inlined
def turned(
    u: float, v: float, w: float, cosine: float, cos_azimuth: float, sin_azimuth: float
) -> tuple[float, float, float]:
    """(u, v, w) turned by the polar angle with `cosine` and the azimuth."""
    sine = sqrt(max(0.0, 1.0 - cosine * cosine))
    transverse = sqrt(max(0.0, 1.0 - w * w))
    if transverse > 1e-6:
        scale = sine / transverse
        nu = u * cosine + scale * (u * w * cos_azimuth - v * sin_azimuth)
        nv = v * cosine + scale * (v * w * cos_azimuth + u * sin_azimuth)
        nw = w * cosine - sine * transverse * cos_azimuth
    else:
        nu = sine * cos_azimuth
        nv = sine * sin_azimuth
        nw = cosine if w > 0 else -cosine
    # one Newton step keeps the length at 1 over many turns
    norm = 1.5 - 0.5 * (nu * nu + nv * nv + nw * nw)
    return nu * norm, nv * norm, nw * norm


@inlined
def within_cone(
    u: float, v: float, w: float, low_cosine: float, high_cosine: float, stream: Stream
) -> tuple[float, float, float]:
    """A direction uniform in solid angle with its cosine to (u, v, w) between the two limits."""
    cosine = low_cosine + (high_cosine - low_cosine) * uniform(stream)
    azimuth = 2 * pi * uniform(stream)
    return turned(u, v, w, cosine, cos(azimuth), sin(azimuth))


@compiled
def isotropic(stream: Stream) -> tuple[float, float, float]:
    """A direction uniform over the sphere."""
    w = 2 * uniform(stream) - 1
    azimuth = 2 * pi * uniform(stream)
    sine = sqrt(max(0.0, 1.0 - w * w))
    return sine * cos(azimuth), sine * sin(azimuth), w
