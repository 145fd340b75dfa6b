SELECT source, COUNT(*) AS n, MIN(received_at) AS oldest FROM submission WHERE state <> 'refined' GROUP BY source
