-- How many entries were counted when one source's submissions were split, by slots of the same length.
SELECT (received_at - :from) / :length AS slot, SUM(entries) AS n FROM submission
WHERE source = :source AND received_at >= :from AND state <> 'arriving'
GROUP BY slot
