"""`truekev align`: slices of a long count on one gain, and their sum."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from truekev.cli.output import Progress, as_json, check_out, print_table

if TYPE_CHECKING:
    from truekev.job.align_slices import AlignReport

__all__ = ["register"]

_MOST_LINES = 40


def register(app: typer.Typer) -> None:
    """Add the command."""

    @app.command()
    def align(
        slices: list[str] = typer.Argument(
            metavar="SLICE…", help="Slices of one count: files, or one N42 file of many measurements."
        ),
        scale: str = typer.Option(None, metavar="scale.json", help="A scale of this instrument; its shape is held."),
        source: list[str] = typer.Option([], "--source", "-s", metavar="S", help="What was counted."),
        detector: str = typer.Option(None, metavar="D.toml", help="The detector; default: CsI(Tl) cube of 10 mm."),
        background: str = typer.Option(None, metavar="FILE", help="A spectrum of the room without the source."),
        temperatures: str = typer.Option(
            None, metavar="FILE", help="Lines of time,temperature (°C), or one temperature per slice."
        ),
        out: str = typer.Option(None, metavar="sum.n42", help="Write the aligned sum here (.n42 or .csv)."),
        scale_out: str = typer.Option(None, metavar="new.json", help="Write the scale of the sum here."),
        picture: str = typer.Option(None, metavar="FILE.png", help="Draw the drift."),
        json: bool = typer.Option(False, "--json", help="Print JSON."),
    ) -> None:
        """Undo the drift within a long count: a gain for every slice, and a sum that keeps every count.

        Example: truekev align night/*.csv --source thorium-vial --temperatures night.csv --out night.n42
        """
        from truekev.cli.step_text import check_picture
        from truekev.errors import InputError
        from truekev.job.align_slices import align_files, write_aligned
        from truekev.scale.energy_scale import write_scale

        check_out("--out", out)
        check_out("--scale-out", scale_out)
        check_picture(picture)
        if out is not None and not out.lower().endswith((".n42", ".csv")):
            raise InputError(f"--out {out}: end the name in .n42 or .csv.")
        report = align_files(
            slices,
            scale_file=scale,
            sources=source,
            detector=detector,
            background=background,
            temperatures=temperatures,
            progress=Progress(),
        )
        written = []
        if out is not None:
            written.append(str(write_aligned(report, out)))
        if scale_out is not None:
            written.append(str(write_scale(report.scale, scale_out)))
        if picture is not None:
            from truekev.pictures.canvas import save
            from truekev.pictures.drift_picture import picture_of_drift

            written.append(str(save(picture_of_drift(report), picture)))
        if json:
            typer.echo(as_json(_plain(report, written)))
            return
        _print(report)
        for path in written:
            typer.echo(f"written: {path}")


def _plain(report: AlignReport, written: list[str]) -> dict[str, object]:
    from dataclasses import fields

    from truekev.scale.energy_scale import scale_as_dict

    entries: dict[str, object] = {f.name: getattr(report, f.name) for f in fields(report) if f.name != "total"}
    return {**entries, "scale": scale_as_dict(report.scale), "counts": report.total.counts, "written": written}


def _print(report: AlignReport) -> None:
    typer.echo(
        f"The gain drifted by {report.drift_percent} between its lowest and highest slice (k = 1); "
        f"all slices together: {report.common_u_percent:.2f} %."
    )
    if report.moved_percent is not None:
        typer.echo(f"The mean gain lies {report.moved_percent:+.2f} % from that of the scale.")
    typer.echo(report.assumed)
    typer.echo(report.verdict)
    step = max(1, -(-len(report.slices) // _MOST_LINES))
    rows = [
        [
            str(one.number),
            f"{one.hours:.2f}" if one.start is None else one.start.isoformat()[:16],
            f"{one.counts:.0f}",
            f"{one.gain_percent.value:+.2f} ± {one.gain_percent.u:.2f}",
            "-" if one.alone_percent is None else f"{one.alone_percent.value:+.2f} ± {one.alone_percent.u:.2f}",
            "-" if one.temperature_degc is None else f"{one.temperature_degc:.1f}",
        ]
        for one in report.slices[::step]
    ]
    title = "\nGain of the slices over their mean" + (f" (every {step}th; --json has all)" if step > 1 else "")
    print_table(title, ["slice", "time", "counts", "gain, %", "from this slice alone, %", "°C"], rows)
    if report.temperature is not None:
        line = report.temperature
        typer.echo(
            f"\nTemperature coefficient of the gain: {line.percent_per_degc} (k = 1) about {line.at_degc:.1f} °C"
            + (f"; the scatter is {line.spread:.1f} times what counting allows" if line.spread > 1.5 else "")
            + "."
        )
    elif report.temperature_refused:
        typer.echo(f"\nNo temperature coefficient: {report.temperature_refused}")
    typer.echo(
        f"\nCounts: {report.counts_in:.0f} in the slices, {report.counts_out:.0f} in the sum and its overflow; "
        f"every slice reaches to channel {report.complete_to}."
    )
    from truekev.cli.calibrate import print_coefficients

    print_coefficients(report.to_type_in, report.scale)
