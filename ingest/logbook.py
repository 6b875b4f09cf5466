"""Who did what, when and why: everything that people and files put on record, read from where it is kept."""

from datetime import date

import pandas as pd
from sqlite_utils import Database

from ingest.sheet_edits import EDITED

COLUMNS = ("at", "by", "what", "record", "unit", "column", "old", "new", "why", "change")
MOST = 1000  # rows returned unless told otherwise; our choice: a page that can still be looked through
_UNIT = """coalesce(
    CASE a.table_name
        WHEN 'readings' THEN (SELECT unit FROM readings WHERE reading_id = CAST(a.row_key AS INTEGER))
        WHEN 'repairs' THEN (SELECT unit FROM repairs WHERE repair_id = CAST(a.row_key AS INTEGER))
        WHEN 'decisions' THEN (SELECT unit FROM decisions WHERE id = CAST(a.row_key AS INTEGER))
        WHEN 'visits' THEN (SELECT unit FROM visits WHERE visit_id = CAST(a.row_key AS INTEGER))
        WHEN 'units' THEN a.row_key
        WHEN 'reset_answers' THEN substr(a.row_key, 1, instr(a.row_key, '/') - 1)
    END,
    (SELECT json_extract(cells, '$.unit') FROM withdrawn w
     WHERE w.table_name = a.table_name AND w.row_id = CAST(a.row_key AS INTEGER)),
    '')"""
_RECORD = """CASE WHEN a.table_name IN ('readings', 'repairs', 'decisions', 'visits')
    THEN substr(a.table_name, 1, length(a.table_name) - 1) WHEN a.table_name = 'workshops' THEN 'workshop hours:'
    WHEN a.table_name = 'workshop_days' THEN 'share of the week''s hours:' WHEN a.table_name = 'closures' THEN 'closed:'
    WHEN a.table_name = 'parts' THEN 'part' WHEN a.table_name = 'units' THEN 'vehicle' WHEN a.table_name = 'accounts' THEN 'account'
    WHEN a.table_name = 'code_secrets' THEN 'windscreen codes:' ELSE a.table_name END || ' ' || a.row_key"""
_UNDONE_BY = f"""CASE WHEN a.table_name IN ('readings', 'repairs', 'decisions', 'visits') THEN a.origin_id
    WHEN a.table_name IN ({", ".join(f"'{name}'" for name in EDITED)})
        THEN (SELECT id FROM origins WHERE id = a.origin_id AND kind = 'correction') END"""
_TYPED_IN = "CASE o.kind WHEN 'entry' THEN 'recorded' ELSE 'admitted' END"
_SQL = f"""
SELECT at, "by", what, record, unit, "column", old, new, why, change FROM (
    SELECT a.at, a.by, CASE a.column_name WHEN 'withdrawn' THEN iif(a.new_value IS NULL, 'put back', 'withdrawn')
        ELSE 'changed' END AS what, {_RECORD} AS record, {_UNIT} AS unit,
        iif(a.column_name = 'withdrawn', '', a.column_name) AS "column",
        iif(a.column_name = 'withdrawn', NULL, a.old_value) AS old,
        iif(a.column_name = 'withdrawn', NULL, a.new_value) AS new, a.reason AS why,
        {_UNDONE_BY} AS change, 9 AS rank, a.id AS n
    FROM audit a
    UNION ALL SELECT o.at, o.by, 'imported', o.file, '', '', NULL, o.counts, '', NULL, 1, o.id
        FROM origins o WHERE o.kind = 'file'
    UNION ALL SELECT o.at, o.by, {_TYPED_IN}, 'reading ' || r.reading_id, r.unit, '', NULL, r.taken_at, '', NULL, 2, o.id
        FROM origins o JOIN readings r ON r.origin_id = o.id WHERE o.kind <> 'file'
    UNION ALL SELECT o.at, o.by, {_TYPED_IN}, 'repair ' || r.repair_id, r.unit, '', NULL,
        r.done_on || ' ' || r.part || ' ' || r.action, '', NULL, 2, o.id
        FROM origins o JOIN repairs r ON r.origin_id = o.id WHERE o.kind <> 'file'
    UNION ALL SELECT o.at, o.by, 'reported', 'visit ' || v.visit_id, v.unit, '', NULL, v.done_on || ' found ' || v.found,
        v.note, NULL, 2, o.id FROM origins o JOIN visits v ON v.origin_id = o.id
    UNION ALL SELECT o.at, o.by, {_TYPED_IN}, substr(w.table_name, 1, length(w.table_name) - 1) || ' ' || w.row_id,
        json_extract(w.cells, '$.unit'), '', NULL,
        coalesce(json_extract(w.cells, '$.taken_at'), json_extract(w.cells, '$.done_on')), '', NULL, 2, o.id
        FROM withdrawn w JOIN origins o ON o.id = json_extract(w.cells, '$.origin_id') WHERE o.kind <> 'file'
    UNION ALL SELECT at, by, 'decided', 'decision ' || id, unit, '', NULL, kind || coalesce(' until ' || until, ''),
        reason, NULL, 3, id FROM decisions
    UNION ALL SELECT json_extract(cells, '$.at'), json_extract(cells, '$.by'), 'decided', 'decision ' || row_id,
        json_extract(cells, '$.unit'), '', NULL, json_extract(cells, '$.kind'), json_extract(cells, '$.reason'), NULL,
        3, row_id FROM withdrawn WHERE table_name = 'decisions'
    UNION ALL SELECT at, by, 'answered', replace(part, '_', ' ') || ' renewed', unit, around_on, NULL, answer, '', NULL,
        4, 0 FROM reset_answers
    UNION ALL SELECT resolved_at, resolved_by, state, 'set-aside row ' || id, unit, '', NULL, resolution, '', NULL, 5, id
        FROM set_aside WHERE resolved_at IS NOT NULL
    UNION ALL SELECT made_at, by, 'planned', 'plan ' || version, '', '', NULL, weeks || ' weeks', note, NULL, 6, version
        FROM plans
    UNION ALL SELECT issued_at, by, iif(version = 1, 'issued', 'issued again'), 'list of ' || iso_week, '', '', NULL, '',
        reason, NULL, 6, version FROM weekly_lists
    UNION ALL SELECT at, by, kind, 'pin ' || id, unit, part, NULL, week, reason, NULL, 7, id FROM plan_pins
    UNION ALL SELECT saved_at, saved_by, 'described', 'source ' || name, '', '', NULL, '', '', NULL, 8, 0 FROM sources
)
WHERE (? = '' OR unit = ? OR ("column" = 'unit' AND ? IN (old, new))) AND (? = '' OR instr(lower("by"), lower(?)) > 0)
    AND at >= ? ORDER BY at DESC, rank DESC, n DESC LIMIT ?"""


def read_logbook(
    db: Database, *, unit: str = "", who: str = "", since: date | None = None, most: int = MOST
) -> pd.DataFrame:
    """Return what was done, newest first, at most `most` rows, a row for each value that was changed.

    unit: only what concerns this vehicle; who: only by names that contain this; since: only from this day on.
    Columns (texts, '' where there is none): at, by, what, record, unit, column, old, new, why; change (number of a change
    that can be undone, 0 where there is none).
    """
    if most < 1:
        raise ValueError(f"most is {most}; allowed is 1 or more")
    values = [unit, unit, unit, who, who, since.isoformat() if since else "", int(most)]
    frame = pd.DataFrame(db.query(_SQL, values), columns=list(COLUMNS), dtype=object)
    number = [0 if change is None else int(change) for change in frame.pop("change")]
    texts = {name: ["" if cell is None else str(cell) for cell in frame[name]] for name in frame}
    return pd.DataFrame({name: pd.Series(cells, dtype="str") for name, cells in texts.items()}).assign(
        change=pd.Series(number, dtype="int64")
    )
