INSERT INTO device_clock (device_serial, hour, results, least)
VALUES (:device, :hour, :results, :least)
ON CONFLICT (device_serial, hour)
DO UPDATE SET results = results + excluded.results, least = min(least, excluded.least)
