"""How a trace is taken apart: every threshold with its unit and its reason."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Rules:
    """Our choices unless a source is named; each says why."""

    # --- finding a start ---
    look_hz: float = 500.0  # a start is looked for in means over 2 ms: shorter than an inrush
    least_a: float = 30.0  # [A] less is a solenoid, lamps or a pump, no starter
    least_v: float = 0.5  # [V per block] least dip of a start that is looked for in volts alone
    least_share: float = 0.15  # of the largest step in the file: smaller ones are ripple or other loads
    noises: float = 8.0  # a step stands out from noise by so many of its standard deviations
    before_s: float = 0.3  # [s] what stood before a step: its median over so long
    guard_s: float = 0.05  # [s] before the inrush, in which the solenoid already draws (30 to 50 ms, common practice)
    off_share: float = 0.35  # of the amps while turning: below it for `off_s` the starter is off
    off_s: float = 0.35  # [s] longer than the valley between two strokes of four cylinders at 90 rpm
    spike_s: float = 0.06  # [s] shorter is a spike, or contacts that bounced
    inrush_s: float = 0.15  # [s] within it the peak comes: inductance and spinning up, common practice
    outgrown: float = (
        1.3  # a step inside a load this much larger than the load's own: the starter came in while it was on
    )
    inrush_share: float = 1.2  # peak over what follows: a starter's is 2 to 6, a heater's 1
    ripple_share: float = 0.03  # standard deviation over mean while turning: a heater's is smaller
    unclear_hz: float = 50.0  # slower sampling misses inrush and ripple: every load is then taken for a start
    settles: float = 1.0  # [ripple periods] after the amps first come down to their later level
    unknown_settle_s: float = 0.12  # [s] the same where no ripple is known: a stroke of four cylinders at 250 rpm
    least_steady_s: float = 0.1  # [s] less steady turning than this gives no steady values

    # --- levels ---
    rest_s: float = 0.5  # [s] before the start, over which rest volts and the clamp's zero are averaged
    rest_back_s: float = 5.0  # [s] so far back it is looked whether something drew before the start
    load_before_v: float = 0.06  # [V per block] a step down before the start that is said: lamps, ignition, preheat
    contacts_s: float = 0.005  # [s] contacts arc and bounce for about so long, common practice
    caught_share: float = 0.8  # of the usual amps: fewer over a stroke are the engine's own doing
    falls_s: float = 0.15  # [s] around the end of turning, in which the amps fall: at once, or as the engine takes over
    top_noise: float = 1.4  # the highest of several noisy samples stands above them: share of the noise in its error
    after_s: float = 0.1  # [s] from the end of turning until the clamp's zero is taken again
    zero_moves_share: float = 0.1  # of the steady amps: a zero that moves more is charging, not drift
    zero_moves_a: float = 8.0  # [A] the same for small starters
    zero_unknown_a: float = 5.0  # [A] standard error of a zero that nothing shows
    smooth_s: float = 0.003  # [s] noise is averaged over it: a tenth of the inrush's width
    top_s: float = 0.001  # [s] the same at the top itself, which a longer mean would lower
    display_s: float = 0.3  # [s] a meter's display averages over about this long, common practice
    lowest_hz: float = 20.0  # slower sampling misses lowest volts: what it saw is only a bound
    inrush_hz: float = 80.0  # slower sampling misses the inrush's top, 30 ms wide
    charging_v: float = 0.4  # [V per block] above rest: the engine runs and charges
    clipped_samples: int = 4  # so many equal extremes in a row are the end of a range
    settled_noise: float = 0.3  # share of the scatter over the ripple that a mean over whole strokes keeps
    unlike_strokes: float = 0.05  # share of the ripple that whole strokes leave in their mean: no two are quite alike

    # --- ripple ---
    slowest_rpm: float = 40.0  # a start is hardly slower
    fastest_rpm: float = 400.0  # starters turn no engine faster
    usual_rpm: float = 190.0  # between a heavy diesel and a warm car; of two lines the likelier speed is taken
    usual_spread: float = 0.7  # of its logarithm: 60 rpm in the cold must stay possible
    samples_per_stroke: float = 4.0  # twice what the sampling theorem asks
    sampled_rpm: float = 300.0  # speed up to which strokes have to be resolved before a speed is given
    fewest_strokes: int = 4  # in steady turning: a frequency and its error need three phases at least
    least_fit: float = 0.25  # share of the scatter that strokes explain: noise alone explains less
    unknown_band_hz: tuple[float, float] = (1.5, 25.0)  # of strokes where the cylinders are not known
    strokes_each: float = 1.5  # of every cylinder, before its evenness is told: half of them seen twice show the chance

    stretch_share: float = (
        0.003  # of a speed or amps: they differ by so much between stretches of one start, in simulated starts
    )

    even_se: float = 2.0  # [%] neighbouring strokes lend each other so much, in simulated starts

    # --- source resistance ---
    slope_from_s: float = 0.01  # [s] after the peak: before it clamp and volts may lag by milliseconds
    polarises_s: tuple[float, ...] = (0.1, 0.3, 1.0)  # [s] times in which a battery polarises, from a stroke to a start
    slope_hz: float = 1000.0  # means over 1 ms: faster adds nothing
    slope_block_s: float = 0.08  # [s] residuals move together for about half a stroke
    slope_share: float = 0.005  # of the resistance: polarising faster than a stroke cannot be told from it, simulated
    fewest_blocks: int = 6  # for a standard error of a slope
    least_swing: float = 2.0  # spread of the amps over their noise: less gives a slope that noise has flattened


RULES = Rules()
