SELECT COUNT(*) AS n, MIN(received_at) AS oldest FROM entry WHERE state = 'rejected' AND urgency >= :alarm
