-- What stands no more: rows that a newer one replaced, and ledger entries that were closed.
CREATE OR REPLACE VIEW history AS
WITH replaced AS (
    {replaced}
)
SELECT h.name AS hand_in, s.file, r.table_name AS "table", s.sheet, r.line, r.key, r.reason, n.name AS closed_by, r.stood AS row
FROM replaced AS r
JOIN sources AS s ON s.source_id = r.source_id
JOIN hand_ins AS h ON h.hand_in = s.hand_in
JOIN hand_ins AS n ON n.hand_in = r.replaced_by
ORDER BY r.table_name, r.key, r.source_id, r.line, r.stood;
