SELECT hour, results, least FROM device_clock
WHERE device_serial = :device AND hour < :before
ORDER BY hour DESC LIMIT :limit
