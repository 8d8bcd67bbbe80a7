"""What a forecast promises for Eu-152 at 10 cm, against the band that the fit of the real hour states.

Spectrum: SURO, CC BY-SA 4.0, ../shared/open-spectra/SOURCES.md; 441.8 kBq on 2017-12-30, the crystal some 12 mm deep
(docs/validation/known_activities.md).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from studies.check_source_counts import FOLDER

from truekev.job.calibrate_spectra import calibrate_files
from truekev.scale.forecast import scale_u
from truekev.scale.predicted import predict
from truekev.scale.room import measured_room
from truekev.sources.short_forms import source_in_words
from truekev.spectra.read import read_spectrum
from truekev.transport.detector import DEFAULT_DETECTOR
from truekev.transport.response import Accuracy
from truekev.transport.response_store import ResponseStore

pytestmark = pytest.mark.skipif(not FOLDER.is_dir(), reason="the open spectra are not beside the project (../shared)")

ENERGIES = np.array([120.0, 240.0, 344.0, 661.7, 1000.0, 1461.0, 2614.5])


def test_bound_and_stated_band(tmp_path: Path) -> None:
    room_file = str(FOLDER / "background-office-1h.csv")
    report = calibrate_files([str(FOLDER / "eu152-1h.csv")], ["Eu-152"], background=room_file)
    one = report.spectra[0]
    time_s = float(one.spectrum.best_live_time_s or 0.0)
    source = source_in_words("Eu-152:350kBq,112mm")
    accuracy = Accuracy(0.5, 49_152, 49_152, 0.0)
    store = ResponseStore(tmp_path)
    predicted = predict(source, DEFAULT_DETECTOR, fwhm_662=one.scale.fwhm_662, accuracy=accuracy, store=store)
    room = measured_room(read_spectrum(room_file), predicted.curve, predicted.u)
    bound = scale_u(predicted, room, time_s, ENERGIES)
    stated = np.asarray(one.scale.u_energy_kev(ENERGIES))
    assert np.all(bound > 0.5 * stated), stated / bound
    assert np.all(bound < 1.5 * stated), stated / bound
