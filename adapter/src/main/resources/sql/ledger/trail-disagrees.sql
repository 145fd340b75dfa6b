-- Entries whose state is not the one that their latest event on the trail gave them.
SELECT e.id FROM entry e
WHERE (:source IS NULL OR e.source = :source) AND e.received_at >= :from AND e.received_at < :to
  AND e.state <> COALESCE(
    (SELECT t.to_state FROM trail t WHERE t.entry_id = e.id AND t.to_state IS NOT NULL ORDER BY t.seq DESC LIMIT 1), '')
ORDER BY e.id LIMIT 100
