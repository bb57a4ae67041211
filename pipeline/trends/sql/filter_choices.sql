-- What there is to filter by.
with vehicles_built_on as (
    select v.* from vehicles as v where v.vehicle_id in (select vehicle_id from body_facts where counted)
)

select distinct 'kinds' as field, kind as value from body_facts where counted
union all
select distinct 'size_classes' as field, size_class as value from vehicles_built_on
union all
select distinct 'cabs' as field, cab as value from vehicles_built_on where cab is not null
union all
select 'vehicles' as field, vehicle_id as value from vehicles_built_on
union all
select distinct 'upgrades' as field, upgrade_id as value from body_facts where counted and upgrade_id is not null
union all
select distinct 'branches' as field, branch as value from body_facts where counted and branch is not null
union all
select 'families' as field, cast(family as varchar) as value from families where live
