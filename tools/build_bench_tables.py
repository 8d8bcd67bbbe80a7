"""Builds the tables of the bench and of safety, and stamps the provenance of those written by hand.

Run `python tools/build_bench_tables.py` with the packages `thermo` and `roentgen` installed (roentgen
is a build-time tool only: it carries the NIST SRD 126 table of air).
"""

from __future__ import annotations

import csv
import hashlib
import io
from importlib import resources
from pathlib import Path

TABLES = Path(__file__).resolve().parent.parent / "src" / "truekev" / "tables"
DATE = "2026-11-25"
FACTS = "published facts"
OWN_WORDS = "MIT (own words); the cited numbers are published facts"

LITERAL = {
    "sodium_hydroxide_solution.csv": (
        "mass_percent,density_g_cm3,viscosity_mpa_s,molarity_mol_l\n"
        "5,1.0538,1.329,1.317\n"
        "10,1.1089,1.882,2.772\n"
        "15,1.1640,2.789,4.365\n"
        "20,1.2192,4.619,6.096\n"
        "30,1.3277,13.517,\n"
        "40,1.4299,,\n"
    ),
    "sodium_hydroxide_boiling_point.csv": (
        "mass_percent,boiling_point_degc\n0,100.0\n5,101.3\n10,102.8\n20,107.9\n30,117.0\n50,146.4\n"
    ),
    "sodium_hydroxide_conductivity.csv": (
        "mass_percent,conductivity_ms_cm\n0,0\n0.5,24.8\n1,48.6\n2,93.1\n5,206\n10,320\n15,380\n20,370\n30,250\n40,140\n"
    ),
    "sodium_tungstate_solubility.csv": (
        "temperature_degc,solute_percent_of_solution\n0,36.54\n21,42.27\n43.5,43.98\n80.5,47.65\n100,49.31\n"
    ),
    "bench_substances.csv": (
        "name,formula,molar_mass_g_mol,formation_enthalpy_kj_mol\n"
        "tungsten,W,183.84,0\n"
        "thoria,ThO2,264.0359,-1226.4\n"
        "hydroxide ion,OH-,17.00734,-230.015\n"
        "sodium ion,Na+,22.98977,-240.34\n"
        "tungstate ion,WO4(2-),247.8360,-1075.7\n"
        "carbonate ion,CO3(2-),60.0089,-675.23\n"
        "water,H2O,18.01528,-285.830\n"
        "water vapour,H2O(g),18.01528,-241.826\n"
        "hydrogen,H2,2.01588,0\n"
        "oxygen,O2,31.9988,0\n"
        "carbon dioxide,CO2,44.0095,-393.51\n"
        "hydrogen peroxide dissolved,H2O2,34.01468,-191.17\n"
        "hydrogen peroxide liquid,H2O2(l),34.01468,-187.80\n"
        "sodium hydroxide,NaOH,39.99711,-425.8\n"
        "sodium tungstate,Na2WO4,293.8195,\n"
        "sodium carbonate,Na2CO3,105.9884,\n"
        "calcium tungstate,CaWO4,287.914,\n"
        "calcium hydroxide,Ca(OH)2,74.0927,\n"
        "calcium carbonate,CaCO3,100.0869,\n"
        "tungsten trioxide,WO3,231.8382,\n"
        "calcium chloride,CaCl2,110.984,\n"
        "calcium chloride dihydrate,CaCl2.2H2O,147.0146,\n"
        "calcium nitrate tetrahydrate,Ca(NO3)2.4H2O,236.149,\n"
        "alumina,Al2O3,101.9613,\n"
        "aluminium hydroxide,Al(OH)3,78.0036,\n"
        "potassium alum dodecahydrate,KAl(SO4)2.12H2O,474.388,\n"
        "ammonium alum dodecahydrate,NH4Al(SO4)2.12H2O,453.328,\n"
        "aluminium sulfate,Al2(SO4)3,342.1509,\n"
        "aluminium sulfate octadecahydrate,Al2(SO4)3.18H2O,666.4259,\n"
    ),
    "dose_coefficients.csv": (
        "route,nuclide,type,sv_per_bq,source\n"
        "inhalation,Th-232,F,1.1e-4,ICRP 119 Annex G\n"
        "inhalation,Th-232,M,4.5e-5,ICRP 119 Annex G\n"
        "inhalation,Th-232,S,2.5e-5,ICRP 119 Annex G\n"
        "inhalation,Th-228,F,2.9e-5,ICRP 119 Annex G\n"
        "inhalation,Th-228,M,3.2e-5,ICRP 119 Annex G\n"
        "inhalation,Th-228,S,4.0e-5,ICRP 119 Annex G\n"
        "inhalation,Ra-228,F,9.0e-7,ICRP 119 Annex G\n"
        "inhalation,Ra-228,M,2.6e-6,ICRP 119 Annex G\n"
        "inhalation,Ra-228,S,1.6e-5,ICRP 119 Annex G\n"
        "inhalation,Ra-224,M,3.0e-6,ICRP 119 Annex G\n"
        "inhalation,Ra-224,S,3.4e-6,ICRP 119 Annex G\n"
        "inhalation,Th-230,S,1.4e-5,ICRP 119 Annex G\n"
        "inhalation,Pb-212,M,1.7e-7,ICRP 119 Annex G\n"
        "inhalation,Bi-212,M,3.1e-8,ICRP 119 Annex G\n"
        "inhalation,Ac-228,S,1.6e-8,ICRP 119 Annex G\n"
        "ingestion,Th-232,,2.3e-7,ICRP 119 Annex F\n"
        "ingestion,Th-228,,7.2e-8,ICRP 119 Annex F\n"
        "ingestion,Ra-228,,6.9e-7,ICRP 119 Annex F\n"
        "ingestion,Ra-224,,6.5e-8,ICRP 119 Annex F\n"
    ),
    "exemption_values.csv": (
        "list,nuclide,concentration_bq_g,activity_bq,covers,source\n"
        "exemption,Th-232,1,1e3,Ra-228 Ac-228 Th-228 Ra-224 Rn-220 Po-216 Pb-212 Bi-212 Tl-208 Po-212,"
        "UK SI 2017/1075 Schedule 7 Part 2\n"
        "exemption,Ra-228,1,1e5,Ac-228,UK SI 2017/1075 Schedule 7 Part 2\n"
        "exemption,Th-228,1,1e4,Ra-224 Rn-220 Po-216 Pb-212 Bi-212 Tl-208 Po-212,UK SI 2017/1075 Schedule 7 Part 2\n"
        "transport,Th(nat),1,1e3,Th-232 Ra-228 Ac-228 Th-228 Ra-224 Rn-220 Po-216 Pb-212 Bi-212 Tl-208 Po-212,"
        "IAEA SSR-6 Table 2 (from memory)\n"
        "transport,Th-232,10,1e4,,IAEA SSR-6 Table 2 (from memory)\n"
        "transport,Th-228,1,1e4,Ra-224 Rn-220 Po-216 Pb-212 Bi-212 Tl-208 Po-212,IAEA SSR-6 Table 2 (from memory)\n"
        "transport,Ac-228,10,1e6,,49 CFR 173.436\n"
    ),
}

# What, units, citation, version and licence of each table.
ABOUT = {
    "sodium_hydroxide_solution.csv": (
        "Density, viscosity and molarity of sodium hydroxide solutions at 20 degC",
        "mass percent; g/cm3; mPa s; mol/L",
        "CRC Handbook of Chemistry and Physics, 102nd ed., 2021 (public transcription)",
        "102nd edition",
        FACTS,
    ),
    "sodium_hydroxide_boiling_point.csv": (
        "Boiling point of sodium hydroxide solutions at 101.325 kPa",
        "mass percent; degC",
        "Olsson, Jernqvist, Aly, Int. J. Thermophys. 18 (1997), from the published coefficients",
        "1997",
        FACTS,
    ),
    "sodium_hydroxide_conductivity.csv": (
        "Electrical conductivity of sodium hydroxide solutions at 20 degC; from 10 percent up a band of +-12 percent",
        "mass percent; mS/cm",
        "CRC Handbook, electrical conductivity of aqueous solutions, 0.5 to 5 percent (from memory); maximum near 15 "
        "percent of 350 to 410 mS/cm, and the rows around it (from memory, no source)",
        "from memory",
        FACTS,
    ),
    "sodium_tungstate_solubility.csv": (
        "Solubility of sodium tungstate in pure water, g per 100 g solution (decahydrate at 0 degC)",
        "degC; mass percent",
        "Funk, as quoted on the atomistry tungsten page",
        "Funk 1900",
        FACTS,
    ),
    "bench_substances.csv": (
        "Molar masses and standard enthalpies of formation at 25 degC of the substances of the bench",
        "g/mol; kJ/mol",
        "IUPAC standard atomic weights; CODATA key values; tungstate and dissolved peroxide from the reaction "
        "enthalpies "
        "of the LLNL database (llnl.dat, PHREEQC distribution)",
        "llnl.dat",
        FACTS,
    ),
    "dose_coefficients.csv": (
        "Committed effective dose per activity taken in, adult member of the public",
        "Sv/Bq",
        "ICRP Publication 119, Annexes F and G (public transcription)",
        "ICRP 119 (2012)",
        FACTS,
    ),
    "exemption_values.csv": (
        "Published exemption values and transport exempt limits for the thorium series",
        "Bq/g; Bq",
        "UK SI 2017/1075 Schedule 7 Part 2 (legislation.gov.uk); 49 CFR 173.436; IAEA SSR-6 Table 2 (from memory)",
        "2017; 2018",
        FACTS,
    ),
    "electrolyte_properties.csv": (
        "Coefficients of Laliberte's density (c), viscosity (v) and heat capacity (a) of aqueous electrolytes",
        "see the reference; temperature in degC",
        "Laliberte, J. Chem. Eng. Data 54 (2009) 1725-1760, doi:10.1021/je8008123, as shipped in thermo",
        "thermo 0.6.1",
        "thermo MIT; the coefficients are published facts",
    ),
    "air_energy_absorption.csv": (
        "Mass energy-absorption coefficient of dry air near sea level",
        "MeV; cm2/g",
        "NIST Standard Reference Database 126 (Hubbell and Seltzer, NISTIR 5632), as shipped in roentgen",
        "SRD 126 (2004), roentgen 2.4.0",
        "NIST data are in the public domain; roentgen Apache-2.0",
    ),
    "published_rules.toml": (
        "Published rules on thorium as examples, with their sources; not advice on any place's law",
        "in the text",
        "see each entry",
        "as seen 2026-11",
        OWN_WORDS,
    ),
    "cautions.toml": (
        "Cautions of the bench by step, printed on the step they belong to",
        "in the text",
        "see each entry; where none is named: common practice, no source",
        "1",
        OWN_WORDS,
    ),
    "batch_template.toml": (
        "Commented template of a batch; its numbers are an invented example of a college teaching lab",
        "in the names of the fields",
        "invented example",
        "2",
        "MIT",
    ),
}


def electrolyte_properties() -> str:
    """Coefficients for the three electrolytes of the bath and the calcium chloride of the waste step."""
    from thermo import electrochem

    electrochem._load_electrochem_data()
    names = [*(f"c{i}" for i in range(5)), *(f"v{i}" for i in range(1, 7)), *(f"a{i}" for i in range(1, 7))]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["formula", "cas", *names])
    for formula, cas in (
        ("NaOH", "1310-73-2"),
        ("Na2WO4", "13472-45-2"),
        ("Na2CO3", "497-19-8"),
        ("CaCl2", "10043-52-4"),
    ):
        row = electrochem.Laliberte_data.loc[cas]
        writer.writerow([formula, cas, *("" if row[n] != row[n] else repr(float(row[n])) for n in names)])
    return out.getvalue()


def air_energy_absorption() -> str:
    """Energy and mu_en/rho of dry air from the NIST table."""
    text = (resources.files("roentgen") / "data" / "compounds_mixtures" / "air.csv").read_text()
    lines = ["energy_mev,mu_en_rho_cm2_g"]
    for line in text.splitlines():
        fields = line.replace(",", " ").split()
        try:
            numbers = [float(field) for field in fields]
        except ValueError:
            continue
        if len(numbers) == 3:
            lines.append(f"{numbers[0]:.5g},{numbers[2]:.4g}")
    return "\n".join(lines) + "\n"


def stamp(name: str) -> None:
    """Write the provenance of the table as it lies."""
    what, units, citation, version, licence = ABOUT[name]
    digest = hashlib.sha256((TABLES / name).read_bytes()).hexdigest()
    entries = {
        "what": what,
        "units": units,
        "citation": citation,
        "version": version,
        "licence": licence,
        "date": DATE,
        "sha256": digest,
        "built_by": "tools/build_bench_tables.py",
    }
    text = "".join(f'{key} = "{value}"\n' for key, value in entries.items())
    (TABLES / f"{name}.provenance.toml").write_text(text)


def main() -> None:
    """Write every table and its provenance."""
    built = dict(LITERAL)
    built["electrolyte_properties.csv"] = electrolyte_properties()
    built["air_energy_absorption.csv"] = air_energy_absorption()
    for name, text in built.items():
        (TABLES / name).write_text(text)
    for name in ABOUT:
        stamp(name)


if __name__ == "__main__":
    main()
