"""Words of the workshop in several languages, and the columns of ours that they mean."""

import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from ingest.fields import ACTIONS, CLIMATE, LOWS, PARTS, READINGS, REPAIRS, UNITS, conversion, other_units, own_unit
from ingest.values import DEGREES, clean_text, unit_word

_POSITIVE = r"\+|\bpos|plus|posit|dodatni|\barti\b"
_GROUND = r"\bearth|ground|gnd|mass[ea]|\bneg|minus|tierra|masa|\bjord|\bsasi\b|\bgrd|-\s*(?:m?v)?$"
_CONTACTS = r"contact|contatt|\bsol\b|solenoid|kontakt|magnetschalter|relais|\brelay|styk"
_CONTROL = r"control|\bctl|\bctrl|steuer|sterow|stuur|trigger|klemme 50|\bkl\.? ?50|commande|mando|\bs wire|signal"
_DROP = r"drop|abfall|spannungsfall|spanningsfall|gerilim dusus|verlust|verlies|chute|caida|caduta|queda|spadek|^d ?u\b|\bloss|\bdv\b|\bvd\b"
_VOLTS = r"volt|\bv\b|spannung|spanning|tension|tensao|napiec|gerilim"
_AMPS = r"amp|current|strom|stroom|courant|corriente|corrente|intensi[td]|prad\b|\bakim|\ba\b"
_TURNING = (
    r"anlass|starten|demarr|arranque|avviament|rozruch|\bmars(?= (?:ger|aki))"  # "at start" may be the first moment
)
_START = rf"crank|start|{_TURNING}"
_BEFORE = r"\bbefore\b|\bvor\b|avant|antes|\bprima\b|przed"
_AFTER = r"\bafter\b|\bnach\b|apres|despues|\bdopo\b|\bpo\b|\bna\b"  # the start: the engine runs


@dataclass(frozen=True)
class Word:
    """A pattern in a heading (folded: lower case, no accents) that means one of our columns."""

    column: str
    pattern: str
    sure: bool = True
    unless: str = ""

    def fits(self, text: str) -> bool:
        """Whether a folded heading means it; patterns are compiled where a heading is first read."""
        return re.search(self.pattern, text) is not None and not (self.unless and re.search(self.unless, text))


def _both(first: str, second: str) -> str:
    return rf"(?=.*(?:{first}))(?=.*(?:{second}))"


_MOVING = r"speed|km/h|\bkph\b|\bmph\b|geschwindigkeit|vitesse|velocidad|velocita|predkosc|snelheid"
_OF_THE_ROAD = r"vehic|fahrzeug|km/h|\bkph\b|\bmph\b"
_OTHER_HEAT = (
    r"engine temp|\bmotore?\b|motor(?:temp|ol)|moteur|silnik|coolant|\boil\b|intake|exhaust|gearbox|kuhlmittel|kuhlwasser|\bol\b"
    r"|olio|olej|aceite|huile|refroidissement|refrigera|koel"
)
_OTHER_FUEL = r"trim|level|rate|pressure|rail|economy|consum|temp|pump|system|used|\bair\b|stand|verbrauch"
_PRICE = r"price|value|preis|wert|\bto\b|\ban\b|buyer|kaufer"  # of a sale, or who bought
_UPKEEP = r"\blast\b|\bnext\b|\bdue\b|interval|letzte|nachste"  # of a service in the workshop
_OTHER_VOLTS = r"module|sensor|control|\bo2\b|oxygen|alternator|supply|pedal|throttle|steuergerat"

_PLACE = r"depot|\bdepa\b|deposito|site|location|locatie|station|base|standort|standplaats|niederlassung|vestiging|zajezdnia|gara[gj]|yard"
_NOTE = Word(
    "note",
    r"remark|\bnot[ea]s?\b|comment|komment|bemerk|opmerk|notiz|remarque|observ|osserv|anmerk|uwagi|anmark|^not(?:lar)?$|aciklama",
)
_DAY = r"\bdate\b|datum|fecha|\btarih|\bday\b|\btag\b|jour|^data(?: (?:pomiaru|prova|misura|del.*))?$"
_PLATE = r"\breg\b|\bparc\b|immatricul|matricula|targa\b|veicol|veiculo|viatura|rejestr|pojazd|kenteken|voertuig|fordon|\barac\b|plaka"
OF_A_VEHICLE = Word(
    "unit",
    r"vehicle|\bunit\b|fleet|asset|truck|\bbus\b|\bvan\b|fahrzeug|\bfzg|wagen|vehicul|unidad|kennzeichen|kennung|regist|"
    + _PLATE,
    unless=_MOVING,
)

# The first pattern that fits decides, so the narrow ones come first.
READING_WORDS = (
    Word("drop_positive_v", _both(_DROP, _POSITIVE)),
    Word("drop_ground_v", _both(_DROP, _GROUND)),
    Word("drop_contacts_v", _both(_DROP, _CONTACTS)),
    Word("drop_control_v", _both(_DROP, _CONTROL)),
    Word("crank_dip_v", r"\bdip\b|einbruch|(?:inrush|first moment).*\b(?:volts?|v)\b"),
    Word("tester_load_ohm", r"tester.*(?:load|last)|(?:load|last).*(?:ohm|Ω)|pruflast"),
    Word("feed_v", r"\bfeed\b|klemme 30|\bkl\.? ?30"),
    Word("pull_in_a", r"pull.?in|both windings|einzugs"),
    Word(
        "charging_v",
        r"charg|alternator|lade|lichtmaschine|alternateur|carga\b|ricarica|ladowani|running v",
        unless=rf"(?:{_AFTER}|{_BEFORE}).*charg",
    ),
    Word(
        "crank_s",
        rf"(?:{_START}).*(?:\btime|\bsec|dauer|duree|tiempo)|time to start|dur(?:ee|ata) .*(?:{_START})|czas rozruchu|tiempo de arranque",
    ),
    Word(
        "crank_rpm",
        r"\brpm|drehzahl|(?:crank|start).*speed|u/min|tr/min|giri/min|obr/min|obroty|toerental|vitesse|regimen",
        unless=_OF_THE_ROAD,
    ),
    Word(
        "peak_a",
        rf"peak|inrush|spitze|pointe|\bpico|piek|\bpicco|szczyt|einschaltstrom|max.*(?:{_AMPS})|(?:{_AMPS}).*\bmax",
    ),
    Word("coil_a", r"coil|spule|spoel|bobin|cewk|solenoid.*(?:amp|current|\ba\b)|magnet.*strom|hold.?in|haltestrom"),
    Word(
        "rest_v",
        r"\brest|ruhe|rustspanning|open.?circuit|\bocv|static|standing|repos|repous|riposo|a vuoto|a vide|spoczynk|leerlauf|\bvilo|dinlenme"
        rf"|(?:before|vor|voor|avant|antes|prima|przed)\b.*(?:{_START})",
    ),
    Word("crank_a", rf"steady|(?:{_START}).*(?:{_AMPS})|(?:{_AMPS}).*(?:{_TURNING})"),
    Word(
        "crank_min_v",
        r"lowest|\blow\b|\bmin(?:imum|\b).*(?:v|spannung|tension)|\bv?batt?\w*.*\bmin\b|tiefst|niedrigst|laagst|najniz|minim|lagst|en dusuk"
        rf"|(?:{_START}).*(?:{_VOLTS})|(?:{_VOLTS}).*(?:{_TURNING})",
        unless=_AFTER,
    ),
    Word(
        "crank_a",
        r"\bamps?\b|\bstrom\b|\bstroom\b|courant|corriente|corrente|current|\bprad\b|(?:avg|average|mean|mittel).*\ba\b",
        sure=False,
    ),
    Word(
        "odometer_km",
        r"odo|mileage|kilomet|quilomet|chilomet|km.?stand|tellerstand|laufleistung|przebieg|percorren|tacho|matarstall|distance|\bkm\b|\bmiles\b",
        unless=_MOVING,
    ),
    Word(
        "temperature_c",
        r"(?<!s)temp|ambient|aussen|sicakli[gk]|\boat\b|^(?:t|air|outside(?: air)?)(?: (?:deg(?:rees)? )?°? ?[cf])?$",
        unless=_OTHER_HEAT,
    ),
    _NOTE,
    Word(
        "technician",
        r"tech|tecnic|tekni|mekani|mechan|mecc?ani|monteur|prufer|pruefer|operator|initials|tester|signed|\bby\b|bearbeiter",
    ),
    Word("instrument", r"instrument|\bmeter\b|messgerat|appareil"),
    Word("outcome", r"outcome|\bresult|ergebnis|\besito|wynik|sonuc"),
    Word("outcome", r"what happened|breakdown|incident", sure=False, unless=r"date|datum|time|\bday\b"),
    Word(
        "taken_at",
        r"date.*time|datetime|timestamp|\bwhen\b|zeitpunkt|zeitstempel|messzeit|tijdstip|datum.*(?:zeit|tijd)|fecha.*hora|date.*heure"
        r"|\bdata\b.*(?:\bora\b|godzina)",
    ),
    Word("taken_at", r"(?:check|test|measur|inspect|taken|gepruft|gemessen)\w* (?:on|at|am)\b"),
    Word("taken_on", _DAY),
    Word("taken_time", r"\btime\b|uhrzeit|\bzeit\b|\btijd\b|heure|\bhora\b|^ora\b|godzina|\btid\b|\bsaat"),
    OF_A_VEHICLE,
    Word("unit", r"\bdevice\b|\blogger\b|\bgerat\b", sure=False),
)
UNIT_WORDS = (
    Word("fuel", r"(?:fuel|kraftstoff).*(?:type|typ\b|kind|art\b)"),
    Word("battery_type", _both(r"batter|bateri|\baccu\b|akumulator", r"type|tipo|typ\b|kind|bauart")),
    Word("in_parallel", r"parallel"),
    Word("batteries", r"\bbatteries\b|\bbatterien\b|(?:number|count|anzahl|\bno\b).*batter"),
    Word("oil_grade", r"\boil\b|\bol\b|motorol|huile|aceite|\bolio\b|\bolej|viscosity"),
    Word("aid_load_a", r"(?:glow|gluh|grid|heater|prechauff|calent).*(?:amp|load|current|strom|\ba\b)"),
    Word("aid_below_c", r"(?:glow|gluh|heater|starting aid).*(?:below|under|from|unter|ab\b)"),
    Word("starting_aid", r"starting aid|heater|starthilfe|vorwarm"),
    Word("fuel_limit_c", r"\bcfpp\b|cloud point|fuel.*(?:limit|lowest|cold)"),
    Word("vehicle_class", r"class|type|tipo|typ\b|klasse|bauart|model|categor|clase|^tip$"),
    Word("system_v", r"system|sistem|volt|spannung|spanning|bordnetz|tension|napiec", unless=_OTHER_VOLTS),
    Word("rated_cca_a", r"\bcca\b|cold.?crank|kaltstart|rating|kalteprufstrom"),
    Word("cylinders", r"cyl|zylinder|cilind|silindir"),
    Word(
        "fuel",
        r"fuel|kraftstoff|carburant|combustible|antrieb|energie|brandstof|alimentazione|paliw|bransle|yakit",
        unless=_OTHER_FUEL,
    ),
    Word("depot", _PLACE),
    Word(
        "out_of_service",
        r"out of service|last day|withdrawn|decommission|de-?regist|\bsold\b|scrap|dispos|retired|left (?:the )?(?:fleet|service)"
        r"|(?:service|betrieb|dienst).*(?:until|\bbis\b|\bende\b|\bend\b)"
        r"|ausser (?:betrieb|dienst)|ausser(?:betrieb|dienst)|abmeld|abgemeldet|stillgelegt|stilllegung|verkauf|verschrott|ausgemustert"
        r"|ausmuster|letzter (?:tag|einsatz)|hors service|fuera de servicio|fuori servizio|uit dienst|vendu|vendid|verkocht|sprzeda",
        unless=_PRICE,
    ),
    Word(
        "in_service",
        r"in.service|commission|zulassung|in.?betrieb|since|\bseit\b|mise en|\balta\b|in dienst|messa in servizio|immatricolazione"
        r"|matriculacion|i drift|(?:pierwsz|data).*rejestr",
        unless=_UPKEEP,
    ),
    Word("in_service", r"service", sure=False, unless=_UPKEEP),
    Word(
        "unit",
        r"vehicle|\bunit\b|fleet|asset|fahrzeug|\bfzg|wagen|vehicul|unidad|kennzeichen|kennung|regist|number|nummer|"
        + _PLATE,
        unless=_MOVING,
    ),
)
REPAIR_WORDS = (
    Word("done_on", rf"{_DAY}|done on|repaired on|erledigt am|completed"),
    Word(
        "part",
        r"\bpart\b|component|bauteil|\bteil\b|piece|pieza|\bpezzo|onderdeel|czesc|organe|item|^del$|\bparca\b",
        unless=r"\bn[or]\b|number|nummer",
    ),
    Word(
        "action",
        r"action|\bwork\b|\bjobs?\b|massnahme|\barbeit|tatigkeit|trava(?:il|ux)|trabajo|lavor[oi]\b|werkzaamheden|intervent|napraw|accion"
        r"|atgard|utfort|yapilan"
        r"|what was done",
    ),
    Word("action", r"description|\bdescr\b|beschreibung|descripcion|descrizione|omschrijving|opis\b", sure=False),
    Word("reason", r"reason|cause|causa\b|raison|grund|anlass|motif|motivo|\breden\b|powod|orsak|\bneden"),
    _NOTE,
    OF_A_VEHICLE,
)

_LOW = Word("low_c", r"\blows?\b|lowest|\bt?min\b|minim|tief|temp")
CLIMATE_WORDS = (
    Word("depot", _PLACE),
    Word("month", r"month|monat|\bmois\b|\bmese?\b|maand|miesiac"),
    Word("low_sd_c", r"deviation|\bsd\b|streuung"),
    _LOW,
)
LOWS_WORDS = (Word("depot", _PLACE), Word("date", _DAY), _LOW)

WORDS_OF: Mapping[str, tuple[Word, ...]] = MappingProxyType(
    {
        READINGS.name: READING_WORDS,
        UNITS.name: UNIT_WORDS,
        REPAIRS.name: REPAIR_WORDS,
        CLIMATE.name: CLIMATE_WORDS,
        LOWS.name: LOWS_WORDS,
    }
)

_NOT = r"(?:did|does|do|would|wo|could)(?:nt| not)"
_TURN = r"(?:crank|start|turn over|turn)"
_CASUAL = r"(?: (?:again|at all|this morning|in the morning|jump(?:ed)? started|towed|flat|cold|from cold))*"
_SAID: Mapping[str, str] = MappingProxyType(
    {
        "flooded": r"wet|lead acid|wet lead acid",
        "intake_heater": r"glow ?plugs?",
        "no_start": rf"(?:{_NOT} {_TURN}|(?:no|non) ?start(?:er)?|no crank|(?:failed|refused|unable) to {_TURN}){_CASUAL}"
        r"|startausfall|fehlstart|kein start|(?:springt|sprang|startete?) nicht(?: an)?|(?:ne|na pas) demarre(?: (?:pas|plus))?"
        r"|demarre (?:pas|plus)|startar inte|calis(?:miyor|madi)"
        r"|panne (?:de |au )?demarrage|no arranc[ao]|non (?:parte|si avvia)|start(?:te)? niet|nie (?:odpala|uruchamia(?: sie)?)",
        "preventive": r"pm|preventat?ive(?: maintenance)?|vorbeugend|vorsorglich|prophylaktisch|preventi(?:f|v[oa])|preventief|zapobiegawczo"
        r"|forebyggande",
        "complaint": r"complaints?|driver complaint|beanstandung|beschwerde|reklamation|plainte|queja|reclamo|klacht|skarga",
        "no_click": r"no click|nothing (?:heard|happens|happened|at all)"
        r"|silent|dead silent|kein klick(?:en)?|kein gerausch|keine reaktion|macht nichts|stumm",
        "click": r"(?:only |just )?(?:a |one |single )?clicks?(?: only)?"
        r"|(?:(?:magnetschalter|relais) )?(?:nur )?(?:ein(?:mal)? )?kl[ia]ck(?:t|en)?(?: nur)?",
        "chatter": r"(?:solenoid |relay )?chatter(?:s|ed|ing)?|(?:(?:magnetschalter|relais) )?(?:rattert|rattern|klackert)",
        "slow": r"lent(?:ement)?|demarre lentement|(?:startar )?trogt|yavas|lent[oa]|arranca lento|traag|start traag|wolno"
        r"|(?:slow(?:ly)?|sluggish)(?: (?:to )?(?:crank|cranking|start|starting|turning))?|(?:crank|turn)(?:s|ed)? (?:over )?slow(?:ly)?"
        r"|(?:(?:anlasser|starter|motor) )?(?:dreht )?(?:nur )?(?:zu )?(?:langsam|trage|schwer|zah)(?: durch)?"
        r"|(?:startet|springt) (?:nur )?(?:langsam|schwer|schlecht)(?: an)?",
        "spins": r"(?:starter |anlasser )?(?:spins|freewheels|dreht leer|lauft leer)|(?:anlasser|starter) spurt nicht ein",
        "cranks_only": rf"crank(?:s|ed)? (?:but |and )?(?:{_NOT}|no) (?:start|fire)"
        r"|dreht (?:gut |normal )?(?:durch )?(?:aber )?(?:startet|springt) nicht(?: an)?",
        "started": r"start(?:s|ed) (?:ok|okay|fine|well|normal(?:ly)?|first time)|gestartet|startet(?: gut| normal| sofort)?"
        r"|spr(?:ingt|ang)(?: gut| normal| sofort)? an|demarre(?: bien)?|arranca(?: bien)?"
        r"|parte(?: bene)?|start(?:te)? goed|odpala(?: dobrze)?|startar(?: bra)?|calisti",
        "battery": r"bat|batt|batts|battery|batteries|batterien?|starterbatterien?|bateria|batteria|accu|akumulatora?"
        r"|batteri(?:et)?|aku",
        "starter_motor": r"starter(?: motor)?|anlasser|demarreur|motor de arranque|motorino (?:di |d )?avviamento|startmotorn?"
        r"|rozrusznika?|mars motoru",
        "positive_cable": r"(?:positive|plus) (?:cable|lead)s?|pluskabel|plusleitung|cable positi(?:f|vo)|cavo positivo"
        r"|(?:przewod|kabel) (?:plusowy|dodatni)",
        "ground_path": r"(?:earth|ground|negative) (?:strap|cable|lead|path)s?|mass[ea](?:kabel|band|leitung)|minuskabel"
        r"|(?:cable|tresse) (?:de )?mas(?:s[ea]|a)|cavo (?:di )?massa|(?:przewod|kabel) masowy|jord(?:kabeln?|flatan?)",
        "solenoid_contacts": r"solenoid[eo]?(?: contacts?)?|magnetschalter|magneetschakelaar",
        "control_circuit": r"control (?:wire|cable|lead|circuit)|steuer(?:leitung|kabel)",
        "replaced": r"(?:new|changed|replaced|renewed|exchanged|swapped|fitted|neue?[rns]?|ersetzt|erneuert|getauscht|ausgetauscht|gewechselt"
        r"|remplacee?|changee?|neuf|neuve|cambiad[oa]|sustituid[oa]|nuev[oa]|sostituit[oa]|cambiat[oa]|nuov[oa]|vervangen|nieuwe?"
        r"|wymieniony|wymieniono|wymiana|nowy|(?:ut)?byt(?:t|te)|degisti(?:rildi)?)",
        "cleaned": r"cleaned|gereinigt|nettoyee?|limpiad[oa]|pulit[oa]|gereinigd|oczyszczon[yo]|rengjor[td]|temizlendi",
        "tightened": r"tightened|nachgezogen|festgezogen|resserree?|apretad[oa]|serrat[oa]|aangedraaid|dokrecon[yo]|atdrag(?:en|et)",
        "charged": r"(?:re)?charged|(?:auf|nach|op|bij)?geladen|(?:re)?chargee|(?:re)?cargad[oa]|(?:ri)?caricat[oa]|naladowan[yo]|ladda[td]",
    }
)
"""The word of ours -> what the trade says for it, in small letters without marks (from memory); glow plugs draw amps as an intake
heater does, and who says nothing else of a start that failed leaves open how."""
_SLACK = frozenset(
    [
        "a",
        "an",
        "the",
        "both",
        "two",
        "old",
        "new",
        "and",
        "fitted",
        "motor",
        "reman",
        "alt",
        "alte",
        "neu",
        "neue",
        "und",
        "de",
        "la",
        "le",
        "el",
        "il",
        "een",
    ]
)  # beside part and action


def _plain(text: str) -> str:
    """What was said, without capitals, marks and what stands in brackets."""
    bare = re.sub(r"['\u2019`]", "", folded(without_brackets(text)))
    return " ".join(re.sub(r"[^a-z0-9]+", " ", bare).split())


def spoken(text: str, choices: Sequence[str]) -> str:
    """Return the one of `choices` that the trade means by `text`, '' where it is none of them."""
    plain = _plain(text)
    return next((word for word in choices if word in _SAID and re.fullmatch(_SAID[word], plain)), "")


def work_done(text: str) -> tuple[str, str]:
    """Part and action of a repair in words, as "batt. changed" or "new starter"; ('', '') unless one of each is all that is said."""
    rest, found = _plain(text), []
    for choices in (PARTS, ACTIONS):
        named = [
            (word, said) for word in choices if word in _SAID and (said := re.search(rf"\b(?:{_SAID[word]})\b", rest))
        ]
        if len(named) != 1:
            return "", ""
        ((word, said),) = named
        rest = f"{rest[: said.start()]} {rest[said.end() :]}"
        found.append(word)
    return (found[0], found[1]) if _SLACK.issuperset(rest.split()) else ("", "")


# Words that a heading may hold beside those that decide: with any other, only a part of it is understood.
_BESIDE = re.compile(
    r"a|an|the|t|deg|degrees|bay|shop|workshop|charging|alternator|ve|ctl|ctrl|kaltstart\w*|kennung|ok|oat|(?:erst)?zulassung|of|at|on|in|by|to|and|or|while|during|when|before|after|as|is|per|for|from|side|no|nr|num(?:ber|mer)?|id|code|name"
    r"|batter\w*|v?batt?|crank\w*|start\w*|engine|motor|volt\w*|v|amp\w*|a|current|drop|cable|lead|wire|path|circuit|control"
    r"|pos\w*|neg\w*|plus\w*|minus\w*|ground|earth|gnd|solenoid|sol|contact\w*|coil|relay|drops|terminal|post|clamp|meter|steady|average|usual"
    r"|low\w*|min\w*|max\w*|peak|inrush|rest\w*|open|static|standing|hold|pull|temp\w*|air|ambient|outside|out|km|miles?|odo\w*"
    r"|mileage|kilomet\w*|date|time|day|test\w*|check\w*|measure\w*|inspect\w*|taken|reading|value|vehicle|unit|fleet|asset|truck|bus"
    r"|van|timestamp|datetime|cause|ursache|registration|plate|class|type|model|categor\w*|make|system|nominal|rated|rating|cca|cold|cyl\w*|fuel|depot|site|location"
    r"|base|yard|garage|month\w*|monat\w*|service|since|commission\w*|decommission\w*|deregist\w*|last|day|sold|scrapped|withdrawn|retired|disposed|left|until|bis|ende|oil|grade|tech\w*|mechanic|operator|initials|signed|remark\w*|notes?|comment\w*"
    r"|result|outcome|ergebnis|resultat|seconds?|secs?|s|rpm|speed|load\w*|feed|loss|dip|part|component|action|work|done|reason|repair\w*"
    r"|am|der|die|das|des|den|dem|beim?|im|von|vor|nach|und|mit|ohne|zu\w*|fahrzeug\w*|wagen\w*|fzg\w*|kennzeichen|spannung\w*"
    r"|strom\w*|ruhe\w*|anlass\w*|start\w*|masse\w*|abfall\w*|verlust\w*|leitung\w*|kontakt\w*|magnet\w*|spule\w*|steuer\w*"
    r"|ausser\w*|betrieb|dienst|abmeld\w*|abgemeldet|stillgelegt|stilllegung|verkauf\w*|verschrott\w*|ausgemustert|ausmuster\w*|letzter"
    r"|klemme|kl|lade\w*|leerlauf\w*|drehzahl\w*|spitze\w*|tiefst\w*|niedrigst\w*|datum|uhrzeit|zeit\w*|tag|gepruft|gemessen"
    r"|prufer|monteur|bemerk\w*|notiz\w*|anmerk\w*|kilometer\w*|stand|km.?stand|laufleistung|tacho\w*|lufttemp\w*|aussen\w*"
    r"|umgebung\w*|temperatur\w*|klasse|bauart|typ|bordnetz|antrieb|seit|erledigt|einschaltstrom|standort|niederlassung|kraftstoff|zylinder\w*|teil|bauteil|arbeit\w*|massnahme|grund"
    r"|le|la|les|de|du|des|d|en|au|et|un|une|el|los|las|y|con|vehic\w*|unidad|tension\w*|courant|corriente|demarr\w*|arranque"
    r"|masa|tierra|chute|caida|fecha|hora|heure|jour|mecanic\w*|observ\w*|remarque\w*|commande|mando|bobin\w*|repos\w*|pointe|pico"
    r"|[nui]|reg|parc|energie|station|t?min|messzeit|luft|du|intensite|intensidad|ambiante?|ambiente|positi[fv]o?|immatriculation|matricula|modele|modelo|tipo|carburant|combustible|mise|travaux|travail|trabajo"
    r"|data|ora|targa|veicolo|chilometri|riposo|corrente|avviamento|caduta|massa|di|del|della|lavor[oi]|modello|alimentazione|osservazioni"
    r"|rejestracyjny|rejestracji|pojazd\w*|godzina|przebieg|napiec\w*|spoczynk\w*|rozruchu?|prad|spadek|przewod\w*|uwagi|paliwo"
    r"|kalteprufstrom|cilind\w*|kenteken|voertuig\w*|rustspanning|tijd|spanning\w*|laagste|stroom|start(?:stroom|spanning)|buiten\w*|opmerking\w*|bij|brandstof|vestiging|werkzaamheden|dienst"
    r"|fordon\w*|tid|vid|vilo\w*|lagst\w*|utetemp\w*|jord\w*|anmark\w*|atgard|orsak|matarstall\w*|ocv|v?drop|vuoto|dodatni|najnizsz\w*|liczba|instalacji|zajezdnia|systeemspanning|completed|jobs?|piece"
    r"|veiculo|viatura|tensao|repouso|queda|quilomet\w*|em|na|arac|plaka|tarih\w*|saat\w*|dinlenme|gerilim\w*"
    r"|mars|akim\w*|sicakli\w*|hava|dis|arti|sasi|dusu\w*|not(?:lar)?|ext|przy|pomiaru|rej|organe|intervention|motif|dc|turn(?:s|ing)|systemspanning|modell|depa|bransle|drift|sedan|yakit|silindir|sistem|tip|garaj"
)


def beside(heading: str) -> list[str]:
    """Words of a heading that no column of ours explains, so that its meaning is guessed from a part of it."""
    words = re.findall(r"[a-z][a-z.]*", without_brackets(folded(heading)).replace("_", " "))
    return [word for word in words if not (_BESIDE.fullmatch(word.strip(".")) or unit_word(word))]


def without_brackets(heading: str) -> str:
    """A heading without what stands in brackets, as a unit does."""
    return re.sub(r"[\(\[][^()\[\]]*[\)\]]", " ", heading)


_NO_ACCENT = str.maketrans("łı", "li")  # letters that Unicode does not take apart


def folded(heading: str) -> str:
    """Return a heading in lower case without accents and with single blanks."""
    text = unicodedata.normalize("NFKD", clean_text(heading).translate(DEGREES).casefold().translate(_NO_ACCENT))
    return " ".join("".join(letter for letter in text if not unicodedata.combining(letter)).split())


def meaning(heading: str, words: tuple[Word, ...]) -> Word | None:
    """Return the first word of `words` that the heading fits, without what stands in brackets before with it."""
    for text in (without_brackets(heading), heading):
        text = folded(text).replace("_", " ")
        for word in words:
            if word.fits(text):
                return word
    return None


_MINIMUM = re.compile(r"\bmini?\b|\bminim|\bsampled?\b|\bsamples\b|\babgetastet|\blogger")


def of_a_minimum(heading: str, word: Word) -> bool:
    """Whether a heading of lowest volts leaves open what they are the lowest of (`fields.LOWEST_IS`)."""
    return word.column == "crank_min_v" and _MINIMUM.search(folded(heading).replace("_", " ")) is not None


_BRACKETED = re.compile(r"[\(\[]\s*([^()\[\]]{1,8}?)\s*[\)\]]")


def bracketed_unit(heading: str) -> str:
    """Return the unit that stands in brackets in a heading, as it stands there, or ''."""
    return next((str(found) for found in _BRACKETED.findall(clean_text(heading)) if unit_word(found)), "")


def unit_in_heading(heading: str) -> str:
    """Return the unit that a heading names (in brackets, or as its last word) as it stands there, or ''."""
    text = clean_text(heading)
    if bracketed_unit(text):
        return bracketed_unit(text)
    *before, last = re.split(r"[\s,/_]+", text)
    if unit_word(last) and (last not in ("a", "s", "f", "c", "h", "d") or before):
        return last
    return ""


_MULTIPLE = r"(?:[kmµudcht]|da|giga|mega|kilo|milli|thousand|tausend|tsd\.?|mille|miles? de|[x×*]?\s*[0-9][0-9.,' ]*)\s*[x×*]?\s*"
_WRITTEN: Mapping[str, str] = MappingProxyType(
    {
        "V": "v(?:olts?)?",
        "A": "a(?:mp(?:s|eres?)?)?",
        "km": "km",
        "Ω": "ω|ohms?",
        "s": "s(?:ec)?",
        "rpm": "rpm|(?:1|u)/min",
    }
)


def unknown_unit(heading: str, column: str) -> str:
    """Return what stands in brackets and is `column`'s unit on a scale that is not known here, as kelvin or thousands of km; or ''."""
    own = own_unit(column)
    written = f"{_MULTIPLE}(?:{_WRITTEN[own]})" if own in _WRITTEN else r"°?\s*k|kelvin" if own == "°C" else r"(?!)"
    for found in re.findall(r"[\(\[]([^()\[\]]{1,24})[\)\]]", clean_text(heading)):
        text = found.translate(DEGREES).casefold().strip()
        if not unit_word(text) and re.fullmatch(written, text):
            return str(found).strip()
    return ""


_OF_KM = re.compile(r"^(?!.*(?:\bmi(?:les?)?\b|thousand|tausend|1000)).*(?:\bkm\b|\b(?:k|ch|qu)ilomet)")


def in_unit_of(heading: str, column: str) -> str:
    """Return `column` in the unit that a heading names, as temperature_f; '' where it names none or another quantity's."""
    if column.endswith("_sd_c") and re.search(r"[\(\[]\s*k\s*[\)\]]", folded(heading)):
        return column  # a spread in kelvin is one in degrees
    if column == "odometer_km" and _OF_KM.search(folded(without_brackets(heading))) and not bracketed_unit(heading):
        return "" if unknown_unit(heading, column) else column
    unit = unit_word(unit_in_heading(heading))
    for name in other_units(column) if unit else ():
        made = conversion(name)
        if unit and made and unit[:2] == (own_unit(column), made.factor):
            return name
    return ""
