-- The day of the newest record: what "today" means, whatever the clock says. Kept as a table of one row.
CREATE OR REPLACE VIEW newest_day AS
SELECT max(day) AS day
FROM (
    SELECT max(quoted_on) AS day FROM current_jobs
    UNION ALL SELECT max(ordered_on) AS day FROM current_jobs
    UNION ALL SELECT max(delivered_on) AS day FROM current_jobs
    UNION ALL SELECT max(lost_on) AS day FROM current_jobs
) AS days;
