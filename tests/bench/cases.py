"""Single readings and what a good technician concludes, as many sound as faulty; each with where the conclusion is from.

`parts`: what differs from the sound class (multiples of a part, or of `drag`, `field`, `torque`); `shown`: values typed instead
of what the model shows (a function of the model's value, or a value); `gone`: columns nobody measured; `doubted`: a value
that import has marked. The first finding must be one of `first`, none may be in `never`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Final

CRANK: Final = "crank_min_v crank_a peak_a drop_positive_v drop_ground_v drop_contacts_v crank_rpm"
ALL: Final = f"{CRANK} drop_control_v coil_a"
POWER: Final = (
    "battery",
    "positive_cable",
    "ground_path",
    "solenoid_contacts",
    "starter_motor",
    "engine_drag",
    "starter_or_drag",
)
CABLES: Final = ("positive_cable", "ground_path", "solenoid_contacts")
ANY: Final = (*POWER, "control_circuit", "control_wire", "coil", "feed", "starter_drive", "charging", "not_starting_system",
              "measurement")  # fmt: skip
PRACTICE: Final = "common practice"
NO_LOAD: Final = "no-load tables TM 10-3930-671-24, TM 10-4320-307-24"
AMPS: Final = "common practice; TM 10-3930-671-24: high amps are shorted windings or drag"
LOAD_TEST: Final = "BCI load-test table, half the label's amps"
COLD: Final = "TM 5-3895-382-24 Table 29: 6 to 8 V (12 V), 12 to 16 V (24 V) at -23 to -7 °C are typical"
WINDINGS: Final = "TM 5-2420-230-24-2 p. 13-33; service manuals"
OHM: Final = "Ohm's law"

Shown = float | Callable[[float], float]


@dataclass(frozen=True)
class Case:
    """One reading and its conclusion."""

    name: str
    build: str
    celsius: float
    first: tuple[str, ...]
    never: tuple[str, ...]
    source: str
    outcome: str = "started"
    jumper: str = ""
    parts: Mapping[str, float] = field(default_factory=dict)
    shown: Mapping[str, Shown] = field(default_factory=dict)
    gone: str = ""
    doubted: str = ""


def times(factor: float) -> Callable[[float], float]:
    """The model's value times a factor."""
    return lambda value: factor * value


def _sound(name: str, build: str, celsius: float, source: str, **more: object) -> Case:
    return Case(name, build, celsius, ("none",), ANY, source, **more)  # type: ignore[arg-type]


SOUND: Final = (
    _sound("sound car, warm", "town_car", 22, PRACTICE),
    _sound("sound car, -25 °C", "town_car", -25, COLD),
    _sound("sound sedan, -18 °C", "sedan", -18, COLD),
    _sound("sound pickup, -25 °C", "diesel_pickup", -25, COLD),
    _sound("sound pickup, -10 °C, slow", "diesel_pickup", -10, COLD, outcome="slow"),
    _sound("sound lorry, -25 °C", "lorry", -25, COLD),
    _sound("sound coach, -20 °C", "coach", -20, COLD),
    _sound("sound coach, 30 °C", "coach", 30, PRACTICE),
    _sound("drops twice the usual in the cold", "town_car", -20, OHM, parts={"positive": 1.6, "ground": 1.6}),
    _sound("thick oil, -25 °C", "lorry", -25, COLD, parts={"torque": 1.12}),
    _sound("drops just inside their limits", "sedan", 15, PRACTICE, parts={"positive": 1.7, "ground": 2.2, "contacts": 2.1}),
    _sound("drops over their printed volts in the cold", "sedan", -25, OHM, parts={"positive": 1.7, "ground": 2.1}),
    _sound("24 V drops just inside", "lorry", 12, PRACTICE, parts={"positive": 1.8, "ground": 2.1, "contacts": 2.5}),
    _sound("battery a quarter over the usual", "town_car", 8, LOAD_TEST, parts={"battery": 1.25}),
    _sound("battery a quarter over the usual, 24 V, -15 °C", "coach", -15, LOAD_TEST, parts={"battery": 1.25}),
    _sound("rest volts just good", "town_car", 14, "BCI rest-voltage table", parts={"rest_v": 12.5 / 12.66}),
    _sound("surface charge", "sedan", 14, "common practice: +0.15 V", shown={"rest_v": 13.0}),
    _sound("an easy engine", "sedan", 25, PRACTICE, parts={"torque": 0.82}),
    _sound("a stiff engine within a fifth", "sedan", 18, PRACTICE, parts={"torque": 1.18}),
    _sound("control circuit just inside", "town_car", 14, PRACTICE, parts={"control_mohm": 1.5}),
    _sound("hold-in 19 A", "sedan", 14, WINDINGS, shown={"coil_a": 19.0}),
    _sound("hold-in 14 A at 24 V", "lorry", 14, "TM 9-4940-568-34: 12 to 14 A at 20 V", shown={"coil_a": 14.0}),
    _sound("both windings, 80 A at 12 V", "sedan", 14, WINDINGS, shown={"coil_a": 80.0}, doubted="coil_a"),
    _sound("pull-in 62 A", "town_car", 14, WINDINGS, shown={"pull_in_a": 62.0}),
    _sound("pull-in 95 A", "diesel_pickup", 14, WINDINGS, shown={"pull_in_a": 95.0}),
    _sound("pull-in 110 A at 24 V", "lorry", 14, "TM 9-4940-568-34: 100 to 125 A at 20 V", shown={"pull_in_a": 110.0}),
    _sound("loaded check, 48 Ω lamp, both windings", "town_car", 14, "by hand: 12.6 V · 0.17 / 48.2", gone=ALL, outcome="",
           shown={"control_loaded_v": 0.05, "coil_loaded_v": 0.04, "tester_load_ohm": 48.0}),
    _sound("loaded check, headlamp, hold-in alone", "town_car", 14, "by hand: 12.6 V through 2.4 and 1.5 Ω leave 4.8 V",
           shown={"control_loaded_v": 4.86, "coil_loaded_v": 4.84, "tester_load_ohm": 2.4}),
    _sound("loaded check, 24 V, 4.8 Ω, both windings", "lorry", 14, "TM 9-4940-568-34: 0.17 to 0.2 Ω at 20 V",
           shown={"control_loaded_v": 0.95, "coil_loaded_v": 0.93, "tester_load_ohm": 4.8}),
    _sound("charging 14.3 V", "town_car", 20, PRACTICE, shown={"charging_v": 14.3}),
    _sound("charging 15.2 V at -20 °C", "sedan", -20, "from memory: regulators give more in the cold", shown={"charging_v": 15.2}),
    _sound("charging 28.4 V", "coach", 10, PRACTICE, shown={"charging_v": 28.4}),
    _sound("feed as good as the battery", "lorry", 10, PRACTICE, shown={"feed_v": 24.9}, gone=ALL, outcome=""),
    _sound("a hot coil takes fewer amps", "sedan", 34, "NBS Handbook 100: copper 80 K warmer has 1.31 times the resistance",
           shown={"coil_a": times(1 / 1.31)}),
    _sound("a clamp that catches more of the inrush", "lorry", 12, PRACTICE, shown={"peak_a": times(1.6)}),
    _sound("a slow clamp misses the peak", "town_car", 14, PRACTICE, shown={"peak_a": times(0.72)}),
    _sound("a meter's zero a hundredth low", "sedan", 14, PRACTICE, shown={"drop_ground_v": lambda v: v - 0.01}),
    _sound("five values at 38 °C", "coach", 38, PRACTICE, gone="peak_a drop_positive_v drop_ground_v drop_contacts_v drop_control_v coil_a"),
    _sound("pickup -15 °C, slow", "diesel_pickup", -15, COLD, outcome="slow"),
    _sound("charging 27.5 V at 36 °C", "coach", 36, "from memory: regulators give less in the heat", shown={"charging_v": 27.5}),
    _sound("amps and speed alone", "diesel_pickup", 6, PRACTICE, gone="crank_min_v peak_a drop_positive_v drop_ground_v drop_contacts_v"),
    _sound("volts alone, -22 °C", "lorry", -22, COLD, gone="crank_a peak_a drop_positive_v drop_ground_v drop_contacts_v crank_rpm"),
    _sound("dip of the first moment, noted as such", "sedan", 10, "ISO 16750-2: 8.0 V lowest, 9.5 V after",
           shown={"crank_dip_v": 9.6}),
)  # fmt: skip

FAULTY: Final = (
    Case("drag, warm", "sedan", 20, ("engine_drag", "starter_or_drag"), ("battery", *CABLES), AMPS, "slow", parts={"torque": 2.1}),
    Case("drag, -15 °C", "lorry", -15, ("engine_drag", "starter_or_drag"), ("battery", *CABLES), AMPS, "slow", parts={"torque": 1.9}),
    Case("drag, inrush not measured", "coach", 10, ("engine_drag", "starter_or_drag"), ("battery", *CABLES), AMPS, "slow",
         parts={"torque": 2.0}, gone="peak_a"),
    Case("shorted armature, 24 V", "lorry", 12, ("starter_motor", "starter_or_drag"), ("battery", *CABLES), NO_LOAD, "slow",
         shown={"crank_a": 690.0, "peak_a": times(1.3), "crank_rpm": 70.0, "crank_min_v": 20.8, "drop_positive_v": 0.345,
                "drop_ground_v": 0.275, "drop_contacts_v": 0.31}),
    Case("shorted field", "sedan", 15, ("starter_motor", "starter_or_drag"), ("battery", *CABLES), NO_LOAD, parts={"field": 0.6}),
    Case("open brushes", "diesel_pickup", 15, ("starter_motor",), ("battery", *CABLES, "measurement"), NO_LOAD, "slow",
         shown={"crank_a": 170.0, "peak_a": 420.0, "crank_rpm": 95.0, "crank_min_v": 12.24, "drop_positive_v": 0.053,
                "drop_ground_v": 0.044, "drop_contacts_v": 0.06}),
    Case("corroded post, at once", "coach", 5, ("positive_cable",), ("battery", "measurement", "starter_motor"), OHM, "slow",
         parts={"positive": 12.0}),
    Case("ground strap, -20 °C", "town_car", -20, ("ground_path",), ("battery", "measurement", "positive_cable"), OHM, "slow",
         parts={"ground": 8.0}),
    Case("contacts, amps not measured", "sedan", 10, ("solenoid_contacts",), ("battery", "measurement"), PRACTICE, "slow",
         parts={"contacts": 9.0}, gone="crank_a peak_a"),
    Case("both cables moderately", "lorry", 10, ("positive_cable", "ground_path"), ("battery", "starter_motor"), PRACTICE,
         parts={"positive": 3.5, "ground": 4.0}),
    Case("contacts worse than the cable", "sedan", 10, ("solenoid_contacts",), ("battery",), "our choice: the largest excess first",
         "slow", parts={"positive": 3.0, "contacts": 14.0}),
    Case("slip, nothing else changed", "coach", 12, ("measurement",), ("battery", *CABLES), PRACTICE,
         shown={"drop_ground_v": times(10.0)}, doubted="drop_ground_v"),
    Case("slip in the cold, that import took for a slow start", "sedan", -12, ("measurement",), ("battery", *CABLES), OHM,
         shown={"drop_positive_v": times(10.0)}),
    Case("sevenfold at once, which no slip of the point makes", "coach", 12, ("ground_path",), ("battery", "measurement"), OHM,
         parts={"ground": 7.0}, doubted="drop_ground_v"),
    Case("worn battery, warm", "town_car", 20, ("battery",), CABLES, LOAD_TEST, parts={"battery": 2.6}),
    Case("worn battery, -15 °C", "sedan", -15, ("battery",), (*CABLES, "engine_drag"), LOAD_TEST, "slow", parts={"battery": 2.4}),
    Case("worn battery, 24 V", "coach", 5, ("battery",), (*CABLES, "measurement"), LOAD_TEST, "slow", parts={"battery": 2.2}),
    Case("discharged", "diesel_pickup", 10, ("battery",), CABLES, "BCI rest-voltage table", "slow",
         parts={"battery": 1.4, "rest_v": 12.0 / 12.66}),
    Case("one of a pair flat", "coach", 8, ("battery",), CABLES, "BCI rest-voltage table: 12.65 and 11.9 V", "slow",
         parts={"battery": 1.6, "rest_v": 24.55 / 25.3}),
    Case("dead cell, one click", "sedan", 8, ("battery",), (*CABLES, "starter_motor"), PRACTICE, "click", gone=CRANK,
         shown={"rest_v": 12.4, "crank_min_v": 4.2}),
    Case("no click, control open", "lorry", 8, ("control_circuit", "control_wire"), POWER, PRACTICE, "no_click", gone=ALL,
         shown={"drop_control_v": 25.0, "coil_a": 0.0, "crank_a": 0.0, "crank_min_v": 25.2}),
    Case("no click, battery good", "town_car", 8, ("control_circuit", "control_wire", "feed"), POWER, PRACTICE, "no_click", gone=ALL),
    Case("no click, feed dead", "sedan", 8, ("feed",), (*POWER, "coil"), PRACTICE, "no_click", gone=ALL, shown={"feed_v": 0.0}),
    Case("no crank by jumper, feed dead, 24 V", "coach", 8, ("feed",), POWER, PRACTICE, "no_start", "no_crank", gone=ALL,
         shown={"feed_v": 0.3}),
    Case("jumper cranks, 24 V", "lorry", 8, ("control_circuit",), POWER, PRACTICE, "no_click", "cranks", gone=ALL),
    Case("one click, contacts open", "coach", 8, ("solenoid_contacts",), ("battery", "starter_motor"), PRACTICE, "click", gone=CRANK,
         shown={"drop_contacts_v": 24.6, "drop_positive_v": 0.0, "drop_ground_v": 0.01, "crank_a": 9.0, "crank_min_v": 25.0}),
    Case("one click, ground open", "sedan", 8, ("ground_path",), ("battery", "starter_motor"), PRACTICE, "click", gone=ALL,
         shown={"drop_ground_v": 11.6, "drop_positive_v": 0.01, "crank_a": 4.0, "crank_min_v": 12.4}),
    Case("seized", "diesel_pickup", 8, ("engine_drag", "starter_or_drag"), ("battery", *CABLES), NO_LOAD, "click",
         shown={"crank_a": 1040.0, "peak_a": 1080.0, "crank_rpm": 0.0, "crank_min_v": 9.9, "drop_positive_v": 0.33,
                "drop_ground_v": 0.27, "drop_contacts_v": 0.37}),
    Case("seized, speed not measured", "lorry", 8, ("engine_drag", "starter_or_drag"), ("battery", *CABLES), NO_LOAD, "no_start",
         shown={"crank_a": 1050.0, "peak_a": 1100.0, "crank_min_v": 18.0, "drop_positive_v": 0.55, "drop_ground_v": 0.44,
                "drop_contacts_v": 0.48}, gone="crank_rpm"),
    Case("spins, told", "sedan", 8, ("starter_drive",), ("starter_motor", "battery"), PRACTICE, "spins", gone=ALL),
    Case("spins, by amps", "lorry", 8, ("starter_drive",), ("starter_motor", "battery"), "PM starter data: 90 A at no load", "no_start",
         shown={"crank_a": 140.0, "peak_a": 420.0, "crank_rpm": 0.0, "crank_min_v": 24.4, "drop_positive_v": 0.07,
                "drop_ground_v": 0.056, "drop_contacts_v": 0.063}),
    Case("chatter, discharged", "town_car", 8, ("battery",), ("coil", "starter_motor"), PRACTICE, "chatter", gone=ALL,
         shown={"rest_v": 11.6, "crank_dip_v": 5.0}),
    Case("chatter, volts hold", "town_car", 8, ("coil",), ("battery", "starter_motor"), PRACTICE, "chatter", gone=ALL,
         shown={"rest_v": 12.6, "crank_dip_v": 10.8}),
    Case("starved coil, 24 V", "coach", 8, ("control_circuit", "control_wire"), ("battery", "coil"), "TM 5-3895-382-24: pulls in at 18 V",
         "no_start", gone=ALL, shown={"drop_control_v": 11.0, "coil_a": 6.0}),
    Case("control drop 2.9 V, 24 V", "lorry", 8, ("control_circuit", "control_wire"), POWER, WINDINGS, parts={"control_mohm": 3.6}),
    Case("MIN caught the inrush, 24 V", "coach", 14, ("none", "measurement"), ("battery", *CABLES), "ISO 16750-2: the dip lasts 50 ms",
         shown={"crank_min_v": 18.2}),
    Case("MIN caught the inrush, speed not read", "sedan", 14, ("none", "measurement"), ("battery", *CABLES), "ISO 16750-2",
         shown={"crank_min_v": 9.95}, gone="crank_rpm"),
    Case("rest volts with the preheat on", "lorry", 4, ("measurement",), ("battery", *CABLES), "open log: 11.85 to 10.9 V by preheat",
         shown={"rest_v": 24.0}),
    Case("clamp round one of two, 24 V", "coach", 14, ("measurement",), ("battery", "starter_motor"), OHM,
         shown={"crank_a": times(0.48), "peak_a": times(0.49)}),
    Case("no charging, 24 V", "lorry", 14, ("charging",), ("starter_motor",), PRACTICE, shown={"charging_v": 24.9}),
    Case("overcharging, 24 V", "coach", 14, ("charging",), ("starter_motor", "battery"), PRACTICE, shown={"charging_v": 31.5}),
    Case("no charging, -20 °C", "sedan", -20, ("charging",), ("starter_motor",), PRACTICE, shown={"charging_v": 12.7}),
    Case("cranks only, 24 V", "lorry", 6, ("not_starting_system",), POWER, PRACTICE, "cranks_only"),
    Case("cranks only, nothing measured", "sedan", 6, ("not_starting_system",), POWER, PRACTICE, "cranks_only", gone=f"{ALL} rest_v"),
    Case("does not start at -20 °C though cranked as ever", "coach", -20, ("not_starting_system",), POWER, PRACTICE, "no_start"),
    Case("loaded check, wire, 2.4 Ω", "town_car", 14, ("control_wire",), ("coil", "battery"), "by hand: 0.35 and 0.17 Ω", "no_start",
         gone=ALL, shown={"control_loaded_v": 1.6, "coil_loaded_v": 0.82, "tester_load_ohm": 2.4}),
    Case("loaded check, coil ground, 24 V", "lorry", 14, ("coil",), ("control_wire", "battery"), "by hand: 9 Ω against 2.4", "no_start",
         gone=ALL, shown={"control_loaded_v": 3.9, "coil_loaded_v": 3.89, "tester_load_ohm": 48.0}),
    Case("loaded check, coil open, 24 V", "coach", 14, ("coil",), ("battery",), PRACTICE, "no_click", gone=ALL,
         shown={"control_loaded_v": 25.1, "coil_loaded_v": 25.1}),
    Case("coil takes 32 A", "town_car", 14, ("coil",), POWER, WINDINGS, shown={"coil_a": 32.0}),
    Case("lead on ground instead of the motor's stud", "sedan", 12, ("measurement",), POWER, OHM, shown={"drop_contacts_v": 11.4}),
    Case("lead on ground, positive cable, 24 V", "lorry", 12, ("measurement",), POWER, OHM, shown={"drop_positive_v": 22.9}),
    Case("a drop that leaves the motor nothing, 24 V", "lorry", 12, ("measurement",), POWER, OHM, shown={"drop_positive_v": 16.5}),
    Case("driven in warm, drops not read", "coach", 8, ("measurement", "none"), POWER, "ASTM D341: oil at 80 °C is thin",
         parts={"torque": 0.45}, gone="peak_a drop_positive_v drop_ground_v drop_contacts_v"),
    Case("drag, slow by the driver's word alone", "lorry", 10, ("engine_drag", "starter_or_drag"), ("battery", "starter_motor", *CABLES), AMPS,
         "slow", parts={"torque": 1.8}, gone="peak_a crank_rpm"),
    Case("control drop read to ground, 24 V", "coach", 12, ("measurement",), POWER, OHM, shown={"drop_control_v": 21.6}),
    Case("speed read double, 24 V", "lorry", 12, ("measurement",), POWER, PRACTICE, shown={"crank_rpm": times(2.0)}),
    Case("lowest volts not held by the meter, 24 V", "coach", 12, ("measurement",), POWER, OHM, shown={"crank_min_v": 25.25}),
    Case("driven in warm", "diesel_pickup", 5, ("measurement", "none"), POWER, "ASTM D341: oil at 80 °C is thin", parts={"torque": 0.45}),
    Case("driven in warm, worn battery", "sedan", 5, ("battery",), (*CABLES, "measurement"), LOAD_TEST,
         parts={"torque": 0.45, "battery": 2.8}),
    Case("generator that idles over a full battery", "town_car", 18, ("charging",), ("battery",), "from memory: managed generators",
         shown={"charging_v": 13.0}),
    Case("discharged though the generator charges", "sedan", 12, ("battery",), ("charging", *CABLES), "BCI rest-voltage table", "no_start",
         gone=ALL, shown={"rest_v": 11.7, "charging_v": 14.3}),
    Case("one click, contacts lose nothing, 24 V", "lorry", 9, ("starter_motor",), ("battery", "solenoid_contacts"), NO_LOAD, "click",
         gone=ALL, shown={"drop_contacts_v": 0.02, "crank_a": 0.0, "crank_min_v": 25.1}),
    Case("chatter, 6 V lost in the cable", "town_car", 8, ("positive_cable",), ("battery", "coil"), OHM, "chatter", gone=ALL,
         shown={"drop_positive_v": 6.1, "crank_min_v": 11.9}),
    Case("pull-in 30 A", "sedan", 14, ("coil",), POWER, WINDINGS, "no_start", gone=ALL, shown={"pull_in_a": 30.0}),
)  # fmt: skip
CASES: Final = (*SOUND, *FAULTY)
