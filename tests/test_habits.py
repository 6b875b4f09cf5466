"""Degrees, distances and dates are read as the person chose, else as the depot, else as the fleet; who answers is said."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest
from test_views import run, said

from dashboard.desk.habits import DEPOTS_KEY, Habits, checked_depots, in_force, responsible_words
from dashboard.screens import one_unit
from ingest import store
from ingest.records import read_settings, save_device, save_setting

FLEET = {
    "temperature_unit": "°F",
    DEPOTS_KEY: {"hill": {"distance": "mi", "dates": "DD.MM.YYYY", "responsible": "Ada\nL"}},
}


@pytest.mark.parametrize(
    ("depot", "own", "wanted"),
    [
        ("", None, Habits("°F")),
        ("hill", None, Habits("°F", "mi", "DD.MM.YYYY")),
        ("hill", {"degrees": "°C", "dates": "MM/DD/YYYY"}, Habits("°C", "mi", "MM/DD/YYYY")),
        ("hill", {"degrees": "K", "dates": None}, Habits("°F", "mi", "DD.MM.YYYY")),
        ("<b>", ["°C"], Habits("°F")),
    ],
)
def test_the_person_comes_before_the_depot_and_the_depot_before_the_fleet(
    depot: str, own: object, wanted: Habits
) -> None:
    assert in_force(FLEET, depot, own) == wanted


def test_what_is_typed_of_a_depot_is_checked_and_kept_in_one_line() -> None:
    kept = checked_depots([{"depot": "hill", "responsible": " Ada \n L. ", "degrees": "", "dates": "DD/MM/YYYY"}])
    assert kept == {"hill": {"responsible": "Ada L.", "dates": "DD/MM/YYYY"}}
    assert checked_depots([{"depot": "hill", "responsible": None, "degrees": ""}]) == {}
    with pytest.raises(ValueError, match=r"hill: degrees is 'K'; allowed are °C, °F"):
        checked_depots([{"depot": "hill", "degrees": "K"}])
    with pytest.raises(ValueError, match="hill: the name has 65 characters; allowed are 64"):
        checked_depots([{"depot": "hill", "responsible": "x" * 65}])
    assert responsible_words(FLEET, ["plain", "hill"]) == "Responsible at hill: Ada L."


def test_a_device_of_a_depot_reads_as_the_depot_does(fleet: Path) -> None:
    """Date fields, the readings' miles and the name on the list, by the setting of the depot that the device names."""
    db = store.open_database(fleet)
    depot, unit = db.execute("SELECT depot, unit FROM units ORDER BY unit").fetchone()
    save_setting(db, DEPOTS_KEY, {depot: {"distance": "mi", "dates": "DD.MM.YYYY", "responsible": "Ada <i>L"}}, by="m")
    save_device(db, "ab" * 16, {"depot": depot})
    app = run()
    assert app.date_input(key="as_of").proto.format == "DD.MM.YYYY"
    assert "Ada" in said(app)
    assert "<i>" not in said(app)
    own = store.read_readings(db)
    frame = own[own["unit"] == unit]
    facts = dataclasses.replace(one_unit.facts(unit), readings=frame.assign(confirmed="", lowest_is=""))
    in_km = one_unit.readings_shown(facts)["odometer_km"]
    in_miles = one_unit.readings_shown(facts, Habits(distance="mi"))["odometer_km"]
    assert in_miles.tolist() == pytest.approx((in_km / 1.609344).tolist(), nan_ok=True), "exact by definition"
    assert one_unit.reading_columns(Habits(distance="mi"))["odometer_km"]["label"].endswith(", mi")


def test_the_settings_page_keeps_names_and_habits_of_depots(fleet: Path) -> None:
    app = run("settings")
    app.selectbox(key="set_dates").set_value("MM/DD/YYYY")
    app.button(key="save_settings").click().run()
    assert not app.exception
    assert read_settings(store.open_database(fleet))["date_order"] == "MM/DD/YYYY"
    assert app.date_input(key="as_of").proto.format == "MM/DD/YYYY"
    app.selectbox(key="own_dates").set_value("YYYY-MM-DD")
    app.button(key="save_own").click().run()
    assert app.date_input(key="as_of").proto.format == "YYYY-MM-DD", "the person comes before the fleet"
