"""ANSI/IEEE N42.42: reading the editions of 2012 and 2006.

Elements are known by their local names, whatever the namespace. What the program wrote itself is read back exactly, by
the extension (see n42_extension).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
import numpy.typing as npt
from lxml import etree

from truekev.errors import FileFormatError, TruekevError
from truekev.spectra.claims import usable_coefficients
from truekev.spectra.counted_zeroes import expand_zeroes
from truekev.spectra.durations import seconds_of_iso
from truekev.spectra.limits import (
    MAX_CHANNELS,
    MAX_SPECTRA,
    MAX_TOTAL_CHANNELS,
    check_count,
    check_rising,
    shown,
)
from truekev.spectra.n42_calibration import Calibrations
from truekev.spectra.n42_extension import EXTENSION_NAMESPACE, RECORD_MARK, SpectrumEntry, entry_of_json
from truekev.spectra.n42_write import CLASS_CODES, calibration_values
from truekev.spectra.n42_xml import child_text, children, first_child, line_of, local_name, numbers_of, tree_of_bytes
from truekev.spectra.spectrum import Spectrum

__all__ = ["spectra_of_n42"]

_ROLES = {code.lower(): role for role, code in CLASS_CODES.items()} | {"item": "foreground", "other": ""}
_INSTRUMENT = ("RadInstrumentInformation", "InstrumentInformation")
_MAX_REMARKS = 100
_GAMMA = ("", "gamma", "x-ray", "other")


def spectra_of_n42(data: bytes, *, file: str = "") -> tuple[Spectrum, ...]:
    """All measured gamma spectra of an N42.42 file, in its order, with their roles.

    Spectra that this program wrote hold their slices and background inside; those of other programs follow each other.
    Derived data, gross counts, and spectra of neutron detectors are left out.

    Raises
    ------
    FileFormatError
        Names file, line and field, and what to do.
    """
    root = tree_of_bytes(data, file=file)
    if local_name(root) not in ("RadInstrumentData", "N42InstrumentData"):
        raise FileFormatError(
            f"this is XML, but its root is {shown(local_name(root))}; N42.42 has RadInstrumentData (2012) or "
            "N42InstrumentData (2006).",
            file=file,
            line=line_of(root),
        )
    reader = _Reader(root, file)
    found: list[tuple[Spectrum, SpectrumEntry | None]] = []
    n_channels = 0
    for measurement, element in reader.spectrum_elements():
        if len(found) >= MAX_SPECTRA:
            raise FileFormatError(f"more than {MAX_SPECTRA} spectra; split the file.", file=file)
        pair = reader.spectrum(measurement, element)
        if pair is not None:
            found.append(pair)
            n_channels += pair[0].n_channels
        if n_channels > MAX_TOTAL_CHANNELS:
            raise FileFormatError(f"more than {MAX_TOTAL_CHANNELS} channels in all; split the file.", file=file)
    if not found:
        raise FileFormatError("the file holds no gamma spectrum.", file=file)
    return _nested(found, file)


def _nested(found: list[tuple[Spectrum, SpectrumEntry | None]], file: str) -> tuple[Spectrum, ...]:
    """Spectra with the parts that follow them put inside, where the program's own entries say so."""
    out: list[Spectrum] = []
    position = 0
    while position < len(found):
        spectrum, entry = found[position]
        position += 1
        if entry is not None and (entry.n_slices > 0 or entry.has_background):
            n_parts = max(entry.n_slices, 0) + entry.has_background
            parts = [part for part, _ in found[position : position + n_parts]]
            if len(parts) < n_parts:
                raise FileFormatError(
                    f"{n_parts} slices or backgrounds should follow the first spectrum, {len(parts)} do.", file=file
                )
            position += n_parts
            background = parts.pop() if entry.has_background else None
            spectrum = replace(spectrum, slices=tuple(parts), background=background)
        out.append(spectrum)
    return tuple(out)


@dataclass(frozen=True)
class _MeasurementFacts:
    """What a measurement states for all its spectra."""

    real_time_s: float | None
    start: datetime | None
    remarks: tuple[str, ...]
    instrument: str
    class_code: str
    notes: tuple[str, ...]


def _remarks(element: etree._Element) -> list[str]:
    texts = [text for text in ((remark.text or "").strip() for remark in children(element, "Remark")) if text]
    # every spectrum of the file keeps them; more than some are put into one
    return texts if len(texts) <= _MAX_REMARKS else [*texts[:_MAX_REMARKS], "\n".join(texts[_MAX_REMARKS:])]


class _Reader:
    """Reads the spectra of one tree; knows the elements that others refer to."""

    def __init__(self, root: etree._Element, file: str) -> None:
        self._root = root
        self._file = file
        self._is_2012 = local_name(root) == "RadInstrumentData"
        self._detectors = {e.get("id", ""): e for e in root.iter("{*}RadDetectorInformation")}
        self._calibrations = Calibrations(root, file)
        self._facts: dict[etree._Element, _MeasurementFacts] = {}
        self._root_information = first_child(root, *_INSTRUMENT)
        self._file_remarks = [text for text in _remarks(root) if not text.startswith(RECORD_MARK)]

    def spectrum_elements(self) -> Iterator[tuple[etree._Element, etree._Element]]:
        """(measurement, spectrum) elements in the file's order; derived data are left out."""
        name = "RadMeasurement" if self._is_2012 else "Measurement"
        for element in self._root.iter("{*}Spectrum"):
            measurement = next((a for a in element.iterancestors() if local_name(a) == name), None)
            if measurement is not None:
                yield measurement, element
            elif not self._is_2012:
                yield self._root, element

    def spectrum(
        self, measurement: etree._Element, element: etree._Element
    ) -> tuple[Spectrum, SpectrumEntry | None] | None:
        """The spectrum of an element and the program's own entry in it; None for a detector of other radiation."""
        detector = self._detectors.get(element.get("radDetectorInformationReference", "-"))
        if detector is not None and child_text(detector, "RadDetectorCategoryCode").lower() not in _GAMMA:
            return None
        if measurement not in self._facts:
            self._facts[measurement] = self._measurement_facts(measurement)
        facts = self._facts[measurement]
        notes = list(facts.notes)
        counts = self._counts(element)
        scale = self._calibrations.scale(element, counts.size, notes)
        real_time_s = self._duration(element, "RealTimeDuration", "RealTime")
        spectrum = Spectrum(
            counts=counts,
            live_time_s=self._duration(element, "LiveTimeDuration", "LiveTime"),
            real_time_s=facts.real_time_s if real_time_s is None else real_time_s,
            start=self._start(element, notes) or facts.start,
            claimed_scale=scale,
            remarks=[*self._file_remarks, *facts.remarks, *_remarks(element)],
            instrument=facts.instrument,
            detector=self._detector(detector, element),
            role=self._role(facts.class_code or child_text(element, "SourceType"), notes),
            notes=notes,
            file=self._file,
        )
        extension = first_child(element, "SpectrumExtension")
        own = None if extension is None else extension.find(f"{{{EXTENSION_NAMESPACE}}}entry")
        if own is None:
            return spectrum, None
        entry = entry_of_json(own.text or "", file=self._file, line=line_of(own))
        try:
            return self._with_entry(spectrum, entry, element), entry
        except FileFormatError:
            raise
        except TruekevError as error:
            raise FileFormatError(
                f"truekev's own extension does not fit ({error}); remove it to read the rest.",
                file=self._file,
                line=line_of(own),
                field="SpectrumExtension",
            ) from error

    def _with_entry(self, spectrum: Spectrum, entry: SpectrumEntry, element: etree._Element) -> Spectrum:
        scales = [e.scale() if e else None for e in (entry.claimed_scale, entry.corrected_scale)]
        for scale in filter(None, scales):
            if not usable_coefficients(scale.coefficients_kev, spectrum.n_channels) or len(scale.points) == 1:
                raise FileFormatError(
                    "the scale in truekev's own extension is damaged; remove the extension to read the rest.",
                    file=self._file,
                    line=line_of(element),
                    field="SpectrumExtension",
                )
            if scale.points:
                x, energy = np.array(scale.points).T
                check_rising(energy, file=self._file, field="SpectrumExtension")
                check_rising(x, file=self._file, field="SpectrumExtension")
        own_time = entry.time_in_real_time_element == "real_time_s"
        known = replace(
            spectrum,
            title=entry.title,
            remarks=entry.remarks,
            notes=entry.notes,
            instrument=entry.instrument,
            detector=entry.detector,
            overflow=check_count(entry.overflow, file=self._file, field="overflow"),
            counting_time_s=entry.counting_time_s,
            real_time_s=spectrum.real_time_s if own_time else None,
            rebinned=entry.rebinned,
            variance=None if entry.variance is None else np.array(entry.variance),
            claimed_scale=scales[0],
            corrected_scale=scales[1],
        )
        stated = self._calibrations.stated(element)
        if stated == calibration_values(known):
            return known
        note = "the energy calibration was changed after truekev wrote this file; it is taken as the claim."
        return replace(
            known,
            claimed_scale=spectrum.claimed_scale,
            corrected_scale=None,
            notes=(*known.notes, *spectrum.notes, note),
        )

    def _counts(self, element: etree._Element) -> npt.NDArray[np.float64]:
        data = first_child(element, "ChannelData")
        if data is None:
            raise FileFormatError(
                "the spectrum has no ChannelData.", file=self._file, line=line_of(element), field="Spectrum"
            )
        code = (data.get("compressionCode") or data.get("Compression") or "None").lower()
        values = numbers_of(data, limit=MAX_CHANNELS, file=self._file)
        if code not in ("none", "countedzeroes"):
            raise FileFormatError(
                f"compression {shown(code)} is not of the standard, which has None and CountedZeroes.",
                file=self._file,
                line=line_of(data),
                field="ChannelData",
            )
        if values.size == 0:
            raise FileFormatError("no counts.", file=self._file, line=line_of(data), field="ChannelData")
        bad = np.flatnonzero(~((values >= 0) & (values <= 2.0**53)))
        if bad.size:
            field = f"ChannelData, value {int(bad[0]) + 1}"
            check_count(float(values[bad[0]]), file=self._file, line=line_of(data), field=field)
        if code == "countedzeroes":
            values = expand_zeroes(values, limit=MAX_CHANNELS, file=self._file, line=line_of(data))
        return values

    def _duration(self, element: etree._Element, *names: str) -> float | None:
        child = first_child(element, *names)
        if child is None or not (child.text or "").strip():
            return None
        return seconds_of_iso(child.text or "", file=self._file, line=line_of(child), field=local_name(child))

    def _start(self, element: etree._Element, notes: list[str]) -> datetime | None:
        text = child_text(element, "StartDateTime", "StartTime")
        if not text:
            return None
        try:
            return datetime.fromisoformat(text)
        except ValueError:
            notes.append(f"the start {shown(text)} is not an ISO 8601 date and time; it is left out.")
            return None

    def _measurement_facts(self, measurement: etree._Element) -> _MeasurementFacts:
        """What a measurement states for all its spectra; read once, there may be thousands."""
        notes: list[str] = []
        information = first_child(measurement, *_INSTRUMENT)
        if information is None:
            information = self._root_information
        words: list[str] = []
        if information is not None:
            words = [
                child_text(information, "RadInstrumentManufacturerName", "Manufacturer"),
                child_text(information, "RadInstrumentModelName", "InstrumentModel"),
                child_text(information, "RadInstrumentIdentifier", "InstrumentID"),
            ]
        return _MeasurementFacts(
            real_time_s=self._duration(measurement, "RealTimeDuration", "RealTime"),
            start=self._start(measurement, notes),
            remarks=() if measurement is self._root else tuple(_remarks(measurement)),
            instrument=" ".join(filter(None, words)),
            class_code=child_text(measurement, "MeasurementClassCode"),
            notes=tuple(notes),
        )

    def _detector(self, detector: etree._Element | None, element: etree._Element) -> str:
        if detector is None:
            return str(element.get("Detector", ""))
        words = [
            child_text(detector, name) for name in ("RadDetectorName", "RadDetectorKindCode", "RadDetectorDescription")
        ]
        return " ".join(dict.fromkeys(filter(None, words)))

    def _role(self, code: str, notes: list[str]) -> str:
        role = _ROLES.get(re.sub(r"\s", "", code).lower())
        if role is None and code:
            notes.append(f"the class {shown(code)} is not of the standard; the role is left open.")
        return role or ""
