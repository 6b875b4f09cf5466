"""Laws that travel: what the fleet has learned of its classes as a file, and another fleet's kept as a beginning."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from sqlite_utils import Database

from analysis.readings.taught import TaughtClass, taught_class
from analysis.wear.paths import LIVES_D
from ingest.records import read_settings, save_setting

if TYPE_CHECKING:
    from analysis.worklist.assess import Assessment

SETTING = "taught_laws"
KIND, VERSION = "class laws", 1
MOST_CLASSES = 1_000


def laws_text(assessment: Assessment) -> str:
    """The file: every class that was ever read, without vehicle, place or person."""
    body = {"kind": KIND, "version": VERSION, "classes": [one.plain() for one in assessment.teaches]}
    return json.dumps(body, ensure_ascii=False, indent=1) + "\n"


def parse_laws(text: str) -> tuple[TaughtClass, ...]:
    """The classes of such a file; ValueError with one sentence for a text that is none."""
    try:
        body = json.loads(text)
    except (ValueError, RecursionError):
        raise ValueError("the laws are not valid JSON: take a file that classes --export has written") from None
    if not isinstance(body, Mapping) or body.get("kind") != KIND or not isinstance(body.get("classes"), list):
        raise ValueError("the file holds no class laws: take a file that classes --export has written")
    if body.get("version") != VERSION:
        raise ValueError(
            f"the laws are of version {body.get('version')!r:.20}; allowed is {VERSION}: use the program that wrote them"
        )
    if len(body["classes"]) > MOST_CLASSES:
        raise ValueError(f"the file holds {len(body['classes'])} classes; allowed are {MOST_CLASSES}")
    found = _classes(body["classes"])
    names = [one.name for one in found]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise ValueError(f"the class {twice[0]} stands in the file twice; allowed is once")
    return found


def save_laws(db: Database, text: str, *, by: str) -> tuple[TaughtClass, ...]:
    """Keep the laws of a file as the beginning of this fleet's classes; those kept before go to the audit."""
    found = parse_laws(text)
    save_setting(db, SETTING, [one.plain() for one in found], by=by)
    return found


def forget_laws(db: Database, *, by: str) -> None:
    save_setting(db, SETTING, [], by=by)


def taught_laws(db: Database) -> tuple[TaughtClass, ...]:
    """The laws that this fleet begins from; none where nobody brought any."""
    kept = read_settings(db).get(SETTING)
    if not isinstance(kept, list):
        return ()
    return _classes(kept)


def _classes(told: list[Any]) -> tuple[TaughtClass, ...]:
    return tuple(taught_class(one, lives=len(LIVES_D)) for one in told)
