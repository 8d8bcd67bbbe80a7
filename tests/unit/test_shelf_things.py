"""The shelf: what stands there on a day, sums, what is due, how a thing leaves; backgrounds after a move."""

from __future__ import annotations

import json
from datetime import date, datetime

import numpy as np
import pytest
from tests.support.books import ticking_clock
from typer.testing import CliRunner

from truekev.book.body import Value
from truekev.book.book import Book
from truekev.book.check import check_book
from truekev.book.dump import dump_lines
from truekev.book.export import export_book
from truekev.book.import_folder import import_folder
from truekev.book.run_readings import readings_of
from truekev.book.spectra import add_spectrum
from truekev.book.things import Departure, HouseMove, Source, Stock, Upkeep, Waste
from truekev.book.work import Authority, Batch, Relock, Result
from truekev.cli.app import app
from truekev.errors import InputError, RefusedError
from truekev.job.background import background_in_force, background_standing
from truekev.job.book_results import PLAN, recomputed
from truekev.job.book_scales import scale_in_force, stored_scale
from truekev.job.demo_book import fill_demo_book
from truekev.job.fitted_model import MODEL
from truekev.job.shelf import shelf_on
from truekev.job.source_record import source_on_day
from truekev.sources.stock import th232_bq_of_rods

ON = date(2026, 11, 25)


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    with fill_demo_book(tmp_path_factory.mktemp("demo") / "demo.book") as book:
        yield book


@pytest.fixture
def book(tmp_path):
    with Book.create(tmp_path / "lab.book", "Lab", clock=ticking_clock()) as book:
        yield book


def _rods(book: Book, count: int = 5) -> int:
    body = Stock(
        name="Rods",
        what="rods",
        place="drawer",
        bought_on=date(2026, 1, 10),
        count=count,
        electrode_class="WT20",
        diameter_mm=2.4,
        length_mm=150.0,
    )
    return book.add(body).id


def test_rods_are_counted_piece_by_piece(book):
    rods = _rods(book)
    one = th232_bq_of_rods(n_rods=1, diameter_mm=2.4, length_mm=150.0, thoria_fraction=0.02, u_thoria_fraction=0.0)
    assert shelf_on(book, date(2026, 1, 9)).items == ()
    (item,) = shelf_on(book, ON).items
    assert item.head_activity.value == pytest.approx(5 * one.value)
    book.add(Departure(name="two", thing_id=rods, how="used up", on=date(2026, 3, 1), count=2, remarks="dissolved"))
    assert shelf_on(book, date(2026, 2, 28)).items[0].n_pieces == 5
    (item,) = shelf_on(book, ON).items
    assert item.n_pieces == 3
    assert item.head_activity.value == pytest.approx(3 * one.value)
    book.add(Departure(name="rest", thing_id=rods, how="handed over", on=date(2026, 4, 1), to="another lab"))
    report = shelf_on(book, ON)
    assert report.items == ()
    assert report.sums[0].fraction.value == 0
    assert [words for _, words in report.left] == [
        "2026-03-01 2 of Rods: used up",
        "2026-04-01 Rods: handed over to another lab",
    ]


def test_sums_add_fractions_and_uncertainties(demo):
    report = shelf_on(demo, ON)
    for one in report.sums:
        assert one.fraction.value == pytest.approx(sum(m.value for *_, m in one.parts))
        assert one.fraction.u == pytest.approx(np.sqrt(sum(m.u**2 for *_, m in one.parts)))
        assert "authority" in one.say
        assert "Information, not permission" in one.say
        assert one.citations
    names = [name for _, name, _ in report.sums[0].parts]
    assert "Rod bundle, drawer 3" not in names, "its rods are counted with the stock"
    assert any(text.startswith("Gas mantles") for text in report.sums[0].not_counted)


def test_every_thing_has_place_and_figures_or_a_reason(demo):
    report = shelf_on(demo, ON)
    assert len(report.items) == 8
    for item in report.items:
        assert item.place
        if item.activities:
            assert item.head_activity.u > 0
            assert item.dose_rate.value > 0
            assert item.dose_rate.u > 0
        else:
            assert item.remark
    assert report.dose_rate_all.value < sum(i.dose_rate.value for i in report.items if i.dose_rate)


def test_due_follows_what_was_done(demo):
    due = {(d.what, d.thing): d for d in shelf_on(demo, ON).due}
    assert due["count", "Thoria vial no. 1"].by == date(2026, 10, 12)
    assert due["count", "Thoria vial no. 1"].overdue(ON)
    assert due["wipe", "Thoria vial no. 1"].by == date(2027, 10, 12)
    assert due["remind the authority", "Sludge of the autumn batch"].by == date(2026, 12, 19)
    assert due["ask the authority about this waste", "Liquid of the autumn batch"].by == date(2026, 10, 14)
    assert not any(what.startswith("write down the rods") for what, _ in due)


def _vial(book: Book) -> int:
    text = 'name = "V"\nkind = "thorium-vial"\nreference_date = 2026-01-01\n[body]\nform = "vial"\noxide_mass_g = 0.5\n'
    body = Source(
        name="V",
        description=text,
        place="A",
        form="sealed vial",
        made_on=date(2026, 1, 1),
        gross_mass_g=Value(value=14.0, u=0.002, unit="g"),
    )
    return book.add(body).id


@pytest.mark.parametrize(("mass", "leaks"), [(13.995, False), (13.98, True)])
def test_a_change_of_mass_is_told(book, mass, leaks):
    vial = _vial(book)
    weighed = Value(value=mass, u=0.002, unit="g")
    book.add(Upkeep(name="w", thing_id=vial, on=date(2026, 6, 1), gross_mass_g=weighed))
    due = [d.what for d in shelf_on(book, ON).due]
    assert ("do not use; wipe and look for a leak" in due) == leaks


def test_unsound_things_are_due_at_once(book):
    vial = _vial(book)
    book.add(Upkeep(name="look", thing_id=vial, on=date(2026, 6, 1), looked=True, sound=False, remarks="cap loose"))
    first = shelf_on(book, ON).due
    assert ("do not use; make it safe", "cap loose") in [(d.what, d.why) for d in first]


def test_waste_waits_for_the_reply(book):
    jar = book.add(
        Waste(name="Jar", contents="sludge", place="cabinet", closed_on=date(2026, 5, 1), hazards="corrosive")
    ).id
    question = book.add(
        Authority(name="q", asked_on=date(2026, 5, 2), asked_whom="authority", question="?", about_ids=(jar,))
    )
    assert shelf_on(book, ON).due[0].what == "remind the authority"
    answered = question.body.model_copy(update={"answered_on": date(2026, 6, 1), "reply_no": "12/26"})
    book.add(answered, supersedes=question.id)
    assert "no. 12/26" in next(d for d in shelf_on(book, ON).due if d.record_id == jar).why
    gone = Departure(
        name="d", thing_id=jar, how="disposed of", on=date(2026, 7, 1), to="licensed disposer", reference_no="L-77"
    )
    book.add(gone)
    report = shelf_on(book, ON)
    assert report.items == report.due == ()
    assert "reference no. L-77" in report.left[0][1]


def test_rods_of_a_finished_batch_must_be_written_down(book):
    rods = _rods(book)
    batch = Batch(name="B", settings={}, stock_ids=(rods,), ended_on=datetime(2026, 5, 1, 12))
    batch_id = book.add(batch).id
    assert "write down the rods that were used up" in [d.what for d in shelf_on(book, ON).due]
    book.add(Departure(name="d", thing_id=rods, how="used up", on=date(2026, 5, 1), count=1, batch_id=batch_id))
    assert "write down the rods that were used up" not in [d.what for d in shelf_on(book, ON).due]


_ROOM = b"# role: background\n# started: %s\n# live time: 600 s\nchannel,counts\n0,5\n1,6\n2,7\n"


def test_a_move_retires_backgrounds(book):
    with pytest.raises(RefusedError, match="no background"):
        background_in_force(book, ON)
    old = add_spectrum(book, _ROOM % b"2026-03-01T10:00:00", "room.csv", role="background").id
    assert background_in_force(book, ON).id == old
    book.add(HouseMove(name="Move", on=date(2026, 8, 1), from_place="old lab", to_place="new lab"))
    assert background_in_force(book, date(2026, 7, 1)).id == old
    with pytest.raises(RefusedError, match="retired"):
        background_in_force(book, ON)
    assert [d.what for d in shelf_on(book, ON).due] == ["count a new background"]
    new = add_spectrum(book, _ROOM % b"2026-08-02T10:00:00", "room2.csv", role="background").id
    standing = background_standing(book, ON)
    assert standing.in_force.id == new
    assert standing.retired == (old,)
    assert shelf_on(book, ON).due == ()


def test_demo_book_is_whole_and_says_that_it_is_invented(demo, tmp_path):
    assert check_book(demo).whole
    assert "invented" in demo.facts()["title"]
    folder = export_book(demo, tmp_path / "out").folder
    with import_folder(folder, tmp_path / "again.book") as again:
        assert list(dump_lines(again)) == list(dump_lines(demo))


def test_results_are_worked_out_again(demo):
    (plan,) = (result for result in demo.current(Result) if result.body.question == PLAN)
    again = recomputed(demo, plan.id)
    assert again.same
    assert again.changed_tables == ()
    changed = plan.body.model_copy(update={"answer": plan.body.answer | {"end": "never"}})
    kept = demo.add(changed)
    assert recomputed(demo, kept.id).differences == ("end",)
    demo.withdraw(kept.id, "made by a test")
    with pytest.raises(InputError, match="cannot be answered again"):
        recomputed(demo, demo.add(changed.model_copy(update={"question": "why"})).id)


def test_models_behind_scales_are_fitted_again(demo):
    models = [result for result in demo.current(Result) if result.body.question == MODEL]
    assert [demo.get(model.body.about_id).kind for model in models] == ["relock", "scale"]
    assert all(recomputed(demo, model.id).same for model in models)


def test_scales_come_back(demo):
    instrument = demo.current(Relock)[0].body
    newest = scale_in_force(demo, None)
    assert newest.kind == "relock"
    scale = stored_scale(demo, newest.id)
    first = stored_scale(demo, instrument.scale_id)
    ratio = float(scale.channel(1000.0) / first.channel(1000.0))
    assert ratio == pytest.approx(newest.body.gain_ratio.value, rel=0.01)
    assert not any("/tmp" in json.dumps(r.body.scale) for r in (newest, demo.get(instrument.scale_id)))


def test_readings_of_the_demo_follow_its_plan(demo):
    (batch,) = demo.current(Batch)
    readings = readings_of(demo, batch.id)
    assert readings.n_readings > 40
    assert 0 < np.nanmax(readings.current_a) < 1.25


def test_source_on_a_day(demo):
    vial = next(r for r in demo.current(Source) if r.body.home_made)
    source = source_on_day(demo, vial.id, ON)
    assert source.th232_bq.relative_u > 0.01, "the weighing is in it"
    assert {r.kind for r in source.behind} == {"batch", "recovery"}
    with pytest.raises(RefusedError, match="not known"):
        source_on_day(demo, vial.id, date(2026, 1, 1))


def test_commands(demo, tmp_path, monkeypatch):
    run = CliRunner()
    monkeypatch.setenv("TRUEKEV_BOOK", str(demo.path))
    shelf = run.invoke(app, ["shelf", "--on", "2026-11-25"], catch_exceptions=False)
    assert shelf.exit_code == 0
    for words in ("Thoria vial no. 1", "OVERDUE", "UK SI 2017/1075", "636 ± 54 nGy/h"):
        assert words in shelf.output
    as_json = json.loads(run.invoke(app, ["shelf", "--on", "2026-11-25", "--json"]).output)
    assert len(as_json["items"]) == 8
    assert run.invoke(app, ["book", "check"]).exit_code == 0
    exported = run.invoke(app, ["book", "export", str(tmp_path / "out")])
    assert exported.exit_code == 0, exported.output
    made = run.invoke(app, ["book", "import", str(tmp_path / "out"), str(tmp_path / "b.book")])
    assert "Whole" in made.output
    monkeypatch.setenv("TRUEKEV_BOOK", str(tmp_path / "b.book"))
    (tmp_path / "note.toml").write_text('name = "Hello"\ntext = "from a file"\n')
    added = run.invoke(app, ["book", "add", "note", str(tmp_path / "note.toml"), "--json"])
    number = json.loads(added.output)["id"]
    assert "from a file" in run.invoke(app, ["book", "show", str(number)]).output
    assert "Hello" in run.invoke(app, ["book", "list", "note"]).output


def test_commands_without_a_book(monkeypatch):
    monkeypatch.delenv("TRUEKEV_BOOK", raising=False)
    result = CliRunner().invoke(app, ["shelf"])
    assert isinstance(result.exception, InputError)
    assert "truekev book new" in str(result.exception)
