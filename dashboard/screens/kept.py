"""What was just put on record, said once where it was done, with a button that takes it back."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

import streamlit as st

from dashboard.desk.rights import Act, act_of_change, act_of_row
from dashboard.screens import bay, session
from dashboard.words import every_page as say
from dashboard.words.plain_text import safe
from dashboard.words.record_words import NOTHING_CHANGED
from ingest import corrections
from ingest.entries import Entry
from ingest.errors import IngestError

_KEY = "kept_note"
_TAKEN = "taken_back"


@dataclass(frozen=True)
class Kept:
    """What is said on the page `where` about `unit`, and how it is taken back: a saved row, or a change of one.

    act: what saved it, where whoever may do that may take it back at once; else it is found by what is taken back.
    """

    where: str
    unit: str
    words: str
    word: str = ""
    number: int = 0
    change: int = 0
    again: bool = False
    wrong: bool = False
    act: Act | None = None

    def names(self) -> tuple[str, str, str, int]:
        """The page, and the row that was saved."""
        return self.where, self.unit, self.word, self.number


def keep(note: Kept, *, known: bool = False) -> None:
    """Have it said on the next drawing of the page, until something else is kept or another vehicle is looked at.

    To be called while the connection that wrote it is open, so that no click comes between (`session.in_one_piece`).
    known: the row was on record before; what the first of two clicks on the same button was told stands.
    """
    said = _note()
    if not known:
        session.held()[_KEY] = note
    elif said is None or said.names() != note.names():
        session.held()[_KEY] = replace(note, number=0)


def changed(
    where: str, unit: str, words: str, act: Callable[..., Entry], *what: object, reason: str, forget: str = ""
) -> None:
    """Correct or withdraw; say what is wrong, or have `words` said, with a button that undoes it.

    act: of `ingest.corrections`, which takes `what`, the kind of row first; forget: what the session holds that is true no more.
    """
    with session.saving(act_of_row(str(what[0]))) as db:
        entry = act(db, *what, by=session.who(), reason=reason, now=session.now())
        if not entry.problems:
            keep(Kept(where, unit, NOTHING_CHANGED if entry.known else words, change=entry.change or 0))
            session.held().pop(forget, None)
            st.rerun()
        refused(entry.problems)


def _note() -> Kept | None:
    note = session.held().get(_KEY)
    return note if isinstance(note, Kept) else None


def about(where: str) -> str:
    """The vehicle of which something is said on this page; "" where nothing is."""
    note = _note()
    return note.unit if note is not None and note.where == where else ""


def told(where: str, unit: str) -> bool:
    """Say what was kept on this page about this vehicle; whether there was anything to say."""
    note = _note()
    if note is None or (note.where, note.unit) != (where, unit):
        return False
    with st.container(horizontal=True, vertical_alignment="center", key="kept"):
        if note.wrong:
            st.error(safe(note.words))
        else:
            st.success(safe(note.words), icon=":material/check_circle:")
        undo_button(note)
    return True


def refused(problems: Iterable[str]) -> None:
    """Say why something is not on record."""
    for problem in problems:
        st.error(safe(bay.spoken(problem)))


def undo_button(note: Kept) -> None:
    if (note.number or note.change) and session.may(act_of(note), note.unit):
        label = say.BRING_BACK if note.again else say.UNDO
        st.button(label, key="undo_kept", icon=":material/undo:", on_click=take_back, args=(note,))


def act_of(note: Kept) -> Act:
    if note.act is not None:
        return note.act
    return session.read(act_of_change, note.change) if note.change else act_of_row(note.word)


def take_back(note: Kept) -> None:
    """Withdraw the row that was saved, or undo the change; what was done so can be undone again."""
    by, now = session.who(), session.now()
    try:
        with session.database(act_of(note), unit=note.unit) as db:
            if session.held().get(_TAKEN) == note:  # clicked twice
                return
            done = (
                corrections.undo(db, note.change, by=by, now=now)
                if note.change
                else corrections.withdraw(db, note.word, note.number, by=by, reason=say.AT_ONCE, now=now)
            )
            words = say.AGAIN_ON_RECORD if note.again else say.UNDONE
            keep(Kept(note.where, note.unit, words, change=done.change or 0, again=not note.again, act=note.act))
            session.held()[_TAKEN] = note
    except IngestError as error:
        keep(Kept(note.where, note.unit, str(error), wrong=True))
