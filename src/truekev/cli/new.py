"""`truekev new`: commented templates of the files that a person writes."""

from __future__ import annotations

from importlib import import_module

import typer

from truekev.errors import UnknownNameError

__all__ = ["register"]

# What can be written anew: the module and the function in it that returns the template.
_TEMPLATES: dict[str, tuple[str, str]] = {
    "batch": ("truekev.bench.settings", "batch_template"),
    "source": ("truekev.sources.template", "source_template"),
    "detector": ("truekev.transport.detector", "detector_template"),
    "bench-settings": ("truekev.job.tonight_settings", "bench_settings_template"),
    "sample": ("truekev.samples.sample_file", "sample_template"),
}


def register(app: typer.Typer) -> None:
    """Add the command."""

    @app.command()
    def new(what: str = typer.Argument(metavar="WHAT", help=f"One of: {', '.join(_TEMPLATES)}.")) -> None:
        """Print a commented template; redirect it into a file: truekev new source > rods.toml."""
        if what not in _TEMPLATES:
            raise UnknownNameError("template", what, _TEMPLATES)
        module, function = _TEMPLATES[what]
        typer.echo(getattr(import_module(module), function)(), nl=False)
