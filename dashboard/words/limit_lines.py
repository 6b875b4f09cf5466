"""The limit of every measurement in a few words: one source for the phone in the bay and for its sheet on paper."""

from typing import Final

from analysis.circuit.battery import least_cranking_v, load_test_minimum_v
from analysis.circuit.limits import Limit, Limits
from dashboard.words.plain_text import number, temperature

LOAD_TEST_AT_C: Final = (20.0, 0.0, -18.0)  # [°C] rows of the load-test table on paper, where nobody knows yet how cold


def limit_lines(
    limits: Limits,
    *,
    usual_a: float | None = None,
    temperature_c: float | None = None,
    fahrenheit: bool = False,
    drops_mv: bool = False,
) -> dict[str, str]:
    """Measurement -> what it is held against, as `analysis.bay.verdict` judges it.

    :param usual_a: steady amps usual in the class [A], None where nobody knows
    :param temperature_c: of the reading [°C], None before it is noted
    :param fahrenheit: temperatures in °F
    :param drops_mv: voltage drops in mV, as this meter shows them
    """
    at = LOAD_TEST_AT_C if temperature_c is None else (temperature_c,)
    rows = ", ".join(f"{_load_test(limits, c)} V at {temperature(c, fahrenheit=fahrenheit)}" for c in at)
    warm = limits.least_cranking_battery_v.value
    least = float(least_cranking_v(warm, float("nan") if temperature_c is None else temperature_c))
    moved = (
        "" if least == warm else f" at {temperature(at[0], fahrenheit=fahrenheit)} ({number(warm, 2)} V in the warm)"
    )
    return {
        "rest_v": f"at least {_volts(limits.rest_watch_v)}; under {_volts(limits.rest_act_v)} charge first",
        "crank_min_v": f"at least {number(least, 2)} V{moved}; at half the label's amps the load-test table's {rows}",
        "crank_a": _amps(limits, usual_a),
        "drop_positive_v": f"at most {_volts(limits.positive_cable_drop_v, mv=drops_mv)}",
        "drop_ground_v": f"at most {_volts(limits.ground_path_drop_v, mv=drops_mv)}",
        "drop_contacts_v": f"at most {_volts(limits.solenoid_contacts_drop_v, mv=drops_mv)}",
        "drop_control_v": f"at most {_volts(limits.control_circuit_drop_v, mv=drops_mv)}",
        "coil_a": f"{number(limits.least_coil_a.value, 1)} to {number(limits.highest_coil_a.value, 1)} A",
        "crank_rpm": f"at least {number(limits.least_cranking_rpm.value)} rpm",
        "crank_s": f"at most {number(limits.longest_crank_s.value)} s",
    }


def _volts(limit: Limit, *, mv: bool = False) -> str:
    return f"{number(1000.0 * limit.value)} mV" if mv else f"{number(limit.value, 2)} V"


def _load_test(limits: Limits, celsius: float) -> str:
    return number(float(load_test_minimum_v(celsius, system_v=limits.system_v)), 2)


def _amps(limits: Limits, usual_a: float | None) -> str:
    """From and to what the class usually takes, or the most that is printed."""
    if usual_a is None:
        return f"at most {number(limits.highest_cranking_a.value)} A"
    low, high = (usual_a * share.value for share in (limits.low_amps_share, limits.high_amps_share))
    return f"{number(low)} to {number(high)} A"
