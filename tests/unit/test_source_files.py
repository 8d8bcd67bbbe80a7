"""Source files: what they mean, and one clear sentence for every mistake."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from truekev.errors import FileFormatError, InputError
from truekev.sources.chain_report import chain_report
from truekev.sources.described import resolve_source
from truekev.sources.settings import read_source_file
from truekev.sources.template import source_template
from truekev.toml_text import line_of_key

HEAD = 'name = "a"\nkind = "nuclides"\nreference_date = 2020-01-01\n'
MANTLE = 'name = "a"\nkind = "gas-mantle"\nreference_date = 2020-01-01\n'
RODS = 'name = "a"\nkind = "thoriated-rods"\n'


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "source.toml"


MISTAKES = [
    # text, line, field, words of the sentence
    (HEAD + "[activities_bq]\nCo-61 = 1.0\n", 5, "activities_bq.Co-61", "Co-60"),
    (HEAD + "[activities_bq]\nCo-60 = -1.0\n", 5, "activities_bq.Co-60", "greater than or equal to 0"),
    (HEAD + "[activities_bq]\nCo-60 = [1.0, -1.0]\n", 5, "activities_bq.Co-60[2]", "greater than or equal to 0"),
    (HEAD + '[activities_bq]\nCo-60 = "1"\n', 5, "activities_bq.Co-60", "a number of Bq"),
    (HEAD + "[activities_bq]\nCo-60 = [1.0]\n", 5, "activities_bq.Co-60", "a number of Bq"),
    (HEAD + "[activities_bq]\nCo-60 = nan\n", 5, "activities_bq.Co-60", "a number of Bq"),
    (HEAD + "[activities_bq]\nCo-60 = 1\nco60 = 1\n", 6, "activities_bq.co60", "twice"),
    (HEAD + "[activities_bq]\nSr-90 = 1.0\n", 4, "activities_bq", "no photon line"),
    (HEAD + "[activities_bq]\nMo-99 = 1\nTc-99m = 1\n", 6, "activities_bq.Tc-99m", "longer-lived one only"),
    (HEAD.replace("01-01", "01-01T08:00:00Z"), 3, "reference_date", "leave out the offset"),
    (HEAD, 2, "kind", "at least one activity"),
    ('kind = "nuclides"\n', None, "name", "missing"),
    ('name = "a"\nkind = "gas-mantel"\n', 2, "kind", "gas-mantle"),
    ('name = "a"\nkind = "nuclides"\n[activities_bq]\nCo-60 = 1\n', 3, "activities_bq", "reference_date is missing"),
    (MANTLE + "colour = 3\n", 4, "colour", "not known"),
    (MANTLE + "distance_mm = -1\n", 4, "distance_mm", "greater than or equal to 0"),
    (MANTLE + "[[separation]]\non = 2021-01-01\nkept = { Ra = 1.2 }\n", 6, "separation[1].kept.Ra", "1.2"),
    (MANTLE + "[[separation]]\non = 2021-01-01\nothers_kept = -0.1\n", 6, "separation[1].others_kept", "-0.1"),
    (MANTLE + "[[separation]]\non = 2021-01-01\nkept = { Xx = 1 }\n", 6, "separation[1].kept", "no element"),
    (MANTLE + "[[separation]]\non = 2021-01-01\nu_kept = { Ra = 0.1 }\n", 6, "separation[1].u_kept", "kept does not"),
    (MANTLE + "[[separation]]\nkept = { Ra = 1 }\n", 4, "separation[1].on", "missing"),
    (MANTLE + "[[separation]]\non = 2019-01-01\n", 5, "separation[1].on", "comes before 2020-01-01"),
    (
        MANTLE + "[[separation]]\non = 2022-01-01\n\n[[separation]]\non = 2021-01-01\n",
        8,
        "separation[2].on",
        "comes before 2022-01-01",
    ),
    (MANTLE + "[radon_escape]\nRn-220 = 2\n", 5, "radon_escape.Rn-220", "less than or equal to 1"),
    (MANTLE + "[radon_escape]\nRa-224 = 0.2\n", 5, "radon_escape.Ra-224", "only radon"),
    (MANTLE + "[activities_bq]\nTh-232 = 1\nRa-228 = 1\n", 6, "activities_bq.Ra-228", "descendant"),
    ('name = "a"\nkind = "gas-mantle"\nhistory_certain = true\n', 3, "history_certain", "dates"),
    (MANTLE.replace("2020-01-01", '"2020-01-01"'), 3, "reference_date", "valid date"),
    (RODS + '[body]\nelectrode_class = "WT25"\n', 4, "body.electrode_class", "WT20"),
    (RODS + '[body]\nelectrode_class = "WT20"\nn_rods = 2.5\n', 5, "body.n_rods", "integer"),
    (RODS + '[body]\nelectrode_class = "WT20"\nn_rods = 2\n', 3, "body.diameter_mm", "needed"),
    (
        RODS
        + '[body]\nelectrode_class = "WT20"\nn_rods = 2\ndiameter_mm = 2.4\nlength_mm = 175.0\nrods_mass_g = 75.2\n',
        *(8, "body.rods_mass_g", "would weigh"),
    ),
    (RODS + '[body]\nelectrode_class = "WT20"\nthoria_fraction = 0.02\n', 5, "body.thoria_fraction", "not both"),
    (
        'name = "a"\nkind = "thorium-vial"\nreference_date = 2020-01-01\n[activities_bq]\nTh-232 = 1\n'
        "[body]\noxide_mass_g = 1.0\n",
        4,
        "activities_bq",
        "as well",
    ),
    ('name = "a\n', 1, None, "not valid TOML"),
    ('name = "a"\nname = "b"\n', 2, None, "not valid TOML"),
]


@pytest.mark.parametrize(("text", "line", "field", "words"), MISTAKES, ids=[f"{m[2]} {m[3]}" for m in MISTAKES])
def test_mistakes(file: Path, text: str, line: int | None, field: str | None, words: str) -> None:
    file.write_text(text)
    with pytest.raises(FileFormatError) as caught:
        resolve_source(str(file))
    assert caught.value.file == str(file)
    assert caught.value.line == line
    assert caught.value.field == field
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_file_that_is_not_there_or_not_text(file: Path) -> None:
    with pytest.raises(FileFormatError, match="No such file"):
        resolve_source(str(file))
    file.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(FileFormatError, match="UTF-8"):
        resolve_source(str(file))


def test_a_date_before_the_last_separation(file: Path) -> None:
    file.write_text(MANTLE + "[[separation]]\non = 2021-01-01\nkept = { Th = 1 }\nothers_kept = 0\n")
    with pytest.raises(FileFormatError, match="lies before 2021-01-01"):
        resolve_source(str(file), on=date(2020, 12, 31))
    assert resolve_source(str(file), on=date(2021, 1, 1)).on == date(2021, 1, 1)
    assert resolve_source(str(file)).on == date(2021, 1, 1)


@given(st.text(max_size=80))
@settings(max_examples=60)
def test_any_text_is_a_source_or_a_file_format_error(tmp_path_factory: pytest.TempPathFactory, text: str) -> None:
    file = tmp_path_factory.mktemp("any") / "s.toml"
    file.write_text(HEAD + text, encoding="utf-8")
    with pytest.raises(FileFormatError):
        read_source_file(file)


def test_template_reads_back(file: Path) -> None:
    file.write_text(source_template())
    source = resolve_source(str(file), on=date(2026, 11, 25))
    assert source.kind == "thoriated-rods"
    assert source.activity_known
    assert source.activities_bq["Th-232"] == pytest.approx(10 * 1070, rel=0.01)
    assert source.components[-1].name == "tungsten K X-rays"
    assert source.body.n_rods == 10


def test_every_line_of_the_template_works_when_uncommented(file: Path) -> None:
    """All keys at once: comments with an equals sign or a table header lose their #."""
    lines = []
    for line in source_template().splitlines():
        bare = line.removeprefix("# ")
        is_key = line.startswith("# ") and (bare.startswith("[") or " = " in bare) and ":" not in bare
        lines.append(bare if is_key else line)
    text = "\n".join(lines).replace('electrode_class = "WT20"', "")
    assert "[radon_escape]" in text.splitlines()
    file.write_text(text)
    source = resolve_source(str(file), on=date(2026, 11, 25))
    assert source.activities_bq["Th-232"] == pytest.approx(1070)


def test_nuclides_decay_from_their_reference_date(file: Path) -> None:
    file.write_text(HEAD + "[activities_bq]\nCs-137 = 1e4\nCo-60 = [3e3, 90]\n")
    source = resolve_source(str(file), on=date(2025, 1, 1))
    co60 = next(part for part in source.components if part.name == "Co-60")
    years = (date(2025, 1, 1) - date(2020, 1, 1)).days / 365.25
    assert co60.activities_bq["Co-60"] == pytest.approx(3e3 * 0.5 ** (years / 5.2711), rel=1e-3)
    assert co60.u_activities_bq["Co-60"] / co60.activities_bq["Co-60"] == pytest.approx(0.03, rel=0.01)
    assert source.distance_mm == 100.0
    assert source.body.form == "point"


def test_a_time_of_day_counts(file: Path) -> None:
    file.write_text(HEAD.replace("01-01", "01-01T08:00:00") + "[activities_bq]\nTc-99m = 1e6\n")
    later = resolve_source(str(file), on=datetime(2020, 1, 1, 14, 0)).activities_bq["Tc-99m"]
    assert later == pytest.approx(1e6 * 0.5 ** (6 / 6.0067), rel=1e-3)
    with pytest.raises(FileFormatError, match="lies before"):
        resolve_source(str(file), on=date(2020, 1, 1))


def test_certain_history_ties_the_components(file: Path) -> None:
    text = MANTLE + "[[separation]]\non = 2020-01-01\nkept = { Th = 1 }\nothers_kept = 0\n"
    file.write_text("history_certain = true\n" + text)
    on = date(2024, 1, 1)
    certain = resolve_source(str(file), on=on)
    assert [part.tied_to for part in certain.components] == [None, "Th-232", "Th-232"]
    file.write_text(text)
    uncertain = resolve_source(str(file), on=on)
    assert [part.tied_to for part in uncertain.components] == ["Ra-228 part", None, None]
    assert not uncertain.activity_known


def test_rods_without_dates_count_as_aged_and_say_so(file: Path) -> None:
    file.write_text(RODS + '[body]\nelectrode_class = "WT20"\nn_rods = 1\ndiameter_mm = 2.4\nlength_mm = 175.0\n')
    source = resolve_source(str(file))
    assert source.activity_known
    assert source.on is None
    assert source.activities_bq["Ra-228"] == pytest.approx(1070, rel=0.01)
    assert any("aged" in remark for remark in source.remarks)
    part = next(part for part in source.components if part.name == "Th-232")
    assert part.u_activities_bq["Th-232"] / part.activities_bq["Th-232"] == pytest.approx(0.0723, rel=0.01)


def test_vial_by_its_oxide(file: Path) -> None:
    file.write_text('name = "a"\nkind = "thorium-vial"\n[body]\noxide_mass_g = 2.0\ninner_diameter_mm = 12.0\n')
    source = resolve_source(str(file))
    assert source.activities_bq["Th-232"] == pytest.approx(2 * 3573, rel=0.005)
    assert source.body.inner_diameter_mm == 12.0
    assert source.body.wall_mm == 1.0


def test_chain_report(file: Path) -> None:
    file.write_text(source_template())
    report = chain_report(file, date(2027, 3, 1))
    assert [part.name for part in report.components] == ["Th-232", "Ra-228 part", "Th-228 part"]
    assert not report.relative
    ra228 = report.components[1].activities["Ra-228"]
    assert ra228.value / report.components[0].activities["Th-232"].value == pytest.approx(0.757, abs=0.01)
    assert report.components[2].days_to_equilibrium == 0.0
    wait = report.series_days_to_equilibrium["Th-232"]
    assert wait is not None
    # 0.99 of Th-228 comes 41.56 a after refining (closed Bateman solution); refined 2015-06-01
    assert wait / 365.25 + (date(2027, 3, 1) - date(2015, 6, 1)).days / 365.25 == pytest.approx(41.56, abs=0.1)
    assert report.record.inputs[0].name == str(file)


def test_chain_report_needs_a_date_to_count_from(file: Path) -> None:
    file.write_text('name = "a"\nkind = "gas-mantle"\n')
    with pytest.raises(FileFormatError, match="no date to count from"):
        chain_report(file, date(2027, 1, 1))
    file.write_text(MANTLE)
    with pytest.raises(InputError, match="lies before"):
        chain_report(file, date(2019, 1, 1))


def test_line_of_key() -> None:
    text = 'a = 1\n[b]\n"c.d" = 2\nx.y = 3\n[[t]]\nk = { m = 1 }\n[[t]]\nk = 2\n'
    assert line_of_key(text, ("a",)) == 1
    assert line_of_key(text, ("b", "missing")) == 2
    assert line_of_key(text, ("b", "x", "y")) == 4
    assert line_of_key(text, ("t", 0, "k", "m")) == 6
    assert line_of_key(text, ("t", 1, "k")) == 8
    assert line_of_key(text, ("nothing",)) is None
