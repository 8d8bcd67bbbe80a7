"""N42.42: what is written is read back identical; scales; safety of the XML reader."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from truekev.errors import FileFormatError, OutOfRangeError
from truekev.record import Record
from truekev.spectra import n42
from truekev.spectra.n42 import spectra_of_n42
from truekev.spectra.n42_write import n42_bytes
from truekev.spectra.spectrum import ROLES, ClaimedScale, Spectrum

TEXT = st.text(max_size=12)
TIMES = st.none() | st.floats(0, 1e9)
COEFFICIENTS = st.tuples(st.floats(-50, 50), st.floats(0.5, 20)) | st.tuples(
    st.floats(-50, 50), st.floats(0.5, 20), st.floats(0, 1e-2), st.floats(0, 1e-5)
)
POINTS = st.just(()) | st.just(((-0.5, 1.0), (3.0, 20.25), (9.5, 30.0)))
SCALES = st.none() | st.builds(ClaimedScale, COEFFICIENTS, TEXT, POINTS)


@st.composite
def spectra(draw: st.DrawFn, *, with_parts: bool = True) -> Spectrum:
    counts = np.array(
        draw(st.lists(st.just(0) | st.integers(0, 10**9) | st.floats(0, 1e9), min_size=1, max_size=40)), float
    )
    return Spectrum(
        counts=counts,
        live_time_s=draw(TIMES),
        real_time_s=draw(TIMES),
        counting_time_s=draw(TIMES),
        start=draw(st.none() | st.datetimes(datetime(1, 1, 2), timezones=st.none() | st.just(UTC))),
        overflow=draw(st.floats(0, 1e9)),
        claimed_scale=draw(SCALES),
        corrected_scale=draw(SCALES),
        variance=draw(st.none() | st.just(counts + 0.5)),
        slices=tuple(draw(st.lists(spectra(with_parts=False), max_size=2))) if with_parts else (),
        background=draw(st.none() | spectra(with_parts=False)) if with_parts else None,
        title=draw(TEXT),
        remarks=draw(st.lists(TEXT, max_size=3)),
        notes=draw(st.lists(TEXT, max_size=3)),
        instrument=draw(TEXT),
        detector=draw(TEXT),
        role=draw(st.sampled_from(ROLES)),
        rebinned=draw(st.booleans()),
    )


@pytest.mark.parametrize("compress", [True, False])
@settings(max_examples=30, deadline=None, derandomize=True)
@given(listed=st.lists(spectra(), min_size=1, max_size=3))
def test_what_is_written_is_read_back_identical(compress: bool, listed: list[Spectrum]) -> None:
    data = n42_bytes(listed, compress=compress, record=Record.make(settings={"note": "<&>\x00"}))
    assert spectra_of_n42(data) == tuple(listed)


def test_nothing_to_write_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="at least one"):
        n42_bytes([])


def test_the_claim_survives_a_correction() -> None:
    claimed, corrected = ClaimedScale((1.0, 9.0), "as found"), ClaimedScale((2.0, 9.5), "corrected")
    data = n42_bytes(Spectrum(np.arange(8), claimed_scale=claimed, corrected_scale=corrected))
    (back,) = spectra_of_n42(data)
    assert back.claimed_scale == claimed
    assert back.corrected_scale == corrected
    # other programs see the corrected scale, at the lower edges
    assert b"<CoefficientValues>-2.75 9.5 0.0</CoefficientValues>" in data


def test_a_calibration_changed_by_another_program_is_the_claim() -> None:
    claimed, corrected = ClaimedScale((1.0, 9.0), "as found"), ClaimedScale((2.0, 9.5), "corrected")
    data = n42_bytes(Spectrum(np.arange(8), claimed_scale=claimed, corrected_scale=corrected))
    (back,) = spectra_of_n42(data.replace(b"-2.75 9.5 0.0", b"-5 10 0"))
    assert back.corrected_scale is None
    assert back.claimed_scale is not None
    assert back.claimed_scale.coefficients_kev == (0.0, 10.0)
    assert "changed after" in back.notes[-1]


def test_a_time_of_unsaid_kind_is_real_time_to_others_and_unsaid_to_us() -> None:
    spectrum = Spectrum(np.arange(8), counting_time_s=633.0)
    data = n42_bytes(spectrum)
    assert b"<RealTimeDuration>PT633S</RealTimeDuration>" in data
    assert spectra_of_n42(data) == (spectrum,)


def _foreign(calibration: str, data: str = "<ChannelData>1 2 3 4</ChannelData>") -> bytes:
    return (
        '<RadInstrumentData xmlns="http://physics.nist.gov/N42/2011/N42">'
        f'<EnergyCalibration id="c">{calibration}</EnergyCalibration><RadMeasurement id="m">'
        f'<Spectrum id="s" energyCalibrationReference="c">{data}</Spectrum></RadMeasurement></RadInstrumentData>'
    ).encode()


OWN = n42_bytes(Spectrum(np.ones(3), title="own"))


def test_boundaries_are_edges() -> None:
    (spectrum,) = spectra_of_n42(_foreign("<EnergyBoundaryValues>0 10 25 45 70</EnergyBoundaryValues>"))
    assert spectrum.claimed_scale is not None
    assert spectrum.claimed_scale.energy_kev(spectrum.edges) == pytest.approx([0, 10, 25, 45, 70])


def test_a_placeholder_calibration_is_no_scale() -> None:
    (spectrum,) = spectra_of_n42(_foreign("<CoefficientValues>0 0 0</CoefficientValues>"))
    assert spectrum.claimed_scale is None
    assert "constant" in spectrum.notes[0]


@pytest.mark.parametrize(
    ("data", "match"),
    [
        (_foreign("<EnergyBoundaryValues>0 10 9 45 70</EnergyBoundaryValues>"), "must rise"),
        (_foreign("<EnergyBoundaryValues>0 10</EnergyBoundaryValues>"), "5 are needed"),
        (_foreign("<CoefficientValues>0 ten 0</CoefficientValues>"), "'ten' is not a number"),
        (_foreign("", "<ChannelData>1 -2 3</ChannelData>"), "field ChannelData, value 2: -2 counts"),
        (_foreign("", "<ChannelData>1 nan 3</ChannelData>"), "must be finite"),
        (_foreign("", "<ChannelData>1 1e300 3</ChannelData>"), "2\\^53"),
        (_foreign("", "<ChannelData></ChannelData>"), "no counts"),
        (_foreign("", "<ChannelData compressionCode='Zip'>1 2</ChannelData>"), "not of the standard"),
        (_foreign("", "<ChannelData compressionCode='CountedZeroes'>1 0 262144</ChannelData>"), "262144 channels"),
        (_foreign("", f"<ChannelData>{'1 ' * 262145}</ChannelData>"), "262144 values"),
        (_foreign("", "<LiveTimeDuration>ten</LiveTimeDuration><ChannelData>1</ChannelData>"), "not an ISO 8601"),
        (_foreign("", "<LiveTimeDuration>P1Y</LiveTimeDuration><ChannelData>1</ChannelData>"), "not an ISO 8601"),
        (_foreign("", ""), "no ChannelData"),
        (b"<RadInstrumentData/>", "no gamma spectrum"),
        (b"<html/>", "its root is 'html'"),
        (_foreign("")[:-40], "damaged or cut short"),
        (b"<a>" * 100_000, "damaged or cut short"),
        (b"<" * 4_000_001, "split the file"),
        (OWN.replace(b'spectrum:1">{', b'spectrum:1">{,'), "own extension is damaged"),
        (OWN.replace(b'spectrum:1">{', b'spectrum:1">{"n_slices": 3, '), "should follow"),
        (OWN.replace(b'spectrum:1">{', b'spectrum:1">' + b"[" * 9000), "own extension is damaged"),
        (OWN.replace(b'spectrum:1">{', b'spectrum:1">{"variance": [1.0], '), "does not fit"),
    ],
)  # fmt: skip
def test_bad_n42_is_refused(data: bytes, match: str) -> None:
    with pytest.raises(FileFormatError, match=match) as caught:
        spectra_of_n42(data, file="bench.n42")
    assert str(caught.value).startswith("bench.n42")


BOMB = b"""<?xml version="1.0"?><!DOCTYPE z [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">
<!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;&b;&b;">]><RadInstrumentData>&c;</RadInstrumentData>"""
EXTERNAL = b"""<!DOCTYPE z [<!ENTITY x SYSTEM "file:///etc/hostname">]><RadInstrumentData>&x;</RadInstrumentData>"""


@pytest.mark.parametrize("data", [BOMB, EXTERNAL], ids=["bomb", "external"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_entities_are_refused(data: bytes, encoding: str) -> None:
    with pytest.raises(FileFormatError, match="document type or entities"):
        spectra_of_n42(data.decode().replace('<?xml version="1.0"?>', "").encode(encoding))


def test_equal_means_equal_in_every_field() -> None:
    spectrum = Spectrum(np.arange(4), variance=np.arange(4))
    assert spectrum == replace(spectrum)
    assert spectrum != replace(spectrum, variance=None)
    assert spectrum != replace(spectrum, counts=np.arange(4) + 1)
    assert spectrum != replace(spectrum, title="other")
    assert spectrum != "a spectrum"


def test_the_channels_of_a_file_are_bounded_together(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(n42, "MAX_TOTAL_CHANNELS", 100)
    data = "<ChannelData compressionCode='CountedZeroes'>0 60</ChannelData>"
    assert spectra_of_n42(_foreign("", data))[0].n_channels == 60
    with pytest.raises(FileFormatError, match="100 channels in all"):
        spectra_of_n42(_foreign("", f"{data}</Spectrum><Spectrum>{data}"))


def test_many_remarks_are_kept() -> None:
    remarks = "".join(f"<Remark>r{i}</Remark>" for i in range(150))
    (spectrum,) = spectra_of_n42(_foreign("", remarks + "<ChannelData>1</ChannelData>"))
    assert len(spectrum.remarks) == 101
    assert "\n".join(spectrum.remarks).split("\n") == [f"r{i}" for i in range(150)]
