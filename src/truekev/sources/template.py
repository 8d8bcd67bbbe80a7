"""The commented template of a source file, printed by `truekev new source`."""

from __future__ import annotations

from truekev.sources.words import source_words

__all__ = ["source_template"]

_HEAD = """\
# A source, as truekev reads it. Lines that start with # are comments; take the # away where a line applies.
# The values below are an example (invented): a bundle of electrodes in a college teaching lab.

name = "Rods, drawer 3"

# kind: one of the words below, or "nuclides" for a source that you list nuclide by nuclide.
"""

_TAIL = """\
kind = "thoriated-rods"

# Distance from the front of the detector's housing to the nearest point of the source; 0 is contact.
distance_mm = 0.0

# The day on which the activities hold, before any separation below. It may be left out if a separation is given.
# With a time of day, local, for what lives hours only: 2015-06-01T14:30:00.
# For thorium or uranium as found in nature any day before the first separation does.
reference_date = 2015-06-01

# aged = true: on that day everything that descends from the nuclides given stood in equilibrium with them (material
# as found in nature). Default: true for a word, false for "nuclides".
# aged = true

# history_certain = true: the ratios between the components are trusted as computed, so that a fit keeps them. Default
# false: a fit lets every component float.
# history_certain = false

# Activities in Bq: a number, or [value, standard uncertainty]. Leave the table out where the body below says how much
# thorium there is, or where the activity is not known.
# [activities_bq]
# Th-232 = [1070.0, 60.0]

# Chemical separations in the order of their dates, each with the fraction of every element that stayed.
# Here: thorium refined, everything else left behind.
[[separation]]
on = 2015-06-01
kept = { Th = 1.0 }
others_kept = 0.0

# A later one: the tungsten dissolved away, part of the radium lost.
# [[separation]]
# on = 2026-11-02
# kept = { Ra = 0.8, Tl = 0.0 }
# others_kept = 1.0
# u_kept = { Ra = 0.1 }           # standard uncertainty of a fraction kept

# Radon that leaves the source before it decays, as a fraction of its atoms, all the time.
# [radon_escape]
# Rn-220 = 0.05

# The thing itself. Forms: point, disc, vial, resin, bag, rods, surroundings; the default comes with the kind.
[body]
form = "rods"
n_rods = 10
diameter_mm = 2.4
length_mm = 175.0
# rods_mass_g = 150.4           # all of them on the balance; else full cylinders are taken
electrode_class = "WT20"        # WT10, WT20, WT30, WT40; or thoria_fraction = 0.020 and u_thoria_fraction = 0.001
# arrangement = "side by side"  # or "bundled"
# counted_length_mm = 40.0       # only this length about the middles counts, the ends are covered; without it all of it
# For a disc: diameter_mm, length_mm (its thickness), material. For a bag of potassium chloride the same sizes and
# salt_mass_g; for oxide set in resin the same sizes and oxide_mass_g.
# For a vial of thorium dioxide: oxide_mass_g = 3.0, fill_height_mm = 6.0, inner_diameter_mm = 16.0, wall_mm = 1.0
# Beside the mass of the oxide its standard uncertainty: u_oxide_mass_g = 0.02.
# Instead of fill_height_mm: bulk_density_g_cm3 = 2.5. tungsten_fraction = 0.02 (fines left), wall_material = "glass".
"""


def source_template() -> str:
    """A source file with every key, its meaning and an example; it reads back without complaint."""
    width = max(map(len, source_words()))
    words = "".join(f"#   {word:<{width}}  {what}\n" for word, what in source_words().items())
    return _HEAD + words + _TAIL
