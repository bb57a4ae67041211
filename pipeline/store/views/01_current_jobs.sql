-- Every job once, by its last revision: the longest, then the last in the alphabet ('' before 'A', 'B' before 'AA', 9 before 10).
CREATE OR REPLACE VIEW current_jobs AS
SELECT j.job_id, j.revision, j.branch, j.vehicle_id, j.upgrade_id, j.status, j.quoted_on, j.ordered_on, j.delivered_on, j.lost_on, j.lost_why,
       j.price, j.cost, j.quoted_h, j.labour_h, j.towbar_tow_kg, j.towbar_ball_kg, j.customer_ref, j.folder, j.note,
       v.label AS vehicle, v.size_class, v.cab,
       coalesce(j.delivered_on, j.ordered_on, j.quoted_on) AS dated_on,
       CASE WHEN j.status IN ('ordered', 'delivered') THEN coalesce(j.ordered_on, j.delivered_on) END AS sold_on,
       j.hand_in, j.source_id, j.line
FROM (SELECT * FROM jobs WHERE {scope}) AS j
JOIN vehicles AS v ON v.vehicle_id = j.vehicle_id
-- few jobs were revised: looking for a later revision is quicker than putting all jobs in order
WHERE NOT EXISTS (
    SELECT 1 FROM jobs AS later
    WHERE later.job_id = j.job_id AND later.revision <> '' AND later.revision <> j.revision
      AND (length(later.revision) > length(j.revision) OR (length(later.revision) = length(j.revision) AND later.revision > j.revision))
);
