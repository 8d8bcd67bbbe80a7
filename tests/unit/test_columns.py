"""Plain columns: what is written is read back; every layout; what is decided about axes, gaps and numbering."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from truekev.errors import FileFormatError, OutOfRangeError
from truekev.record import Record
from truekev.spectra.columns import spectrum_of_columns
from truekev.spectra.columns_write import columns_text
from truekev.spectra.spectrum import ROLES, ClaimedScale, Spectrum

WORDS = st.text(st.characters(categories=["L", "N", "P"]), max_size=12).map(lambda s: " ".join(s.split()))
COEFFICIENTS = st.tuples(st.floats(-50, 50), st.floats(0.5, 20), st.floats(0, 1e-2))
SCALES = st.none() | st.builds(ClaimedScale, COEFFICIENTS, WORDS.filter(bool))
TIMES = st.none() | st.floats(0, 1e7)
STARTS = st.none() | st.datetimes(datetime(2000, 1, 1), datetime(2100, 1, 1), timezones=st.none() | st.just(UTC))
COUNTS = st.lists(st.integers(0, 10**9) | st.floats(0, 1e9), min_size=2, max_size=40)
STYLES = [(",", "."), (";", "."), (";", ","), ("\t", "."), ("\t", ","), (" ", "."), (" ", ",")]


@st.composite
def plain_spectra(draw: st.DrawFn) -> Spectrum:
    counts = np.array(draw(COUNTS), float)
    return Spectrum(
        counts=counts,
        live_time_s=draw(TIMES),
        real_time_s=draw(TIMES),
        counting_time_s=draw(TIMES),
        start=draw(STARTS),
        overflow=draw(st.integers(0, 1000)),
        claimed_scale=draw(SCALES),
        corrected_scale=draw(SCALES),
        variance=draw(st.none() | st.just(counts * 2 + 0.25)),
        title=draw(WORDS),
        remarks=tuple(r for r in draw(st.lists(WORDS, max_size=3)) if r),
        instrument=draw(WORDS),
        detector=draw(WORDS),
        role=draw(st.sampled_from(ROLES)),
        rebinned=draw(st.booleans()),
    )


@pytest.mark.parametrize(("separator", "decimal"), STYLES)
@settings(max_examples=25, deadline=None, derandomize=True)
@given(spectrum=plain_spectra())
def test_written_columns_read_back(separator: str, decimal: str, spectrum: Spectrum) -> None:
    text = columns_text(spectrum, separator=separator, decimal=decimal, record=Record.make(settings={"a": 1}))
    back = spectrum_of_columns(text)
    assert replace(back, notes=()) == spectrum
    # a second turn changes nothing, notes included
    assert spectrum_of_columns(columns_text(back)) == back


@settings(max_examples=25, deadline=None, derandomize=True)
@given(counts=COUNTS, scale=COEFFICIENTS, claimed=SCALES)
def test_corrected_edges_read_back_as_corrected(
    counts: list[float], scale: tuple[float, ...], claimed: ClaimedScale | None
) -> None:
    spectrum = Spectrum(np.array(counts, float), claimed_scale=claimed)
    edges = ClaimedScale(scale).energy_kev(spectrum.edges)
    back = spectrum_of_columns(columns_text(spectrum, energy_edges_kev=edges))
    assert back.claimed_scale == claimed
    assert back.corrected_scale is not None
    assert np.array_equal(back.corrected_scale.energy_kev(spectrum.edges), edges)
    assert np.array_equal(back.counts, spectrum.counts)
    assert spectrum_of_columns(columns_text(back)) == back


def test_edges_of_another_writer_are_a_claim() -> None:
    text = "channel,energy_low_kev,energy_high_kev,counts\n" + "".join(
        f"{i},{3 * i - 1},{3 * i + 2},5\n" for i in range(9)
    )
    back = spectrum_of_columns(text)
    assert back.corrected_scale is None
    assert back.claimed_scale is not None
    assert back.claimed_scale.energy_kev(0) == pytest.approx(0.5)
    assert not back.claimed_scale.points


@pytest.mark.parametrize(
    "text",
    [
        "3\n4\n5\n",
        "counts\n3\n4\n5\n",
        "0,3\n1,4\n2,5\n",
        "0 , 3\n1 , 4\n2 , 5\n",
        "\ufeffChannel;Counts\r\n0;3\r\n1;4\r\n2;5\r\n\r\n",
        "  0   3  \n  1   4\n  2   5\n",
        "0\t3\t\n1\t4\t\n2\t5\t\n",
        "# Channel\tCounts\n0\t3\n1\t4\n2\t5",
        "// made up\n! made up\n; made up\n# made up\n0,3\n1,4\n2,5\n",
        '"channel","counts"\n"0","3"\n"1","4"\n"2","5"\n',
        "COUNTS;CHANNEL\n3;0\n4;1\n5;2\n",
        "0,3,\n1,4,\n2,5,\n",
        "# Channel, Counts\n0 3\n1 4\n2 5\n",
        "ch counts\n0 3,0\n1 4,0\n2 5,0\n",
    ],
)
def test_layouts(text: str) -> None:
    assert spectrum_of_columns(text.removeprefix("\ufeff")).counts.tolist() == [3, 4, 5]


@pytest.mark.parametrize(
    ("comment", "live", "real", "unsaid"),
    [
        ("live time: 600", 600, None, None),
        ("Live Time (s): 600.5 s", 600.5, None, None),
        ("live_time_min = 10", 600, None, None),
        ("Real time: 1.5 h", None, 5400, None),
        ("real time: 1:30:05", None, 5405, None),
        ("counting time: PT1H2M3.5S", None, None, 3723.5),
        ("counting time: 10,5 min (as given)", None, None, 630),
        ("counting time: not given", None, None, None),
        ("LiveTime: 2 days", 172800, None, None),
    ],
)
def test_times_in_comments(comment: str, live: float | None, real: float | None, unsaid: float | None) -> None:
    spectrum = spectrum_of_columns(f"# {comment}\n0,3\n1,4\n")
    assert (spectrum.live_time_s, spectrum.real_time_s, spectrum.counting_time_s) == (live, real, unsaid)


@pytest.mark.parametrize(
    ("text", "coefficients"),
    [
        ("energy scale, keV: 1.5 + 9.25 ch + 0.008 ch^2", (1.5, 9.25, 0.008)),
        ("energy scale, keV: -1.5 + 9.25*ch - 8e-3*ch**2", (-1.5, 9.25, -0.008)),
        ("energy calibration (MeV): 0.0015 + 0.00925 x", (1.5, 9.25)),
        ("energy scale: E = 9.25 channel", (0.0, 9.25)),
    ],
)
def test_scales_in_comments(text: str, coefficients: tuple[float, ...]) -> None:
    scale = spectrum_of_columns(f"# {text}\n0,3\n1,4\n").claimed_scale
    assert scale is not None
    assert scale.coefficients_kev == pytest.approx(coefficients)


@pytest.mark.parametrize("text", ["see sheet 4", "1 2 3", "1 + + ch", "5", "1 + 2 ch + 3 ch"])
def test_a_scale_that_is_no_polynomial_stays_a_remark(text: str) -> None:
    spectrum = spectrum_of_columns(f"# energy scale, keV: {text}\n0,3\n1,4\n")
    assert spectrum.claimed_scale is None
    assert spectrum.remarks == (f"energy scale, keV: {text}",)


def _peak(n: int = 128) -> np.ndarray:
    at = np.arange(n)
    rate = 400 * np.exp(-at / 40) + 900 * np.exp(-0.5 * ((at - 60) / 3.0) ** 2) + 2
    return np.random.default_rng(5).poisson(rate)


def _labelled(counts: np.ndarray, header: str = "energy (keV),counts") -> Spectrum:
    rows = "\n".join(f"{1.25 + 9.5 * i + 0.01 * i * i:.2f},{n:g}" for i, n in enumerate(counts))
    return spectrum_of_columns(f"{header}\n{rows}\n")


def test_an_energy_axis_is_labels_on_channels() -> None:
    spectrum = _labelled(_peak())
    assert not spectrum.rebinned
    assert spectrum.claimed_scale is not None
    assert spectrum.claimed_scale.coefficients_kev == pytest.approx((1.25, 9.5, 0.01), abs=0.01)
    assert "low edge or middle" in spectrum.claimed_scale.origin
    in_mev = "\n".join(f"{(1.25 + 9.5 * i) / 1000:.5f} {n}" for i, n in enumerate(_peak()))
    scale = spectrum_of_columns(f"Energy [MeV] Counts\n{in_mev}").claimed_scale
    assert scale is not None
    assert scale.coefficients_kev == pytest.approx((1.25, 9.5), abs=0.02)


def test_labels_that_no_polynomial_reproduces_become_points() -> None:
    labels = [10.0, 20.0, 30.0, 31.0, 32.0, 50.0, 90.0, 91.0]
    spectrum = spectrum_of_columns("energy,counts\n" + "".join(f"{e},7\n" for e in labels))
    assert spectrum.claimed_scale is not None
    assert spectrum.claimed_scale.energy_kev(np.arange(8)).tolist() == labels
    assert spectrum.claimed_scale.energy_kev([-1.0, 8.0]).tolist() == [0.0, 92.0]


@pytest.mark.parametrize(
    ("counts", "why"),
    [
        (_peak() * 0.97, "not whole"),
        (np.where(np.arange(128) % 7 == 3, 0, _peak()), "empty channels"),
        (np.where(np.arange(128) % 7 == 3, 2 * _peak(), _peak()), "twice"),
        (np.repeat(_peak()[::2], 2), "repeat each other"),
    ],
)
def test_counts_that_prove_a_redistribution(counts: np.ndarray, why: str) -> None:
    spectrum = _labelled(counts)
    assert spectrum.rebinned
    assert any(why in note for note in spectrum.notes)


def test_one_dead_channel_proves_nothing() -> None:
    counts = _peak()
    counts[20] = 0
    assert not _labelled(counts).rebinned


def test_numbering_from_one() -> None:
    rows = "".join(f"{i},{i}\n" for i in range(1, 65))
    spectrum = spectrum_of_columns("# energy scale, keV: 10 + 2 ch\n" + rows)
    assert spectrum.n_channels == 64
    assert spectrum.counts[0] == 1
    assert spectrum.claimed_scale is not None
    # the file's channel 1 is at 12 keV, and it is channel 0 here
    assert spectrum.claimed_scale.energy_kev(0) == pytest.approx(12)
    assert "from 1" in spectrum.notes[0]


def test_channels_left_out_are_zero_and_said() -> None:
    spectrum = spectrum_of_columns("channel,counts\n2,5\n3,6\n7,1\n")
    assert spectrum.counts.tolist() == [0, 0, 5, 6, 0, 0, 0, 1]
    assert "hold 0 counts here: 0 to 1, 4 to 6." in spectrum.notes[0]


def test_unnamed_axis_with_steps_other_than_one_is_energy() -> None:
    spectrum = spectrum_of_columns("".join(f"{3 * i},5\n" for i in range(20)))
    assert spectrum.n_channels == 20
    assert spectrum.claimed_scale is not None
    assert spectrum.claimed_scale.coefficients_kev == pytest.approx((0, 3), abs=1e-9)


@pytest.mark.parametrize(("separator", "decimal"), [(",", ","), ("|", "."), (";", "'")])
def test_styles_that_cannot_be_read_are_not_written(separator: str, decimal: str) -> None:
    with pytest.raises(OutOfRangeError, match="decimal mark"):
        columns_text(Spectrum(np.ones(3)), separator=separator, decimal=decimal)


def test_edges_to_write_must_fit() -> None:
    with pytest.raises(OutOfRangeError, match="4 are needed"):
        columns_text(Spectrum(np.ones(3)), energy_edges_kev=[1, 2, 3])
    with pytest.raises(FileFormatError, match="must rise"):
        columns_text(Spectrum(np.ones(3)), energy_edges_kev=[1, 2, 3, 3])
