"""Descriptions from a few answers: what they say is what the reader of source and detector files understands."""

from __future__ import annotations

from datetime import date

import pytest

from truekev.book.body import Value
from truekev.book.things import Stock
from truekev.errors import InputError
from truekev.job.describe import SourceAnswers, description_of_detector, description_of_source
from truekev.sources.settings import read_source_text
from truekev.sources.short_forms import rods_source
from truekev.transport.detector import read_detector_text

RODS = Stock(
    name="rods", what="rods", place="drawer", count=20, electrode_class="WT20", diameter_mm=2.4, length_mm=150.0
)
DAY = date(2026, 3, 1)


def bq(value: float, u: float = 0.0) -> Value:
    return Value(value=value, u=u, unit="Bq")


def test_rods_of_a_stock_hold_what_the_rods_hold():
    text = description_of_source('Ten "rods"', SourceAnswers(stock=RODS, n_rods=10, distance_mm=10.0))
    found = read_source_text(text, file="x")
    expected = rods_source("WT20", 2.4, 150.0, 10)
    assert found.name == 'Ten "rods"'
    assert found.distance_mm == 10.0
    assert found.th232_bq.value == pytest.approx(expected.activities_bq["Th-232"])


def test_rods_by_their_content():
    rods = RODS.model_copy(update={"electrode_class": "", "thoria_percent": 1.9, "u_thoria_percent": 0.1})
    found = read_source_text(description_of_source("rods", SourceAnswers(stock=rods)), file="x")
    assert (found.body.thoria_fraction, found.body.u_thoria_fraction) == (pytest.approx(0.019), pytest.approx(0.001))
    assert found.body.n_rods == 20


@pytest.mark.parametrize("word", ["Cs-137", "cs137", "gas-mantle", "uranium-ore"])
def test_a_word_or_nuclide_with_its_activity(word):
    text = description_of_source("thing", SourceAnswers(word=word, activity_bq=bq(1000, 50), reference_date=DAY))
    found = read_source_text(text, file="x")
    assert found.activity_known
    first = next(iter(found.history.activities_bq))
    assert found.history.activities_bq[first] == 1000.0
    assert found.history.u_activities_bq[first] == 50.0
    assert found.history.reference_date == DAY


def test_uranium_keeps_its_natural_ratio():
    text = description_of_source("ore", SourceAnswers("uranium-ore", bq(1000), DAY))
    activities = read_source_text(text, file="x").history.activities_bq
    assert activities["U-235"] == pytest.approx(46.0, rel=0.02)  # 0.0072 of the atoms, half-lives 704 My and 4468 My


def test_nothing_said_is_no_description():
    assert description_of_source("thing", SourceAnswers()) == ""
    assert "activities" not in description_of_source("thing", SourceAnswers(word="gas-mantle"))


@pytest.mark.parametrize(
    ("answers", "said"),
    [
        (SourceAnswers(activity_bq=bq(5)), "not of what"),
        (SourceAnswers(word="Cs-137"), "give its activity"),
        (SourceAnswers(word="Cs-137", activity_bq=bq(5)), "give the day"),
        (SourceAnswers(word="Xx-1", activity_bq=bq(5), reference_date=DAY), "Xx-1"),
        (SourceAnswers(word="Cs-137", activity_bq=bq(-5), reference_date=DAY), "activities_bq"),
        (SourceAnswers(stock=RODS, n_rods=21), "holds 20"),
        (SourceAnswers(stock=RODS, n_rods=0), "bundle of"),
        (SourceAnswers(stock=RODS, activity_bq=bq(5)), "leave the activity empty"),
        (SourceAnswers(stock=RODS.model_copy(update={"what": "reagent"})), "made of rods"),
    ],
)
def test_answers_that_do_not_go_together(answers, said):
    with pytest.raises(InputError, match=said):
        description_of_source("thing", answers)


def test_detectors():
    found = read_detector_text(description_of_detector("mine", "NaI(Tl)", "cylinder", (38.0, 38.0)), file="x")
    assert (found.name, found.shape, found.size_mm) == ("mine", "cylinder", (38.0, 38.0, 38.0))
    assert found.scintillator.name == "NaI(Tl)"
    box = read_detector_text(description_of_detector("mine", "CsI(Tl)", "box", (10.0, 12.0, 30.0)), file="x")
    assert box.size_mm == (10.0, 12.0, 30.0)


@pytest.mark.parametrize(
    ("crystal", "shape", "sizes"),
    [
        ("NaI(Tl)", "box", (10.0, 10.0)),
        ("NaI(Tl)", "cylinder", (1.0,) * 3),
        ("jam", "box", (1.0,) * 3),
        ("BGO", "box", (0.0,) * 3),
    ],
)
def test_detectors_that_cannot_be(crystal, shape, sizes):
    with pytest.raises(InputError):
        description_of_detector("mine", crystal, shape, sizes)
