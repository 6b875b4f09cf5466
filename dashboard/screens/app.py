"""The screens' entry point: pages, the margin that all pages share, and the page's style."""

from datetime import date, timedelta
from pathlib import Path

import streamlit as st

from dashboard.charts import theme
from dashboard.judging.process import JudgingFailed
from dashboard.screens import device, picker, place, quiet, reception, session
from dashboard.screens.pages import IN_ADDRESS, all_pages, page
from dashboard.words import every_page as say
from dashboard.words.plain_text import safe
from ingest.errors import IngestError

DAY_LOOK_S = 300.0  # [s] after which an open page looks what day it is, our choice
FOUND_SHOWN = 6  # vehicles shown under the field that finds one, our choice: more do not fit beside a list
ICON = Path(__file__).parents[1] / "pictures" / "icon.png"  # a named icon would be fetched from outside


def main() -> None:
    st.set_page_config(page_title=say.PROGRAM, page_icon=ICON, layout="wide")
    st.html(theme.style_sheet())
    try:
        who = session.looking()
        pages = all_pages() if who.may_read else reception.pages_of(who)
        chosen = st.navigation(pages, position="sidebar" if who.may_read else "hidden")
        session.acts_ended()
        if who.may_read or who.code_unit:
            device.recognise()
            device.take_name()
            place.keep()
            quiet.watch()
        if who.may_read:
            margin(signed_in=bool(who.account))
        chosen.run()
        if who.may_read:
            session.begin_judging()
    except JudgingFailed:
        session.fresh_when_ready(session.key_of())
    except IngestError as error:
        st.error(safe(error))


def margin(*, signed_in: bool) -> None:
    """What stands beside every page: find a vehicle, who is looking, and whose day's knowledge is shown."""
    with st.sidebar:
        find_unit()
        if signed_in:
            reception.signed_in()
        else:
            device.name_box(say.YOUR_NAME, "who")
        today = session.today()
        session.follow("as_of", today)
        with_the_day(today)
        st.date_input(
            say.KNOWN_AT,
            value=today,
            max_value=today,
            min_value=date(2000, 1, 1),
            key="as_of",
            format=session.date_format(),
            bind=IN_ADDRESS,
            help=say.KNOWN_AT_HELP,
        )


@st.fragment(run_every=DAY_LOOK_S)
def with_the_day(shown: date) -> None:
    """A page left open goes on to the next day by itself."""
    if session.today() != shown:
        session.draw_again("day")


def find_unit() -> None:
    part = st.text_input(say.FIND, placeholder=say.PART_OF_NUMBER, max_chars=64, key="find").strip()
    if not part:
        return
    here = set(
        session.units_in_service(session.as_of() - timedelta(days=1))["unit"]
    )  # on its last day it is read still
    found = sorted(picker.matching(session.units()["unit"], part), key=lambda unit: unit not in here)
    for unit in found[:FOUND_SHOWN]:
        label = safe(unit) if unit in here else say.LEFT.format(unit=safe(unit))
        st.page_link(page("unit"), label=label, query_params={"unit": unit}, icon=":material/chevron_right:")
    if not found:
        st.caption(say.NO_SUCH_NUMBER.format(part=safe(part)))


main()
