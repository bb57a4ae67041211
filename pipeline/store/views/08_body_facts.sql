-- What pages count bodies by: a row a current body. Bodies with the same fit-out lines (item, place, number) share the number
-- `list`, and their lines stand in `list_lines` once. Kept as a table, since every page reads it.
CREATE OR REPLACE VIEW body_facts AS
WITH lists AS (
    SELECT job_id, revision, body, CAST(sum(hash(item_id, zone, qty)) % 9223372036854775807 AS BIGINT) AS list
    FROM fitout
    WHERE {scope}
    GROUP BY job_id, revision, body
),
several AS (SELECT job_id, revision FROM bodies WHERE {scope} GROUP BY job_id, revision HAVING count(*) > 1),
revised AS (SELECT job_id FROM jobs WHERE {scope} GROUP BY job_id HAVING count(*) > 1)
SELECT b.job_id, b.revision, b.body, b.kind, b.counted, b.vehicle_id, b.upgrade_id, b.branch, b.status,
       b.dated_on, b.sold_on, b.quoted_on, b.ordered_on, b.delivered_on, b.lost_why, b.price, b.cost, b.quoted_h, b.labour_h,
       b.length_mm, coalesce(b.weighed_kg, b.cad_kg) AS measured_kg, b.weighed_kg IS NOT NULL AS weighed,
       b.suspect = 1 AS suspect, b.list_short = 1 AS list_short,
       s.job_id IS NULL AS alone, r.job_id IS NOT NULL AS revised,
       m.family, m.mirrored, e.standing, coalesce(l.list, 0) AS list
FROM (SELECT * FROM current_bodies WHERE {scope}) AS b
LEFT JOIN lists AS l ON l.job_id = b.job_id AND l.revision = b.revision AND l.body = b.body
LEFT JOIN several AS s ON s.job_id = b.job_id AND s.revision = b.revision
LEFT JOIN revised AS r ON r.job_id = b.job_id
LEFT JOIN family_of_body AS m ON m.job_id = b.job_id AND m.body = b.body
LEFT JOIN body_estimates AS e ON e.job_id = b.job_id AND e.body = b.body;
