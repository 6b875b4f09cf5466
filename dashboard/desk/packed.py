"""An assessment as bytes and back: frozen dataclasses of arrays, tables, words and numbers.

An NPZ file without pickles: reading one runs nothing, whoever wrote it. Arrays of one kind lie end to end in one member;
a member of JSON tells what is made of them. A digest in front tells a file that was damaged or cut off.
"""

from __future__ import annotations

import dataclasses
import io
import json
from collections.abc import Callable, Mapping
from functools import cache
from importlib import import_module
from math import prod
from typing import IO, Any
from zipfile import BadZipFile, ZipFile
from zlib import crc32

import numpy as np
import numpy.typing as npt
import pandas as pd

HOUSE = "analysis."  # the package whose dataclasses are packed, and made again
TREE = "tree"
DIGEST_BYTES = 4  # of a CRC-32: damage is to be told, not forgery, and a large fleet's file takes a second to hash
PIECE_BYTES = 1 << 20
KINDS = "biufM"  # numpy's letters for what an array may hold: truth, whole numbers, numbers, moments
Array = npt.NDArray[Any]


dtype_of = cache(pd.api.types.pandas_dtype)  # looked up by its name it is a third of the work


class NotPacked(ValueError):
    """Bytes that hold nothing of ours, or something else than is asked for."""


def pack_to(out: IO[bytes], thing: object) -> None:
    """Everything that `thing` holds into an empty file, open to be written and read, without holding it in memory.

    TypeError for what it may not hold, before anything is written.
    """
    store = _Store()
    tree = np.frombuffer(json.dumps(store.node(thing)).encode(), np.uint8)
    out.write(bytes(DIGEST_BYTES))
    with ZipFile(out, "w") as members:
        for name, parts in {TREE: [tree], **store.parts}.items():
            size = sum(part.size for part in parts)
            with members.open(f"{name}.npy", "w", force_zip64=True) as member:
                head = {"descr": parts[0].dtype.str, "fortran_order": False, "shape": (size,)}
                np.lib.format.write_array_header_1_0(member, head)
                for part in parts:
                    member.write(np.ascontiguousarray(part).view(np.uint8).data)
    out.seek(DIGEST_BYTES)
    digest = 0
    while piece := out.read(PIECE_BYTES):
        digest = crc32(piece, digest)
    out.seek(0)
    out.write(digest.to_bytes(DIGEST_BYTES))


def unpack(content: bytes) -> Any:
    """What was packed; NotPacked for bytes that were changed, cut off or made by somebody else."""
    digest, body = content[:DIGEST_BYTES], memoryview(content)[DIGEST_BYTES:]
    if crc32(body).to_bytes(DIGEST_BYTES) != digest:
        raise NotPacked("the digest does not fit")
    try:
        with np.load(io.BytesIO(body), allow_pickle=False) as members:
            held = {name: members[name] for name in members.files}
        return _Restored(held).thing(json.loads(held[TREE].tobytes()))
    except (ValueError, LookupError, TypeError, AttributeError, ImportError, RecursionError, BadZipFile) as error:
        raise NotPacked(str(error)) from error


class _Store:
    """Arrays by kind as they are met, each once."""

    def __init__(self) -> None:
        self.parts: dict[str, list[Array]] = {}
        self._filled: dict[str, int] = {}
        self._met: dict[int, tuple[Array, Any]] = {}

    def node(self, thing: object) -> Any:
        if thing is None or isinstance(thing, bool | str) or type(thing) in (int, float):
            return thing
        for kind, write in self._ways():
            if isinstance(thing, kind):
                return write(thing)
        if dataclasses.is_dataclass(thing) and type(thing).__module__.startswith(HOUSE):
            fields = {f.name: self.node(getattr(thing, f.name)) for f in dataclasses.fields(thing)}
            return {"of": [type(thing).__module__, type(thing).__name__], "fields": fields}
        raise TypeError(f"{type(thing).__name__} cannot be packed")

    def _ways(self) -> tuple[tuple[Any, Callable[[Any], Any]], ...]:
        return (
            (pd.Timestamp, lambda moment: {"moment": None if moment is pd.NaT else moment.isoformat()}),
            (np.generic, lambda value: {"value": self.array(np.asarray(value))}),
            (np.ndarray, self.array),
            (pd.DataFrame, self.frame),
            (tuple, lambda many: {"tuple": [self.node(one) for one in many]}),
            (list, lambda many: {"list": [self.node(one) for one in many]}),
            (Mapping, lambda pairs: {"pairs": [[self.node(k), self.node(v)] for k, v in pairs.items()]}),
        )

    def array(self, array: Array) -> Any:
        """An array of numbers as its place, one of words as a list."""
        if array.dtype.kind == "O":
            return {"words": [self._word(one) for one in array.ravel()], "shape": list(array.shape)}
        if array.dtype.kind not in KINDS:
            raise TypeError(f"an array of {array.dtype} cannot be packed")
        base = array.base
        if (
            id(array) not in self._met
            and isinstance(base, np.ndarray)
            and id(base) in self._met
            and (array.dtype == base.dtype and array.flags.c_contiguous and base.flags.c_contiguous)
        ):
            place = self._met[id(base)][1]
            at = (array.ctypes.data - base.ctypes.data) // array.itemsize
            self._met[id(array)] = (array, {**place, "start": place["start"] + at, "shape": list(array.shape)})
        if id(array) not in self._met:
            kind = array.dtype.str
            start = self._filled.get(kind, 0)
            self.parts.setdefault(kind, []).append(array.ravel())
            self._filled[kind] = start + array.size
            # holds it: no id twice
            self._met[id(array)] = (array, {"array": kind, "start": start, "shape": list(array.shape)})
        return self._met[id(array)][1]

    def frame(self, frame: pd.DataFrame) -> Any:
        """A table, column by column; its index only where it does not count from 0."""
        columns = [[str(name), str(column.dtype), self._cells(column)] for name, column in frame.items()]
        counted = frame.index.equals(pd.RangeIndex(len(frame)))
        return {
            "columns": columns,
            "rows": len(frame),
            "index": None if counted else self.array(frame.index.to_numpy()),
        }

    def _cells(self, column: pd.Series[Any]) -> Any:
        if column.dtype.kind in KINDS:
            return self.array(column.to_numpy())
        if isinstance(column.dtype, pd.StringDtype):  # each word once
            place, words = pd.factorize(column)
            return {"coded": words.tolist(), "place": self.array(place.astype(np.int32))}
        return [self._word(one) for one in column]

    @staticmethod
    def _word(one: object) -> str | float | bool | None:
        if one is None or isinstance(one, str | bool | float):
            return one
        raise TypeError(f"{type(one).__name__} among words cannot be packed")


class _Restored:
    """Arrays by kind, and what the tree makes of them."""

    def __init__(self, held: Mapping[str, Array]) -> None:
        self._held = held

    def thing(self, node: Any) -> Any:
        """What a part of the tree stands for."""
        if not isinstance(node, dict):
            return node
        if "of" in node:
            fields = {name: self.thing(value) for name, value in node["fields"].items()}
            return _dataclass(*node["of"])(**fields)
        if "array" in node or "words" in node:
            return self.array(node)
        if "columns" in node:
            return self.frame(node)
        if "moment" in node:
            return pd.Timestamp(node["moment"])
        if "value" in node:
            return self.array(node["value"])[()]
        if "pairs" in node:
            return {self.thing(key): self.thing(value) for key, value in node["pairs"]}
        many = [self.thing(one) for one in node["tuple" if "tuple" in node else "list"]]
        return tuple(many) if "tuple" in node else many

    def array(self, node: Any) -> Array:
        """An array at its place, with its shape."""
        shape = tuple(node["shape"])
        if "words" in node:
            words = np.empty(len(node["words"]), dtype=object)
            words[:] = node["words"]
            return words.reshape(shape)
        start = node["start"]
        return self._held[node["array"]][start : start + prod(shape)].reshape(shape)

    def frame(self, node: Any) -> pd.DataFrame:
        """A table with the columns' own kinds."""
        index = pd.RangeIndex(node["rows"]) if node["index"] is None else pd.Index(self.array(node["index"]))
        columns = {
            name: pd.Series(self._cells(cells, dtype_of(kind)), index=index, dtype=dtype_of(kind), copy=True)
            for name, kind, cells in node["columns"]
        }
        return pd.DataFrame(columns, index=index, columns=[name for name, _, _ in node["columns"]])

    def _cells(self, cells: Any, kind: Any) -> Any:
        if not isinstance(cells, dict):
            return cells
        if "coded" in cells:
            return pd.array(cells["coded"], dtype=kind).take(self.array(cells["place"]), allow_fill=True)
        return self.array(cells)


def _dataclass(module: str, name: str) -> Any:
    if not module.startswith(HOUSE):
        raise NotPacked(f"{module} is not of the house")
    found = getattr(import_module(module), name)
    if not (isinstance(found, type) and dataclasses.is_dataclass(found)):
        raise NotPacked(f"{module}.{name} is no dataclass")
    return found
