DELETE FROM writer WHERE seen_at < :before
