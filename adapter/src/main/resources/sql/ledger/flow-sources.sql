-- Every source that ever sent: one step in the index each, however many entries there are.
WITH RECURSIVE each(source) AS (
  SELECT MIN(source) FROM entry
  UNION ALL
  SELECT (SELECT MIN(source) FROM entry WHERE source > each.source) FROM each WHERE each.source IS NOT NULL)
SELECT source FROM each WHERE source IS NOT NULL
