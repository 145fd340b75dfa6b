-- Everywhere that something was written to, whatever became of it since.
SELECT location, derived FROM entry WHERE location IS NOT NULL
