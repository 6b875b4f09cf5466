"""The page that brings files in: every file is told of, green means that all is in, and an import can be stopped.

Truth: the files given to it here.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
import signal
import tempfile
import time
from pathlib import Path

import pytest
from samples_screens import assess_here, one_reading_database, shown
from streamlit.testing.v1 import AppTest
from test_views import run, said

from dashboard.judging import importing
from dashboard.judging.importing import Import, Order, Teller, begin
from ingest import store
from ingest.errors import FileRefused

HEADING = "unit,taken_at,rest_v,crank_min_v,crank_a,temperature_c"
UNITS = b"unit,vehicle_class,system_v,fuel,depot\nX-2,van,12,diesel,yard\n"


@pytest.fixture
def database(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    return shown(monkeypatch, one_reading_database(tmp_path / "fleet.db"), assess_here)


def readings(*days: int, volts: float = 12.6) -> bytes:
    return "\n".join([HEADING, *(f"X-1,2026-10-{day:02d}T07:00:00,{volts},10.9,200,4" for day in days), ""]).encode()


def bring_in(*files: tuple[str, bytes], dry: bool = False) -> AppTest:
    """The page after an import of these files."""
    app = run("files")
    app.file_uploader(key="uploads").set_value([(name, data, "text/csv") for name, data in files])
    app.toggle(key="dry").set_value(dry)
    app.run()
    app.button(key="import").click().run()
    until = time.monotonic() + 60
    held = app.session_state["visit"].held
    while "import_run" in held and not held["import_run"].ended:
        assert time.monotonic() < until
        time.sleep(0.05)
    app.run()
    assert not app.exception, app.exception
    return app


def stored(database: Path) -> list[str]:
    db = store.open_database(database)
    try:
        return [row[0][:10] for row in db.execute("SELECT taken_at FROM readings ORDER BY taken_at").fetchall()]
    finally:
        db.conn.close()


@pytest.mark.nightly
def test_two_files_of_one_name_are_both_brought_in(database: Path) -> None:
    app = bring_in(("may.csv", readings(1, 2)), ("may.csv", readings(3)))
    assert stored(database) == ["2026-10-01", "2026-10-02", "2026-10-03", "2026-11-02"]
    assert [one.value.replace("\\", "") for one in app.success] == [
        "2 files, 3 rows: 3 stored, 0 already known, 0 set aside."
    ]
    assert app.dataframe[0].value["file"].tolist() == ["may.csv", "may.csv"]


def test_a_refused_file_is_not_green_its_reason_is_whole_and_leads_to_its_description(database: Path) -> None:
    """What the files beside it brought is withdrawn at once with a reason, and put back: the days of the file go and come back, those
    from elsewhere stay; the corrected file can come in between."""
    headings = [f"Heading number {number} of a very foreign table" for number in range(6)]
    foreign = ("other.csv", ",".join(headings).encode() + b"\n1,2,3,4,5,6\n")
    app = bring_in(("may.csv", readings(1, 2)), ("june.csv", readings(3)), foreign)
    assert not app.success
    assert len(app.error) == 1
    text = said(app)
    assert headings[5] in text
    assert "headings that a source description explains" in text
    tab = app.session_state["files_tab"]
    app.button(key="to_describe").click().run()
    assert app.session_state["files_tab"] == "Describe a file"
    app.session_state["files_tab"] = tab
    app.run()
    app.selectbox(key="take_out_file").set_value("may.csv")
    app.button(key="take_out_now").click().run()
    assert any("needs a reason" in error.value for error in app.error)
    assert len(stored(database)) == 4
    app.text_input(key="take_out_why").set_value("volts of the wrong meter")
    app.button(key="take_out_now").click().run()
    assert stored(database) == ["2026-10-03", "2026-11-02"]
    assert "Withdrawn: what may.csv brought counts no more." in app.success[0].value.replace("\\", "")
    assert app.selectbox(key="take_out_file").options == ["june.csv", "readings.csv"]
    app.button(key="undo_kept").click().run()
    assert stored(database) == ["2026-10-01", "2026-10-02", "2026-10-03", "2026-11-02"]


@pytest.mark.nightly
def test_rows_set_aside_are_not_green_and_are_linked(database: Path) -> None:
    app = bring_in(("may.csv", readings(1) + readings(2, volts=126.0).split(b"\n", 1)[1]))
    assert not app.success
    assert "1 set aside" in app.warning[0].value
    links = [link.proto.label for link in app.get("page_link")]
    assert "Work through the 1 row" in links
    assert len(stored(database)) == 2


def test_readings_before_any_vehicle_ask_for_the_vehicles_first(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "new.db"
    store.open_database(path).conn.close()
    shown(monkeypatch, path, assess_here)
    app = bring_in(("may.csv", readings(1, 2)))
    assert "Bring in the file of vehicles, then this file again" in said(app)
    assert not any("Work through" in link.proto.label for link in app.get("page_link"))


@pytest.mark.nightly
def test_notes_of_the_import_are_shown(database: Path) -> None:
    lines = [HEADING + ",Seat", "X-1,27/09/2026 08:00,12.6,10.9,200,4,blue", "X-1,05/09/2026 08:00,12.6,10.9,200,4,red"]
    app = bring_in(("sept.csv", "\n".join(lines).encode()))
    text = said(app)
    assert "1 date read day first, because line 2 has" in text.replace("\\", "")
    assert "columns not known to us, kept as they are beside the rows: Seat" in text.replace("\\", "")
    assert "2026-09-05" in stored(database)


@pytest.mark.nightly
def test_a_try_stores_nothing_and_says_so(database: Path) -> None:
    app = bring_in(("may.csv", readings(1)), dry=True)
    assert "this was a try" in app.info[0].value
    assert stored(database) == ["2026-11-02"]


def ordered(database: Path, *files: tuple[str, bytes]) -> Import:
    folder = tempfile.TemporaryDirectory()
    paths = []
    for name, data in files:
        (Path(folder.name) / name).write_bytes(data)
        paths.append(str(Path(folder.name) / name))
    return begin(Order(str(database), tuple(paths), dt.datetime(2026, 11, 30, 5).isoformat(), "me"), folder)


def waited(running: Import, seconds: float = 60.0) -> Import:
    until = time.monotonic() + seconds
    while not running.ended:
        assert time.monotonic() < until
        time.sleep(0.02)
    return running


@pytest.mark.nightly
def test_a_stopped_import_leaves_whole_files_only(database: Path) -> None:
    """Stopped while the readings are read: the vehicles before are there, of the readings none."""
    times = (dt.datetime(2024, 1, 1) + dt.timedelta(minutes=9 * k) for k in range(120_000))
    log = "\n".join([HEADING, *(f"X-1,{when.isoformat()},12.6,10.9,200,4" for when in times), ""]).encode()
    running = ordered(database, ("log.csv", log), ("units.csv", UNITS))
    until = time.monotonic() + 60
    while running.file != "log.csv" and not running.ended:
        assert time.monotonic() < until
        time.sleep(0.005)
    running.stop()
    waited(running)
    assert (running.outcome, running.failed, running.kept) == (None, "", ("units.csv",))
    assert stored(database) == ["2026-11-02"]
    db = store.open_database(database)
    assert db.execute("SELECT count(*) FROM units").fetchone()[0] == 2
    assert db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
    db.conn.close()
    assert not Path(running.folder.name).exists()


def test_an_import_that_wants_too_much_memory_ends_with_a_sentence(
    database: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    program = (
        "import sys\nfrom dashboard import importing\nimporting.MOST_MEMORY = 300_000_000\n"
        "importing.import_paths = lambda *a, **k: bytearray(10**9)\nraise SystemExit(importing.main(sys.argv[1:]))"
    )
    real = importing.subprocess.Popen

    def small(command: list[str], **options: object) -> object:
        return real([command[0], "-c", program, command[-1]], **options)  # type: ignore[call-overload]

    monkeypatch.setattr(importing.subprocess, "Popen", small)
    running = waited(ordered(database, ("may.csv", readings(1))))
    assert "more memory than an import may have" in running.failed
    assert stored(database) == ["2026-11-02"]


def test_a_file_that_takes_too_long_is_refused_and_the_next_one_has_its_own_time(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    given: list[int] = []
    before = signal.getsignal(signal.SIGXCPU)
    monkeypatch.setattr(importing.resource, "setrlimit", lambda _what, limits: given.append(limits[0]))
    try:
        teller = Teller(2)
        with pytest.raises(FileRefused, match="takes more than 60 s"):
            signal.raise_signal(signal.SIGXCPU)
        teller("a.csv", 1, 10)
        teller("a.csv", 2, 10)
        teller("b.csv", 1, 10)
    finally:
        signal.signal(signal.SIGXCPU, before)
    assert len(given) == 4  # to look into them, after the one refused, and for each of two files
    assert all(seconds >= importing.SECONDS_PER_FILE for seconds in given)


def test_what_is_ordered_survives_the_way_to_the_process() -> None:
    order = Order("a.db", ("x.csv", "ü.csv"), "2026-01-01T00:00:00", "me", None, True)
    told = json.loads(json.dumps(dataclasses.asdict(order)))
    assert Order(**{**told, "files": tuple(told["files"])}) == order
