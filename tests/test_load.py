"""Weak field against engine drag: told apart by cranking speed, and only by it."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.bay.closure import predicted_measurements
from analysis.circuit.load import infer_load
from analysis.circuit.resistances import MEASURED
from analysis.starting.loop import StartState

VAN = StartState(12.65, 7.0, 0.7, 0.6, 0.95, 17.0, 140.0, 0.038, 208.0, 107.0, 1500.0, load_speed_share=0.0)


def reading(state: StartState) -> pd.DataFrame:
    return pd.DataFrame(predicted_measurements(state, np.array([20.0])), columns=list(MEASURED))


def test_motor_constant_and_torque_are_found_again() -> None:
    """Torque by hand: 140 A x 0.038 V per rpm x 60 / 2 pi = 50.8 N m at the crankshaft."""
    found = infer_load(reading(VAN), 12).iloc[0]
    assert found["emf_v_per_rpm"] == pytest.approx(0.038, rel=1e-9)
    assert found["torque_nm"] == pytest.approx(50.8, abs=0.05)
    assert found["power_w"] == pytest.approx(found["back_emf_v"] * 140.0)
    assert found["reason"] == ""


def test_speed_tells_weak_field_from_drag_and_amps_alone_do_not() -> None:
    weak = replace(VAN, emf_v_per_rpm=0.038 * 0.85, load_a=140.0 / 0.85)
    drag = replace(VAN, load_a=140.0 / 0.85)
    one, two = (infer_load(reading(s), 12).iloc[0] for s in (weak, drag))
    assert one["torque_nm"] == pytest.approx(50.8, abs=0.05)
    assert two["torque_nm"] == pytest.approx(50.8 / 0.85, abs=0.06)
    assert one["emf_v_per_rpm"] == pytest.approx(0.038 * 0.85)
    assert two["emf_v_per_rpm"] == pytest.approx(0.038)
    electrical = [c for c in MEASURED if c != "crank_rpm"]
    pd.testing.assert_frame_equal(reading(weak)[electrical], reading(drag)[electrical])
    blind = infer_load(reading(drag).drop(columns="crank_rpm"), 12).iloc[0]
    assert np.isnan(blind["torque_nm"])
    assert blind["back_emf_v"] == pytest.approx(two["back_emf_v"])
    assert blind["reason"] == "constant_without_speed"


def test_standard_errors_agree_with_monte_carlo() -> None:
    """40,000 draws; 5 % allows for curvature."""
    rng, n = np.random.default_rng(4), 40_000
    one = reading(VAN)
    stated = infer_load(one, 12).iloc[0]
    many = pd.concat([one] * n, ignore_index=True)
    volts = np.sqrt(0.02**2 + 0.04**2 + 0.3**2)  # meter, surface charge, brushes
    many["rest_v"] = np.minimum(many["rest_v"] + volts * rng.standard_normal(n), 1e3)
    many["crank_a"] *= 1 + np.hypot(0.03, 1 / one["crank_a"][0]) * rng.standard_normal(n)
    many["peak_a"] *= 1 + np.hypot(0.05, 1 / one["peak_a"][0]) * rng.standard_normal(n)
    many["crank_rpm"] *= 1 + 0.03 * rng.standard_normal(n)
    drive, share = many["rest_v"] - 1.0, many["crank_a"] / many["peak_a"]
    emf = drive * (1 - share)
    torque = emf * many["crank_a"] / (many["crank_rpm"] * 2 * np.pi / 60)
    assert emf.std() == pytest.approx(stated["back_emf_se_v"], rel=0.05)
    assert (emf / many["crank_rpm"]).std() == pytest.approx(stated["emf_se_v_per_rpm"], rel=0.05)
    assert torque.std() == pytest.approx(stated["torque_se_nm"], rel=0.05)


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"peak_a": np.nan}, "emf_without_peak"),
        ({"rest_v": np.nan}, "no_rest_v"),
        ({"crank_a": 0.0}, "no_crank_a"),
        ({"peak_a": 100.0}, "peak_not_above"),
        ({"crank_rpm": 0.0}, "constant_without_speed"),
    ],
)
def test_what_is_not_identified_says_so(change: dict[str, float], reason: str) -> None:
    found = infer_load(reading(VAN).assign(**change), 12).iloc[0]
    assert found["reason"] == reason
    assert np.isnan(found["torque_nm"])
