"""`truekev calibrate`: an energy scale from spectra of unknown gain."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from truekev.cli.output import Progress, as_json, check_out, print_table

if TYPE_CHECKING:
    from truekev.job.calibrate_spectra import CalibratedSpectrum, Reading
    from truekev.scale.energy_scale import EnergyScale
    from truekev.scale.polynomials import InstrumentPolynomial
    from truekev.scale.whole.profile import ProfileInterval

__all__ = ["print_coefficients", "print_readings", "register", "save_pictures"]


def register(app: typer.Typer) -> None:
    """Add the command."""

    @app.command()
    def calibrate(
        spectra: list[str] = typer.Argument(metavar="SPECTRUM…", help="Spectra of one instrument: N42 or columns."),
        source: list[str] = typer.Option(
            [],
            "--source",
            "-s",
            metavar="S",
            help="What was counted: a word (listed above), a nuclide, or a source file (`truekev new source` prints "
            "one). Once for all spectra, once for each in order, or several times for one spectrum of them all.",
        ),
        detector: str = typer.Option(None, metavar="D.toml", help="The detector; `truekev new detector` prints one."),
        background: str = typer.Option(None, metavar="FILE", help="A spectrum of the room without the source."),
        method: str = typer.Option(
            "whole", metavar="M", help="whole: all counts by one model; peaks: line groups one by one."
        ),
        profile: bool = typer.Option(
            False, "--profile", help="Also intervals by profile likelihood; some seconds for each energy."
        ),
        out: str = typer.Option(None, metavar="scale.json", help="Write the scale here, for re-lock and convert."),
        pictures: str = typer.Option(".", metavar="FOLDER", help="Where the two pictures of each spectrum go."),
        no_pictures: bool = typer.Option(False, "--no-pictures", help="Draw no pictures."),
        json: bool = typer.Option(False, "--json", help="Print JSON."),
    ) -> None:
        """Find the energy scale of spectra whose gain nobody knows, with its uncertainty.

        Refuses (exit 3) where two gains explain a spectrum about equally well, or the source cannot be made out.

        Words for --source: thoriated-rods, thorium-vial, gas-mantle, thoriated-lens, potassium-salt, uranium-glass,
        uranium-ore, radium-dial, lutetium, lanthanum, smoke-detector, radon-progeny, granite, room-background.

        Example: truekev calibrate rods.csv --source thoriated-rods --background room.csv --out scale.json
        """
        from truekev.errors import InputError
        from truekev.job.calibrate_spectra import calibrate_files
        from truekev.scale.energy_scale import write_scale

        if out is not None and len(spectra) > 1:
            raise InputError("--out takes the scale of one spectrum; calibrate a single spectrum, or leave --out away.")
        check_out("--out", out)
        folder = Path(".") if no_pictures else _folder(pictures)
        report = calibrate_files(
            spectra,
            source,
            detector=detector,
            background=background,
            method=method,
            profile=profile,
            progress=Progress(),
        )
        if out is not None:
            write_scale(report.spectra[0].scale, out)
        drawn = [] if no_pictures else [p for one in report.spectra for p in save_pictures(one, folder)]
        if json:
            typer.echo(as_json({"assumed": report.assumed, "spectra": [_plain(one) for one in report.spectra]}))
            return
        typer.echo(report.assumed)
        for one in report.spectra:
            _print(one)
        if out is not None:
            typer.echo(f"\nScale written to {out}.")
        if drawn:
            typer.echo("Pictures: " + ", ".join(str(p) for p in drawn))


def _folder(name: str) -> Path:
    from truekev.errors import InputError

    folder = Path(name)
    if not folder.is_dir():
        raise InputError(f"--pictures {name}: there is no such folder; make it, or use --no-pictures.")
    return folder


def save_pictures(one: CalibratedSpectrum, folder: Path) -> list[Path]:
    """Draw the two pictures of a calibrated spectrum; returns where they are."""
    from truekev.pictures.canvas import save
    from truekev.pictures.scale_pictures import picture_of_scale, picture_of_spectrum

    stem = Path(one.file).stem
    return [
        save(
            picture_of_spectrum(one.spectrum, one.scale, one.fitted, f"{stem}: {one.source}"),
            folder / f"{stem}-spectrum.png",
        ),
        save(
            picture_of_scale(one.scale, one.through_peaks, f"{stem}: energy scale with {one.source}"),
            folder / f"{stem}-scale.png",
        ),
    ]


def _plain(one: CalibratedSpectrum) -> dict[str, object]:
    from truekev.scale.energy_scale import scale_as_dict

    return {
        "file": one.file,
        "source": one.source,
        "confidence": one.confidence,
        "readings": one.readings,
        "to_type_in": one.to_type_in,
        "through_peaks": one.through_peaks,
        "verdict": one.verdict,
        "intervals": one.intervals,
        "scale": scale_as_dict(one.scale),
    }


def print_readings(readings: tuple[Reading, ...]) -> None:
    """Print what the instrument read at the groups, and what the new scale says."""
    rows = []
    for reading in readings:
        claimed = "-"
        if reading.claimed_kev is not None:
            off = 100.0 * (reading.claimed_kev / reading.energy_kev - 1.0)
            claimed = f"{reading.claimed_kev:.1f} ({off:+.1f} %)"
        rows.append([reading.name, f"{reading.energy_kev:.1f}", claimed, str(reading.scale_kev)])
    print_table("", ["line group", "energy, keV", "the instrument read, keV", "this scale says (k = 1)"], rows)
    typer.echo("± is mostly how well the group itself can be placed; the scale's own uncertainty stands below.")


_CHECKED_KEV = (60.0, 239.0, 662.0, 1461.0, 2614.5)


def print_coefficients(polynomials: tuple[InstrumentPolynomial, ...], scale: EnergyScale) -> None:
    """Print the polynomials for the instrument, with their error at known energies."""
    import numpy as np

    energies = [e for e in _CHECKED_KEV if e <= polynomials[0].high_kev]
    rows = []
    for p in polynomials:
        says = np.polynomial.polynomial.polyval(scale.channel(np.array(energies)), p.coefficients_kev)
        errors = [f"{value - energy:+.1f}" for value, energy in zip(says, energies, strict=True)]
        largest = f"{p.largest_error_kev:+.1f} at {p.at_kev:.0f}"
        rows.append([str(p.degree), " ".join(f"{c:.7g}" for c in p.coefficients_kev), *errors, largest])
    print_table(
        "\nTo type into the instrument: E/keV = c0 + c1 ch + c2 ch² + c3 ch³ (channel i is its middle); its error\n"
        "against this scale, keV",
        ["degree", "c0 c1 …", *(f"at {e:g}" for e in energies), "largest"],
        rows,
    )


def _lock(one: CalibratedSpectrum) -> str:
    """How sure the lock is, in words."""
    found = one.confidence
    whole = one.scale.method == "whole spectrum"
    units = "likelihood" if whole else "chi-square"
    if found.other_gain is None:
        rival = "no other gain explains it"
    else:
        rival = f"the next best gain ({found.other_gain:.2f} times this) is {found.margin:.0f} units of {units} worse"
    if whole:
        return f"{rival}, no source at all {found.evidence.gained:.0f} (20 and 60 are asked for)"
    return f"{rival}; evidence for the source {found.evidence.ratio:.1f} (at least 1.2 is asked for)"


def _headline(one: CalibratedSpectrum) -> str:
    """What the instrument reads at two energies that everybody knows."""
    claimed = one.spectrum.claimed_scale
    if claimed is None:
        return ""
    energies = [e for e in (59.5, 661.7, 2614.5) if e <= one.confidence.full_scale_kev]
    return ", ".join(f"your {e:g} keV reads {float(claimed.energy_kev(one.scale.channel(e))):.0f}" for e in energies)


_OF_A_LINE = 0.02  # an energy as near to the outermost line as this is still there


def _beyond_lines(scale: EnergyScale, energy_kev: float) -> str:
    """Says so where an energy lies outside the lines that were seen."""
    used = [group.energy_kev for group in scale.groups if group.used]
    if used and energy_kev < min(used) * (1.0 - _OF_A_LINE):
        return f"extrapolated: lines from {min(used):.0f} keV up"
    if used and energy_kev > max(used) * (1.0 + _OF_A_LINE):
        return f"extrapolated: lines up to {max(used):.0f} keV"
    return "" if used else "extrapolated: no line stands out"


def _print_intervals(intervals: tuple[ProfileInterval, ...]) -> None:
    """Print intervals by profile likelihood beside those of the covariance."""
    rows = [
        [
            f"{i.energy_kev:g}",
            f"{i.energy_kev - 1.96 * i.u_kev:.1f} to {i.energy_kev + 1.96 * i.u_kev:.1f}",
            f"{i.low95_kev:.1f} to {i.high95_kev:.1f}",
            f"{i.low_kev:.1f} to {i.high_kev:.1f}",
        ]
        for i in intervals
    ]
    print_table(
        "\nProfile likelihood: the scale reads this energy at its channel; how far it may move either way, all else\n"
        "fitted anew, before -2 ln L has risen by 3.84 (95 %) and 1 (68 %)",
        ["energy, keV", "95 % by u, keV", "95 % by profile, keV", "68 % by profile, keV"],
        rows,
    )


def _print(one: CalibratedSpectrum) -> None:
    import numpy as np

    scale = one.scale
    top = min(one.confidence.full_scale_kev, 2700.0)
    typer.echo(f"\n{one.file} with {one.source}")
    if headline := _headline(one):
        typer.echo(f"  {headline}")
    typer.echo(
        f"  full scale {one.confidence.full_scale_kev:.0f} keV, peak width at 662 keV {100 * scale.fwhm_662:.1f} %"
    )
    typer.echo(f"  {_lock(one)}")
    if one.verdict:
        typer.echo("  " + one.verdict)
    print_readings(one.readings)
    energies = np.array([e for e in (30, 60, 120, 240, 500, 662, 1000, 1461, 2000, 2614.5) if e <= top])
    u = scale.u_energy_kev(energies)
    rows = [
        [f"{e:g}", f"{float(scale.channel(e)):.2f}", f"{v:.2g}", f"{100 * v / e:.2g}", _beyond_lines(scale, e)]
        for e, v in zip(energies, u, strict=True)
    ]
    print_table(
        "\nThe scale and its standard uncertainty",
        ["energy, keV", "channel", "u, keV", "u, % of the energy", ""],
        rows,
    )
    if one.intervals:
        _print_intervals(one.intervals)
    rows = [
        [str(p.degree), f"{p.chi2:.1f} for {p.dof}" if p.coefficients_kev else "too few groups"]
        for p in one.through_peaks
    ]
    own = sum(g.pull**2 for g in scale.groups if g.used)
    rows.append(["light model", f"{own:.1f} for {sum(g.used for g in scale.groups)}"])
    print_table(
        "\nPolynomials through the same groups, for comparison. A good one has about as much as it has degrees of\n"
        "freedom. Light is not proportional to energy, so they go wrong between and beyond the groups; the light\n"
        "model is kept.",
        ["degree", "sum of squared pulls"],
        rows,
    )
    print_coefficients(one.to_type_in, scale)
