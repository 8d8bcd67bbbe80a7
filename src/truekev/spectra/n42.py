"""ANSI/IEEE N42.42: reading the editions of 2012 and 2006.

Elements are known by their local names, whatever the namespace. What the program wrote itself is read back exactly, by
the extension (see n42_extension).

Convention (from memory, N42.42-2012): the polynomial gives the energy of the lower edge of channel number 0, 1, …, and
boundary values are the edges. The 2006 edition is read alike. The program's pulse coordinate has the middle of
channel i at i, so coefficients are moved by half a channel.
"""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import datetime

import numpy as np
import numpy.typing as npt
from lxml import etree

from truekev.errors import FileFormatError, TruekevError
from truekev.spectra.claims import moved_coefficients, scale_through, usable_coefficients
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
from truekev.spectra.n42_extension import EXTENSION_NAMESPACE, RECORD_MARK, SpectrumEntry, entry_of_json
from truekev.spectra.n42_write import CLASS_CODES, calibration_values
from truekev.spectra.n42_xml import child_text, children, first_child, line_of, local_name, numbers_of, tree_of_bytes
from truekev.spectra.spectrum import ClaimedScale, Spectrum

__all__ = ["spectra_of_n42"]

_ROLES = {code.lower(): role for role, code in CLASS_CODES.items()} | {"item": "foreground", "other": ""}
_ENERGY_UNITS_KEV = {"": 1.0, "kev": 1.0, "mev": 1000.0, "ev": 1e-3}
_GAMMA = ("", "gamma", "x-ray", "other")
# The standard has three coefficients; more than ten is a damaged file.
_MAX_COEFFICIENTS = 10


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


class _Reader:
    """Reads the spectra of one tree; knows the elements that others refer to."""

    def __init__(self, root: etree._Element, file: str) -> None:
        self._root = root
        self._file = file
        self._is_2012 = local_name(root) == "RadInstrumentData"
        self._by_id: dict[str, etree._Element] = {}
        self._calibrations: list[etree._Element] = []
        for element in root.iter("{*}EnergyCalibration", "{*}Calibration", "{*}RadDetectorInformation"):
            for key in ("id", "ID"):
                if name := element.get(key):
                    self._by_id[name] = element
            if local_name(element) == "EnergyCalibration" or element.get("Type", "").lower() == "energy":
                self._calibrations.append(element)
        # A lone calibration that no spectrum refers to is meant for all of them.
        self._any_reference = any(
            s.get("energyCalibrationReference") or s.get("CalibrationIDs") for s in root.iter("{*}Spectrum")
        )
        self._file_remarks = [
            text
            for text in ((child.text or "").strip() for child in children(root, "Remark"))
            if text and not text.startswith(RECORD_MARK)
        ]

    def spectrum_elements(self) -> list[tuple[etree._Element, etree._Element]]:
        """(measurement, spectrum) elements in the file's order."""
        name = "RadMeasurement" if self._is_2012 else "Measurement"
        pairs = [(m, s) for m in self._root.iter(f"{{*}}{name}") for s in m.iter("{*}Spectrum")]
        if not pairs and not self._is_2012:
            pairs = [(self._root, s) for s in self._root.iter("{*}Spectrum")]
        return list({id(s): (m, s) for m, s in pairs}.values())

    def spectrum(
        self, measurement: etree._Element, element: etree._Element
    ) -> tuple[Spectrum, SpectrumEntry | None] | None:
        """The spectrum of an element and the program's own entry in it; None for a detector of other radiation."""
        detector = self._by_id.get(element.get("radDetectorInformationReference", ""))
        if detector is not None and child_text(detector, "RadDetectorCategoryCode").lower() not in _GAMMA:
            return None
        notes: list[str] = []
        counts = self._counts(element)
        scale = self._scale(element, counts.size, notes)
        spectrum = Spectrum(
            counts=counts,
            live_time_s=self._duration(element, "LiveTimeDuration", "LiveTime"),
            real_time_s=self._duration(element, "RealTimeDuration", "RealTime")
            or self._duration(measurement, "RealTimeDuration", "RealTime"),
            start=self._start(element, notes) or self._start(measurement, notes),
            claimed_scale=scale,
            remarks=self._remarks(measurement, element),
            instrument=self._instrument(measurement),
            detector=self._detector(detector, element),
            role=self._role(measurement, element, notes),
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
        stated = self._stated_calibration(element)
        if stated == calibration_values(known):
            return known
        note = "the energy calibration was changed after truekev wrote this file; it is taken as the claim."
        return replace(
            known,
            claimed_scale=spectrum.claimed_scale,
            corrected_scale=None,
            notes=(*known.notes, *spectrum.notes, note),
        )

    def _stated_calibration(self, element: etree._Element) -> tuple[str, str] | None:
        calibration = self._calibration_element(element)
        values = None if calibration is None else first_child(calibration, "CoefficientValues", "EnergyBoundaryValues")
        return None if values is None else (local_name(values), " ".join((values.text or "").split()))

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

    def _remarks(self, measurement: etree._Element, element: etree._Element) -> list[str]:
        texts = (
            (child.text or "").strip() for parent in (measurement, element) for child in children(parent, "Remark")
        )
        return [*self._file_remarks, *filter(None, texts)]

    def _instrument(self, measurement: etree._Element) -> str:
        names = ("RadInstrumentInformation", "InstrumentInformation")
        information = first_child(measurement, *names)
        if information is None:
            information = first_child(self._root, *names)
        if information is None:
            return ""
        words = (
            child_text(information, "RadInstrumentManufacturerName", "Manufacturer"),
            child_text(information, "RadInstrumentModelName", "InstrumentModel"),
            child_text(information, "RadInstrumentIdentifier", "InstrumentID"),
        )
        return " ".join(filter(None, words))

    def _detector(self, detector: etree._Element | None, element: etree._Element) -> str:
        if detector is None:
            return str(element.get("Detector", ""))
        words = [
            child_text(detector, name) for name in ("RadDetectorName", "RadDetectorKindCode", "RadDetectorDescription")
        ]
        return " ".join(dict.fromkeys(filter(None, words)))

    def _role(self, measurement: etree._Element, element: etree._Element, notes: list[str]) -> str:
        code = child_text(measurement, "MeasurementClassCode") or child_text(element, "SourceType")
        role = _ROLES.get(re.sub(r"\s", "", code).lower())
        if role is None and code:
            notes.append(f"the class {shown(code)} is not of the standard; the role is left open.")
        return role or ""

    def _calibration_element(self, element: etree._Element) -> etree._Element | None:
        inline = [c for c in children(element, "Calibration") if c.get("Type", "").lower() == "energy"]
        if inline:
            return inline[0]
        references = (element.get("energyCalibrationReference") or element.get("CalibrationIDs") or "").split()
        for reference in references:
            target = self._by_id.get(reference)
            if target is not None and target in self._calibrations:
                return target
        if len(self._calibrations) == 1 and not self._any_reference:
            return self._calibrations[0]
        return None

    def _scale(self, element: etree._Element, n: int, notes: list[str]) -> ClaimedScale | None:
        calibration = self._calibration_element(element)
        if calibration is None:
            return None
        unit = calibration.get("EnergyUnits", "")
        factor = _ENERGY_UNITS_KEV.get(unit.lower())
        if factor is None:
            raise FileFormatError(
                f"energies in {shown(unit)}; the unit must be keV, MeV or eV.",
                file=self._file,
                line=line_of(calibration),
                field="EnergyUnits",
            )
        return self._boundaries(calibration, n, factor) or self._polynomial(calibration, n, factor, notes)

    def _boundaries(self, calibration: etree._Element, n: int, factor: float) -> ClaimedScale | None:
        element = first_child(calibration, "EnergyBoundaryValues")
        if element is not None:
            energy = factor * numbers_of(element, limit=MAX_CHANNELS + 1, file=self._file)
            if energy.size not in (n, n + 1):
                raise FileFormatError(
                    f"{energy.size} energy boundaries for {n} channels; {n + 1} are needed.",
                    file=self._file,
                    line=line_of(element),
                    field="EnergyBoundaryValues",
                )
            at = np.arange(energy.size, dtype=np.float64) - 0.5
            check_rising(energy, file=self._file, field=f"EnergyBoundaryValues on line {line_of(element)}")
            origin = "energy boundaries in the N42.42 file"
        else:
            table = first_child(calibration, "ArrayXY")
            if table is None:
                return None
            pairs = [(self._one(point, "X"), factor * self._one(point, "Y")) for point in children(table, "PointXY")]
            if len(pairs) > MAX_CHANNELS:
                raise FileFormatError("too many points.", file=self._file, line=line_of(table), field="ArrayXY")
            if len(pairs) < 2:
                return None
            table_values = np.array(pairs, dtype=np.float64)
            at = check_rising(table_values[:, 0], file=self._file, field="ArrayXY, X") - 0.5
            energy = check_rising(table_values[:, 1], file=self._file, field="ArrayXY, Y")
            origin = "pairs of channel and energy in the N42.42 file"
        tolerance = 1e-7 * float(np.abs(energy).max())
        return scale_through(at, energy, tolerance_kev=tolerance, origin=origin)

    def _one(self, point: etree._Element, name: str) -> float:
        element = first_child(point, name)
        values = np.array([]) if element is None else numbers_of(element, limit=2, file=self._file)
        if values.size != 1:
            raise FileFormatError("a point needs one X and one Y.", file=self._file, line=line_of(point), field=name)
        return float(values[0])

    def _polynomial(self, calibration: etree._Element, n: int, factor: float, notes: list[str]) -> ClaimedScale | None:
        element = first_child(calibration, "CoefficientValues")
        equation = first_child(calibration, "Equation")
        if element is None and equation is not None:
            model = equation.get("Model", "Polynomial")
            if model.lower() != "polynomial":
                notes.append(f"the energy equation {shown(model)} is not a polynomial; it is left out.")
                return None
            element = first_child(equation, "Coefficients")
        if element is None:
            return None
        values = factor * numbers_of(element, limit=_MAX_COEFFICIENTS, file=self._file)
        coefficients = [float(value) for value in values]
        while len(coefficients) > 2 and coefficients[-1] == 0:
            coefficients.pop()
        if not usable_coefficients(coefficients, n):
            notes.append(
                "the energy calibration of the file cannot be used: it is constant, not finite or beyond 1 GeV."
            )
            return None
        origin = "energy polynomial in the N42.42 file, taken for the lower edges of the channels"
        return ClaimedScale(moved_coefficients(coefficients, 0.5), origin)
