-- The day of the newest record: what "today" means, whatever the clock says. Kept as a table of one row.
CREATE OR REPLACE VIEW newest_day AS
SELECT max(greatest(quoted_on, ordered_on, delivered_on, lost_on)) AS day FROM current_jobs;
