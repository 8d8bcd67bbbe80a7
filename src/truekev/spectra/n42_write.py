"""ANSI/IEEE N42.42-2012: writing."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from lxml import etree

from truekev.errors import OutOfRangeError
from truekev.record import Record
from truekev.spectra.claims import moved_coefficients
from truekev.spectra.counted_zeroes import compress_zeroes
from truekev.spectra.durations import iso_duration
from truekev.spectra.n42_extension import EXTENSION_NAMESPACE, RECORD_MARK, SpectrumEntry
from truekev.spectra.spectrum import ClaimedScale, Spectrum
from truekev.version import __version__

__all__ = ["CLASS_CODES", "NAMESPACE_2012", "calibration_values", "n42_bytes"]

NAMESPACE_2012 = "http://physics.nist.gov/N42/2011/N42"
CLASS_CODES = {
    "": "NotSpecified",
    "foreground": "Foreground",
    "background": "Background",
    "calibration": "Calibration",
    "intrinsic": "IntrinsicActivity",
}
_NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_UNSAID = "not given"


def n42_bytes(spectra: Spectrum | Sequence[Spectrum], *, compress: bool = True, record: Record | None = None) -> bytes:
    """`spectra` as one N42.42-2012 file; the reader gives the same spectra back.

    Parameters
    ----------
    spectra
        One or several; each is followed by its slices and its background as measurements of their own (whose own
        parts are left out).
    compress : bool
        Write runs of zeros as CountedZeroes.
    record : Record or None
        What the result rests on, written as a remark of the file.

    Raises
    ------
    OutOfRangeError
        No spectrum.

    Notes
    -----
    The energy calibration is the corrected scale where the spectrum has one, else the claimed one; both are kept
    exactly in the extension. N42.42-2012 has the polynomial give the energy of the lower edge of channel number
    0, 1, … (from memory), the program that of the middle: coefficients are moved by half a channel. A scale that
    three coefficients cannot state is written as energies of the channel boundaries. A start or time that is not
    known is left out, though the schema wants it (from memory): nothing is invented. A counting time of unsaid kind
    stands as real time with a remark that says so.
    """
    listed = [spectra] if isinstance(spectra, Spectrum) else list(spectra)
    if not listed:
        raise OutOfRangeError("no spectrum to write; give at least one.")
    flat: list[tuple[Spectrum, bool]] = []
    for spectrum in listed:
        flat.append((spectrum, True))
        flat += [(part, False) for part in spectrum.slices]
        if spectrum.background is not None:
            flat.append((spectrum.background, False))
    root = etree.Element(f"{{{NAMESPACE_2012}}}RadInstrumentData", nsmap=_default_namespace(NAMESPACE_2012))
    if record is not None:
        _add(root, "Remark", RECORD_MARK + json.dumps(asdict(record), default=str))
    _add(root, "RadInstrumentDataCreatorName", f"truekev {__version__}")
    instrument = _add(root, "RadInstrumentInformation", id="instrument")
    _add(instrument, "RadInstrumentManufacturerName", _UNSAID)
    _add(instrument, "RadInstrumentModelName", listed[0].instrument or _UNSAID)
    _add(instrument, "RadInstrumentClassCode", "Other")
    version = _add(instrument, "RadInstrumentVersion")
    _add(version, "RadInstrumentComponentName", "Hardware")
    _add(version, "RadInstrumentComponentVersion", _UNSAID)
    detectors = list(dict.fromkeys(spectrum.detector for spectrum, _ in flat))
    for number, detector in enumerate(detectors, start=1):
        element = _add(root, "RadDetectorInformation", id=f"detector-{number}")
        _add(element, "RadDetectorCategoryCode", "Gamma")
        _add(element, "RadDetectorKindCode", "Other")
        _add(element, "RadDetectorDescription", detector or _UNSAID)
    calibrations: dict[tuple[str, str], str] = {}
    for spectrum, _ in flat:
        values = calibration_values(spectrum)
        if values is not None and values not in calibrations:
            calibrations[values] = f"calibration-{len(calibrations) + 1}"
            element = _add(root, "EnergyCalibration", id=calibrations[values])
            _add(element, values[0], values[1])
    for number, (spectrum, with_parts) in enumerate(flat, start=1):
        values = calibration_values(spectrum)
        references = {"radDetectorInformationReference": f"detector-{detectors.index(spectrum.detector) + 1}"}
        if values is not None:
            references["energyCalibrationReference"] = calibrations[values]
        _measurement(root, spectrum, number, references, compress=compress, with_parts=with_parts)
    return bytes(etree.tostring(root, xml_declaration=True, encoding="UTF-8", pretty_print=True))


def _default_namespace(name: str) -> Any:
    # lxml takes None as the key of the default namespace; its type hints do not know that
    return {None: name}


def _add(parent: etree._Element, name: str, text: str = "", **attributes: str) -> etree._Element:
    element = etree.SubElement(parent, f"{{{NAMESPACE_2012}}}{name}", attrib=attributes)
    if text:
        element.text = _NOT_XML.sub(" ", text)
    return element


def calibration_values(spectrum: Spectrum) -> tuple[str, str] | None:
    """Name and text of the element that states the energy calibration of `spectrum`; None if it has no scale."""
    scale: ClaimedScale | None = spectrum.corrected_scale or spectrum.claimed_scale
    if scale is None:
        return None
    if scale.points or len(scale.coefficients_kev) > 3:
        values = scale.energy_kev(spectrum.edges).tolist()
        name = "EnergyBoundaryValues"
    else:
        moved = moved_coefficients(scale.coefficients_kev, -0.5)
        values = [*moved, *[0.0] * (3 - len(moved))]
        name = "CoefficientValues"
    return name, " ".join(repr(float(value)) for value in values)


def _number(value: float) -> str:
    return str(int(value)) if value == int(value) else repr(float(value))


def _measurement(
    root: etree._Element,
    spectrum: Spectrum,
    number: int,
    references: dict[str, str],
    *,
    compress: bool,
    with_parts: bool,
) -> None:
    measurement = _add(root, "RadMeasurement", id=f"measurement-{number}")
    for text in (spectrum.title, *spectrum.remarks):
        _add(measurement, "Remark", text)
    clock_time = spectrum.real_time_s
    if clock_time is None and spectrum.counting_time_s is not None:
        clock_time = spectrum.counting_time_s
        _add(measurement, "Remark", "It is not known whether the counting time is live or real time.")
    _add(measurement, "MeasurementClassCode", CLASS_CODES[spectrum.role])
    if spectrum.start is not None:
        _add(measurement, "StartDateTime", spectrum.start.isoformat())
    if clock_time is not None:
        _add(measurement, "RealTimeDuration", iso_duration(clock_time))
    element = _add(measurement, "Spectrum", id=f"spectrum-{number}", **references)
    if spectrum.live_time_s is not None:
        _add(element, "LiveTimeDuration", iso_duration(spectrum.live_time_s))
    values = compress_zeroes(spectrum.counts) if compress else spectrum.counts.tolist()
    code = {"compressionCode": "CountedZeroes" if compress else "None"}
    _add(element, "ChannelData", " ".join(_number(value) for value in values), **code)
    extension = etree.SubElement(
        _add(element, "SpectrumExtension"),
        f"{{{EXTENSION_NAMESPACE}}}entry",
        nsmap=_default_namespace(EXTENSION_NAMESPACE),
    )
    entry = SpectrumEntry.of(spectrum, with_parts=with_parts)
    # the JSON carries control characters as escapes; XML 1.0 could not
    extension.text = json.dumps(entry.model_dump(mode="json", exclude_defaults=True), ensure_ascii=True)
