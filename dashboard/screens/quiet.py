"""Whether a page may be drawn again by itself: not while a box is open over it, a field half typed, or a finger on it."""

from typing import Final

import streamlit as st
import streamlit.components.v2 as components

_SCRIPT: Final = """
export default function ({ setTriggerValue, data }) {
  watch();
  clearInterval(timer);
  if (!data.waits) return;
  const look = () => { if (quiet()) { clearInterval(timer); setTriggerValue("quiet", true); } };
  timer = setInterval(look, LOOK_MS);
  look();
  return () => clearInterval(timer);
}
const REST_MS = 700, LOOK_MS = 200, HELD_MS = 10000;  // since the last touch, between looks, of a finger not seen to leave: our choice
const OPEN = "[role=dialog][aria-modal=true], [data-testid=stDialog] [role=dialog], [data-testid=stPopoverBody],"
  + " [role=listbox], [role=combobox][aria-expanded=true], [data-baseweb=calendar], [data-testid=stDateInputCalendar]";
let timer = null;
function watch() {
  if (window.cranktrendTouched) return;
  const seen = window.cranktrendTouched = { field: null, down: false, at: 0 };
  const field = (event) => event.target.closest?.("input, textarea, [contenteditable=true]");
  for (const kind of ["pointerdown", "pointerup", "pointercancel", "wheel", "keydown"])
    document.addEventListener(kind, () => {
      seen.at = performance.now();
      if (kind.startsWith("pointer")) seen.down = kind === "pointerdown";
    }, { capture: true, passive: true });
  for (const kind of ["input", "paste", "keydown"]) document.addEventListener(kind, (event) => {
    const types = kind !== "keydown" || event.key.length === 1 || ["Backspace", "Delete"].includes(event.key);
    if (types && field(event)) seen.field = field(event);
    if (kind === "keydown" && event.key === "Enter" && field(event)?.tagName === "INPUT") seen.field = null;
  }, true);
  document.addEventListener("focusout", (event) => { if (field(event) === seen.field) seen.field = null; }, true);
}
function quiet() {
  const seen = window.cranktrendTouched, typed = seen.field?.isConnected && document.activeElement === seen.field;
  const since = performance.now() - seen.at;
  return !typed && since > (seen.down ? HELD_MS : REST_MS) && !document.querySelector(OPEN);
}
"""
_mount = components.component("cranktrend_quiet", js=_SCRIPT)


def watch() -> None:
    """Let the browser note what is typed and touched, from the page's first drawing on."""
    with st.sidebar:
        _mount(key="touched", data={"waits": False})


def now(key: str) -> bool:
    """Whether nothing on the page is open, half typed or held; asked of the browser, which answers as soon as it is so.

    To be called from a fragment, which runs again with the answer.
    """
    return bool(_mount(key=f"quiet_{key}", data={"waits": True}, on_quiet_change=ignore).get("quiet"))


def ignore() -> None:
    """A component wants a callback for what it tells; nothing is to be done."""
