DELETE FROM writer WHERE id = :writer
