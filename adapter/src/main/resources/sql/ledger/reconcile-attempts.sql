SELECT a.* FROM attempt a JOIN entry e ON e.id = a.entry_id
WHERE (:source IS NULL OR e.source = :source) AND e.received_at >= :from AND e.received_at < :to
