"""A recorded trace: what its starts show, and a reading made of one."""

import argparse
import json
import textwrap

from analysis.trace.record import Marks
from dashboard.cli.commands.database import open_existing, vehicle_named
from dashboard.cli.commands.record import keep_reading, say_kept
from dashboard.cli.options import BESIDE_A_TRACE
from dashboard.desk.reading_source import unit_row
from dashboard.desk.terminal import DONE, SET_ASIDE, WIDTH, show, show_json
from dashboard.desk.trace_source import Recording, reading_values, recording_of
from dashboard.files import trace_json
from dashboard.words import trace_words
from dashboard.words.plain_text import clean, number


def run_trace(options: argparse.Namespace) -> int:
    """Print what a trace's starts show; with --record, store one of them as a reading."""
    db = open_existing(options) if options.unit else None
    if db is not None:
        options.unit = vehicle_named(db, options.unit)
    unit = None if db is None else unit_row(db, options.unit)
    recording = recording_of(
        options.file, unit=unit, clamp_mv_per_a=options.clamp, rate_hz=options.rate, cylinders=options.cylinders,
        volts=options.volts, amps=options.amps,
    )  # fmt: skip
    recording, chosen = chosen_start(recording, options)
    body = trace_json.trace_object(recording, chosen)
    if options.format == "table":
        show("\n".join(trace_lines(recording, chosen)))
    if db is None or not options.record:
        if options.format == "json":
            show_json(json.dumps(body, ensure_ascii=False, indent=1))
        return DONE
    values = reading_values(recording.measured(chosen or 1), recording.trace.rate_hz)
    beside = {name: getattr(options, name) for name in BESIDE_A_TRACE if getattr(options, name) is not None}
    entry = keep_reading(db, {"unit": options.unit, **values, **beside}, options.measured_twice)
    if options.format == "json":
        show_json(json.dumps({**body, "reading": trace_json.entry_object(entry)}, ensure_ascii=False, indent=1))
        return DONE if entry.stored or entry.known else SET_ASIDE
    return say_kept(db, options.unit, entry)


def chosen_start(recording: Recording, options: argparse.Namespace) -> tuple[Recording, int | None]:
    """The start that is meant, from 1, with the marks that were given; None where all are; ValueError where none can be."""
    count = len(recording.found.marks)
    given = [options.begin, options.steady, options.end]
    number_of = options.event or (1 if count == 1 else None)
    if number_of is not None and number_of > max(count, 1):
        raise ValueError(f"--event is {number_of}; allowed is 1 to {max(count, 1)}, the trace's starts")
    if all(mark is not None for mark in given) and count == 0:
        return recording.marked(Marks(*given)), 1
    if count == 0 and (options.record or options.event or any(mark is not None for mark in given)):
        raise ValueError(f"{trace_words.NO_START} Allowed are traces with one, or --begin, --steady and --end together")
    if number_of is None and (options.record or any(mark is not None for mark in given)):
        raise ValueError(f"the trace holds {count} starts; say which is meant, as in --event 1")
    if number_of is not None and any(mark is not None for mark in given):
        own = vars(recording.found.marks[number_of - 1]).values()
        moved = Marks(*(old if new is None else new for new, old in zip(given, own, strict=True)))
        recording = recording.moved(number_of, moved)
    return recording, number_of


def trace_lines(recording: Recording, chosen: int | None) -> list[str]:
    trace = recording.trace
    lasts = float(trace.time_s[-1] - trace.time_s[0])
    size = trace_words.SAMPLES.format(f"{len(trace.time_s):,}", f"{trace.rate_hz:,.6g}", number(lasts, 2))
    lines = [f"{recording.name}: {size}", *(f"  {remark}" for remark in recording.remarks)]
    lines += trace_words.notes(recording.found, reversed_clamp=recording.reversed_clamp)
    count = len(recording.found.marks)
    for position in [chosen] if chosen and count else range(1, count + 1):
        lines += ["", *start_lines(recording, position, count)]
    if count:
        lines += ["", trace_words.OWN_ERRORS, trace_words.before_next()]
    return [part for line in lines for part in _wrapped(clean(line))]


def _wrapped(line: str) -> list[str]:
    """A line in the terminal's width; what goes on of a table's row, which is indented, stands under its values."""
    under = " " * 40 if line.startswith("  ") and not line.startswith("  -") else ""
    return textwrap.wrap(line, WIDTH, subsequent_indent=under) or [""]


def start_lines(recording: Recording, position: int, count: int) -> list[str]:
    start = recording.measured(position)
    lines = [trace_words.begun_words(start, position, count)]
    lines += [f"  {label:36s}  {trace_words.row_words(start, name, unit)}" for name, label, unit in trace_words.ROWS]
    even = trace_words.even_words(start.even)
    lines += [f"  {'cylinders':36s}  {even}"] if even else []
    said = [*trace_words.caution_words(start), trace_words.ran_words(start)]
    return lines + [f"  - {sentence}" for sentence in said if sentence]
