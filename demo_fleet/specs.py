"""What an invented fleet is made of, and the named fleets on which the monitor is judged.

None of these fleets shares a constant with `analysis`; each has its own seed, classes, climate and laws.
"""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from demo_fleet.cranking import ColdLaw
from demo_fleet.faults import GROWTH, PARTS, Growth
from demo_fleet.vehicles import CLASSES
from demo_fleet.weather import Depot

MEASUREMENTS = (
    "rest_v", "crank_min_v", "crank_a", "peak_a", "drop_positive_v", "drop_ground_v", "drop_contacts_v",
    "drop_control_v", "coil_a", "crank_rpm",
)  # fmt: skip

MILD = (Depot("coast", 1.0, 15.5, 3.1, 0.75, 1.2, skew=-0.6), Depot("vale", -2.0, 15.0, 3.6, 0.78, 1.0, skew=-0.7))
PRACTICE_LIKE = (Depot("upper", -4.0, 13.5, 3.6, skew=-0.6), Depot("lower", 2.5, 16.5, 3.1, skew=-0.5))
CONTINENTAL = (
    Depot("plain", -9.0, 16.0, 4.8, 0.8, 0.7, skew=-0.75),
    Depot("river", -6.0, 17.0, 4.4, 0.8, 0.9, skew=-0.6),
)
SEVERE = (
    Depot("ridge", -14.0, 11.0, 5.2, 0.82, 0.8, skew=-0.7),
    Depot("basin", -11.0, 13.0, 5.6, 0.84, 0.6, skew=-0.8),
)
MOUNTAIN = (
    Depot("pass", -10.0, 8.0, 4.2, 0.74, 1.3, skew=-0.3),
    Depot("valley", -5.0, 12.0, 4.0, 0.78, 1.0, skew=-0.3),
)
HOT_SUMMER = (Depot("inland", 3.0, 21.0, 3.4, 0.8, 0.5, skew=-0.4), Depot("hill", 0.0, 18.0, 3.8, 0.8, 0.7, skew=-0.7))

STEEP_COLD = ColdLaw(0.0120, 0.00018, -8.0, 0.008, 0.47, 0.6)
FLAT_COLD = ColdLaw(0.0085, 0.00010, -18.0, 0.003, 0.38, 0.9)
BENT_COLD = ColdLaw(0.0050, 0.00024, -20.0, 0.006, 0.42, 0.5)
KINKED_COLD = ColdLaw(0.0100, 0.00004, -5.0, 0.012, 0.40, 0.8)
OILS = {"0W-20": (44.0, 8.2), "5W-30": (62.0, 10.6), "10W-40": (92.0, 14.0), "15W-40": (108.0, 14.6)}
"""Viscosity at 40 and at 100 °C of four oils, cSt: our own round values inside the grades of SAE J300."""


@dataclass(frozen=True)
class FleetSpec:
    """One fleet to be simulated.

    `classes` maps a class of `vehicles.CLASSES` to its share; `interval_weeks` is the least and greatest time
    between service readings; `missing` the share of measurements not written down; `without` measurements never
    taken; `rpm_share` the share of readings with a cranking speed; `unrecorded` and `misrecorded` the shares of
    no-start repairs missing from, or under another part in, the repair records; `silent_swaps` battery
    replacements per unit-year that nobody records; `gross` the chance that a written value is grossly wrong;
    `noise` scales all scatter; `clamp_bias` is one bay's clamp gain; `thermometer_bias_c` one bay's thermometer
    error; `winter_ready` gives the classes bigger batteries and thinner oil; `oil` names one of OILS for all of them;
    `act_share` is the chance that a technician who reads a part at `act_at` times its printed limit or more renews it;
    `fixed` sets class and depot number of some vehicles by row; vehicles are called `prefix` and a number of `digits` digits from `first_number` on.
    """

    seed: int
    units: int = 300
    years: float = 4.0
    start: dt.date = dt.date(2021, 6, 1)
    name: str = "fleet"
    classes: Mapping[str, float] = field(
        default_factory=lambda: {"light_van": 0.4, "panel_van_diesel": 0.3, "long_haul_tractor": 0.3}
    )
    depots: tuple[Depot, ...] = PRACTICE_LIKE
    cold: ColdLaw = field(default_factory=ColdLaw)
    growth: Mapping[str, Growth] = field(default_factory=lambda: GROWTH)
    interval_weeks: tuple[float, float] = (4, 10)
    missing: float = 0.1
    without: tuple[str, ...] = ()
    rpm_share: float = 0.3
    unrecorded: float = 0.1
    misrecorded: float = 0.01
    silent_swaps: float = 0.0
    gross: float = 0.002
    noise: float = 1.0
    clamp_bias: float = 1.03
    thermometer_bias_c: float = 0.0
    seasonal: float = 0.1
    bay_warmth: float = 0.55
    winter_ready: bool = False
    oil: str = ""
    act_share: float = 0.0
    act_at: float = 1.0
    record_instrument: bool = False
    prefix: str = "U"
    first_number: int = 1
    digits: int = 5
    fixed: Mapping[int, tuple[str, int]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Raise ValueError naming the first argument out of range."""
        _check("units", self.units, 1, 1_000_000)
        _check("years", self.years, 0.1, 30)
        for name in (
            "missing",
            "rpm_share",
            "unrecorded",
            "misrecorded",
            "gross",
            "seasonal",
            "bay_warmth",
            "act_share",
        ):
            _check(name, getattr(self, name), 0, 1)
        low, high = self.interval_weeks
        _check("interval_weeks[0]", low, 0.5, high)
        if unknown := set(self.classes) - set(CLASSES):
            raise ValueError(f"classes has {sorted(unknown)[0]!r}; allowed: {', '.join(CLASSES)}")
        if unknown := set(self.without) - set(MEASUREMENTS):
            raise ValueError(f"without has {sorted(unknown)[0]!r}; allowed: {', '.join(MEASUREMENTS)}")
        if self.oil and self.oil not in OILS:
            raise ValueError(f"oil is {self.oil!r}; allowed: {', '.join(OILS)}")
        if not self.depots:
            raise ValueError("depots is empty; at least one depot is needed")

    @property
    def days(self) -> int:
        """Length of the simulation [days]."""
        return round(365.25 * self.years)

    @property
    def end(self) -> dt.date:
        """The day after the last simulated day."""
        return self.start + dt.timedelta(days=self.days)


def _check(name: str, value: float, low: float, high: float) -> None:
    if not low <= value <= high:
        raise ValueError(f"{name} is {value}; allowed: {low} to {high}")


def grown(*, pace: float = 1.0, rate: float = 1.0, laws: tuple[float, float, float, float, float] | None = None,
          only: tuple[str, ...] = PARTS) -> dict[str, Growth]:  # fmt: skip
    """GROWTH with the days to failure times `pace`, onsets `rate` times as frequent and, if given, other laws."""
    changed = dict(GROWTH)
    for part in only:
        g = GROWTH[part]
        changed[part] = replace(g, days=g.days * pace, onset_years=g.onset_years / rate, laws=laws or g.laws)
    return changed


def healthy_growth() -> dict[str, Growth]:
    """Parts that never fail within a simulation: for null tests."""
    return {part: replace(g, onset_years=1e6, onset_shape=8.0) for part, g in GROWTH.items()}


LIGHT = {"passenger_car": 0.35, "light_van": 0.4, "panel_van_diesel": 0.25}
HEAVY = {"rigid_truck": 0.35, "long_haul_tractor": 0.4, "city_bus": 0.25}
MIXED = {"light_van": 0.3, "panel_van_diesel": 0.25, "rigid_truck": 0.2, "long_haul_tractor": 0.25}
WORKS = {"pickup_v8_diesel": 0.3, "farm_tractor": 0.25, "wheel_loader": 0.2, "panel_van_diesel": 0.25}


def evaluation_specs() -> list[FleetSpec]:
    """Fourteen fleets of different seeds, classes, climates, laws, cadence and habits of recording."""
    return [
        FleetSpec(7101, name="mild_light", classes=LIGHT, depots=MILD, missing=0.08, unrecorded=0.05, oil="15W-40"),
        FleetSpec(7102, name="usual_mixed", classes=MIXED, missing=0.10, act_share=0.5),
        FleetSpec(7103, name="severe_mixed", classes=MIXED, depots=SEVERE, cold=FLAT_COLD, winter_ready=True,
                  missing=0.12, interval_weeks=(3, 8), oil="0W-20"),
        FleetSpec(7104, name="continental_works", classes=WORKS, depots=CONTINENTAL, cold=BENT_COLD, winter_ready=True,
                  oil="0W-20", interval_weeks=(5, 12), missing=0.15, growth=grown(pace=1.2), seasonal=0.3),
        FleetSpec(7105, name="heavy_24v", classes=HEAVY, depots=PRACTICE_LIKE, cold=KINKED_COLD, missing=0.10,
                  start=dt.date(2020, 8, 1), winter_ready=True, oil="10W-40"),
        FleetSpec(7106, name="no_peak", classes=MIXED, without=("peak_a",), missing=0.10, noise=1.1,
                  winter_ready=True, oil="10W-40"),
        FleetSpec(7107, name="unrecorded", classes=MIXED, unrecorded=0.45, misrecorded=0.05, silent_swaps=0.04),
        FleetSpec(7108, name="sparse", classes=LIGHT, depots=CONTINENTAL, interval_weeks=(8, 14), missing=0.25,
                  rpm_share=0.15, cold=STEEP_COLD, winter_ready=True),
        FleetSpec(7109, name="steep_cold", classes={"light_van": 0.5, "panel_van_diesel": 0.5}, cold=STEEP_COLD,
                  depots=MOUNTAIN, winter_ready=True, growth=grown(pace=0.8), unrecorded=0.15, oil="5W-30"),
        FleetSpec(7110, name="noisy_meters", classes=MIXED, noise=1.6, gross=0.006, clamp_bias=1.05, missing=0.18,
                  act_share=0.5, act_at=1.5),
        FleetSpec(7111, name="thermometer", classes=MIXED, depots=CONTINENTAL, thermometer_bias_c=10.0, oil="5W-30",
                  winter_ready=True, bay_warmth=0.3),
        FleetSpec(7112, name="straight_wear", classes=MIXED, depots=HOT_SUMMER,
                  growth=grown(laws=(0.05, 0.65, 0.2, 0.08, 0.02)), interval_weeks=(4, 9)),
        FleetSpec(7113, name="sudden_wear", classes=LIGHT, cold=FLAT_COLD, growth=grown(laws=(0.35, 0.15, 0.15, 0.20, 0.15)),
                  missing=0.12, unrecorded=0.2),
        FleetSpec(7114, name="joints", classes={"city_bus": 0.5, "wheel_loader": 0.3, "rigid_truck": 0.2},
                  depots=MOUNTAIN, cold=BENT_COLD, winter_ready=True, missing=0.2, record_instrument=True, oil="5W-30",
                  growth=grown(rate=1.7, only=("positive_cable", "ground_path", "control_circuit"))),
    ]  # fmt: skip
