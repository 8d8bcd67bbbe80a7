"""`truekev assay`: how much of a nuclide is in a sample."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from truekev.job.how_much import HowMuch
    from truekev.samples.assay import Assayed

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add the command."""

    @app.command()
    def assay(
        spectrum: str = typer.Argument(metavar="SPECTRUM", help="The counted sample."),
        scale: str = typer.Option(None, "--scale", metavar="S.json", help="The energy scale, re-locked if it drifted."),
        sample: str = typer.Option(None, "--sample", metavar="SAMPLE.toml", help="`truekev new sample` prints one."),
        background: str = typer.Option(None, "--background", metavar="FILE", help="The room without the sample."),
        background_scale: str = typer.Option(
            None, "--background-scale", metavar="S.json", help="Its own scale, where its gain is another."
        ),
        nuclide: list[str] = typer.Option([], "--nuclide", metavar="N", help="May be repeated; else all recognised."),
        detector: str = typer.Option(None, "--detector", metavar="D.toml", help="Default: CsI(Tl) cube of 10 mm."),
        plan: float = typer.Option(None, "--plan", metavar="BQ", help="How long to count for this detection limit."),
        known: str = typer.Option(
            None, "--known", metavar="N:ACTIVITY", help="A source of known activity: what it says of the place."
        ),
        alpha: float = typer.Option(0.05, "--alpha", help="Probability of seeing something where nothing is."),
        beta: float = typer.Option(0.05, "--beta", help="Probability of missing an activity at the detection limit."),
        coverage: float = typer.Option(0.95, "--coverage", help="Probability of the coverage intervals."),
        json: bool = typer.Option(False, "--json", help="Print JSON."),
    ) -> None:
        """Activity with budget, decision threshold, detection limit, best estimate, coverage limits (ISO 11929-1).

        Example: truekev assay soil.csv --scale scale.json --background room.csv --sample soil.toml --nuclide Cs-137
        """
        from truekev.cli.output import Progress, as_json
        from truekev.job.how_much import how_much
        from truekev.job.sample_count import SampleFiles

        report = how_much(
            spectrum,
            SampleFiles(scale, background, background_scale, sample, detector),
            nuclides=nuclide,
            plan=plan,
            known=known,
            alpha=alpha,
            beta=beta,
            coverage=coverage,
            progress=Progress(),
        )
        if json:
            typer.echo(as_json(report))
        else:
            _print(report)


def _verdict(one: Assayed) -> str:
    limits = one.limits
    if limits.recognised:
        return f"recognised: {limits.best_estimate}"
    if limits.detection_limit is None:
        return "not recognised"
    return f"not recognised (detection limit {limits.detection_limit:.3g} {limits.estimate.unit})"


def _print_one(one: Assayed) -> None:
    from truekev.cli.output import print_table

    limits = one.limits
    unit = limits.estimate.unit
    percent = f"{100 * limits.coverage:g} %"
    typer.echo(f"\n{one.name}{'' if one.what == one.name else f' ({one.what})'}: {_verdict(one)}")
    rows = [
        ["estimate (may be negative)", str(limits.estimate)],
        ["decision threshold", f"{limits.decision_threshold:.4g} {unit}"],
        ["detection limit", "none" if limits.detection_limit is None else f"{limits.detection_limit:.4g} {unit}"],
        ["best estimate", str(limits.best_estimate)],
        [f"coverage limits, {percent}, symmetric", "{:.4g} to {:.4g} ".format(*limits.symmetric_limits) + unit],
        [f"coverage limits, {percent}, shortest", "{:.4g} to {:.4g} ".format(*limits.shortest_limits) + unit],
    ]
    if one.per_mass is not None:
        rows.append(["per mass", str(one.per_mass)])
    print_table("", ["quantity", "value"], rows)
    rows = [[line.name, f"{100 * line.relative_u:.2g} %"] for line in one.budget if line.relative_u > 0]
    print_table("\n  uncertainty (k = 1), relative to the estimate", ["from", ""], rows)
    for remark in limits.remarks:
        typer.echo(f"  Note: {remark}")


def _print(report: HowMuch) -> None:
    from truekev.cli.step_text import paragraph
    from truekev.job.worth_it_words import duration_in_words

    for words in report.said:
        paragraph(words)
    if report.pile_up > 1e-3:
        typer.echo(f"Pile-up, as fitted: {100 * report.pile_up:.2g} % of the pulses are sums of two.")
    for one in report.assayed:
        _print_one(one)
    if report.beside:
        typer.echo(f"\nfitted beside: {', '.join(report.beside)}")
    for plan in report.planned:
        typer.echo(
            f"\n{plan.name}: count for {duration_in_words(plan.time_s)}, and the background longer by the same factor; "
            f"the detection limit is then {plan.wanted:.3g} {plan.unit}."
        )
    if report.place is not None:
        place = report.place
        typer.echo(
            f"\nThe known source came out at {place.ratio} of its activity. For samples in this place write into their "
            "files (the extra distance on top of what stands there already):"
        )
        typer.echo(f"extra_distance_mm = {place.extra_distance_mm.value:.1f}")
        typer.echo(f"u_extra_distance_mm = {place.extra_distance_mm.u:.1f}")
        typer.echo("[surroundings]")
        for name, value in place.scattering.items():
            typer.echo(f"{name} = {value.value:.2f}\nu_{name} = {value.u:.2f}")
