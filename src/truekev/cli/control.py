"""`truekev control`: charts of the instrument from counts of one source, again and again."""

from __future__ import annotations

import typer

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add the command."""

    @app.command()
    def control(
        spectra: list[str] = typer.Argument(metavar="SPECTRUM…", help="Counts of the same source in the same place."),
        source: str = typer.Option(..., "--source", metavar="S", help="A nuclide, or the source's file."),
        scale: str = typer.Option(None, "--scale", metavar="S.json", help="The scale that the charts refer to."),
        background: str = typer.Option(None, "--background", metavar="FILE", help="The room without the source."),
        sample: str = typer.Option(None, "--sample", metavar="SAMPLE.toml", help="The place of the source."),
        detector: str = typer.Option(None, "--detector", metavar="D.toml", help="Default: CsI(Tl) cube of 10 mm."),
        first: int = typer.Option(20, "--first", help="How many first counts set the limits."),
        json: bool = typer.Option(False, "--json", help="Print JSON."),
    ) -> None:
        """Has the instrument changed: gain, resolution and strength with control limits (ISO 7870).

        Example: truekev control counts/*.csv --source vial.toml --scale scale.json --background room.csv
        """
        from truekev.cli.output import Progress, as_json, print_table
        from truekev.cli.step_text import paragraph
        from truekev.job.control_charts import control_charts

        report = control_charts(
            spectra,
            scale,
            source,
            background=background,
            sample=sample,
            detector=detector,
            n_first=first,
            progress=Progress(),
        )
        if json:
            typer.echo(as_json(report))
            return
        for words in report.said:
            paragraph(words)
        charts = report.report.charts
        three = (charts.gain, charts.resolution, charts.strength)
        rows = [
            [
                reading.on.isoformat()[:16],
                str(reading.gain),
                str(reading.resolution),
                str(reading.strength),
                *(f"{chart.scores[i]:+.1f}" for chart in three),
            ]
            for i, reading in enumerate(report.readings)
        ]
        columns = ["counted", "gain", "width at 662 keV", "strength", "gain, s.d.", "width, s.d.", "strength, s.d."]
        print_table("\nReadings, and their distance from the centre line (strength corrected for decay)", columns, rows)
        rows = [
            [
                chart.name,
                str(chart.limits.centre),
                f"{chart.limits.sigma.value:.3g}",
                f"{chart.limits.warning:.2f}",
                f"{chart.limits.action:.2f}",
                chart.verdict,
            ]
            for chart in three
        ]
        print_table(
            f"\nLimits from the first {charts.gain.limits.n_first} counts, in standard deviations",
            ["chart", "centre", "standard deviation", "warning", "action", "verdict"],
            rows,
        )
        typer.echo("")
        paragraph(f"{charts.verdict}: {charts.words}")
