"""`truekev watch`: re-locks as spectra appear and grow, and says how much longer to count."""

from __future__ import annotations

import typer

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add the command."""

    @app.command()
    def watch(
        folder: str = typer.Argument(metavar="FOLDER", help="Where the instrument writes its spectra."),
        scale: str = typer.Option(None, metavar="scale.json", help="The last scale; else truekev.toml names it."),
        source: list[str] = typer.Option([], "--source", "-s", metavar="S", help="What is counted."),
        detector: str = typer.Option(None, metavar="D.toml", help="The detector that the scale was made with."),
        background: str = typer.Option(None, metavar="FILE", help="A spectrum of the room without the source."),
        limit: float = typer.Option(None, metavar="PERCENT", min=0.01, help="Wanted standard uncertainty of the gain."),
        every: float = typer.Option(5.0, metavar="S", min=0.2, help="Seconds between looks."),
        once: bool = typer.Option(False, "--once", help="Look once and stop."),
        json: bool = typer.Option(False, "--json", help="Print one JSON object per line and sighting."),
    ) -> None:
        """Re-lock every new or growing spectrum of a folder; writes nothing. Ctrl-C ends it.

        Example: truekev watch counts/
        """
        import json as json_lines
        import time
        from pathlib import Path

        from truekev.cli.output import plain
        from truekev.job.watch_folder import FolderWatch

        looking = FolderWatch(Path(folder), scale, tuple(source), detector, background, limit)
        try:
            while True:
                for one in looking.look():
                    if json:
                        typer.echo(json_lines.dumps(plain(one), ensure_ascii=False))
                    else:
                        typer.echo(f"{Path(one.file).name}: {one.words}")
                if once:
                    return
                time.sleep(every)
        except KeyboardInterrupt:
            typer.echo("watching ended", err=True)
