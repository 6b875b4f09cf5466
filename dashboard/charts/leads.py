"""The starting circuit as a plain drawing, with the two points where the leads go, or the place of the clamp.

All shapes stand here. The drawing is 400 wide and 320 high; lines are in the page's ink, so that it is read in light and dark.
"""

from dataclasses import dataclass
from typing import Final

from dashboard.words import lead_words as say
from dashboard.words.plain_text import MINUS, in_html

WIDE, HIGH = 400, 320


@dataclass(frozen=True)
class Spot:
    """A point of the drawing, and where the word beside it stands."""

    x: float
    y: float
    dx: float
    dy: float
    anchor: str = "start"


_FIXED: Final = {
    say.STUD: Spot(268, 68, -8, -46, "end"), say.MOTOR_STUD: Spot(332, 68, 12, -24), say.TERMINAL: Spot(250, 112, -14, 33, "end"),
    say.HOUSING: Spot(300, 250, 14, 4), say.FEED: Spot(172, 86, 48, 20), say.OUT: Spot(214, 112, 8, -8),
    say.BLOCK: Spot(232, 290, 12, -12),
}  # fmt: skip
_CLAMPS: Final = {
    say.CABLE: (88.0, 36.0, 20.0, Spot(102, 64, 0, 0)),
    say.WIRE: (232.0, 112.0, 15.0, Spot(222, 164, 0, 0, "end")),
}
_SOCKETS, _TOP, _BOTTOM = (88.0, 120.0), 84.0, 160.0
_HIGH_UP: Final = 90.0  # points above it are reached from the meter's upper edge


def leads_html(field: str, *, system_v: int, parallel: bool = False) -> str:
    """The drawing for one field with the same in words and what to mind, in one line of HTML."""
    series, beside = system_v == 24, parallel and system_v != 24
    text = say.leads_text(field, series=series, parallel=beside)
    caution = say.leads_caution(field)
    minded = f'<p class="ct-note">{in_html(caution)}</p>' if caution else ""
    drawing = _svg(say.LEADS[field], series=series, parallel=beside, text=text)
    return f'<div class="ct-picture ct-leads">{drawing}<p class="ct-bar">{in_html(text)}</p>{minded}</div>'


def _svg(where: say.Leads, *, series: bool, parallel: bool, text: str) -> str:
    """The circuit, the meter and its leads."""
    spots = _FIXED | _posts(series=series, parallel=parallel)
    shapes = [
        _batteries(spots, series=series, parallel=parallel), _cables(spots), _starter(), _relay(where),
        _meter("A" if where.clamp else "V"), _clamp(where.clamp) if where.clamp else _leads(where, spots),
    ]  # fmt: skip
    return (
        f'<svg role="img" aria-label="{in_html(text)}" viewBox="0 0 {WIDE} {HIGH}" width="100%">{"".join(shapes)}</svg>'
    )


def _posts(*, series: bool, parallel: bool) -> dict[str, Spot]:
    """The outer posts of one battery or of two beside each other."""
    positive, negative = (28.0, 152.0) if series or parallel else (40.0, 120.0)
    return {say.POSITIVE: Spot(positive, 206, -2, 30), say.NEGATIVE: Spot(negative, 206, 2, 30, "end")}


def _batteries(spots: dict[str, Spot], *, series: bool, parallel: bool) -> str:
    """One block, or two in series or in parallel."""
    if not (series or parallel):
        return _block(16, 128, spots[say.POSITIVE].x, spots[say.NEGATIVE].x, "12 V")
    both = _block(10, 76, 28, 68, "12 V") + _block(94, 76, 112, 152, "12 V")
    links = (
        "M68,206C68,184 112,184 112,206" if series else "M28,206C28,176 112,176 112,206M68,206C68,186 152,186 152,206"
    )
    return f'{both}<path d="{links}" class="ct-cable"></path>'


def _block(x: float, wide: float, positive: float, negative: float, words: str) -> str:
    return (
        f'<rect x="{x}" y="212" width="{wide}" height="66" rx="3" class="ct-part"></rect>'
        f'<path d="M{positive},212v-8M{negative},212v-8" class="ct-post"></path>'
        f'<text x="{positive}" y="262" text-anchor="middle">+</text><text x="{negative}" y="262" text-anchor="middle">{MINUS}</text>'
        f'<text x="{x + wide / 2}" y="298" text-anchor="middle">{words}</text>'
    )


def _cables(spots: dict[str, Spot]) -> str:
    """The positive cable up and over to the B+ stud, the ground strap from the negative post to the engine's metal."""
    positive, negative = spots[say.POSITIVE].x, spots[say.NEGATIVE].x
    return (
        f'<path d="M{positive},204V36H268V66" class="ct-cable"></path><path d="M{negative},204V190H196V290H390" class="ct-cable"></path>'
        '<path d="M216,290l-8,10M246,290l-8,10M276,290l-8,10M306,290l-8,10M336,290l-8,10M366,290l-8,10" class="ct-thin"></path>'
        f'<text x="392" y="314" text-anchor="end">{say.ENGINE_GROUND}</text><text x="104" y="26">{say.POSITIVE_CABLE}</text>'
    )


def _starter() -> str:
    """Solenoid with its contacts and coil above the motor, in the starter's housing."""
    return (
        '<rect x="244" y="68" width="128" height="186" rx="8" class="ct-thin"></rect><path d="M300,238V290" class="ct-cable"></path>'
        '<rect x="250" y="76" width="100" height="52" rx="3" class="ct-part"></rect>'
        '<path d="M268,66V84M332,66V84M262,89H338" class="ct-cable"></path>'
        '<path d="M250,112h22l4,-7 8,14 8,-14 8,14 8,-14 8,14 4,-7h14V136H244" class="ct-thin"></path>'
        '<path d="M332,66V52H386V200H338" class="ct-cable"></path><circle cx="300" cy="200" r="38" class="ct-part"></circle>'
        f'<text x="300" y="205" text-anchor="middle">{say.MOTOR}</text><text x="249" y="154">{say.SOLENOID}</text>'
        f'<text x="372" y="274" text-anchor="end">{say.STARTER}</text>'
    )


def _relay(where: say.Leads) -> str:
    """The relay's socket between the fused feed and the control wire; a tester's load where one is put."""
    load = "l4,-6 6,12 6,-12 6,12 4,-6" if where.load == "socket" else ""
    inside = (
        f"M172,86V112h8{load}H214"
        if load
        else "M172,86V100M182,112H214M172,100l16,6"
        if not where.load
        else "M172,86V98"
    )
    wire = "M214,112H250" if where.load != "coil" else "M214,112h8M224,36V60l-6,4 12,6-12,6 6,4V112H250"
    word = f'<text x="187" y="134" text-anchor="middle">{say.LOAD}</text>' if load else ""
    word += f'<text x="232" y="58">{say.LOAD}</text>' if where.load == "coil" else ""
    return (
        '<rect x="160" y="86" width="54" height="54" rx="3" class="ct-part"></rect><path d="M172,36V86" class="ct-thin"></path>'
        f'<rect x="167" y="50" width="10" height="20" class="ct-part"></rect><path d="{inside}" class="ct-thin"></path>'
        f'<path d="{wire}" class="ct-thin"></path><text x="180" y="80">{say.RELAY}</text>{word}'
    )


def _meter(unit: str) -> str:
    return (
        '<rect x="70" y="84" width="68" height="76" rx="8" class="ct-part"></rect>'
        f'<text x="104" y="128" text-anchor="middle" class="ct-unit">{unit}</text>'
    )


def _leads(where: say.Leads, spots: dict[str, Spot]) -> str:
    """Both leads from the meter to their points, the word beside each; they leave the meter in the order of the points."""
    ends = sorted(((spots[where.black], "black"), (spots[where.red], "red")), key=lambda end: end[0].x)
    if all(spot.y < _HIGH_UP for spot, _ in ends):  # one arch over the other
        ends.reverse()
    return "".join(_lead(x, spot, colour) for x, (spot, colour) in zip(_SOCKETS, ends, strict=True))


def _lead(x: float, spot: Spot, colour: str) -> str:
    if spot.y < _HIGH_UP:
        arch = 38 if spot.x > _FIXED[say.STUD].x else 24
        path = f"M{x},{_TOP}C{x},{_TOP - arch} {spot.x - 60},{spot.y + 14 - arch} {spot.x},{spot.y}"
    else:
        path = (
            f"M{x},{_BOTTOM}C{x},{_BOTTOM + 26} {spot.x},{spot.y + (-34 if spot.y > _BOTTOM else 44)} {spot.x},{spot.y}"
        )
    return (
        f'<path d="{path}" class="ct-halo"></path><path d="{path}" class="ct-edge"></path><path d="{path}" class="ct-lead ct-{colour}"></path>'
        f'<circle cx="{spot.x}" cy="{spot.y}" r="8" class="ct-probe ct-{colour}"></circle>'
        f'<text x="{spot.x + spot.dx}" y="{spot.y + spot.dy}" text-anchor="{spot.anchor}" class="ct-word ct-{colour}">{say.LEAD_WORDS[colour]}</text>'
    )


def _clamp(place: str) -> str:
    """A clamp round a cable, with its lead to the meter."""
    x, y, tall, word = _CLAMPS[place]
    lead = f"M{x},{y + tall}V{_TOP}" if y < _HIGH_UP else f"M{x},{y + tall}C{x},{y + tall + 50} 120,220 120,{_BOTTOM}"
    return (
        f'<path d="{lead}" class="ct-halo"></path><path d="{lead}" class="ct-edge"></path><path d="{lead}" class="ct-lead ct-black"></path>'
        f'<ellipse cx="{x}" cy="{y}" rx="{0.5 * tall}" ry="{tall}" class="ct-lead ct-red"></ellipse>'
        f'<text x="{word.x}" y="{word.y}" text-anchor="{word.anchor}" class="ct-word ct-red">{say.CLAMP}</text>'
    )
