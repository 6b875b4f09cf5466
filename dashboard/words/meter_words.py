"""What is said of meters and thermometers that are wrong, or disagree."""

import math

from analysis.readings.meter_notes import Disagreement, MeterNote


def meter_words(note: MeterNote) -> str:
    """A sentence: whose readings are off by how much, or who disagrees."""
    if isinstance(note, Disagreement):
        thermometers = note.effect == "thermometer"
        size = f"{note.apart:.0f} degrees" if thermometers else f"{100 * note.apart:.1f} %"
        what = "thermometers" if thermometers else f"meters for {note.effect}"
        return (
            f"{what} at depot {note.depot} disagree: {', '.join(note.above)} up to {size} above {', '.join(note.below)}; "
            "which is right cannot be told from the readings, so compare them with a third"
        )
    side = "high" if note.value > 0 else "low"
    if note.effect == "thermometer":
        what = f"thermometer about {abs(note.value):.0f} ± {math.ceil(note.half):.0f} degrees {side}"
    else:
        what = f"{note.effect} about {100 * abs(note.value):.1f} % {side} (±{100 * note.half:.1f})"
    week, words = note.same_week_k, f"on {note.readings} readings of {note.vehicles} vehicles"
    if math.isfinite(week):
        beside = "above" if week > 0 else "below"
        words += f"; {abs(week):.0f} degrees {beside} others' at the same depot in the same week"
    return f"{note.by} {note.name}'s readings: {what}, {words}; this is allowed for, have it checked"
