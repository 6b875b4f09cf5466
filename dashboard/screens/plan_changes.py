"""Changes to the plan on the screen: what a person wishes, held against what others did meanwhile, then made or left."""

from dataclasses import dataclass, replace
from datetime import date, datetime

import streamlit as st
from sqlite_utils import Database

from analysis.plan.replacement_plan import ReplacementPlan
from analysis.worklist.assess import Assessment
from dashboard.desk.plan_moves import Trial, changed, keep_pin, try_move, without_move
from dashboard.desk.planning import PLAN_WEEKS, Overtaken, Seen, make_plan, named, pin_words, seen_now, when
from dashboard.desk.rights import Act
from dashboard.screens import kept, reception, session, visitor
from dashboard.screens.uploads import made_once
from dashboard.words import every_page
from dashboard.words import plan_page as say
from dashboard.words.plain_text import day, safe, week_and_monday
from dashboard.words.plan_words import money as plan_money
from ingest.records import read_pins, remove_pin

WISHES = {"pin": say.COME, "forbid": say.NOT_COME}
WISHED, OVERTAKEN, GRANTED, TRIED = "plan_wished", "plan_overtaken", "plan_granted", "plan_tried"
NOT_ISSUED = "plan_not_issued"
REASON = "move_reason"


@dataclass(frozen=True)
class Wish:
    """What a button asks for: "again", "pin", "forbid" or "let_go"; and what its planner had in view."""

    kind: str
    weeks: int
    unit: str = ""
    week: str = ""
    reason: str = ""
    pin_id: int = 0
    seen: Seen | None = None


def money(value: float, plan: ReplacementPlan) -> str:
    return safe(plan_money(value, str(plan.summary["currency"])))


def wish_button(label: str, wish: Wish, *, key: str, primary: bool = False, disabled: bool = False) -> None:
    """A button for a wish; what is on record while it is drawn is what its planner has in view."""
    with session.database() as db:
        seen = seen_now(db)
        mine = visitor.now(db).may(Act.PLAN)
    st.button(
        label, key=key, type="primary" if primary else "secondary", disabled=disabled or not mine, on_click=remember,
        args=(replace(wish, seen=seen),),
    )  # fmt: skip


def remember(wish: Wish | None) -> None:
    """Called before the page is drawn; a reason that was typed last thing before the click comes with the click."""
    if wish is not None and wish.kind in WISHES:
        wish = replace(wish, reason=st.session_state.get(REASON) or wish.reason)
    held = session.held()
    held.pop(OVERTAKEN, None)
    if wish is None or wish.kind == "again" or wish != held.get(GRANTED):  # else clicked twice
        held[WISHED] = wish


def not_issued(assessment: Assessment | None) -> ReplacementPlan:
    """The first plan as it would be, worked out once for as long as nothing is put on record; nothing is kept."""

    def make() -> ReplacementPlan:
        with session.database() as db, st.spinner(say.PLANNING):
            return make_plan(db, as_of=session.as_of(), weeks=PLAN_WEEKS, assessment=assessment, save=False)

    return made_once(NOT_ISSUED, (session.written(), session.as_of(), id(assessment)), make)


def grant(assessment: Assessment) -> None:
    """Do what was wished for, unless another person was quicker: then ask first. The page is drawn again after it."""
    wished = session.held().get(WISHED)
    if wished is None:
        return
    day, who, now = session.as_of(), session.who(), session.now()
    with st.spinner(say.PLANNING), session.in_one_piece():
        held = session.held()
        if held.pop(WISHED, None) != wished:  # done by a run that this one has overtaken
            st.rerun()
        try:
            with session.database(Act.PLAN) as db:
                twice, seen = wished == held.get(GRANTED), seen_now(db)
                wish = replace(wished, seen=seen) if twice else wished  # nobody came between but the first click
                made = _do(db, wish, assessment, day, who, now)
        except Overtaken as error:
            held[OVERTAKEN] = (str(error), wished)
        else:
            new = made.version != seen.version
            said = (say.KEPT if new else say.NOTHING_CHANGES).format(version=made.version)
            held[GRANTED] = wished
            kept.keep(kept.Kept(_place(wished), "", said), known=twice and not new)
    st.session_state.pop(REASON, None)
    st.rerun()


def _place(wish: Wish) -> str:
    """Where on the page the answer to a wish is said: beside the button that plans again, or below what is moved."""
    return "planned_again" if wish.kind == "again" else "moved"


def answer(*, by_hand: bool) -> None:
    """What became of the last wish, said where its button stands: of one `by_hand`, or of planning again."""
    kept.told("moved" if by_hand else "planned_again", "")
    overtaken, wish = session.held().get(OVERTAKEN, ("", None))
    if wish is not None and (wish.kind != "again") == by_hand:
        ask(overtaken, wish)


def _do(db: Database, wish: Wish, assessment: Assessment, day: date, who: str, now: datetime) -> ReplacementPlan:
    if wish.kind == "again":
        return make_plan(
            db, as_of=day, weeks=wish.weeks, assessment=assessment, by=who, now=now, seen=wish.seen
        )  # fmt: skip

    def change() -> None:
        if wish.kind == "let_go":
            remove_pin(db, wish.pin_id, by=who, now=now)
        else:
            keep_pin(db, unit=wish.unit, week=wish.week, kind=wish.kind, reason=wish.reason, by=who, now=now)

    return changed(db, assessment, change, as_of=day, weeks=wish.weeks, by=who, now=now, seen=wish.seen)


def ask(overtaken: str, wish: Wish) -> None:
    """What another person did meanwhile, and whether the wish holds all the same."""
    mine = {
        "again": say.AGAIN_ALL_THE_SAME,
        "let_go": say.LET_GO_ALL_THE_SAME,
        "pin": say.FIX_ALL_THE_SAME.format(unit=wish.unit, week=wish.week),
        "forbid": say.KEEP_OUT_ALL_THE_SAME.format(unit=wish.unit, week=wish.week),
    }[wish.kind]
    with st.container(border=True, key="overtaken"):
        st.warning(safe(say.NOT_KEPT_YET.format(overtaken=overtaken, asked=mine)))
        with st.container(horizontal=True):
            wish_button(say.YES_MINE, wish, key="overtaken_mine", primary=True)
            st.button(say.NO_LEAVE, key="overtaken_leave", on_click=remember, args=(None,))


def moving(plan: ReplacementPlan, assessment: Assessment | None, *, newest: bool) -> None:
    """Choose a vehicle and a week, see what the change costs, then make it or leave it."""
    if not plan.version:
        st.info(say.ISSUE_TO_MOVE)
        return
    if not reception.may(Act.PLAN):
        pins_on_record(plan)
        return
    if assessment is None:
        st.info(say.MOVE_WHEN_JUDGED)
        return
    if plan.as_of != assessment.as_of or not newest:
        st.info(say.NOT_NEWEST)
        return
    labels = {
        v["unit"]: f"{v['unit']}, {day(v['visit_on'], weekday=True)}: {v['job']}"
        for v in plan.visits.to_dict("records")
    }
    labels |= {
        v["unit"]: say.LABEL_LEFT_OUT.format(unit=v["unit"], job=v["job"]) for v in plan.left_out.to_dict("records")
    }
    if labels:
        with st.container(width=560):
            change(plan, assessment, labels)
    else:
        st.write(say.NONE_TO_MOVE)
    answer(by_hand=True)
    pins_on_record(plan)


def change(plan: ReplacementPlan, assessment: Assessment, labels: dict[str, str]) -> None:
    """One change by hand: tried first, its cost shown, kept when asked for."""
    unit = st.selectbox(
        say.VISIT, list(labels), index=None, format_func=labels.__getitem__, key=f"move_unit_{plan.version}",
        placeholder=say.CHOOSE,
    )  # fmt: skip
    kind = st.segmented_control(
        say.IT_IS_TO, list(WISHES), format_func=WISHES.__getitem__, default="pin", key="move_kind"
    )
    weeks = sorted(plan.hours["iso_week"].unique().tolist())
    week = st.selectbox(every_page.WEEK, weeks, key="move_week", format_func=week_and_monday)
    reason = st.text_input(every_page.WHY, max_chars=200, key=REASON)
    asked = session.held().get(OVERTAKEN, ("", None))[1]
    if not unit or not week or not kind or (asked is not None and asked.kind != "again"):
        return  # a question stands in the place of the button that led to it
    trial = tried(plan, assessment, unit, week, kind)
    if kind == "pin" and trial.week != week:
        st.warning(say.CANNOT_BE.format(week=week_and_monday(week)))
        return
    st.markdown(trial_words(unit, week, kind, trial, plan))
    wish = Wish(kind, plan.weeks, unit, week, reason)
    wish_button(say.MOVE_IT if kind == "pin" else say.KEEP_IT_OUT, wish, key="move_now", primary=True)


def tried(plan: ReplacementPlan, assessment: Assessment, unit: str, week: str, kind: str) -> Trial:
    """What a change would do, worked out once for as long as nothing is put on record."""
    day = session.as_of()
    with session.database() as db:

        def make() -> tuple[ReplacementPlan, dict[tuple[str, str, str], Trial]]:
            with st.spinner(say.PLANNING):
                return without_move(db, plan, assessment, as_of=day), {}

        kept, trials = made_once(TRIED, (session.written(), seen_now(db), day, id(assessment)), make)
        if (unit, week, kind) not in trials:
            with st.spinner(say.PLANNING_WITH):
                trials[unit, week, kind] = try_move(
                    db, plan, assessment, unit=unit, week=week, as_of=day, kind=kind, kept=kept
                )
    return trials[unit, week, kind]


def trial_words(unit: str, week: str, kind: str, trial: Trial, plan: ReplacementPlan) -> str:
    what = (
        say.UNIT_IN.format(unit=safe(unit), week=week_and_monday(week))
        if kind == "pin"
        else say.UNIT_NOT_IN.format(unit=safe(unit), week=week_and_monday(week))
    )
    lands = (
        ""
        if kind == "pin"
        else say.COMES_IN.format(week=week_and_monday(trial.week))
        if trial.week
        else say.IS_LEFT_OUT
    )
    others = say.others_move(trial.others_moved) if trial.others_moved else ""
    cost = (say.COSTS if trial.costs >= 0 else say.SAVES).format(amount=money(abs(trial.costs), plan))
    return f"{what} **{cost}**{lands}{others}."


def pins_on_record(plan: ReplacementPlan) -> None:
    pins = session.read(read_pins)
    for pin in pins.to_dict("records"):
        with st.container(horizontal=True, vertical_alignment="center"):
            why = f": {safe(pin['reason'])}" if pin["reason"] else ""
            by = say.BY.format(who=safe(named(pin["by"])), when=when(pin["at"]))
            st.markdown(f"{safe(pin['unit'])} {pin_words(pin['kind'])} {week_and_monday(pin['week'])}, {by}{why}")
            wish_button(say.LET_GO, Wish("let_go", plan.weeks, pin_id=int(pin["id"])), key=f"unpin_{pin['id']}")
