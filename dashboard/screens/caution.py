"""What to mind before work: whole the first time in a shift on a device, then one line that opens."""

from datetime import datetime, timedelta
from typing import Final

import streamlit as st

from dashboard.screens import device, session
from dashboard.words import safety

SHIFT: Final = timedelta(hours=12)  # after which it is shown whole again, our choice: nobody's shift is longer
_SHOWN: Final = "cautioned_at"
_WHOLE_FOR: Final = "caution_whole_for"


def caution(unit: str) -> None:
    """Show it; it stays whole as long as this vehicle is the one that it was first shown with."""
    if not recently(device.remembered().get(_SHOWN), session.now()):
        device.note(**{_SHOWN: session.now().isoformat()})
        st.session_state[_WHOLE_FOR] = unit
    if st.session_state.get(_WHOLE_FOR) == unit:
        st.warning(f":small[{safety.in_bold(safety.AT_ONCE)}]")
        with st.expander(safety.AND_WHEN, key="and_when"):
            st.markdown(safety.in_bold(safety.WHEN))
        return
    before_work()


def before_work() -> None:
    """One line that opens, where somebody reads what to measure or to repair."""
    with st.expander(safety.SAFE_LINE, icon=":material/warning:", key="caution"):
        st.markdown(safety.in_bold())


def recently(shown_at: object, now: datetime) -> bool:
    """Whether it was shown whole within the shift; anything unusable counts as not."""
    try:
        passed = now - datetime.fromisoformat(str(shown_at))
    except ValueError:
        return False
    return timedelta(0) <= passed < SHIFT
