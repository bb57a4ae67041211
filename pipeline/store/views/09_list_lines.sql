-- The fit-out lines of each list in `body_facts`, once. Kept as a table.
CREATE OR REPLACE VIEW list_lines AS
WITH of_jobs AS (SELECT list, min(job_id) AS job_id FROM body_facts WHERE list <> 0 AND {lists} GROUP BY list),
of_bodies AS (
    SELECT o.list, b.job_id, b.revision, min(b.body) AS body
    FROM of_jobs AS o
    JOIN body_facts AS b ON b.list = o.list AND b.job_id = o.job_id
    GROUP BY o.list, b.job_id, b.revision
)
SELECT o.list, f.item_id, f.zone, f.qty
FROM fitout AS f
JOIN of_bodies AS o ON o.job_id = f.job_id AND o.revision = f.revision AND o.body = f.body;
