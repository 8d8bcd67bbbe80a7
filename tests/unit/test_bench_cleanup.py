"""Peroxide: the adiabatic rule, what must be out first, monotonic peaks."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from truekev.bench.cleanup import (
    MAX_ADIABATIC_DEGC,
    Dose,
    cleanup_plan,
    cooled_peak_degc,
    dose_heat,
    largest_portion_ml,
    parse_dose,
    worst_part,
)
from truekev.bench.settings import CleanupSettings
from truekev.errors import InputError, OutOfRangeError, RefusedError

READY = CleanupSettings(basket_out=True, copper_out=True, tungsten_left_g=0.2)


@pytest.mark.parametrize(
    ("text", "volume", "percent"),
    [("50mL 5%", 50, 5), ("50 ml of 5 %", 50, 5), ("0,02 L 3%", 20, 3), ("7.5mL, 4.5%", 7.5, 4.5)],
)
def test_doses_in_words(text: str, volume: float, percent: float) -> None:
    dose = parse_dose(text)
    assert (dose.volume_ml, dose.percent) == pytest.approx((volume, percent))


@pytest.mark.parametrize("text", ["", "50", "50mL", "5%", "50g 5%", "-5mL 5%", "50mL 5% 5%"])
def test_words_that_are_no_dose(text: str) -> None:
    with pytest.raises(InputError, match="write volume and strength"):
        parse_dose(text)


@pytest.mark.parametrize(("volume", "percent"), [(0, 5), (-1, 5), (50, 0), (50, 71), (float("nan"), 5), (1e6, 5)])
def test_absurd_doses(volume: float, percent: float) -> None:
    with pytest.raises(OutOfRangeError):
        Dose(volume, percent)


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"basket_out": False}, "titanium"),
        ({"copper_out": False}, "decompose at once"),
        ({"hydroxide_mol_l": 0.0}, "leaches radium and lead"),
        ({"tungsten_left_g": None}, "unknown tungsten .* no cooling, it would boil"),
        ({"tungsten_left_g": 2.0}, "2 g of tungsten, .* no cooling, its first part alone would reach"),
        ({"tungsten_left_g": 0.0, "temperature_degc": 40.0}, "0 g of tungsten, .* no cooling, it would reach 64"),
    ],
)
def test_refused_with_the_reason(change: dict[str, object], reason: str) -> None:
    with pytest.raises(RefusedError, match=reason) as caught:
        cleanup_plan(READY.model_copy(update=change), Dose(50, 5))
    assert caught.value.what_would_help


@pytest.mark.parametrize("percent", [30.0, 35.0, 50.0])
def test_strong_peroxide_is_refused_outright(percent: float) -> None:
    with pytest.raises(RefusedError, match="outright"):
        cleanup_plan(READY.model_copy(update={"tungsten_left_g": 0.0}), Dose(1, percent))


@pytest.mark.parametrize("tungsten", [0.0, 0.1, 0.5, 1.0, None])
@pytest.mark.parametrize("percent", [3.0, 5.0, 10.0])
def test_the_rule_at_its_limit(tungsten: float | None, percent: float) -> None:
    allowed = largest_portion_ml(percent, 20.0, tungsten, 20.0)
    ready = READY.model_copy(update={"tungsten_left_g": tungsten})
    if allowed >= 1e5:
        assert dose_heat(Dose(5000, percent), 20.0, tungsten).peak_degc <= MAX_ADIABATIC_DEGC
        return
    assert cleanup_plan(ready, Dose(0.99 * allowed, percent)).heat.peak_degc <= MAX_ADIABATIC_DEGC
    with pytest.raises(RefusedError, match="can run away"):
        cleanup_plan(ready, Dose(1.01 * allowed, percent))


def test_every_part_of_an_allowed_dose_is_allowed() -> None:
    # with 0.8 g left the whole 50 mL of 5 % would stay below 60 °C, but the first 9 mL of it alone would not
    whole = dose_heat(Dose(50, 5), 20, 0.8)
    assert whole.peak_degc <= MAX_ADIABATIC_DEGC
    assert worst_part(Dose(50, 5), 20, 0.8).peak_degc > MAX_ADIABATIC_DEGC
    with pytest.raises(RefusedError, match="first part alone"):
        cleanup_plan(READY.model_copy(update={"tungsten_left_g": 0.8}), Dose(50, 5))


def test_the_refusal_does_not_rest_on_kinetics() -> None:
    # cooled, this dose would hardly warm; it is refused all the same
    assert cooled_peak_degc(Dose(50, 5), 20, None, loss_w_k=1.0, decay_per_h=0.01) < 25
    with pytest.raises(RefusedError):
        cleanup_plan(READY.model_copy(update={"tungsten_left_g": None}), Dose(50, 5))


def test_portions_follow_the_yield() -> None:
    dose = Dose(20, 3)  # could dissolve 1.1 g if nothing decomposed
    plan = cleanup_plan(READY.model_copy(update={"tungsten_left_g": 0.9}), dose)
    assert plan.n_portions == (2, 9)
    assert plan.n_portions[0] >= 0.9 / (0.5 * dose.tungsten_capacity_g)
    assert cleanup_plan(READY.model_copy(update={"tungsten_left_g": None}), Dose(5, 3)).n_portions is None


def test_hydroxide_is_kept_in_excess() -> None:
    plan = cleanup_plan(READY.model_copy(update={"hydroxide_mol_l": 0.05}), Dose(20, 5))
    assert plan.hydroxide_needed_mol > plan.heat.hydroxide_used_mol
    assert plan.hydroxide_to_add_g == pytest.approx(40.0 * (plan.hydroxide_needed_mol - 0.001), rel=1e-3)
    assert "Hydroxide first" in plan.steps[1]


DOSES = st.tuples(st.floats(0.5, 500), st.floats(0.5, 60), st.floats(0, 300), st.one_of(st.none(), st.floats(0, 20)))


@settings(max_examples=200, deadline=None, derandomize=True)
@given(dose=DOSES, stronger=st.floats(1.0, 3.0), start=st.floats(0, 40))
def test_a_stronger_dose_never_lowers_the_peak(
    dose: tuple[float, float, float, float | None], stronger: float, start: float
) -> None:
    volume, percent, heel, tungsten = dose
    strong = min(percent * stronger, 70.0)
    weak_peak = dose_heat(Dose(volume, percent), heel, tungsten, start).peak_degc
    assert dose_heat(Dose(volume, strong), heel, tungsten, start).peak_degc >= weak_peak - 1e-9


@settings(max_examples=100, deadline=None, derandomize=True)
@given(dose=DOSES, loss=st.floats(0.0, 5.0), less=st.floats(0.0, 1.0), decay=st.floats(0.001, 5.0))
def test_less_cooling_never_lowers_the_peak(
    dose: tuple[float, float, float, float | None], loss: float, less: float, decay: float
) -> None:
    volume, percent, heel, tungsten = dose
    at = (Dose(volume, percent), heel, tungsten)
    cool = cooled_peak_degc(*at, loss_w_k=loss, decay_per_h=decay)
    warm = cooled_peak_degc(*at, loss_w_k=loss * less, decay_per_h=decay)
    assert warm >= cool - 1e-9
    assert warm <= dose_heat(*at).peak_degc + 1e-9
