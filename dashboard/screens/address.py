"""The address by which a phone reaches these screens, as the settings or the browser know it."""

from urllib.parse import urlsplit

import streamlit as st

from dashboard.desk.addresses import ADDRESS_KEY
from dashboard.screens import session


def screens_address() -> str:
    """What the settings say, else where this browser found the screens; "" where neither is known."""
    kept = session.settings().get(ADDRESS_KEY)
    if isinstance(kept, str) and kept:
        return kept
    parts = urlsplit(st.context.url or "")
    return f"{parts.scheme}://{parts.netloc}" if parts.scheme and parts.netloc else ""
