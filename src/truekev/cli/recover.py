"""`truekev recover`: settle, wash, dry, seal; the dated separation for the source."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from truekev.cli.output import as_json, print_table
from truekev.cli.step_text import check_picture, paragraph, print_steps, title

if TYPE_CHECKING:
    from truekev.job.recover import RecoverReport

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add the command."""

    @app.command()
    def recover(
        batch: str = typer.Argument(metavar="BATCH.toml", help="The batch whose oxide is recovered."),
        write: str = typer.Option(
            None,
            "--write",
            metavar="SOURCE.toml",
            help="The source file; beside the batch if left out.",
        ),
        picture: str = typer.Option(None, "--picture", metavar="FILE.png", help="Draw the settling times."),
        json: bool = typer.Option(False, "--json", help="Print JSON."),
    ) -> None:
        """Recovery of the oxide: settling, washing, yield; writes a source file with the dated separation.

        Example: truekev recover batch.toml --write vial.toml
        """
        from truekev.job.recover import free_name, recover_batch, write_separation

        check_picture(picture)
        report = recover_batch(batch)
        target = write_separation(report, write or free_name(report, batch))
        if picture is not None:
            from truekev.pictures.bench_settling import picture_of_settling
            from truekev.pictures.canvas import save

            save(picture_of_settling(report), picture)
        if json:
            typer.echo(as_json(report))
        else:
            _print(report)
            typer.echo(f"\nwritten: {target} (a source file; 'truekev chain' reads it)")
            if picture is not None:
                typer.echo(f"written: {picture}")


def _print(report: RecoverReport) -> None:
    typer.echo(f"{report.batch}: recovery, separated on {report.separated_on:%Y-%m-%d}")
    if report.unfinished:
        paragraph(report.unfinished, "* ")
    title("Settling")
    liquids = list(dict.fromkeys(row.liquid for row in report.settling))
    grains = list(dict.fromkeys(row.grain_um for row in report.settling))
    hours = {(row.liquid, row.grain_um): row.hours for row in report.settling}
    typer.echo("hours for the height of the liquid:")
    print_table(
        "",
        ["grain [µm]", *liquids],
        [[f"{g:g}", *(f"{hours[name, g]:.1f}" for name in liquids)] for g in grains],
    )
    for grain, holds in report.filters.items():
        kept = [name for name, yes in holds.items() if yes]
        typer.echo(f"a {grain} grain is held by: {', '.join(kept) or 'none'}; passes the others")
    title("Steps")
    print_steps(report.steps)
    title("Yield")
    typer.echo(f"expected {report.oxide.expected_g}" + (" (after the last readings)" if report.from_readings else ""))
    if report.oxide.weighed_g is not None:
        typer.echo(f"weighed  {report.oxide.weighed_g}")
    typer.echo(
        f"lost in washing: {100 * report.washing.lost_share.value:.1f} % (fines; estimate, factor 3); dissolved: "
        f"{report.dissolved_thoria_ug:.1f} µg at most"
    )
    paragraph(report.oxide.says)
    for item in report.oxide.holds:
        paragraph(item, "  - ")
    typer.echo(f"Th-232: {report.oxide.activity_bq}")
    title("Kept, relative to thorium")
    print_table(
        "",
        ["element", "kept", "band", "why"],
        [[k.element, f"{k.value:.2f}", f"{k.low:.2f} to {k.high:.2f}", k.why] for k in report.kept],
    )
    typer.echo(
        f"Count not before {report.count_not_before:%Y-%m-%d}, and again after {report.count_again:%Y-%m-%d} sealed."
    )
    title("Label")
    paragraph(report.label)
