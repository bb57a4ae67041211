-- What people call each value that a body is counted under.
select 'family' as subject, cast(family as varchar) as value, name as label from families
union all
select 'item' as subject, item_id as value, label from items
union all
select 'vehicle' as subject, vehicle_id as value, label from vehicles
union all
select 'upgrade' as subject, upgrade_id as value, label from upgrades
