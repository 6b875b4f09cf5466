"""What we chose or took from memory about starts in a log of the bus."""

from dataclasses import dataclass
from typing import Final

from analysis.stated import stated


# fmt: off
@dataclass(frozen=True)
class Finding:
    """How starts are found by the engine's speed, and what is read of each (`starts`)."""

    turns_rpm: float = stated(60.0, "rpm", 40.0, 90.0,
        "from here on the starter turns the engine; our choice, below it speed pick-ups flicker")
    runs_rpm: float = stated(400.0, "rpm", 350.0, 450.0,
        "from here on the engine runs by itself: no starter is so fast, no idle so slow; common practice")
    runs_s: float = stated(2.0, "s", 1.0, 4.0, "that it keeps running, or it did not start; our choice")
    gap_s: float = stated(3.0, "s", 2.0, 6.0, "without engine speed: what happened meanwhile is not known; our choice")
    least_crank_s: float = stated(0.3, "s", 0.15, 0.6, "that an engine which does not start is turned, or it is a flicker; our choice")
    longest_crank_s: float = stated(60.0, "s", 30.0, 120.0, "that a starter turns; our choice, because 30 s are allowed")
    inrush_s: float = stated(0.25, "s", 0.1, 0.4, "from the first movement, in which the dip of the inrush lies; our choice")
    steady_volts_hz: float = stated(20.0, "1/s", 10.0, 50.0,
        "slower volts give an upper bound of the lowest only; our choice, because a compression takes a tenth of a second")
    rest_s: float = stated(60.0, "s", 20.0, 120.0, "before the start in which the rest volts are looked for; our choice")
    rest_share: float = stated(0.9, "1", 0.75, 1.0,
        "quantile of the volts before the start that is rest; our choice, because glow plugs and pumps draw before a start")
    least_share: float = stated(0.3, "1", 0.2, 0.4,
        "of the rest volts: lower ones are a fault of the log, because no control unit lives on them; our choice")
    speed_doubt: float = stated(0.05, "1", 0.03, 0.1,
        "relative error of the cranking speed at the least; our choice, because it ripples with the compressions")
    one_sample_doubt: float = stated(0.25, "1", 0.15, 0.4,
        "relative error of a cranking speed of one sample, which may be speeding up; our choice")
    air_s: float = stated(600.0, "s", 300.0, 1800.0, "about the start in which temperatures are looked for; our choice")
    cold_engine_k: float = stated(15.0, "K", 8.0, 25.0, "of coolant above the air up to which an engine is cold; our choice")
    cold_coolant_c: float = stated(35.0, "°C", 25.0, 45.0,
        "coolant up to which an engine is cold where the air's temperature is not known; our choice")


# fmt: on
FINDING: Final = Finding()
