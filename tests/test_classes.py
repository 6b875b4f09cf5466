"""What a class of vehicles has in common, learned from its readings, held against circuits whose laws are known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from samples_fleet import fleet

from analysis.circuit.limits import (
    BATTERY_CURVATURE,
    BATTERY_PER_K,
    BRUSH_V,
    COPPER_PER_K,
    DRAG_CURVATURE,
    DRAG_PER_K,
    REFERENCE_C,
)
from analysis.circuit.temperature import BATTERY_LAW, DRAG_LAW
from analysis.readings import class_laws as classes
from analysis.readings.choices import CLASSES
from analysis.readings.class_laws import (
    combined,
    estimate_laws,
    measured_scatter,
    observe,
    usual_values,
    with_assumed,
)
from analysis.readings.observe import BATTERY, CHANNELS, CONTACTS, CONTROL, GROUND, LOAD, MOTOR, POSITIVE
from analysis.readings.panel import MEASURED, Panel, make_panel

BASE = np.array([6.0, 0.6, 0.7, 0.9, 11.0, 180.0, 110.0])
SPREAD = np.array([0.12, 0.2, 0.2, 0.15, 0.1, 0.06, 0.2])
EMF_PER_RPM, WORN_MOHM = 0.045, 14.0


def van_fleet(
    n: int = 80,
    width: int = 10,
    *,
    battery_b: float = BATTERY_PER_K.value,
    battery_c: float = BATTERY_CURVATURE.value,
    load_b: float = DRAG_PER_K.value,
    load_c: float = DRAG_CURVATURE.value,
    seed: int = 1,
    inrush: float = 0.85,
    share: float = 0.0,
    worn: int = 0,
) -> Panel:
    """Vehicles of one class, read at many temperatures by a workshop meter; truth is in the arguments.

    share: of the load that falls with speed; worn: so many vehicles gain WORN_MOHM in the ground path half-way.
    """
    rng = np.random.default_rng(seed)
    t = rng.uniform(-10.0, 30.0, (n, width))
    x = REFERENCE_C.value - t
    unit = np.exp(SPREAD[:, None, None] * rng.standard_normal((7, n, 1))) * BASE[:, None, None]
    copper = 1.0 - COPPER_PER_K.value * x
    battery = unit[BATTERY] * np.exp(battery_b * x + battery_c * x**2)
    positive, ground, motor = (unit[c] * copper for c in (POSITIVE, GROUND, MOTOR))
    ground[:worn, width // 2 :] += WORN_MOHM
    contacts = unit[CONTACTS] * np.ones_like(t)
    loop = battery + positive + ground + motor + contacts
    full, turning_v = unit[LOAD] * np.exp(load_b * x + load_c * x**2), 12.65 - BRUSH_V.value
    usual_v = turning_v - 1e-3 * BASE[LOAD] * BASE[:LOAD].sum()
    amps = full * (1.0 - share + share * turning_v / usual_v) / (1.0 + 1e-3 * full * share * loop / usual_v)
    rest = 12.65 + 0.03 * rng.standard_normal(t.shape)

    def read(values: np.ndarray, relative: float, absolute: float = 0.0) -> np.ndarray:
        return values * (1 + relative * rng.standard_normal(t.shape)) + absolute * rng.standard_normal(t.shape)

    values = {
        "temperature_c": t, "rest_v": rest, "crank_min_v": rest - amps * battery / 1e3 + 0.02 * rng.standard_normal(t.shape),
        "crank_a": read(amps, 0.02), "peak_a": read(inrush * 12.65 / loop * 1e3, 0.03),
        "drop_positive_v": read(amps * positive / 1e3, 0.05), "drop_ground_v": read(amps * ground / 1e3, 0.05),
        "drop_contacts_v": read(amps * contacts / 1e3, 0.05), "drop_control_v": read(7e-3 * unit[CONTROL] * np.ones_like(t), 0.05),
        "coil_a": read(np.full_like(t, 7.0), 0.02), "crank_rpm": read((turning_v - amps * loop / 1e3) / EMF_PER_RPM, 0.02),
    }  # fmt: skip
    names = [f"V{k:03d}" for k in range(n)]
    units = pd.DataFrame({"unit": names, "vehicle_class": "van", "system_v": 12, "depot": "hill", "fuel": "diesel"})
    taken = pd.date_range("2022-01-01T09:00", periods=width, freq="35D")
    frame = pd.DataFrame({"unit": np.repeat(names, width), "taken_at": np.tile(taken, n)})
    return make_panel(units, frame.assign(**{k: v.ravel() for k, v in values.items()}))


@pytest.mark.parametrize(
    ("battery", "load"),
    [((0.010, 0.0), (0.007, 0.0)), ((0.018, 0.0), (0.012, 0.0)), ((0.009, 1.75e-4), (0.012, 2.8e-4)),
     ((0.006, 3e-4), (0.008, 4e-4))],
)  # fmt: skip
def test_temperature_laws_are_found_again(battery: tuple[float, float], load: tuple[float, float]) -> None:
    """Simulated truth: 800 readings between -10 and 30 °C, straight laws, those of print, and others bent more.  At 0 °C,
    20 K from the reference, the law is right to 6 %; single coefficients may trade slope for curvature."""
    truth = {"battery_b": battery[0], "battery_c": battery[1], "load_b": load[0], "load_c": load[1]}
    laws = estimate_laws(van_fleet(**truth, share=CLASSES.speed_share))
    at = np.array([20.0, 20.0**2])
    assert laws.battery_per_k[0] * at[0] + laws.battery_curve[0] * at[1] == pytest.approx(at @ battery, abs=0.06)
    assert laws.load_per_k[0] * at[0] + laws.load_curve[0] * at[1] == pytest.approx(at @ load, abs=0.06)


@pytest.mark.nightly
def test_the_stated_doubt_of_a_law_covers_the_truth() -> None:
    """Simulated truth: 24 small fleets (ten readings each of six vehicles) whose laws lie about the prior as it says;
    the correction from their usual temperature to -20 degC is out by its stated error: 0.5 to 1.5 of it in root mean
    square, for 24 fleets a band of three standard errors.  More readings, less doubt."""
    rng, z = np.random.default_rng(5), []
    at, one = np.array([[REFERENCE_C.value + 20.0]]), np.zeros(1, dtype=np.int64)
    for seed in range(24):
        truth, bend = rng.multivariate_normal(
            [BATTERY_LAW.b_per_k, BATTERY_LAW.c_per_k2], BATTERY_LAW.covariance, method="eigh"
        )
        laws = estimate_laws(van_fleet(6, 10, battery_b=truth, battery_c=bend, seed=seed))
        centre = laws.battery_doubt.centre[0]
        step = np.array([at[0, 0], at[0, 0] ** 2]) - centre
        error = (laws.battery_per_k[0] - truth) * step[0] + (laws.battery_curve[0] - bend) * step[1]
        z.append(error / laws.battery_doubt.relative_se(at, one)[0, 0])
    assert 0.5 < np.sqrt(np.mean(np.square(z))) < 1.5
    small, large = (estimate_laws(van_fleet(n)).battery_doubt.relative_se(at, one)[0, 0] for n in (6, 80))
    assert large < 0.8 * small, "what all readings share does not average away"


def test_usual_values_are_found_again() -> None:
    """Simulated truth: the median vehicle within 8 % (80 vehicles with 6 to 20 % spread: 1 to 3 % standard error; the
    usual value is taken from lower readings of each vehicle, hence a little low)."""
    laws = estimate_laws(van_fleet())
    for c in range(len(CHANNELS)):
        tolerance = 0.20 if c == MOTOR else 0.08  # the inrush share is learned, and scales the motor
        assert laws.base[0, c] == pytest.approx(BASE[c], rel=tolerance), CHANNELS[c]
    assert laws.rest_v[0] == pytest.approx(12.65, abs=0.02)
    assert laws.emf_per_rpm[0] == pytest.approx(EMF_PER_RPM, rel=0.12)


def test_the_inrush_share_follows_the_truth() -> None:
    """Simulated truth: cranking speeds tell how much of rest volts over peak amps is resistance.

    Order and 0.12: the estimate is known to come out about 0.1 low on noisy meters, because noise in the inrush grows
    with the share tried (errors in variables); the prior holds it.
    """
    found = [float(estimate_laws(van_fleet(inrush=share)).inrush[0, 0]) for share in (0.70, 0.80, 0.90)]
    assert found[0] < found[1] < found[2]
    assert found == pytest.approx([0.70, 0.80, 0.90], abs=0.12)


@pytest.mark.parametrize("share", [0.2, 0.3, 0.4])
def test_the_share_of_the_load_that_goes_with_speed_is_not_hidden_in_the_law_of_the_cold(share: float) -> None:
    """Simulated truth, series circuit by hand: a cold engine turns slower and asks for fewer amps for it, and a law fitted to these
    amps is flatter.  Beside it vehicles slowed by a worn ground path tell the share to 0.06; noise of the clamp, which makes a
    reading look slow and its amps high, does not lower it."""
    found = [float(estimate_laws(van_fleet(120, share=share, worn=60, seed=seed)).speed_share[0]) for seed in (1, 2, 3)]
    assert np.mean(found) == pytest.approx(share, abs=0.06)


def test_back_emf_is_reckoned_with_the_bend_of_the_battery_s_law() -> None:
    """Simulated truth: back-emf of each reading, from a law bent strongly; without the bend it would read 1.4 V high below -5
    degC, where it is right to 0.15 V in the middle of 80 vehicles."""
    law = (np.array([0.009]), np.array([6e-4]))
    load = (np.array([DRAG_PER_K.value]), np.array([DRAG_CURVATURE.value]))
    panel = van_fleet(battery_c=6e-4)
    emf_at, _ = classes._modelled_emf(panel, law, load, 1.0, np.ones(len(panel.group), dtype=bool))
    found, truth = emf_at(0.85), 0.045 * panel.measured["crank_rpm"]
    cold = panel.measured["temperature_c"] < -5.0
    assert cold.sum() > 50
    assert np.median((found - truth)[cold]) == pytest.approx(0.0, abs=0.15)


def test_spreads_lie_between_what_was_put_in_and_the_prior() -> None:
    """Property of pooling: 80 vehicles against a prior worth ten."""
    laws = estimate_laws(van_fleet())
    for c in (BATTERY, POSITIVE, GROUND, CONTACTS, LOAD):
        low, high = sorted((SPREAD[c], CLASSES.base_sd[c]))
        assert 0.6 * low < laws.base_sd[0, c] < 1.5 * high, CHANNELS[c]


def test_worn_vehicles_do_not_move_what_is_usual() -> None:
    """Robustness: a tenth of the fleet with batteries worn to three times their resistance moves usual by under 5 %."""
    sound = van_fleet()
    sag = sound.measured["rest_v"] - sound.measured["crank_min_v"]
    worn = sound.measured["crank_min_v"] - np.where(np.arange(80)[:, None] < 8, 2.0, 0.0) * sag
    one, two = (
        estimate_laws(replace(sound, measured={**sound.measured, "crank_min_v": v}))
        for v in (sound.measured["crank_min_v"], worn)
    )
    assert two.base[0, BATTERY] == pytest.approx(one.base[0, BATTERY], rel=0.05)


def test_wear_that_comes_in_one_season_is_not_taken_for_a_law() -> None:
    """Robustness: vehicles that wear while the weather cools do not steepen the class's law by more than a third."""
    panel = van_fleet(load_b=0.008)
    laws = estimate_laws(panel)
    wear = 1.0 + 0.5 * np.linspace(0.0, 1.0, panel.day.shape[1])[None, :] * (np.arange(80)[:, None] < 20)
    worn = replace(panel, measured={**panel.measured, "crank_a": panel.measured["crank_a"] * wear})
    assert estimate_laws(worn).load_per_k[0] == pytest.approx(laws.load_per_k[0], rel=0.34)


def test_a_class_without_readings_has_priors_and_practice() -> None:
    """Contract: too little data is a stated result: every law finite, from published priors and common practice."""
    units = pd.DataFrame(
        {"unit": ["A", "B"], "vehicle_class": ["van", "bus"], "system_v": [12, 24], "depot": "hill", "fuel": "diesel"}
    )
    panel = make_panel(
        units, pd.DataFrame({"unit": pd.Series(dtype="str"), "taken_at": pd.Series(dtype="datetime64[us]")})
    )
    laws = estimate_laws(panel)
    assert laws.battery_per_k == pytest.approx(np.full(2, BATTERY_LAW.b_per_k))
    assert laws.battery_curve == pytest.approx(np.full(2, BATTERY_LAW.c_per_k2))
    assert laws.load_per_k == pytest.approx(np.full(2, DRAG_LAW.b_per_k))
    assert laws.load_curve == pytest.approx(np.full(2, DRAG_LAW.c_per_k2))
    for doubt, law in ((laws.battery_doubt, BATTERY_LAW), (laws.load_doubt, DRAG_LAW)):
        assert doubt.covariance == pytest.approx(np.tile(law.covariance, (2, 1, 1)))
    assert np.isfinite(laws.base).all()
    assert (laws.base > 0).all()
    assert laws.base_sd == pytest.approx(np.tile(CLASSES.base_sd, (2, 1)))
    assert laws.coil_mohm[1] == pytest.approx(1e3 * CLASSES.assumed_coil_v / CLASSES.assumed_coil_a)
    amps_12, amps_24 = laws.base[panel.groups.index("van 12 V"), LOAD], laws.base[panel.groups.index("bus 24 V"), LOAD]
    assert 100 < amps_12 < 400
    assert 150 < amps_24 < 900


def test_a_class_never_read_beside_one_that_is_has_practice_too() -> None:
    """Contract, and property: the vehicles of a class without readings change nothing in the class that has some."""
    read = van_fleet(20, 5)
    buses = pd.DataFrame(
        {"unit": ["B1", "B2"], "vehicle_class": "bus", "system_v": 24, "depot": "hill", "fuel": "diesel"}
    )
    taken = [pd.Timestamp("2022-01-01") + pd.Timedelta(days=35 * k) for k in range(5)]
    frame = pd.DataFrame({"unit": np.repeat(read.units["unit"], 5), "taken_at": taken * 20}).reset_index(drop=True)
    frame = frame.assign(**{k: v.ravel() for k, v in read.measured.items()})
    laws = estimate_laws(make_panel(pd.concat([read.units, buses], ignore_index=True), frame))
    assert np.isfinite(laws.base).all()
    groups = make_panel(pd.concat([read.units, buses], ignore_index=True), frame).groups
    assert laws.base[groups.index("van 12 V")] == pytest.approx(estimate_laws(read).base[0])
    assert 150 < laws.base[groups.index("bus 24 V"), LOAD] < 900


@pytest.mark.parametrize("name", MEASURED)
def test_laws_are_finite_without_any_one_column(name: str) -> None:
    """Contract: any measurement may be missing."""
    panel = van_fleet(20, 5)
    gone = replace(panel, measured={**panel.measured, name: np.full(panel.day.shape, np.nan)})
    laws = estimate_laws(gone)
    for field in (
        "battery_per_k",
        "load_per_k",
        "base",
        "base_sd",
        "emf_v",
        "scatter",
        "coil_mohm",
        "inrush",
        "speed_share",
    ):
        assert np.isfinite(getattr(laws, field)).all(), field


def test_filled_in_values_leave_known_ones_alone() -> None:
    """Property: `with_assumed` changes only what is missing."""
    panel = van_fleet(10, 4)
    base = np.tile(BASE, (1, 1))
    base[0, [POSITIVE, MOTOR]] = np.nan
    out = with_assumed(panel, base, np.array([9.2]), np.array([200.0]))
    known = np.isfinite(base)
    assert (out[known] == base[known]).all()
    assert np.isfinite(out).all()
    assert 3.0 < out[0, MOTOR] < 30.0


def test_scatter_is_one_for_readings_with_the_stated_error_and_two_for_twice_as_much() -> None:
    """Simulated truth: 4000 differences; 15 % covers sampling and the pull of the prior towards one."""
    rng = np.random.default_rng(6)
    panel = van_fleet(400, 12)
    se = np.full((7, 400, 12), 0.1)
    noise = 0.1 * rng.standard_normal(se.shape)
    assert measured_scatter(panel, 1.0 + noise, se)[0] == pytest.approx(np.ones(7), rel=0.1)
    assert measured_scatter(panel, 1.0 + 2.0 * noise, se)[0] == pytest.approx(np.full(7, 2.0), rel=0.15)
    assert (measured_scatter(panel, np.ones((7, 400, 2)), se[..., :2]) == 1.0).all()


def test_usual_values_of_equal_vehicles_is_their_value() -> None:
    """Worked by hand: twenty vehicles reading 3.0 are usually 3.0, with a spread below the prior."""
    panel = van_fleet(20, 4)
    base, spread = usual_values(panel, np.full((7, 20, 4), 3.0))
    assert base == pytest.approx(np.full((1, 7), 3.0))
    assert (spread[0] < CLASSES.base_sd).all()
    assert (spread >= 0.04).all()


def test_combined_weighs_by_precision() -> None:
    """Worked by hand: (0.9 ± 0.1) and a prior (0.8 ± 0.2) give (4 x 0.9 + 0.8) / 5 = 0.88."""
    assert combined([(0.9, 0.1)], (0.8, 0.2)) == pytest.approx(0.88)
    assert combined([(0.0, 1e6)], (0.8, 0.2)) == pytest.approx(0.8)


def test_laws_of_the_demo_s_own_physics_make_sound_vehicles_look_sound() -> None:
    """Simulated truth of the richer demo physics: most readings of most vehicles lie near one in every channel, and their
    scatter does not follow the temperature they were taken at (correlation under 0.25)."""
    made = fleet()
    panel = make_panel(made.units, made.readings)
    got = observe(panel, estimate_laws(panel)).value
    cold = panel.measured["temperature_c"]
    for c in range(len(CHANNELS)):
        values = got[c]
        assert np.nanmedian(values) == pytest.approx(1.0, abs=0.15), CHANNELS[c]
        own = values / np.nanmedian(values, axis=1)[:, None]
        both = np.isfinite(own) & np.isfinite(cold) & (np.abs(own - 1) < 0.5)
        assert abs(np.corrcoef(own[both], cold[both])[0, 1]) < 0.25, CHANNELS[c]


def test_laws_of_a_large_class_are_from_vehicles_all_over_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """Property: beyond FIT_READINGS a class is known from a part of it, first and last vehicle included, much as from all."""
    panel = van_fleet(200)
    whole = estimate_laws(panel)
    monkeypatch.setattr(classes, "FIT_READINGS", 800)
    some = classes.telling_vehicles(panel)
    names = some.units["unit"].tolist()
    assert len(names) == 80
    assert names[0] == panel.units["unit"].iloc[0]
    assert names[-1] == panel.units["unit"].iloc[-1]
    part = estimate_laws(panel)
    assert part.base[0] == pytest.approx(whole.base[0], rel=0.06)
    assert part.battery_per_k[0] == pytest.approx(whole.battery_per_k[0], rel=0.15)
    assert not np.array_equal(part.base, whole.base)
