-- One source's entries since a time, by what became of them, in slots of the same length.
SELECT state, (received_at - :from) / :length AS slot, COUNT(*) AS n, MAX(received_at) AS latest FROM entry
WHERE source = :source AND received_at >= :from
GROUP BY state, slot
