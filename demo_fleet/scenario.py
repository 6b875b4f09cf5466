"""The demo's invented operator, Lindenmoor Haulage: 144 vehicles, three depots, three years, ten staged stories.

Any likeness to a real operator is unintended; names, vehicles and figures are made up.
"""

import datetime as dt
from types import MappingProxyType

import numpy as np

from demo_fleet.faults import CHEAP_ACTIONS
from demo_fleet.setting import Setting
from demo_fleet.simulate import Fleet, FleetRun
from demo_fleet.specs import FleetSpec
from demo_fleet.weather import Depot

OPERATOR = "Lindenmoor Haulage (invented)"
START, AS_OF = dt.date(2023, 11, 21), dt.date(2026, 11, 21)
"""First day, and the day after the last reading."""
DEPOTS = (
    Depot("harbour", 2.0, 14.5, 2.8, 0.75, 1.3, skew=-0.6),
    Depot("plain", -5.0, 16.0, 3.8, 0.80, 0.8, skew=-0.7),
    Depot("pass", -9.0, 9.0, 4.0, 0.76, 1.2, 14.0, skew=-0.3),
)
CLASSES_SHARE = {
    "light_van": 0.24, "panel_van_diesel": 0.24, "rigid_truck": 0.18, "long_haul_tractor": 0.20, "city_bus": 0.08,
    "wheel_loader": 0.06,
}  # fmt: skip

STORIES = MappingProxyType({
    "K-109": (
        "A ground strap corroding since a wet winter",
        "The strap was sound until the wet winter of 2025/26; its resistance has climbed ever since, summer included. The pass "
        "depot put it off: the strap had to be made.",
    ),
    "K-118": (
        "Several small losses at once",
        "Cable, ground and contacts each lose a little more than new, the battery is half worn: no single reading is alarming, "
        "together a cold morning is too much.",
    ),
    "K-122": (
        "Burnt solenoid contacts",
        "The drop across the contacts has risen over the year while both cables stayed as they were.",
    ),
    "K-131": (
        "An ageing battery that only a cold morning exposes",
        "It still rests at full voltage and cranks well in the bay; its resistance says the cold spell is too much.",
    ),
    "K-145": (
        "Worn brushes",
        "Inrush and cranking speed fall, no cable and no battery explains it: the starter itself is wearing.",
    ),
    "K-152": (
        "A loose post that cleaning cures",
        "The positive side is high and differs from visit to visit; clean and tighten it before ordering a cable.",
    ),
    "K-160": (
        "A healthy truck that looks bad in raw volts",
        "A heavy diesel read outdoors in the cold: many amps make large drops, but every resistance is as new.",
    ),
    "K-171": (
        "A post that was cleaned and stayed well",
        "Its ground connection had risen until it was cleaned on 12 February 2026; since then it reads like new.",
    ),
    "K-183": (
        "A battery that somebody changed and nobody recorded",
        "Resistance rose for two years and dropped in September 2026 to that of a new battery; no repair is on file.",
    ),
    "K-190": (
        "A control circuit losing its volts",
        "The coil gets less and less: more than three of 24 volts are lost between battery post and terminal.",
    ),
})  # fmt: skip
"""Unit -> title and one sentence: what was staged, for the docs and for the tests that look for it."""

_FIXED = {
    "K-109": ("panel_van_diesel", 2), "K-118": ("panel_van_diesel", 2), "K-122": ("light_van", 2), "K-131": ("long_haul_tractor", 1),
    "K-145": ("city_bus", 2), "K-152": ("panel_van_diesel", 2), "K-160": ("long_haul_tractor", 2),
    "K-171": ("light_van", 2), "K-183": ("rigid_truck", 0), "K-190": ("rigid_truck", 1),
}  # fmt: skip
_LAST_LIST = AS_OF - dt.timedelta(days=7)
PUT_OFF = MappingProxyType(
    {
        "K-109": (
            (
                dt.date(2026, 4, 6),
                _LAST_LIST,
                "No strap of that length is to be had, one is being made; its ends were cleaned, and it sleeps in the hall.",
            ),
            (
                _LAST_LIST,
                dt.date(2026, 12, 5),
                "The strap is made and comes on 4 December; until then it sleeps in the hall.",
            ),
        ),
        "K-122": (
            (_LAST_LIST, dt.date(2026, 12, 1), "The contacts are on order; they go in at its service on 1 December."),
        ),
        "K-152": (
            (
                dt.date(2026, 6, 29),
                _LAST_LIST,
                "It is away on road works until November and starts without delay in the warm; the post is cleaned when it is back.",
            ),
            (
                _LAST_LIST,
                dt.date(2026, 12, 4),
                "The workshop has no hours before its service on 4 December; the post is cleaned then.",
            ),
        ),
    }
)
"""Unit -> on which day, until when, and why, its depot put off what is twice a printed limit; one after the other."""
FIRST_NUMBER = 101
NOTICED = 0.60
"""From this wear on a driver may complain of slow cranking (our choice)."""
COMPLAINT_CHANCE = 0.22
"""Chance per month that he does and is heard."""
WRONG_GUESS = 0.15
"""Chance that the workshop changes the battery although another part was to blame."""
CHEAP_FIRST = 0.35
"""Chance that it cleans, tightens or charges before replacing."""
AUTUMN_BATTERIES = 0.12
"""Share of vehicles with a worn battery that get a new one before the winter, per autumn month."""
WORN_BATTERY, AUTUMN = 0.4, (9, 10, 11)
"""Wear from which a battery is a candidate, and the months in which batteries are looked at."""
ACT_SHARE, TWICE = 0.8, 2.0
"""Chance that a drop read at twice its printed limit or more is mended the next day: within two services nearly all are."""
COLD_SPELL_C = 9.0
"""How far the lows of the coming ten days fall below the season's mean [K]."""
WET_WINTER = 1.7
"""How much wetter than drawn the winter of 2025/26 was."""


USUAL_OIL = MappingProxyType({
    "light_van": "5W-30", "panel_van_diesel": "5W-30", "rigid_truck": "10W-40", "long_haul_tractor": "10W-40",
    "city_bus": "10W-40", "wheel_loader": "15W-40",
})  # fmt: skip
OLD_OIL = MappingProxyType({"5W-30": "10W-40", "10W-40": "15W-40"})
"""Usual oil -> what was left in some vehicles of the class, which the driver's handbook no longer names."""
OLD_OIL_SHARE, WINTER_OIL_AT_THE_PASS = 0.15, "10W-40"
BATTERY_OF = MappingProxyType({"light_van": "EFB", "city_bus": "AGM", "panel_van_diesel": "AGM"})
"""Class -> the kind of battery it is built with; others are flooded, and so is every seventh of these."""
FLOODED_SHARE = 1 / 7
INTAKE_BELOW_C, INTAKE_A = 4.0, 45.0
"""Panel vans heat their intake in air below this [°C] (SAE J2438, summary: diesels use an aid below about 4 °C), with these amps
(our choice)."""
FITTING_STREAM = 80
"""Second entry of the seed of what vehicles were given."""


def operator_spec() -> FleetSpec:
    """The operator as a fleet to be simulated."""
    fixed = {int(unit[2:]) - FIRST_NUMBER: where for unit, where in _FIXED.items()}
    return FleetSpec(
        20_261, units=144, years=3.0007, start=START, name="lindenmoor", classes=CLASSES_SHARE, depots=DEPOTS,
        interval_weeks=(4, 9), missing=0.08, rpm_share=0.5, unrecorded=0.08, gross=0.0015, thermometer_bias_c=3.0,
        winter_ready=True, record_instrument=True, act_share=ACT_SHARE, act_at=TWICE, prefix="K-", first_number=FIRST_NUMBER, digits=3, fixed=fixed,
    )  # fmt: skip


def _staged(spec: FleetSpec) -> Setting:
    """Set the stories' faults, weather and hardware."""
    setting = Setting(spec)
    for unit in STORIES:
        setting.make_sound(unit)
        setting.leave_alone(unit)
    setting.wet_winter(dt.date(2025, 11, 1), dt.date(2026, 3, 31), factor=WET_WINTER)
    setting.cold_spell(AS_OF, AS_OF + dt.timedelta(days=9), below_mean_c=COLD_SPELL_C)
    setting.change_hardware("K-160", friction_a=1.12, viscous_a=1.16, battery_mohm=0.85, motor_mohm=0.94)
    setting.read_outdoors("K-160")
    _fit_out(setting)
    fates = (
        ("K-109", "ground_path", dt.date(2025, 11, 20), 1350, "linear", False),
        ("K-118", "positive_cable", dt.date(2025, 3, 1), 7400, "linear", False),
        ("K-118", "ground_path", dt.date(2025, 1, 15), 7600, "linear", False),
        ("K-118", "solenoid_contacts", dt.date(2025, 2, 1), 6400, "linear", False),
        ("K-118", "battery", dt.date(2024, 8, 1), 1150, "power", False),
        ("K-122", "solenoid_contacts", dt.date(2025, 10, 1), 1550, "linear", False),
        ("K-131", "battery", dt.date(2024, 12, 1), 810, "power", False),
        ("K-145", "starter_motor", dt.date(2025, 9, 1), 470, "linear", False),
        ("K-152", "positive_cable", dt.date(2026, 2, 1), 950, "linear", True),
        ("K-171", "ground_path", dt.date(2025, 7, 1), 620, "linear", True),
        ("K-183", "battery", dt.date(2024, 6, 1), 1100, "linear", False),
        ("K-190", "control_circuit", dt.date(2026, 1, 10), 730, "linear", False),
    )
    for unit, part, onset, days, law, curable in fates:
        setting.set_fate(unit, part, onset=onset, days=days, law=law, curable=curable)
    return setting


def _fit_out(setting: Setting) -> None:
    """Oils, batteries and intake heaters, stated in the operator's files and acting in its truth."""
    rng = np.random.default_rng((setting.spec.seed, FITTING_STREAM))
    for unit, name, depot in zip(setting.names, setting.classes, setting.depot, strict=True):
        old, flooded = rng.random(2)
        usual, place = USUAL_OIL[name], DEPOTS[depot].name
        oil = OLD_OIL.get(usual, usual) if old < OLD_OIL_SHARE and unit not in STORIES else usual
        if name == "wheel_loader" and place == "pass":
            oil = WINTER_OIL_AT_THE_PASS
        setting.fill_oil(unit, oil, usual)
        setting.fit_battery(unit, "flooded" if flooded < FLOODED_SHARE else BATTERY_OF.get(name, "flooded"))
        if name == "panel_van_diesel":
            setting.fit_aid(unit, "intake_heater", below_c=INTAKE_BELOW_C, load_a=INTAKE_A)
    setting.settle_fittings()


def _past(run: FleetRun) -> None:
    """What was done to vehicles of the stories, on record and not."""
    run.do("K-171", dt.date(2026, 2, 12), "ground_path", "cleaned", reason="preventive")
    run.do_silently("K-183", dt.date(2026, 9, 14), "battery", "replaced")


def _workshop_month(run: FleetRun, until: dt.date, rng: np.random.Generator) -> None:
    """What this operator's workshops do of their own accord within a month: complaints, and batteries in autumn."""
    days = (until - run.today).days
    state = run.true_state()
    rows = zip(state["unit"].tolist(), state["part"].tolist(), state["severity"].tolist(), strict=True)
    for unit, limiting, severity in rows:
        complaint, wrong, cheap, autumn = rng.random(4)
        date = run.today + dt.timedelta(days=int(rng.integers(0, days)))
        if unit in STORIES:
            continue
        if severity > NOTICED and complaint < COMPLAINT_CHANCE:
            part = "battery" if wrong < WRONG_GUESS else limiting
            options = CHEAP_ACTIONS[part]
            action = options[0] if options and cheap < CHEAP_FIRST else "replaced"
            run.do(unit, date, part, action, reason="complaint")
        elif limiting == "battery" and severity > WORN_BATTERY and date.month in AUTUMN and autumn < AUTUMN_BATTERIES:
            run.do(unit, date, "battery", "replaced", reason="preventive")


def demo_operator() -> Fleet:
    """Simulate the operator up to AS_OF; always the same fleet."""
    return demo_run().fleet()


def demo_run() -> FleetRun:
    """The operator's simulation, gone forward to AS_OF."""
    spec = operator_spec()
    run = FleetRun(spec, setting=_staged(spec))
    _past(run)
    rng = np.random.default_rng(20_262)
    while run.today < AS_OF:
        until = min(run.today + dt.timedelta(days=30), AS_OF)
        _workshop_month(run, until, rng)
        run.advance(until)
    return run
