"""Rebuilds the table of what scatters into the default detector: tools/build_default_scatter.py."""

from __future__ import annotations

import hashlib
import tempfile
from datetime import date
from pathlib import Path

from truekev.transport.detector import DEFAULT_DETECTOR
from truekev.transport.response_store import ResponseStore
from truekev.transport.stand import scatter_responses, scatter_to_bytes
from truekev.version import __version__

TABLE = Path(__file__).resolve().parent.parent / "src" / "truekev" / "tables" / "scatter_default.npz"
SEED = 20261126
HISTORIES = 6_000_000


def main() -> None:
    """Run the engine for every place and write table and provenance."""
    with tempfile.TemporaryDirectory() as folder:
        scatter = scatter_responses(DEFAULT_DETECTOR, histories=HISTORIES, seed=SEED, store=ResponseStore(folder))
    data = scatter_to_bytes(scatter)
    TABLE.write_bytes(data)
    Path(f"{TABLE}.provenance.toml").write_text(
        'what = "Photons that slabs behind the source, behind the crystal and under both scatter into the default '
        'detector (CsI(Tl) cube of 10 mm behind 0.5 mm of aluminium): deposits by route and photon energy, mean of D"\n'
        'units = "keV; probability per photon born; bins of 4 keV"\n'
        'citation = "this program\'s Monte Carlo transport, checked in docs/validation/transport_reference.md"\n'
        f'version = "truekev {__version__}, seed {SEED}, {HISTORIES} histories for each node and place"\n'
        'licence = "MIT"\n'
        f'date = "{date.today().isoformat()}"\n'
        f'sha256 = "{hashlib.sha256(data).hexdigest()}"\n'
        'built_by = "tools/build_default_scatter.py"\n'
    )


if __name__ == "__main__":
    main()
