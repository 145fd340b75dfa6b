INSERT INTO device_clock (device_serial, hour, results, least)
VALUES (:device, :hour, :results, :least)
ON CONFLICT (device_serial, hour)
DO UPDATE SET results = device_clock.results + excluded.results,
  least = CASE WHEN excluded.least < device_clock.least THEN excluded.least ELSE device_clock.least END
