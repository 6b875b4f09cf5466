"""What every page needs: the database, the day, who is looking, and the assessment worked out in the background."""

import os
from collections.abc import Callable, Iterator
from concurrent.futures import Future, wait
from contextlib import ExitStack, contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from threading import Lock, RLock
from time import monotonic
from typing import Any, Concatenate, ParamSpec, TypeVar

import pandas as pd
import streamlit as st
from sqlite_utils import Database
from streamlit.runtime.scriptrunner import get_script_run_ctx

from analysis.readings.panel import in_service
from analysis.worklist.assess import Assessment
from dashboard.desk import act_log
from dashboard.desk.habits import DEGREES, Habits, in_force
from dashboard.desk.kept_assessment import judged_version
from dashboard.desk.rights import Act, Visitor
from dashboard.judging.process import assess_apart
from dashboard.judging.worker import Worker
from dashboard.screens import quiet, visitor
from dashboard.words import every_page as say
from dashboard.words.plain_text import safe
from dashboard.words.rights_words import BY_CODE
from ingest import store
from ingest.errors import IngestError
from ingest.fields import LONGEST_NAME
from ingest.records import read_settings

DATABASE_VARIABLE = "CRANKTREND_DB"
TODAY_VARIABLE = "CRANKTREND_TODAY"
DEMO_KEY = "demo_fleet"
HORIZON_D = 30
HORIZON_KEY = "horizon_days"
DEVICE_MEMORY = "device_memory"  # what the device remembers, see `device`
IDLE_KEPT = 4  # idle connections kept open, our choice
KEPT_ASSESSMENTS = 6  # assessments kept in memory at a time, our choice
RETRY_S = 60.0  # [s] after which a judgement that failed is begun again by itself, our choice
BESIDE = "judging"  # begins the key of a line that stands beside the page, so that the page does not move (`theme`)
PATIENCE_S = 0.25  # [s] that a page waits for figures before it shows those on record, our choice
ACT_S = 3.0  # [s] that a page waits for an act of the same visit to end, our choice
NAME = "name"  # who is looking, as it was typed
P = ParamSpec("P")
T = TypeVar("T")


def database_path() -> Path:
    """Where the database lies; the console command sets it."""
    return Path(os.environ.get(DATABASE_VARIABLE, "fleet.db"))


@dataclass
class Connections:
    """Open connections that are idle: one piece of work takes one, and gives it back."""

    lock: Lock = field(default_factory=Lock)
    idle: dict[tuple[str, int], list[Database]] = field(default_factory=dict)

    def take(self, path: Path) -> tuple[tuple[str, int], Database]:
        """A connection to the file at `path` as it is now, opened if none is idle."""
        if path.exists():
            key = (str(path), path.stat().st_ino)
            with self.lock:
                if self.idle.get(key):
                    return key, self.idle[key].pop()
        db = store.open_database(path)
        return (str(path), path.stat().st_ino), db

    def give_back(self, key: tuple[str, int], db: Database) -> None:
        """Keep an idle connection, at most IDLE_KEPT of them; whatever was begun and not ended is undone."""
        if db.conn.in_transaction:
            db.conn.rollback()
        with self.lock:
            if len(self.idle.setdefault(key, [])) < IDLE_KEPT:
                self.idle[key].append(db)
                return
        db.conn.close()


@st.cache_resource(show_spinner=False)
def connections() -> Connections:
    return Connections()


@dataclass
class Visit:
    """What one visit holds that is ours: `held`, and whether one of its acts is being done."""

    lock: RLock = field(default_factory=RLock)
    held: dict[str, Any] = field(default_factory=dict)


_AT_WORK: ContextVar[Visit | None] = ContextVar("at_work", default=None)


def _visit() -> Visit:
    if "visit" not in st.session_state:
        st.session_state["visit"] = Visit()
    mine: Visit = st.session_state["visit"]
    return mine


def held() -> dict[str, Any]:
    """What this visit holds from one drawing of a page to the next, beside what stands in fields."""
    at_work = _AT_WORK.get()
    return (at_work or _visit()).held


@contextmanager
def in_one_piece() -> Iterator[None]:
    """An act that is done to its end, what is said of it included; one at a time in a visit.

    A click during a run makes the framework draw the page in another thread at once, and end the run that was overtaken
    at its next touch of the page or of `st.session_state`.  So an act begins with such a touch, alone, and has none after
    what it writes: what it has to say goes to `held`.
    """
    with _visit().lock:
        mark = _AT_WORK.set(_visit())
        try:
            yield
        finally:
            _AT_WORK.reset(mark)


def acts_ended() -> None:
    """Wait for an act that an overtaken run of this visit is at, so that this run says what became of it."""
    mine = _visit()
    if mine.lock.acquire(timeout=ACT_S):
        mine.lock.release()


@contextmanager
def database(act: Act | None = None, *, unit: str = "") -> Iterator[Database]:
    """A connection for one piece of work; no two sessions use the same one at a time.

    Without an act it only reads, and SQLite itself refuses to write.  With one it writes, and only for who may do that at
    this moment: NotAllowed otherwise.  This is the one door to the store; `unit` is the vehicle that the act is about.  What
    comes through it to write is logged, but for what a device remembers.
    """
    with ExitStack() as around:
        if act is not None:
            around.enter_context(in_one_piece())
        if act not in (None, Act.REMEMBER):
            around.enter_context(act_log.noted(database_path(), str(act), account=visitor.account(), about=unit))
        with _opened(act, unit) as db:
            yield db


def read(what: Callable[Concatenate[Database, P], T], *of: P.args, **more: P.kwargs) -> T:
    """What `what` reads of the database."""
    with database() as db:
        return what(db, *of, **more)


@contextmanager
def _opened(act: Act | None, unit: str) -> Iterator[Database]:
    """A connection that may do what the act may."""
    key, db = connections().take(database_path())
    try:
        store.only_read(db, on=True)
        if act is not None:
            visitor.now(db).check(act, unit)
            store.only_read(db, on=False)
        yield db
    finally:
        connections().give_back(key, db)


def may(act: Act, unit: str = "") -> bool:
    """Whether who is looking may do it, so that a page offers what can be done."""
    return looking().may(act, unit)


def looking() -> Visitor:
    return read(visitor.now)


@contextmanager
def saving(act: Act, *, unit: str = "") -> Iterator[Database]:
    """A connection to put something on record; what is refused is said, and the rest of the block is left out."""
    try:
        with database(act, unit=unit) as db:
            yield db
    except (IngestError, ValueError) as error:
        st.error(safe(error))


def settings() -> dict[str, object]:
    return read(read_settings)


def today() -> date:
    """The day it is: the clock's, the demo's own day, or what CRANKTREND_TODAY says."""
    told = os.environ.get(TODAY_VARIABLE)
    if told:
        return date.fromisoformat(told)
    demo = settings().get(DEMO_KEY)
    if isinstance(demo, dict) and isinstance(demo.get("as_of"), str):
        return date.fromisoformat(demo["as_of"])
    return date.today()


def now() -> datetime:
    """The clock's time on `today`."""
    return datetime.combine(today(), datetime.now().time().replace(microsecond=0))


def as_of() -> date:
    """The day whose knowledge is shown: chosen in the margin, else today."""
    chosen = st.session_state.get("as_of")
    return chosen if isinstance(chosen, date) else today()


def follow(key: str, newest: object) -> bool:
    """Let a choice that stood at the newest there was go on to `newest`; one made by hand stays.  True when it went on.

    To be called before the field `key` is drawn, with the value that it proposes.
    """
    seen, chosen = st.session_state.get(f"newest_{key}"), st.session_state.get(key)
    st.session_state[f"newest_{key}"] = newest
    if seen in (None, newest) or chosen not in (None, seen):
        return False
    st.session_state[key] = newest
    return True


def who() -> str:
    """Who is looking, as it goes on record: the account, else the name that was typed, and that a code let it in."""
    name = who_is_named() or say.NOT_NAMED
    return name if not visitor.how() or visitor.account() else f"{name[: LONGEST_NAME - len(BY_CODE) - 2]}, {BY_CODE}"


def who_is_named() -> str:
    """The name of who is looking: its account, else what was typed; "" where nobody said it."""
    return visitor.account() or str(held().get(NAME) or "")[:LONGEST_NAME]


def horizon_days() -> int:
    """Days that the probability of a no-start looks ahead."""
    chosen = settings().get(HORIZON_KEY, HORIZON_D)
    return chosen if isinstance(chosen, int) and not isinstance(chosen, bool) and 1 <= chosen <= 180 else HORIZON_D


def habits() -> Habits:
    """How who is looking reads degrees, distances and dates: chosen on this device, else by its depot, else for the fleet."""
    memory = held().get(DEVICE_MEMORY, {})
    meter, own = memory.get("meter"), memory.get("habits")
    own = own if isinstance(own, dict) else {}
    if isinstance(meter, dict) and isinstance(meter.get("fahrenheit"), bool):  # as this device's thermometer reads
        own = {"degrees": DEGREES[int(meter["fahrenheit"])], **own}
    return in_force(settings(), str(memory.get("depot", "")), own)


def fahrenheit() -> bool:
    return habits().fahrenheit


def date_format() -> str:
    """Day, month and year in the reader's order, as date fields and tables want it."""
    return habits().dates


# --- the assessment --------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Key:
    path: str
    version: str
    as_of: date
    horizon_days: int


@dataclass
class Judge:
    """One worker that lets assessments be made in the background; pages show the latest finished one meanwhile."""

    pool: Worker = field(default_factory=Worker)
    lock: Lock = field(default_factory=Lock)
    found: dict[Key, Future[Assessment]] = field(default_factory=dict)
    begun: dict[Key, float] = field(default_factory=dict)
    failed: dict[Key, float] = field(default_factory=dict)

    def ask(self, key: Key) -> Future[Assessment]:
        """The assessment of `key`, begun if nobody asked before, or if it failed a while ago."""
        with self.lock:
            if key in self.failed and monotonic() - self.failed[key] >= RETRY_S:
                self._forget(key)
            begins = key not in self.found
            if begins:
                while len(self.found) >= KEPT_ASSESSMENTS:
                    self._forget(next(iter(self.found)))
                self.begun[key] = monotonic()
                self.found[key] = self.pool.submit(_assess, key)
            future = self.found[key]
        if begins:  # without the lock: what has failed already is told at once, and that takes it
            future.add_done_callback(lambda done: self._ended(key, done))
        return future

    def try_again(self, key: Key) -> None:
        """Forget that the assessment of `key` failed, so that it is begun again when it is asked for."""
        with self.lock:
            if key in self.failed:
                self._forget(key)

    def failure(self, key: Key) -> tuple[str, float] | None:
        """Why the assessment of `key` failed, and the seconds until it is begun again by itself; None if it did not."""
        with self.lock:
            future, when = self.found.get(key), self.failed.get(key, monotonic())
        if future is None or not future.done() or future.cancelled() or future.exception() is None:
            return None
        return str(future.exception()), max(0.0, RETRY_S - (monotonic() - when))

    def _forget(self, key: Key) -> None:
        self.found.pop(key).cancel()
        self.begun.pop(key, None)
        self.failed.pop(key, None)

    def _ended(self, key: Key, future: Future[Assessment]) -> None:
        if future.cancelled() or future.exception() is None:
            return
        with self.lock:
            if self.found.get(key) is future:
                self.failed[key] = monotonic()

    def asked_s(self, key: Key) -> float:
        """Seconds since the assessment of `key` was first asked for; 0 when nobody did."""
        with self.lock:
            return monotonic() - self.begun.get(key, monotonic())

    def key_of_found(self, assessment: Assessment) -> Key | None:
        """The key that an assessment was made for; None for one made elsewhere."""
        with self.lock:
            for key, future in self.found.items():
                if _made(future) and future.result() is assessment:
                    return key
        return None

    def latest(self, key: Key) -> Assessment | None:
        """The newest finished assessment of the same database, day and horizon, whatever was written since."""
        with self.lock:
            for other, future in reversed(self.found.items()):
                same = (other.path, other.as_of, other.horizon_days) == (key.path, key.as_of, key.horizon_days)
                if same and _made(future):
                    return future.result()
        return None


def _made(future: Future[Assessment]) -> bool:
    return future.done() and not future.cancelled() and future.exception() is None


def _assess(key: Key) -> Assessment:
    return assess_apart(key.path, key.as_of, key.horizon_days)


@st.cache_resource(show_spinner=False)
def judge() -> Judge:
    return Judge()


def written() -> str:
    """A text that changes with everything that is put on record."""
    return read(store.data_version)


def key_of(day: date | None = None) -> Key:
    shown = day or as_of()
    version = read(judged_version, shown)
    return Key(str(database_path().resolve()), version, shown, horizon_days())


def has_vehicles() -> bool:
    with database() as db:
        return any(db.query("SELECT 1 FROM units LIMIT 1"))


def has_readings(day: date) -> bool:
    """Whether a reading was taken before `day`."""
    with database() as db:
        return any(db.query("SELECT 1 FROM readings WHERE taken_at < ? LIMIT 1", [day.isoformat()]))


def begin_judging(day: date | None = None) -> None:
    """Let the worker start, so that the next click need not wait; `day` is the day shown unless told."""
    shown = day or as_of()
    if has_readings(shown) and read(store.any_in_service, shown):
        judge().ask(key_of(day))


def assessment(*, patient: bool = True) -> Assessment | None:
    """The assessment for the day shown: fresh if ready, else an earlier one of that day, else waited for.

    None where there is no vehicle or no reading before the day, or (with `patient` off) where none is ready soon.
    """
    if not has_vehicles() or not has_readings(as_of()):
        return None
    if not read(store.any_in_service, as_of()):
        st.info(say.NONE_IN_SERVICE)
        return None
    key = key_of()
    future, line = judge().ask(key), st.container(key=f"{BESIDE}_newer")
    if future.done() and judge().failure(key) is None:
        return future.result()
    earlier = judge().latest(key)
    if earlier is not None:
        with line:
            fresh_when_ready(key)
        return earlier
    if not patient:
        ready = wait([future], timeout=PATIENCE_S).done and judge().failure(key) is None
        return future.result() if ready else None
    return judged(key)


def judged(key: Key) -> Assessment:
    """The assessment of `key`, waited for; JudgingFailed when it cannot be had."""
    with st.spinner(say.JUDGING, show_time=True):
        return judge().ask(key).result()


def draw_again(key: str) -> None:
    """Draw the page again once nobody is at work on it; `key` tells the fragments apart that ask for it.

    From a fragment's own tick only: a run of the whole page may carry a click not read yet.
    """
    running = get_script_run_ctx()
    if running is not None and running.fragment_ids_this_run and quiet.now(key):
        st.rerun()


@st.fragment(run_every=2.0)
def fresh_when_ready(key: Key, *, words: str = say.JUDGING_NEWER) -> None:
    """A line saying what is being worked out and since when; the page is drawn again when that is done.

    Where it failed: why, when it is begun again by itself, and a button that begins it at once.
    """
    future = judge().ask(key)
    failed = judge().failure(key)
    if failed is not None:
        why, in_s = failed
        st.error(say.TRIED_AGAIN.format(why=safe(why), seconds=in_s))
        if st.button(say.TRY_AGAIN, key="judge_again"):
            judge().try_again(key)
            st.rerun()
        return
    if future.done():
        draw_again("judged")
        st.caption(f":material/hourglass_bottom: {say.NEWER_THERE}")
        return
    st.caption(f":material/hourglass_top: {words} {say.SO_FAR.format(seconds=judge().asked_s(key))}")


# --- small reads that pages share ------------------------------------------------------------------------------------


@st.cache_resource(show_spinner=False, max_entries=4)
def _units(path: str, version: str) -> pd.DataFrame:  # noqa: ARG001 - the version is the cache's key
    with store.open_database(path) as db:
        return store.read_units(db)


def units(day: date | None = None) -> pd.DataFrame:
    """The vehicles, for reading only, those that left service too; `day` is the day shown unless told."""
    key = key_of(day)
    return _units(key.path, key.version)


def units_in_service(day: date | None = None) -> pd.DataFrame:
    """The vehicles that are in service on a day, the day shown unless told."""
    every = units(day)
    return every[in_service(every, pd.Timestamp(day or as_of()))]
