"""`truekev characterise`: one's own thorium source in a count."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from datetime import date

    from truekev.job.my_source import MySource
    from truekev.quantity import Measured

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add the command."""

    @app.command()
    def characterise(
        spectrum: str = typer.Argument(metavar="SPECTRUM", help="A count of the rods, or of the source made."),
        scale: str = typer.Option(None, "--scale", metavar="S.json", help="The energy scale, re-locked if it drifted."),
        sample: str = typer.Option(None, "--sample", metavar="SAMPLE.toml", help="With source = the source's file."),
        background: str = typer.Option(None, "--background", metavar="FILE", help="The room without the source."),
        detector: str = typer.Option(None, "--detector", metavar="D.toml", help="Default: CsI(Tl) cube of 10 mm."),
        on: str = typer.Option(None, "--on", metavar="DATE", help="Day of the count, where the file does not say."),
        oxide_mass: str = typer.Option(None, "--oxide-mass", metavar="G+-U", help="By the balance, as 2.00+-0.02."),
        before: str = typer.Option(None, "--before", metavar="SPECTRUM", help="A count of the rods before."),
        before_sample: str = typer.Option(None, "--before-sample", metavar="SAMPLE.toml", help="Of that count."),
        before_scale: str = typer.Option(None, "--before-scale", metavar="S.json", help="Its scale, if another."),
        before_on: str = typer.Option(None, "--before-on", metavar="DATE", help="Its day."),
        separated: str = typer.Option(None, "--separated", metavar="DATE", help="Day of the last separation."),
        later: str = typer.Option(None, "--later", metavar="SPECTRUM", help="The same source months later."),
        later_on: str = typer.Option(None, "--later-on", metavar="DATE", help="Its day."),
        later_scale: str = typer.Option(None, "--later-scale", metavar="S.json", help="Its scale, if another."),
        sealed: str = typer.Option(None, "--sealed", metavar="SPECTRUM", help="The same, closed tightly for a day."),
        out: str = typer.Option(None, "--out", metavar="SOURCE.toml", help="Write the source record here."),
        json: bool = typer.Option(False, "--json", help="Print JSON."),
    ) -> None:
        """Ra-228 and Th-228, ages that agree, radium kept, purity; the record that `calibrate --source` takes.

        Example: truekev characterise vial.csv --scale scale.json --background room.csv --sample vial-count.toml
        --separated 2026-11-18 --oxide-mass 0.25+-0.01 --out vial.toml
        """
        from truekev.cli.output import Progress, as_json, check_out
        from truekev.errors import InputError
        from truekev.files import write_whole
        from truekev.job.my_source import Before, my_source
        from truekev.job.sample_count import SampleFiles

        check_out("--out", out)
        files = SampleFiles(scale, background, None, sample, detector)
        first = None
        if before is not None:
            of_rods = SampleFiles(before_scale or scale, background, None, before_sample, detector)
            first = Before(before, of_rods, _date(before_on, "--before-on"))
        again: tuple[Before, ...] = ()
        if later is not None:
            of_later = SampleFiles(later_scale or scale, background, None, sample, detector)
            again = (Before(later, of_later, _date(later_on, "--later-on")),)
        report = my_source(
            spectrum,
            files,
            on=_date(on, "--on"),
            before=first,
            separated=_date(separated, "--separated"),
            sealed=sealed,
            oxide_mass_g=_mass(oxide_mass),
            later=again,
            progress=Progress(),
        )
        if out is not None:
            if not report.record_toml:
                raise InputError(f"--out {out}: no thorium was recognised, so there is no source to record.")
            write_whole(out, report.record_toml)
        if json:
            typer.echo(as_json(_plain(report)))
            return
        _print(report)
        if out is not None:
            typer.echo(f"\nSource record written to {out}.")


def _date(text: str | None, option: str) -> date | None:
    from datetime import date

    from truekev.errors import InputError

    if text is None:
        return None
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise InputError(f"{option} {text!r}: a date is needed, as 2026-11-18.") from None


def _mass(text: str | None) -> Measured | None:
    from truekev.errors import InputError
    from truekev.quantity import Measured

    if text is None:
        return None
    value, _, u = text.replace("±", "+-").partition("+-")
    try:
        mass = Measured(float(value), float(u) if u else 0.02 * float(value), "g")
    except ValueError:
        raise InputError(f"--oxide-mass {text!r}: write mass and standard uncertainty, as 2.00+-0.02.") from None
    if not mass.value > 0 or not mass.u > 0:
        raise InputError(f"--oxide-mass {text!r}: mass and uncertainty must be above zero.")
    return mass


def _plain(report: MySource) -> dict[str, object]:
    fields = ("file", "on", "history", "thoria_fraction", "electrode_classes", "purity", "radon_escape")
    count = report.count
    plain: dict[str, object] = {name: getattr(report, name) for name in fields}
    plain["radium"], plain["thorium"], plain["contamination"] = count.radium, count.thorium, count.contamination
    plain["ratio"], plain["thoriated"], plain["line_rates"] = count.ratio, count.thoriated, count.rates
    plain["gain_over_rods"], plain["words"] = report.gain_over_rods, report.words
    plain["record_toml"], plain["record"] = report.record_toml, report.record
    return plain


def _print(report: MySource) -> None:
    from truekev.cli.output import print_table
    from truekev.cli.step_text import paragraph

    for words in report.said:
        paragraph(words)
    typer.echo("")
    for words in report.words:
        paragraph(words)
    rows = [
        [f"{line.name}", f"{100 * line.relative_u:.2g} %"]
        for line in report.count.thorium.budget
        if line.relative_u > 0
    ]
    print_table("\nUncertainty of Th-228 (k = 1), relative", ["from", ""], rows)
    rows = [
        [f"{one.energy_kev:.0f}", f"{one.expected_counts:.0f}", f"{one.found_counts:.0f} ± {one.u_counts:.0f}"]
        for one in report.count.evidence
    ]
    if rows:
        print_table("\nLine groups of the Th-228 part, counts", ["keV", "foretold", "found"], rows)
