"""`truekev forecast`: what a count will give, how long it must be, and whether anything needs making."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from truekev.job.worth_it import WorthIt

__all__ = ["percent_of", "register"]


def percent_of(text: str, option: str) -> float:
    """A share from "0.5%" or "0.5 %"; a bare number counts as per cent too."""
    from truekev.errors import InputError

    try:
        return float(text.strip().removesuffix("%").strip().replace(",", ".")) / 100
    except ValueError:
        raise InputError(f"{option} {text}: write a percentage, as 0.5%.") from None


def register(app: typer.Typer) -> None:
    """Add the command."""

    @app.command()
    def forecast(
        source: list[str] = typer.Option(
            ...,
            "--source",
            metavar="S",
            help="rods:WT20,2.4x175,5 | vial:2.0g | salt:500g | Cs-137:10kBq | a source file; may be repeated.",
        ),
        detector: str = typer.Option(None, "--detector", metavar="D.toml", help="Default: CsI(Tl) cube of 10 mm."),
        background: str = typer.Option(None, "--background", metavar="FILE", help="Your room; else one is assumed."),
        reach: str = typer.Option("0.5%", "--reach", metavar="PERCENT", help="Wanted uncertainty of the scale."),
        resolution: str = typer.Option("8%", "--resolution", metavar="PERCENT", help="Peak width at 662 keV."),
        only: bool = typer.Option(False, "--only-these", help="Leave out more rods, everyday sources and the vial."),
        rod_price: float = typer.Option(None, "--rod-price", metavar="MONEY", help="Your price of one more rod."),
        make_cost: float = typer.Option(None, "--make-cost", metavar="MONEY", help="Your cost of material for a make."),
        make_hours: float = typer.Option(None, "--make-hours", metavar="H", help="Your hours of work for a make."),
        hour_price: float = typer.Option(None, "--hour-price", metavar="MONEY", help="What your hour is worth."),
        picture: str = typer.Option(None, "--picture", metavar="FILE.png", help="Draw the predicted spectra."),
        json: bool = typer.Option(False, "--json", help="Print JSON."),
    ) -> None:
        """How long to count, source beside source, before anything is made.

        Example: truekev forecast --source rods:WT20,2.4x175,5 --reach 0.5% --picture forecast.png
        """
        from truekev.cli.output import Progress, as_json
        from truekev.cli.step_text import check_picture
        from truekev.job.worth_it import worth_it
        from truekev.job.worth_it_words import Costs

        check_picture(picture)
        report = worth_it(
            source,
            detector=detector,
            background=background,
            reach=percent_of(reach, "--reach"),
            fwhm_662=percent_of(resolution, "--resolution"),
            costs=Costs(rod_price, make_cost, make_hours, hour_price),
            only_these=only,
            progress=Progress(),
        )
        if picture is not None:
            from truekev.pictures.canvas import save
            from truekev.pictures.forecast_pictures import picture_of_forecast

            save(picture_of_forecast(report), picture)
        if json:
            typer.echo(as_json(report))
            return
        _print(report)
        if picture is not None:
            typer.echo(f"\nwritten: {picture}")


def _print(report: WorthIt) -> None:
    from truekev.cli.output import print_table
    from truekev.cli.step_text import paragraph
    from truekev.job.worth_it_words import duration_in_words

    for words in report.answer:
        paragraph(words)
    priced = any(choice.money for choice in report.choices)
    rows = []
    for choice in report.choices:
        of = choice.forecast
        row = [choice.name, choice.kind, f"{of.rate_per_s:.3g} + {of.room_per_s:.2g}"]
        row += [duration_in_words(one.time_s) for one in of.reach.values()]
        row += [duration_in_words(of.whole_s), duration_in_words(of.peaks_s)]
        if priced:
            row += [
                "-" if choice.money is None else f"{choice.money:.2f}",
                "-" if choice.hours is None else f"{choice.hours:g}",
            ]
        rows.append(row)
    columns = ["source", "", "counts/s + room", "60 keV", "662 keV", "2615 keV", "whole scale", "peak by peak"]
    print_table(
        f"\nCounting time to {100 * report.reach:.2g} % (standard uncertainty)",
        columns + (["money", "hours"] if priced else []),
        rows,
    )
    for choice in report.choices:
        of = choice.forecast
        best = sorted(sorted(of.groups, key=lambda one: one.relative_u_in_an_hour)[:7], key=lambda one: one.energy_kev)
        print_table(
            f"\n{choice.name}: net counts of the main line groups in an hour",
            ["group", "net", "±", "under it"],
            [
                [
                    one.name,
                    f"{3600 * one.net_per_s:.0f}",
                    f"{100 * one.relative_u_in_an_hour:.1f} %",
                    f"{3600 * one.under_per_s:.0f}",
                ]
                for one in best
            ],
        )
        shares = ", ".join(f"{route} {100 * share:.0f} %" for route, share in of.shares.items() if share > 0.005)
        print(f"  of its counts: {shares}")
    print()
    for words in report.said:
        paragraph(words, "- ")
