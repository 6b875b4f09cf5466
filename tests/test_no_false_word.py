"""Whatever a fleet holds, nothing impossible is said of it, and nothing that contradicts a figure beside it.

Truth: laws of physics and of probability, and the list's own figures, on random small fleets at the edges of what a
workshop may bring and on every week of the demo.
"""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import samples_kept
from samples_chance import one_in
from samples_fleet import demo, quick
from samples_odd import AS_OF, KINDS, USUAL, odd_fleet

from analysis.forecast.learning import Look
from analysis.readings.panel import FleetTables
from analysis.worklist.assess import Assessment, assess
from dashboard.desk.assessment import list_rows
from dashboard.words.choices import SAYING
from dashboard.words.plain_text import STARTS_ALWAYS_C
from demo_fleet.scenario import AS_OF as DEMO_DAY

SEEDS = (0, *(pytest.param(seed, marks=pytest.mark.nightly) for seed in range(1, 6)))
STATED = {20.0, 80.0, -44.0, 30.0}  # reference temperature, the range's share, the ends of the scale
NUMBER = re.compile(r"(?<![\w−-])(−?\d+(?:\.\d+)?)(?=\s|[;,:)%]|$)")


def judged(tables: FleetTables, day: pd.Timestamp = AS_OF) -> tuple[Assessment, list[dict]]:
    """The assessment and all rows of the list."""
    assessed = samples_kept.assess(tables, as_of=day)
    return assessed, list_rows(assessed, tables.readings, flagged_only=False)


def figures(value: object) -> list[float]:
    """Every number that a fact holds, a part's share in per cent too, and the parts of its dates."""
    if isinstance(value, dict):
        return [n for key, v in value.items() for n in (_share(v) if "probability" in key else figures(v))]
    if isinstance(value, list):
        return [n for v in value for n in figures(v)]
    if isinstance(value, bool) or value is None:
        return []
    if isinstance(value, int | float):
        return [float(value)]
    day = re.fullmatch(r"(\d{4})-(\d{2})-(\d{2})", str(value))
    return [float(g) for g in day.groups()] if day else []


def _share(value: object) -> list[float]:
    return [100.0 * float(value)] if isinstance(value, int | float) else []


def said_of(fact: dict, sentence: str) -> None:
    """Every number of the sentence is one of its fact's, to the digits that are shown."""
    known = [*figures(fact), *STATED]
    if fact["kind"] == "renewed":  # degrees gained are those between the two ends as they are shown
        end = max(fact["renewed_coldest_start_c"], STARTS_ALWAYS_C)
        known.append(round(round(end + fact["colder_k"], 1)) - round(end))
    for text in NUMBER.findall(sentence):
        shown = float(text.replace("−", "-"))
        digits = len(text.partition(".")[2])
        assert any(abs(shown - n) <= 0.51 * 10.0**-digits for n in known), (text, sentence, fact)


def hold(assessed: Assessment, rows: list[dict], readings: pd.DataFrame) -> None:
    """All that has to be true of any list."""
    parts = assessed.parts
    for name in ("level_mohm", "before_mohm", "usual_mohm"):
        assert (parts[name] > 0.0).all(), name
    assert (parts["level_mohm"] + parts["growth_mohm_per_month"] > 0.0).all()
    held = readings[readings["taken_at"] < assessed.as_of].groupby("unit").size()
    counted = parts.set_index(["unit", "part"])["readings"]
    units = assessed.units.set_index("unit")
    for row in rows:
        unit = units.loc[row["unit"]]
        assert row["readings_on_record"] == held.get(row["unit"], 0)
        assert unit["probability_low"] <= unit["no_start_probability"] <= unit["probability_high"]
        assert unit["coldest_start_low_c"] <= unit["coldest_start_c"] <= unit["coldest_start_high_c"]
        assert row["part"] is None or row["part_probability"] >= SAYING.named
        assert row["part"] is not None or not row["flagged"]
        assert len(row["reasons"]) == len(row["evidence"])
        for fact, sentence in zip(row["evidence"], row["reasons"], strict=True):
            said_of(fact, sentence)
            assert not re.search(r"nan|None|_|\binf\b", sentence), sentence
            if fact["kind"] in ("level", "misfit", "again"):
                assert counted[(row["unit"], fact["part"])] > 0, sentence
            if fact["kind"] == "level" and "drop_at_a" in fact and fact["drop_v"] > 0.05:
                mohm = 1e3 * fact["drop_v"] / fact["drop_at_a"]
                assert 0.5 < mohm / fact["level"] < 2.0, sentence
            if fact["kind"] == "never_measured":
                assert counted[(row["unit"], fact["part"])] == 0
            if fact["kind"] == "too_few":
                assert fact["readings_on_record"] == held.get(row["unit"], 0)
            if fact["kind"] == "perhaps_repaired":
                assert counted[(row["unit"], row["part"])] > 0
            if fact["kind"] == "renewed":
                assert unit["coldest_start_c"] > STARTS_ALWAYS_C


def cold_and_risk_agree(assessed: Assessment, low_c: float) -> None:
    """A vehicle that in the middle does not start at the coming usual low is at risk, one far below it is not.

    Loose, because the coldest of 30 mornings is some 6 K below the usual low, and probabilities are calibrated.
    """
    units = assessed.units[assessed.units["failed_starts"] == 0]
    warm = units[units["coldest_start_c"] > low_c]
    assert (warm["no_start_probability"] > 0.25).all()
    sound = units[units["coldest_start_high_c"] < low_c - 25.0]
    assert (sound["no_start_probability"] < 0.1).all()


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """What was learned of the class matters little here: one look at the past does."""
    quick(monkeypatch)


@pytest.mark.parametrize("kind", one_in(2, KINDS))
@pytest.mark.parametrize("seed", SEEDS)
def test_nothing_impossible_is_said_of_any_fleet(kind: str, seed: int) -> None:
    """Property: no resistance below nil or without a reading behind it, every figure of a sentence from a field beside
    it, nothing that contradicts it."""
    tables = odd_fleet(kind, seed)
    assessed, rows = judged(tables)
    hold(assessed, rows, tables.readings)
    if len(tables.climate):
        cold_and_risk_agree(assessed, -4.0)


def test_what_was_renewed_and_is_over_its_limit_again_is_said_to_have_been_renewed() -> None:
    """Contacts of four vans, 0.12 V sound, limit 0.3 V: A's were renewed by a record of 4 July, B's by their readings alone, both are at
    0.6 V by now; C and D never wore."""
    ago_d, drops = (330, 290, 250, 210, 170, 130, 100, 70, 40, 20, 8), (12, 20, 30, 42, 50, 12, 12, 13, 35, 50, 60)
    made, rng = odd_fleet("usual", 0), np.random.default_rng(3)
    units = pd.concat([made.units.iloc[:1].assign(unit=u, vehicle_class="van") for u in "ABCD"], ignore_index=True)
    readings = pd.concat(
        [
            made.readings.iloc[:1].assign(unit=u, taken_at=AS_OF - pd.Timedelta(days=ago - 0.3), temperature_c=10.0)
            .assign(**{name: value * (1.0 + 0.03 * rng.standard_normal()) for name, value in USUAL.items() if name != "rest_v"})
            .assign(rest_v=USUAL["rest_v"], **({"drop_contacts_v": drop / 100.0} if u in "AB" else {}))
            for u in "ABCD" for ago, drop in zip(ago_d, drops, strict=True)
        ]
    )  # fmt: skip
    new = {"unit": "A", "done_on": pd.Timestamp("2025-07-04"), "part": "solenoid_contacts", "action": "replaced"}
    tables = replace(
        made,
        units=units,
        readings=readings.sort_values("taken_at", ignore_index=True),
        repairs=pd.DataFrame([new | {"reason": "preventive"}]),
    )
    assessed, rows = judged(tables)
    hold(assessed, rows, tables.readings)
    said = {
        row["unit"]: [s for f, s in zip(row["evidence"], row["reasons"], strict=True) if f["kind"] == "again"]
        for row in rows
    }
    assert "work on the solenoid contacts is on record on 4 July, and they are over their limit again" in said["A"][0]
    (found,) = assessed.resets.to_dict("records")
    assert (found["unit"], found["part"]) == ("B", "solenoid_contacts")
    assert f"renewed around {found['around_on']:%-d %B}, though no repair is on record" in said["B"][0]
    assert said["C"] == said["D"] == []


def test_a_constant_good_drop_alone_condemns_nobody() -> None:
    """Worked by hand: 0.08 V at 180 A on every reading for two years: no flag, no failure foretold, no repair suspected."""
    tables = odd_fleet("constant", 2)
    only = tables.readings.copy()
    for name in only.columns:
        if only[name].dtype == np.float64 and name not in ("temperature_c", "drop_ground_v"):
            only[name] = np.nan
    assessed, rows = judged(FleetTables(tables.units, only, tables.repairs, tables.climate, tables.forecast))
    hold(assessed, rows, only)
    for row in rows:
        assert not row["flagged"]
        assert not any("failed by now" in sentence for sentence in row["reasons"])


@pytest.mark.slow
@pytest.mark.nightly  # one more fleet for what is held of every kind of small fleet above
def test_nothing_impossible_is_said_on_the_demos_dates() -> None:
    """Property, on the demo operator's 144 vehicles: every eighth week of almost three years, and its own day."""
    made = demo().fleet()
    tables = FleetTables(made.units, made.readings, made.repairs, made.climate, made.forecast)
    looks: dict[str, Look] = {}
    for day in pd.date_range(end=pd.Timestamp(DEMO_DAY), periods=18, freq="56D"):
        assessed = assess(tables, as_of=day, with_classes=False, looks=looks)
        rows = list_rows(assessed, tables.readings, flagged_only=False)
        hold(assessed, rows, tables.readings)
