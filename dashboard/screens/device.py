"""What one phone or desk remembers: its own number in the browser, units of its meter, recent vehicles, a draft.

The browser keeps a random number; everything else lies in the database under that number, so that an entry half
typed survives a reload and a dropped connection.
"""

import re
from collections.abc import Mapping
from typing import Any, Final

import streamlit as st
import streamlit.components.v2 as components

from dashboard.desk.rights import Act
from dashboard.screens import quiet, session, visitor
from ingest.records import read_device, save_device

_STATE: Final = "device"
_MEMORY: Final = session.DEVICE_MEMORY
_TOLD: Final = "device_told"
_NOTED: Final = "device_noted"  # that something is held that is not written yet
_BOXES: Final = "name_boxes"
NO_MEMORY: Final = "none"  # what a browser says that keeps nothing
_NUMBER: Final = re.compile(r"^[0-9a-f]{16,64}$")
_SCRIPT: Final = """
export default function (component) {
  const { setStateValue, data } = component;
  let own = null;
  try {
    own = localStorage.getItem("cranktrend-device");
    if (!own) {
      const bytes = crypto.getRandomValues(new Uint8Array(16));
      own = Array.from(bytes, (b) => b.toString(16).padStart(2, "0")).join("");
      localStorage.setItem("cranktrend-device", own);
    }
  } catch (error) { own = null; }
  if (data.known !== (own || "none")) setStateValue("number", own || "none");
  else document.body.dataset.deviceKnown = "yes";
  const keypad = () => document.querySelectorAll(".st-key-measured input[type=text]")
    .forEach((field) => field.setAttribute("inputmode", "decimal"));
  keypad();
  if (!window.cranktrendKeypad) {
    window.cranktrendKeypad = new MutationObserver(keypad);
    window.cranktrendKeypad.observe(document.body, { childList: true, subtree: true });
  }
}
"""
_mount = components.component("cranktrend_device", js=_SCRIPT)


def recognise() -> None:
    """Learn the browser's own number, once a session; it comes with the run after the first."""
    known = st.session_state.get(_STATE, "" if not st.session_state.get(_TOLD) else NO_MEMORY)
    with st.sidebar:
        told_before = st.session_state.get("device_number")
        heard = str(told_before.get("number") or "") if isinstance(told_before, Mapping) else ""
        data = {"known": heard or known}
        result = _mount(key="device_number", data=data, default={"number": ""}, on_number_change=quiet.ignore)
    told = str(result.get("number") or "")
    if told and told != known:
        st.session_state[_TOLD] = True
        if _NUMBER.match(told):
            st.session_state[_STATE] = known = told
            session.held().pop(_MEMORY, None)
    session.held()[_STATE] = "" if known == NO_MEMORY else known


def awaited() -> bool:
    """Whether the browser has not yet said who it is: what is typed now would hide what it typed before."""
    return not st.session_state.get(_TOLD) and not number()


def number() -> str:
    """The device's number; "" before the browser told it."""
    return str(session.held().get(_STATE, ""))


def remembered() -> dict[str, Any]:
    held = session.held()
    if _MEMORY not in held:
        own = number()
        if not own:
            return {}
        held[_MEMORY] = session.read(read_device, own)
    memory = held[_MEMORY]
    return dict(memory) if isinstance(memory, dict) else {}


def note(**changes: object) -> None:
    """Hold something for this visit, without writing: the device's next `remember` takes it along; None forgets it."""
    memory = {**remembered(), **changes}
    kept = {name: value for name, value in memory.items() if value is not None}
    if kept != remembered():
        session.held().update({_MEMORY: kept, _NOTED: True})


def remember(**changes: object) -> None:
    """Keep something for the device, and all that was noted, because its user did something."""
    own = number()
    note(**changes)
    if session.held().get(_NOTED) and own:
        with session.database(Act.REMEMBER) as db:
            save_device(db, own, remembered())
            session.held().pop(_NOTED, None)


def _boxes() -> dict[str, tuple[str, str]]:
    """Box for the name -> what stood in it when a page was last drawn, and the name that it was to show."""
    return session.held().setdefault(_BOXES, {"who": ("", "")})  # type: ignore[no-any-return]


def name_box(label: str, key: str) -> None:
    """A box with the name of who is looking; all of them show the same name, and `take_name` reads what is typed there."""
    name, boxes = session.who_is_named(), _boxes()
    seen, shown = boxes.get(key, ("", ""))
    if key not in st.session_state or shown != name:
        st.session_state[key] = name
    boxes[key] = (seen, name)
    st.text_input(label, max_chars=64, key=key)


def take_name() -> None:
    """Take the name that was typed into one of its boxes since the last drawing, else the one that the device remembers.

    To be called before a page is drawn: what a box would call when its text changes is not called again where a click
    ends it halfway.  Empty forgets the name; an account says who is looking, whatever stands in a box.
    """
    if visitor.account():
        return
    held, boxes = session.held(), _boxes()
    for key, (seen, shown) in [*boxes.items()]:
        text = str(st.session_state.get(key, seen)).strip()
        if text not in (seen, shown):
            held[session.NAME] = text
        boxes[key] = (text, shown)
    known, said = str(remembered().get("who", "")), held.get(session.NAME)
    if said is None:
        held[session.NAME] = known or None
    elif said != known:
        remember(who=said or None)
