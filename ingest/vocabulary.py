"""Words of the workshop in several languages, and the columns of ours that they mean."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

from ingest.values import clean_text, unit_word

_POSITIVE = r"\+|\bpos|plus|posit"
_GROUND = r"\bearth|ground|gnd|masse|\bneg|minus|tierra|masa|\bgrd"
_CONTACTS = r"contact|\bsol\b|solenoid|kontakt|magnetschalter|relais|contacto|\brelay"
_CONTROL = r"control|\bctl|\bctrl|steuer|trigger|klemme 50|\bkl\.? ?50|commande|mando|\bs wire|signal"
_DROP = r"drop|abfall|verlust|chute|caida|\bloss|\bdv\b|\bvd\b"


@dataclass(frozen=True)
class Word:
    """A pattern in a heading (folded: lower case, no accents) that means one of our columns."""

    column: str
    pattern: re.Pattern[str]
    sure: bool = True


def _word(column: str, pattern: str, *, sure: bool = True) -> Word:
    return Word(column, re.compile(pattern), sure)


def _both(first: str, second: str) -> str:
    return rf"(?=.*(?:{first}))(?=.*(?:{second}))"


# The first pattern that fits decides, so the narrow ones come first.
READING_WORDS = (
    _word("drop_positive_v", _both(_DROP, _POSITIVE)),
    _word("drop_ground_v", _both(_DROP, _GROUND)),
    _word("drop_contacts_v", _both(_DROP, _CONTACTS)),
    _word("drop_control_v", _both(_DROP, _CONTROL)),
    _word("crank_dip_v", r"\bdip\b|einbruch|(?:inrush|first moment).*\b(?:volts?|v)\b"),
    _word("tester_load_ohm", r"tester.*(?:load|last)|(?:load|last).*(?:ohm|Ω)|pruflast"),
    _word("feed_v", r"\bfeed\b|klemme 30|\bkl\.? ?30"),
    _word("pull_in_a", r"pull.?in|both windings|einzugs"),
    _word("charging_v", r"charg|alternator|lade|lichtmaschine|alternateur|running v"),
    _word("crank_s", r"(?:crank|start|anlass).*(?:\btime|\bsec|dauer|duree|tiempo)|time to start"),
    _word("crank_rpm", r"\brpm|drehzahl|(?:crank|start).*speed|u/min|tr/min|vitesse|regimen"),
    _word("peak_a", r"peak|inrush|spitze|pointe|\bpico|einschaltstrom|max.*(?:amp|strom|current)"),
    _word("coil_a", r"coil|spule|bobin|solenoid.*(?:amp|current|\ba\b)|magnet.*strom|hold.?in|haltestrom"),
    _word("rest_v", r"\brest|ruhe|open.?circuit|\bocv|static|standing|before (?:start|crank)|repos|reposo|leerlauf"),
    _word("crank_a", r"steady|(?:crank|start|anlass|demarr|arranque).*(?:amp|current|strom|courant|corriente|\ba\b)"),
    _word(
        "crank_min_v",
        r"lowest|\blow\b|\bmin(?:imum|\b).*(?:v|spannung|tension)|(?:crank|start|anlass|demarr|arranque).*"
        r"(?:volt|\bv\b|spannung|tension)|tiefst|niedrigst|minim",
    ),
    _word("crank_a", r"\bamps?\b|\bstrom\b|courant|corriente|current", sure=False),
    _word("odometer_km", r"odo|mileage|kilomet|km.?stand|laufleistung|tacho|distance|\bkm\b|\bmiles\b"),
    _word("temperature_c", r"temp|ambient|aussen|lufttemp"),
    _word("note", r"remark|\bnotes?\b|comment|bemerk|notiz|remarque|observ|anmerk"),
    _word(
        "technician", r"tech|mechan|monteur|prufer|pruefer|operator|initials|tester|signed|\bby\b|bearbeiter|mecanic"
    ),
    _word("instrument", r"instrument|\bmeter\b|messgerat|appareil"),
    _word("outcome", r"outcome|\bresult|ergebnis|resultat"),
    _word(
        "taken_at", r"date.*time|datetime|timestamp|\bwhen\b|zeitpunkt|zeitstempel|datum.*zeit|fecha.*hora|date.*heure"
    ),
    _word("taken_at", r"(?:check|test|measur|inspect|taken|gepruft|gemessen)\w* (?:on|at|am)\b"),
    _word("taken_on", r"\bdate\b|datum|fecha|\bday\b|\btag\b|jour"),
    _word("taken_time", r"\btime\b|uhrzeit|\bzeit\b|heure|\bhora\b"),
    _word(
        "unit",
        r"vehicle|\bunit\b|fleet|asset|truck|\bbus\b|\bvan\b|fahrzeug|\bfzg|wagen|vehicul|unidad|kennzeichen|regist",
    ),
)
UNIT_WORDS = (
    _word("battery_type", _both(r"batter", r"type|typ\b|kind|bauart")),
    _word("in_parallel", r"parallel"),
    _word("batteries", r"\bbatteries\b|\bbatterien\b|(?:number|count|anzahl|\bno\b).*batter"),
    _word("oil_grade", r"\boil\b|\bol\b|motorol|huile|aceite|viscosity"),
    _word("starting_aid", r"starting aid|heater|starthilfe|vorwarm"),
    _word("fuel_limit_c", r"\bcfpp\b|cloud point|fuel.*(?:limit|lowest|cold)"),
    _word("vehicle_class", r"class|type|typ\b|klasse|bauart|model|categor|clase"),
    _word("system_v", r"system|volt|spannung|bordnetz|tension"),
    _word("rated_cca_a", r"\bcca\b|cold.?crank|kaltstart|rating|kalteprufstrom"),
    _word("cylinders", r"cyl|zylinder|cilindr"),
    _word("fuel", r"fuel|kraftstoff|carburant|combustible|antrieb"),
    _word("depot", r"depot|site|location|base|standort|niederlassung|garage|dépôt|yard"),
    _word("in_service", r"service|commission|zulassung|inbetrieb|since|mise en|alta"),
    _word("unit", r"vehicle|\bunit\b|fleet|asset|fahrzeug|\bfzg|wagen|vehicul|unidad|kennzeichen|regist|number|nummer"),
)


def folded(heading: str) -> str:
    """Return a heading in lower case without accents and with single blanks."""
    text = unicodedata.normalize("NFKD", clean_text(heading).casefold())
    return " ".join("".join(letter for letter in text if not unicodedata.combining(letter)).split())


def meaning(heading: str, words: tuple[Word, ...]) -> Word | None:
    """Return the first word of `words` that the heading (without its unit) fits."""
    text = folded(heading)
    for word in words:
        if word.pattern.search(text):
            return word
    return None


_BRACKETED = re.compile(r"[\(\[]\s*([^()\[\]]{1,8}?)\s*[\)\]]")


def unit_in_heading(heading: str) -> str:
    """Return the unit that a heading names (in brackets, or as its last word) as it stands there, or ''."""
    text = clean_text(heading)
    for found in _BRACKETED.findall(text):
        if unit_word(found):
            return str(found)
    last = re.split(r"[\s,/_]+", text)[-1] if text else ""
    if unit_word(last) and (last not in ("a", "s", "f", "c", "h", "d") or len(text.split()) > 1):
        return last
    return ""
