"""A scale in its file: written and read back identical, every damage told by name; edges and uncertainty."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.support.made_scale import PULSE, made_scale

from truekev.errors import FileFormatError, StoreError
from truekev.scale.energy_scale import EnergyScale, read_scale, scale_as_dict, write_scale


@pytest.fixture
def written(tmp_path: Path) -> Path:
    return write_scale(made_scale(), tmp_path / "scale.json")


def test_what_is_written_is_read_back(written: Path) -> None:
    back, scale = read_scale(written), made_scale()
    assert scale_as_dict(back) == scale_as_dict(scale)
    assert back.part_shares == scale.part_shares != ()
    energies = np.array([30.0, 59.5, 239.0, 662.0, 2614.5])
    np.testing.assert_array_equal(back.channel(energies), scale.channel(energies))
    np.testing.assert_array_equal(back.u_energy_kev(energies), scale.u_energy_kev(energies))
    assert back.record.inputs == scale.record.inputs
    assert back.groups == scale.groups


def _set(*path: str | int, to: Any) -> Callable[[dict[str, Any]], None]:
    def change(entries: dict[str, Any]) -> None:
        place: Any = entries
        for step in path[:-1]:
            place = place[step]
        place[path[-1]] = to

    return change


def _not_positive(entries: dict[str, Any]) -> None:
    entries["covariance"][0][0] = -1.0


@pytest.mark.parametrize(
    ("change", "field", "words"),
    [
        (_set("format", to="another 1"), "format", "energy scale"),
        (lambda e: e.pop("format"), "format", "energy scale"),
        (lambda e: e.pop("pulse"), "pulse", "required"),
        (_set("pulse", "gain", to=-3.0), "pulse.gain", "greater than 0"),
        (_set("pulse", "c0", to="zero"), "pulse.c0", "number"),
        (_set("pulse", "psi", to=[0.0] * 7), "pulse.psi", "8"),
        (_set("pulse", "colour", to="red"), "pulse.colour", "Extra"),
        (_set("n_channels", to=0), "n_channels", "greater than 0"),
        (_set("fwhm_662", to=None), "fwhm_662", "number"),
        (_set("groups", 0, "pull", to="much"), "groups.0.pull", "number"),
        (lambda e: e["covariance"].pop(), "covariance", "12"),
        (lambda e: e["covariance"][3].pop(), "covariance", "12 by 12"),
        (_not_positive, "covariance", "not negative"),
        (lambda e: e["record"].pop("program"), "record.program", "required"),
    ],
)
def test_damaged_entries(written: Path, change: Callable[[dict[str, Any]], object], field: str, words: str) -> None:
    entries = json.loads(written.read_text())
    change(entries)
    written.write_text(json.dumps(entries))
    with pytest.raises(FileFormatError, match=words) as caught:
        read_scale(written)
    assert caught.value.field == field
    assert str(written) in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_numbers_that_are_not_finite(written: Path, number: str) -> None:
    entries = scale_as_dict(made_scale())
    entries["pulse"]["c0"] = "HERE"
    written.write_text(json.dumps(entries).replace('"HERE"', number))
    with pytest.raises(FileFormatError) as caught:
        read_scale(written)
    assert caught.value.field == "pulse.c0"


def test_a_covariance_that_is_not_symmetric(written: Path) -> None:
    entries = json.loads(written.read_text())
    entries["covariance"][0][1] = 0.5
    written.write_text(json.dumps(entries))
    with pytest.raises(FileFormatError) as caught:
        read_scale(written)
    assert caught.value.field == "covariance"


@pytest.mark.parametrize("nodes", [[60.0, 50.0], [-1.0, 50.0]])
def test_a_curve_that_cannot_be(written: Path, nodes: list[float]) -> None:
    entries = json.loads(written.read_text())
    entries["pulse"]["curve"] |= {"energy_kev": nodes, "d_kev": [1.0, 1.0]}
    written.write_text(json.dumps(entries))
    with pytest.raises(FileFormatError) as caught:
        read_scale(written)
    assert caught.value.field == "pulse.curve"


def test_truncated_json_names_the_line(written: Path) -> None:
    text = written.read_text()
    written.write_text(text[: len(text) // 2])
    with pytest.raises(FileFormatError, match="JSON") as caught:
        read_scale(written)
    assert caught.value.line is not None
    assert caught.value.line > 1


@pytest.mark.parametrize("content", [b"", b"\x00\xff\xfe\x80", b"[1, 2]", b"3", b"channel,counts\n0,1\n"])
def test_other_files(tmp_path: Path, content: bytes) -> None:
    file = tmp_path / "other.json"
    file.write_bytes(content)
    with pytest.raises(FileFormatError, match=r"other\.json"):
        read_scale(file)


def test_missing_file_and_missing_folder(tmp_path: Path) -> None:
    with pytest.raises(FileFormatError, match="cannot be read"):
        read_scale(tmp_path / "nothere.json")
    with pytest.raises(FileFormatError, match="cannot be read"):
        read_scale(tmp_path)
    with pytest.raises(StoreError, match="cannot be written"):
        write_scale(made_scale(), tmp_path / "nothere" / "scale.json")


# ---- what a scale says


def test_edges_meet_the_scale_and_rise() -> None:
    for n_channels in (256, 1024, 1500):
        scale = made_scale(n_channels)
        edges = scale.edges_kev()
        assert edges.size == n_channels + 1
        assert np.all(np.diff(edges) > 0)
        inside = (edges > 1.0) & (edges < 4000.0)
        np.testing.assert_allclose(scale.channel(edges[inside]), np.flatnonzero(inside) - 0.5, atol=1e-3)


def test_uncertainty_is_that_of_the_jacobian() -> None:
    # finite differences over draws: 4000 scales from the covariance, spread of the energy of one channel
    scale = made_scale()
    rng = np.random.default_rng(6)
    moves = rng.multivariate_normal(np.zeros(12), scale.covariance, size=4000)
    for energy in (60.0, 662.0, 2000.0):
        jacobian = PULSE.jacobian(energy)[0]
        shift = moves @ jacobian / float(PULSE.slope_per_kev(energy))
        assert float(scale.u_energy_kev(energy)) == pytest.approx(float(shift.std()), rel=0.05)
        at = scale.at(float(scale.channel(energy)))
        assert at.value == pytest.approx(energy, rel=1e-5)
        assert (at.u, at.unit) == (pytest.approx(float(scale.u_energy_kev(energy)), rel=1e-4), "keV")


def test_shape_of_uncertainty_follows_shape_of_energies() -> None:
    scale: EnergyScale = made_scale()
    assert scale.u_energy_kev(662.0).shape == ()
    assert scale.u_energy_kev(np.array([60.0, 662.0])).shape == (2,)
