"""A plain verdict on a fit: how well the model describes the counts, and where it does not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from truekev.scale.light import REFERENCE_KEV
from truekev.scale.whole.fit import WholeFit
from truekev.scale.whole.model import N_PULSE
from truekev.scale.whole.strengths import Start

__all__ = ["FitVerdict", "Misfit", "judge"]

_FAIR, _POOR, _NO_FIT = 1.5, 3.0, 8.0  # cost per degree of freedom; set on the open spectra and on foreign sources
# With few counts a fit is not poor for what the model leaves out: a tenth of the counts in every bin is allowed for. Of
# 7,500 simulated spectra of the right gain none came above 1.5.
_NO_FIT_OF_FEW, _MISFIT = 1.8, 0.1
_TELLING = 3.0  # standard deviations of a peak's width together
_MOST = 4


@dataclass(frozen=True)
class Misfit:
    """A range where counts and model differ by more than noise and the model error allowed for.

    Parameters
    ----------
    low_kev, high_kev : float
    percent : float
        Counts over the model, less one.
    deviations : float
        The same in standard deviations.
    """

    low_kev: float
    high_kev: float
    percent: float
    deviations: float


@dataclass(frozen=True)
class FitVerdict:
    """How well a spectrum is described.

    Parameters
    ----------
    chi2, dof : float
        Of the white residuals; near one another where the model holds.
    words : str
        The verdict as a sentence.
    misfits : tuple of Misfit
        Where it fits worst, the worst first.
    refusal, advice : str
        Empty where the fit may stand.
    """

    chi2: float
    dof: int
    words: str
    misfits: tuple[Misfit, ...]
    refusal: str
    advice: str


def _misfits(fit: WholeFit, index: int, start: Start) -> tuple[Misfit, ...]:
    one = fit.spectra[index]
    edges_u = one.design.edges_u
    width_u = 0.5 * float(np.exp(fit.shape[N_PULSE])) * np.sqrt(REFERENCE_KEV)
    covariance = one.weights.covariance
    off = start.data.counts - one.model
    found = []
    low = 0
    while low < off.size:
        high = low + 1
        while high < off.size and edges_u[high] - edges_u[low] < width_u:
            high += 1
        part = slice(low, high)
        u = float(np.sqrt(covariance[part, part].sum()))
        deviations = float(off[part].sum()) / u
        if abs(deviations) > _TELLING:
            ends = one.pulse.energy_kev(start.data.edges[[low, high]])
            percent = 100.0 * float(off[part].sum()) / max(float(one.model[part].sum()), 1.0)
            found.append(Misfit(float(ends[0]), float(ends[1]), percent, deviations))
        low = high
    return tuple(sorted(found, key=lambda m: -abs(m.deviations))[:_MOST])


def judge(fit: WholeFit, index: int, start: Start) -> FitVerdict:
    """Judge the fit of one spectrum."""
    one = fit.spectra[index]
    chi2 = float(one.residual @ one.residual)
    dof = max(start.data.counts.size - int((one.strengths > 0).sum()) - fit.shape.size - 1, 1)
    misfits = _misfits(fit, index, start)
    where = ""
    if misfits:
        where = "; worst at " + ", ".join(
            f"{m.low_kev:.0f} to {m.high_kev:.0f} keV ({m.percent:+.0f} %)" for m in misfits
        )
    ratio = chi2 / dof
    if ratio < _FAIR:
        words = f"The model describes the spectrum (chi-square {chi2:.0f} for {dof}){where}."
    elif ratio < _POOR:
        words = f"The model describes the spectrum roughly (chi-square {chi2:.0f} for {dof}){where}."
    else:
        words = f"The model describes the spectrum badly (chi-square {chi2:.0f} for {dof}){where}."
    refusal = advice = ""
    if ratio > min(_NO_FIT, _NO_FIT_OF_FEW + _MISFIT**2 * float(start.data.counts.sum()) / dof):
        refusal = f"The declared source does not describe this spectrum (chi-square {chi2:.0f} for {dof}){where}."
        advice = "name all that was counted, give a background with --background, or use --method peaks."
    return FitVerdict(chi2, dof, words, misfits, refusal, advice)
