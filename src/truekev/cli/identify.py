"""`truekev identify`: what a spectrum holds."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from truekev.job.what_is_it import Answer, WhatIsIt

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add the command."""

    @app.command()
    def identify(
        spectrum: str = typer.Argument(metavar="SPECTRUM", help="A spectrum, or a folder of spectra."),
        scale: str = typer.Option(None, "--scale", metavar="S.json", help="The energy scale, re-locked if it drifted."),
        background: str = typer.Option(None, "--background", metavar="FILE", help="The room without the sample."),
        background_scale: str = typer.Option(
            None, "--background-scale", metavar="S.json", help="Its own scale, where its gain is another."
        ),
        sample: str = typer.Option(None, "--sample", metavar="SAMPLE.toml", help="`truekev new sample` prints one."),
        detector: str = typer.Option(None, "--detector", metavar="D.toml", help="Default: CsI(Tl) cube of 10 mm."),
        all_limits: bool = typer.Option(False, "--limits", help="Print the limits of all that was not recognised."),
        json: bool = typer.Option(False, "--json", help="Print JSON."),
    ) -> None:
        """What is in it: recognised, one of several, not recognised (limit), unknown at about some energy.

        Example: truekev identify find.csv --scale scale.json --background room.csv
        """
        from pathlib import Path

        from truekev.cli.output import Progress, as_json
        from truekev.errors import InputError
        from truekev.job.sample_count import SampleFiles
        from truekev.job.what_is_it import what_is_in_folder, what_is_it

        files = SampleFiles(scale, background, background_scale, sample, detector)
        if not Path(spectrum).is_dir():
            report = what_is_it(spectrum, files, progress=Progress())
            if json:
                typer.echo(as_json(report))
            else:
                _print(report, all_limits)
            return
        reports = what_is_in_folder(spectrum, files, progress=Progress())
        if json:
            typer.echo(as_json([{"error": str(r)} if isinstance(r, InputError) else r for r in reports]))
            return
        for one in reports:
            if isinstance(one, InputError):
                typer.echo(f"not read: {one}")
            else:
                typer.echo(f"{one.file}: {_in_short(one)}")


def _in_short(report: WhatIsIt) -> str:
    parts = [a.name if a.words == "recognised" else a.words for a in report.answers]
    parts += [f"unknown at about {peak.energy_kev:.0f} keV" for peak in report.unknown]
    return "; ".join(parts) or "nothing recognised"


def _evidence(answer: Answer) -> list[str]:
    lines = []
    if answer.supported_by:
        found = ", ".join(
            f"{one.energy_kev:.0f} keV ({one.found_counts:.0f} ± {one.u_counts:.0f} counts, {one.expected_counts:.0f} "
            "expected)"
            for one in answer.supported_by
        )
        lines.append(f"for it: {found}")
    if answer.contradicted_by:
        missing = ", ".join(
            f"{one.energy_kev:.0f} keV ({one.found_counts:.0f} ± {one.u_counts:.0f} where {one.expected_counts:.0f} "
            "were expected)"
            for one in answer.contradicted_by
        )
        lines.append(f"against it: {missing}")
    return lines


def _print(report: WhatIsIt, all_limits: bool) -> None:
    from truekev.cli.output import print_table
    from truekev.cli.step_text import paragraph

    for words in report.said:
        paragraph(words)
    typer.echo(f"\n{report.file}: {report.n_candidates} candidates, each tested given the others")
    if not report.answers and not report.unknown:
        typer.echo("  nothing recognised")
    for answer in report.answers:
        name = "" if answer.words != "recognised" else f" {answer.name}"
        typer.echo(f"\n  {answer.words}{':' if name else ''}{name}")
        if answer.what != answer.name:
            typer.echo(f"      {answer.what}")
        typer.echo(f"      {answer.activity} (k = 1), {answer.deviations:.1f} standard deviations above zero")
        for words in _evidence(answer):
            paragraph(words, "      ")
    for peak in report.unknown:
        typer.echo(
            f"\n  unknown at about {peak.energy_kev:.0f} keV (± {peak.u_energy_kev:.0f} keV, "
            f"{peak.net_counts:.0f} counts)"
        )
    seen = [one for one in report.not_recognised if one.detection_limit is not None]
    if all_limits:
        rows = [[one.name, f"{one.decision_threshold:.3g}", f"{one.detection_limit:.3g}", one.unit] for one in seen]
        print_table(
            "\nNot recognised (ISO 11929-1, 5 % each, as if looked for alone)",
            ["candidate", "decision threshold", "detection limit", ""],
            rows,
        )
    else:
        usual = {"K-40", "Cs-137", "Co-60", "Am-241", "Ra-226 part", "Th-228 part", "U-238 part", "U-235 part"}
        shown = ", ".join(
            f"{one.name} (limit {one.detection_limit:.2g} {one.unit})" for one in seen if one.name in usual
        )
        if shown:
            typer.echo("")
            paragraph(f"not recognised: {shown}; all others with --limits.", "  ")
    for caution in report.cautions:
        paragraph(caution, "\n! CAUTION ", "  ")
