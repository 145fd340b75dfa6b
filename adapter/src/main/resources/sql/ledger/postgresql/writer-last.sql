SELECT turn FROM writer WHERE id = :writer
