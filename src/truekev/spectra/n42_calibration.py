"""N42.42: the energy calibration of a spectrum, in the editions of 2012 and 2006.

Convention (from memory, N42.42-2012): the polynomial gives the energy of the lower edge of channel number 0, 1, …, and
boundary values are the edges. The 2006 edition is read alike. The program's pulse coordinate has the middle of
channel i at i, so coefficients are moved by half a channel.
"""

from __future__ import annotations

import numpy as np
from lxml import etree

from truekev.errors import FileFormatError
from truekev.spectra.claims import moved_coefficients, scale_through, usable_coefficients
from truekev.spectra.limits import MAX_CHANNELS, check_rising, shown
from truekev.spectra.n42_xml import children, first_child, line_of, local_name, numbers_of
from truekev.spectra.spectrum import ClaimedScale

__all__ = ["Calibrations"]

_ENERGY_UNITS_KEV = {"": 1.0, "kev": 1.0, "mev": 1000.0, "ev": 1e-3}
# The standard has three coefficients; more than ten is a damaged file.
_MAX_COEFFICIENTS = 10


class Calibrations:
    """The energy calibrations of one file."""

    def __init__(self, root: etree._Element, file: str) -> None:
        self._file = file
        found = [
            element
            for element in root.iter("{*}EnergyCalibration", "{*}Calibration")
            if local_name(element) == "EnergyCalibration" or element.get("Type", "").lower() == "energy"
        ]
        self._by_id = {name: e for e in found for name in (e.get("id"), e.get("ID")) if name}
        # A lone calibration that no spectrum refers to is meant for all of them.
        referred = any(s.get("energyCalibrationReference") or s.get("CalibrationIDs") for s in root.iter("{*}Spectrum"))
        self._tables: dict[tuple[etree._Element, int], ClaimedScale | None] = {}
        self._lone = found[0] if len(found) == 1 and not referred else None

    def scale(self, element: etree._Element, n: int, notes: list[str]) -> ClaimedScale | None:
        """The scale that the file claims for a spectrum of `n` channels; what cannot be used is noted."""
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
        # thousands of spectra may refer to one long table; only boundaries depend on the number of channels
        key = (calibration, n if first_child(calibration, "EnergyBoundaryValues") is not None else 0)
        if key not in self._tables:
            self._tables[key] = self._boundaries(calibration, n, factor)
        return self._tables[key] or self._polynomial(calibration, n, factor, notes)

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

    def stated(self, element: etree._Element) -> tuple[str, str] | None:
        """Name and text of the 2012 edition's element that calibrates a spectrum; None if there is none."""
        calibration = self._calibration_element(element)
        values = None if calibration is None else first_child(calibration, "CoefficientValues", "EnergyBoundaryValues")
        return None if values is None else (local_name(values), " ".join((values.text or "").split()))

    def _calibration_element(self, element: etree._Element) -> etree._Element | None:
        inline = [c for c in children(element, "Calibration") if c.get("Type", "").lower() == "energy"]
        if inline:
            return inline[0]
        references = (element.get("energyCalibrationReference") or element.get("CalibrationIDs") or "").split()
        for reference in references:
            target = self._by_id.get(reference)
            if target is not None:
                return target
        return self._lone
