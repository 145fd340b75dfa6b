-- As entry-delivered-of-key, for the keys of a JSON array: the first row of each key counts.
SELECT e.* FROM json_each(:keys) k CROSS JOIN entry e ON e.key_hash = k.value
WHERE e.state IN ('delivered', 'superseded') AND e.location IS NOT NULL
ORDER BY e.state, e.delivered_at DESC, e.id DESC
