"""Single photon interactions (compiled): Compton with bound electrons, Rayleigh, photoelectron and pair directions."""

from __future__ import annotations

from math import exp, log, sqrt

from truekev.matter.photons import ELECTRON_KEV, KEV_ANGSTROM
from truekev.transport.compiled import Array, Integers, Stream, compiled, inlined, uniform
from truekev.transport.photon_tables import CELL, FORM_POINTS, INCOHERENT_POINTS, LN_MIN
from truekev.transport.rays import FAR, NUDGE_MM, next_boundary

__all__ = ["compton", "fly", "free_cosine", "pair_share", "photoelectron_cosine", "rayleigh_cosine", "segment_of"]


@inlined
def segment_of(segment: Array, first: Integers, m: int, ln_kev: float) -> int:
    """Number of the segment of the cross sections of material `m` that holds ln E."""
    cell = int((ln_kev - LN_MIN) / CELL)
    cell = min(max(cell, 0), first.shape[1] - 1)
    s = first[m, cell]
    while ln_kev >= segment[m, s + 1, 0]:
        s += 1
    return s


@inlined
def fly(
    ln_kev: float, x: float, y: float, z: float, u: float, v: float, w: float, body: int,
    bodies: Array, nest: Integers, materials: Integers, segment: Array, first: Integers, stream: Stream,
) -> tuple[int, int, float, float, float, float]:  # fmt: skip
    """Fly a photon to its next collision: body (-1 if it left), segment, cross section there [1/mm], and the place."""
    while True:
        distance, behind = next_boundary(bodies, nest, body, x, y, z, u, v, w)
        if body >= 0:
            m = materials[body]
            s = segment_of(segment, first, m, ln_kev)
            mu = segment[m, s, 1] + segment[m, s, 2] * (ln_kev - segment[m, s, 0])
            flight = -log(uniform(stream)) / mu
            if flight < distance:
                return body, s, mu, x + flight * u, y + flight * v, z + flight * w
        elif distance >= FAR:
            return -1, 0, 0.0, x, y, z
        distance += NUDGE_MM
        x += distance * u
        y += distance * v
        z += distance * w
        body = behind


@inlined
def _incoherent(table: Array, m: int, x: float) -> float:
    place = x / (1 + x) * (INCOHERENT_POINTS - 1)
    i = min(int(place), INCOHERENT_POINTS - 2)
    return table[m, i] + (place - i) * (table[m, i + 1] - table[m, i])


@inlined
def free_cosine(kev: float, incoherent: Array, m: int, stream: Stream) -> float:
    """Cosine of Compton scattering: Klein-Nishina times the incoherent scattering function.

    Method of composition and rejection (J. C. Butcher, H. Messel, Nucl. Phys. 20 (1960) 15).
    """
    k = kev / ELECTRON_KEV
    low = 1 / (1 + 2 * k)
    a1 = -log(low)
    a2 = 0.5 * (1 - low * low)
    while True:
        if uniform(stream) * (a1 + a2) < a1:
            e = exp(-a1 * uniform(stream))
        else:
            e = sqrt(low * low + (1 - low * low) * uniform(stream))
        t = (1 - e) / (k * e)
        sine2 = max(t * (2 - t), 0.0)
        accept = 1 - e * sine2 / (1 + e * e)
        chance = uniform(stream)
        if chance > accept:
            continue
        x = kev / KEV_ANGSTROM * sqrt(max(0.5 * t, 0.0))
        if chance <= accept * _incoherent(incoherent, m, x):
            return 1 - t


@inlined
def compton(kev: float, incoherent: Array, shells: Array, m: int, stream: Stream) -> tuple[float, float, int]:
    """Cosine, energy of the scattered photon [keV] and row of the shell that was hit.

    The electron's momentum along the momentum transfer is drawn from a one-parameter Compton profile that falls as
    (1 + 2p/p0) exp(-...) (R. Ribberfors 1983; D. Brusa et al., Nucl. Instrum. Methods A 379 (1996) 167).
    """
    cosine = free_cosine(kev, incoherent, m, stream)
    tau = 1 / (1 + kev / ELECTRON_KEV * (1 - cosine))
    free_kev = kev * tau
    for _ in range(100):
        chance = uniform(stream)
        low = 0
        high = shells.shape[1] - 1
        while low < high:
            middle = (low + high) // 2
            if shells[m, middle, 0] < chance:
                low = middle + 1
            else:
                high = middle
        if shells[m, low, 1] >= kev:
            continue
        p = (sqrt(1 - 2 * log(uniform(stream))) - 1) * shells[m, low, 2]
        t = p * p
        root = (1 - t * tau * cosine) ** 2 - (1 - t * tau * tau) * (1 - t)
        if root < 0 or t >= 1:
            continue
        root = sqrt(root)
        if uniform(stream) < 0.5:
            root = -root
        after = free_kev / (1 - t * tau * tau) * (1 - t * tau * cosine + root)
        if 0 < after <= kev - shells[m, low, 1]:
            return cosine, after, low
    return cosine, free_kev, -1


@compiled
def rayleigh_cosine(kev: float, form: Array, m: int, stream: Stream) -> float:
    """Cosine of coherent scattering: squared form factor times (1 + cos^2)/2."""
    top = (kev / KEV_ANGSTROM) ** 2
    low = 0
    high = FORM_POINTS - 1
    while high - low > 1:
        middle = (low + high) // 2
        if form[m, middle, 0] < top:
            low = middle
        else:
            high = middle
    whole = form[m, low, 1] + (form[m, high, 1] - form[m, low, 1]) * min(
        (top - form[m, low, 0]) / (form[m, high, 0] - form[m, low, 0]), 1.0
    )
    highest = high
    while True:
        target = uniform(stream) * whole
        low = 0
        high = highest
        while high - low > 1:
            middle = (low + high) // 2
            if form[m, middle, 1] < target:
                low = middle
            else:
                high = middle
        span = form[m, high, 1] - form[m, low, 1]
        x2 = form[m, low, 0] + (form[m, high, 0] - form[m, low, 0]) * (target - form[m, low, 1]) / span
        cosine = max(1 - 2 * x2 / top, -1.0)
        if uniform(stream) < 0.5 * (1 + cosine * cosine):
            return cosine


@compiled
def photoelectron_cosine(kev: float, stream: Stream) -> float:
    """Cosine between photon and K photoelectron of kinetic energy `kev` (F. Sauter, Ann. Phys. 11 (1931) 454)."""
    tau = kev / ELECTRON_KEV
    gamma = 1 + tau
    beta = sqrt(tau * (tau + 2)) / gamma
    a = 1 / beta - 1
    b = 0.5 * beta * gamma * tau * (gamma - 2)
    highest = 2 * (1 / a + b)
    while True:
        s = uniform(stream)
        nu = 2 * a * (2 * s + (a + 2) * sqrt(s)) / ((a + 2) ** 2 - 4 * s)
        # nu is drawn from nu/(a + nu)^3; the rest of the cross section by rejection
        if uniform(stream) * highest <= (2 - nu) * (1 / (a + nu) + b):
            return 1 - nu


@compiled
def pair_share(kev: float, stream: Stream) -> float:
    """Share of the positron in the kinetic energy of a pair.

    Bethe-Heitler without screening is flat within a few per cent over most of the range at 1.5 to 5 MeV and falls to
    zero at both ends; (1 - (2s - 1)^4) follows it.
    """
    while True:
        s = uniform(stream)
        d = 2 * s - 1
        d *= d
        if uniform(stream) > d * d:
            return s
