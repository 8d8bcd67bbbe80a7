"""What a scale or re-lock of the book says: readings before and after, its band, what to type in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from truekev.book.book import Book
from truekev.book.records import BookRecord
from truekev.book.spectra import stored_spectrum
from truekev.book.work import Relock, Scale, SpectrumFile
from truekev.errors import InputError
from truekev.job.book_scales import stored_scale
from truekev.job.calibrate_spectra import Reading, readings_of
from truekev.quantity import Measured
from truekev.scale.energy_scale import EnergyScale
from truekev.scale.polynomials import InstrumentPolynomial, PeakPolynomial, instrument_polynomial, peak_polynomials

__all__ = ["ScaleOfRecord", "scale_of_record"]

_ENERGIES_KEV = (30.0, 60.0, 120.0, 240.0, 500.0, 661.7, 1000.0, 1461.0, 2000.0, 2614.5)


@dataclass(frozen=True)
class ScaleOfRecord:
    """A scale of the book.

    Parameters
    ----------
    record : BookRecord
        Of a Scale or a Relock.
    spectrum : BookRecord
        The spectrum it was made from.
    scale : EnergyScale
    moved_percent : Measured or None
        Change of the gain, for a re-lock.
    readings : tuple of Reading
    band : tuple of (energy [keV], channel, uncertainty)
        Places of energies within the range of the spectrum, with their standard uncertainty [keV].
    to_type_in : tuple of InstrumentPolynomial
    through_peaks : tuple of PeakPolynomial
    """

    record: BookRecord[Scale] | BookRecord[Relock]
    spectrum: BookRecord[SpectrumFile]
    scale: EnergyScale
    moved_percent: Measured | None
    readings: tuple[Reading, ...]
    band: tuple[tuple[float, float, float], ...]
    to_type_in: tuple[InstrumentPolynomial, ...]
    through_peaks: tuple[PeakPolynomial, ...]

    @property
    def versions(self) -> Mapping[str, str]:
        """Versions of the tables behind it."""
        return self.record.tables


def scale_of_record(book: Book, record_id: int) -> ScaleOfRecord:
    """The scale of a record, read again from what is stored.

    Raises
    ------
    InputError
        The record holds no scale.
    """
    record: BookRecord[Scale] | BookRecord[Relock]
    moved = None
    match book.get(record_id).body:
        case Scale():
            record = book.get_as(record_id, Scale)
            spectrum_id = record.body.spectrum_ids[0]
        case Relock():
            record = book.get_as(record_id, Relock)
            spectrum_id = record.body.spectrum_id
            ratio = record.body.gain_ratio
            moved = Measured(100.0 * (ratio.value - 1.0), 100.0 * ratio.u, "%")
        case body:
            raise InputError(f"record {record_id} is a {body.kind}; a scale or re-lock is needed.")
    scale = stored_scale(book, record_id)
    top = float(scale.edges_kev()[-1])
    inside = [energy for energy in _ENERGIES_KEV if energy <= top]
    return ScaleOfRecord(
        record,
        book.get_as(spectrum_id, SpectrumFile),
        scale,
        moved,
        readings_of(scale, stored_spectrum(book, spectrum_id)),
        tuple((e, float(scale.channel(e)), float(scale.u_energy_kev(e))) for e in inside),
        tuple(instrument_polynomial(scale, degree) for degree in (1, 2, 3)),
        peak_polynomials(scale.groups, scale),
    )
