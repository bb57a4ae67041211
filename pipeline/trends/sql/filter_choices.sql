-- What there is to filter by.
select distinct 'kinds' as field, kind as value from current_bodies where counted
union all
select distinct 'size_classes' as field, size_class as value from current_bodies where counted
union all
select distinct 'cabs' as field, cab as value from current_bodies where counted and cab is not null
union all
select distinct 'vehicles' as field, vehicle_id as value from current_bodies where counted
union all
select distinct 'upgrades' as field, upgrade_id as value from current_bodies where counted and upgrade_id is not null
union all
select distinct 'branches' as field, branch as value from current_bodies where counted and branch is not null
union all
select 'families' as field, cast(family as varchar) as value from families where live
