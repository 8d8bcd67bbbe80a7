"""Builds the table of spin factors of elastic electron scattering from the exact Mott series.

python tools/build_electron_scattering.py
"""

from __future__ import annotations

import hashlib
import io
import math
from datetime import date
from pathlib import Path

import numpy as np
import numpy.typing as npt
from scipy.special import loggamma

TABLES = Path(__file__).parents[1] / "src" / "truekev" / "tables"
NAME = "electron_spin_factors.npz"
Array = npt.NDArray[np.float64]
FINE_STRUCTURE = 7.2973525693e-3
ELECTRON_KEV = 510.99895
N_TERMS = 1200
N_REDUCTIONS = 3
KEV = np.geomspace(10.0, 5000.0, 24)
ANGLES = np.radians(np.concatenate([[1.5], np.arange(3, 30, 1.5), np.arange(30, 180, 2.5), [179.0]]))


def _reduced(coefficients: npt.NDArray[np.complex128]) -> npt.NDArray[np.complex128]:
    """Coefficients of (1 - x) times a Legendre series (D. R. Yennie et al., Phys. Rev. 95 (1954) 500)."""
    n = np.arange(len(coefficients)).astype(float)
    up = np.append(coefficients[1:], 0)
    down = np.append(0, coefficients[:-1])
    return np.asarray(coefficients - (n + 1) / (2 * n + 3) * up - n / (2 * n - 1) * down)


def mott_to_rutherford(z: int, kev: float, angles: Array, legendre: Array) -> Array:
    """Mott cross section of a point nucleus over the Rutherford one (J. A. Doggett, L. V. Spencer, 1956)."""
    tau = kev / ELECTRON_KEV
    beta = math.sqrt(tau * (tau + 2)) / (tau + 1)
    q = FINE_STRUCTURE * z / beta
    k = np.arange(0, N_TERMS + 2).astype(float)
    rho = np.sqrt(np.maximum(k**2 - (FINE_STRUCTURE * z) ** 2, 1e-30))
    whole = np.maximum(k, 1e-30)
    coulomb = np.exp(-1j * np.pi * k + loggamma(whole - 1j * q) - loggamma(whole + 1j * q)) / (whole + 1j * q)
    dirac = np.exp(-1j * np.pi * rho + loggamma(rho - 1j * q) - loggamma(rho + 1j * q)) / (rho + 1j * q)
    d = coulomb - dirac
    d[0] = 0
    sign = (-1.0) ** k[:-1]
    n = k[:-1]
    f = sign * (n * d[:-1] + (n + 1) * d[1:])
    g = sign * (n**2 * d[:-1] - (n + 1) ** 2 * d[1:])
    for _ in range(N_REDUCTIONS):
        f, g = _reduced(f), _reduced(g)
    use = len(f) - N_REDUCTIONS
    cosine = np.cos(angles)
    sine = np.sin(angles / 2)
    scale = 0.5j / (1 - cosine) ** N_REDUCTIONS
    f0 = 0.5j * np.exp(loggamma(1 - 1j * q) - loggamma(1 + 1j * q) + 2j * q * np.log(sine))
    g0 = -1j * q / np.tan(angles / 2) ** 2 * f0
    f_all = f0 + scale * (f[:use] @ legendre[:use])
    g_all = g0 + scale * (g[:use] @ legendre[:use])
    cross_section = q * q * (1 - beta**2) * abs(f_all) ** 2 / sine**2 + abs(g_all) ** 2 / np.cos(angles / 2) ** 2
    return np.asarray(cross_section / (q * q / 4 / sine**4))


def main() -> None:
    """Compute and write the table."""
    cosine = np.cos(ANGLES)
    legendre = np.ones((N_TERMS + 1, len(ANGLES)))
    legendre[1] = cosine
    for n in range(1, N_TERMS):
        legendre[n + 1] = ((2 * n + 1) * cosine * legendre[n] - n * legendre[n - 1]) / (n + 1)
    u = np.geomspace(1e-12, 2.0, 1200)
    half = np.concatenate([[0.0], np.sin(ANGLES / 2)])
    factors = np.zeros((2, 92, len(KEV)))
    for z in range(1, 93):
        for i, kev in enumerate(KEV):
            ratio = np.concatenate([[1.0], mott_to_rutherford(z, kev, ANGLES, legendre)])
            spin = np.interp(np.sqrt(u / 2), half, ratio)
            tau = kev / ELECTRON_KEV
            beta2 = tau * (tau + 2) / (tau + 1) ** 2
            chi0 = FINE_STRUCTURE * z ** (1 / 3) / (0.885 * math.sqrt(tau * (tau + 2)))
            screening = chi0**2 * (1.13 + 3.76 * (FINE_STRUCTURE * z) ** 2 / beta2) / 2
            plain = u / (u + screening) ** 2
            for j, moment in enumerate((u, 1.5 * u * (2 - u))):
                factors[j, z - 1, i] = np.trapezoid(spin * plain * moment, np.log(u)) / np.trapezoid(
                    plain * moment, np.log(u)
                )
    stream = io.BytesIO()
    np.savez_compressed(
        stream, electron_kev=KEV, first=factors[0].astype(np.float32), second=factors[1].astype(np.float32)
    )
    data = stream.getvalue()
    (TABLES / NAME).write_bytes(data)
    fields = {
        "what": "Factors of spin on the first and second transport cross section of screened Rutherford scattering",
        "units": "keV; 1; 1",
        "citation": "Exact Mott series, J. A. Doggett and L. V. Spencer, Phys. Rev. 103 (1956) 1597; computed here",
        "version": "1",
        "licence": "own computation",
        "date": date.today().isoformat(),
        "sha256": hashlib.sha256(data).hexdigest(),
        "built_by": "tools/build_electron_scattering.py",
    }
    text = "".join(f'{key} = "{value}"\n' for key, value in fields.items())
    (TABLES / f"{NAME}.provenance.toml").write_text(text, encoding="utf-8")
    print(f"{NAME}: {len(data)} bytes")


if __name__ == "__main__":
    main()
