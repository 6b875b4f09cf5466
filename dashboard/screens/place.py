"""Where the reader was: back, forward and reload bring the same page at the same height, one step of history a page."""

from typing import Final

import streamlit as st
import streamlit.components.v2 as components

_SCRIPT: Final = """
export default function () {
  if (window.cranktrendPlace) return;
  window.cranktrendPlace = true;
  // A link to a page with a query is pushed twice: its query on the page that is left, then the page. One entry is right.
  const push = history.pushState.bind(history);
  let before = null, back = false;
  history.pushState = (state, title, url) => {
    const next = new URL(url ?? location.href, location.href), now = new URL(location.href);
    const again = before === now.href && next.pathname !== now.pathname && next.search === now.search;
    if (again) history.replaceState(state, title, url); else push(state, title, url);
    if (back && next.pathname !== now.pathname) { back = false; bring(); }
    before = !again && next.pathname === now.pathname && next.search !== now.search ? next.href : null;
  };
  const main = () => document.querySelector("[data-testid=stMain]");
  const name = () => "cranktrend-place " + location.href;
  const keep = () => { try { sessionStorage.setItem(name(), main()?.scrollTop ?? 0); } catch (error) { return; } };
  let wanted = null;
  const let_go = () => { wanted = null; };
  const bring = () => {
    try { wanted = Number(sessionStorage.getItem(name())) || null; } catch (error) { wanted = null; }
    let held = 0, tries = 0;
    const timer = setInterval(() => {
      const there = main();
      if (wanted === null || tries++ > 150 || held > 4) { wanted = null; clearInterval(timer); return; }
      const room = there ? there.scrollHeight - there.clientHeight : 0;
      if (room < wanted) return;
      held = Math.abs(there.scrollTop - wanted) < 2 ? held + 1 : 0;
      there.scrollTop = wanted;
    }, 100);
  };
  document.addEventListener("click", (event) => {
    keep();
    back = Boolean(event.target.closest?.(".st-key-back_to_list a"));
  }, true);
  window.addEventListener("pagehide", keep);
  for (const kind of ["wheel", "touchstart", "keydown", "mousedown"]) document.addEventListener(kind, let_go, true);
  window.addEventListener("popstate", bring);
  const [how] = performance.getEntriesByType("navigation");
  if (how && how.type !== "navigate") bring();
}
"""
_mount = components.component("cranktrend_place", js=_SCRIPT)


def keep() -> None:
    """Let the browser remember how far each page was scrolled, for its own tab."""
    with st.sidebar:
        _mount(key="place")
