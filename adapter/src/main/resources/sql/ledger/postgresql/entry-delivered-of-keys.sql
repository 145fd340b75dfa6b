-- As entry-delivered-of-key, for the keys of a JSON array: the first row of each key counts.
SELECT e.* FROM entry e
WHERE e.key_hash IN (SELECT jsonb_array_elements_text(CAST(:keys AS jsonb)))
  AND e.state IN ('delivered', 'superseded') AND e.location IS NOT NULL
ORDER BY e.state, e.delivered_at DESC, e.id DESC
