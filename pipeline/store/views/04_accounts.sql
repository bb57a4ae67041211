-- What became of every row, by file and table: read = kept + suspect + rejected + superseded.
CREATE OR REPLACE VIEW accounts AS
WITH
live AS (
    {live}
),
marked AS (SELECT DISTINCT table_name, source_id, line, part FROM suspects),
kept AS (
    SELECT live.source_id, live.rows - coalesce(m.rows, 0) AS kept, coalesce(m.rows, 0) AS suspect
    FROM live
    LEFT JOIN (SELECT source_id, count(*) AS rows FROM marked GROUP BY source_id) AS m ON m.source_id = live.source_id
),
rejected AS (
    SELECT source_id, count(DISTINCT (line, part)) AS rejected FROM ledger WHERE closed IS NULL GROUP BY source_id
),
gone AS (
    {old}
    UNION
    SELECT source_id, line, part FROM ledger AS l WHERE closed = 'superseded'
        AND NOT EXISTS (SELECT 1 FROM ledger AS o WHERE o.source_id = l.source_id AND o.line = l.line AND o.part = l.part AND o.closed IS NULL)
),
superseded AS (SELECT source_id, count(*) AS superseded FROM gone GROUP BY source_id)
SELECT h.name AS hand_in, s.file, s.table_name AS "table", s.sha256,
       CAST(sum(s.read) AS BIGINT) AS read, CAST(sum(coalesce(k.kept, 0)) AS BIGINT) AS kept, CAST(sum(coalesce(k.suspect, 0)) AS BIGINT) AS suspect,
       CAST(sum(coalesce(r.rejected, 0)) AS BIGINT) AS rejected, CAST(sum(coalesce(g.superseded, 0)) AS BIGINT) AS superseded,
       CAST(sum(s.left_out) AS BIGINT) AS left_out, CAST(sum(s.taken_up) AS BIGINT) AS taken_up
FROM sources AS s
JOIN hand_ins AS h ON h.hand_in = s.hand_in
LEFT JOIN kept AS k ON k.source_id = s.source_id
LEFT JOIN rejected AS r ON r.source_id = s.source_id
LEFT JOIN superseded AS g ON g.source_id = s.source_id
GROUP BY h.hand_in, h.name, s.file, s.table_name, s.sha256
ORDER BY h.hand_in, s.file, s.table_name;
