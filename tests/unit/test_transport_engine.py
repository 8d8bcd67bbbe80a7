from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from truekev.matter.materials import material
from truekev.transport.compiled import seed_stream, uniform
from truekev.transport.electron_tracks import ELECTRON, PHOTON, POSITRON
from truekev.transport.histories import ANYWHERE, AT_CRYSTAL, ELSEWHERE, run_block
from truekev.transport.photon_steps import compton, pair_share, photoelectron_cosine, rayleigh_cosine
from truekev.transport.photon_tables import photon_tables
from truekev.transport.setup import DetectorGeometry, Layer, Part, Setup, SourceBody, packed, point_source, slab
from truekev.transport.solids import Ball, Box, Cylinder

CUBE = Setup(DetectorGeometry("CsI(Tl)", (10.0, 10.0, 10.0)), point_source(10.0))


def _run(setup: Setup, kind: float, kev: float, aim: int, n: int, seed: int = 1, block: int = 0):
    p = packed(setup)
    return run_block(
        seed, block, n, kind, np.array([kev]), p.sources, aim, p.target, p.bodies, p.nest, p.materials, p.reach,
        p.photons, p.electrons, 1.0, int(kev) + 1100, 1.0,
    )  # fmt: skip


materials = st.sampled_from(["Al", "lead", "water", "ThO2", "PTFE", "air", "tungsten", "FR4 board"])
sizes = st.floats(1.0, 30.0)


@st.composite
def setups(draw: st.DrawFn) -> Setup:
    size = draw(st.one_of(st.tuples(sizes, sizes, sizes), st.tuples(sizes, sizes)))
    layers = tuple(Layer(material(draw(materials)), draw(st.floats(0.01, 3))) for _ in range(draw(st.integers(0, 2))))
    behind = ((material(draw(materials)), draw(st.floats(0.1, 5))),) if draw(st.booleans()) else ()
    detector = DetectorGeometry(draw(st.sampled_from(["CsI(Tl)", "NaI(Tl)", "BGO"])), size, layers, behind)
    z = -detector.front_mm - draw(st.floats(5.0, 30.0))
    body = draw(
        st.one_of(
            st.builds(Ball, st.floats(0.1, 8), st.just((0.0, 0.0, z))),
            st.builds(Cylinder, st.floats(0.1, 8), st.floats(0.1, 8), st.just((1.0, 0.0, z)), st.sampled_from("xyz")),
            st.builds(Box, st.tuples(*[st.floats(0.1, 8)] * 3), st.just((0.0, -1.0, z))),
        )
    )
    parts = (Part("source", body, material(draw(materials))),)
    table = (slab("table", material(draw(materials)), z - 30.0, 20.0, 100.0),)
    return Setup(detector, SourceBody((body,), (), parts), table)


@settings(max_examples=40, deadline=None)
@given(
    setups(), st.floats(5.0, 3000.0), st.sampled_from([PHOTON, ELECTRON, POSITRON]),
    st.sampled_from([AT_CRYSTAL, ELSEWHERE, ANYWHERE]), st.integers(0, 2**31),
)  # fmt: skip
def test_energy_is_conserved_in_every_history(setup: Setup, kev: float, kind: float, aim: int, seed: int) -> None:
    histogram, peak, hits, worst = _run(setup, kind, kev, aim, 300, seed)
    assert worst < 1e-9
    np.testing.assert_allclose(histogram.sum(axis=1)[:, 0] + peak[:, 0], hits[:, 0], rtol=1e-9)


def test_photons_born_away_from_all_bodies_do_nothing() -> None:
    lonely = Setup(CUBE.detector, point_source(10.0))
    _, _, hits, _ = _run(lonely, PHOTON, 661.7, ELSEWHERE, 2000)
    assert hits.sum() == 0


def test_same_seed_same_bits_and_other_seed_other_bits() -> None:
    one, two = (_run(CUBE, PHOTON, 661.7, AT_CRYSTAL, 2000, seed=5)[0] for _ in range(2))
    other = _run(CUBE, PHOTON, 661.7, AT_CRYSTAL, 2000, seed=6)[0]
    assert np.array_equal(one, two)
    assert not np.array_equal(one, other)


def test_cone_and_rest_together_are_the_whole_sphere() -> None:
    """A thick layer scatters photons into the crystal from everywhere: both aims together equal an unaimed run."""
    detector = DetectorGeometry("CsI(Tl)", (10.0, 10.0, 10.0), (Layer(material("Al"), 3.0),))
    setup = Setup(detector, point_source(15.0), (slab("table", material("Al"), -40.0, 20.0, 200.0),))
    n = 60_000
    aimed = [_run(setup, PHOTON, 300.0, aim, n, block=aim)[2].sum(axis=0) for aim in (AT_CRYSTAL, ELSEWHERE)]
    whole = _run(setup, PHOTON, 300.0, ANYWHERE, 4 * n)[2].sum(axis=0)
    difference = sum(a[0] for a in aimed) / n - whole[0] / (4 * n)
    u = np.sqrt(sum(a[1] for a in aimed)) / n + np.sqrt(whole[1]) / (4 * n)
    assert abs(difference) < 3 * u


def test_stream_is_uniform() -> None:
    stream = np.zeros(4, np.uint64)
    seed_stream(stream, 1, 2)
    values = np.array([uniform(stream) for _ in range(20_000)])
    assert values.min() > 0
    assert values.max() < 1
    assert values.mean() == pytest.approx(0.5, abs=0.01)
    assert values.var() == pytest.approx(1 / 12, rel=0.03)


def test_single_interactions_stay_in_range() -> None:
    stream = np.zeros(4, np.uint64)
    seed_stream(stream, 3, 1)
    tables = photon_tables([material("CsI")])
    for kev in (5.0, 60.0, 660.0, 2600.0):
        for _ in range(300):
            cosine, after, hit = compton(kev, tables.incoherent, tables.shell, 0, stream)
            assert -1 <= cosine <= 1
            binding = tables.shell[0, hit, 1] if hit >= 0 else 0.0
            assert 0 < after <= kev - binding
            assert -1 <= rayleigh_cosine(kev, tables.form, 0, stream) <= 1
            assert -1 <= photoelectron_cosine(kev, stream) <= 1
            assert 0 < pair_share(kev, stream) < 1


def test_compton_mean_energy_matches_klein_nishina() -> None:
    """At 660 keV binding hardly matters: the mean share of the electron is 0.384 (closed form of Klein-Nishina)."""
    stream = np.zeros(4, np.uint64)
    seed_stream(stream, 4, 1)
    tables = photon_tables([material("Al")])
    after = np.array([compton(661.7, tables.incoherent, tables.shell, 0, stream)[1] for _ in range(20_000)])
    assert 1 - after.mean() / 661.7 == pytest.approx(0.3842, abs=0.006)
