"""What is said wherever somebody is sent to crank or probe."""

from __future__ import annotations

SAFE_NOTE = (
    "Before cranking or probing: neutral or park, wheels chocked, ventilate, eye protection, rings off, no loose sleeves "
    "near belts; crank 30 s at most, then let it cool 2 min; not for high-voltage hybrid or electric traction systems. "
    "The vehicle maker's procedure, local rules and licensed practice come first."
)
