"""What we chose about a recorded start."""

from dataclasses import dataclass
from typing import Final

from analysis.stated import stated, stated_each


# fmt: off
@dataclass(frozen=True)
class Recording:
    """What a trace must hold, and which way round its clamp was (`record`)."""

    fewest_samples: int = stated(8, "samples", 4, 16, "with fewer there is nothing before, in and after a start; our choice")
    zero_part: int = stated(20, "1", 10, 40, "the first so many-th of a trace shows the clamp's zero; our choice")
    reversed_times: float = stated(3.0, "1", 2.0, 5.0,
        "lowest over highest amps; our choice, because charging after a start is less than a third of its inrush")
    alone_hz: float = stated(500.0, "1/s", 300.0, 1000.0,
        "from which on a sample unlike both its neighbours is a disturbance: an inrush's top is some 30 ms wide; our choice")
    alone_times: float = stated(3.0, "1", 2.0, 5.0, "as far from their mean as they lie apart, at the least; our choice")
    alone_share: float = stated(0.15, "1", 0.1, 0.3, "of the range of the trace, and so far from their mean; our choice")
    reversed_likeness: float = stated(0.7, "1", 0.5, 0.9, "correlation of volts and amps, far from chance; our choice")


@dataclass(frozen=True)
class Finding:
    """Where a start is (`find`)."""

    look_hz: float = stated(500.0, "1/s", 250.0, 1000.0,
        "means over 2 ms, in which a start is looked for: shorter than an inrush; our choice")
    least_a: float = stated(30.0, "A", 20.0, 50.0, "fewer are a solenoid, lamps or a pump, no starter; common practice")
    least_v: float = stated(0.5, "V per block", 0.3, 0.8, "least dip of a start that is looked for in volts alone; our choice")
    least_share: float = stated(0.15, "1", 0.1, 0.2, "of the largest step in the file: smaller ones are ripple or other loads; our choice")
    noises: float = stated(8.0, "1", 6.0, 10.0, "standard deviations of the noise that a step stands out by; our choice")
    before_s: float = stated(0.3, "s", 0.15, 0.6, "what stood before a step: its median over so long; our choice")
    guard_s: float = stated(0.05, "s", 0.03, 0.06, "before the inrush, in which the solenoid draws already: 30 to 50 ms, common practice")
    off_share: float = stated(0.35, "1", 0.25, 0.45, "of the amps while turning: below it for off_s the starter is off; our choice")
    off_s: float = stated(0.35, "s", 0.25, 0.5, "longer than the valley between two strokes of four cylinders at 90 rpm; computed")
    spike_s: float = stated(0.06, "s", 0.03, 0.1, "shorter is a spike, or contacts that bounced; our choice")
    inrush_s: float = stated(0.15, "s", 0.1, 0.2, "within it the peak comes: inductance and spinning up; common practice")
    begin_share: float = stated(0.2, "1", 0.1, 0.3, "of the peak: the inrush begins where the load last stands below; our choice")
    outgrown: float = stated(1.3, "1", 1.15, 2.0,
        "times a load's own step, of a step inside it: the starter came in while a heater was on; our choice")
    inrush_share: float = stated(1.2, "1", 1.1, 1.5, "peak over what follows: a starter's is 2 to 6, a heater's 1; common practice")
    ripple_share: float = stated(0.03, "1", 0.015, 0.06, "standard deviation over mean while turning: a heater's is smaller; our choice")
    held_a: float = stated(300.0, "A", 250.0, 400.0,
        "of a load without inrush and ripple: a starter that does not turn; glow plugs and intake heaters draw up to 200 A, common practice")
    full_quantile: float = stated(0.9, "1", 0.8, 0.95, "of a load's samples: what it is when it is on; our choice")
    nothing_share: float = stated(0.12, "1", 0.08, 0.2,
        "of that: below it nothing flows but lamps; between two strokes a turning starter draws more; our choice")
    fewest_falls: int = stated(3, "1", 2, 5, "to nothing in one load, before it chatters; our choice: contacts may bounce once")
    off_at_least: float = stated(0.15, "1", 0.1, 0.25, "of the time that a chattering load is off; our choice")
    unclear_hz: float = stated(50.0, "1/s", 30.0, 80.0,
        "slower sampling misses inrush and ripple, and every load is taken for a start; our choice")
    settles: float = stated(1.0, "strokes", 0.5, 2.0,
        "after the amps first come down to their later level, until turning counts as steady; our choice")
    unknown_settle_s: float = stated(0.12, "s", 0.06, 0.25, "the same where no stroke is known: one of four cylinders at 250 rpm; computed")


@dataclass(frozen=True)
class Levels:
    """What is read off before, in and after a start (`levels`, `start`)."""

    rest_s: float = stated(0.5, "s", 0.25, 1.0, "before the start, over which rest volts and the clamp's zero are averaged; our choice")
    rest_back_s: float = stated(5.0, "s", 2.0, 10.0, "so far back it is looked whether something drew before the start; our choice")
    load_before_v: float = stated(0.06, "V per block", 0.03, 0.1,
        "step down before the start that is said: lamps, ignition, preheat; our choice")
    least_steady_s: float = stated(0.1, "s", 0.05, 0.2, "shorter steady turning gives no steady values; our choice")
    contacts_s: float = stated(0.005, "s", 0.002, 0.01, "contacts arc and bounce for about so long; common practice")
    caught_share: float = stated(0.8, "1", 0.7, 0.9, "of the usual amps: fewer over a stroke are the engine's own doing; our choice")
    falls_doubt: float = stated(1.5, "1", 1, 2,
        "times the seconds in which the amps fall, in the error of cranking time: an engine takes over before; our choice")
    falls_s: float = stated(0.15, "s", 0.1, 0.25,
        "around the end of turning, in which the amps fall, at once or as the engine takes over; our choice")
    top_noise: float = stated(1.4, "1", 1.0, 2.0,
        "share of the noise in the error of a top: the highest of several noisy samples stands above them; our choice")
    top_fall: float = stated(0.4, "1", 0.29, 0.5,
        "of the fall to the next sample, in the error of a top between two: evenly spread it is 0.29, computed")
    after_s: float = stated(0.1, "s", 0.05, 0.2, "from the end of turning until the clamp's zero is taken again; our choice")
    zero_moves_share: float = stated(0.1, "1", 0.05, 0.2, "of the steady amps: a zero that moves more is charging, not drift; our choice")
    zero_moves_a: float = stated(8.0, "A", 4.0, 15.0, "the same for small starters; our choice")
    zero_drift: float = stated(0.1, "1", 0.05, 0.3, "of a zero's drift over a start, in its error: drift is no straight line; our choice")
    zero_unknown_a: float = stated(5.0, "A", 2.0, 10.0, "standard error of a zero that nothing shows; common practice")
    smooth_s: float = stated(0.003, "s", 0.001, 0.005, "noise is averaged over it: a tenth of the inrush's width; our choice")
    top_s: float = stated(0.001, "s", 0.0005, 0.002, "the same at the top itself, which a longer mean would lower; our choice")
    display_s: float = stated(0.3, "s", 0.2, 0.5, "a meter's display averages over about this long; common practice")
    lowest_hz: float = stated(20.0, "1/s", 15.0, 30.0, "slower sampling misses lowest volts, and what it saw is a bound; our choice")
    inrush_hz: float = stated(80.0, "1/s", 50.0, 100.0, "slower sampling misses the inrush's top, which is some 30 ms wide; our choice")
    charging_v: float = stated(0.4, "V per block", 0.2, 0.6, "above rest: the engine runs and charges; common practice")
    clipped_samples: int = stated(4, "samples", 3, 6, "equal extremes in a row that are the end of a range; our choice")
    least_source_ohm: float = stated(0.001, "Ω per block", 0.0005, 0.0015,
        "volts lost over amps: two large batteries side by side with a booster have more; our choice")
    most_source_ohm: float = stated(0.04, "Ω per block", 0.03, 0.06, "the same: with more no starter turns; our choice")
    polarised_times: float = stated(2.5, "1", 2.0, 3.5,
        "the same over what the volts follow at once: polarisation hardly doubles it, from memory, 1.3 in simulated starts")
    settled_noise: float = stated(0.3, "1", 0.2, 0.5,
        "of the scatter over a stretch, in the error of its lowest or its one mean; our choice")
    unlike_strokes: float = stated(0.05, "1", 0.02, 0.1,
        "of the ripple, left in a mean over whole strokes because no two are quite alike; our choice")
    stretch_share: float = stated(0.005, "1", 0.002, 0.01,
        "by which speed and amps differ between stretches of one simulated start; our choice")


@dataclass(frozen=True)
class Ripple:
    """The strokes in the ripple (`ripple`)."""

    slowest_rpm: float = stated(40.0, "rpm", 30.0, 60.0, "a start is hardly slower; common practice")
    fastest_rpm: float = stated(400.0, "rpm", 350.0, 450.0, "starters turn no engine faster; common practice")
    usual_rpm: float = stated(190.0, "rpm", 150.0, 230.0,
        "between a heavy diesel and a warm car: of two lines the likelier speed is taken; common practice")
    usual_spread: float = stated(0.7, "1", 0.5, 1.0, "of its logarithm, so that 60 rpm in the cold stay possible; our choice")
    samples_per_stroke: float = stated(4.0, "1", 3.0, 6.0, "twice what the sampling theorem (Shannon 1949) asks; our choice")
    sampled_rpm: float = stated(300.0, "rpm", 250.0, 350.0,
        "speed up to which strokes have to be resolved before a speed is given; our choice")
    look_hz: float = stated(400.0, "1/s", 200.0, 1000.0,
        "samples that strokes are looked for in: sixteen times the fastest strokes; our choice")
    fewest_strokes: int = stated(4, "strokes", 3, 6, "in steady turning: a frequency and its error need three phases at least; our choice")
    least_fit: float = stated(0.25, "1", 0.15, 0.4, "share of the scatter that strokes explain: noise alone explains less; our choice")
    loosest: float = stated(0.1, "1", 0.05, 0.2, "relative standard error from which on a frequency is none; our choice")
    unknown_low_hz: float = stated(1.5, "1/s", 1.0, 2.0, "slowest strokes where the cylinders are not known; our choice")
    unknown_high_hz: float = stated(25.0, "1/s", 20.0, 30.0, "fastest strokes where the cylinders are not known; our choice")
    strokes_each: float = stated(1.5, "1", 1.0, 3.0,
        "of every cylinder, before evenness is told: half of them seen twice show the chance in it; our choice")
    even_se: float = stated(2.0, "%", 1.0, 4.0, "neighbouring strokes lend each other so much in simulated starts; our choice")


@dataclass(frozen=True)
class Slope:
    """The source's resistance from volts against amps (`slope`)."""

    after_peak_s: float = stated(0.01, "s", 0.005, 0.02,
        "left out after the peak: before it clamp and volts may lag by milliseconds; our choice")
    polarises_s: tuple[float, ...] = stated_each((0.1, 0.3, 1.0), "s", 0.5, 2,
        "times in which a battery polarises, from a stroke to a start; our choice")
    look_hz: float = stated(1000.0, "1/s", 500.0, 2000.0, "means over 1 ms: faster adds nothing; our choice")
    block_s: float = stated(0.08, "s", 0.04, 0.15, "residuals move together for about half a stroke; our choice")
    share: float = stated(0.005, "1", 0.003, 0.02,
        "of the resistance, in its error: what polarises faster than a stroke is not told from it, simulated; our choice")
    fewest_blocks: int = stated(6, "1", 5, 10, "for a standard error of a slope; our choice")
    least_swing: float = stated(2.0, "1", 1.5, 4.0,
        "spread of the amps over their noise: with less the noise has flattened the slope; our choice")


# fmt: on
RECORDING: Final = Recording()
FINDING: Final = Finding()
LEVELS: Final = Levels()
RIPPLE: Final = Ripple()
SLOPE: Final = Slope()
