"""What the page of settings says."""

from typing import Final

from dashboard.words.plain_text import count_words

NO_DEPOT, AS_DEPOT = "none", "as the depot"
HABIT_WORDS: Final = {"degrees": "Temperatures", "distance": "Distances", "dates": "Dates in tables and fields"}
SETTING_WORDS: Final = {
    "horizon_days": "look ahead [days]",
    "tolerated_false_flags": "false flags tolerated, per 100 healthy vehicles and year",
    "temperature_unit": "temperatures",
    "distance_unit": "distances",
    "date_order": "dates in tables and fields",
    "screens_address": "address of these screens",
    "least_hours": "least work worth a visit of its own [h]",
}
"""Setting on record -> what it is."""
COST_LABELS: Final = {
    "hour_rate": ("A workshop hour", "What an hour of work costs."),
    "access_cost": ("Calling a vehicle in", "Saved when the vehicle is in for a service anyway."),
    "move_price": ("Moving a planned visit", "A visit of the last plan moves only when that saves more than this."),
    "failure_hours_factor": ("Unplanned repair, times its hours", "How much longer a repair takes at the roadside."),
    "measure_h": ("A measuring visit, h", "Hours to measure the whole circuit."),
    "clean_h": ("Clean and tighten, h", "Hours to clean and tighten a connection."),
    "charge_h": ("Charge a battery, h", "Hours of work for a charge."),
    "down_share": ("Largest share called in a week", "Of a depot's vehicles, 0.1 is one in ten."),
    "frozen_weeks": (
        "Near weeks that stay as planned",
        "Only urgent vehicles, and those that missed their visit, come in between.",
    ),
    "urgent_probability": ("Urgent from a probability of", "Of a no-start within the weeks that stay as planned."),
}
"""Setting of the plan -> its label, and what it means."""
ONE_CURRENCY: Final = "One currency for the whole fleet: amounts of its depots are added up, and none is converted."
ADDRESS_HINT: Final = "http://workshop:8501"

LOOK_AHEAD: Final = "Look ahead, days"
LOOK_AHEAD_HELP: Final = "The list's probabilities are for a no-start within this many days."
TOLERATED: Final = "False flags tolerated, per 100 healthy vehicles and year"
TOLERATED_HELP: Final = "Fewer false flags, and more no-starts that nobody foresaw."
CURRENCY: Final = "Currency"
CURRENCY_HINT: Final = "EUR, USD …"
LEAST_WORK: Final = "Least work worth a visit of its own, h"
LEAST_WORK_HELP: Final = "Visits shorter than this are shown as work for a service that is due anyway."
ADDRESS: Final = "Address of these screens, for codes on windscreens"
ADDRESS_HELP: Final = "As a phone in the workshop reaches them. Empty: as this browser does."
SAVE: Final = "Save settings"
ON_RECORD: Final = "On record"
ON_RECORD_ALT: Final = "Settings on record"
ON_DEVICE: Final = "On this device"
ON_DEVICE_HELP: Final = (
    "Only for this phone or desk. What is left open follows its depot, then the fleet's settings above."
)
DEPOT_OF_DEVICE: Final = "Depot of this device"
SAVE_DEVICE: Final = "Save for this device"
DEVICE_KEPT: Final = "Kept for this device."
DEPOTS: Final = "Depots"
DEPOTS_HELP: Final = (
    "Who is responsible stands on the list and its printed sheet. What is left empty follows the fleet's settings."
)
RESPONSIBLE: Final = "responsible"
SAVE_DEPOTS: Final = "Save depots"
DEPOTS_CSV: Final = "Depots as CSV"
IN_WORDS: Final = "in words"
COSTS: Final = "Costs and rules of the plan"
AMOUNTS_IN: Final = "Amounts are in {currency}. They are stated defaults until you set your own."
NO_START_COSTS: Final = (
    "**What one no-start costs** beside its repair; a class without a row of its own counts as light (12 V) or "
    "heavy (24 V)."
)
ROADSIDE: Final = "roadside help [{currency}]"
TOW: Final = "tow [{currency}]"
LOST_WORK: Final = "lost work [{currency}]"
SAVE_COSTS: Final = "Save costs and rules"
NO_START_CSV: Final = "No-start costs as CSV"
PARTS: Final = "Parts"
PARTS_HELP: Final = "Price, hours of work and days from order to delivery, as the plan counts them."
PRICE: Final = "price [{currency}]"
WORK: Final = "work [h]"
DELIVERY: Final = "delivery [days]"
SAVE_PARTS: Final = "Save parts"
PARTS_CSV: Final = "Parts as CSV"
SAVED: Final = "Settings saved."


def parts_changed(count: int) -> str:
    return f"{count_words(count, 'part')} changed; the old values stay on record. Plan again to use them."
