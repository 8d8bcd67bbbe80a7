"""What the figure of a spectrum of the book shows: counts, scale, model, components, lines near every energy."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from truekev.book.book import Book
from truekev.book.records import BookRecord
from truekev.book.spectra import stored_spectrum
from truekev.book.work import Relock, Scale, SpectrumFile
from truekev.errors import InputError
from truekev.job.book_scales import scale_in_force, stored_scale
from truekev.job.fitted_model import model_of
from truekev.scale.energy_scale import EnergyScale
from truekev.sources.line_list import line_list

__all__ = ["SpectrumFigure", "figure_of_scale", "figure_of_spectrum", "figure_on_scale", "scale_of_count"]

Array = npt.NDArray[np.float64]


_LOWEST_MARK_KEV, _WEAKEST_MARK = 20.0, 0.03


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


def scale_of_count(book: Book, spectrum_id: int) -> BookRecord[Scale] | BookRecord[Relock] | None:
    """The newest scale made from a spectrum, else the one in force that day; None where its channels differ."""
    body = book.get_as(spectrum_id, SpectrumFile).body
    own: list[BookRecord[Scale] | BookRecord[Relock]] = [
        *book.about(spectrum_id, Scale),
        *book.about(spectrum_id, Relock),
    ]
    on = None if body.start is None else body.start.date()
    try:
        record = max(own, key=_number) if own else scale_in_force(book, body.instrument_id, on)
    except InputError:
        return None
    return record if stored_scale(book, record.id).n_channels == body.n_channels else None


def _number(record: BookRecord[Scale] | BookRecord[Relock]) -> int:
    return record.id


def figure_on_scale(book: Book, spectrum_id: int, scale_id: int, nuclides: Sequence[str] = ()) -> SpectrumFigure:
    """A spectrum on a scale of the book, without a model; the stronger photon lines of nuclides or source words marked.

    Raises
    ------
    InputError
        The record is no scale, or of other channels; a name is not known.
    """
    counts = np.asarray(stored_spectrum(book, spectrum_id).counts, dtype=np.float64)
    scale = stored_scale(book, scale_id)
    if scale.n_channels != counts.size:
        raise InputError(f"record {scale_id}: its scale has {scale.n_channels} channels, the spectrum {counts.size}.")
    edges = scale.edges_kev()
    return SpectrumFigure(edges, _u(scale, edges), counts, None, (), _marks(nuclides, float(edges[-1])), True)


def _marks(names: Sequence[str], top_kev: float) -> tuple[tuple[float, str, bool], ...]:
    if not names:
        return ()
    found = line_list(names, lowest_kev=_LOWEST_MARK_KEV, highest_kev=top_kev)
    marks = [(line.energy_kev, line.nuclide, line.intensity) for line in found.nuclide_lines] + [
        (one.line.energy_kev, one.line.nuclide or one.component, one.line.photons_per_s) for one in found.source_lines
    ]
    strongest = max((strength for _, _, strength in marks), default=0.0)
    kept = [(energy, name, True) for energy, name, strength in marks if strength > _WEAKEST_MARK * strongest]
    return tuple(sorted(kept))


def figure_of_spectrum(book: Book, spectrum_id: int) -> SpectrumFigure:
    """A spectrum of the book over its channels, before there is a scale."""
    counts = np.asarray(stored_spectrum(book, spectrum_id).counts, dtype=np.float64)
    edges = np.arange(counts.size + 1, dtype=np.float64) - 0.5
    return SpectrumFigure(edges, np.zeros_like(edges), counts, None, (), (), False)


def _u(scale: EnergyScale, edges: Array) -> Array:
    return np.asarray(scale.u_energy_kev(np.clip(edges, 1.0, 4000.0)), dtype=np.float64)
