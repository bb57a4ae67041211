-- Every body of each job's last revision, with what its job and vehicle say of it. `ours` is false for another maker's
-- body, `counted` also for a refit, which is no second body.
CREATE OR REPLACE VIEW current_bodies AS
WITH marks AS (
    SELECT source_id, line, part, max(CASE WHEN rule = 'list-short' THEN 1 ELSE 0 END) AS list_short
    FROM suspects WHERE table_name = 'bodies' GROUP BY source_id, line, part
)
SELECT b.job_id, b.revision, b.body, regexp_replace(b.body, '-[0-9]+$', '') AS kind,
       b.length_mm, b.width_mm, b.height_mm, b.length_approximate, b.sheet_mm, b.floor_mm, b.material, b.doors, b.painted,
       b.colour_outside, b.colour_doors, b.colour_inside, b.cad_kg, b.cad_shell_kg, b.weighed_kg, b.scale_step_kg,
       b.com_x_mm, b.com_y_mm, b.com_z_mm, b.offset_mm, b.sits_on, b.lift_off, b.sticks_out_mm, b.list_whole,
       b.drawing, b.origin, b.same_as,
       j.vehicle_id, j.vehicle, j.upgrade_id, j.branch, j.status, j.size_class, j.cab, j.dated_on, j.sold_on, j.quoted_on, j.ordered_on,
       j.delivered_on, j.lost_on, j.lost_why, j.price, j.cost, j.labour_h, j.quoted_h,
       CASE WHEN m.source_id IS NULL THEN 0 ELSE 1 END AS suspect,
       coalesce(m.list_short, 0) AS list_short,
       coalesce(b.origin, 'new') <> 'other-maker' AS ours,
       coalesce(b.origin, 'new') NOT IN ('other-maker', 'refit') AS counted,
       b.hand_in, b.source_id, b.line, b.part
FROM bodies AS b
JOIN current_jobs AS j ON j.job_id = b.job_id AND j.revision = b.revision
LEFT JOIN marks AS m ON m.source_id = b.source_id AND m.line = b.line AND m.part = b.part;
