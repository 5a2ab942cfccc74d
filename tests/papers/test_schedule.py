"""Schedules by hand, and the calendar read by another library."""

import datetime

import icalendar
import pytest

from mockup.errors import MockupError
from mockup.finish.steps import Burst, Coat, Film, Finish, StainStep
from mockup.papers.ics import ics_bytes
from mockup.papers.schedule import Schedule, _operations, _Days, amount_ml, finish_area, materials, plain_materials, schedules, start_date
from mockup.papers.shop_values import Shop
from mockup.scene.library import films, stains
from mockup.scene.load import load_scene

START = datetime.date(2026, 12, 1)  # a Tuesday


def worked(finish, shop=Shop(), start=START):
    return _operations(finish, shop, _Days(start, shop.rest))


def film(name, coats):
    return Coat(film=films()[name].value, coats=coats)


def coat_days(operations):
    return [o.first for o in operations if o.title.startswith("Coat")]


def test_ten_coats_of_oil_varnish_take_five_days():
    """Common practice: two coats a day."""
    found = worked(Finish(steps=(film("oil varnish", 10),), sheen=80))
    days = coat_days(found)
    assert len(days) == 5 and [(d - START).days for d in days] == [1, 2, 3, 4, 5]
    assert sum(o.coats for o in found) == 10
    level = next(o for o in found if o.title == "Level the film")
    assert level.grits == (400, 800, 1500) and "P400 (CAMI 320), P800 (CAMI 400) and P1500" in level.detail
    assert all(o.basis == "common practice" for o in found)


def test_water_borne_is_sprayed_within_the_hour_and_cures_14_days_before_polishing():
    """Common practice: recoat in 30 to 60 minutes, 14 days before polishing."""
    found = worked(Finish(steps=(film("water-borne", 4),), sheen=85))
    coats = [o for o in found if o.title.startswith("Coat")]
    assert len(coats) == 1 and coats[0].detail.startswith("Sprayed; 0.5 to 1 hours between coats")
    polish = next(o for o in found if o.title == "Polish")
    assert (polish.first - coats[-1].last).days == 14
    assert "spray" in coats[0].cautions and "rags" not in coats[0].cautions


def test_a_shop_s_own_values_go_before_practice():
    shop = Shop(films={"oil varnish": {"coats_per_day": 0.5, "cure_days": 3, "level_grits": (600,)}})
    found = worked(Finish(steps=(film("oil varnish", 3),), sheen=80), shop)
    assert [(d - START).days for d in coat_days(found)] == [1, 3, 5]
    level = next(o for o in found if o.title == "Level the film")
    assert level.grits == (600,) and level.basis == "common practice, changed by this shop"
    assert (level.first - coat_days(found)[-1]).days >= 3


def test_nothing_is_done_on_days_of_rest():
    shop = Shop(rest=frozenset({5, 6}))
    found = worked(Finish(steps=(StainStep(stain=stains()["amber"].value), film("oil", 8)), sheen=15), shop)
    assert all(o.first.weekday() < 5 for o in found if o.kind == "work")
    assert sum(o.coats for o in found if o.title.startswith("Coat")) == 8 and "Level the film" not in [o.title for o in found]


def test_operations_follow_each_other():
    for name in films():
        found = worked(Finish(steps=(StainStep(stain=stains()["amber"].value), film(name, 7)), sheen=80))
        assert all(a.last <= b.first for a, b in zip(found, found[1:]) if a.kind == "work")
        assert all(a.first <= a.last for a in found)
        sanded = [o for o in found if "sand lightly" in o.detail]
        assert all(o.grits for o in sanded)


def test_an_unknown_film_has_a_schedule_too():
    odd = Coat(film=Film(name="wax", words="wax", absorb=(0, 0, 0), wet=0.1), coats=2)
    assert len(coat_days(worked(Finish(steps=(odd,), sheen=10)))) == 2


def test_coats_of_one_film_go_on_counting():
    found = worked(Finish(steps=(film("oil varnish", 2), film("oil varnish", 2)), sheen=10))
    assert [o.title for o in found if o.title.startswith("Coat")] == ["Coats 1 and 2 of oil varnish", "Coats 3 and 4 of oil varnish"]


def test_a_burst_is_sprayed_over_something_sealed():
    burst = Burst(stain=stains()["tobacco"].value)
    bare, coated = (worked(Finish(steps=steps, sheen=80)) for steps in ((burst, film("lacquer", 2)), (film("lacquer", 1), burst, film("lacquer", 2))))
    assert [o.detail.startswith("Seal with one thin coat first") for o in bare if "burst" in o.title] == [True]
    assert [o.detail.startswith("Spray in thin passes") for o in coated if "burst" in o.title] == [True]


def test_amounts_by_hand():
    # 0.25 m², 10 coats, 40 m² a litre: 62.5 ml on the wood; with 30 % lost 89.29 ml to buy. By parts 2 : 1 that is 59.52 and 29.76 ml.
    assert amount_ml(250_000, 10, 40, 0.3) == pytest.approx(89.2857, abs=1e-4)


def test_materials_of_a_scene(good_scene):
    view = good_scene.with_variant("amber")
    shop = Shop(parts={"body": 40.0})
    found = {(m.titles, m.name): m for m in materials(view, shop)}
    varnish = found[("Body",), "oil varnish"]
    body = next(p for p in view.parts if p.name == "body")
    assert varnish.area_mm2 == pytest.approx(finish_area(body, shop)) and finish_area(body, shop) > 2 * body.shape.area
    assert varnish.ml == pytest.approx(varnish.area_mm2 / 1e6 * 3 / 40 / 0.7 * 1000)
    assert varnish.mix["oil varnish"] == pytest.approx(2 * varnish.mix["boiled linseed oil"])
    rows = plain_materials(list(found.values()))
    assert {r["of"] for r in rows} >= {"", "oil varnish"} and all(r["basis"] == "common practice" for r in rows)


@pytest.mark.parametrize("given, words", [
    ("2026-11-24", "start: The start, 2026-11-24, is past: today is 2026-11-25. Give the day on which you begin."),
    ("tomorrow", 'start: The start, "tomorrow", is not a date. Write it as year-month-day, 2026-12-01.'),
])
def test_a_start_that_is_past_or_none_is_refused(given, words):
    with pytest.raises(MockupError) as told:
        start_date(Shop(), given, "2026-11-25")
    assert str(told.value) == words
    assert start_date(Shop(), None, "2026-11-25") == datetime.date(2026, 11, 25)


@pytest.fixture(scope="module")
def calendar(good_scene):
    found = schedules(good_scene.with_variant("amber"), Shop(), START)
    data = ics_bytes(found, title="Plover; Ämber, 1 \\ 2", today="2026-11-25")
    return found, data, icalendar.Calendar.from_ical(data)


def test_the_calendar_as_another_library_reads_it(calendar):
    found, data, read = calendar
    operations = [(s, o) for s in found for o in s.operations]
    events = read.walk("VEVENT")
    assert len(events) == len(operations) > 8
    for event, (s, o) in zip(events, operations, strict=True):
        assert event.decoded("DTSTART") == o.first and event.decoded("DTEND") == o.last + datetime.timedelta(days=1)
        assert str(event["SUMMARY"]) == f"{', '.join(s.titles)}: {o.title}"
        assert o.detail in str(event["DESCRIPTION"])
    assert len({str(e["UID"]) for e in events}) == len(events)
    assert any(c in o.detail for _, o in operations for c in ";,")  # so that what must be escaped was there
    assert not any(e.errors for e in events)


def test_its_lines_are_as_the_standard_wants_them(calendar):
    """RFC 5545, 3.1: CRLF, at most 75 octets."""
    _, data, _ = calendar
    assert data.endswith(b"END:VCALENDAR\r\n") and b"\n" not in data.replace(b"\r\n", b"")
    assert max(map(len, data.split(b"\r\n"))) <= 75
    data.decode("utf-8")


def test_rags_are_warned_of_wherever_there_is_oil(calendar):
    found, _, read = calendar
    oiled = [e for e in read.walk("VEVENT") if "oil varnish" in str(e["SUMMARY"])]
    assert oiled and all("heat by themselves" in str(e["DESCRIPTION"]) and "lidded metal can" in str(e["DESCRIPTION"])
                         and "safety data sheet" in str(e["DESCRIPTION"]) for e in oiled)


def test_the_same_schedule_gives_the_same_calendar(good_scene):
    first, again = (ics_bytes(schedules(good_scene.with_variant("amber"), Shop(), START), title="P", today="2026-11-25") for _ in range(2))
    assert first == again


def test_every_schedule_ends(good_scene):
    for s in schedules(good_scene.with_variant("amber"), Shop(), START):
        assert isinstance(s, Schedule) and s.last > START


def test_tern_is_scheduled():
    scene = load_scene("tern")
    for variant in scene.variants:
        assert all(s.operations for s in schedules(scene.with_variant(variant.name), Shop(), START))
