INSERT INTO attempt (entry_id, started_at, ended_at, outcome, http_status, detail)
VALUES (:entry, :startedAt, :endedAt, :outcome, :status, :detail)
