"""Limits: their ranges, a user's own, and the verdict on a reading."""

import re
import tomllib
from dataclasses import fields
from itertools import product
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from samples_chance import examples
from samples_ingest import NOW
from samples_ingest import UNITS as UNITS_FILE
from sqlite_utils import Database

from analysis.bay.facts import at_usual_share
from analysis.bay.verdict import COLUMNS, LOAD_TEST_CHECK, verdict
from analysis.circuit import limits as module
from analysis.circuit.limit_book import LimitBook, limits_from_mapping
from analysis.circuit.limits import LIMIT_KEYS, Limit, default_limits
from analysis.readings.panel import make_panel
from analysis.wear.state import need_priors
from dashboard.desk.assessment import with_own_needs
from dashboard.desk.own_limits import kind_of, limit_book, parse_limits
from dashboard.desk.reading_source import knowledge_from, latest_taken, limits_for, unit_row
from dashboard.words.limit_words import CHECK_WORDS, HELD_TO, held_to, sentence
from ingest.entries import record_reading
from ingest.importer import import_paths
from ingest.records import save_setting
from ingest.store import open_database, read_readings, read_units

KINDS = list(product((12, 24), ("light", "heavy"), ("petrol", "diesel"), (None, 4.0, 6.0)))


@pytest.mark.parametrize(("system_v", "duty", "fuel", "cylinders"), KINDS)
def test_every_limit_has_unit_source_and_lies_in_its_own_range(
    system_v: int, duty: str, fuel: str, cylinders: float | None
) -> None:
    limits = default_limits(system_v, duty=duty, fuel=fuel, cylinders=cylinders)
    for key in LIMIT_KEYS:
        limit: Limit = getattr(limits, key)
        assert limit.unit, key
        assert limit.source, key
        assert limit.lowest <= limit.value <= limit.highest, key


def test_every_coefficient_names_its_source_or_says_our_choice() -> None:
    coefficients = {name: value for name, value in vars(module).items() if isinstance(value, Limit)}
    assert len(coefficients) > 10
    for name, limit in coefficients.items():
        assert limit.lowest <= limit.value <= limit.highest, name
        words = ("our choice", "practice", "memory", "IEC", "NBS", "ASTM", "DOI")
        assert any(word in limit.source for word in words), name


@pytest.mark.parametrize(
    ("arguments", "message"),
    [({"system_v": 48}, "system_v is 48; allowed are 12 and 24"), ({"duty": "medium"}, "duty is 'medium'")],
)
def test_wrong_kind_of_vehicle_is_refused(arguments: dict[str, object], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        default_limits(**arguments)  # type: ignore[arg-type]


OWN = """
[system_24]
control_circuit_drop_v = 1.5

[vehicle_class.heavy_truck]
duty = "light"
ground_path_drop_v = 0.3
least_cranking_rpm = 120

[vehicle_class."Tipper, 8x4"]
control_circuit_drop_v = 1.2
"""


def test_own_limits_go_over_the_defaults_class_over_voltage() -> None:
    book = limits_from_mapping(tomllib.loads(OWN))
    truck = book.for_group("heavy_truck", 24)
    assert truck.ground_path_drop_v.value == 0.3
    assert "user's own" in truck.ground_path_drop_v.source
    assert truck.control_circuit_drop_v.value == 1.5
    assert truck.circuit_v_per_100a.value == 0.40  # light duty, as the class says
    assert book.for_group("Tipper, 8x4", 24).control_circuit_drop_v.value == 1.2
    assert book.for_group("light_van", 12) == LimitBook().for_group("light_van", 12)


def test_a_class_value_that_a_voltage_cannot_have_stops_nothing() -> None:
    """Contract: 20 V of a class of 24 V that a 12 V vehicle is brought into: that one has the printed limit, and setting it says so."""
    book = limits_from_mapping({"vehicle_class": {"bus": {"supply_minimum_v": 20.0, "longest_crank_s": 20.0}}})
    small, large = (book.for_group("bus", volts) for volts in (12, 24))
    assert large.supply_minimum_v.value == 20.0
    assert small.supply_minimum_v == LimitBook().for_group("bus", 12).supply_minimum_v
    assert small.longest_crank_s.value == 20.0
    book.check_class("bus", 24)
    with pytest.raises(ValueError, match=r"vehicle_class.bus.supply_minimum_v is 20 V; allowed is 0 to 15 V"):
        book.check_class("bus", 12)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "[vehicle_class.x]\nground_path_drop_v = 99",
            r"x.ground_path_drop_v is 99 V; allowed is 0.01 to 30 V",
        ),
        ("[system_12]\nground_path_drop_v = 16", r"system_12.ground_path_drop_v is 16 V; allowed is 0.01 to 15 V"),
        ("[system_12]\nground_path_drop_v = -0.1", r"is -0.1 V; allowed is 0.01 to 15 V"),
        ("[system_12]\nground_path_drop_v = 'low'", r"is 'low', but must be a number"),
        ("[system_12]\nground_path_drop_v = true", r"is True, but must be a number"),
        ("[system_12]\nground_path_drop_v = nan", r"is nan, but must be a number"),
        ("[system_12]\nground_path_drop_v = inf", r"is inf, but must be a number"),
        ("[system_12]\nground_drop = 0.2", r"system_12.ground_drop is not a limit; allowed are rest_watch_v"),
        (
            "[system_36]\nground_path_drop_v = 0.2",
            r"unknown table 'system_36'; allowed are \[system_12\]",
        ),
        ("[vehicle_class.x]\nduty = 'hard'", r"vehicle_class.x.duty is 'hard'; allowed are light and heavy"),
        ("vehicle_class = 3", r"vehicle_class is 3, but must be a table"),
        ("[vehicle_class]\nx = 3", r"vehicle_class.x is 3, but must be a table"),
    ],
)
def test_wrong_own_limits_are_refused_with_key_value_and_range(text: str, message: str) -> None:
    with pytest.raises(ValueError, match=message) as caught:
        limits_from_mapping(tomllib.loads(text))
    assert "\n" not in str(caught.value)


def test_every_key_may_be_set_within_its_range() -> None:
    for key in LIMIT_KEYS:
        limit: Limit = getattr(default_limits(12), key)
        for value in (limit.lowest, limit.highest):
            book = limits_from_mapping({"system_12": {key: value}})
            assert getattr(book.for_group("any", 12), key).value == value


# --- verdict ---------------------------------------------------------------------------------------------------------
UNITS = pd.DataFrame(
    {
        "unit": ["van", "truck"],
        "vehicle_class": ["light_van", "heavy_truck"],
        "system_v": [12, 24],
        "fuel": ["petrol", "diesel"],
        "cylinders": [4, 6],
    }
)
MEASURED = ("rest_v", "crank_min_v", "crank_a", "drop_positive_v", "drop_ground_v", "drop_contacts_v", "drop_control_v")


def readings(**columns: list[float]) -> pd.DataFrame:
    rows = len(next(iter(columns.values())))
    frame = pd.DataFrame({"unit": ["van"] * rows, "taken_at": pd.date_range("2024-01-01", periods=rows)})
    return frame.assign(temperature_c=20.0, **columns)


@pytest.mark.parametrize(
    ("column", "check", "passing", "watched", "acted"),
    [
        ("rest_v", "rest_v", 12.5, 12.3, 12.2),
        ("drop_positive_v", "drop_positive_v", 0.15, 0.18, 0.21),
        ("drop_ground_v", "drop_ground_v", 0.15, 0.18, 0.21),
        ("drop_contacts_v", "drop_contacts_v", 0.2, 0.27, 0.31),
        ("drop_control_v", "drop_control_v", 0.7, 0.9, 1.1),
        ("crank_rpm", "crank_rpm", 120, 80, 70),
    ],
)
def test_pass_watch_act(column: str, check: str, passing: float, watched: float, acted: float) -> None:
    judged = verdict(readings(**{column: [passing, watched, acted]}), UNITS)
    of_check = judged[judged["check"] == check].sort_values("row")
    assert of_check["verdict"].tolist() == ["pass", "watch", "act"]
    assert of_check["margin"].iloc[2] < 0 < of_check["margin"].iloc[1]
    assert (of_check["source"] != "").all()


def test_margins_in_volts_are_of_volts_alone_and_what_has_no_limit_is_not_judged() -> None:
    """The load-test table is printed down to -18 °C only: a reading at -30 °C is not held against it."""
    told = readings(rest_v=[12.6, 12.6], crank_min_v=[10.5, 10.5], crank_a=[180.0, 180.0], crank_rpm=[180.0, 180.0])
    judged = verdict(told.assign(temperature_c=[5.0, -30.0]), UNITS.assign(rated_cca_a=700.0))
    assert judged.loc[judged["check"] == LOAD_TEST_CHECK, "row"].tolist() == [0]
    assert {"V", "A", "rpm"} <= set(judged["value_unit"])
    assert (judged["margin_v"].notna() == (judged["value_unit"] == "V")).all()
    assert judged[["value", "limit", "margin"]].notna().all(axis=None)


def test_what_glow_plugs_draw_is_given_by_the_battery_too() -> None:
    """Worked by hand, Ohm's law: 3.0 V at 250 A and 50 A of glow plugs are 10 mΩ: 12.6 V - 350 A x 10 mΩ = 9.1 V at half of 700 A.
    In air warmer than the plugs need, and with none, the same fall is 12 mΩ: 8.4 V."""
    told = readings(rest_v=[12.6, 12.6], crank_min_v=[9.6, 9.6], crank_a=[250.0, 250.0]).assign(
        temperature_c=[-5.0, 8.0]
    )
    kind = UNITS.assign(rated_cca_a=700.0)
    plugs = verdict(told, kind.assign(aid_load_a=50.0, aid_below_c=3.0)).set_index("check").loc[LOAD_TEST_CHECK]
    assert plugs.sort_values("row")["value"].tolist() == [pytest.approx(9.1), pytest.approx(8.4)]
    assert verdict(told, kind).set_index("check").loc[LOAD_TEST_CHECK, "value"].tolist() == [pytest.approx(8.4)] * 2


def test_what_is_said_of_rest_volts_knows_an_agm_battery() -> None:
    """An AGM battery rests 0.15 V per 12 V higher as charged (12.8 V full, 12.4 V half), from memory; EFB as flooded (the same acid).
    What a user set for a class is taken as it stands, whichever battery it is."""
    told = readings(rest_v=[12.65, 12.5, 12.3])
    by_type = {
        kind: verdict(told, UNITS.assign(battery_type=kind)).sort_values("row")["verdict"].tolist()
        for kind in ("", "flooded", "EFB", "AGM")
    }
    assert by_type.pop("AGM") == ["pass", "watch", "act"]
    assert set(map(tuple, by_type.values())) == {("pass", "pass", "watch")}
    bus = default_limits(24, battery_type="AGM")
    assert (bus.rest_watch_v.value, bus.rest_act_v.value) == pytest.approx((25.20, 24.78))
    assert "from memory" in bus.rest_act_v.source
    own = limits_from_mapping({"vehicle_class": {"light_van": {"rest_act_v": 12.2}}})
    assert own.for_group("light_van", 12, battery_type="AGM").rest_act_v.value == 12.2


def test_the_load_test_of_past_readings_knows_an_agm_battery() -> None:
    """13.0 V is an AGM battery at rest, and a flooded one with 0.15 V of surface charge (12.85 V): at 360 A, half of 720 A, a fall
    of 2.0 V at 180 A leaves the one 9.0 V and the other 12.85 - 1.85 x 2 = 9.15 V, by hand."""
    told = readings(rest_v=[13.0], crank_min_v=[11.0], crank_a=[180.0])
    kind = UNITS.assign(rated_cca_a=720.0)
    held = [
        verdict(told, kind.assign(battery_type=built)).set_index("check").loc[LOAD_TEST_CHECK, "value"]
        for built in ("AGM", "flooded")
    ]
    assert held == pytest.approx([9.0, 9.15])


def test_cold_morning_amps_blame_no_cable() -> None:
    """0.24 V at 300 A is 0.8 mΩ: good at the 150 A the class takes, where 0.2 V are printed (0.40 V at 300 A, by hand)."""
    judged = verdict(readings(drop_ground_v=[0.24], crank_a=[300.0]), UNITS, class_crank_a={"light_van": 150.0})
    row = judged.set_index("check").loc["drop_ground_v"]
    assert (row["verdict"], row["limit"], row["margin_v"]) == ("pass", pytest.approx(0.40), pytest.approx(0.16))
    assert "0.40 V at 300 A" in held_to(judged.set_index("check", drop=False).loc["drop_ground_v"])


def test_low_amps_excuse_no_cable() -> None:
    """0.18 V at 90 A is 0.30 V at 150 A, by hand; where the class is not known, the limit is as printed."""
    low = readings(drop_ground_v=[0.18], crank_a=[90.0])
    known = verdict(low, UNITS, class_crank_a={"light_van": 150.0}).set_index("check")
    assert known.loc["drop_ground_v", "verdict"] == "act"
    assert known.loc["drop_ground_v", "limit"] == pytest.approx(0.12)
    assert verdict(low, UNITS).set_index("check").loc["drop_ground_v", "verdict"] == "watch"


def test_amps_and_speed_are_judged_at_their_temperature() -> None:
    """What the class shows at -20 °C, not in the warm: 260 A and 90 rpm are sound there."""
    cold = readings(crank_a=[260.0], crank_rpm=[90.0])
    warm = verdict(cold, UNITS.assign(fuel="diesel"), class_crank_a={"light_van": 150.0}).set_index("check")["verdict"]
    assert (warm["crank_a_high"], warm["crank_rpm"]) == ("watch", "act")
    here = cold.assign(usual_crank_a=250.0, usual_rpm=92.0)
    judged = verdict(here, UNITS.assign(fuel="diesel"), class_crank_a={"light_van": 150.0}).set_index("check")[
        "verdict"
    ]
    assert judged["crank_a_high"] == "pass"
    assert judged["crank_rpm"] != "act"
    words = held_to(verdict(here, UNITS.assign(fuel="diesel")).set_index("check", drop=False).loc["crank_rpm"])
    assert words == "at least 100 rpm, 78 rpm at this temperature", "0.85 x 92 rpm, by hand: 90 rpm is not inside 100"


def test_a_reading_without_a_measurement_has_no_verdict_on_it() -> None:
    assert verdict(readings(rest_v=[np.nan]), UNITS).empty
    assert list(verdict(readings(rest_v=[np.nan]), UNITS).columns) == list(COLUMNS)
    assert verdict(readings(rest_v=[12.6]).iloc[:0], UNITS).empty


def test_unknown_unit_is_refused() -> None:
    with pytest.raises(ValueError, match="'van', which is not among units"):
        verdict(readings(rest_v=[12.6]), UNITS.iloc[1:])


def test_sentence_gives_value_limit_unit_and_source() -> None:
    row = verdict(readings(drop_ground_v=[0.43]), UNITS).iloc[0].to_dict()
    text = sentence(row)
    assert "0.43 V: act, 0.23 V outside the limit (ground side at most 0.2 V; TM 5-3820-256-24-4" in text


WHOLE = {
    "rest_v": 12.6, "crank_min_v": 10.9, "crank_a": 150.0, "crank_rpm": 160.0, "crank_s": 2.0, "drop_positive_v": 0.1,
    "drop_ground_v": 0.1, "drop_contacts_v": 0.1, "drop_control_v": 0.4, "coil_a": 9.0, "pull_in_a": 70.0, "feed_v": 12.4,
    "charging_v": 14.1, "crank_dip_v": 9.0,
}  # fmt: skip


def test_every_check_has_its_words_and_no_words_are_left_over() -> None:
    """All of what is judged of a whole reading, of a class whose amps are known and of one whose are not."""
    whole = readings(**{name: [value] for name, value in WHOLE.items()})
    known = [
        verdict(whole, UNITS.assign(rated_cca_a=640.0), class_crank_a=usual) for usual in (None, {"light_van": 150.0})
    ]
    assert {check for judged in known for check in judged["check"]} == set(CHECK_WORDS) == set(HELD_TO)
    for judged in known:
        assert not [
            said for row in judged.to_dict("records") for said in [held_to(row)] if "nan" in said or "{" in said
        ]


reading = st.fixed_dictionaries({name: st.floats(0.0, 30.0) | st.just(float("nan")) for name in MEASURED})


@examples(5)
@given(st.lists(reading, min_size=2, max_size=6), st.data())
def test_order_of_readings_is_irrelevant(rows: list[dict[str, float]], data: st.DataObject) -> None:
    when = pd.date_range("2024-01-01", periods=len(rows))
    frame = pd.DataFrame(rows).assign(unit="van", taken_at=when, temperature_c=5.0)
    places = data.draw(st.permutations(range(len(rows))))
    one, two = (
        verdict(f, UNITS).drop(columns="row").sort_values(["taken_at", "check"], ignore_index=True)
        for f in (frame, frame.iloc[places])
    )
    pd.testing.assert_frame_equal(one, two)


def test_the_share_of_a_drop_at_usual_amps_by_hand() -> None:
    """200 A usual: at 400 A half, at 100 A twice; hardly any amps, none measured or nothing usual known leave it; at 20 A
    (a tenth) as well. The smallest number there is divides nothing."""
    amps = np.array([400.0, 200.0, 100.0, 20.0, 1.1e-308, 0.0, np.nan])
    assert at_usual_share(amps, 200.0).tolist() == [0.5, 1.0, 2.0, 1.0, 1.0, 1.0, 1.0]
    assert at_usual_share(np.nan, 200.0, 250.0) == pytest.approx(0.8)
    assert at_usual_share(amps, np.nan).tolist() == [1.0] * 7


@examples(5)
@given(st.lists(reading, min_size=1, max_size=30))
def test_twice_the_volts_on_a_24_v_system_gets_the_same_verdict(rows: list[dict[str, float]]) -> None:
    """Printed limits for 24 V are twice the 12 V ones, at the same duty and amps."""
    book = limits_from_mapping({"vehicle_class": {"heavy_truck": {"duty": "light"}}})
    units = UNITS.assign(fuel="petrol", cylinders=4)
    base = pd.DataFrame(rows).assign(taken_at=pd.Timestamp("2024-01-01"), temperature_c=5.0)
    volts = [c for c in base if str(c).endswith("_v")]
    doubled = base.assign(**{str(c): 2 * base[c] for c in volts})
    usual = {"light_van": 200.0, "heavy_truck": 200.0}
    keys = ["row", "check"]
    van, truck = (
        verdict(f.assign(unit=u), units, book, class_crank_a=usual).set_index(keys).sort_index()
        for f, u in ((base, "van"), (doubled, "truck"))
    )
    truck = truck.reindex(van.index)
    on_edge = (van["margin"].abs() < 1e-6) | (truck["margin"].abs() < 1e-6)
    assert ((van["verdict"] == truck["verdict"]) | on_edge | _near_watch(van)).all()
    in_volts = van["value_unit"] == "V"
    np.testing.assert_allclose(truck["margin_v"][in_volts], 2 * van["margin_v"][in_volts], atol=1e-9)


def _near_watch(judged: pd.DataFrame) -> "pd.Series[bool]":
    """Values within rounding of the watch boundary, where doubling may move the last bit."""
    shares = np.array([0.8, 1.25])
    edges = judged["limit"].to_numpy()[:, None] * shares
    return pd.Series((np.abs(judged["value"].to_numpy()[:, None] - edges) < 1e-6).any(axis=1), index=judged.index)


def test_limits_and_keys_agree() -> None:
    assert set(LIMIT_KEYS) == {f.name for f in fields(default_limits(12))} - {"system_v", "duty", "fuel"}


def test_every_limit_that_can_be_set_is_read_somewhere() -> None:
    """Regression only: a limit that the user may set and that no module looks at would be a promise not kept."""
    folders = (Path(module.__file__).parents[1], Path(module.__file__).parents[2] / "dashboard")
    texts = [f.read_text() for folder in folders for f in folder.rglob("*.py") if f.name != "limits.py"]
    unread = [key for key in LIMIT_KEYS if not any(re.search(rf"\b{key}\b", text) for text in texts)]
    assert not unread


def test_what_a_start_needs_by_the_user_s_limits_is_what_the_class_is_held_to() -> None:
    """Worked by hand: 110 rpm and 16 V of a 24 V class are 110 rpm and 8 V per 12 V; other classes keep the printed ones."""
    book = limits_from_mapping({"vehicle_class": {"bus": {"least_cranking_rpm": 110, "supply_minimum_v": 16.0}}})
    units = pd.DataFrame(
        {"unit": ["a", "b"], "vehicle_class": ["bus", "van"], "system_v": [24, 12], "fuel": ["diesel", "petrol"]}
    )
    panel = make_panel(with_own_needs(units, book), pd.DataFrame({"unit": [], "taken_at": []}))
    mean, _ = need_priors(panel)
    assert panel.groups == ("bus 24 V", "van 12 V")
    assert mean.tolist() == [[110.0, 8.0, 7.0], [75.0, 7.2, 7.0]]


def test_what_an_engine_of_unknown_fuel_needs_is_what_a_reading_of_it_is_held_to() -> None:
    """75 rpm, the least of either kind, with a doubt that reaches to a diesel's 100 within one standard deviation: hypot(20, 25) by hand."""
    units = pd.DataFrame(
        {
            "unit": list("abcd"),
            "vehicle_class": ["bus", *["van"] * 3],
            "system_v": [24, 12, 12, 12],
            "fuel": ["", "", "petrol", "Gazole"],
        }
    )
    units = pd.concat([units, units.iloc[3:].assign(unit="e")])
    mean, sd = need_priors(make_panel(with_own_needs(units, LimitBook()), pd.DataFrame({"unit": [], "taken_at": []})))
    assert mean[:, 0].tolist() == [75.0, 100.0]
    assert mean[0, 0] == default_limits(24, fuel="").least_cranking_rpm.value
    assert sd[:, 0] == pytest.approx([32.0, 22.0], abs=0.02)


def test_what_a_class_burns_does_not_hang_on_the_order_of_its_vehicles() -> None:
    """Property: as many of either in either order: held to the diesel's need, the higher one."""
    one_way = pd.DataFrame(
        {"unit": list("abcd"), "vehicle_class": "van", "system_v": 12, "fuel": ["petrol", "diesel", "", "hybrid"]}
    )
    for units in (one_way, one_way.iloc[::-1]):
        mean, _ = need_priors(
            make_panel(with_own_needs(units, LimitBook()), pd.DataFrame({"unit": [], "taken_at": []}))
        )
        assert mean[:, 0].tolist() == [100.0]


def test_one_rule_says_what_a_class_burns_to_list_limits_and_bay(db: Database, tmp_path: Path) -> None:
    """Of five vans two are known, as diesels: a sixth that nobody knows of is held to a diesel's 100 rpm (workshop article), by the
    limits that are shown and at the vehicle too; one that burns gas to no more than any engine; a class of silent ones as well."""
    head, *_ = UNITS_FILE.splitlines()
    more = [f"K-{n},panel_van,12,{fuel},4,,harbour,2020-01-01" for n, fuel in enumerate(["", "", "", "CNG"], start=301)]
    (tmp_path / "more.csv").write_text("\n".join([head, *more, "K-401,bus,24,,6,,hill,2020-01-01"]) + "\n")
    assert import_paths(db, [tmp_path / "more.csv"], now=NOW).exit_code == 0
    kinds = [kind_of(db, "panel_van"), kind_of(db, "bus"), kind_of(db, "bus", 12), kind_of(db, "nobody's")]
    assert kinds == [(12, "diesel"), (24, ""), (12, "diesel"), (12, "diesel")]
    units = read_units(db)
    mean, _ = need_priors(make_panel(with_own_needs(units, LimitBook()), pd.DataFrame({"unit": [], "taken_at": []})))
    assert mean[:, 0].tolist() == [75.0, 100.0, 100.0], "bus, panel van, tractor"
    for unit, least in (("K-301", 100.0), ("K-304", 75.0), ("K-401", 75.0)):
        assert limits_for(unit_row(db, unit), LimitBook()).least_cranking_rpm.value == least
        assert record_reading(
            db,
            {"unit": unit, "taken_at": "2024-05-01T09:00", "temperature_c": "5", "crank_rpm": "88"},
            by="ben",
            now=NOW,
        ).stored
        readings, row = read_readings(db, units=[unit]), unit_row(db, unit)
        taken = latest_taken(db, row, readings, knowledge_from(db, row, before=pd.Timestamp(NOW)), LimitBook())
        assert taken is not None
        (speed,) = taken.check.limits.query("check == 'crank_rpm'").to_dict("records")
        assert speed["limit"] == least
        assert (speed["verdict"] == "act") == (least == 100.0)


def test_cranking_longer_than_the_limit_is_watched() -> None:
    readings = pd.DataFrame({"unit": ["a", "a"], "taken_at": pd.to_datetime(["2024-01-01", "2024-01-02"]),
                             "temperature_c": 10.0, "crank_s": [8.0, 12.0]})  # fmt: skip
    units = pd.DataFrame(
        {"unit": ["a"], "vehicle_class": ["van"], "system_v": [12], "fuel": ["diesel"], "cylinders": [4.0]}
    )
    judged = verdict(readings, units, limits_from_mapping({"system_12": {"longest_crank_s": 10}}))
    assert judged[["check", "verdict"]].to_numpy().tolist() == [
        ["crank_s", "pass"],
        ["crank_s", "watch"],
    ]


def test_a_limit_kept_by_an_earlier_version_that_is_none_any_more_is_passed_over(tmp_path: Path) -> None:
    db = open_database(tmp_path / "f.db")
    kept = {
        "system_12": {"typical_cranking_a": 200, "pull_in_v": 6.5},
        "vehicle_class": {"v": {"typical_cranking_a": 9}},
    }
    save_setting(db, "limits", kept, by="an earlier version")
    assert limit_book(db).own("v", 12) == {"pull_in_v": 6.5}
    with pytest.raises(ValueError, match="typical_cranking_a is not a limit"):
        parse_limits("[system_12]\ntypical_cranking_a = 200")
