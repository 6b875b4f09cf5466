"""Colours, flags and page style of the screens: one accent, a palette for every eye, signs beside every colour."""

from typing import Final

# Okabe and Ito's palette (2008), chosen because its hues stay apart for colour-blind readers; grey for the usual.
BLUE: Final = "#0072B2"
VERMILION: Final = "#D55E00"
ORANGE: Final = "#BC7C00"
GREEN: Final = "#00875F"
PURPLE: Final = "#A8588C"
GREY: Final = "#7F8A90"
GROUNDS: Final = ("#FCFBF8", "#13181B")  # of the light and of the dark theme; every colour above stands out from both
LEAD_RED: Final = "#DB3A34"  # of a meter's lead, 3 to 1 against both grounds
INK: Final = "#10171A"

FILLED: Final = ("#DCE6EA", "#4D9BCB")  # from nothing to full, both light enough for INK

ACT_SIGN: Final = "▲"
WATCH_SIGN: Final = "◆"
PASS_SIGN: Final = "○"
SIGNS: Final = {"act": ACT_SIGN, "watch": WATCH_SIGN, "pass": PASS_SIGN}
CHANGE_SIGNS: Final = {"new": "✚", "worse": "▲", "better": "▽", "same": "=", "first": "●"}

OPTIONS: Final = {
    "theme.light.primaryColor": "#00607A",
    "theme.light.backgroundColor": GROUNDS[0],
    "theme.light.secondaryBackgroundColor": "#F0EEE7",
    "theme.light.textColor": INK,
    "theme.light.linkColor": "#00607A",
    "theme.dark.primaryColor": "#58C4DC",
    "theme.dark.backgroundColor": GROUNDS[1],
    "theme.dark.secondaryBackgroundColor": "#1F272B",
    "theme.dark.textColor": "#E8ECEC",
    "theme.dark.linkColor": "#58C4DC",
    "theme.baseRadius": "small",
    "theme.showWidgetBorder": True,
}
"""Options of the framework, so that no settings file has to lie beside the user's database."""

_STYLE: Final = """<style>
[data-testid="stMainBlockContainer"] { padding: 3.9rem 2.5rem 4rem 2.5rem; max-width: 1180px; }
[data-testid="stMainBlockContainer"] h1 { font-size: 1.7rem; padding: 0 0 .2rem 0; }
[data-testid="stMainBlockContainer"] h2 { font-size: 1.25rem; padding: .6rem 0 .1rem 0; }
[data-testid="stMainBlockContainer"] h3 { font-size: 1.05rem; padding: .3rem 0 0 0; }
[class*="st-key-row-"] [data-testid="stVerticalBlock"] { gap: .15rem; }
[class*="st-key-row-"] { gap: .35rem; padding-bottom: .9rem; }
[class*="st-key-row-"] [data-testid="stPageLink-NavLink"] { padding-left: 0; margin-left: 0; gap: 0; }
[class*="st-key-row-"] [data-testid="stPageLink-NavLink"] > span:first-child:not(:only-child) { display: none; }
[class*="st-key-row-"] [data-testid="stPageLink"] [data-testid="stIconMaterial"],
[class*="st-key-visit-"] [data-testid="stPageLink"] [data-testid="stIconMaterial"] { display: none; }
[class*="st-key-visit-"] [data-testid="stPageLink"] a { padding: 0; margin-left: 0; gap: 0; }
[class*="st-key-visit-"] [data-testid="stPageLink-NavLink"] > span:first-child:not(:only-child) { display: none; }
[class*="st-key-visit-"] [data-testid="stPageLink"] p { font-weight: 700; }
[class*="st-key-row-"] [data-testid="stPageLink"] p { font-size: 1.25rem; font-weight: 700; }
[class*="st-key-row-"] [data-testid="stPageLink"] p, [class*="st-key-visit-"] [data-testid="stPageLink"] p {
  text-decoration: underline; text-decoration-thickness: 1px; text-underline-offset: .2em; }
.st-key-numbers [data-testid="stMetricValue"] { font-size: 1.45rem; }
.st-key-numbers [data-testid="stMetricValue"] * { white-space: normal; overflow-wrap: normal; }
[data-testid="stMainBlockContainer"] { overflow-wrap: anywhere; }
[data-testid="stMetricLabel"] *,
[data-testid="stMetricLabel"] [data-testid="stMarkdownContainer"] p,
[data-testid="stMainBlockContainer"] [data-testid="stPageLink-NavLink"] * { white-space: normal; overflow: visible; text-overflow: clip; }
/* WCAG 2.2 AA, 1.4.3 and 1.4.11: text 4.5 to 1, large text, signs and edges of fields 3 to 1, in both themes */
[data-testid="stCaptionContainer"] { opacity: .8; }
[data-testid="stBaseButton-primary"], [data-testid="stBaseButton-primary"] *, [data-testid="stBaseButton-primaryFormSubmit"] *,
[data-testid="stMultiSelectTagsContainer"] *:not(input) { color: light-dark(#FFFFFF, #0B1215); }
[data-testid^="stBaseButton-primary"]:disabled, [data-testid^="stBaseButton-primary"]:disabled * {
  color: light-dark(#5A6469, #A9B3B7); }
[data-testid="stVegaLiteChart"] .role-axis-label text, [data-testid="stVegaLiteChart"] .role-legend-label text,
[data-testid="stVegaLiteChart"] .role-axis-title text, [data-testid="stVegaLiteChart"] .role-mark text[fill="#7F8A90"] {
  fill: light-dark(#4A5459, #D6DCDD); }
[data-testid="stVegaLiteChart"] .role-mark text[fill="#D55E00"] { fill: light-dark(#983F00, #FF9255); }
[data-testid="stTextInputRootElement"], [data-testid="stTextAreaRootElement"], [data-testid="stNumberInputContainer"],
[data-testid="stDateInputField"], [data-testid="stTimeInput"] [role="group"], [data-testid="stSelectbox"] [role="group"],
[data-testid="stMultiSelect"] div:has(> [data-testid="stMultiSelectTagsContainer"]) {
  border-color: light-dark(#7C868B, #7C878C); }
.st-key-bay input { min-height: 3.1rem; font-size: 1.15rem; }
.st-key-bay [data-testid="stButton"] button { min-height: 3.1rem; }
.st-key-bay label p { font-size: 1.02rem; }
.st-key-bay [data-testid="stButtonGroup"] button { min-height: 2.9rem; min-width: 2.9rem; }
.st-key-bay [data-testid="stTab"], .st-key-bay [data-baseweb="tab"] { min-height: 3rem; }
.st-key-bay [data-testid="stDateInputFieldsScroller"], .st-key-bay [data-testid="stTimeInputTimeDisplay"],
.st-key-bay [data-testid="stDateInput"] [role="group"], .st-key-bay [data-testid="stTimeInput"] [role="group"],
.st-key-bay [data-testid="stSelectbox"] [role="group"] { min-height: 3.1rem; align-items: center; }
.st-key-bay [data-testid="stTextInputRootElement"] { height: auto; min-height: 3.1rem; }
.st-key-bay [data-testid="stDateInputCalendarButton"], .st-key-bay [data-testid="stSelectbox"] button {
  min-height: 2.9rem; min-width: 2.9rem; }
.st-key-bay [data-testid="stTooltipHoverTarget"] button { padding: .95rem .6rem; margin: -.95rem -.6rem; box-sizing: content-box; }
/* a line that comes and goes stands in the band over the page, which does not move then; a failure stands in the page */
[data-testid="stLayoutWrapper"]:has(> [class*="st-key-judging_"]):not(:has([data-testid="stAlert"])) {
  position: fixed; top: 0; right: 4.5rem; z-index: 999991; height: 3.75rem; width: min(32rem, 100vw - 9rem); pointer-events: none; }
[class*="st-key-judging_"]:not(:has([data-testid="stAlert"])) { height: 100%; justify-content: center; }
[class*="st-key-judging_"] [data-testid="stCaptionContainer"] p { margin: 0; text-align: right; line-height: 1.25; }
[data-testid="stLayoutWrapper"]:has(> .st-key-savebar) { position: sticky; bottom: 0; z-index: 90; }
.st-key-savebar { background: Canvas; background: PAPER; border-top: 1px solid color-mix(in srgb, currentColor 25%, transparent);
  padding: .5rem 0 .6rem 0; gap: .35rem; }
.st-key-savebar p { margin: 0; line-height: 1.3; }
.st-key-savebar [data-testid="stMarkdownContainer"], .st-key-savebar [data-testid="stCaptionContainer"],
[class*="st-key-beside_"] [data-testid="stMarkdownContainer"] { margin-bottom: 0; }
[class*="st-key-beside_"] [data-testid="stMarkdown"] p { font-size: .95rem; line-height: 1.3; }
.st-key-savebar [data-testid="stMarkdown"] p { display: -webkit-box; -webkit-box-orient: vertical; -webkit-line-clamp: 4; overflow: hidden; }
.st-key-savebar .st-key-whose { gap: .35rem; }
.st-key-measured { gap: .55rem; }
.st-key-measured [class*="st-key-beside_"] { gap: .1rem; margin-top: -.45rem; padding-bottom: .4rem; }
.st-key-measured [data-testid="stCaptionContainer"] p { margin: 0; }
.st-key-bay [data-testid="stPageLink"] a, .st-key-bay summary { min-height: 2.9rem; align-items: center; }
/* short tables: a table on a desk, a card for each row on a phone */
table.cards { border-collapse: collapse; width: 100%; font-size: .92rem; }
table.cards th, table.cards td { padding: .3rem .6rem; vertical-align: top;
  border-bottom: 1px solid color-mix(in srgb, currentColor 18%, transparent); }
table.cards .words { text-align: left; }
table.cards .figure { text-align: right; font-variant-numeric: tabular-nums; }
table.cards thead th { overflow-wrap: normal; font-weight: 600; vertical-align: bottom; }
table.cards tbody th { font-weight: 600; }
table.cards td.figure { white-space: nowrap; }
[class*="st-key-narrow_"] { display: none; }
.st-key-who_comes { gap: .3rem; font-size: .95rem; }
.st-key-who_comes [data-testid="stMarkdownContainer"], .st-key-who_comes [data-testid="stMarkdownContainer"] p { margin: 0; font-size: .95rem; }
.st-key-order_today ul { padding-left: 1rem; }
@media (max-width: 640px) {
  [class*="st-key-wide_"] { display: none; }
  [class*="st-key-narrow_"] { display: flex; }
  table.cards, table.cards tbody, table.cards tr, table.cards tbody th, table.cards td { display: block; border: 0; }
  table.cards thead { position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%); }
  table.cards tr { padding: .45rem .6rem; margin-bottom: .5rem;
    border: 1px solid color-mix(in srgb, currentColor 25%, transparent); border-radius: .3rem; }
  table.cards tbody th { padding: 0 0 .2rem 0; }
  table.cards td { display: flex; justify-content: space-between; gap: 1rem; padding: .1rem 0; text-align: right; }
  table.cards td::before { content: attr(data-head); text-align: left; flex: 0 1 auto; overflow-wrap: normal; white-space: normal; }
  [data-testid="stMainBlockContainer"] { padding: 3.9rem .8rem 4rem .8rem; }
  [data-testid="stMainBlockContainer"] h1 { font-size: 1.4rem; }
  [class*="st-key-visit-"] { flex-direction: column; gap: .1rem; }
  [class*="st-key-visit-"] > div { flex: 0 0 auto; width: 100%; }
}
/* pictures that are drawn as HTML: text in the page's own ink, marks in colours that stand out from both grounds */
.ct-picture p { margin: 0 0 .2rem 0; }
.ct-picture .ct-title { font-weight: 700; font-size: 1.05rem; }
.ct-picture .ct-bar { margin: .7rem 0 0 0; font-weight: 600; font-size: .92rem; }
.ct-picture .ct-note, .ct-picture .ct-axis { font-size: .8rem; opacity: .85; }
.ct-picture svg { display: block; max-width: none; overflow: visible; }
.ct-picture svg text { fill: currentColor; font-size: 12px; }
.ct-picture svg .ct-in { fill: #FFFFFF; font-weight: 600; text-anchor: middle; paint-order: stroke; stroke: #10171A; stroke-width: 2.5px; }
.ct-picture .ct-sure { stroke: #FFFFFF; stroke-width: 3px; }
.ct-picture .ct-limit { stroke: currentColor; stroke-width: 2px; stroke-dasharray: 3 2; }
.ct-picture .ct-key { list-style: none; display: flex; flex-wrap: wrap; gap: .1rem .9rem; margin: 0; padding: 0; font-size: .84rem; }
.ct-picture .ct-key li { margin: 0; white-space: nowrap; }
.ct-picture .ct-key i { display: inline-block; width: .75em; height: .75em; margin-right: .35em; }
.ct-picture .ct-over { font-weight: 700; }
.ct-leads svg { max-width: 480px; margin: 0 auto; }
.ct-leads svg text { font-size: 14px; paint-order: stroke; stroke: PAPER; stroke-width: 3px; }
.ct-leads svg .ct-unit { font-size: 30px; font-weight: 700; stroke-width: 0; }
.ct-leads svg .ct-word { font-size: 19px; font-weight: 700; stroke-width: 4px; }
.ct-leads .ct-part { fill: PAPER; stroke: currentColor; stroke-width: 2px; }
.ct-leads .ct-cable { fill: none; stroke: currentColor; stroke-width: 5px; opacity: .55; }
.ct-leads .ct-post { fill: none; stroke: currentColor; stroke-width: 12px; }
.ct-leads .ct-thin { fill: none; stroke: currentColor; stroke-width: 2px; }
.ct-leads .ct-halo { fill: none; stroke: PAPER; stroke-width: 13px; }
.ct-leads .ct-lead { fill: none; stroke-width: 5px; }
.ct-leads .ct-lead.ct-red, .ct-leads .ct-probe.ct-red { stroke: LEAD_RED; }
.ct-leads .ct-edge { fill: none; stroke: currentColor; stroke-width: 8px; }
.ct-leads .ct-lead.ct-black { stroke: #10171A; }
.ct-leads .ct-probe.ct-black { fill: #10171A; stroke: currentColor; stroke-width: 2px; }
.ct-leads .ct-probe.ct-red { fill: LEAD_RED; }
.ct-leads svg .ct-word.ct-red { fill: light-dark(#B3261E, #FF8A80); }
.ct-short .ct-line { fill: none; stroke-width: 1px; vector-effect: non-scaling-stroke; }
.ct-short .ct-strong { stroke-width: 2px; }
.ct-short .ct-dots { fill: none; stroke-width: 6px; stroke-linecap: round; vector-effect: non-scaling-stroke; }
.ct-picture .ct-pair { display: grid; grid-template-columns: repeat(auto-fit, minmax(290px, 1fr)); gap: 0 1.6rem; }
.ct-picture .ct-usual { stroke: currentColor; stroke-width: 1.5px; stroke-dasharray: 4 3; }
.ct-behind { margin-top: .3rem; }
.ct-behind summary { cursor: pointer; font-size: .84rem; padding: .35rem 0; }
.ct-behind .ct-scroll { overflow: auto; max-height: 22rem; }
.ct-behind table { font-size: .84rem; font-variant-numeric: tabular-nums; }
/* the toolkit's own menu and grid tools: nothing in them is for a workshop, tables have buttons of their own */
[data-testid="stMainMenu"], [data-testid="stElementToolbar"] { display: none; }
.st-key-device_number, .st-key-place, .st-key-touched { position: absolute; } /* they draw nothing: no room for them */
@media print { [data-testid="stSidebar"], header { display: none; } }
</style>"""


def style_sheet() -> str:
    """The pages' fixed style sheet as HTML; it holds nothing that a user typed."""
    return _STYLE.replace("LEAD_RED", LEAD_RED).replace("PAPER", f"light-dark({GROUNDS[0]}, {GROUNDS[1]})")
