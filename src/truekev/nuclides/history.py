"""Activities of a source through its history: dated chemical separations, and radon that escapes."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta

import numpy as np
import numpy.typing as npt

from truekev.errors import OutOfRangeError
from truekev.nuclides.chain import Arithmetic, DecayChain
from truekev.nuclides.names import nuclide, nuclide_name
from truekev.quantity import Measured

__all__ = ["History", "Separation", "date_after", "moment", "seconds_between"]

DAY_S = 86400.0
YEAR_S = 365.25 * DAY_S
_STEP = 1e-4  # relative step of a half-life in the central differences
_LONGEST_WAIT_YEARS = 1000.0


def moment(day: date) -> datetime:
    """A day as its first moment; a time of day as it is. Times are local and carry no offset."""
    if not isinstance(day, datetime):
        return datetime.combine(day, time())
    if day.tzinfo is not None:
        raise OutOfRangeError(f"{day.isoformat()}: times are local here; leave out the offset from universal time.")
    return day


def seconds_between(start: date, end: date) -> float:
    """Seconds from one day or time to another; a day counts from its first moment."""
    return (moment(end) - moment(start)).total_seconds()


@dataclass(frozen=True)
class Separation:
    """A chemical separation: the fraction of every element that stayed.

    Parameters
    ----------
    on : date or datetime
        The day, or day and time.
    kept : mapping
        Element symbol to the fraction kept, 0 to 1.
    others_kept : float
        The fraction of every element not named.
    u_kept : mapping
        Standard uncertainty of the fraction, for elements named in `kept`.
    """

    on: date
    kept: Mapping[str, float] = field(default_factory=dict)
    others_kept: float = 1.0
    u_kept: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for element, fraction in [*self.kept.items(), ("others", self.others_kept), *self.u_kept.items()]:
            if not 0 <= fraction <= 1:
                raise OutOfRangeError(f"kept fraction {fraction} of {element}: a fraction from 0 to 1 is needed.")
        for element in self.u_kept:
            if element not in self.kept:
                raise OutOfRangeError(f"an uncertainty of {element} kept, but no fraction kept: give both.")

    def fraction(self, element: str) -> float:
        """Fraction kept of an element."""
        return self.kept.get(element, self.others_kept)


@dataclass(frozen=True)
class History:
    """What was there on a reference date, and what was done to it since.

    Parameters
    ----------
    activities_bq : mapping
        Activities on the reference date, before any separation [Bq].
    reference_date : date or datetime
        The day (or day and time) on which they hold.
    u_activities_bq : mapping
        Their standard uncertainties [Bq], taken as independent of each other.
    separations : tuple of Separation
        In the order of their dates, none before the reference date.
    radon_escape : mapping
        Nuclide of radon to the fraction of its atoms that leave before they decay, all the time.
    aged : bool
        True: on the reference date all descendants stood in equilibrium with the given nuclides.

    Raises
    ------
    OutOfRangeError
        A negative activity, or a separation before the reference date or before the one in front of it.
    """

    activities_bq: Mapping[str, float]
    reference_date: date
    u_activities_bq: Mapping[str, float] = field(default_factory=dict)
    separations: tuple[Separation, ...] = ()
    radon_escape: Mapping[str, float] = field(default_factory=dict)
    aged: bool = False

    def __post_init__(self) -> None:
        for values in (self.activities_bq, self.u_activities_bq):
            for name, value in values.items():
                if not (math.isfinite(value) and value >= 0):
                    raise OutOfRangeError(f"activity {value} Bq of {name}: it must be finite and not negative.")
        before = self.reference_date
        for separation in self.separations:
            if moment(separation.on) < moment(before):
                raise OutOfRangeError(
                    f"separation on {separation.on} comes before {before}; give separations in the order of "
                    "their dates, and as reference date the day of the first one or an earlier day."
                )
            before = separation.on

    @property
    def last_date(self) -> date:
        """The last day of the history: the last separation, or the reference date."""
        return self.separations[-1].on if self.separations else self.reference_date

    def chain(self) -> DecayChain:
        """The nuclides of this history with all their descendants."""
        return DecayChain.of(self.activities_bq, radon_escape=self.radon_escape)

    def start_bq(self, chain: DecayChain) -> dict[str, float]:
        """Activities of all members on the reference date, before any separation [Bq]."""
        start = dict.fromkeys(chain.members, 0.0)
        for name, activity in self.activities_bq.items():
            head = nuclide_name(name)
            for member, ratio in (chain.equilibrium_ratios(head) if self.aged else {head: 1.0}).items():
                start[member] += activity * ratio
        return start

    def _steps(self, on: date) -> list[tuple[float, Separation | None]]:
        if moment(on) < moment(self.last_date):
            raise OutOfRangeError(
                f"date {on}: it lies before {self.last_date}, the last day of the source's history (reference date "
                "or last separation); ask for that day or a later one."
            )
        steps: list[tuple[float, Separation | None]] = []
        day = self.reference_date
        for separation in self.separations:
            steps.append((seconds_between(day, separation.on), separation))
            day = separation.on
        return [*steps, (seconds_between(day, on), None)]

    def _kept(self, chain: DecayChain, separation: Separation | None) -> npt.NDArray[np.float64]:
        if separation is None:
            return np.ones(len(chain.members))
        return np.array([separation.fraction(nuclide(name).element) for name in chain.members])

    def _carry(self, chain: DecayChain, on: date) -> npt.NDArray[np.float64]:
        """Matrix from the activities on the reference date to those on `on`."""
        total = np.eye(len(chain.members))
        for seconds, separation in self._steps(on):
            total = self._kept(chain, separation)[:, None] * (chain.activity_transfer(seconds) @ total)
        return total

    def plain_activities_bq(self, on: date, *, arithmetic: Arithmetic = "float") -> dict[str, float]:
        """Activity of every member on `on` [Bq], without uncertainties, in either arithmetic."""
        chain = self.chain()
        now = self.start_bq(chain)
        for seconds, separation in self._steps(on):
            now = chain.activities_bq(now, seconds, arithmetic=arithmetic)
            now = {name: a * k for (name, a), k in zip(now.items(), self._kept(chain, separation), strict=True)}
        return now

    def activities_on(self, on: date) -> dict[str, Measured]:
        """Activity of every member on `on` with its standard uncertainty [Bq].

        Parameters
        ----------
        on : date or datetime
            The last day of the history or later.

        Returns
        -------
        dict
            In the order of the chain, parents first. The uncertainty is first order, from those of the given
            activities, of every half-life and of the fractions kept, all independent; branching shares count as exact.

        Raises
        ------
        OutOfRangeError
            A day before the last one of the history.
        """
        chain = self.chain()
        n = len(chain.members)

        def value(of: DecayChain) -> npt.NDArray[np.float64]:
            return self._carry(of, on) @ of.vector(self.start_bq(of))

        variance = np.zeros(n)
        for i, name in enumerate(chain.members):
            one = nuclide(name)
            up, down = chain.half_lives_s.copy(), chain.half_lives_s.copy()
            up[i] *= 1 + _STEP
            down[i] *= 1 - _STEP
            slope = (value(chain.with_half_lives(up)) - value(chain.with_half_lives(down))) / (2 * _STEP)
            variance += (slope * one.u_half_life_s / one.half_life_s) ** 2
        carry = self._carry(chain, on)
        for name, u in self.u_activities_bq.items():
            alone = History({name: u}, self.reference_date, radon_escape=self.radon_escape, aged=self.aged)
            variance += (carry @ chain.vector(alone.start_bq(chain))) ** 2
        for i, separation in enumerate(self.separations):
            for element, u in separation.u_kept.items():
                # activities are linear in every fraction, so the ends of its range give the slope
                ends = [
                    self._with_kept(i, element, fraction)._carry(chain, on) @ chain.vector(self.start_bq(chain))
                    for fraction in (0.0, 1.0)
                ]
                variance += ((ends[1] - ends[0]) * u) ** 2
        values = value(chain)
        return {
            name: Measured(float(a), math.sqrt(v), "Bq")
            for name, a, v in zip(chain.members, values, variance, strict=True)
        }

    def _with_kept(self, at: int, element: str, fraction: float) -> History:
        changed = replace(self.separations[at], kept={**self.separations[at].kept, element: fraction})
        return replace(self, separations=(*self.separations[:at], changed, *self.separations[at + 1 :]))

    def days_to_equilibrium(
        self, on: date, *, groups: Mapping[str, Iterable[str]] | None = None, tolerance: float = 0.01
    ) -> dict[str, float | None]:
        """Days after `on` until every descendant stays within `tolerance` of equilibrium with its head.

        Parameters
        ----------
        on : date or datetime
            The last day of the history or later.
        groups : mapping, optional
            Head to the descendants to look at; without it every head of the source with all its descendants. A head
            is a nuclide that is there and that does not descend from another one there.
        tolerance : float
            Relative distance from equilibrium that counts as none.

        Returns
        -------
        dict
            Days by head: 0 if it is in equilibrium already, None if it takes more than 1000 years. A head without
            descendants that could come into equilibrium is left out.
        """
        chain = self.chain()
        start = chain.vector(self.plain_activities_bq(on))
        if groups is None:
            there = [name for name, activity in zip(chain.members, start, strict=True) if activity > 0]
            fed = {descendant for name in there for descendant in DecayChain.of([name]).members[1:]}
            groups = {name: chain.members for name in there if name not in fed}
        result: dict[str, float | None] = {}
        for head, members in groups.items():
            wanted = {head, *members}
            ratios = {name: ratio for name, ratio in chain.equilibrium_ratios(head).items() if name in wanted}
            if len(ratios) > 1:
                result[head] = _days_until_in_step(chain, start, head, chain.vector(ratios), tolerance)
        return result


def _days_until_in_step(
    chain: DecayChain,
    start: npt.NDArray[np.float64],
    head: str,
    ratios: npt.NDArray[np.float64],
    tolerance: float,
) -> float | None:
    at = chain.members.index(head)
    counted = ratios > 0

    def out_of_step(days: float) -> bool:
        now = chain.activity_transfer(days * DAY_S) @ start
        if now[at] <= 0:
            return False
        return bool(np.any(np.abs(now[counted] / (now[at] * ratios[counted]) - 1) > tolerance))

    longest = _LONGEST_WAIT_YEARS * YEAR_S / DAY_S
    days = np.concatenate([[0.0], np.geomspace(1 / 1440, longest, 400)])
    late = [i for i, day in enumerate(days) if out_of_step(float(day))]
    if not late:
        return 0.0
    if late[-1] == len(days) - 1:
        return None
    low, high = float(days[late[-1]]), float(days[late[-1] + 1])
    while high - low > 1e-3 * high:
        middle = (low + high) / 2
        low, high = (middle, high) if out_of_step(middle) else (low, middle)
    return high


def date_after(on: date, days: float) -> date | None:
    """The first whole day at least so many days after `on`; None beyond the calendar (year 9999)."""
    try:
        end = moment(on) + timedelta(days=days)
        return end.date() if end.time() == time() else end.date() + timedelta(days=1)
    except OverflowError:
        return None
