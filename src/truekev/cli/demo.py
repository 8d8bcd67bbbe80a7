"""`truekev demo`: the main job on invented data."""

from __future__ import annotations

import sys
from pathlib import Path

import typer

from truekev.cli.calibrate import print_coefficients, save_pictures
from truekev.cli.output import Progress, as_json, print_table

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add the command."""

    @app.command()
    def demo(
        out: str = typer.Option("truekev-demo", metavar="FOLDER", help="Where files and pictures go."),
        json: bool = typer.Option(False, "--json", help="Print JSON."),
    ) -> None:
        """Calibrate and re-lock a spectrometer on invented data, and say how close the scale came.

        Example: truekev demo --out demo
        """
        from truekev.errors import InputError
        from truekev.job.demo import run_demo

        folder = Path(out)
        taken = next((place for place in (folder, *folder.parents) if place.exists() and not place.is_dir()), None)
        if taken is not None:
            raise InputError(f"--out {out}: {taken} is a file; choose another folder.")
        report = run_demo(folder, Progress())
        one = report.calibration.spectra[0]
        pictures = save_pictures(one, report.folder)
        if json:
            typer.echo(
                as_json(
                    {
                        "folder": report.folder,
                        "book": report.book,
                        "peaks": report.peaks,
                        "moved_percent": report.relock.moved_percent,
                        "to_type_in": one.to_type_in,
                        "pictures": pictures,
                    }
                )
            )
            return
        typer.echo(
            "A college teaching lab, invented. Its spectra are simulated: a bundle of thoriated rods on a pocket\n"
            "spectrometer, 1024 channels, whose owner set a straight line at 662 keV.\n"
        )
        typer.echo(f"$ truekev calibrate {one.file} --source thoriated-rods --background {report.folder / 'room.csv'}")
        rows = [
            [
                f"{p.energy_kev:.1f}",
                f"{p.claimed_kev:.1f} ({100 * (p.claimed_kev / p.energy_kev - 1):+.1f} %)",
                str(p.scale_kev),
            ]
            for p in report.peaks
        ]
        print_table(
            "",
            ["true energy, keV (the simulation knows)", "the instrument reads, keV", "the fitted scale says (k = 1)"],
            rows,
        )
        print_coefficients(one.to_type_in, one.scale)
        typer.echo(
            f"\nA colder evening, {report.relock.spectrum.counts.sum():.0f} counts: "
            f"$ truekev relock {report.relock.file} --scale {report.folder / 'scale.json'}"
        )
        typer.echo(f"The gain moved by {report.relock.moved_percent} (the simulation moved it by +1.8 %).")
        typer.echo("\nPictures: " + ", ".join(str(p) for p in pictures))
        typer.echo(f"Everything else is in {report.folder}, the lab's bench book too. To open it in a browser:")
        typer.echo(f"\n  {Path(sys.argv[0])} serve --book {report.book}")
