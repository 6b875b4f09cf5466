"""What needs the extra `logs`: MDF4 measurement files, and data bases of signals (DBC)."""

import logging
import re
import struct
import zlib
from collections.abc import Iterable, Mapping
from pathlib import Path
from traceback import walk_tb
from typing import Any

import numpy as np

from ingest.bounds import MOST_CELLS, check_file, refuse_more
from ingest.bus_codes import SPN, pgn_of, values_of
from ingest.bus_logs import Decode, Gathered
from ingest.bus_tables import signal_of
from ingest.errors import FileRefused
from ingest.values import unit_factor

EXTRA = "needs the extra for bus logs: pip install 'cranktrend[logs]', then try again"
RECORDS_AT_ONCE = 100_000  # of a group of an MDF4 file; our choice, to bound memory
FRAMES = "CAN_DataFrame"  # the group of channels in which MDF4 keeps frames of the bus (ASAM MDF, bus logging)
DAMAGED = (  # what reading a damaged file may end in
    ValueError, LookupError, OSError, ArithmeticError, AttributeError, TypeError, EOFError, RuntimeError, AssertionError,
    struct.error, zlib.error,
)  # fmt: skip
_HUMP = re.compile(r"(?<=[a-z0-9])(?=[A-Z])")


# --- a data base of signals ------------------------------------------------------------------------------------------


def decoder_of(dbc: Path) -> Decode:
    """Frames decoded by the user's own data base of signals where it knows them, else by the published layouts."""
    try:
        from cantools.database import load_file
        from cantools.database.errors import Error
    except ImportError:
        raise FileRefused(f"a data base of signals {EXTRA}") from None
    check_file(dbc)
    try:
        base = load_file(str(dbc), database_format="dbc", strict=False)
    except (Error, ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise FileRefused(
            f"{dbc.name} is no data base of signals (DBC): {' '.join(str(error).split())[:200]}"
        ) from error
    known = _known(base)
    if not known:
        raise FileRefused(
            f"{dbc.name} names none of the signals that tell of a start; allowed are engine speed, battery volts, coolant "
            "and ambient temperature, by their SPN or their name"
        )

    def decode(identifier: int, long: bool, data: bytes) -> Iterable[tuple[str, str, float]]:
        found = known.get((long, identifier)) or (known.get((long, pgn_of(identifier), "group")) if long else None)
        if found is None:
            return values_of(identifier, long, data)
        message, signals = found
        try:
            values = message.decode(data, decode_choices=False, allow_truncated=True)
        except (Error, ValueError, KeyError):
            return ()
        source = f"address {identifier & 0xFF:02X}" if long else f"identifier {identifier:03X}"
        return [
            (ours, source, float(values[theirs]) * factor + offset)
            for theirs, (ours, factor, offset, most) in signals.items()
            if isinstance(values.get(theirs), int | float) and float(values[theirs]) <= most
        ]

    return decode


def _known(base: Any) -> Mapping[Any, Any]:
    """Identifier, or parameter group of a 29-bit one, -> message and its signals: ours, factor, offset, most."""
    known: dict[Any, Any] = {}
    for message in base.messages:
        signals: dict[str, tuple[str, float, float, float]] = {}
        for signal in message.signals:
            ours = SPN.get(signal.spn or -1) or signal_of(_HUMP.sub(" ", signal.name))
            if ours and ours not in [s[0] for s in signals.values()]:
                most = signal.maximum if signal.maximum is not None and signal.maximum > 0 else np.inf
                signals[signal.name] = (ours, *unit_factor(signal.unit or ""), float(most))
        if signals:
            long = bool(message.is_extended_frame)
            known[(long, message.frame_id)] = (message, signals)
            if long:
                known.setdefault((long, pgn_of(message.frame_id), "group"), (message, signals))
    return known


# --- MDF4 ------------------------------------------------------------------------------------------------------------


def read_mdf(file: Path, decode: Decode, gathered: Gathered) -> None:
    """Read an MDF4 file: frames of the bus, decoded here, or channels that are signals already."""
    try:
        from asammdf import MDF
        from asammdf.blocks.mdf_v4 import MDF4
        from asammdf.blocks.utils import MdfException
    except ImportError:
        raise FileRefused(f"an MDF4 file {EXTRA}") from None
    # what is wrong with a file is said here, in one sentence
    logging.getLogger("asammdf").setLevel(logging.CRITICAL + 1)
    try:
        with file.open("rb") as opened, MDF(opened) as mdf:
            began_s = mdf.header.start_time.timestamp()
            for number, group in enumerate(mdf.groups):
                _read_group(mdf, number, group, began_s, decode, gathered)
    except FileRefused:
        raise
    except (MdfException, *DAMAGED) as error:
        # half made, it cannot close itself, and would say so on the screen
        for frame, _ in walk_tb(error.__traceback__):
            if isinstance(made := frame.f_locals.get("self"), MDF4):
                made._closed = True
                made._tempfile.close()
        raise FileRefused(f"it is no MDF4 file that can be read: {' '.join(str(error).split())[:200]}") from error


def _read_group(mdf: Any, number: int, group: Any, began_s: float, decode: Decode, gathered: Gathered) -> None:
    names = [channel.name for channel in group.channels]
    records = int(group.channel_group.cycles_nr)
    refuse_more("records of one group", records, MOST_CELLS, "split it")
    frames = f"{FRAMES}.DataBytes" in names
    signals = {} if frames else {k: ours for k, name in enumerate(names) if (ours := signal_of(_HUMP.sub(" ", name)))}
    if not frames and not signals:
        return
    for first in range(0, records, RECORDS_AT_ONCE):
        part: dict[str, Any] = {
            "group": number,
            "record_offset": first,
            "record_count": min(RECORDS_AT_ONCE, records - first),
        }
        if frames:
            _frames(mdf, names, part, began_s, decode, gathered)
        for k, ours in signals.items():
            one = mdf.get(index=k, **part)
            if one.samples.dtype.kind not in "iuf":
                continue
            factor, offset = unit_factor(str(one.unit or ""))
            for time_s, value in zip(one.timestamps.tolist(), one.samples.tolist(), strict=True):
                gathered.add(ours, f"channel {names[k]}"[:64], began_s + time_s, value * factor + offset)


def _frames(
    mdf: Any, names: list[str], part: dict[str, Any], began_s: float, decode: Decode, gathered: Gathered
) -> None:
    data = mdf.get(index=names.index(f"{FRAMES}.DataBytes"), **part)
    identifiers = mdf.get(index=names.index(f"{FRAMES}.ID"), **part).samples
    count = len(identifiers)
    long = mdf.get(index=names.index(f"{FRAMES}.IDE"), **part).samples if f"{FRAMES}.IDE" in names else None
    length = (
        mdf.get(index=names.index(f"{FRAMES}.DataLength"), **part).samples if f"{FRAMES}.DataLength" in names else None
    )
    for k in range(count):
        identifier = int(identifiers[k]) & 0x1FFFFFFF
        is_long = bool(long[k]) if long is not None else identifier > 0x7FF
        whole = bytes(bytearray(data.samples[k]))
        frame = whole[: int(length[k])] if length is not None else whole
        for signal, source, value in decode(identifier, is_long, frame):
            gathered.add(signal, source, began_s + float(data.timestamps[k]), value)
