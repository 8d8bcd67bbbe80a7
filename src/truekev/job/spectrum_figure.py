"""What the figure of a spectrum of the book shows: counts, scale, model, components, lines near every energy."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from truekev.book.book import Book
from truekev.book.spectra import stored_spectrum
from truekev.book.work import Relock, Scale
from truekev.errors import InputError
from truekev.job.book_scales import stored_scale
from truekev.job.fitted_model import model_of
from truekev.scale.energy_scale import EnergyScale

__all__ = ["SpectrumFigure", "figure_of_scale", "figure_of_spectrum"]

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class SpectrumFigure:
    """A spectrum as its figure shows it.

    Parameters
    ----------
    edges : ndarray, shape (n + 1,)
        Energies of the channel edges [keV]; without a scale the edges in channels.
    u_edges : ndarray, shape (n + 1,)
        Their standard uncertainty [keV]; zeros without a scale.
    counts : ndarray, shape (n,)
    model : ndarray or None
        Fitted counts per channel.
    components : tuple of (str, ndarray)
    groups : tuple of (float, str, bool)
        Line groups of the scale: energy [keV], name, whether the fit used it.
    in_kev : bool
        Whether the axis is energy.
    """

    edges: Array
    u_edges: Array
    counts: Array
    model: Array | None
    components: tuple[tuple[str, Array], ...]
    groups: tuple[tuple[float, str, bool], ...]
    in_kev: bool


def figure_of_scale(book: Book, record_id: int) -> SpectrumFigure:
    """The spectrum that a scale or re-lock was made from, on that scale, with the model that was kept with it.

    Raises
    ------
    InputError
        The record is no scale.
    """
    body = book.get(record_id).body
    match body:
        case Scale():
            spectrum_id = body.spectrum_ids[0]
        case Relock():
            spectrum_id = body.spectrum_id
        case _:
            raise InputError(f"record {record_id} is a {body.kind}; a scale or re-lock is needed.")
    counts = np.asarray(stored_spectrum(book, spectrum_id).counts, dtype=np.float64)
    scale = stored_scale(book, record_id)
    if scale.n_channels != counts.size:
        raise InputError(f"record {record_id}: its scale has {scale.n_channels} channels, its spectrum {counts.size}.")
    found = model_of(book, record_id)
    edges = scale.edges_kev()
    groups = tuple((g.energy_kev, g.name, g.used) for g in scale.groups)
    if found is None or found.model.size != counts.size:
        return SpectrumFigure(edges, _u(scale, edges), counts, None, (), groups, True)
    return SpectrumFigure(edges, _u(scale, edges), counts, found.model, found.components, groups, True)


def figure_of_spectrum(book: Book, spectrum_id: int) -> SpectrumFigure:
    """A spectrum of the book over its channels, before there is a scale."""
    counts = np.asarray(stored_spectrum(book, spectrum_id).counts, dtype=np.float64)
    edges = np.arange(counts.size + 1, dtype=np.float64) - 0.5
    return SpectrumFigure(edges, np.zeros_like(edges), counts, None, (), (), False)


def _u(scale: EnergyScale, edges: Array) -> Array:
    return np.asarray(scale.u_energy_kev(np.clip(edges, 1.0, 4000.0)), dtype=np.float64)
