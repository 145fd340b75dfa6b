SELECT code, COUNT(*) AS n, SUM(urgency >= :alarm) AS urgent, MAX(urgency) AS highest FROM entry
WHERE state = 'rejected'
GROUP BY code
ORDER BY urgent DESC, highest DESC, n DESC, code
