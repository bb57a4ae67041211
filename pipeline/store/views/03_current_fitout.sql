-- The fit-out lines of current bodies, with each item's group.
CREATE OR REPLACE VIEW current_fitout AS
SELECT f.job_id, f.revision, f.body, f.item_id, f.qty, f.length_mm, f.zone, f.x_mm, f.y_mm, i."group" AS item_group, i.label AS item_label,
       f.hand_in, f.source_id, f.line, f.part
FROM fitout AS f
JOIN current_jobs AS j ON j.job_id = f.job_id AND j.revision = f.revision
JOIN items AS i ON i.item_id = f.item_id;
