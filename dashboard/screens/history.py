"""The past year's lists, worked out in the background with each day's own knowledge, for the fleet overview."""

import atexit
import json
import subprocess
import sys
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from threading import Lock
from typing import Any

import pandas as pd
import streamlit as st
from sqlite_utils import Database

from analysis.readings.outcomes import no_starts_on_record
from dashboard.desk.kept_assessment import program
from dashboard.desk.past_lists import REPORTED, past_report
from dashboard.judging.past_lists import past_lists
from dashboard.judging.process import give_way
from dashboard.judging.worker import Worker
from dashboard.screens.session import Key
from dashboard.words import fleet_words as say
from dashboard.words.plain_text import day as day_words
from ingest import store
from ingest.backups import written_beside

WAYS = "ways"
MONTHS = 12  # how far the overview looks back, one list a month; our choice
LATER_NICE = 10  # past lists give way to the screens by this much (19 is most); our choice


@dataclass
class Past:
    """Lists of past days as far as they are worked out; `failed` holds a sentence when that went wrong.

    ways: ways of working held against what happened, as `analysis.backtest.report` has them, once all lists are there.
    """

    days: tuple[date, ...]
    lists: dict[date, pd.DataFrame] = field(default_factory=dict)
    ways: list[dict[str, Any]] = field(default_factory=list)
    failed: str = ""

    @property
    def done(self) -> bool:
        """Whether all lists are there, or will never be."""
        return len(self.lists) == len(self.days) or bool(self.failed)

    def flagged(self) -> pd.DataFrame:
        """Vehicles on the lists: day, unit, depot, part."""
        frames = [frame.assign(day=pd.Timestamp(day)) for day, frame in sorted(self.lists.items())]
        columns = ["day", "unit", "depot", "part"]
        return pd.concat(frames, ignore_index=True)[columns] if frames else pd.DataFrame(columns=columns)


@dataclass
class Archive:
    """One worker for past lists, apart from the one that judges today."""

    pool: Worker = field(default_factory=Worker)
    lock: Lock = field(default_factory=Lock)
    found: dict[Key, Past] = field(default_factory=dict)

    def known(self, key: Key) -> Past | None:
        """The past year as seen from `key` if it is all there already, without beginning to work it out."""
        with self.lock:
            past = self.found.get(key)
            if past is None:
                past = Past(month_days(key.as_of))
                recall(key, past)
                if past.done:
                    self.found[key] = past
            return past if past.done else None

    def ask(self, key: Key) -> Past:
        """The past year as seen from `key`, begun if nobody asked before."""
        with self.lock:
            if key not in self.found:
                if len(self.found) > 2:
                    self.found.pop(next(iter(self.found)))
                past = Past(month_days(key.as_of))
                self.found[key] = past
                recall(key, past)
                if not past.done:
                    self.pool.submit(_work_out, key, past)
            return self.found[key]


def month_days(as_of: date) -> tuple[date, ...]:
    """The first days of the twelve months up to `as_of`, and `as_of` itself."""
    firsts = pd.date_range(end=pd.Timestamp(as_of), periods=MONTHS, freq="MS")
    days = sorted({*(stamp.date() for stamp in firsts), as_of})
    return tuple(days)


def made_of(key: Key) -> str:
    """What past lists depend on, as a text: what is in the database, the day, the horizon and the program."""
    return f"{key.version} {key.as_of} {key.horizon_days} {program()}"


def recall(key: Key, past: Past) -> None:
    """Take lists that were worked out before, where nothing that they depend on has changed."""
    try:
        kept = json.loads(kept_at(key).read_text(encoding="utf-8"))
    except (OSError, ValueError):  # not there, or cut short: they are worked out again
        return
    mine = kept.get(made_of(key), {})
    past.ways = mine.get(WAYS, [])
    for day, rows in mine.items():
        if day != WAYS and date.fromisoformat(day) in past.days:
            past.lists[date.fromisoformat(day)] = _frame_of(rows)


def keep(key: Key, past: Past) -> None:
    """Keep the lists beside the database, for the next start of the screens; where that cannot be, nothing is lost."""
    lists = {day.isoformat(): frame.to_numpy().tolist() for day, frame in past.lists.items()}
    body = {made_of(key): {**lists, WAYS: past.ways}}
    with suppress(OSError), written_beside(kept_at(key)) as part:
        part.write_text(json.dumps(body, ensure_ascii=False), encoding="utf-8")
        part.replace(kept_at(key))


def kept_at(key: Key) -> Path:
    """The file of past lists: what is looked at is no part of the database, and nothing is lost with it."""
    return Path(f"{key.path}-past-lists.json")


def _frame_of(rows: Sequence[Sequence[str]]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["unit", "depot", "part"]).astype("str")


def _work_out(key: Key, past: Past) -> None:
    """Let a process of its own do it, so that the screens stay quick; each list comes as one line."""
    command = [sys.executable, "-m", "dashboard.screens.history", key.path, str(key.horizon_days)]
    command += [day.isoformat() for day in past.days]
    pipe = subprocess.PIPE
    with subprocess.Popen(command, stdout=pipe, stderr=pipe, text=True, encoding="utf-8") as worker:
        atexit.register(worker.terminate)
        for line in worker.stdout or ():
            one = json.loads(line)
            if WAYS in one:
                past.ways = one[WAYS]
                continue
            past.lists[date.fromisoformat(one["day"])] = _frame_of(one["units"])
        said = worker.stderr.read() if worker.stderr else ""
    atexit.unregister(worker.terminate)
    if len(past.lists) < len(past.days):
        past.failed = say.PAST_NOT_WORKED_OUT.format(why=said.strip().splitlines()[-1] if said.strip() else say.STOPPED)
    else:
        keep(key, past)


def main(arguments: Sequence[str]) -> int:
    """Print the flagged vehicles of each day as one JSON line, and what the lists would have done: database, horizon [d], days."""
    give_way(LATER_NICE)
    path, horizon, *days = arguments
    db = store.open_database(path, create=False)
    dates = [pd.Timestamp(day) for day in days]
    earliest = db.query("SELECT taken_at FROM readings ORDER BY taken_at LIMIT 1")
    first = next((pd.Timestamp(row["taken_at"]) for row in earliest), pd.Timestamp.max)
    for day in (d for d in dates if d <= first):
        _print_line(day, pd.DataFrame(columns=["unit", "depot", "part"]))
    later = [d for d in dates if d > first]
    lists: list[pd.DataFrame] = []
    for one in past_lists(db, later, horizon_days=int(horizon), processes=1):
        rows = pd.DataFrame(one.rows)
        lists.append(rows[list(REPORTED)].assign(as_of=one.day))
        if len(lists) == len(later):  # before the last line, with which all is there
            ways = past_report(db, pd.concat(lists, ignore_index=True), horizon_days=int(horizon)).ways
            sys.stdout.write(json.dumps({WAYS: json.loads(ways.to_json(orient="records"))}) + "\n")
        _print_line(one.day, rows[rows["flagged"]])
    return 0


def _print_line(day: pd.Timestamp, units: pd.DataFrame) -> None:
    rows = units[["unit", "depot", "part"]].astype("str").to_numpy().tolist()
    sys.stdout.write(json.dumps({"day": f"{day:%Y-%m-%d}", "units": rows}, ensure_ascii=False) + "\n")
    sys.stdout.flush()


@st.cache_resource(show_spinner=False)
def archive() -> Archive:
    return Archive()


def in_words(counted: pd.DataFrame, by: str) -> str:
    """What the chart of past lists shows, in words; counted: day, `by` (in words), vehicles."""
    sums = counted.groupby("day", as_index=False)["vehicles"].sum()
    days, totals = [pd.Timestamp(str(d)) for d in sums["day"]], [int(n) for n in sums["vehicles"]]
    most = max(range(len(totals)), key=totals.__getitem__)
    now = counted[counted["day"] == days[-1]].sort_values("vehicles", ascending=False)
    each = ", ".join(f"{n} {name}" for name, n in zip(now[by], now["vehicles"], strict=True))
    return say.YEAR_ALT.format(
        by=by, first=totals[0], first_day=day_words(days[0]), most=totals[most], most_day=day_words(days[most]),
        last=totals[-1], last_day=day_words(days[-1]), each=f" ({each})" if each else "",
    )  # fmt: skip


def no_starts(repairs: pd.DataFrame, readings: pd.DataFrame, *, first: date, before: date) -> pd.DataFrame:
    """No-starts that happened from `first` to before `before`: day, unit, part ("" where no repair says), the latest first."""
    found = no_starts_on_record(repairs, readings)
    found = found[(found["date"] >= pd.Timestamp(first)) & (found["date"] < pd.Timestamp(before))]
    found = found.rename(columns={"date": "day"})[["day", "unit", "part"]]
    return found.sort_values(["day", "unit"], ascending=[False, True], ignore_index=True)


def issued_lists(db: Database, *, first: date, before: date) -> dict[date, pd.DataFrame]:
    """Lists issued from `first` to before `before`: the day from which each stood -> unit, part."""
    stood = "max(as_of, iif(version = 1, '', substr(issued_at, 1, 10)))"  # one issued again counts from when it was
    within = (first.isoformat(), before.isoformat())
    days = db.query(
        f"SELECT version, {stood} AS stood FROM weekly_lists WHERE stood >= ? AND stood < ? ORDER BY stood, version",
        within,
    )
    last = {str(row["stood"]): int(row["version"]) for row in days}
    rows = db.query(
        f"SELECT {stood} AS stood, version, json_extract(one.value, '$.unit') AS unit, json_extract(one.value, '$.part') AS part "
        f"FROM weekly_lists, json_each(weekly_lists.body, '$.units') AS one WHERE stood >= ? AND stood < ?",
        within,
    )
    listed: dict[str, list[tuple[str, str]]] = {day: [] for day in last}
    for row in rows:
        if last[row["stood"]] == row["version"]:
            listed[row["stood"]].append((str(row["unit"]), str(row["part"])))
    return {date.fromisoformat(d): pd.DataFrame(u, columns=["unit", "part"], dtype="str") for d, u in listed.items()}


def list_before(day: date, past: Past, issued: Mapping[date, pd.DataFrame]) -> date | None:
    """The day of the latest list, issued or worked out, before the end of `day`; None where there is none."""
    return max((d for d in {*past.days, *issued} if d <= day), default=None)


def which_list(happened: pd.DataFrame, past: Past, issued: Mapping[date, pd.DataFrame]) -> tuple[pd.Series, list[str]]:
    """For each no-start, the day of the list that `was_listed` looks at, and how that list came about."""
    last = [list_before(pd.Timestamp(day).date(), past, issued) for day in happened["day"]]
    how = ["" if one is None else say.AS_ISSUED if one in issued else say.AFTERWARDS for one in last]
    days = pd.Series(last, dtype=object, index=happened.index)
    return pd.to_datetime(days).astype("datetime64[us]"), how


def was_listed(happened: pd.DataFrame, past: Past, issued: Mapping[date, pd.DataFrame]) -> list[str]:
    """For each no-start, whether the vehicle stood on the latest list before, in words; an issued list goes first."""
    words = []
    known = {**past.lists, **issued}
    for row in happened.itertuples(index=False):
        last = list_before(pd.Timestamp(str(row.day)).date(), past, issued)
        if last is None:
            words.append(say.NO_LIST_YET)
            continue
        if last not in known:
            words.append(say.NOT_KNOWN if past.done else say.WORKED_OUT_NOW)
            continue
        listed = known[last]
        mine = listed[listed["unit"] == row.unit]
        if mine.empty:
            words.append(say.NO)
        else:
            words.append(say.YES if mine["part"].iloc[0] == row.part or not row.part else say.YES_OTHER_PART)
    return words


if __name__ == "__main__":
    from dashboard.desk.terminal import answered

    raise SystemExit(answered(lambda: main(sys.argv[1:])))
