-- Lists that hold the same items, wherever and however many, share the number `items`. Kept as a table: what asks for items alone
-- (pairs, shares) counts these, which are far fewer.
CREATE OR REPLACE VIEW list_sets AS
SELECT list, CAST(sum(item) % 9223372036854775807 AS BIGINT) AS items
FROM (SELECT DISTINCT list, hash(item_id) AS item FROM list_lines WHERE {lines}) AS lines
GROUP BY list;
