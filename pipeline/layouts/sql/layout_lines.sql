-- Fit-out lines that make a layout, each with the side and place it stands at; lining and small parts are left out.
-- A line without a zone is placed by its maker's figure; without either its place is not known ('?').
-- needs: left_out_groups, left_out_items
select distinct
    b.job_id,
    b.body,
    i."group" as item_group,
    case
        when f.zone like 'left-%' then 'left'
        when f.zone like 'right-%' then 'right'
        when f.zone is not null then 'middle'
        when f.y_mm is null or f.x_mm is null then '?'
        when f.y_mm < -0.14 * b.width_mm then 'left'
        when f.y_mm > 0.14 * b.width_mm then 'right'
        else 'middle'
    end as side,
    case
        when f.zone in ('roof', 'back-wall', 'under-tray') then f.zone
        when f.zone like '%-front' then 'front'
        when f.zone like '%-mid' then 'mid'
        when f.zone like '%-rear' then 'rear'
        when f.y_mm is null or f.x_mm is null then '?'
        when f.x_mm < b.length_mm / 3.0 then 'front'
        when f.x_mm > b.length_mm * 2.0 / 3.0 then 'rear'
        else 'mid'
    end as place
from current_bodies as b
inner join fitout as f on f.job_id = b.job_id and f.revision = b.revision and f.body = b.body
inner join items as i on i.item_id = f.item_id
where b.counted
    and i."group" not in (select group_name from left_out_groups)
    and f.item_id not in (select item_id from left_out_items)
    and coalesce(i.datasheet_kg > $small_part_kg or coalesce(i.datasheet_kg_per_m, 0) > 0, true)
