"""`truekev limits`: is there more than background, and how much, from two counts; or how long to count."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from truekev.cli.output import as_json, print_table
from truekev.errors import InputError

if TYPE_CHECKING:
    from truekev.job.how_long_to_count import CountPlan
    from truekev.job.is_it_there import CountDecision

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add the command."""

    @app.command()
    def limits(
        background: int = typer.Option(..., "--background", metavar="COUNTS", help="Counts without the sample."),
        time: str = typer.Option(
            "", "--time", metavar="TIME", help="Live time of the count with the sample, as 3600, 10min or 1h."
        ),
        gross: int | None = typer.Option(None, "--gross", metavar="COUNTS", help="Counts with the sample."),
        background_time: str = typer.Option(
            "", "--background-time", metavar="TIME", help="Live time of the background; as --time if left out."
        ),
        factor: float = typer.Option(1.0, "--factor", help="Result per net count rate, as Bq per count a second."),
        u_factor: float = typer.Option(0.0, "--u-factor", help="Standard uncertainty of the factor, same unit."),
        unit: str = typer.Option("", "--unit", help="Unit of the result, as Bq; without a factor it is 1/s."),
        alpha: float = typer.Option(0.05, "--alpha", help="Probability of seeing something where nothing is."),
        beta: float = typer.Option(0.05, "--beta", help="Probability of missing an activity at the detection limit."),
        coverage: float = typer.Option(0.95, "--coverage", help="Probability of the coverage intervals."),
        plan: float | None = typer.Option(
            None, "--plan", metavar="LIMIT", help="Tell how long to count for this detection limit instead."
        ),
        keep_background: bool = typer.Option(
            False, "--keep-background", help="With --plan: use this background count, do not count it again."
        ),
        json: bool = typer.Option(False, "--json", help="Print JSON."),
    ) -> None:
        """Decision threshold, detection limit, best estimate and coverage limits (ISO 11929-1) from two counts.

        Example: truekev limits --gross 1000 --background 800 --time 1h --factor 50 --u-factor 2.5 --unit Bq

        Example: truekev limits --background 800 --background-time 1h --factor 50 --plan 0.5 --unit Bq
        """
        from truekev.quantity import Measured

        scale = Measured(factor, u_factor, unit or ("1/s" if factor == 1 and u_factor == 0 else ""))
        if plan is not None:
            if gross is not None:
                raise InputError("--plan looks at the background only; leave out --gross.")
            from truekev.job.how_long_to_count import how_long_to_count
            from truekev.samples.counting_time import Background

            seconds = _seconds(background_time or time, "--background-time")
            planned = how_long_to_count(
                plan, Background(background, seconds, not keep_background), scale, alpha=alpha, beta=beta
            )
            typer.echo(as_json(planned) if json else _plan_text(planned))
            return
        if gross is None:
            raise InputError("--gross is missing: give the counts with the sample, or --plan for a counting time.")
        from truekev.job.is_it_there import is_it_there
        from truekev.samples.net_count import NetCount

        seconds = _seconds(time, "--time")
        background_seconds = _seconds(background_time, "--background-time") if background_time else seconds
        counts = NetCount(gross, seconds, background, background_seconds, scale)
        decision = is_it_there(counts, alpha=alpha, beta=beta, coverage=coverage)
        if json:
            typer.echo(as_json(decision))
        else:
            _print(decision)


def _seconds(text: str, option: str) -> float:
    from truekev.spectra.durations import seconds_of_text

    if not text:
        raise InputError(f"{option} is missing: give the live time, as 3600, 10min or 1h.")
    seconds = seconds_of_text(text, file="command line", field=option)
    if seconds is None:
        raise InputError(f"{option} {text!r}: it is not a time; give it as 3600, 10min or 1h.")
    return seconds


def _plan_text(plan: CountPlan) -> str:
    basis = "exact test of few counts" if plan.plan.exact else "ISO 11929-1"
    return f"{plan.words}\n({plan.plan.n_background_in_gross:.3g} background counts in that time; {basis})"


def _print(decision: CountDecision) -> None:
    limits = decision.limits
    unit = limits.estimate.unit
    percent = f"{100 * limits.coverage:g} %"
    rows = [
        ["estimate (may be negative)", str(limits.estimate)],
        ["decision threshold", _number(limits.decision_threshold, unit)],
        ["detection limit", _number(limits.detection_limit, unit)],
        ["best estimate", str(limits.best_estimate)],
        [f"coverage limits, {percent}, symmetric", _pair(limits.symmetric_limits, unit)],
        [f"coverage limits, {percent}, shortest", _pair(limits.shortest_limits, unit)],
    ]
    if decision.exact is not None:
        rows.insert(2, ["  exact, for few counts", _number(decision.exact_decision_threshold, unit)])
        rows.insert(4, ["  exact, for few counts", _number(decision.exact_detection_limit, unit)])
    typer.echo(f"{decision.words}\ndecided by: {decision.decided_by}; uncertainties standard (k = 1)")
    print_table("", ["quantity", "value"], rows)
    if decision.exact is not None:
        test = decision.exact
        typer.echo(
            f"\nBeside this background {test.smallest_recognised_gross} gross counts or more are recognised. "
            f"With nothing there, a count as high as this one has a chance of {test.chance:.3g}."
        )
    for remark in limits.remarks:
        typer.echo(f"\nNote: {remark}")


def _number(value: float | None, unit: str) -> str:
    return "none" if value is None else f"{value:.4g} {unit}".rstrip()


def _pair(pair: tuple[float, float], unit: str) -> str:
    return f"{pair[0]:.4g} to {pair[1]:.4g} {unit}".rstrip()
