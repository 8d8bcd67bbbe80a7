"""N42.42 against what is published of the standard.

- CountedZeroes vector: definition of the compression code in NIEM 4.1 (domain cbrn), the same rule as ANSI/IEEE
  N42.42-2012. Read by whoever gathered the check values.
- Namespace of the 2012 edition: NIST N42 project; element names partly from memory. Namespace of the 2006 edition: from
  memory.
- Linear calibration of 4.0 keV a channel with zero offset: description of the example of Annex I (CsI gamma detector
  with a LiI neutron detector), NIST N42 project. The example file itself was not at hand; the one here is our own.
"""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest
from lxml import etree

from truekev.errors import FileFormatError
from truekev.spectra.counted_zeroes import compress_zeroes, expand_zeroes
from truekev.spectra.n42 import spectra_of_n42
from truekev.spectra.n42_write import n42_bytes
from truekev.spectra.spectrum import ClaimedScale, Spectrum

NAMESPACE = "http://physics.nist.gov/N42/2011/N42"
PLAIN = "22 5 0 2 1 0 0 3 4 0 0 0 0 0 0 0 0 1"
COMPRESSED = "22 5 0 1 2 1 0 2 3 4 0 8 1"

EDITION_2012 = f"""<?xml version="1.0"?>
<RadInstrumentData xmlns="{NAMESPACE}">
  <Remark>Invented data.</Remark>
  <RadInstrumentInformation id="i"><RadInstrumentManufacturerName>Workshop</RadInstrumentManufacturerName>
    <RadInstrumentModelName>Two crystals</RadInstrumentModelName></RadInstrumentInformation>
  <RadDetectorInformation id="g"><RadDetectorName>front</RadDetectorName>
    <RadDetectorCategoryCode>Gamma</RadDetectorCategoryCode><RadDetectorKindCode>CsI</RadDetectorKindCode>
  </RadDetectorInformation>
  <RadDetectorInformation id="n"><RadDetectorCategoryCode>Neutron</RadDetectorCategoryCode>
    <RadDetectorKindCode>LiI</RadDetectorKindCode></RadDetectorInformation>
  <EnergyCalibration id="c"><CoefficientValues>0.0 4.0 0.0</CoefficientValues></EnergyCalibration>
  <RadMeasurement id="b"><MeasurementClassCode>Background</MeasurementClassCode>
    <StartDateTime>2026-03-02T08:00:00Z</StartDateTime><RealTimeDuration>PT1H</RealTimeDuration>
    <Spectrum id="s1" radDetectorInformationReference="g" energyCalibrationReference="c">
      <LiveTimeDuration>PT59M58.5S</LiveTimeDuration>
      <ChannelData compressionCode="CountedZeroes">{COMPRESSED}</ChannelData></Spectrum></RadMeasurement>
  <RadMeasurement id="f"><Remark>A vial.</Remark><MeasurementClassCode>Foreground</MeasurementClassCode>
    <StartDateTime>2026-03-02T09:00:00Z</StartDateTime><RealTimeDuration>PT60S</RealTimeDuration>
    <Spectrum id="s2" radDetectorInformationReference="g" energyCalibrationReference="c">
      <LiveTimeDuration>PT59.9S</LiveTimeDuration><ChannelData>{PLAIN}</ChannelData></Spectrum>
    <Spectrum id="s3" radDetectorInformationReference="n"><LiveTimeDuration>PT60S</LiveTimeDuration>
      <ChannelData>7 7 7</ChannelData></Spectrum></RadMeasurement>
</RadInstrumentData>
"""

EDITION_2006 = f"""<?xml version="1.0"?>
<N42InstrumentData xmlns="http://physics.nist.gov/Divisions/Div846/Gp4/ANSIN4242/2005/ANSIN4242">
  <Remark>Invented data.</Remark>
  <Measurement>
    <InstrumentInformation><Manufacturer>Workshop</Manufacturer><InstrumentModel>One crystal</InstrumentModel>
      <InstrumentID>7</InstrumentID></InstrumentInformation>
    <Spectrum Type="PHA" Detector="front" CalibrationIDs="e">
      <StartTime>2026-03-02T09:00:00Z</StartTime><RealTime>PT1M</RealTime><LiveTime>PT59.9S</LiveTime>
      <SourceType>Background</SourceType>
      <Calibration Type="FWHM" ID="w">
        <Equation Model="Polynomial"><Coefficients>1 2</Coefficients></Equation></Calibration>
      <ChannelData Compression="CountedZeroes">{COMPRESSED}</ChannelData>
    </Spectrum>
  </Measurement>
  <Calibration Type="Energy" ID="e" EnergyUnits="MeV"><Equation Model="Polynomial">
    <Coefficients>0 0.004</Coefficients></Equation></Calibration>
</N42InstrumentData>
"""


def _numbers(text: str) -> np.ndarray:
    return np.array(text.split(), float)


def test_counted_zeroes_vector() -> None:
    assert compress_zeroes(_numbers(PLAIN)) == _numbers(COMPRESSED).tolist()
    assert expand_zeroes(_numbers(COMPRESSED), limit=100).tolist() == _numbers(PLAIN).tolist()


@pytest.mark.parametrize("values", ["1 0", "0 0", "0 0.5", "0 1 0"])
def test_counted_zeroes_without_a_length_are_refused(values: str) -> None:
    with pytest.raises(FileFormatError, match="followed by how many zeros"):
        expand_zeroes(_numbers(values), limit=100)


def test_counted_zeroes_stop_at_the_limit() -> None:
    assert expand_zeroes(_numbers("0 100"), limit=100).size == 100
    for values in ("0 101", "0 1e300", "5 0 50 1 0 50"):
        with pytest.raises(FileFormatError, match="more than 100 channels"):
            expand_zeroes(_numbers(values), limit=100)


def test_edition_2012_reads() -> None:
    background, foreground = spectra_of_n42(EDITION_2012.encode())
    assert (background.role, foreground.role) == ("background", "foreground")
    for spectrum in (background, foreground):
        assert spectrum.counts.tolist() == _numbers(PLAIN).tolist()
        assert spectrum.instrument == "Workshop Two crystals"
        assert spectrum.detector == "front CsI"
        assert spectrum.claimed_scale is not None
        # linear, 4.0 keV a channel, zero offset; the polynomial is that of the lower edge, so the middle is 2 keV on
        assert spectrum.claimed_scale.energy_kev(spectrum.edges).tolist() == [4.0 * i for i in range(19)]
        assert spectrum.claimed_scale.coefficients_kev == (2.0, 4.0)
    assert background.live_time_s == 3598.5
    assert background.real_time_s == 3600
    assert foreground.live_time_s == 59.9
    assert foreground.start == datetime(2026, 3, 2, 9, tzinfo=UTC)
    assert foreground.remarks == ("Invented data.", "A vial.")


def test_edition_2006_reads() -> None:
    (spectrum,) = spectra_of_n42(EDITION_2006.encode())
    assert spectrum.counts.tolist() == _numbers(PLAIN).tolist()
    assert spectrum.role == "background"
    assert spectrum.real_time_s == 60
    assert spectrum.live_time_s == 59.9
    assert spectrum.instrument == "Workshop One crystal 7"
    assert spectrum.detector == "front"
    assert spectrum.claimed_scale is not None
    assert spectrum.claimed_scale.energy_kev(spectrum.edges) == pytest.approx([4.0 * i for i in range(19)], abs=1e-12)


def test_what_is_written_has_the_names_of_the_standard() -> None:
    scale = ClaimedScale((2.0, 4.0), "invented")
    spectrum = Spectrum(_numbers(PLAIN), real_time_s=60.0, live_time_s=59.9, role="foreground", claimed_scale=scale)
    root = etree.fromstring(n42_bytes(spectrum))
    assert root.tag == f"{{{NAMESPACE}}}RadInstrumentData"

    def text(name: str) -> str | None:
        return root.findtext(f".//{{{NAMESPACE}}}{name}")

    assert text("ChannelData") == COMPRESSED
    assert text("CoefficientValues") == "0.0 4.0 0.0"
    assert text("RealTimeDuration") == "PT60S"
    assert text("LiveTimeDuration") == "PT59.9S"
    assert text("MeasurementClassCode") == "Foreground"
