"""Laws that travel: a fleet begins from another's, outweighs them by its own readings, and notices those of other vehicles.

Truth: means weighted by precision (textbook), files broken by hand, and a simulated fleet whose class is known.
"""

from __future__ import annotations

import json
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from samples_fleet import few_folder, fleet, fleet_folder, quick, tables_of
from samples_kept import assess as assess_kept

from analysis.forecast.learning import Look
from analysis.readings.choices import TRAVEL
from analysis.readings.taught import TaughtClass, pooled_usual, taught_class, unlike
from analysis.wear.paths import LIVES_D
from analysis.worklist.assess import Assessment, assess
from dashboard.cli.main import main
from dashboard.desk.reading_source import knowledge_from
from dashboard.desk.taught_laws import SETTING, laws_text, parse_laws
from ingest.records import read_settings, save_setting
from ingest.store import open_database, read_units

pytestmark = pytest.mark.usefixtures("compiled")  # as large fleets are judged


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Few looks at the past, for time: what travels is the same."""
    quick(monkeypatch)


@lru_cache(maxsize=1)
def judged() -> Assessment:
    """The small fleet at its end."""
    return assess_kept(tables_of(fleet()), as_of=pd.Timestamp(fleet().as_of))


def one() -> TaughtClass:
    """A class that the small fleet teaches."""
    return judged().teaches[0]


def test_what_is_written_is_read_again_to_the_last_digit() -> None:
    again = parse_laws(laws_text(judged()))
    for told, read in zip(judged().teaches, again, strict=True):
        assert told.plain() == read.plain()


def test_no_vehicle_place_or_person_is_in_the_file() -> None:
    text, made = laws_text(judged()), fleet()
    names = {*made.units["unit"], *made.units["depot"], *made.readings["technician"].dropna()}
    assert len(names) > 25
    assert [name for name in names if f'"{name}"' in text] == []


def test_a_mean_of_two_fleets_is_weighted_by_their_precision() -> None:
    """By hand, on the log scale: theirs 0.10² + 0.2²/4, ours 0.1²/n."""
    told = replace(one(), usual=np.full(7, 8.0), usual_spread=np.full(7, 0.2), vehicles=4)
    theirs, ours = TRAVEL.usual_sd**2 + 0.01, 0.01 / 2
    mean, spread = pooled_usual(told, 0, 6.0, 0.1, 2)
    share = ours / (ours + theirs)
    assert mean == pytest.approx(6.0 ** (1 - share) * 8.0**share)
    assert spread == 0.1
    assert pooled_usual(told, 0, float("nan"), 0.1, 0) == (8.0, 0.2), "what was never read here begins from there"
    assert pooled_usual(told, 0, 6.0, 0.1, 4000)[0] == pytest.approx(6.0, rel=0.001), "own readings outweigh it"
    assert pooled_usual(None, 0, 6.0, 0.1, 2) == (6.0, 0.1)


def test_another_kind_of_vehicle_is_noticed_and_the_same_kind_hardly_ever() -> None:
    """Of 400 fleets that differ as two fleets of one class are said to, hardly one is left out; twice the battery and half the amps is."""
    chance, told, many = np.random.default_rng(3), one(), [12] * 7
    told = replace(told, usual=np.full(7, 8.0), usual_spread=np.full(7, 0.12))
    spread = np.full(7, 0.12)
    alike = [
        unlike(told, 8.0 * np.exp(TRAVEL.usual_sd * np.sqrt(2.0) * chance.normal(size=7)), spread, many)
        for _ in range(400)
    ]
    assert sum(alike) <= 3, "one in a thousand, as stated"
    assert unlike(told, 8.0 * np.array([2.0, 1, 1, 1, 1, 0.5, 1]), spread, many)
    assert not unlike(told, 8.0 * np.array([2.0, 1, 1, 1, 1, 0.5, 1]), spread, [1] * 7), (
        "one vehicle says nothing of a class"
    )


def test_a_class_never_read_here_begins_from_there() -> None:
    """Usual values, needs and growth are the other fleet's, not those of print; classes of other names stay as they are."""
    tables = tables_of(fleet())
    told = replace(
        one(), needs=np.array([81.0, 7.0, 6.5]), needs_se=np.array([4.0, 0.2, 0.2]), onset_per_year=np.full(7, 0.31)
    )
    without = tables.readings.iloc[:0]
    found = assess(
        replace(tables, readings=without, taught=(told,)), as_of=pd.Timestamp(fleet().as_of), with_classes=False
    )
    plain = assess(replace(tables, readings=without), as_of=pd.Timestamp(fleet().as_of), with_classes=False)
    g = found.state.panel.groups.index(told.name)
    known = np.isfinite(told.usual)
    np.testing.assert_allclose(found.state.laws.base[g][known], told.usual[known])
    assert found.state.growth_laws.prior[g].onset_per_year == pytest.approx(told.onset_per_year)
    assert [t.name for t in found.begun.used] == [told.name]
    others = [k for k in range(len(found.state.panel.groups)) if k != g]
    np.testing.assert_array_equal(found.state.laws.base[others], plain.state.laws.base[others])
    assert found.begun.unlike == ()


def test_laws_of_other_vehicles_under_the_same_name_are_left_out_and_change_nothing() -> None:
    tables, day = tables_of(fleet()), pd.Timestamp(fleet().as_of)
    told = one()
    odd = replace(told, usual=3.0 * told.usual)
    found = assess(replace(tables, taught=(odd,)), as_of=day, with_classes=False)
    assert found.begun.unlike == (odd.name,)
    pd.testing.assert_frame_equal(found.units, judged().units)


@pytest.mark.nightly
def test_looks_made_before_laws_were_brought_are_made_again() -> None:
    """Looks shared between lists lie on the grids of their own beginning: the list is the same as without them."""
    tables, day = tables_of(fleet()), pd.Timestamp(fleet().as_of)
    told = tuple(replace(t, needs=t.needs * [0.8, 1.0, 1.0], needs_se=0.2 * t.needs_se) for t in judged().teaches)
    looks: dict[str, Look] = {}
    assess(tables, as_of=day, with_classes=False, looks=looks)
    assert looks
    begun = replace(tables, taught=told)
    shared = assess(begun, as_of=day, with_classes=False, looks=looks)
    pd.testing.assert_frame_equal(shared.units, assess(begun, as_of=day, with_classes=False).units)


def test_the_bay_leaves_out_what_the_list_leaves_out(tmp_path: Path) -> None:
    """Laws of other vehicles under the same name are no beginning of the class in the bay either."""
    db = open_database(fleet_folder(tmp_path))
    unit = next(u for u in read_units(db).to_dict("records") if f"{u['vehicle_class']} {u['system_v']} V" == one().name)
    day = pd.Timestamp(fleet().as_of)
    bare = knowledge_from(db, unit, before=day).laws.base
    save_setting(db, SETTING, [replace(one(), usual=3.0 * one().usual).plain()], by="m")
    np.testing.assert_array_equal(knowledge_from(db, unit, before=day).laws.base, bare)
    save_setting(db, SETTING, [replace(one(), usual=1.05 * one().usual).plain()], by="m")
    assert (knowledge_from(db, unit, before=day).laws.base != bare).any(), "what fits is the beginning there too"


BROKEN: tuple[tuple[Any, str], ...] = (
    ("{", "not valid JSON"),
    ("[" * 100_000, "not valid JSON"),
    ("[]", "holds no class laws"),
    ({"kind": "class laws", "version": 2, "classes": []}, "version 2"),
    ({"kind": "class laws", "version": 1, "classes": [3]}, "no name"),
    ({"name": ""}, "no name"),
    ({"vehicles": -1}, "whole numbers"),
    ({"vehicles": True}, "whole numbers"),
    ({"usual": [1.0]}, "7 numbers"),
    ({"usual": "x"}, "7 numbers"),
    ({"needs": [None, 1.0, 1.0]}, "no number up to a million"),
    ({"battery": [1e9, 0.0]}, "no number up to a million"),
    ({"usual": [-1.0] * 7}, "below nil"),
    ({"life_share": [[1.0] * len(LIVES_D)] * 7}, "sum to one"),
    ({"load_covariance": [[1.0, 5.0], [5.0, 1.0]]}, "no covariance"),
)


@pytest.mark.parametrize(("what", "said"), BROKEN, ids=[said for _, said in BROKEN])
def test_a_file_that_is_none_is_refused_in_one_sentence(what: Any, said: str) -> None:
    if isinstance(what, dict) and "kind" not in what:
        what = {"kind": "class laws", "version": 1, "classes": [one().plain() | what]}
    with pytest.raises(ValueError, match=said) as refused:
        parse_laws(what if isinstance(what, str) else json.dumps(what))
    assert "\n" not in str(refused.value)
    assert len(str(refused.value)) < 200


def test_a_file_that_holds_more_of_growth_is_read_without_it() -> None:
    """Files of before hold shares of four powers of growth as well."""
    told = one().plain()
    body = {"kind": "class laws", "version": 1, "classes": [told | {"power_share": [[0.25] * 4] * 7}]}
    assert [read.plain() for read in parse_laws(json.dumps(body))] == [told]


def test_a_class_twice_is_refused() -> None:
    body = {"kind": "class laws", "version": 1, "classes": [one().plain()] * 2}
    with pytest.raises(ValueError, match="twice"):
        parse_laws(json.dumps(body))


def test_a_class_is_held_to_the_steps_of_growth_that_there_are() -> None:
    with pytest.raises(ValueError, match=f"7 x {len(LIVES_D) + 1} numbers"):
        taught_class(one().plain(), lives=len(LIVES_D) + 1)


@pytest.mark.nightly
def test_from_fleet_to_fleet_by_the_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Written once, never overwritten; brought in, said on the list, in the audit, and forgotten again."""
    db, file = str(few_folder(tmp_path)), tmp_path / "laws.json"
    day = ["--as-of", str(fleet().as_of)]
    assert main(["--db", db, "classes", "--export", str(file), *day]) == 0
    assert main(["--db", db, "classes", "--export", str(file), *day]) == 2
    assert "not overwritten" in capsys.readouterr().err
    assert main(["--db", db, "classes", "--import", str(file)]) == 0
    assert main(["--db", db, "risk", *day]) == 0
    assert "begin from what another fleet has learned" in " ".join(capsys.readouterr().out.split())
    assert main(["--db", db, "classes", "--import", str(tmp_path / "fleet.db")]) == 2
    assert "cannot be read as UTF-8" in capsys.readouterr().err
    assert len(read_settings(open_database(db))["taught_laws"]) > 0, "a refused file leaves the one before"
    assert main(["--db", db, "classes", "--forget"]) == 0
    assert main(["--db", db, "risk", *day]) == 0
    assert "another fleet" not in " ".join(capsys.readouterr().out.split())
