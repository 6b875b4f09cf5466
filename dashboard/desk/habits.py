"""How somebody reads temperatures, distances and dates: chosen by the person, else by the depot, else for the fleet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any, Final

from dashboard.words.list_words import RESPONSIBLE
from dashboard.words.plain_text import clean
from ingest.fields import LONGEST_NAME

DEPOTS_KEY: Final = "depots"
"""Setting: depot -> its habits and who is responsible."""
FLEET_KEYS: Final = MappingProxyType(
    {"degrees": "temperature_unit", "distance": "distance_unit", "dates": "date_order"}
)
"""Habit -> the setting that holds the fleet's."""
DEGREES: Final = ("°C", "°F")
DISTANCES: Final = ("km", "mi")
DATES: Final = ("YYYY-MM-DD", "DD.MM.YYYY", "DD/MM/YYYY", "MM/DD/YYYY")
ALLOWED: Final = MappingProxyType({"degrees": DEGREES, "distance": DISTANCES, "dates": DATES})


@dataclass(frozen=True)
class Habits:
    degrees: str = DEGREES[0]
    distance: str = DISTANCES[0]
    dates: str = DATES[0]

    @property
    def fahrenheit(self) -> bool:
        return self.degrees == DEGREES[1]

    @property
    def miles(self) -> bool:
        return self.distance == DISTANCES[1]

    def but(self, chosen: object) -> Habits:
        """With what `chosen` names; anything that is not allowed counts as not chosen."""
        if not isinstance(chosen, Mapping):
            return self
        return replace(self, **{name: str(chosen[name]) for name, may in ALLOWED.items() if chosen.get(name) in may})


USUAL: Final = Habits()
"""Where nobody has chosen anything."""


def of_fleet(settings: Mapping[str, Any]) -> Habits:
    """What holds where neither person nor depot has chosen."""
    return USUAL.but({name: settings.get(key) for name, key in FLEET_KEYS.items()})


def in_force(settings: Mapping[str, Any], depot: str, own: object) -> Habits:
    """The habits of a person of a depot ("" for none): the person's own choices first, then the depot's, then the fleet's."""
    return of_fleet(settings).but(of_depot(settings, depot)).but(own)


def of_depot(settings: Mapping[str, Any], depot: str) -> Mapping[str, Any]:
    """What is set of a depot; nothing where it was never named."""
    return _mapping(_mapping(settings.get(DEPOTS_KEY)).get(depot))


def responsible(settings: Mapping[str, Any], depot: str) -> str:
    """Who is responsible for a depot; "" where nobody is named."""
    return _line(str(of_depot(settings, depot).get("responsible", "")))[:LONGEST_NAME]


def responsible_words(settings: Mapping[str, Any], depots: Sequence[str]) -> str:
    """Who is responsible where, in a sentence; "" where nobody is named."""
    named = [f"{depot}: {who}" for depot in depots if (who := responsible(settings, depot))]
    return RESPONSIBLE.format(named="; ".join(named)) if named else ""


def checked_depots(rows: Sequence[Mapping[Any, Any]]) -> dict[str, dict[str, str]]:
    """Rows of depot, responsible, degrees, distance, dates as the setting keeps them; empty cells are left out.

    Raises ValueError with the depot, the value and what is allowed.
    """
    out: dict[str, dict[str, str]] = {}
    for row in rows:
        depot, kept = str(row["depot"]), {}
        for name, allowed in ALLOWED.items():
            value = row.get(name)
            if value in (None, ""):
                continue
            if value not in allowed:
                raise ValueError(f"{depot}: {name} is {value!r}; allowed are {', '.join(allowed)}")
            kept[name] = str(value)
        name = _line(str(row.get("responsible") or ""))
        if len(name) > LONGEST_NAME:
            raise ValueError(f"{depot}: the name has {len(name)} characters; allowed are {LONGEST_NAME}")
        if name:
            kept["responsible"] = name
        if kept:
            out[depot] = kept
    return out


def _line(text: str) -> str:
    return clean(" ".join(text.split()))


def _mapping(value: object) -> Mapping[str, Any]:
    return value if isinstance(value, Mapping) else {}
