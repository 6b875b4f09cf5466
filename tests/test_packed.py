"""Assessments as bytes: the same again, to the last bit, and nothing that others wrote is run.

Truth: what was packed; numpy's own files with pickles in them.
"""

from __future__ import annotations

import dataclasses
import io
import json
import pickle
from collections.abc import Mapping
from pathlib import Path
from typing import Any
from zlib import crc32

import numpy as np
import pandas as pd
import pytest
import samples_kept
from samples_chance import one_in
from samples_fleet import quick
from samples_odd import AS_OF, KINDS, odd_fleet

from analysis.starting.coldest_start import Needs
from dashboard.desk.packed import DIGEST_BYTES, NotPacked, pack_to, unpack


def pack(thing: object) -> bytes:
    """All that is written of a thing."""
    out = io.BytesIO()
    pack_to(out, thing)
    return out.getvalue()


def assert_same(one: Any, other: Any, place: str = "") -> None:
    """Kinds, shapes and every value, NaN like NaN."""
    assert type(one) is type(other), place
    if dataclasses.is_dataclass(one):
        for field in dataclasses.fields(one):
            assert_same(getattr(one, field.name), getattr(other, field.name), f"{place}.{field.name}")
    elif isinstance(one, np.ndarray):
        assert one.dtype == other.dtype, place
        np.testing.assert_array_equal(one, other, err_msg=place)
    elif isinstance(one, pd.DataFrame):
        pd.testing.assert_frame_equal(one, other, check_exact=True)
    elif isinstance(one, list | tuple):
        assert len(one) == len(other), place
        for k, (a, b) in enumerate(zip(one, other, strict=True)):
            assert_same(a, b, f"{place}[{k}]")
    elif isinstance(one, Mapping):
        assert list(one) == list(other), place
        for key in one:
            assert_same(one[key], other[key], f"{place}[{key!r}]")
    else:
        assert one == other or (one != one and other != other), place


@pytest.mark.parametrize("kind", one_in(2, [kind for kind in KINDS if kind != "5,000 readings"]))
def test_an_assessment_comes_back_as_it_was(kind: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Odd fleets have what is rare: empty tables, nothing measured, a single vehicle; by day those of `test_no_false_word.py`."""
    quick(monkeypatch)
    found = samples_kept.assess(odd_fleet(kind, 0), as_of=AS_OF)
    again = unpack(pack(found))
    assert_same(found, again)


def test_plain_things_come_back_as_they_were() -> None:
    """Worked by hand: each kind of thing that may stand in an assessment, at its ends."""
    needs = Needs(np.array([1.0, np.nan, -np.inf]), np.zeros((0, 3), np.float32), np.array(2.0))
    frame = pd.DataFrame(
        {
            "unit": pd.Series(["K-1", None, "é\udcff"[:1]], dtype="str"),
            "on": pd.to_datetime(["2026-01-31", None, "1970-01-01"]).astype("datetime64[us]"),
            "sure": [True, False, True],
            "n": np.array([1, -(2**62), 3], np.int64),
            "said": pd.Series([None, "x", float("nan")], dtype=object),
        },
        index=[5, 3, 1],
    )
    thing = (needs, frame, pd.Timestamp("2026-11-21"), {"a": (1, None), 2.5: ["x", True]}, np.float64(0.1), np.int64(7))
    again = unpack(pack(thing))
    assert_same(list(thing)[:4], list(again)[:4])
    assert again[4:] == (0.1, 7)


def test_shared_arrays_are_written_once() -> None:
    """A grid that seven channels share takes the room of one."""
    big = np.arange(100_000.0)
    assert len(pack((big,) * 7)) < 1.1 * len(pack((big,)))
    whole = big.reshape(10, 100, 100)
    content = pack((big, whole, whole[3], whole[4, 5:7], whole[:, 2]))
    assert len(content) < 1.1 * len(pack((big,))) + whole[:, 2].nbytes, "nor is what lies in another"
    assert_same(list(unpack(content)), [big, whole, whole[3], whole[4, 5:7], whole[:, 2]])


@pytest.mark.parametrize("thing", [{1, 2}, object(), np.array([object()]), dataclasses.make_dataclass("Own", ["x"])(1)])
def test_what_is_not_of_the_house_is_not_packed(thing: object) -> None:
    """A fault of ours, said where it is made."""
    with pytest.raises(TypeError, match="cannot be packed"):
        pack(thing)


def test_any_changed_byte_is_seen() -> None:
    """Every 97th byte, one at a time, and every length that was cut off."""
    content = pack((np.arange(50.0), "words"))
    for at in range(0, len(content), 97):
        with pytest.raises(NotPacked):
            unpack(content[:at] + bytes([content[at] ^ 0x40]) + content[at + 1 :])
        with pytest.raises(NotPacked):
            unpack(content[:at])


def signed(**members: Any) -> bytes:
    """What a stranger could write: members of an NPZ file behind a digest that fits."""
    out = io.BytesIO()
    np.savez(out, **members)
    return crc32(out.getvalue()).to_bytes(DIGEST_BYTES) + out.getvalue()


class Run:
    """Makes a file when it is unpickled."""

    def __init__(self, file: Path) -> None:
        self.file = file

    def __reduce__(self) -> tuple[Any, ...]:
        return Path.touch, (self.file,)


def test_a_stranger_s_file_runs_nothing(tmp_path: Path) -> None:
    """CWE-502: a pickle in an array, a pickle alone, modules and names outside the house."""
    trap = tmp_path / "trap"
    tree = {"array": "O", "start": 0, "shape": [1]}
    written = (
        signed(tree=_bytes(tree), O=np.array([Run(trap)], dtype=object)),
        pickle.dumps(Run(trap)),
        crc32(pickle.dumps(Run(trap))).to_bytes(DIGEST_BYTES) + pickle.dumps(Run(trap)),
        *(
            signed(tree=_bytes({"of": of, "fields": {"args": "x"}}))
            for of in (["subprocess", "Popen"], ["analysis.worklist.assess", "assess"], ["analysis.none", "None"], ["analysis.", ""])
        ),
        signed(tree=_bytes({"tuple": 3})),
        signed(tree=_bytes({"array": "<f8", "start": 0, "shape": [-1]})),
        signed(words=_bytes("no tree")),
    )  # fmt: skip
    for content in written:
        with pytest.raises(NotPacked):
            unpack(content)
    assert not trap.exists()


def _bytes(tree: object) -> Any:
    return np.frombuffer(json.dumps(tree).encode(), np.uint8)
