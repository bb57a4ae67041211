-- What still stands in the ledger; closed entries are in `history`.
CREATE OR REPLACE VIEW rejects AS
SELECT h.name AS hand_in, s.file, l.table_name AS "table", s.sheet, l.line, l.cell, l.column_name AS "column", l.rule, l.value, l.stood AS row
FROM ledger AS l
JOIN sources AS s ON s.source_id = l.source_id
JOIN hand_ins AS h ON h.hand_in = s.hand_in
WHERE l.closed IS NULL
ORDER BY l.source_id, l.line, l.part, l.column_name, l.rule;
