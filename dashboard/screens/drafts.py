"""What was typed on this device and not saved yet, by vehicle: values, and which of them were measured twice."""

import uuid
from collections.abc import Mapping
from typing import Any, Final

from dashboard.screens import device, session

KEPT: Final = 6  # drafts of different vehicles that a device keeps, our choice


def all_drafts() -> dict[str, dict[str, Any]]:
    """Drafts of this device, by vehicle; kept in this visit as long as the browser has not told its number."""
    kept = device.remembered().get("drafts") or session.held().get("drafts")
    return dict(kept) if isinstance(kept, Mapping) else {}


def values_of(unit: str) -> dict[str, str]:
    return _texts(unit, "values")


def twice_of(unit: str) -> dict[str, str]:
    """Fields of this vehicle that were measured twice, with the text that stood in them then."""
    return _texts(unit, "twice")


def _texts(unit: str, name: str) -> dict[str, str]:
    mine = all_drafts().get(unit, {})
    values = mine.get(name, {}) if isinstance(mine, Mapping) else {}
    return {str(k): str(v) for k, v in values.items()} if isinstance(values, Mapping) else {}


def entry_id(unit: str) -> str | None:
    """The number of the entry that is being typed, so that sending it twice stores it once."""
    mine = all_drafts().get(unit, {})
    return str(mine["entry_id"]) if isinstance(mine, Mapping) and mine.get("entry_id") else None


def keep(unit: str, values: Mapping[str, str], twice: Mapping[str, str] | None = None) -> None:
    """Keep what was typed; without values the draft is gone."""
    kept = {u: d for u, d in all_drafts().items() if u != unit}
    if values:
        number = entry_id(unit) or uuid.uuid4().hex
        kept[unit] = {"entry_id": number, "values": dict(values), "twice": dict(twice or {})}
    kept = dict(list(kept.items())[-KEPT:])
    session.held()["drafts"] = kept
    device.remember(drafts=kept)


def hand_over(unit: str, other: str) -> None:
    """What was typed for one vehicle is another's: it was the wrong one."""
    values, twice = values_of(unit), twice_of(unit)
    keep(unit, {})
    keep(other, values, twice)
