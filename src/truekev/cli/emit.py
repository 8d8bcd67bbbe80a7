"""`truekev emit`: what a source emits on a date, inside and outside its body."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from truekev.job.emit import EmitReport

__all__ = ["register"]

_LEAST = 0.01


def register(app: typer.Typer) -> None:
    """Add the command."""

    @app.command()
    def emit(
        source: str = typer.Option(..., "--source", metavar="S", help="A word, nuclide, source file, rods:… or vial:…"),
        on: str = typer.Option(None, "--on", metavar="DATE", help="The day, as 2026-11-25; default: today."),
        detector: str = typer.Option(None, "--detector", metavar="D.toml", help="Detector for the share of betas."),
        every: bool = typer.Option(False, "--all", help="Print weak lines too (below 1 % of the strongest outside)."),
        json: bool = typer.Option(False, "--json", help="Print JSON."),
    ) -> None:
        """Photons per second of every line on a date, inside and outside the body; X-rays it makes; betas.

        Example: truekev emit --source rods:WT20,2.4x175,5,refined=2018-05-01 --on 2026-11-25
        """
        from datetime import date

        from truekev.cli.output import Progress, as_json
        from truekev.errors import InputError
        from truekev.job.emit import emit as of_source

        try:
            day = date.today() if on is None else date.fromisoformat(on)
        except ValueError:
            raise InputError(f"--on {on}: write the day as 2026-11-25.") from None
        report = of_source(source, day, detector=detector, progress=Progress())
        typer.echo(as_json(report)) if json else _print(report, 0.0 if every else _LEAST)


def _print(report: EmitReport, least: float) -> None:
    from truekev.cli.output import print_table

    unit = "per second and Bq of its head" if report.relative else "per second"
    print(f"{report.source} on {report.on}: photons {unit}, all directions")
    strongest = max((one.outside_per_s.value for one in report.emission.lines), default=0.0)
    shown = [one for one in report.emission.lines if one.outside_per_s.value >= least * strongest]
    rows = [
        [
            f"{one.energy_kev:.1f}",
            one.nuclide,
            one.kind,
            str(one.born_per_s).removesuffix(" 1/s"),
            str(one.outside_per_s).removesuffix(" 1/s"),
            f"{100 * one.escape:.1f} %",
        ]
        for one in shown
    ]
    print_table("", ["keV", "nuclide", "kind", "born in the body", "leaving it unscattered", "escape"], rows)
    if len(shown) < len(report.emission.lines):
        print(f"{len(report.emission.lines) - len(shown)} weaker lines are left out (--all prints them).")
    if report.emission.made:
        made = [
            [
                f"{one.energy_kev:.1f}",
                one.element,
                str(one.born_per_s).removesuffix(" 1/s"),
                str(one.outside_per_s).removesuffix(" 1/s"),
            ]
            for one in report.emission.made
        ]
        print_table("\nX-rays that the body makes of its own photons", ["keV", "element", "inside", "outside"], made)
    betas = report.emission.betas
    if betas.per_s > 0:
        print(f"\nBetas: {betas.per_s:.4g} {unit}, mean energy {betas.mean_kev:.0f} keV.")
    if betas.bremsstrahlung_kev_per_s > 0:
        part = 100 * betas.bremsstrahlung_kev_per_s / betas.power_kev_per_s
        print(f"Stopped in the body they radiate {part:.1f} % of their energy as bremsstrahlung.")
    if report.beta_share is not None:
        print(f"Betas and their bremsstrahlung make {100 * report.beta_share:.0f} % of the counts that it gives.")
    for words in report.said:
        print(f"- {words}")
