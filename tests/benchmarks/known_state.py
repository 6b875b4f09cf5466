"""How much of what can be foreseen the lists foresee, on every evaluation fleet: beside two monitors that know more than can be known.

    python tests/benchmarks/known_state.py [loggers] [SEED ...]      some five minutes a seed

Both know the weather's law and take each vehicle's true coldest start to stay as it is: one that of this morning, the other that of
the vehicle's latest service, as if it had been measured there without any error (this morning's where something was renewed since, or nothing was
read yet). What the second falls short of the first is what happens between two services, which no measurement at them tells; what the lists
fall short of the second is what measuring and reckoning lose. Both flag at 2 % in 60 days and name the part that is worst.

A row tells the share of no-starts caught and the false flags per 100 healthy vehicle-years, as `tests/test_recovery.py` counts them, and the
Brier skill for a no-start within 30 days.  With `loggers` the fleets are those of `coldest_ranges.py loggers`; what its loggers note is no service.
"""

from __future__ import annotations

import datetime as dt
import sys
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[2]))
from bench_travel import days_to_failure
from coldest_ranges import APART, LOGGED_UNITS, LOGGED_YEARS, SEEN_WEEKS, UNITS, LoggedRun
from samples_fleet import tables_of
from test_recovery import Score, score

from analysis.backtest.lists import backtest_lists
from analysis.backtest.reliability import skill
from analysis.kernel.ready import make_ready
from analysis.readings.panel import Floats
from demo_fleet.simulate import PARKING_C, WORKDAY_SHARE, WORN_ENOUGH, FleetRun
from demo_fleet.specs import FleetSpec, evaluation_specs
from demo_fleet.weather import Depot, make_weather

LISTS, EVERY_D, HORIZON_D, FLAG_D, FLAG_P = 24, 28, 30, 60, 0.02
WINTERS, NEAR_D, STEP_D = 120, 4, 3
"""Years of weather from which windows are taken: so near to a day of the year, and every so many of these."""
FIRST = dt.date(1900, 1, 1)
RENEWED_K = 1.0
"""A coldest start so much colder than at the latest service is that of a vehicle of which something was renewed [K]."""
LIST, SERVICE, TODAY = "these lists", "knows each service", "knows this morning"


@cache
def weather_of(depots: tuple[Depot, ...]) -> Floats:
    """(days, depots) lows that their climates bring."""
    return make_weather(depots, FIRST, int(WINTERS * 365.25), np.random.default_rng(5)).low_c


def windows(spec: FleetSpec, day: pd.Timestamp) -> Floats:
    """(W, 60, depots) lows that could come from a day on."""
    low = weather_of(spec.depots)
    away = (pd.date_range(FIRST, periods=len(low)).day_of_year.to_numpy() - day.day_of_year + 182) % 365 - 182
    begins = np.flatnonzero(np.abs(away) <= NEAR_D)[::STEP_D]
    return np.stack([low[k : k + FLAG_D] for k in begins if k + FLAG_D <= len(low)])


def chances(cold_c: Floats, depot: Floats, lows: Floats) -> Floats:
    """(2, U) chance of a no-start within the horizon and within the flag's days, with coldest starts (U,) that stay as they are."""
    out = np.zeros((2, len(cold_c)))
    parked = PARKING_C * np.random.default_rng(6).standard_normal(lows.shape[:2])
    for d in np.unique(depot):
        mine = np.flatnonzero(depot == d)
        stopped = (lows[:, :, d] + parked)[..., None] < cold_c[mine]
        for row, days in enumerate((HORIZON_D, FLAG_D)):
            out[row, mine] = (1.0 - (1.0 - WORKDAY_SHARE) ** stopped[:, :days].sum(axis=1)).mean(axis=0)
    return out


def lived(run: FleetRun, days: pd.DatetimeIndex) -> pd.DataFrame:
    """The run to its end: what both monitors say on the mornings of the lists, a row each vehicle and list."""
    visits, rows = run.setting.visits, []
    cold, worn = np.full(run.spec.units, np.nan), np.zeros(run.spec.units)

    def state() -> tuple[Floats, Floats, pd.Series[str]]:
        now = run.true_state()
        return now["coldest_start_c"].to_numpy(), now["severity"].to_numpy(), now["part"]

    for day in days:
        for number in range((run.today - run.spec.start).days, (day.date() - run.spec.start).days):
            first, last = np.searchsorted(visits.day, (number, number + 1))
            if last > first:
                run.advance(run.spec.start + dt.timedelta(days=number))
                read, now = visits.unit[first:last].astype(np.intp), state()
                cold[read], worn[read] = now[0][read], now[1][read]
        run.advance(day.date())
        cold_now, worn_now, part = state()
        own = np.isfinite(cold) & (cold <= cold_now + RENEWED_K)
        lows = windows(run.spec, day)
        known = {TODAY: (cold_now, worn_now), SERVICE: (np.where(own, cold, cold_now), np.where(own, worn, worn_now))}
        for who, (cold_c, wear) in known.items():
            soon, later = np.where(wear >= WORN_ENOUGH, chances(cold_c, run.setting.depot, lows), 0.0)
            said = {
                "who": who,
                "date": day,
                "unit": run.setting.names,
                "part": part,
                "p": soon,
                "flagged": later >= FLAG_P,
            }
            rows.append(pd.DataFrame(said))
    run.advance(run.spec.end)
    return pd.concat(rows, ignore_index=True)


def beside(spec: FleetSpec, *, loggers: bool) -> tuple[pd.DataFrame, dict[str, Score]]:
    """Of a fleet, chances and what came by monitor, and how each scores."""
    own = {"units": LOGGED_UNITS, "interval_weeks": SEEN_WEEKS} if loggers else {"units": UNITS}
    spec = replace(spec, years=LOGGED_YEARS, **own)
    run = LoggedRun(spec) if loggers else FleetRun(spec)
    days = pd.date_range(
        end=pd.Timestamp(spec.end) - pd.Timedelta(days=HORIZON_D + 1), periods=LISTS, freq=f"{EVERY_D}D"
    )
    known = lived(run, days)
    fleet = run.fleet()
    tables = run.with_noted(tables_of(fleet)) if isinstance(run, LoggedRun) else tables_of(fleet)
    issued = backtest_lists(tables, days, horizon_days=HORIZON_D)
    columns = ["unit", "part", "flagged", "no_start_probability"]
    lists = pd.concat([found.units[columns].assign(date=day, who=LIST) for day, found in issued])
    every = pd.concat([lists.rename(columns={"no_start_probability": "p"}), known], ignore_index=True)
    judged = lists.set_index(["unit", "date"]).index
    every = every[pd.MultiIndex.from_frame(every[["unit", "date"]]).isin(judged)].reset_index(drop=True)
    every["came"] = days_to_failure(fleet, every) < HORIZON_D
    return every, {str(who): score(fleet, some) for who, some in every.groupby("who")}


def told(rows: pd.DataFrame, scores: dict[str, list[Score]]) -> str:
    """A line: of each monitor no-starts caught, false flags, Brier skill."""
    out = []
    for who in (LIST, SERVICE, TODAY):
        some, own = rows[rows["who"] == who], scores[who]
        caught = sum(one.caught * one.no_starts for one in own) / max(sum(one.no_starts for one in own), 1)
        false = 100.0 * sum(one.false_flags for one in own) / sum(one.healthy_years for one in own)
        gained = skill(some["p"].to_numpy(), some["came"].to_numpy(np.float64))
        out.append(f"{who} {caught:.2f} / {false:4.1f} / {gained:+.3f}")
    return "; ".join(out)


def main() -> None:
    """A line a fleet and seed, and of all of them."""
    seeds = [int(word) for word in sys.argv[1:] if word.isdigit()] or [1]
    make_ready(lambda: print("compiling", file=sys.stderr))
    every, scores = [], dict[str, list[Score]]()
    print("share of no-starts caught / false flags per 100 healthy vehicle-years / Brier skill for 30 days")
    for seed in seeds:
        for place, spec in enumerate(evaluation_specs()):
            rows, scored = beside(replace(spec, seed=APART * seed + place), loggers="loggers" in sys.argv)
            every.append(rows)
            for who, one in scored.items():
                scores.setdefault(who, []).append(one)
            print(f"{spec.name:20s} {seed}: {told(rows, {who: [one] for who, one in scored.items()})}", flush=True)
    print(f"{'all':20s}  : {told(pd.concat(every), scores)}")


if __name__ == "__main__":
    main()
