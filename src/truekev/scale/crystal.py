"""A crystal as the scale sees it: light curve of fully absorbed photons, response, and what scatters into it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

from truekev.scale.light import LightCurve
from truekev.tables.loader import table_bytes
from truekev.transport.detector import DEFAULT_DETECTOR, Detector
from truekev.transport.node_response import NodeResponse, from_bytes, node_response
from truekev.transport.stand import Scatter, scatter_from_bytes, scatter_responses

__all__ = ["Crystal", "crystal_of", "scatter_of"]

_TABLE = "response_default.npz"
_SCATTER_TABLE = "scatter_default.npz"
_HISTORIES = 500_000  # for each node and place of another detector: a minute on one core


@dataclass(frozen=True, eq=False)
class Crystal:
    """Light curve and response of one crystal."""

    name: str
    curve: LightCurve
    response: NodeResponse


@cache
def _default() -> Crystal:
    return _crystal(DEFAULT_DETECTOR, from_bytes(table_bytes(_TABLE)))


def _crystal(detector: Detector, response: NodeResponse) -> Crystal:
    energies = tuple(response.nodes_kev.tolist())
    return Crystal(detector.name, LightCurve(detector.name, energies, tuple(response.peak_d_kev.tolist())), response)


def crystal_of(detector: Detector, progress: Callable[[float, str], None] | None = None) -> Crystal:
    """Light curve and response of a detector.

    Those of the default detector come with the program; others are computed by Monte Carlo, which takes up
    to a minute the first time and is kept in the user's cache.
    """
    if detector == DEFAULT_DETECTOR:
        return _default()
    return _crystal(detector, node_response(detector, progress=progress))


@cache
def _default_scatter() -> tuple[Scatter, ...]:
    return scatter_from_bytes(table_bytes(_SCATTER_TABLE))


def scatter_of(detector: Detector, progress: Callable[[float, str], None] | None = None) -> tuple[Scatter, ...]:
    """What scatters into a detector; that of the default one comes with the program, as with `crystal_of`."""
    if detector == DEFAULT_DETECTOR:
        return _default_scatter()
    return scatter_responses(detector, histories=_HISTORIES, progress=progress)
